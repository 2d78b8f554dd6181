// Number keys on the screen for the reading that has, or last had, the focus. The device's own keyboard, or a gauge that
// types a value and Enter, works at the same time: Enter goes to the next empty reading and sends the form after the last.
//
// <div class="keypad" data-keypad> <button type="button" data-key="7"> ... data-key="back" | "clear" | "sign" | "next" </div>
// <input data-reading>

import { recorded } from "./figures.js";

let lastReading = null;

const readings = (form) => [...(form ?? document).querySelectorAll("[data-reading]")].filter((input) => !input.disabled && !input.readOnly && !input.closest("dialog:not([open])"));

function targetOf(pad) {
  const form = pad.closest("form") ?? (pad.dataset.keypad ? document.getElementById(pad.dataset.keypad) : null);
  const inputs = readings(form);
  return inputs.includes(lastReading) ? lastReading : (inputs.find((input) => !input.value) ?? inputs[0]);
}

function changed(input) {
  input.dispatchEvent(new Event("input", { bubbles: true }));
}

function typeInto(input, text) {
  input.setRangeText(text, input.selectionStart ?? input.value.length, input.selectionEnd ?? input.value.length, "end");
  changed(input);
}

const KEYS = {
  back(input) {
    const end = input.selectionEnd ?? input.value.length;
    const start = input.selectionStart === end ? Math.max(0, end - 1) : input.selectionStart;
    input.setRangeText("", start, end, "end");
    changed(input);
  },
  clear(input) {
    input.value = "";
    changed(input);
  },
  sign(input) {
    input.value = input.value.startsWith("-") ? input.value.slice(1) : `-${input.value}`;
    changed(input);
  },
  next(input) {
    goOn(input);
  },
};

export function goOn(input) {
  const inputs = readings(input.form);
  const next = inputs.slice(inputs.indexOf(input) + 1).find((other) => !other.value);
  if (next) next.focus();
  else input.form?.requestSubmit();
}

document.addEventListener("focusin", (event) => {
  if (!event.target.matches("[data-reading]")) return;
  lastReading = event.target;
  // The keypad stands beside it: the device's own keyboard would only cover the question.
  if (document.querySelector("[data-keypad]")) event.target.inputMode = "none";
});

// Keep the focus in the reading while its keys are pressed.
document.addEventListener("pointerdown", (event) => {
  if (event.target.closest("[data-keypad] [data-key]")) event.preventDefault();
});

document.addEventListener("click", (event) => {
  const button = event.target.closest("[data-keypad] [data-key]");
  if (!button) return;
  const input = targetOf(button.closest("[data-keypad]"));
  if (!input) return;
  if (document.activeElement !== input) input.focus();
  const key = button.dataset.key;
  cameBy(input, "keypad");
  if (key in KEYS) KEYS[key](input);
  else typeInto(input, key);
});

// How the value came in is kept with it, where the form asks.
function cameBy(input, source) {
  const field = input.form?.querySelector("[data-source]");
  if (field && input.matches("[data-measured]")) field.value = source;
}

document.addEventListener("click", (event) => {
  const again = event.target.closest("[data-same-again]");
  const input = again?.form?.querySelector("[data-measured]");
  if (!input) return;
  input.value = again.dataset.sameAgain;
  cameBy(input, "typed");
  changed(input);
  again.form.querySelector("[name=reason]")?.focus();
});

// A comma from our own keys is a decimal sign for certain, and is sent as a point: "1,402" typed by hand could be a thousand.
document.addEventListener(
  "submit",
  (event) => {
    const input = event.target.querySelector?.("[data-measured]");
    if (input && event.target.querySelector("[data-source]")?.value === "keypad") input.value = recorded(input.value, "keypad");
  },
  { capture: true },
);

document.addEventListener("keydown", (event) => {
  if (event.key.length === 1 && event.target.matches?.("[data-measured]")) cameBy(event.target, "typed");
  if (event.ctrlKey || event.altKey || event.metaKey || event.isComposing) return;
  const active = document.activeElement;
  if (event.key === "Enter" && active?.matches("[data-reading]")) {
    event.preventDefault();
    if (active.value) goOn(active);
    return;
  }
  // Nothing has the focus and somebody, or a gauge, types a number: it belongs to the next empty reading.
  if (/^[0-9.,-]$/.test(event.key) && (active === document.body || active === null)) {
    const inputs = readings(document);
    (inputs.find((input) => !input.value) ?? inputs[0])?.focus();
  }
});
