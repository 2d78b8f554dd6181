// The limit bar moves with what is being typed, and says in word and shape what it would amount to. The server decides; the tablet's twin
// of its verdict (offline/verdict.js) says it beforehand, with the same limits and the same zone.
//
// <form data-live='{"quantity": .., "limits": {..}, "zone": {..}, "left": .., "right": ..}'> <input data-measured> <div data-provisional>

import { recorded } from "./figures.js";
import { shown } from "./offline/decimal.js";
import { judge, read } from "./offline/verdict.js";

const EDGE = 4; // percent: as inspection/bar.py keeps a value off the drawing readable
const NS = "http://www.w3.org/2000/svg";
const CLASSES = { conforms: "conforms", "does not conform": "misfit", undecided: "undecided", doubt: "waiting" };

function draw(svg, at, text, outcome) {
  const mark = document.createElementNS(NS, "svg");
  mark.setAttribute("x", `${at}%`);
  mark.setAttribute("y", "0");
  mark.setAttribute("overflow", "visible");
  mark.dataset.liveMark = "";
  const group = document.createElementNS(NS, "g");
  group.setAttribute("class", `mark ${CLASSES[outcome] ?? "waiting"}`);
  const pointer = document.createElementNS(NS, "path");
  pointer.setAttribute("d", "M0 66 -11 46h22z");
  const figure = document.createElementNS(NS, "text");
  figure.setAttribute("y", "36");
  figure.textContent = text;
  group.append(pointer, figure);
  mark.append(group);
  svg.append(mark);
}

function show(input) {
  const form = input.form;
  const live = JSON.parse(form.dataset.live);
  const unit = form.querySelector("[name=unit]:checked")?.value ?? "";
  const text = recorded(input.value.trim(), form.querySelector("[data-source]")?.value);
  const said = text ? judge({ text, unit, ...live, zone: live.zone }) : { state: "refused" };
  const svg = document.querySelector("[data-live-bar] svg");
  svg?.querySelector("[data-live-mark]")?.remove();
  const known = said.state === "judged" || said.state === "doubt";
  const outcome = said.state === "judged" ? said.outcome : said.state;
  if (svg && known) {
    // What was judged a moment ago gives its place to what is being typed.
    svg.querySelector(":scope > svg:not([data-live-mark])")?.setAttribute("visibility", "hidden");
    const typed = read(text, unit, live.quantity);
    const value = Number(shown(typed.value));
    const share = ((value - live.left) / (live.right - live.left)) * 100;
    draw(svg, Math.min(Math.max(share, EDGE), 100 - EDGE).toFixed(2), `${input.value.trim()}`, outcome);
  } else svg?.querySelector(":scope > svg")?.removeAttribute("visibility");
  const place = form.querySelector("[data-provisional]");
  if (!place) return;
  place.hidden = !known;
  for (const one of place.querySelectorAll("[data-outcome]")) one.hidden = one.dataset.outcome !== outcome;
  if (said.state === "doubt") {
    const doubt = place.querySelector("[data-doubt]");
    const words = { "decimal point": doubt.dataset.wordPoint, unit: doubt.dataset.wordUnit, far: doubt.dataset.wordFar };
    doubt.textContent = [words[said.seems], said.suggestion].filter(Boolean).join(" ");
  }
}

const measured = () => document.querySelector("form[data-live] [data-measured]");

document.addEventListener("input", (event) => {
  const input = event.target.form?.dataset.live ? measured() : null;
  if (input && (event.target === input || event.target.name === "unit")) show(input);
});
const begin = () => measured()?.value && show(measured());
document.addEventListener("htmx:afterSettle", begin);
begin();
