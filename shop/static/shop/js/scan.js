// A scanner types like a keyboard, only faster, and ends with Enter or Tab. A burst of that kind goes into the scan field
// and sends its form, wherever the focus is. Slow typing is left alone, and so is a gauge that types into a reading.
//
// <input data-scan-field data-scan-prefix="" data-scan-suffix="" data-scan-gap="40">

const LEAST_LENGTH = 4;
const DEFAULT_GAP_MS = 40;

let burst = "";
let lastAt = 0;
let origin = null; // where the burst began, and what stood there before

const scanField = () => [...document.querySelectorAll("[data-scan-field]")].find((field) => !field.disabled && field.offsetParent !== null);

const isTextInput = (element) => element?.matches?.("input:not([type=checkbox], [type=radio], [type=button], [type=submit]), textarea, select, [contenteditable]");

function stripped(text, field) {
  const { scanPrefix: prefix = "", scanSuffix: suffix = "" } = field.dataset;
  let code = text.trim();
  if (prefix && code.startsWith(prefix)) code = code.slice(prefix.length);
  if (suffix && code.endsWith(suffix)) code = code.slice(0, -suffix.length);
  return code.trim();
}

document.addEventListener(
  "keydown",
  (event) => {
    if (event.isComposing || event.ctrlKey || event.altKey || event.metaKey) return;
    const field = scanField();
    if (!field) return;

    const gap = Number(field.dataset.scanGap) || DEFAULT_GAP_MS;
    const isFast = event.timeStamp - lastAt <= gap;

    if (event.key.length === 1) {
      if (!isFast) {
        burst = "";
        const active = document.activeElement;
        origin = isTextInput(active) ? { element: active, value: active.value } : null;
      }
      burst += event.key;
      lastAt = event.timeStamp;
      return;
    }
    if (event.key !== "Enter" && event.key !== "Tab") return;

    const code = burst;
    burst = "";
    if (!isFast || code.length < LEAST_LENGTH || document.activeElement?.matches?.("[data-reading]")) return;

    event.preventDefault();
    event.stopPropagation();
    if (origin && origin.element !== field && origin.value !== undefined) origin.element.value = origin.value;
    field.value = stripped(code, field);
    field.form?.requestSubmit();
  },
  { capture: true },
);

// Typed or pasted by hand with the scanner's prefix: strip it just the same.
document.addEventListener("submit", (event) => {
  const field = event.target.querySelector?.("[data-scan-field]");
  if (field) field.value = stripped(field.value, field);
});
