// Shows what waits on this phone: the count as shape and word, what needs its taster, and the way out by a file.
"use strict";

import { newId } from "./store.js";

export class Waiting {
  // `open` is called with a refused sheet that its taster wants to mend; null where this page has no form for it.
  constructor(part, queue, words, open) {
    this.part = part;
    this.queue = queue;
    this.words = words;
    this.open = open;
    this.find = (name) => part.querySelector(`[data-part=${name}]`);
    this.shown = "";
    queue.addEventListener("change", () => this.show());
    this.find("send").addEventListener("click", () => queue.sendSoon());
    this.find("save").addEventListener("click", () => this.save());
    const back = document.querySelector("[data-back]");
    if (back) {
      back.hidden = false;
      back.querySelector("input").addEventListener("change", (event) => this.bringBack(event.target, back.querySelector("[role=status]")));
    }
    part.hidden = false;
  }

  show() {
    const own = this.queue.own();
    const refused = own.filter((sheet) => sheet.refused);
    const waiting = own.length - refused.length;
    const others = this.queue.others();
    const told = [];
    if (waiting) told.push(["waits", "◐", count(this.words.waiting, waiting)]);
    if (refused.length) told.push(["needs", "▲", count(this.words.needs, refused.length)]);
    if (!own.length) told.push(["clear", "✓", this.words.nothing]);
    this.say(told);
    this.part.classList.toggle("calm", !this.queue.sheets.length);
    const line = own.length ? this.queue.line : "";
    this.find("line").textContent = waiting ? (this.words[line] ?? "") : "";
    this.find("log-in").hidden = !["log-in", "other-person"].includes(line);
    this.find("tools").hidden = !this.queue.sheets.length;
    this.find("send").hidden = !waiting;
    this.find("others").textContent = others.length
      ? count(this.words.others, others.length).replace("%n", [...new Set(others.map((one) => one.name))].join(", "))
      : "";
    this.showRefused(refused);
  }

  // Writes the count only when it changed: a screen reader says each change once.
  say(told) {
    const text = JSON.stringify(told);
    if (text === this.shown) return;
    this.shown = text;
    this.find("count").replaceChildren(
      ...told.map(([state, sign, words]) => {
        const line = made("span", { className: `badge ${state}` });
        const shape = made("span", { textContent: sign });
        shape.setAttribute("aria-hidden", "true");
        line.append(shape, made("span", { textContent: words }));
        return line;
      }),
    );
  }

  showRefused(refused) {
    const list = this.find("refused");
    const there = new Map([...list.children].map((item) => [item.dataset.id, item]));
    for (const [id, item] of there) if (!refused.some((sheet) => sheet.client_id === id)) item.remove();
    for (const sheet of refused) if (!there.has(sheet.client_id)) list.append(this.refusedItem(sheet));
  }

  refusedItem(sheet) {
    const item = made("li", {});
    item.dataset.id = sheet.client_id;
    const press = made("div", { className: "press" });
    const mend = made("button", { type: "button", textContent: this.words.mend });
    mend.addEventListener("click", () => this.open?.(sheet));
    const again = made("button", { type: "button", className: "second", textContent: this.words.again });
    again.addEventListener("click", async () => {
      await this.queue.store.note(sheet.client_id, { refused: false, sentence: null });
      await this.queue.changed();
      this.queue.sendSoon();
    });
    const drop = made("button", { type: "button", className: "grave", textContent: this.words.drop });
    const sure = this.dropDialogue(sheet);
    drop.addEventListener("click", () => {
      sure.hidden = !sure.hidden;
    });
    press.append(...(this.open?.knows(sheet) ? [mend] : []), again, drop);
    // Folded, so that it does not push the next cup off the screen.
    const more = made("details", {});
    more.append(made("summary", { textContent: this.words.choose }), press, sure);
    item.append(
      made("p", { textContent: `${sheet.table_name}, ${sheet.code}: ${sheet.sentence || this.words.refused}` }),
      more,
    );
    return item;
  }

  // Throwing a sheet away takes a second control, in another place.
  dropDialogue(sheet) {
    const sure = made("div", { className: "warn", hidden: true });
    const yes = made("button", { type: "button", className: "grave", textContent: this.words.dropped });
    yes.addEventListener("click", async () => {
      await this.queue.store.remove(sheet.client_id);
      await this.queue.changed();
    });
    sure.append(made("p", { textContent: this.words.sure }), yes);
    return sure;
  }

  save() {
    const text = JSON.stringify({ evenhand: "sheets", version: 1, sheets: this.queue.sheets }, null, 1);
    const address = URL.createObjectURL(new Blob([text], { type: "application/json" }));
    const day = new Date().toISOString().slice(0, 10);
    const link = made("a", { href: address, download: `evenhand-sheets-${day}.json` });
    document.body.append(link);
    link.click();
    link.remove();
    window.setTimeout(() => URL.revokeObjectURL(address), 60000);
  }

  // Puts the sheets of a saved file back into the queue; the server knows by their ids which ones it has already.
  async bringBack(input, said) {
    try {
      const told = JSON.parse(await input.files[0].text());
      const sheets = told.sheets.filter((sheet) => isWhole(sheet));
      if (told.evenhand !== "sheets" || !sheets.length) throw new Error("not a file of sheets");
      await this.queue.store.bringBack(sheets.map((sheet) => ({ ...sheet, refused: false, sentence: null })));
      said.textContent = count(this.words.brought, sheets.length);
      await this.queue.changed();
      this.queue.sendSoon();
    } catch {
      said.textContent = this.words.unreadable;
    }
    input.value = "";
  }
}

// Makes the entry of the queue from a finished sheet.
export function entryOf({ taster, name, table, table_name, address, code, content, supersedes, now }) {
  const id = newId();
  const body = { client_id: id, taster, code, ...content, tasted_at: now.toISOString(), supersedes };
  return { client_id: id, taster, name, table, table_name, address, code, made_at: Date.now(), refused: false, sentence: null, body };
}

// Says whether an entry of a file is one of ours, to an address of this bench.
function isWhole(sheet) {
  const texts = ["client_id", "name", "table_name", "address", "code"];
  const numbers = ["taster", "table", "made_at"];
  return (
    texts.every((field) => typeof sheet?.[field] === "string") &&
    numbers.every((field) => typeof sheet[field] === "number") &&
    /^\/taste\/\d+\/sheets$/.test(sheet.address) &&
    sheet.body?.client_id === sheet.client_id &&
    sheet.body.taster === sheet.taster
  );
}

export function count(words, number) {
  return (number === 1 ? words[0] : words[1]).replace("%s", String(number));
}

export function made(tag, fields) {
  return Object.assign(document.createElement(tag), fields);
}
