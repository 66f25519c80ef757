// Listens for hints and lets the parts of the page that name their topic ask again. A hint is never data.
//
// A part says <div data-topic="table-7" hx-get="..." hx-trigger="hint" ...>; without a stream it asks every 15 seconds.
"use strict";

(() => {
  const address = document.body.dataset.live;
  if (!address || !("EventSource" in window)) return;
  let source = null;
  const told = new Set();

  const tell = (topic) => {
    for (const part of document.querySelectorAll("[data-topic]")) {
      const topics = part.dataset.topic.split(" ");
      if (topic !== null && !topics.includes(topic)) continue;
      if (part.contains(document.activeElement) && document.activeElement !== part) {
        told.add(part); // a redraw never moves focus: it waits until the person has left this part
        continue;
      }
      part.dispatchEvent(new CustomEvent("hint"));
    }
    document.dispatchEvent(new CustomEvent("evenhand:hint", { detail: topic }));
  };

  // The server must be able to tell what the page asks by itself from what a person does: only that keeps a log-in awake.
  document.addEventListener("htmx:configRequest", (event) => {
    if (event.detail.triggeringEvent?.type === "hint") event.detail.headers["Evenhand-Hint"] = "1";
  });

  document.addEventListener("focusout", () => {
    window.setTimeout(() => {
      for (const part of [...told]) {
        if (!part.isConnected) told.delete(part);
        else if (!part.contains(document.activeElement)) {
          told.delete(part);
          part.dispatchEvent(new CustomEvent("hint"));
        }
      }
    }, 50);
  });

  const listen = () => {
    source?.close();
    source = new EventSource(address);
    source.onmessage = (event) => tell(event.data);
    source.onopen = () => tell(null); // what changed while nobody listened: since the page was made, or the line broke
  };
  listen();
  window.addEventListener("online", () => {
    listen();
    tell(null);
  });
  document.addEventListener("visibilitychange", () => {
    if (document.visibilityState === "visible") {
      if (source.readyState === EventSource.CLOSED) listen();
      tell(null);
    }
  });
  window.addEventListener("pagehide", () => source?.close());
  window.setInterval(() => {
    if (source.readyState !== EventSource.OPEN) tell(null);
  }, 15000);
})();
