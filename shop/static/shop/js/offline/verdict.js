// The twin of the server's verdict on one typed value: read as typed, believed or doubted, decided within its zone. Exact decimals.
// `tests/inspection/vectors/verdicts.json` holds both to the same answers; what changes here changes there.
// No page and no state in here, so that any module can call it.

import { adjusted, compare, decimal, isZero, minus, negative, plus, quantized, shown, times } from "./decimal.js";

// Python's white space, which is not JavaScript's.
const SPACE = "\\t-\\r\\x1c- \\x85\\xa0\\u1680\\u2000-\\u200a\\u2028\\u2029\\u202f\\u205f\\u3000";
const ENDS = new RegExp(`^[${SPACE}]+|[${SPACE}]+$`, "g");
const HEAD = new RegExp(`^[+\\-−]?[0-9.,${SPACE}'’]*(?:(?<=[0-9])[eE][+\\-]?[0-9]+)?`);
const NUMBER = /^([+\-−]?)((?:[0-9]+(?:[.,][0-9]+)*)|(?:[.,][0-9]+))(?:[eE]([+-]?[0-9]{1,2}))?$/;
const THOUSANDS = new RegExp(`^[+\\-−]?[0-9]{1,3}(?:[${SPACE}'’][0-9]{3})+(?:[.,][0-9]+)?$`);
const NOT_FINITE = /^[+\-−]?(nan|snan|inf|infinity|∞)/i;
const MEGOHM = new RegExp(`^[${SPACE}]*M[${SPACE}]*(Ω|Ω|ohm)`, "i");

const LONGEST_TEXT = 40;
const LONGEST_NUMBER = 15;
const LARGEST_POWER = 20;

// Spelling in lower case without blanks -> what it measures, and how many of the stored unit it is. "other": known, but not measured here.
const LENGTH = { mm: "1", millimetre: "1", millimeter: "1", cm: "10", m: "1000", "µm": "0.001", "μm": "0.001", um: "0.001", in: "25.4", "in.": "25.4", inch: "25.4", inches: "25.4", '"': "25.4", "″": "25.4", ft: "304.8", mil: "0.0254", mils: "0.0254", thou: "0.0254" };
const FORCE = { n: "1", kn: "1000", lbf: "4.4482216152605", ozf: "0.27801385095378125", kgf: "9.80665", kp: "9.80665" };
const RESISTANCE = { "mω": "1", mohm: "1", "µω": "0.001", "μω": "0.001", uohm: "0.001", "ω": "1000", ohm: "1000" };
const SHARE = { "%": "1" };
const OTHERS = ["mm2", "mm²", "mm^2", "sqmm", "qmm", "in2", "in²", "in^2", "cmil", "kcmil", "mcm", "°c", "c", "degc", "℃", "°f", "f", "degf", "k", "v", "kv", "a", "ma", "kg", "lb", "lbs"];
const UNITS = new Map(
  Object.entries({ length: LENGTH, force: FORCE, resistance: RESISTANCE, share: SHARE }).flatMap(([quantity, listed]) =>
    Object.entries(listed).map(([spelling, factor]) => [spelling, { quantity, factor: decimal(factor) }]),
  ),
);
for (const spelling of OTHERS) UNITS.set(spelling, { quantity: "other" });

const LARGEST = { length: decimal("10000"), force: decimal("1000000"), resistance: decimal("100000"), share: decimal("1000") };

export const OUTCOMES = { conforms: "conforms", fails: "does not conform", undecided: "undecided" };

const refused = (rule) => ({ state: "refused", rule });
const trimmed = (text) => text.replace(ENDS, "");
const lengthOf = (text) => [...text].length;

function number(text) {
  const bare = trimmed(text);
  const match = NUMBER.exec(bare);
  if (!match || lengthOf(bare) > LONGEST_TEXT) return { rule: THOUSANDS.test(bare) ? "reading.ambiguous" : "reading.not_a_number" };
  const [, sign, digits, exponent] = match;
  if (digits.replace(/[.,]/g, "").length > LONGEST_NUMBER) return { rule: "reading.not_a_number" };
  if ((digits.match(/[.,]/g) ?? []).length > 1) return { rule: "reading.ambiguous" };
  const [whole, fraction] = digits.split(",");
  if (fraction?.length === 3 && whole.length <= 3 && /[^0]/.test(whole)) return { rule: "reading.ambiguous" };
  const value = decimal(`${sign === "-" || sign === "−" ? "-" : ""}${digits.replace(",", ".")}${exponent ? `E${exponent}` : ""}`);
  if (!isZero(value) && Math.abs(adjusted(value)) > LARGEST_POWER) return { rule: "reading.not_a_number" };
  return { value };
}

function unitOf(spelling) {
  if (MEGOHM.test(spelling) && trimmed(spelling).startsWith("M")) return undefined;
  return UNITS.get(spelling.replaceAll(" ", "").toLowerCase());
}

/** {value, number, unit} in the stored unit of the quantity, or {state: "refused", rule}. */
export function read(text, unit, quantity) {
  const bare = trimmed(text);
  const head = HEAD.exec(bare)[0];
  const numberText = trimmed(head);
  const unitText = trimmed(bare.slice(head.length));
  if (NOT_FINITE.test(bare)) return refused("reading.not_a_number");
  if (lengthOf(bare) > LONGEST_TEXT || !numberText.replace(/^[+\-−]+|[+\-−]+$/g, "")) return refused("reading.not_a_number");
  const parsed = number(numberText);
  if (parsed.rule) return refused(parsed.rule);
  const found = unitOf(unitText || unit);
  if (!found) return refused(/[0-9]/.test(unitText) ? "reading.not_a_number" : "reading.wrong_unit");
  if (found.quantity !== quantity) return refused("reading.wrong_unit");
  return { value: times(parsed.value, found.factor), number: numberText, unit: unitText || unit };
}

const limit = (text) => (text === null || text === undefined ? null : decimal(text));
const below = (value, bound) => bound !== null && compare(value, bound) < 0;
const above = (value, bound) => bound !== null && compare(value, bound) > 0;

/** A zone without a guard band, for limits alone. */
export const simpleZone = (limits) => ({ proven_low: limits.low, proven_high: limits.high, reject_below: limits.low, reject_above: limits.high, nothing_proven: false });

/** The outcome of a value in a zone as the station pack carries it. */
export function decide(value, zone) {
  if (below(value, limit(zone.reject_below)) || above(value, limit(zone.reject_above))) return OUTCOMES.fails;
  const proven = !zone.nothing_proven && !below(value, limit(zone.proven_low)) && !above(value, limit(zone.proven_high));
  return proven ? OUTCOMES.conforms : OUTCOMES.undecided;
}

const HALF = decimal("0.5");
const QUARTER = decimal("0.25");
const DOUBLE = decimal("2");
const FOUR_TIMES = decimal("4");

function believable(value, low, high) {
  const [up, down] = low !== null && high !== null ? [DOUBLE, HALF] : [FOUR_TIMES, QUARTER];
  const positive = (one) => one.whole > 0n;
  const least = low === null ? decimal("0") : times(low, positive(low) ? down : up);
  const reach = high ?? low;
  const most = times(reach, positive(reach) ? up : down);
  return compare(value, least) >= 0 && compare(value, most) <= 0;
}

const INCH = decimal("25.4");
const PER_INCH = decimal("0.03937007874015748031496062992"); // 1 / 25.4 in 28 figures
const SHIFTS = [...["0.1", "10", "0.01", "100", "0.001", "1000"].map((by) => ["decimal point", decimal(by)]), ["unit", INCH], ["unit", PER_INCH]];

/** {seems: "ok" | "decimal point" | "unit" | "far", suggestion: text or null}. */
export function plausibility(value, limits) {
  const [low, high] = [limit(limits.low), limit(limits.high)];
  if (believable(value, low, high)) return { seems: "ok", suggestion: null };
  const shifted = SHIFTS.map(([kind, by]) => [kind, times(value, by)]);
  const simple = simpleZone(limits);
  const near = (one) => {
    if (low === null || high === null) return believable(one, low, high);
    const tolerance = minus(high, low);
    return compare(one, minus(low, tolerance)) >= 0 && compare(one, plus(high, tolerance)) <= 0;
  };
  const inside = shifted.filter(([, one]) => decide(one, simple) === OUTCOMES.conforms && believable(one, low, high));
  const close = shifted.filter(([, one]) => near(one));
  for (const [kind, meant] of [...inside, ...close]) return { seems: kind, suggestion: shown(kind === "unit" ? quantized(meant, 4) : meant) };
  return { seems: "far", suggestion: null };
}

/**
 * One value as typed. limits: texts in the stored unit, null where there is none; zone: of the gauge, or null for simple acceptance.
 *
 * {state: "refused", rule}, {state: "doubt", seems, suggestion}, or {state: "judged", outcome, value, number, unit}.
 */
export function judge({ text, unit, quantity, limits, zone = null, confirmed = false }) {
  const typed = read(text, unit, quantity);
  if (typed.state) return typed;
  if (compare(typed.value, negative(decimal("0"))) < 0 || compare(typed.value, LARGEST[quantity]) >= 0) return refused("reading.impossible");
  const believed = plausibility(typed.value, limits);
  if (believed.seems !== "ok" && !confirmed) return { state: "doubt", ...believed };
  if (zone?.refused) return refused("reading.uncertainty");
  return { state: "judged", outcome: decide(typed.value, zone ?? simpleZone(limits)), value: shown(typed.value), number: typed.number, unit: typed.unit };
}

/** One outcome for many: every single one has to conform. */
export function overall(outcomes) {
  if (outcomes.includes(OUTCOMES.fails)) return OUTCOMES.fails;
  return outcomes.length && outcomes.every((one) => one === OUTCOMES.conforms) ? OUTCOMES.conforms : OUTCOMES.undecided;
}
