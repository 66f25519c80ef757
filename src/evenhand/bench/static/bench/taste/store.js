// Keeps drafts and sheets in this browser's own database (IndexedDB), so that neither a reload nor a dead phone loses one.
"use strict";

const NAME = "evenhand-taste";

const settled = (request) =>
  new Promise((resolve, reject) => {
    request.onsuccess = () => resolve(request.result);
    request.onerror = () => reject(request.error);
  });

export class Store {
  #database;

  // Opens the database; fails where the browser keeps nothing, such as in some private windows.
  static async open() {
    const request = indexedDB.open(NAME, 1);
    request.onupgradeneeded = () => {
      request.result.createObjectStore("sheets", { keyPath: "client_id" });
      request.result.createObjectStore("drafts", { keyPath: ["taster", "table", "code"] });
      request.result.createObjectStore("notes", { keyPath: "name" });
    };
    const store = new Store();
    store.#database = await settled(request);
    store.#database.onversionchange = () => store.#database.close();
    return store;
  }

  // Runs what `work` asks of the stores as one: all of it is kept, or nothing is.
  async #within(names, mode, work) {
    const options = mode === "readwrite" ? { durability: "strict" } : {};
    const transaction = this.#database.transaction(names, mode, options);
    const done = new Promise((resolve, reject) => {
      transaction.oncomplete = () => resolve();
      transaction.onabort = () => reject(transaction.error ?? new Error("not kept"));
    });
    done.catch(() => undefined); // it is awaited below, unless the work itself fails first
    const found = await work(...names.map((name) => transaction.objectStore(name)));
    await done;
    return found;
  }

  // All sheets that have not arrived, the oldest first, whoever filled them.
  async sheets() {
    const found = await this.#within(["sheets"], "readonly", (sheets) => settled(sheets.getAll()));
    return found.sort((one, other) => one.made_at - other.made_at);
  }

  // Puts a finished sheet into the queue; its draft goes, and so do the sheets of the queue that it takes the place of.
  handIn(sheet, mended = []) {
    return this.#within(["sheets", "drafts"], "readwrite", (sheets, drafts) => {
      drafts.delete([sheet.taster, sheet.table, sheet.code]);
      for (const id of mended) sheets.delete(id);
      return settled(sheets.put(sheet));
    });
  }

  // Puts sheets from a file into the queue, unless they are there.
  bringBack(found) {
    return this.#within(["sheets"], "readwrite", async (sheets) => {
      for (const sheet of found) if ((await settled(sheets.getKey(sheet.client_id))) === undefined) sheets.put(sheet);
    });
  }

  remove(clientId) {
    return this.#within(["sheets"], "readwrite", (sheets) => settled(sheets.delete(clientId)));
  }

  // Changes fields of a sheet in the queue, if it is still there.
  async note(clientId, fields) {
    return this.#within(["sheets"], "readwrite", async (sheets) => {
      const sheet = await settled(sheets.get(clientId));
      if (sheet) sheets.put({ ...sheet, ...fields });
    });
  }

  async drafts(taster, table) {
    const all = await this.#within(["drafts"], "readonly", (drafts) => settled(drafts.getAll()));
    return all.filter((draft) => draft.taster === taster && draft.table === table);
  }

  putDraft(draft) {
    return this.#within(["drafts"], "readwrite", (drafts) => settled(drafts.put(draft)));
  }

  dropDraft(taster, table, code) {
    return this.#within(["drafts"], "readwrite", (drafts) => settled(drafts.delete([taster, table, code])));
  }

  // How far this phone's clock is behind the server's, in milliseconds.
  async clockOffset() {
    const note = await this.#within(["notes"], "readonly", (notes) => settled(notes.get("offset")));
    return note?.value ?? 0;
  }

  noteClockOffset(value) {
    return this.#within(["notes"], "readwrite", (notes) => settled(notes.put({ name: "offset", value })));
  }

  // Says whether this page may send now; only one page of a phone does. The right ends by itself, should the page die.
  takeTurn(owner, milliseconds) {
    return this.#within(["notes"], "readwrite", async (notes) => {
      const turn = await settled(notes.get("turn"));
      const now = Date.now();
      if (turn && turn.owner !== owner && turn.until > now && turn.until < now + 60000) return false;
      notes.put({ name: "turn", owner, until: now + milliseconds });
      return true;
    });
  }

  giveTurn(owner) {
    return this.#within(["notes"], "readwrite", async (notes) => {
      const turn = await settled(notes.get("turn"));
      if (turn?.owner === owner) notes.delete("turn");
    });
  }
}

// An id that no other sheet has. `crypto.randomUUID` is missing over plain http; this is not.
export function newId() {
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  return [...bytes].map((byte) => byte.toString(16).padStart(2, "0")).join("");
}
