// Where a batch stands: the station pack with the acts of this tablet folded in, one after the other, as the server would take them.
// Pure: no storage, no page. Whatever the server says afterwards counts; this only decides which question comes next.

import { OUTCOMES, overall } from "./verdict.js";

export const PULL = "pull force";
const FULL = ["first piece", "after change"];

/** How many pieces a line of the plan asks for in a sample. nth: which sample in process of its set-up, from 0. */
function pieces(line, kind, nth) {
  if (kind === "in process") return nth % line.every_nth === 0 ? line.sample : 0;
  return kind === "last piece" ? line.last : line.first;
}

/** {readings: [{line, pieces}], pulls: {line, pieces} or null, looked: [...], cut: [...]}. */
export function planOf(termination, kind, nth = 0) {
  const asked = termination.lines.map((line) => ({ line, pieces: pieces(line, kind, nth) })).filter((one) => one.pieces > 0);
  const pulls = asked.find((one) => one.line.characteristic === PULL) ?? null;
  return {
    readings: asked.filter((one) => one !== pulls),
    pulls,
    looked: termination.criteria.filter((one) => !one.cross_section),
    cut: FULL.includes(kind) ? termination.criteria.filter((one) => one.cross_section) : [],
  };
}

export function nthOf(batch, sample) {
  return batch.samples.filter((one) => one.kind === "in process" && one.setup_number === sample.setup_number && one.number < sample.number).length;
}

export const planOfSample = (batch, sample) => planOf(batch.plan, sample.kind, nthOf(batch, sample));
export const openSample = (batch) => batch.samples.find((one) => one.state === "open");
export const waitingSample = (batch) => batch.samples.find((one) => one.state === "waits for inspector");
export const valueAt = (sample, kind, piece) => sample.values.find((one) => one.kind === kind && one.piece === piece);

/** Which kind of sample belongs to the step the batch is at. */
export function kindOfFirst(batch) {
  return batch.setup_number > 1 || batch.samples.some((one) => one.state === "accepted") ? "after change" : "first piece";
}

export const missingSlots = (batch) => batch.plan.slots.filter((slot) => !batch.scans.some((scan) => scan.slot === slot.slot));

export function outcomeOf(sample) {
  return overall([...sample.values.map((one) => one.outcome), ...sample.looked.map(([, accepted]) => (accepted ? OUTCOMES.conforms : OUTCOMES.fails))]);
}

/** When the next sample in process is due: at a count and, where the plan asks by minutes, at a time. */
export function dueOf(batch, now = Date.now()) {
  const at_count = batch.last_good + batch.plan.sample_every;
  const minutes = batch.plan.sample_every_minutes;
  const at = minutes && batch.last_taken ? Date.parse(batch.last_taken) + minutes * 60_000 : null;
  return { at_count, at, now: batch.last_count >= at_count || (at !== null && now >= at) };
}

/** The question that comes next: {step, ...}. */
export function nextOf(batch) {
  if (batch.status === "on hold") return { step: "hold" };
  if (batch.status === "closing") return { step: "counts" };
  if (batch.status === "closed") return { step: "closed" };
  const waits = waitingSample(batch);
  if (waits) return { step: "inspector", sample: waits };
  const sample = openSample(batch);
  if (sample) return { sample, ...nextInSample(batch, sample) };
  if (batch.status === "set-up") return { step: "scan" };
  if (batch.status === "first piece") return missingSlots(batch).length ? { step: "scan" } : { step: "start", kind: kindOfFirst(batch) };
  return { step: "run" };
}

function nextInSample(batch, sample) {
  const plan = planOfSample(batch, sample);
  const open = (one) => Array.from({ length: one.pieces }, (_, n) => n + 1).find((piece) => !valueAt(sample, one.line.characteristic, piece));
  const compaction = plan.readings.filter((one) => one.line.characteristic === "compaction");
  for (const one of plan.readings) {
    if (compaction.includes(one)) continue; // read off a section, which is cut when everything else is done
    const piece = open(one);
    if (piece) return { step: "value", line: one.line, piece, pieces: one.pieces };
  }
  const pulled = plan.pulls && open(plan.pulls);
  if (pulled) return { step: "value", line: plan.pulls.line, piece: pulled, pieces: plan.pulls.pieces };
  const answered = new Set(sample.looked.map(([code]) => code));
  const looked = plan.looked.filter((one) => !answered.has(one.code));
  if (looked.length) return { step: "look", criteria: looked };
  const cut = plan.cut.find((one) => !answered.has(one.code));
  if (cut) return { step: "section", criterion: cut };
  for (const one of compaction) {
    const piece = open(one);
    if (piece) return { step: "value", line: one.line, piece, pieces: one.pieces };
  }
  return { step: "sign" };
}

function moveOn(batch, sample) {
  sample.state = "accepted";
  batch.status = sample.kind === "last piece" ? "closing" : "running";
  batch.last_good = Math.max(batch.last_good, sample.at_count);
  batch.last_taken = sample.taken_at;
}

const sampleOf = (batch, content) => batch.samples.find((one) => one.ref === content.sample || one.number === content.sample) ?? openSample(batch);

const APPLY = {
  scan(batch, { content }) {
    if (content.at_count) batch.last_count = Math.max(batch.last_count, Number(content.at_count));
    if (content.accepted !== true) return;
    const found = batch.plan.codes.find((one) => one.code === content.code);
    if (!found) return;
    const before = batch.scans.find((one) => one.slot === found.slot);
    batch.scans = [...batch.scans.filter((one) => one.slot !== found.slot), { slot: found.slot, part: found.part, code: found.code }];
    if (before && before.code !== found.code && batch.status !== "set-up" && found.part !== "inspection") {
      for (const sample of batch.samples) if (sample.state === "open") sample.state = "rejected";
      batch.setup_number += 1;
      batch.status = "first piece";
    }
    if (batch.status === "set-up" && !missingSlots(batch).length) batch.status = "first piece";
  },
  "start sample"(batch, { key, by, made_at, content }) {
    const at_count = Number(content.at_count);
    batch.last_count = Math.max(batch.last_count, at_count);
    const number = Math.max(0, ...batch.samples.map((one) => one.number)) + 1;
    const kind = content.sample_kind;
    batch.samples.push({ ref: `new:${key}`, number, kind, setup_number: batch.setup_number, at_count, state: "open", taken_by: by, taken_at: made_at, values: [], looked: [] });
  },
  reading(batch, { content }) {
    put(sampleOf(batch, content), { kind: content.characteristic, ...content });
  },
  pull(batch, { content }) {
    put(sampleOf(batch, content), { kind: PULL, ...content });
  },
  visual(batch, { content }) {
    const sample = sampleOf(batch, content);
    for (const one of content.answers ?? []) look(sample, one.criterion, one.accepted);
  },
  "cross-section"(batch, { content }) {
    look(sampleOf(batch, content), content.criterion, content.accepted);
  },
  conclude(batch, { content }) {
    const sample = sampleOf(batch, content);
    if (!sample) return;
    const conforms = outcomeOf(sample) === OUTCOMES.conforms;
    if (!conforms) {
      sample.state = "rejected";
      batch.status = "on hold";
    } else if (FULL.includes(sample.kind) && batch.plan.inspector_signs) sample.state = "waits for inspector";
    else moveOn(batch, sample);
  },
  countersign(batch, { content }) {
    const sample = sampleOf(batch, content) ?? waitingSample(batch);
    if (sample) moveOn(batch, sample);
  },
  hold(batch, { content }) {
    for (const sample of batch.samples) if (["open", "waits for inspector"].includes(sample.state)) sample.state = "rejected";
    batch.last_count = Math.max(batch.last_count, Number(content.at_count));
    Object.assign(batch, { status: "on hold", hold: content.reason });
  },
  counts(batch, { content }) {
    batch.prepared = content;
  },
};

function put(sample, { kind, piece, text, unit, mode = "", shown }) {
  if (!sample) return;
  sample.values = sample.values.filter((one) => one.kind !== kind || one.piece !== piece);
  sample.values.push({ kind, piece, text, unit, outcome: shown ?? OUTCOMES.undecided, mode });
}

function look(sample, code, accepted) {
  if (!sample) return;
  sample.looked = [...sample.looked.filter(([one]) => one !== code), [code, accepted]];
}

function opened(plan, act) {
  const blank = { last_count: 0, setup_number: 1, last_good: 0, last_taken: "", lots_ok: true, signals: 0, hold: "", scans: [], samples: [], destroyed: 0, scrapped: 0, kept: 0 };
  return { ...blank, number: `new:${act.key}`, termination: plan.pk, status: "set-up", quantity: Number(act.content.quantity), plan };
}

/** Every batch as this tablet knows it: {number: batch}. Acts that a person has to decide about change nothing here. */
export function fold(pack, acts) {
  const plans = new Map(pack.terminations.map((one) => [one.pk, one]));
  const batches = new Map();
  for (const packed of structuredClone(pack.batches)) batches.set(packed.number, { ...packed, plan: plans.get(packed.termination), waiting: 0 });
  for (const act of acts) {
    if (act.aside) continue;
    if (act.kind === "open batch" && plans.has(act.content.termination)) {
      batches.set(`new:${act.key}`, { ...opened(plans.get(act.content.termination), act), waiting: 0 });
    }
    const batch = batches.get(act.batch);
    if (!batch) continue;
    if (!act.sent) batch.waiting += 1;
    APPLY[act.kind]?.(batch, act);
  }
  return batches;
}

/** The pieces that tests destroyed, as far as this tablet knows. */
export function destroyedIn(batch) {
  return batch.samples.reduce((sum, sample) => {
    const pulls = sample.values.filter((one) => one.kind === PULL).length;
    const cut = sample.looked.filter(([code]) => batch.plan.criteria.some((one) => one.code === code && one.cross_section)).length;
    return sum + pulls + Math.max(cut, sample.values.filter((one) => one.kind === "compaction").length);
  }, 0);
}

/** The verdict zone of a line with the gauge that is set up, or null. */
export function zoneOf(batch, line) {
  const scan = batch.scans.find((one) => one.slot === `gauge ${line.gauge_kind}`);
  return scan ? (line.zones.find((one) => one.gauge === scan.code) ?? null) : null;
}
