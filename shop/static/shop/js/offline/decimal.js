// Exact decimals for verdicts on the tablet: a whole number and a power of ten, rounded to 28 figures like the server's. No floats.

const FIGURES = 28;

const power = (count) => 10n ** BigInt(count);
const abs = (whole) => (whole < 0n ? -whole : whole);

// Half to even, as the server's context rounds.
function rounded(whole, exponent) {
  const length = abs(whole).toString().length;
  if (length <= FIGURES) return { whole, exponent };
  const drop = length - FIGURES;
  const step = power(drop);
  const sign = whole < 0n ? -1n : 1n;
  let kept = abs(whole) / step;
  const rest = abs(whole) % step;
  if (rest * 2n > step || (rest * 2n === step && kept % 2n === 1n)) kept += 1n;
  return rounded(sign * kept, exponent + drop);
}

/** "-1.40", "2E-3" or a plain whole number, as text. */
export function decimal(text) {
  const [, sign, digits, exponent] = /^([+-]?)([0-9]*\.?[0-9]*)(?:[eE]([+-]?[0-9]+))?$/.exec(text);
  const [before, after = ""] = digits.split(".");
  const whole = BigInt((before || "0") + after);
  return { whole: sign === "-" ? -whole : whole, exponent: Number(exponent ?? 0) - after.length };
}

export const times = (a, b) => rounded(a.whole * b.whole, a.exponent + b.exponent);

function aligned(a, b) {
  const exponent = Math.min(a.exponent, b.exponent);
  return [a.whole * power(a.exponent - exponent), b.whole * power(b.exponent - exponent), exponent];
}

export function plus(a, b) {
  const [one, other, exponent] = aligned(a, b);
  return rounded(one + other, exponent);
}

export const negative = (a) => ({ whole: -a.whole, exponent: a.exponent });
export const minus = (a, b) => plus(a, negative(b));

/** -1, 0 or 1. */
export function compare(a, b) {
  const [one, other] = aligned(a, b);
  return one < other ? -1 : one > other ? 1 : 0;
}

export const isZero = (a) => a.whole === 0n;

/** The power of ten of the first figure. */
export const adjusted = (a) => abs(a.whole).toString().length - 1 + a.exponent;

/** Rounded half up to so many places. */
export function quantized(a, places) {
  if (a.exponent >= -places) return { whole: a.whole * power(a.exponent + places), exponent: -places };
  const step = power(-places - a.exponent);
  const sign = a.whole < 0n ? -1n : 1n;
  const size = abs(a.whole);
  return { whole: sign * (size / step + ((size % step) * 2n >= step ? 1n : 0n)), exponent: -places };
}

/** As figures without an exponent; zeros at the end stay. */
export function shown(a) {
  const sign = a.whole < 0n ? "-" : "";
  const digits = abs(a.whole).toString();
  if (a.exponent >= 0) return sign + (a.whole === 0n ? "0" : digits + "0".repeat(a.exponent));
  const filled = digits.padStart(1 - a.exponent, "0");
  return `${sign}${filled.slice(0, a.exponent)}.${filled.slice(a.exponent)}`;
}

/** For drawing only: where a value lies on a screen. */
export const nearly = (a) => Number(shown(a));
