// What the tablet itself says about an act, written into it before it is kept: its verdict, what it believed of sheet and lots, and the
// values the page left open. Pure.

import { answersOf } from "./forms.js";
import { kindOfFirst, nthOf, openSample, outcomeOf, planOf, zoneOf, PULL } from "./state.js";
import { judge } from "./verdict.js";

const limitsOf = (line) => ({ low: line.low, nominal: line.nominal, high: line.high });

/** The tablet's answer to a typed value of a line, with the gauge that is set up. */
export function judged(batch, line, { text, unit, confirmed = false }) {
  return judge({ text, unit, quantity: line.quantity, limits: limitsOf(line), zone: zoneOf(batch, line), confirmed });
}

/** The code as the pack knows it for this batch, or undefined. */
export const known = (batch, code) => batch.plan.codes.find((one) => one.code === code);

/**
 * The act as it will be kept, or {open: answer} where a value still needs the person (a doubt, no number).
 * batch: as folded, before this act.
 */
export function completed(act, batch) {
  const content = { ...act.content };
  const done = { ...act, content };
  const sample = batch.samples.find((one) => one.ref === content.sample || one.number === content.sample) ?? openSample(batch);
  // A sample that this tablet began has no number on the server yet: it goes by the key of its beginning.
  if ("sample" in content && sample?.ref) content.sample = sample.ref;
  switch (act.kind) {
    case "scan":
      content.accepted = Boolean(known(batch, content.code));
      content.believed = { sheet: batch.plan.sheet_state, lots: batch.lots_ok };
      break;
    case "start sample":
      content.sample_kind ??= kindOfFirst(batch);
      content.believed = { sheet: batch.plan.sheet_state, lots: batch.lots_ok };
      break;
    case "reading":
    case "pull": {
      const name = act.kind === "pull" ? PULL : content.characteristic;
      const line = batch.plan.lines.find((one) => one.characteristic === name);
      if (!line) return { open: null };
      const answer = judged(batch, line, content);
      if (answer.state !== "judged") return { open: answer };
      content.shown = answer.outcome;
      break;
    }
    case "visual":
      if (content.marked) {
        const answered = new Set((sample?.looked ?? []).map(([code]) => code));
        const asked = planOf(batch.plan, sample?.kind ?? "", sample ? nthOf(batch, sample) : 0).looked;
        content.answers = answersOf(content.marked, asked.map((one) => one.code).filter((code) => !answered.has(code)));
        delete content.marked;
        if (!content.answers.length || content.answers.some((one) => !one.accepted && !one.note.trim())) return { open: null };
      }
      break;
    case "conclude":
      if (sample) content.outcome = outcomeOf(sample);
      break;
    default:
  }
  return done;
}
