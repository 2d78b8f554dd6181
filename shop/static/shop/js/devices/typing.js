// A gauge that types its value, and Enter or Tab: a burst that reads as a value goes into the reading that waits, whatever has the focus.
// A scanner's burst does not: it is taken back out of the reading, and said to be a label.

import { tablet } from "../tablet.js";
import { readLine } from "./line.js";
import { offer, say, take, waiting } from "./take.js";

const ENDS = new Set(["Enter", "Tab"]);
const LEAST = 2;
const LABEL_LEAST = 4;
const MOST_FIGURES = 5; // without a decimal sign: more figures in one burst are an item number, not a value

const PLAIN = { pattern: "{value} {unit}", decimal: "either", unit: "" };

let burst = "";
let lastAt = 0;
let origin = null;

function valueIn(text) {
  const asked = offer();
  const unit = waiting()?.form.querySelector("[name=unit]:checked")?.value ?? "";
  if (asked?.way === "keyboard") {
    const found = readLine(text, asked);
    if (!found.rule) return found;
  }
  if (!/[.,]/.test(text) && text.replace(/\D/g, "").length > MOST_FIGURES) return null;
  const found = readLine(text, { ...PLAIN, unit });
  return found.rule ? null : found;
}

function restore() {
  if (origin?.element && "value" in origin.element) {
    origin.element.value = origin.value;
    origin.element.dispatchEvent(new Event("input", { bubbles: true }));
  }
}

document.addEventListener(
  "keydown",
  (event) => {
    if (event.isComposing || event.ctrlKey || event.altKey || event.metaKey || !waiting() || document.querySelector("dialog[open]")) return;
    const isFast = event.timeStamp - lastAt <= tablet().gap;
    if (event.key.length === 1) {
      if (!isFast) {
        burst = "";
        const active = document.activeElement;
        origin = active?.matches?.("input:not([type=radio], [type=checkbox]), textarea") ? { element: active, value: active.value } : null;
      }
      burst += event.key;
      lastAt = event.timeStamp;
      return;
    }
    if (!ENDS.has(event.key)) return;
    const text = burst;
    burst = "";
    if (!isFast || text.length < LEAST) return;
    // A hand that got faster: what stood there before and the burst are one number. Two values after each other are not.
    if (origin?.element === waiting() && origin.value && /^[+\-−]?[0-9]*[.,]?[0-9]*$/.test(origin.value + text.trim())) return;
    const value = valueIn(text.trim());
    if (!value && (text.length < LABEL_LEAST || !/[^0-9.,+\-−\s]/.test(text))) return; // figures in a hurry: as typed
    event.preventDefault();
    event.stopPropagation();
    restore();
    if (value) take(value, "typed by gauge");
    else say("label");
  },
  { capture: true },
);
