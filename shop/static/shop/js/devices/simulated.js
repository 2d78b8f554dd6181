// A gauge that is none, for training and tests: it is offered where the shop trains, and what it shows is marked as simulated.
//
// <div data-simulation='{"middle": .., "spread": .., "places": .., "unit": ".."}'> <button data-simulate="good | poor">

import { take } from "./take.js";

// Roughly normal: the sum of three even ones.
const scatter = () => Math.random() + Math.random() + Math.random() - 1.5;

document.addEventListener("click", (event) => {
  const button = event.target.closest("[data-simulate]");
  if (!button) return;
  const { middle, spread, places, unit } = JSON.parse(button.closest("[data-simulation]").dataset.simulation);
  const off = button.dataset.simulate === "poor" ? -12 * spread : 0;
  take({ text: Math.max(0, middle + off + scatter() * spread).toFixed(places), unit }, "simulated");
});
