// A scanner types like a keyboard, only faster, and ends with Enter or Tab, with a suffix of its own, or with nothing. A burst of that
// kind goes into the scan field and sends its form, wherever the focus is. Slow typing is left alone, and so is a gauge that types into
// a reading.
//
// <input data-scan-field>   what the scanner sends around a code is a setting of the tablet: tablet.js

import { character, stripped } from "./burst.js";
import { tablet } from "./tablet.js";

const LEAST_LENGTH = 4;
const LONGEST = 200;
const LEAST_PAUSE_MS = 120;

let burst = "";
let lastAt = 0;
let slowest = 0;
let origin = null; // where the burst began, and what stood there before
let pause = 0;

const scanField = () => [...document.querySelectorAll("[data-scan-field]")].find((field) => !field.disabled && field.offsetParent !== null);
const tryField = () => document.querySelector("dialog[open] [data-scanner-try]");

const isTextInput = (element) => element?.matches?.("input:not([type=checkbox], [type=radio], [type=button], [type=submit]), textarea, select, [contenteditable]");

export function send(field, text) {
  field.value = stripped(text, tablet()).slice(0, LONGEST);
  field.form?.requestSubmit();
}

function take(field) {
  const code = burst;
  burst = "";
  if (origin && origin.element !== field && origin.value !== undefined) origin.element.value = origin.value;
  send(field, code);
}

function tried(ended) {
  const text = burst;
  burst = "";
  tryField()?.select(); // the next try begins anew
  if (text.length >= 2) document.dispatchEvent(new CustomEvent("burst:tried", { detail: { text, ended, gap: slowest } }));
}

document.addEventListener(
  "keydown",
  (event) => {
    if (event.isComposing) return;
    const trial = tryField();
    if (document.querySelector("dialog[open]") && (!trial || document.activeElement !== trial)) return;
    const field = trial ?? scanField();
    if (!field) return;

    const settings = tablet();
    const gap = trial ? 150 : settings.gap;
    const passed = event.timeStamp - lastAt;
    const isFast = passed <= gap;
    const typed = character(event);
    clearTimeout(pause);

    if (typed) {
      if (!isFast) {
        burst = "";
        slowest = 0;
        const active = document.activeElement;
        origin = isTextInput(active) ? { element: active, value: active.value } : null;
      } else {
        slowest = Math.max(slowest, passed);
      }
      if (burst.length <= LONGEST) burst += typed;
      lastAt = event.timeStamp;
      if (event.ctrlKey || event.key === "F8") event.preventDefault(); // the separator must do nothing of the browser's own
      if (trial) pause = setTimeout(() => tried(""), 400);
      else if (burst.length >= LEAST_LENGTH && !document.activeElement?.matches?.("[data-reading]")) {
        if (isFast && settings.suffix && burst.endsWith(settings.suffix)) pause = setTimeout(() => take(field), LEAST_PAUSE_MS);
        else if (isFast && settings.ends === "pause") pause = setTimeout(() => take(field), Math.max(LEAST_PAUSE_MS, 3 * gap));
      }
      return;
    }
    if (event.key !== "Enter" && event.key !== "Tab") return;
    if (trial) {
      event.preventDefault();
      if (isFast) tried(event.key);
      return;
    }

    const code = burst;
    if (!isFast || code.length < LEAST_LENGTH || document.activeElement?.matches?.("[data-reading]")) {
      burst = "";
      return;
    }
    event.preventDefault();
    event.stopPropagation();
    take(field);
  },
  { capture: true },
);

// Typed or pasted by hand with the scanner's prefix: strip it just the same.
document.addEventListener(
  "submit",
  (event) => {
    const field = event.target.querySelector?.("[data-scan-field]");
    if (field) field.value = stripped(field.value, tablet());
  },
  { capture: true },
);
