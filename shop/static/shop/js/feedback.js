// A scan is answered to the ear and the hand too: two tones of our own, rising for yes and falling for no, and a short or a long buzz.
// Each can be switched off on this tablet (tablet.js). Only an answer to something just sent is sounded, never one that stood there.
//
// <section data-answer="yes | no | which">

import { tablet } from "./tablet.js";

const TONES = {
  // [Hz, starts at s, lasts s]
  yes: { shape: "triangle", notes: [[740, 0, 0.09], [1110, 0.1, 0.14]] },
  no: { shape: "square", notes: [[233, 0, 0.16], [156, 0.18, 0.3]] },
};
TONES.which = { shape: "triangle", notes: [[555, 0, 0.1], [555, 0.16, 0.1]] };
const BUZZ = { yes: [60], no: [180, 90, 180], which: [60, 90, 60] };

let audio = null;

export function sound(answer) {
  const Context = globalThis.AudioContext;
  if (!Context || !TONES[answer]) return false;
  audio ??= new Context();
  if (audio.state === "suspended") audio.resume();
  const { shape, notes } = TONES[answer];
  for (const [pitch, start, length] of notes) {
    const at = audio.currentTime + start;
    const tone = audio.createOscillator();
    const volume = audio.createGain();
    tone.type = shape;
    tone.frequency.value = pitch;
    volume.gain.setValueAtTime(0, at);
    volume.gain.linearRampToValueAtTime(shape === "square" ? 0.12 : 0.3, at + 0.012);
    volume.gain.linearRampToValueAtTime(0, at + length);
    tone.connect(volume).connect(audio.destination);
    tone.start(at);
    tone.stop(at + length + 0.02);
  }
  return true;
}

const WAITS = "answer-waits"; // survives a page that is loaded anew

function waits(set) {
  try {
    if (set === undefined) return sessionStorage.getItem(WAITS) !== null;
    if (set) sessionStorage.setItem(WAITS, "1");
    else sessionStorage.removeItem(WAITS);
  } catch {
    // no storage: no sound after a whole page load
  }
  return Boolean(set);
}

function answered() {
  if (!waits()) return;
  waits(false);
  const place = document.querySelector("[data-answer]");
  const answer = place?.dataset.answer ?? (document.querySelector(".refusal") ? "no" : "yes");
  const wanted = tablet();
  const sounded = wanted.sound && sound(answer);
  const vibrated = wanted.vibration && Boolean(navigator.userActivation?.hasBeenActive) && Boolean(navigator.vibrate?.(BUZZ[answer]));
  document.dispatchEvent(new CustomEvent("answered", { detail: { answer, sounded, vibrated } }));
}

document.addEventListener("submit", (event) => {
  const form = event.target;
  if (!event.defaultPrevented || form.closest("[hx-boost]")) if (form.querySelector("[data-scan-field]") || form.closest("[data-answer]")) waits(true);
});
document.addEventListener("htmx:afterSettle", answered);
document.addEventListener("click", (event) => {
  const trial = event.target.closest("[data-hear]");
  if (trial) sound(trial.dataset.hear);
});
answered();
