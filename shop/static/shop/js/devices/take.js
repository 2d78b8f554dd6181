// A value from a device goes into the reading that waits, with its unit and how it came in, and the form goes on as after Enter.

import { goOn } from "../keypad.js";
import { visible } from "../burst.js";
import { QUANTITY_OF } from "./line.js";

export const waiting = () => [...document.querySelectorAll("[data-measured]")].find((input) => !input.disabled && !input.readOnly && input.offsetParent !== null) ?? null;

const place = () => document.querySelector("[data-device]");

// The description of the gauge that is asked on this page, or null.
export function offer() {
  const text = place()?.dataset.device;
  return text ? JSON.parse(text) : null;
}

export function say(word, more = "") {
  const out = place()?.querySelector("[data-device-state]");
  if (!out) return;
  const key = `word${word[0].toUpperCase()}${word.slice(1)}`;
  out.dataset.state = word;
  out.textContent = [out.dataset[key] ?? "", visible(more)].filter(Boolean).join(" ");
}

export function showLive(text) {
  const out = place()?.querySelector("[data-device-live]");
  if (out) out.textContent = text;
}

export function setSource(form, source) {
  const field = form?.querySelector("[data-source]");
  if (field) field.value = source;
}

// True where the value was taken. gauge: the one that sent it, where that is known.
export function take({ text, unit }, source, gauge = "") {
  const input = waiting();
  if (!input) return false;
  const { quantity } = JSON.parse(input.form.dataset.live);
  const asked = offer()?.gauge;
  if (gauge && asked && gauge !== asked) {
    say("other", `${gauge}: ${text} ${unit}`);
    return false;
  }
  if (QUANTITY_OF[unit] !== quantity) {
    say("quantity", unit);
    return false;
  }
  if (input.value) {
    say("full", `${text} ${unit}`);
    return false;
  }
  const radio = [...input.form.querySelectorAll("[name=unit]")].find((one) => one.value === unit);
  if (radio) radio.checked = true;
  input.value = radio ? text : `${text} ${unit}`;
  setSource(input.form, source);
  input.dispatchEvent(new Event("input", { bubbles: true }));
  goOn(input);
  return true;
}
