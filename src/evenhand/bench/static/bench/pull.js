// The stopwatch of the Pull page, and what keeps a running shot and typed numbers through a reload or a locked screen.
//
// Start and stop are taken from the events' own time stamps. The wall clock is noted beside them: the steady clock may
// stand still while a device sleeps, and the wall clock may be set, so where the two differ by more than half a second
// the page asks. After a reload only the wall clock can tell.
"use strict";

(() => {
  const PREFIX = "evenhand-pull-";
  const DIFFER_MS = 500;
  const TOUCH_MS = 1000; // a second touch sooner than this is water on the glass, or a bounce
  const LONGEST_SHOT_MS = 15 * 60 * 1000;
  const KEPT_MS = 3 * 3600 * 1000;

  const store = {
    read(key) {
      try {
        return JSON.parse(localStorage.getItem(PREFIX + key)) ?? {};
      } catch {
        return {};
      }
    },
    write(key, value) {
      try {
        localStorage.setItem(PREFIX + key, JSON.stringify(value));
      } catch {
        // no room, or not allowed: the page works, it only forgets on a reload
      }
    },
    sweep(isOver) {
      try {
        for (const key of Object.keys(localStorage).filter((one) => one.startsWith(PREFIX))) {
          if (isOver(store.read(key.slice(PREFIX.length)))) localStorage.removeItem(key);
        }
      } catch {
        // nothing was kept
      }
    },
  };

  // Once a pull is in the records, what its form had kept is done with.
  if (document.querySelector("[data-pull-kept]")) store.sweep((kept) => Boolean(kept.sent));
  store.sweep((kept) => !(Date.now() - kept.at < KEPT_MS));

  const form = document.querySelector("form[data-pull]");
  if (!form) return;
  const key = `${form.dataset.account}-${form.dataset.pull}`; // a tablet goes from hand to hand: each has numbers of their own
  const box = form.querySelector("[data-watch]");
  const find = (name) => box.querySelector(name);
  const button = find("[data-press]");
  const word = find("[data-word]");
  const face = find("[data-face]");
  const ask = find("[data-ask]");
  const said = find("[data-watch-said]");
  const acts = Object.fromEntries([...box.querySelectorAll("[data-do]")].map((one) => [one.dataset.do, one]));
  const time = form.elements.time_s;
  const watched = form.elements.watched_s;

  // phase: "ready", "running" or "stopped"; start: {wall, steady, origin} of the last start.
  let watch = { phase: "ready", start: null };
  let lastPress = -Infinity;
  let choices = null;

  const typed = () =>
    Object.fromEntries(
      [...form.elements].filter((one) => one.name && one.matches("input:not([type=hidden])")).map((one) => [one.name, one.value]),
    );
  const keep = (more = {}) =>
    store.write(key, { ...watch, at: Date.now(), fields: typed(), watched: watched.value, ...more });

  const moment = (event) => ({
    wall: Date.now() - (performance.now() - event.timeStamp),
    steady: event.timeStamp,
    origin: performance.timeOrigin,
  });

  const draw = () => {
    const running = watch.phase === "running";
    box.classList.toggle("running", running);
    word.textContent = word.dataset[{ ready: "start", running: "stop", stopped: "done" }[watch.phase]];
    find("[data-shape]").textContent = { ready: "▶", running: "■", stopped: "✓" }[watch.phase];
    button.setAttribute("aria-disabled", String(watch.phase === "stopped"));
    acts.anew.hidden = watch.phase !== "stopped";
    acts.on.hidden = running || watch.start === null || Date.now() - watch.start.wall > LONGEST_SHOT_MS;
    acts.off.hidden = !running;
    ask.hidden = choices === null;
  };

  const tick = () => {
    if (watch.phase === "running") face.textContent = (Math.max(0, Date.now() - watch.start.wall) / 1000).toFixed(1);
  };

  const take = (milliseconds) => {
    const seconds = (milliseconds / 1000).toFixed(1);
    choices = null;
    face.textContent = seconds;
    time.value = watched.value = seconds;
    time.dispatchEvent(new Event("input", { bubbles: true }));
    said.textContent = said.dataset.stopped.replace("%s", seconds);
  };

  const press = (event) => {
    if (watch.phase === "stopped" || event.timeStamp - lastPress < TOUCH_MS) return;
    lastPress = event.timeStamp;
    const now = moment(event);
    if (watch.phase === "ready") {
      watch = { phase: "running", start: now };
      choices = null;
      said.textContent = said.dataset.runs;
      tick();
    } else {
      const wall = now.wall - watch.start.wall;
      const steady = now.origin === watch.start.origin ? now.steady - watch.start.steady : null;
      watch.phase = "stopped";
      if (steady !== null && Math.abs(steady - wall) > DIFFER_MS) {
        choices = { steady, wall };
        for (const one of ask.querySelectorAll("[data-choose]")) {
          one.querySelector("span").textContent = (choices[one.dataset.choose] / 1000).toFixed(1);
        }
      } else take(steady ?? wall);
    }
    draw();
    keep();
  };

  button.addEventListener("pointerdown", (event) => {
    if (event.isPrimary && event.button === 0) press(event);
  });
  // Enter, a switch or a screen reader clicks without a pointer; a click that follows a press is the same press.
  button.addEventListener("click", (event) => {
    if (event.timeStamp - lastPress >= TOUCH_MS && event.detail === 0) press(event);
  });
  document.addEventListener("keydown", (event) => {
    if (event.code !== "Space" || event.repeat || event.ctrlKey || event.altKey || event.metaKey) return;
    const on = event.target;
    const isNumber = on instanceof HTMLInputElement && on.inputMode === "decimal";
    if (!isNumber && on !== button && on.closest("input, textarea, select, button, a, summary, [contenteditable]")) return;
    event.preventDefault();
    press(event);
  });

  acts.anew.addEventListener("click", () => {
    watch.phase = "ready"; // the time that was taken stays in its field until another one is
    choices = null;
    face.textContent = "0.0";
    lastPress = -Infinity;
    draw();
    keep();
    button.focus();
  });
  acts.on.addEventListener("click", () => {
    watch.phase = "running";
    choices = null;
    if (watched.value && time.value === watched.value) {
      time.value = watched.value = "";
      time.dispatchEvent(new Event("input", { bubbles: true }));
    }
    said.textContent = said.dataset.runs;
    draw();
    keep();
    button.focus();
  });
  acts.off.addEventListener("click", () => {
    watch.phase = "ready";
    face.textContent = "0.0";
    draw();
    keep();
    button.focus();
  });
  for (const one of ask.querySelectorAll("[data-choose]")) {
    one.addEventListener("click", () => {
      take(choices[one.dataset.choose]);
      draw();
      keep();
      acts.anew.focus();
    });
  }

  // What was kept of this pull. A form that came back with errors holds what was typed already.
  const kept = store.read(key);
  const isFresh = Date.now() - kept.at < KEPT_MS;
  if (isFresh) {
    watch = { phase: kept.phase, start: kept.start };
    if (watch.phase === "running" && !(Date.now() - watch.start.wall < LONGEST_SHOT_MS)) watch.phase = "ready";
    if (watch.phase === "running") said.textContent = said.dataset.reloaded;
    if (!("bound" in form.dataset)) {
      for (const [name, value] of Object.entries(kept.fields ?? {})) {
        if (form.elements[name] && !form.elements[name].value) form.elements[name].value = value;
      }
      watched.value = kept.watched ?? "";
    }
    if (watch.phase === "stopped") {
      if (watched.value) face.textContent = watched.value;
      else watch.phase = "ready";
    }
    keep();
  }
  box.hidden = false;
  draw();
  tick();
  window.setInterval(tick, 100);
  form.addEventListener("input", () => keep());
  form.addEventListener("submit", () => keep({ sent: true }));
  if (!("bound" in form.dataset) && window.matchMedia("(pointer: fine)").matches) form.elements.dose_g.focus();

  // The part that htmx redraws is not read out as a whole: only its headline is, and only when it changes.
  const headline = () => form.querySelector("[data-headline]")?.textContent ?? "";
  let last = headline();
  document.addEventListener("htmx:afterSwap", () => {
    if (headline() !== last) form.querySelector("[data-said]").textContent = last = headline();
  });
})();
