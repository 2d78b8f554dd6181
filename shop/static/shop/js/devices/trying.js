// The try-out beside the description of a gauge's line: what the form would read in a line, before it is saved.
//
// <fieldset data-line-try> <input data-try-line> <p data-try-answer data-word-value="..">

import { readLine } from "./line.js";

const said = (form, name) => form.querySelector(`[name=${name}]`)?.value ?? "";

document.addEventListener("input", (event) => {
  const form = event.target.form;
  const trial = form?.querySelector("[data-line-try]");
  if (!trial) return;
  const line = trial.querySelector("[data-try-line]").value;
  const out = trial.querySelector("[data-try-answer]");
  if (!line) {
    out.textContent = "";
    return;
  }
  const found = readLine(line, { pattern: said(form, "pattern"), decimal: said(form, "decimal") || "either", unit: said(form, "unit") });
  out.textContent = found.rule ? out.getAttribute(`data-word-${found.rule.replaceAll(".", "-")}`) : `${out.dataset.wordValue} ${found.text} ${found.unit}`;
});
