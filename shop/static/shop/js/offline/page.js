// The offline page: the same questions as the floor's pages, from the station pack and the acts of this tablet. Every verdict is
// provisional until the server has taken the act. Texts come with the page (`#offline-words`), so that they are translated like all others.

import { completed, judged, known } from "./complete.js";
import { decimal, nearly } from "./decimal.js";
import { health, keep, lastContact, onChange, packKept, reachable, refreshPack, send, ticketOf, waiting } from "./outbox.js";
import { allActs, newKey } from "./store.js";
import { destroyedIn, dueOf, fold, missingSlots, nextOf, openSample, outcomeOf, planOfSample, PULL, valueAt } from "./state.js";
import { OUTCOMES } from "./verdict.js";
import { recorded, spoken } from "../figures.js";
import { sound } from "../feedback.js";
import { tablet } from "../tablet.js";

const WORDS = JSON.parse(document.getElementById("offline-words").textContent);
const RETRY_MS = 5_000;
const MODES = ["wire broke at crimp", "wire broke away from crimp", "pulled out", "terminal broke"];
const PARTS = ["people", "wire", "terminal", "tool", "documents", "inspection"];

/** A text of the page; {name} is filled in. */
const w = (name, filled = {}) => (WORDS[name] ?? name).replace(/\{(\w+)\}/g, (_, key) => String(filled[key] ?? ""));

function h(tag, attributes = {}, ...children) {
  const element = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) {
    if (value === false || value === null || value === undefined) continue;
    if (name.startsWith("on")) element.addEventListener(name.slice(2), value);
    else element.setAttribute(name, value === true ? "" : value);
  }
  element.append(...children.flat().filter((one) => one !== null && one !== undefined && one !== ""));
  return element;
}

function svg(tag, attributes = {}, ...children) {
  const element = document.createElementNS("http://www.w3.org/2000/svg", tag);
  for (const [name, value] of Object.entries(attributes)) element.setAttribute(name, value);
  element.append(...children);
  return element;
}

const icon = (name, small = true) => {
  const drawn = svg("svg", { class: small ? "icon small" : "icon", "aria-hidden": "true" });
  drawn.append(svg("use", { href: `#i-${name}` }));
  return drawn;
};

const SHAPES = { conforms: "conforms", "does not conform": "misfit", undecided: "undecided", waiting: "waiting", proven: "conforms", open: "waiting" };

function shape(outcome) {
  const drawn = svg("svg", { class: "shape", "aria-hidden": "true" });
  drawn.append(svg("use", { href: `#v-${SHAPES[outcome]}` }));
  return drawn;
}

const outcomeWord = (outcome) => w(`outcome.${outcome}`);

function verdict(outcome, word, { large = false, note = "" } = {}) {
  const attributes = { class: `verdict ${SHAPES[outcome]}${large ? " large" : ""}`, role: large && "status" };
  return h(large ? "p" : "span", attributes, shape(outcome), h("span", { class: "verdict-word" }, word), note && h("span", { class: "verdict-note" }, note));
}

// --- State of the page --------------------------------------------------------------------------------------------------------

const page = {
  pack: null,
  acts: [],
  batches: new Map(),
  batch: "", // the number of the batch in question, "" for the list
  ask: null, // a question the person chose: {step, ...}; null for the one that comes next
  last: null, // the value judged a moment ago
  notice: null, // {outcome, word, note}
  store: "kept",
  online: false,
  signOn: false,
  contact: null,
};

const person = () => page.pack?.people.find((one) => one.username === page.pack.person);

async function load() {
  try {
    page.pack = await packKept();
    page.acts = await allActs();
    page.contact = await lastContact();
    page.batches = page.pack ? fold(page.pack, page.acts) : new Map();
  } catch {
    page.store = "broken";
  }
}

const here = () => page.batches.get(page.batch);

/** Keep an act and go on with the next question. Nothing is shown as kept that is not. */
async function record(kind, content, { last = null } = {}) {
  const batch = here();
  const act = { key: newKey(), kind, batch: page.batch, content };
  const done = kind === "open batch" ? act : completed(act, batch);
  if ("open" in done) return false;
  try {
    await keep(done, page.pack.person, await ticketOf(page.pack.person));
  } catch {
    page.store = "broken";
    page.notice = { outcome: OUTCOMES.fails, word: w("not-saved"), note: w("broken") };
    draw();
    return false;
  }
  Object.assign(page, { ask: null, last, notice: null });
  await load();
  draw();
  attempt();
  return done;
}

// --- The frame ----------------------------------------------------------------------------------------------------------------

const region = (name) => document.querySelector(`[data-region="${name}"]`);

function drawStrip() {
  const batch = here();
  region("station").replaceChildren(icon("make"), batch ? `${batch.plan.tool} · ${shownNumber(batch)}` : WORDS.shop);
  region("person").replaceChildren(icon("people"), person()?.name ?? "–");
  const connection = document.querySelector("[data-connection]");
  connection.dataset.state = page.online ? "online" : "offline";
  const since = page.contact ? new Date(page.contact).toLocaleTimeString(document.documentElement.lang, { hour: "2-digit", minute: "2-digit", hourCycle: "h23" }) : "–";
  say(connection, page.online ? w("connected") : w("no-connection", { since }));
  const waits = page.acts.filter((act) => !act.sent).length;
  const saved = document.querySelector("[data-saved]");
  saved.dataset.state = page.store === "broken" ? "failed" : waits ? "unsaved" : "saved";
  say(saved, page.store === "broken" ? w("not-saved") : waits ? w(waits === 1 ? "kept-one" : "kept-many", { n: waits }) : w("on-the-server"));
}

/** Words of the strip; the same ones are not said again. */
function say(place, text) {
  const word = place.querySelector("[data-word]");
  if (word.textContent !== text) word.textContent = text;
}

function drawSeals() {
  const batch = here();
  if (!batch) return region("seals").replaceChildren();
  const slots = new Map(PARTS.map((part) => [part, batch.plan.slots.filter((one) => one.part === part)]));
  const items = PARTS.map((part) => {
    const there = batch.scans.filter((one) => one.part === part);
    const missing = slots.get(part).filter((slot) => !there.some((one) => one.slot === slot.slot));
    const proven = missing.length === 0 && (there.length > 0 || slots.get(part).length === 0);
    const evidence = [...there.map((one) => one.code), ...missing.map((one) => w("missing", { name: one.name }))];
    return h(
      "li",
      { class: `part ${proven ? "proven" : "open"}`, "aria-current": part === partNow(batch) && "step" },
      h("span", { class: "part-name" }, icon(part, false), w(`part.${part}`)),
      h("span", { class: "part-state" }, shape(proven ? "proven" : "open"), h("span", {}, proven ? w("proven") : w("open"))),
      h("ul", { class: "part-evidence" }, ...evidence.map((line) => h("li", {}, line))),
    );
  });
  region("seals").replaceChildren(h("ol", { class: "six-parts column", "aria-label": w("six-parts") }, ...items));
}

const partNow = (batch) => (batch.status === "set-up" ? (missingSlots(batch)[0]?.part ?? "inspection") : "inspection");
const shownNumber = (batch) => (batch.number.startsWith("new:") ? w("new-batch") : batch.number);

function draw() {
  drawStrip();
  drawSeals();
  const parts = question();
  region("question").replaceChildren(...[banner(), ...parts.question].filter(Boolean));
  region("answer").replaceChildren(...(parts.answer ?? []));
  region("actions").replaceChildren(...parts.actions);
  document.title = `${region("question").querySelector("h1")?.textContent ?? ""} · ${w("title")}`;
  (region("question").querySelector("[autofocus]") ?? region("answer").querySelector("[autofocus]"))?.focus();
}

/** What stands above every question: what the server said, and what this tablet cannot do. */
function banner() {
  if (page.notice) return verdict(page.notice.outcome, page.notice.word, { large: true, note: page.notice.note });
  if (page.store === "broken") return verdict(OUTCOMES.fails, w("not-saved"), { large: true, note: w("broken") });
  if (page.store === "full") return h("div", { class: "caution", role: "status" }, w("full"));
  if (page.store === "may be cleared" && !here()) return h("div", { class: "caution", role: "status" }, w("may-be-cleared"));
  return null;
}

function keypad(whole, form = "answer") {
  const pad = document.getElementById(whole ? "keypad-whole" : "keypad").content.cloneNode(true);
  pad.querySelector("[data-keypad]").dataset.keypad = form;
  return pad;
}

const button = (word, { primary = false, type = "button", ...more } = {}, ...children) =>
  h("button", { class: `button${primary ? " primary" : ""}`, type, ...more }, ...children, word);

const toList = () => button(w("batches"), { onclick: () => go("") }, icon("back"));
const toStop = () => button(w("stop-the-run"), { onclick: () => ask({ step: "stop" }) }, icon("hold"));
const submit = (word) => button(word, { primary: true, type: "submit", form: "answer" });
const provisional = () => h("p", { class: "limits-line" }, w("provisional"));

function form(taken, ...children) {
  return h(
    "form",
    {
      id: "answer",
      onsubmit: (event) => {
        event.preventDefault();
        taken(new FormData(event.target, event.submitter), event.target);
      },
    },
    ...children,
  );
}

function go(number) {
  Object.assign(page, { batch: number, ask: null, last: null, notice: null });
  draw();
}

function ask(question) {
  Object.assign(page, { ask: question, last: null, notice: null });
  draw();
}

function countField(name, value, { label = w("pieces-made"), focus = true } = {}) {
  return h(
    "div",
    { class: "reading" },
    h("label", { class: "visually-hidden", for: `id_${name}` }, label),
    h("input", { id: `id_${name}`, name, value, inputmode: "numeric", pattern: "[0-9]{1,9}", autocomplete: "off", required: true, "data-reading": true, autofocus: focus }),
    h("span", { class: "unit" }, w("pieces")),
  );
}

const isCount = (text) => /^[0-9]{1,9}$/.test(text);

function refuse(target, text) {
  target.querySelector(".refusal")?.remove();
  const shown = h("section", { class: "refusal", role: "alert" }, h("ul", { class: "findings" }, h("li", { class: "finding misfit" }, shape(OUTCOMES.fails), h("div", {}, h("p", {}, text)))));
  target.prepend(shown);
}

/** A count that does not fall below the one before; null after a refusal. */
function countIn(data, target, name = "at_count") {
  const text = String(data.get(name) ?? "").trim();
  if (!isCount(text)) refuse(target, w("no-count", { text: text || "–" }));
  else if (Number(text) < here().last_count) refuse(target, w("below", { made: text, last: here().last_count }));
  else return text;
  return null;
}

// --- The questions ------------------------------------------------------------------------------------------------------------

function question() {
  if (!page.pack) return nothingKept();
  const batch = here();
  if (!batch) return list();
  if (!person()?.run) return onlyOperators(batch);
  const next = page.ask ?? nextOf(batch);
  return QUESTIONS[next.step](batch, next);
}

function nothingKept() {
  return {
    question: [h("h1", {}, w("nothing-kept")), h("p", {}, w("nothing-kept-why"))],
    actions: [button(w("try-again"), { primary: true, onclick: attempt })],
  };
}

function onlyOperators(batch) {
  return {
    question: [h("h1", {}, `${shownNumber(batch)}: ${w(`status.${batch.status}`)}`), h("p", {}, w("only-operators"))],
    actions: [toList(), online()],
  };
}

function choice(main, note, end, onclick) {
  return h("button", { class: "choice", type: "button", onclick }, h("span", {}, h("strong", {}, main), h("span", { class: "note" }, note)), end && h("span", { class: "choice-end" }, end));
}

function list() {
  const batches = [...page.batches.values()].map((batch) => {
    const waits = batch.waiting ? w(batch.waiting === 1 ? "kept-one" : "kept-many", { n: batch.waiting }) : w("on-the-server");
    const note = `${w("lead")} ${batch.plan.lead}/${batch.plan.end} · ${w("made-of", { count: batch.last_count, planned: batch.quantity })} · ${waits}`;
    return choice(shownNumber(batch), note, verdict(batch.status === "on hold" ? OUTCOMES.fails : "waiting", w(`status.${batch.status}`)), () => go(batch.number));
  });
  const plans = new Map(page.pack.terminations.map((one) => [one.pk, one]));
  const queued = person()?.run
    ? page.pack.queue.slice(0, 20).map((one) => {
        const plan = plans.get(one.termination);
        const note = `${plan.terminal} · ${plan.wires.join(", ")} · ${w("open-pieces", { n: one.pieces_open })}`;
        return choice(`${plan.tool} · ${plan.sheet} ${plan.lead}/${plan.end}`, note, null, () => ask({ step: "open", plan, open: one.pieces_open }));
      })
    : [];
  if (page.ask?.step === "open") return openBatch(page.ask);
  return {
    question: [
      h("h1", {}, w("list")),
      h("p", { class: "limits-line" }, w("list-why")),
      batches.length ? h("div", { class: "choices" }, ...batches) : h("p", { class: "quiet" }, w("no-batch")),
      queued.length ? h("section", {}, h("h2", {}, w("queue")), h("div", { class: "choices" }, ...queued)) : "",
    ].filter(Boolean),
    actions: [online()],
  };
}

/** Back to the server's pages, or another try. */
function online() {
  const goal = page.batch && !page.batch.startsWith("new:") ? `/make/batch/${page.batch}/` : "/make/";
  if (page.signOn) return h("a", { class: "button primary", href: `/make/sign-on/?next=${encodeURIComponent(goal)}` }, w("sign-on"));
  if (page.online && !page.acts.some((act) => !act.sent)) return h("a", { class: "button primary", href: goal }, w("back-to-server"));
  return button(w("try-again"), { onclick: attempt });
}

function openBatch({ plan, open }) {
  const taken = async (data, target) => {
    const quantity = String(data.get("quantity")).trim();
    if (!isCount(quantity) || Number(quantity) < 1 || Number(quantity) > open) return refuse(target, w("quantity", { open }));
    const done = await record("open batch", { termination: plan.pk, quantity: Number(quantity) });
    if (done) go(`new:${done.key}`);
  };
  return {
    question: [h("h1", {}, w("how-many")), h("p", { class: "limits-line" }, `${plan.sheet} ${plan.lead}/${plan.end}, ${plan.terminal}`), form(taken, countField("quantity", open, { label: w("pieces") }))],
    answer: [keypad(true)],
    actions: [toList(), submit(w("start-batch"))],
  };
}

function target(batch) {
  const t = batch.plan;
  const height = t.lines.find((one) => one.characteristic === "crimp height");
  const pairs = [
    [w("tool"), `${t.tool}${t.setting ? ` · ${t.setting}` : ""}`],
    [w("terminal"), t.terminal],
    [w("wire"), t.wires.join(", ")],
    ...(height ? [[w("crimp-height"), limitsWords(height)]] : []),
  ];
  return h(
    "section",
    { class: "side", "aria-labelledby": "h-target" },
    h("h2", { id: "h-target" }, `${w("lead")} ${t.lead}/${t.end}`),
    h("dl", { class: "facts stacked" }, ...pairs.flatMap(([name, value]) => [h("dt", {}, name), h("dd", {}, h("strong", {}, value))])),
  );
}

const cautions = () => h("p", { class: "caution" }, w("cautions"));

function scanQuestion(batch, { count = null }) {
  const wanted = missingSlots(batch);
  const taken = async (data) => {
    const code = String(data.get("code")).trim();
    if (!code) return;
    const found = known(batch, code);
    const done = await record("scan", { code, ...(count === null ? {} : { at_count: count }) });
    if (!done) return;
    page.notice = found
      ? { outcome: OUTCOMES.conforms, word: w("yes"), note: `${code}, ${found.name}. ${w("provisional")}` }
      : { outcome: OUTCOMES.undecided, word: w("cannot-say"), note: w("not-in-pack", { code }) };
    draw();
    // The same answer to ear and hand as from the server.
    const { sound: aloud, vibration } = tablet();
    if (aloud) sound(found ? "yes" : "which");
    if (vibration && navigator.userActivation?.hasBeenActive) navigator.vibrate?.(found ? [60] : [60, 90, 60]);
  };
  const field = form(
    taken,
    h("label", { for: "id_code" }, w("label")),
    h("div", { class: "scan-row" }, h("input", { id: "id_code", name: "code", autocomplete: "off", autocapitalize: "off", spellcheck: "false", maxlength: "200", required: true, "data-scan-field": true, autofocus: true }), document.getElementById("camera-button").content.cloneNode(true)),
  );
  field.className = "scan";
  const proven = wanted.length === 0 && count === null;
  const heading = count !== null ? w("scan-what-comes-in") : proven ? w("set-up-proven") : `${w("scan")} ${wanted[0].name}`;
  return {
    question: [
      h("h1", {}, heading),
      count !== null ? h("p", { class: "limits-line" }, w("change-why", { n: count })) : "",
      field,
      wanted.length > 1 ? h("p", {}, `${w("then")} ${wanted.slice(1).map((one) => one.name).join(", ")}.`) : "",
      cautions(),
    ].filter(Boolean),
    answer: [target(batch)],
    actions: [toList(), submit(w("check-label"))],
  };
}

function start(batch, { kind }) {
  const proposed = kind === "in process" ? Math.max(dueOf(batch).at_count, batch.last_count) : kind === "last piece" ? Math.max(batch.quantity, batch.last_count) : batch.last_count + batch.plan.first_pieces;
  const taken = async (data, where) => {
    const count = countIn(data, where);
    if (count !== null) await record("start sample", { sample_kind: kind, at_count: count });
  };
  const asked = planOfSample(batch, { kind, setup_number: batch.setup_number, number: Infinity });
  const lines = [...asked.readings, ...(asked.pulls ? [asked.pulls] : [])].map((one) => `${capital(one.line.name)} × ${one.pieces}`);
  return {
    question: [
      h("h1", {}, w("start-sample", { kind: capital(w(`kind.${kind}`)) })),
      h("p", { class: "limits-line" }, w("last-stated", { n: batch.last_count })),
      form(taken, countField("at_count", proposed)),
      h("section", {}, h("h2", {}, w("will-be-asked")), h("ul", { class: "past-scans" }, ...lines.map((line) => h("li", {}, line)), h("li", {}, w("criteria", { n: asked.looked.length })))),
    ],
    answer: [keypad(true)],
    actions: [toList(), toStop(), submit(w("start-measuring"))],
  };
}

const capital = (text) => text.charAt(0).toUpperCase() + text.slice(1);

function limitsWords(line) {
  const [low, high] = [line.low, line.high].map((limit) => limit && spoken(limit));
  if (low !== null && high !== null) return w("from-to", { low, high, unit: line.unit });
  return low !== null ? w("at-least", { low, unit: line.unit }) : w("at-most", { high, unit: line.unit });
}

/** The limit bar of the floor's pages: drawn only, the verdict is passed elsewhere. */
function bar(line, marks) {
  const number = (text) => (text === null ? null : nearly(decimal(text)));
  const [low, nominal, high] = [number(line.low), number(line.nominal), number(line.high)];
  let left, right;
  if (low !== null && high !== null) {
    const room = (high - low) * 0.7 || Math.abs(high) / 10 || 1;
    [left, right] = [low - room, high + room];
  } else {
    const stated = low ?? high;
    const reach = Math.abs(stated) || 1;
    [left, right] = low !== null ? [stated - reach / 2, stated + reach * 1.5] : [stated - reach * 1.5, stated + reach / 2];
  }
  const at = (value) => `${Math.min(Math.max(((value - left) / (right - left)) * 100, 4), 96)}%`;
  const from = low === null ? "0%" : at(low);
  const to = high === null ? "100%" : at(high);
  const word = (x, text) => svg("text", { class: "limit-word", x, y: 117 }, text);
  const edge = (name, x, y1, y2) => svg("line", { class: name, x1: x, x2: x, y1, y2 });
  const drawn = svg("svg", { role: "img", "aria-label": `${line.name}: ${limitsWords(line)}` });
  drawn.append(svg("line", { class: "scale", x1: 0, x2: "100%", y1: 80, y2: 80 }));
  drawn.append(svg("rect", { class: "within", x: from, width: `${parseFloat(to) - parseFloat(from)}%`, y: 68, height: 24 }));
  if (low !== null) drawn.append(edge("limit", from, 60, 100), word(from, line.low));
  if (nominal !== null) drawn.append(edge("nominal", at(nominal), 64, 98), word(at(nominal), line.nominal));
  if (high !== null) drawn.append(edge("limit", to, 60, 100), word(to, line.high));
  for (const mark of marks) {
    if (mark.value === null) continue;
    const x = at(nearly(decimal(mark.value)));
    if (!mark.newest) drawn.append(edge("earlier", x, 72, 88));
    else {
      const group = svg("g", { class: `mark ${SHAPES[mark.outcome]}` }, svg("path", { d: "M0 66 -11 46h22z" }), svg("text", { y: 36 }, mark.text));
      drawn.append(svg("svg", { x, y: 0, overflow: "visible" }, group));
    }
  }
  return h("figure", { class: "limit-bar" }, drawn);
}

const REFUSED = { "reading.not_a_number": "not-a-number", "reading.ambiguous": "ambiguous", "reading.wrong_unit": "wrong-unit", "reading.impossible": "impossible", "reading.uncertainty": "no-uncertainty" };

function value(batch, { line, piece, pieces, sample, doubt = null, correcting = null }) {
  const pull = line.characteristic === PULL;
  const name = capital(line.name);
  const taken = async (data, where) => {
    const given = doubt ? { ...doubt.given } : { text: recorded(String(data.get("text")).trim()), unit: String(data.get("unit") ?? line.unit), mode: String(data.get("mode") ?? ""), reason: String(data.get("reason") ?? "") };
    if (data.has("take")) Object.assign(given, { text: doubt.suggestion, unit: line.unit });
    if (pull && !given.mode) return refuse(where, w("pick-mode"));
    if (correcting && !given.reason.trim()) return refuse(where, w("say-why"));
    const confirmed = data.has("confirmed");
    const answer = judged(batch, line, { ...given, confirmed });
    if (answer.state === "refused") return refuse(where, w(REFUSED[answer.rule], { text: given.text }));
    if (answer.state === "doubt") return ask({ step: "value", line, piece, pieces, sample, correcting, doubt: { ...answer, given } });
    const content = { sample: sample.ref ?? sample.number, piece, text: answer.number, unit: answer.unit, confirmed, reason: given.reason };
    if (correcting) content.corrects = true;
    const last = { line, piece, sample, outcome: answer.outcome, text: `${answer.number} ${answer.unit}` };
    await (pull ? record("pull", { ...content, mode: given.mode }, { last }) : record("reading", { ...content, characteristic: line.characteristic }, { last }));
  };
  const heading = h("h1", {}, pieces > 1 ? w("piece-of", { name, piece, pieces }) : name);
  if (doubt) {
    const shown = `${doubt.given.text} ${doubt.given.unit}`;
    const wrong = doubt.seems === "unit" ? w("unit-slipped") : w("point-slipped");
    const big = (attributes, main, note) => h("button", { class: "choice big", type: "submit", ...attributes }, h("span", {}, h("strong", {}, main), h("span", { class: "note" }, note)));
    return {
      question: [
        heading,
        h("p", {}, w("far", { text: shown, limits: limitsWords(line) })),
        form(taken, h("div", { class: "choices" }, doubt.suggestion && big({ name: "take", value: "1" }, w("it-is", { value: doubt.suggestion, unit: line.unit }), wrong), big({ name: "confirmed", value: "1" }, w("really-shows", { value: shown }), w("recorded-as-is")))),
      ],
      actions: [button(w("measure-again"), { primary: true, onclick: () => ask(null) })],
    };
  }
  const earlier = sample.values.filter((one) => one.kind === line.characteristic && !(correcting && one.piece === piece));
  const newest = page.last && page.last.line.characteristic === line.characteristic ? page.last.piece : null;
  const marks = earlier.map((one) => {
    const answer = judged(batch, line, { text: one.text, unit: one.unit, confirmed: true });
    return { value: answer.value ?? null, text: `${one.text} ${one.unit}`, outcome: one.outcome, newest: one.piece === newest };
  });
  const units = line.units.map((unit, n) => h("label", { class: "choice" }, h("input", { type: "radio", name: "unit", value: unit, checked: unit === (page.unit?.[line.quantity] ?? line.units[0]) || (n === 0 && !page.unit) }), unit));
  const modes = pull
    ? h(
        "fieldset",
        { class: "modes" },
        h("legend", { class: "visually-hidden" }, w("how-it-ended")),
        h("div", { class: "choices" }, ...MODES.map((mode) => h("label", { class: "choice" }, h("input", { type: "radio", name: "mode", value: mode, required: true }), h("span", {}, document.getElementById(`mode-${mode.replaceAll(" ", "-")}`).content.cloneNode(true), w(`mode.${mode}`))))),
      )
    : "";
  return {
    question: [
      heading,
      h("p", { class: "target" }, h("strong", {}, limitsWords(line)), page.last ? "" : h("span", { class: "limits-line" }, ` ${line.how}`)),
      bar(line, marks),
      form(
        taken,
        h(
          "div",
          { class: "value-row" },
          h("div", { class: "reading" }, h("label", { class: "visually-hidden", for: "id_text" }, `${name}, ${w("piece")} ${piece}`), h("input", { id: "id_text", name: "text", inputmode: "decimal", autocomplete: "off", maxlength: "24", required: true, "data-reading": true, autofocus: true })),
          h("fieldset", { class: "units" }, h("legend", { class: "visually-hidden" }, w("unit")), ...units),
        ),
        modes,
        correcting ? h("div", { class: "field" }, h("label", { for: "id_reason" }, w("why-corrected", { value: correcting })), h("input", { id: "id_reason", name: "reason", maxlength: "200", required: true, autocomplete: "off" })) : "",
      ),
      lastAnswer(),
      pull ? h("p", { class: "caution" }, w("pulled")) : "",
    ].filter(Boolean),
    answer: [keypad(false)],
    actions: [toList(), toStop(), submit(correcting ? w("record-correction") : w("record"))],
  };
}

function lastAnswer() {
  if (!page.last) return "";
  const { line, piece, sample, outcome, text } = page.last;
  const pieces = Math.max(piece, 1);
  return h(
    "div",
    { class: "last-answer" },
    verdict(outcome, `${outcomeWord(outcome)}`, { large: true, note: `${capital(line.name)} ${piece}: ${text}. ${w("provisional")}` }),
    button(w("correct"), { onclick: () => correct(line, piece, pieces, sample) }),
  );
}

function correct(line, piece, pieces, sample) {
  const standing = here().samples.find((one) => one.number === sample.number);
  const there = valueAt(standing, line.characteristic, piece);
  ask({ step: "value", line, piece, pieces, sample: standing, correcting: there ? `${there.text} ${there.unit}` : "" });
}

function look(batch, { criteria, sample }) {
  const taken = async (data, where) => {
    const rest = data.has("all") ? "accept" : "";
    const answers = criteria.map((one) => ({ criterion: one.code, said: data.get(one.code) || rest, note: String(data.get(`note-${one.code}`) ?? "").trim() })).filter((one) => one.said);
    if (!answers.length) return refuse(where, w("mark-something"));
    if (answers.some((one) => one.said === "reject" && !one.note)) return refuse(where, w("say-what-you-see"));
    await record("visual", { sample: sample.ref ?? sample.number, answers: answers.map(({ criterion, said, note }) => ({ criterion, accepted: said === "accept", note: said === "accept" ? "" : note })) });
  };
  return {
    question: [h("h1", {}, w("look")), lastAnswer(), form(taken, h("div", { class: "criteria" }, ...criteria.map((one) => criterion(one, one.code)))), provisional()].filter(Boolean),
    actions: [toList(), button(w("record-marked"), { type: "submit", form: "answer" }), button(w("accept-rest"), { primary: true, type: "submit", form: "answer", name: "all", value: "1" })],
  };
}

function criterion(one, name) {
  const picture = (said) => document.getElementById(`sketch-${one.code}-${said}`)?.content.cloneNode(true) ?? "";
  const radio = (said, word) => h("label", { class: "choice" }, h("input", { type: "radio", name, value: said }), h("span", {}, picture(said), word));
  return h(
    "fieldset",
    { class: "criterion" },
    h("legend", { class: "visually-hidden" }, one.title),
    h("div", {}, h("strong", {}, one.title), h("span", { class: "note" }, one.accept)),
    h("div", { class: document.getElementById(`sketch-${one.code}-accept`) ? "pair pictured" : "pair" }, radio("accept", w("accept")), radio("reject", w("reject"))),
    h("div", { class: "reject-note field" }, h("label", { for: `id_note-${name}` }, w("what-is-seen")), h("input", { id: `id_note-${name}`, name: `note-${name}`, maxlength: "200", autocomplete: "off", placeholder: one.reject })),
  );
}

function badgeField(label) {
  return h("div", { class: "field" }, h("label", { for: "id_badge" }, label), h("input", { id: "id_badge", name: "badge", autocomplete: "off", autocapitalize: "off", spellcheck: "false", maxlength: "60", required: true, "data-scan-field": true, autofocus: true }));
}

const byBadge = (badge) => page.pack.people.find((one) => one.badge === badge || one.username === badge);
const today = () => new Date().toISOString().slice(0, 10);
const qualified = (one, process) => Object.entries(one.until).some(([name, until]) => (name === process || name.startsWith(`${process} `)) && (!until || until >= today()));

function section(batch, { criterion: asked, sample }) {
  const taken = async (data, where) => {
    const said = data.get("answer");
    const note = String(data.get("note-answer") ?? "").trim();
    const judge = byBadge(String(data.get("badge")).trim());
    if (!said) return refuse(where, w("mark-something"));
    if (said === "reject" && !note) return refuse(where, w("say-what-you-see"));
    if (!judge || !qualified(judge, "cross-section")) return refuse(where, w("not-qualified", { process: w("process.cross-section") }));
    await record("cross-section", { sample: sample.ref ?? sample.number, criterion: asked.code, accepted: said === "accept", note, badge: judge.badge });
  };
  return {
    question: [h("h1", {}, asked.title), lastAnswer(), form(taken, h("div", { class: "criteria" }, criterion({ ...asked, title: w("section-shows") }, "answer")), badgeField(w("badge-section")), claimed()), h("p", { class: "caution" }, w("cut"))].filter(Boolean),
    actions: [toList(), submit(w("record-section"))],
  };
}

const claimed = () => h("p", { class: "help" }, w("claimed"));

function values(batch, sample) {
  const lines = sample.values.map((one) => {
    const line = batch.plan.lines.find((other) => other.characteristic === one.kind);
    return [one.outcome, h("tr", {}, h("th", { scope: "row" }, `${capital(line?.name ?? one.kind)} ${one.piece}`, h("span", { class: "note" }, line ? limitsWords(line) : "", one.mode ? `, ${w(`mode.${one.mode}`)}` : "")), h("td", { class: "figure" }, `${one.text} ${one.unit}`, h("br"), verdict(one.outcome, outcomeWord(one.outcome))))];
  });
  const rejected = sample.looked.filter(([, accepted]) => !accepted).map(([code]) => [OUTCOMES.fails, h("tr", {}, h("th", { scope: "row" }, batch.plan.criteria.find((one) => one.code === code)?.title ?? code), h("td", { class: "figure" }, verdict(OUTCOMES.fails, w("rejected"))))]);
  const rows = [...rejected, ...lines].sort(([a], [b]) => (a === OUTCOMES.conforms) - (b === OUTCOMES.conforms)).map(([, row]) => row);
  const accepted = sample.looked.filter(([, yes]) => yes).length;
  return [
    h("div", { class: "table-frame", tabindex: "0", role: "group", "aria-label": w("every-value") }, h("table", { class: "table values" }, h("thead", {}, h("tr", {}, h("th", { scope: "col" }, w("what")), h("th", { class: "figure", scope: "col" }, w("value")))), h("tbody", {}, ...rows))),
    accepted ? h("p", {}, verdict(OUTCOMES.conforms, w("accepted-criteria", { n: accepted }))) : "",
  ].filter(Boolean);
}

function sign(batch, { sample }) {
  const outcome = outcomeOf(sample);
  const conforms = outcome === OUTCOMES.conforms;
  const needs = sample.kind !== "in process";
  const own = person();
  const taken = async (data, where) => {
    if (needs && byBadge(String(data.get("badge")).trim())?.username !== own?.username) return refuse(where, w("own-badge", { name: own?.name ?? "–" }));
    await record("conclude", { sample: sample.ref ?? sample.number });
  };
  const word = needs ? (conforms ? w("sign-measured") : w("sign-and-stop")) : conforms ? w("accept-sample") : w("reject-sample");
  return {
    question: [
      h("h1", {}, w("sample-at", { kind: capital(w(`kind.${sample.kind}`)), count: sample.at_count })),
      verdict(outcome, conforms ? w("sample-conforms") : w("sample-fails"), { large: true, note: `${conforms ? w("every-value-in") : w("quality-decides")} ${w("provisional")}` }),
      form(taken, ...(needs ? [badgeField(w("badge-of", { name: own?.name ?? "" })), claimed()] : [])),
      ...values(batch, sample),
      h("p", { class: "caution" }, w("pull-alone")),
    ],
    actions: [toList(), submit(word)],
  };
}

function inspector(batch, { sample }) {
  const taken = async (data, where) => {
    const other = byBadge(String(data.get("badge")).trim());
    if (!other?.countersign) return refuse(where, w("no-inspector"));
    if (other.username === sample.taken_by) return refuse(where, w("same-person", { name: other.name }));
    if (!qualified(other, "inspect")) return refuse(where, w("not-qualified", { process: w("process.inspect") }));
    await record("countersign", { sample: sample.ref ?? sample.number, badge: other.badge });
  };
  const outcome = outcomeOf(sample);
  return {
    question: [
      h("h1", {}, w("inspector")),
      h("p", {}, w("inspector-why")),
      form(taken, badgeField(w("badge-inspector")), claimed()),
      verdict(outcome, outcome === OUTCOMES.conforms ? w("sample-conforms") : w("sample-fails"), { large: true, note: w("provisional") }),
      ...values(batch, sample),
    ],
    actions: [toList(), toStop(), submit(w("approve"))],
  };
}

function run(batch) {
  const due = dueOf(batch);
  const at = due.at ? new Date(due.at).toLocaleTimeString(document.documentElement.lang, { hour: "2-digit", minute: "2-digit", hourCycle: "h23" }) : "";
  return {
    question: [
      h("h1", {}, w("running")),
      batch.signals ? h("section", { class: "refusal", role: "alert" }, h("p", {}, w("signal"))) : "",
      h(
        "div",
        { class: "run-facts" },
        h("p", { class: `run-due${due.now ? " is-due" : ""}`, "data-due-at": due.at ? new Date(due.at).toISOString() : null }, h("span", { class: "when-not-due" }, w("next-sample")), h("strong", { class: "reading-shown" }, String(due.at_count)), at ? h("span", {}, w("or-at", { at })) : "", h("span", { class: "when-due", role: "status" }, icon("inspection", false), w("due-now"))),
        h("p", {}, h("span", {}, w("last-count")), h("strong", {}, String(batch.last_count)), h("span", { class: "quiet" }, w("of", { n: batch.quantity }))),
        h("p", {}, h("span", {}, w("last-good")), h("strong", {}, String(batch.last_good))),
      ),
      h("p", { class: "limits-line" }, w("chart-later")),
    ].filter(Boolean),
    answer: [
      h(
        "nav",
        { class: "side choices", "aria-label": w("what-else") },
        choice(capital(w("kind.last piece")), w("batch-is-made"), null, () => ask({ step: "start", kind: "last piece" })),
        choice(w("change"), "", null, () => ask({ step: "change" })),
        choice(w("stop-the-run"), w("something-wrong"), null, () => ask({ step: "stop" })),
      ),
    ],
    actions: [toList(), button(w("take-sample"), { primary: true, onclick: () => ask({ step: "start", kind: "in process" }) })],
  };
}

function change(batch) {
  const taken = (data, where) => {
    const count = countIn(data, where);
    if (count !== null) ask({ step: "scan", count });
  };
  return {
    question: [h("h1", {}, w("how-many-made")), h("p", { class: "limits-line" }, w("last-stated", { n: batch.last_count })), form(taken, countField("at_count", batch.last_count))],
    answer: [keypad(true)],
    actions: [button(w("back"), { onclick: () => ask(null) }, icon("back")), submit(w("on-to-scan"))],
  };
}

function stop(batch) {
  const taken = async (data, where) => {
    const count = countIn(data, where);
    if (count === null) return;
    const reason = String(data.get("reason")).trim();
    if (!reason) return refuse(where, w("say-why"));
    await record("hold", { reason, at_count: count });
  };
  return {
    question: [
      h("h1", {}, w("stop-the-run")),
      form(taken, countField("at_count", batch.last_count, { focus: false }), h("div", { class: "field" }, h("label", { for: "id_reason" }, w("what-is-wrong")), h("input", { id: "id_reason", name: "reason", maxlength: "300", required: true, autocomplete: "off", autofocus: true }))),
      cautions(),
    ],
    answer: [keypad(true)],
    actions: [button(w("back"), { onclick: () => ask(null) }, icon("back")), submit(w("stop-now"))],
  };
}

function hold(batch) {
  const last = batch.last_count > batch.last_good ? w("suspect", { first: batch.last_good + 1, last: batch.last_count }) : w("suspect-none");
  return {
    question: [h("h1", {}, w("on-hold")), verdict(OUTCOMES.fails, w("stopped"), { large: true, note: batch.hold }), h("p", {}, last), h("p", {}, w("hold-why")), cautions()],
    actions: [toList(), online()],
  };
}

const COUNTS = ["made", "good", "scrap", "destroyed", "held"];

function counts(batch) {
  const destroyed = destroyedIn(batch);
  const proposed = batch.prepared ?? { made: batch.last_count, good: Math.max(batch.last_count - destroyed - batch.scrapped - batch.kept, 0), scrap: batch.scrapped, destroyed, held: batch.kept };
  const taken = async (data, where) => {
    const given = Object.fromEntries(COUNTS.map((name) => [name, String(data.get(name)).trim()]));
    if (!Object.values(given).every(isCount)) return refuse(where, w("no-count", { text: Object.values(given).find((one) => !isCount(one)) || "–" }));
    const number = Object.fromEntries(Object.entries(given).map(([name, text]) => [name, Number(text)]));
    if (number.made !== number.good + number.scrap + number.destroyed + number.held) return refuse(where, w("no-balance"));
    if (await record("counts", number)) {
      page.notice = { outcome: "waiting", word: w("prepared"), note: w("close-later") };
      draw();
    }
  };
  const field = (name) => h("div", { class: "field" }, h("label", { for: `id_${name}` }, w(`count.${name}`)), h("input", { id: `id_${name}`, name, value: proposed[name], inputmode: "numeric", autocomplete: "off", required: true, "data-reading": true, ...(name === "made" ? { "data-balance-whole": true } : { "data-balance-part": true }) }));
  return {
    question: [h("h1", {}, w("what-became")), h("p", { class: "limits-line" }, w("close-later")), form(taken, h("div", { class: "fields-two three-up" }, ...COUNTS.map(field)))],
    answer: [keypad(true)],
    actions: [toList(), submit(w("prepare-counts"))],
  };
}

function closed() {
  return { question: [h("h1", {}, w("status.closed"))], actions: [toList(), online()] };
}

const QUESTIONS = { scan: scanQuestion, start, value, look, section, sign, inspector, run, change, stop, hold, counts, closed };

// --- The connection -----------------------------------------------------------------------------------------------------------

let trying = false;

/** Send what waits and take the newest pack. Nothing on the page moves by it but the strip and a notice. */
async function attempt() {
  if (trying) return;
  trying = true;
  const before = standing();
  try {
    const outcome = page.store === "broken" ? { state: "nothing", answers: [] } : await send();
    page.signOn = outcome.state === "sign on";
    page.online = page.signOn || (outcome.state !== "no connection" && (await refreshPack()));
    const open = outcome.answers.filter((one) => ["needs a person", "waits"].includes(one.state));
    await load();
    if (open.length) {
      page.notice = { outcome: OUTCOMES.undecided, word: w("decide", { n: open.length }), note: open[0].findings[0]?.what ?? "" };
    } else if (outcome.state === "sent" && outcome.answers.length > 1) {
      page.notice = { outcome: OUTCOMES.conforms, word: w("recorded", { n: outcome.answers.length }), note: outcome.clock };
    } else if (outcome.clock) page.notice = { outcome: OUTCOMES.undecided, word: w("clock"), note: outcome.clock };
    drawStrip();
    if (open.length || outcome.answers.length > 1 || outcome.clock || (standing() !== before && !busy())) draw();
    drawBack();
  } finally {
    trying = false;
  }
}

/** Everything is on the server: only whether it is still there. */
async function lookOut() {
  if (await reachable()) return;
  page.online = false;
  drawStrip();
  drawBack();
}

/** What a question depends on: while it stays the same, nothing is drawn anew. */
const standing = () => JSON.stringify([page.online, page.signOn, page.pack?.version, page.acts.filter((act) => !act.sent).length]);

/** Whether somebody is typing or has marked something: then only the strip changes. */
const busy = () => [...document.querySelectorAll("#answer input")].some((input) => (["radio", "checkbox"].includes(input.type) ? input.name !== "unit" && input.checked : input.value !== input.defaultValue));

function drawBack() {
  const place = region("back");
  const now = JSON.stringify([page.online, page.signOn, page.notice?.outcome, page.batch, page.acts.some((act) => !act.sent)]);
  if (place.dataset.drawn === now) return;
  place.dataset.drawn = now;
  place.replaceChildren();
  const decisions = page.notice?.outcome === OUTCOMES.undecided;
  if (decisions && page.online) place.append(h("a", { class: "button plain", href: "/make/undecided/" }, w("to-decisions")));
  if (page.signOn || page.online) {
    const back = online();
    back.classList.remove("primary");
    back.classList.add("plain");
    place.append(back);
  }
}

async function begin() {
  const given = new URLSearchParams(location.search);
  const inPath = /^\/make\/batch\/([^/]+)\//.exec(location.pathname)?.[1];
  page.store = await health();
  await load();
  const number = given.get("batch") ?? (inPath && decodeURIComponent(inPath)) ?? "";
  page.batch = page.batches.has(number) ? number : "";
  if (given.has("lost")) page.notice = { outcome: OUTCOMES.undecided, word: w("not-saved"), note: w("enter-again") };
  draw();
  drawBack();
  await attempt();
  setInterval(() => {
    if (document.visibilityState !== "hidden") (page.online && !page.signOn && !page.acts.some((act) => !act.sent) ? lookOut() : attempt());
  }, RETRY_MS);
}

addEventListener("online", attempt);
addEventListener("offline", () => {
  page.online = false;
  drawStrip();
  drawBack();
});
onChange(async () => {
  page.acts = await allActs().catch(() => page.acts);
  drawStrip();
});
begin();
