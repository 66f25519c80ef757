// The tasting page: goes from cup to cup, keeps every draft, puts finished sheets into the queue and shows what became of them.
"use strict";

import { Queue } from "./queue.js";
import { SheetForm } from "./sheet.js";
import { Store } from "./store.js";
import { count, entryOf, Waiting } from "./waiting.js";

const WAIT_BEFORE_KEEPING_MS = 150;

class TablePage {
  constructor(root, store, queue, words) {
    Object.assign(this, { root, store, queue, words });
    this.table = Number(root.dataset.table);
    this.offset = 0;
    this.cups = new Map(JSON.parse(document.getElementById("taste-cups").textContent).map((cup) => [cup.code, cup]));
    this.begun = new Set();
    this.timers = new Map();
    this.isClosed = false;
    this.refreshing = 0;
    this.forms = new Map();
    for (const part of root.querySelectorAll("section.cup[data-code]")) {
      const form = new SheetForm(part, words, (touched) => this.keepSoon(touched));
      this.forms.set(form.code, form);
      form.form.addEventListener("submit", (event) => {
        event.preventDefault();
        this.handIn(form);
      });
    }
    root.addEventListener("click", (event) => {
      const link = event.target.closest("a[data-go]");
      if (!link || event.ctrlKey || event.metaKey || event.shiftKey) return;
      event.preventDefault();
      this.go(link.dataset.go);
    });
    for (const name of ["pagehide", "visibilitychange"]) {
      (name === "pagehide" ? window : document).addEventListener(name, () => this.keepAll());
    }
    window.addEventListener("popstate", () => this.go(shownIn(location), false));
    queue.addEventListener("change", () => this.show());
    document.addEventListener("evenhand:hint", (event) => {
      if (event.detail === null || event.detail === `table-${this.table}`) this.refreshSoon();
    });
    queue.addEventListener("elsewhere", () => this.refreshSoon());
    window.addEventListener("online", () => this.refresh());
  }

  async start() {
    this.offset = await this.store.clockOffset();
    for (const draft of await this.store.drafts(this.queue.taster, this.table)) {
      const form = this.forms.get(draft.code);
      if (!form) continue;
      form.fill(draft.typed);
      this.begun.add(draft.code);
    }
    this.fillFromQueue();
    if (shownIn(location) === null) history.replaceState(null, "", `?cup=${this.root.dataset.first}`);
    this.show();
    this.refresh();
  }

  // Keeps what stands in a form, a moment after the last touch.
  keepSoon(form) {
    this.begun.add(form.code);
    window.clearTimeout(this.timers.get(form.code));
    this.timers.set(form.code, window.setTimeout(() => this.keep(form), WAIT_BEFORE_KEEPING_MS));
    this.show();
  }

  async keep(form) {
    window.clearTimeout(this.timers.get(form.code));
    this.timers.delete(form.code);
    const { taster } = this.queue;
    if (form.isTouched()) {
      await this.store.putDraft({ taster, table: this.table, code: form.code, typed: form.read() });
    } else {
      await this.store.dropDraft(taster, this.table, form.code);
      this.begun.delete(form.code);
      this.show();
    }
  }

  keepAll() {
    for (const code of [...this.timers.keys()]) this.keep(this.forms.get(code));
  }

  waitingOn(code) {
    return this.queue.own().filter((sheet) => sheet.table === this.table && sheet.code === code);
  }

  async handIn(form) {
    const content = form.content();
    if (content === null || form.isBusy) return;
    form.isBusy = true; // a second tap of a wet thumb hands nothing in twice
    try {
      window.clearTimeout(this.timers.get(form.code));
      this.timers.delete(form.code);
      // A refused sheet was stored nowhere, and what waits behind it was not sent: this one takes the place of them all.
      const queued = this.waitingOn(form.code);
      const refused = queued.find((sheet) => sheet.refused);
      const mended = refused ? queued.slice(queued.indexOf(refused)) : [];
      const last = queued.filter((sheet) => !mended.includes(sheet)).at(-1);
      const sheet = entryOf({
        taster: this.queue.taster,
        name: this.root.dataset.tasterName,
        table: this.table,
        table_name: this.root.dataset.tableName,
        address: this.root.dataset.sheets,
        code: form.code,
        content,
        supersedes: last?.client_id ?? refused?.standing ?? this.standingOn(form.code),
        now: new Date(Date.now() + this.offset),
      });
      await this.store.handIn(sheet, mended.map((one) => one.client_id));
      this.begun.delete(form.code);
      form.given = form.read();
      await this.queue.changed();
      this.queue.sendSoon();
      this.go(this.nextAfter(form.code), true, count(this.words.handed, 0).replace("%c", form.code));
    } catch {
      form.complain([[form.text, this.words.full]]);
    } finally {
      form.isBusy = false;
    }
  }

  // Names the own sheet that stands on a cup, as far as this phone knows.
  standingOn(code) {
    const arrived = this.queue.arrived.get(`${this.table}/${code}`);
    return arrived?.client_id ?? this.cups.get(code).sheet?.client_id ?? null;
  }

  isDone(code) {
    const cup = this.cups.get(code);
    return cup.sheet !== null || this.queue.arrived.has(`${this.table}/${code}`);
  }

  stateOf(code) {
    const queued = this.waitingOn(code);
    if (queued.some((sheet) => sheet.refused)) return "needs";
    if (this.begun.has(code)) return "begun";
    if (queued.length) return "waits";
    if (this.isDone(code)) return "done";
    return this.cups.get(code).is_poured ? "todo" : "unpoured";
  }

  // The next cup that is poured and has no sheet: after this one, else from the start; else the overview.
  nextAfter(code) {
    const codes = [...this.cups.keys()];
    const at = codes.indexOf(code);
    const isLeft = (one) => ["todo", "begun"].includes(this.stateOf(one)) && !this.isDone(one) && !this.waitingOn(one).length;
    return [...codes.slice(at + 1), ...codes.slice(0, at)].find(isLeft) ?? "end";
  }

  go(code, isKept = true, said = "") {
    this.keepAll();
    const target = this.root.querySelector(`section[data-code="${code}"], section[data-end="${code}"]`);
    if (!target) return;
    for (const part of this.root.querySelectorAll("section.cup")) part.hidden = part !== target;
    if (isKept) history.pushState(null, "", `?cup=${code}`);
    this.root.querySelector("[data-said-last]").textContent = said;
    window.scrollTo(0, 0);
    target.querySelector("h2").focus({ preventScroll: true });
  }

  show() {
    for (const [code, form] of this.forms) {
      const state = this.stateOf(code);
      for (const badge of this.root.querySelectorAll(`[data-state="${code}"]`)) {
        badge.className = `badge ${state}`;
        badge.querySelector("[data-sign]").textContent = this.words.signs[state];
        badge.querySelector("[data-word]").textContent = this.words.states[state];
      }
      form.part.querySelector("[data-unpoured]").hidden = this.cups.get(code).is_poured || this.isDone(code);
      const button = form.part.querySelector("[data-hand-in]");
      const isCorrection = this.isDone(code) || this.waitingOn(code).length > 0;
      const words = isCorrection ? this.words.correct : this.words.hand_in;
      if (button.textContent !== words.replace("%c", code)) button.textContent = words.replace("%c", code);
      button.disabled = this.isClosed;
    }
    const left = [...this.cups.keys()].filter((code) => !this.isDone(code) && !this.waitingOn(code).length).length;
    this.root.querySelector("[data-left]").textContent = left ? count(this.words.left, left) : this.words.all_done;
  }

  // A sheet that waits shows in its form, so that its taster sees what will be sent.
  fillFromQueue() {
    for (const [code, form] of this.forms) {
      const sheet = this.waitingOn(code).at(-1);
      if (sheet && !this.begun.has(code)) form.fillFrom(sheet.body);
    }
  }

  // Opens the form of a refused sheet, with what its taster last handed in.
  mend(sheet) {
    if (!this.begun.has(sheet.code)) this.forms.get(sheet.code).fillFrom(this.waitingOn(sheet.code).at(-1).body);
    this.go(sheet.code);
  }

  // Asks a little later, once for many hints: fifty phones do not all ask after each sheet.
  refreshSoon() {
    if (this.refreshing) return;
    this.refreshing = window.setTimeout(
      () => {
        this.refreshing = 0;
        this.refresh();
      },
      500 + 2500 * Math.random(),
    );
  }

  // Takes in what the server says about a cup; a form that nobody touched shows the sheet that stands.
  learn(cup, asked) {
    const form = this.forms.get(cup.code);
    if (!form) return;
    const key = `${this.table}/${cup.code}`;
    this.cups.set(cup.code, cup);
    if (this.queue.arrived.get(key)?.at < asked) this.queue.arrived.delete(key);
    const isFree = !form.isTouched() && !this.waitingOn(cup.code).length && !this.queue.arrived.has(key);
    if (cup.sheet && isFree && !form.part.contains(document.activeElement)) form.fillFrom(cup.sheet);
  }

  // Asks how the cups stand: what was poured since, what arrived from elsewhere, whether the table is open.
  async refresh() {
    const control = new AbortController();
    const timer = window.setTimeout(() => control.abort(), 5000);
    try {
      const asked = Date.now();
      // The page asks by itself, and says so: that alone keeps nobody logged in.
      const headers = { "Evenhand-Hint": "1" };
      const answer = await fetch(this.root.dataset.cups, { headers, redirect: "manual", cache: "no-store", signal: control.signal });
      if (answer.status !== 200) return;
      const told = await answer.json();
      if (told.taster?.pk !== this.queue.taster) return;
      this.offset = Date.parse(told.now) - (asked + Date.now()) / 2;
      await this.store.noteClockOffset(this.offset);
      for (const cup of told.cups) this.learn(cup, asked);
      this.isClosed = told.state === "closed";
      this.root.querySelector("[data-closed]").hidden = !this.isClosed;
      this.show();
    } catch {
      // No answer: what this page knows stays as it is.
    } finally {
      window.clearTimeout(timer);
    }
  }
}

// The cup that an address names.
function shownIn(address) {
  return new URL(address.href).searchParams.get("cup");
}

// Where the bench speaks https, a service worker keeps the page itself, so that it opens with the network gone.
function keepShell(address) {
  if (window.isSecureContext && location.protocol === "https:" && "serviceWorker" in navigator) {
    navigator.serviceWorker.register(address).catch(() => undefined);
    navigator.storage?.persist?.();
    const leave = document.querySelector('form[action*="sign-out"]'); // who logs out leaves no page of theirs behind
    leave?.addEventListener("submit", () => caches.keys().then((names) => names.forEach((name) => caches.delete(name))));
  }
}

async function begin() {
  const part = document.getElementById("waiting");
  const words = JSON.parse(document.getElementById("taste-words").textContent);
  const root = document.getElementById("taste");
  keepShell(part.dataset.worker);
  let store;
  try {
    store = await Store.open();
  } catch {
    document.querySelector("[data-keeps-nothing]").hidden = false; // the forms go on working as plain forms
    return;
  }
  const queue = new Queue(store, Number(part.dataset.taster));
  const page = root ? new TablePage(root, store, queue, words) : null;
  const open = page ? Object.assign((sheet) => page.mend(sheet), { knows: (sheet) => sheet.table === page.table && page.forms.has(sheet.code) }) : null;
  new Waiting(part, queue, words, open);
  await queue.reread();
  await page?.start();
  await queue.start();
  document.documentElement.dataset.taste = "ready";
  const shut = document.querySelector("[data-shut]");
  if (shut) document.addEventListener("evenhand:hint", (event) => event.detail === `table-${shut.dataset.shut}` && location.reload());
}

begin();
