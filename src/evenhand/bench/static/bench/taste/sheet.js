// One cup's form: sliders that begin without a value, a keypad, faults by a tap, suggested words; read and filled here.
"use strict";

export class SheetForm {
  // `part` is the section of one cup; `onedit` is called after each touch.
  constructor(part, words, onedit) {
    this.part = part;
    this.form = part.querySelector("form");
    this.code = part.dataset.code;
    this.words = words;
    this.onedit = onedit;
    this.scales = [...part.querySelectorAll("[data-attribute]")].map((scale) => this.#wireScale(scale));
    this.faults = [...part.querySelectorAll("input[name=heard]")];
    this.unasked = part.querySelector("input[name=unasked]");
    this.text = part.querySelector("textarea");
    this.given = this.read();
    for (const fault of this.faults) fault.addEventListener("change", () => this.#edited());
    this.unasked?.addEventListener("change", () => this.#edited());
    this.text.addEventListener("input", () => this.#edited());
    this.#wireWords();
    this.#showFaults();
  }

  #wireScale(part) {
    const number = part.querySelector("input[type=text]");
    const slider = part.querySelector("input[type=range]");
    const clear = part.querySelector("[data-clear]");
    const said = part.querySelector("[data-said]");
    const scale = { part, number, slider, name: part.dataset.attribute, low: Number(part.dataset.low), high: Number(part.dataset.high) };
    scale.show = () => {
      const value = numberOf(number.value);
      const isGiven = number.value.trim() !== "";
      part.classList.toggle("untouched", !isGiven);
      clear.hidden = !isGiven;
      said.hidden = isGiven;
      if (Number.isFinite(value)) slider.value = String(value);
      else if (!isGiven) slider.value = String((scale.low + scale.high) / 2);
      slider.setAttribute("aria-valuetext", isGiven ? number.value : this.words.unscored);
      part.classList.toggle("wrong", isGiven && !this.#isRight(scale));
    };
    const slide = () => {
      number.value = String(Number(slider.value));
      scale.show();
      this.#edited();
    };
    slider.addEventListener("input", slide);
    // A tap on the very place where the thumb rests changes nothing, yet it is meant: a click counts as well.
    slider.addEventListener("click", slide);
    number.addEventListener("input", () => {
      scale.show();
      this.#edited();
    });
    number.addEventListener("keydown", (event) => {
      if (event.key !== "Enter") return;
      event.preventDefault(); // the keypad's "next" must not hand the sheet in
      const at = this.scales.indexOf(scale);
      (this.scales[at + 1]?.number ?? this.form.querySelector("[data-after-scores]") ?? number).focus();
    });
    clear.addEventListener("click", () => {
      number.value = "";
      scale.show();
      number.focus();
      this.#edited();
    });
    slider.hidden = false;
    for (const end of part.querySelectorAll(".end")) end.hidden = false;
    part.querySelector(".span").classList.add("unseen"); // the ends of the slider say it
    scale.show();
    return scale;
  }

  #wireWords() {
    const list = this.part.querySelector("[data-words]");
    if (!list) return;
    list.hidden = false;
    for (const chip of list.querySelectorAll("button")) {
      chip.addEventListener("click", () => {
        const words = wordsOf(this.text.value);
        const at = words.indexOf(chip.dataset.word);
        if (at < 0) words.push(chip.dataset.word);
        else words.splice(at, 1);
        this.text.value = words.join(", ");
        this.#edited();
      });
    }
    this.#showWords();
  }

  #showWords() {
    const words = wordsOf(this.text.value);
    for (const chip of this.part.querySelectorAll("[data-words] button")) {
      chip.setAttribute("aria-pressed", String(words.includes(chip.dataset.word)));
    }
  }

  #showFaults() {
    if (this.unasked) for (const fault of this.faults) fault.disabled = this.unasked.checked;
  }

  #edited() {
    this.#showWords();
    this.#showFaults();
    this.complain([]);
    this.onedit(this);
  }

  #isRight(scale) {
    const value = numberOf(scale.number.value);
    return Number.isFinite(value) && value >= scale.low && value <= scale.high;
  }

  // What stands in the form, as it was typed.
  read() {
    return {
      scores: Object.fromEntries(this.scales.filter((s) => s.number.value.trim()).map((s) => [s.name, s.number.value.trim()])),
      heard: this.faults.filter((fault) => fault.checked).map((fault) => fault.value),
      unasked: this.unasked?.checked ?? false,
      words: this.text.value,
    };
  }

  fill(typed) {
    for (const scale of this.scales) {
      scale.number.value = typed.scores[scale.name] ?? "";
      scale.show();
    }
    for (const fault of this.faults) fault.checked = typed.heard.includes(fault.value);
    if (this.unasked) this.unasked.checked = typed.unasked;
    this.text.value = typed.words;
    this.#showWords();
    this.#showFaults();
  }

  // Fills the form with a sheet as it was sent.
  fillFrom({ scores, faults, words }) {
    this.fill({
      scores: Object.fromEntries(Object.entries(scores).map(([name, value]) => [name, String(value)])),
      heard: Object.keys(faults).filter((name) => faults[name]),
      unasked: this.faults.length > 0 && Object.keys(faults).length === 0,
      words,
    });
    this.given = this.read();
  }

  isTouched() {
    return JSON.stringify(this.read()) !== JSON.stringify(this.given);
  }

  // Returns the sheet as it is sent, or null with the reasons shown and the focus on them.
  content() {
    const typed = this.read();
    const reasons = this.scales
      .filter((scale) => scale.number.value.trim() && !this.#isRight(scale))
      .map((scale) => [
        scale.number,
        this.words.off_scale.replace("%a", scale.name).replace("%l", String(scale.low)).replace("%h", String(scale.high)),
      ]);
    const isBlank = !Object.keys(typed.scores).length && !typed.words.trim() && (!typed.heard.length || typed.unasked);
    if (!reasons.length && isBlank && (this.scales.length || typed.unasked || !this.faults.length)) {
      reasons.push([this.scales[0]?.number ?? this.text, this.words.empty]);
    }
    this.complain(reasons);
    if (reasons.length) return null;
    return {
      scores: Object.fromEntries(Object.entries(typed.scores).map(([name, text]) => [name, numberOf(text)])),
      faults: typed.unasked ? {} : Object.fromEntries(this.faults.map((fault) => [fault.value, fault.checked])),
      words: typed.words.trim(),
    };
  }

  complain(reasons) {
    const box = this.part.querySelector("[data-errors]");
    this.part.querySelector(".errors:not([data-errors])")?.remove(); // what the server said about an earlier try
    box.hidden = !reasons.length;
    if (!reasons.length) return;
    box.querySelector("ul").replaceChildren(
      ...reasons.map(([input, sentence]) => {
        const item = document.createElement("li");
        const link = Object.assign(document.createElement("a"), { href: `#${input.id}`, textContent: sentence });
        item.append(link);
        return item;
      }),
    );
    box.focus();
  }
}

// Reads a number with comma or point; NaN where it is none.
export function numberOf(text) {
  const found = /^\s*[-+−]?\d{0,12}([.,]\d{0,12})?\s*$/.test(text) && /\d/.test(text);
  return found ? Number(text.replace("−", "-").replace(",", ".").trim()) : Number.NaN;
}

function wordsOf(text) {
  return text
    .split(",")
    .map((word) => word.trim())
    .filter(Boolean);
}
