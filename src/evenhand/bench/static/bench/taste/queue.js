// Sends the sheets that wait on this phone: in order, one page at a time, again and again until each one has arrived.
//
// A sheet leaves the queue only when the server says, under the sheet's own id, that it is stored. One that the server
// refuses stays and needs its taster. Without a log-in all stay. Nobody's sheet is sent under another's name.
"use strict";

import { newId } from "./store.js";

const PATIENCE_MS = 5000;
const FIRST_PAUSE_MS = 1000;
const LONGEST_PAUSE_MS = 30000;

export class Queue extends EventTarget {
  #owner = newId();
  #channel = "BroadcastChannel" in window ? new BroadcastChannel("evenhand-taste") : null;
  #pause = FIRST_PAUSE_MS;
  #timer = 0;
  #running = false;
  #again = false;

  // `line` is how the last round went: "", "unreachable", "log-in", "other-person".
  constructor(store, taster) {
    super();
    this.store = store;
    this.taster = taster;
    this.sheets = [];
    this.line = "";
    this.arrived = new Map();
  }

  async start() {
    if (this.#channel) {
      this.#channel.onmessage = async () => {
        await this.reread();
        this.dispatchEvent(new Event("elsewhere"));
      };
    }
    window.addEventListener("online", () => this.sendSoon());
    // A page that goes gives its turn back, as far as the browser still lets it; if not, the turn ends by itself.
    window.addEventListener("pagehide", () => this.store.giveTurn(this.#owner).catch(() => undefined));
    window.addEventListener("pageshow", (event) => event.persisted && this.sendSoon());
    document.addEventListener("visibilitychange", () => document.visibilityState === "visible" && this.sendSoon());
    document.addEventListener("evenhand:hint", ({ detail }) => {
      if (detail !== null && this.line === "unreachable") this.sendSoon(); // a hint came through: so will a sheet
    });
    this.sendSoon();
  }

  own() {
    return this.sheets.filter((sheet) => sheet.taster === this.taster);
  }

  others() {
    return this.sheets.filter((sheet) => sheet.taster !== this.taster);
  }

  // Tells this page and the other tabs that the queue changed.
  async changed() {
    this.#channel?.postMessage("changed");
    await this.reread();
  }

  // Forgets earlier pauses and sends at once.
  sendSoon() {
    this.#pause = FIRST_PAUSE_MS;
    this.#plan(0);
  }

  // Reads from the database what waits.
  async reread() {
    this.sheets = await this.store.sheets();
    this.dispatchEvent(new Event("change"));
  }

  #plan(milliseconds) {
    window.clearTimeout(this.#timer);
    this.#timer = window.setTimeout(() => this.#round(), milliseconds);
  }

  async #round() {
    if (this.#running) {
      this.#again = true;
      return;
    }
    this.#running = true;
    this.#again = false;
    let isLeft = false;
    try {
      isLeft = await this.#sendAll();
    } catch {
      isLeft = true; // this browser's database did not answer: ask again later
    }
    this.#running = false;
    await this.changed().catch(() => undefined);
    if (this.#again) this.#plan(0);
    else if (isLeft) {
      this.#plan(this.#pause * (0.75 + Math.random() / 2)); // fifty phones that come back do not knock at once
      this.#pause = Math.min(LONGEST_PAUSE_MS, 2 * this.#pause);
    }
  }

  // Sends what can be sent; says whether anything is left that may be taken later.
  async #sendAll() {
    const held = new Set(); // cups with a sheet that waits or was refused: a later one on the same cup must not pass it
    let isLeft = false;
    this.sheets = await this.store.sheets();
    for (const { client_id: id } of this.own()) {
      if (!(await this.store.takeTurn(this.#owner, 3 * PATIENCE_MS))) return true;
      // Another tab may have sent this one, or mended it, while we waited for the turn.
      const sheet = (await this.store.sheets()).find((one) => one.client_id === id);
      const cup = sheet && `${sheet.table}/${sheet.code}`;
      if (!sheet || held.has(cup)) continue;
      if (sheet.refused) {
        held.add(cup);
        continue;
      }
      const answer = await this.#send(sheet);
      if (answer.kind === "stored") {
        this.arrived.set(cup, { ...sheet, at: Date.now() });
        await this.store.remove(id);
        this.line = "";
        await this.changed();
      } else if (answer.kind === "later") {
        held.add(cup);
        isLeft = true;
        this.line = "";
        await this.store.note(id, { sentence: answer.sentence });
      } else if (answer.kind === "refused") {
        held.add(cup);
        this.line = "";
        await this.store.note(id, { refused: true, sentence: answer.sentence, standing: answer.standing ?? null });
        await this.changed();
      } else {
        this.line = answer.kind;
        isLeft = true;
        break;
      }
    }
    if (this.own().every((sheet) => sheet.refused)) this.line = "";
    await this.store.giveTurn(this.#owner);
    return isLeft;
  }

  async #send(sheet, isSecond = false) {
    const control = new AbortController();
    const timer = window.setTimeout(() => control.abort(), PATIENCE_MS);
    let status = 0;
    let told = null;
    let isRedirect = false;
    try {
      const answer = await fetch(sheet.address, {
        method: "POST",
        headers: { "Content-Type": "application/json", "X-CSRFToken": token() },
        body: JSON.stringify(sheet.body),
        credentials: "same-origin",
        redirect: "manual",
        cache: "no-store",
        signal: control.signal,
      });
      status = answer.status;
      isRedirect = answer.type === "opaqueredirect";
      const isJson = (answer.headers.get("Content-Type") ?? "").startsWith("application/json");
      told = isJson ? await answer.json() : null;
    } catch {
      return { kind: "unreachable" };
    } finally {
      window.clearTimeout(timer);
    }
    if (isRedirect || status === 401) return { kind: "log-in" };
    if (status === 200 || status === 201) {
      // A portal of the wifi answers everything with 200: only the sheet's own id shows that it is stored.
      return { kind: told?.client_id === sheet.client_id ? "stored" : "unreachable" };
    }
    if (status === 403) {
      if (told?.code === "other-person") return { kind: "other-person" };
      // The page's token is out of date, for instance after a log-in in another tab: the cookie has the new one.
      if (told === null) return isSecond ? { kind: "log-in" } : this.#send(sheet, true);
    }
    // A page of the server's own and no sentence about the sheet: it stumbled, over this sheet (500) or over something else.
    if (told === null && status === 500) return { kind: "later", sentence: null };
    if (told === null && status === 400) return { kind: "unreachable" };
    if ([408, 425, 429].includes(status) || status >= 500 || status < 400) return { kind: "unreachable" };
    if (told?.again) return { kind: "later", sentence: told.sentence };
    return { kind: "refused", sentence: told?.sentence ?? `(${status})`, standing: told?.standing };
  }
}

// The token against forged requests as it stands now: a log-in changes it, and this page may be older than that.
function token() {
  const cookie = document.cookie.split("; ").find((one) => one.startsWith("evenhand_csrf="));
  if (cookie) return cookie.slice("evenhand_csrf=".length);
  return JSON.parse(document.body.getAttribute("hx-headers") ?? "{}")["X-CSRFToken"] ?? "";
}
