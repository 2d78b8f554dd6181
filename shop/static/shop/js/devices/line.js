// What a gauge sends, read by the description of its line: the twin of shop/gauge_line.py, held to tests/shop/vectors/gauge_lines.json.

const LONGEST_LINE = 120;
const LONGEST_PATTERN = 80;
const MOST_OPEN = 3;
const MARKS = { point: ".", comma: ",", either: ".," };
const UNITS = new Map(
  Object.entries({
    mm: "mm", in: "in", inch: "in", '"': "in", "″": "in", um: "µm", "µm": "µm", "μm": "µm",
    n: "N", kn: "kN", lbf: "lbf", kgf: "kgf",
    mohm: "mΩ", "mω": "mΩ", uohm: "µΩ", "µω": "µΩ", "μω": "µΩ", ohm: "Ω", "ω": "Ω", "%": "%",
  }),
);
export const QUANTITY_OF = { mm: "length", in: "length", "µm": "length", N: "force", kN: "force", lbf: "force", kgf: "force", "mΩ": "resistance", "µΩ": "resistance", "Ω": "resistance", "%": "share" };

const literal = (character) => ("\\^$.*+?()[]{}|/-".includes(character) ? `\\${character}` : character);

// The source of the regular expression, or { rule }.
export function compiled(pattern, decimal = "either") {
  const bare = pattern.replace(/^[ \t\r\n]+|[ \t\r\n]+$/g, "");
  if (!bare || [...pattern].length > LONGEST_PATTERN) return { rule: "gauge.pattern.length" };
  const marks = MARKS[decimal];
  const parts = {
    value: `(?<![0-9.,])([+\\-−]? *(?:[0-9]{1,9}(?:[${marks}][0-9]{0,9})?|[${marks}][0-9]{1,9}))(?![0-9.,])`,
    sign: "([+\\-−]?)",
    unit: '([A-Za-zµμΩΩ%"″°]{0,8})',
    text: "[^ ]{1,20}",
    skip: ".{0,60}?",
  };
  const tokens = bare.match(/\{[^{}]*\}|[^{}]|[{}]/gsu) ?? [];
  const names = tokens.filter((token) => token.startsWith("{") && token.length > 1).map((token) => token.slice(1, -1));
  if (tokens.some((token) => token === "{" || token === "}") || names.some((name) => !Object.hasOwn(parts, name))) return { rule: "gauge.pattern.word" };
  const count = (...wanted) => names.filter((name) => wanted.includes(name)).length;
  if (count("value") !== 1 || count("unit") > 1 || count("sign") > 1) return { rule: "gauge.pattern.value" };
  if (count("text", "skip") > MOST_OPEN) return { rule: "gauge.pattern.open" };
  const written = tokens.map((token) => (token.startsWith("{") && token.length > 1 ? parts[token.slice(1, -1)] : token === " " ? " *" : literal(token)));
  return { source: `^${written.join("")}$` };
}

function unitOf(sent) {
  const low = sent.toLowerCase();
  if (sent.startsWith("M") && (low.startsWith("mohm") || low.startsWith("mω"))) return undefined;
  return UNITS.get(low);
}

// { text, unit } as it is called here, or { rule }.
export function readLine(line, { pattern, decimal = "either", unit = "" }) {
  const bare = line.replace(/^[ \t\r\n]+|[ \t\r\n]+$/g, "");
  if ([...bare].length > LONGEST_LINE) return { rule: "gauge.line.long" };
  const made = compiled(pattern, decimal);
  if (made.rule) return made;
  const match = new RegExp(made.source).exec(bare);
  if (!match) return { rule: "gauge.line.other" };
  const order = [...pattern.matchAll(/\{(value|sign|unit)\}/g)].map((one) => one[1]);
  const found = Object.fromEntries(order.map((name, index) => [name, match[index + 1]]));
  const text = found.value.replaceAll(" ", "").replaceAll(",", ".");
  const minus = (one) => one === "-" || one === "−";
  const negative = minus(text[0]) !== minus(found.sign ?? "");
  const [whole, fraction] = text.replace(/^[+\-−]+/, "").split(".");
  const bareWhole = whole.replace(/^0+/, "") || "0";
  const digits = fraction ? `${bareWhole}.${fraction}` : bareWhole;
  const called = unitOf(found.unit || unit);
  if (!called) return { rule: "gauge.line.unit" };
  return { text: negative ? `-${digits}` : digits, unit: called };
}
