// What this one tablet prefers: sound, vibration, and what its scanner sends around a code. Kept on the tablet, not at the server:
// another tablet beside another press has another scanner.
//
// <dialog id="tablet"> <input type="checkbox" data-tablet="sound"> <input data-tablet="prefix"> ... <input data-scanner-try>

import { visible } from "./burst.js";

const KEY = "tablet";
const USUAL = { sound: true, vibration: true, prefix: "", suffix: "", gap: 40, ends: "key" };

export function tablet() {
  try {
    return { ...USUAL, ...JSON.parse(localStorage.getItem(KEY) ?? "{}") };
  } catch {
    return { ...USUAL }; // storage refused, or somebody else's text in it
  }
}

export function keep(changes) {
  const kept = { ...tablet(), ...changes };
  try {
    localStorage.setItem(KEY, JSON.stringify(kept));
  } catch {
    // not kept, still in force on this page
  }
  document.dispatchEvent(new CustomEvent("tablet:changed", { detail: kept }));
  return kept;
}

function show() {
  const kept = tablet();
  for (const input of document.querySelectorAll("[data-tablet]")) {
    if (input.type === "checkbox") input.checked = Boolean(kept[input.dataset.tablet]);
    else if (input.type === "radio") input.checked = input.value === kept[input.dataset.tablet];
    else if (input !== document.activeElement) input.value = kept[input.dataset.tablet];
  }
}

function read(input) {
  const name = input.dataset.tablet;
  if (input.type === "checkbox") return { [name]: input.checked };
  if (input.type === "number") return input.validity.valid && input.value ? { [name]: Number(input.value) } : {};
  return { [name]: input.value };
}

document.addEventListener("input", (event) => {
  if (event.target.matches?.("[data-tablet]")) keep(read(event.target));
});
document.addEventListener("click", (event) => {
  if (event.target.closest('[data-dialog="tablet"]')) show();
});

// --- Try your scanner ------------------------------------------------------------------------------------------------------------

let proposed = null;

// What the scanner put around the number that stands on the label. Without the number only a leading or trailing sign can be told apart.
export function proposal(text, printed) {
  const at = printed ? text.indexOf(printed) : -1;
  if (at >= 0) return { prefix: text.slice(0, at).replace(/\][A-Za-z][0-9A-Za-z]$/, ""), suffix: text.slice(at + printed.length) };
  const found = /^([^\p{L}\p{N}([\]]*)(.*?)([^\p{L}\p{N})]*)$/su.exec(text);
  return { prefix: found[1].replaceAll("\x1d", ""), suffix: found[3].replaceAll("\x1d", "") };
}

document.addEventListener("burst:tried", (event) => {
  const { text, ended, gap } = event.detail;
  const dialog = document.getElementById("tablet");
  const out = dialog?.querySelector("[data-tried]");
  if (!out) return;
  const printed = dialog.querySelector("[data-printed]").value.trim();
  proposed = { ...proposal(text, printed), gap: Math.min(300, Math.max(20, Math.ceil((gap * 3) / 10) * 10)), ends: ended ? "key" : "pause" };
  const words = out.dataset;
  const facts = [
    `${words.wordArrived} ${visible(text)}`,
    `${text.length} ${words.wordCharacters}`,
    ended ? `${words.wordEnded} ${ended}` : words.wordPause,
    proposed.prefix ? `${words.wordPrefix} ${visible(proposed.prefix)}` : "",
    proposed.suffix ? `${words.wordSuffix} ${visible(proposed.suffix)}` : "",
  ];
  out.replaceChildren(
    ...facts.filter(Boolean).map((fact) => {
      const line = document.createElement("li");
      line.textContent = fact;
      return line;
    }),
  );
  dialog.querySelector("[data-take-proposal]").hidden = false;
});

document.addEventListener("click", (event) => {
  if (!event.target.closest("[data-take-proposal]") || !proposed) return;
  keep(proposed);
  show();
});
