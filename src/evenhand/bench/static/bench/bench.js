// What every page does: after an error focus goes to the summary; a number typed by a scale ends with Enter and moves on;
// a part that follows a form hears of what stood in it before the page was ready.
"use strict";

document.addEventListener("DOMContentLoaded", () => {
  document.querySelector("[data-focus]")?.focus();
});

// What was typed before the scripts were there, on a slow phone, or put back by the browser on a reload, has had nobody
// to hear it. A form marked data-heard tells it once, to the part that follows the form.
window.addEventListener("load", () => {
  const isTyped = (one) =>
    one instanceof HTMLInputElement && one.type !== "hidden" && (one.value !== one.defaultValue || one.checked !== one.defaultChecked);
  for (const form of document.querySelectorAll("form[data-heard]")) {
    [...form.elements].find(isTyped)?.dispatchEvent(new Event("input", { bubbles: true }));
  }
});

// A scale that types ends each weight with Enter. Inside a form marked data-walk, Enter goes to the next input and sends
// nothing until the last one.
document.addEventListener("keydown", (event) => {
  const input = event.target;
  if (event.key !== "Enter" || !(input instanceof HTMLInputElement) || !input.form?.matches("[data-walk]")) return;
  const inputs = [...input.form.elements].filter(
    (one) => one instanceof HTMLInputElement && !["hidden", "submit", "radio", "checkbox"].includes(one.type) && !one.disabled && (one.checkVisibility?.() ?? true),
  );
  const next = inputs[inputs.indexOf(input) + 1];
  if (next) {
    event.preventDefault();
    next.focus();
    next.select();
  }
});

// A button pressed twice by a wet thumb sends once.
document.addEventListener("submit", (event) => {
  const form = event.target;
  if (form.dataset.sent === "1") {
    event.preventDefault();
    return;
  }
  form.dataset.sent = "1";
  window.setTimeout(() => delete form.dataset.sent, 3000);
});

// A part that asks after the log-in has ended is refused; the page says so instead of showing a log-in form in its middle.
document.addEventListener("htmx:responseError", (event) => {
  if (event.detail.xhr.status === 401) document.getElementById("ended")?.removeAttribute("hidden");
});
