// On every floor page: keeps the station pack fresh, puts what did not reach the server into the outbox and goes on without it, sends
// when the connection is back, and says what is kept where.
//
// <div class="floor" data-person="jonas">   <a data-outbox hidden data-word-one=".." data-word-many=".." data-word-...><span data-word></span></a>

import { actOfForm } from "./forms.js";
import { completed } from "./complete.js";
import { health, keep, keepAnswered, onChange, packKept, refreshPack, send, ticketOf, waiting } from "./outbox.js";
import { allActs } from "./store.js";
import { fold } from "./state.js";

const OFFLINE = "/make/offline/";
const SETTLED_MS = 400;
const EVERY_MS = 15_000;

const person = () => document.querySelector(".floor[data-person]")?.dataset.person ?? "";
const isFloor = () => Boolean(document.querySelector("[data-outbox]"));

if ("serviceWorker" in navigator && isFloor()) {
  navigator.serviceWorker.register("/sw.js", { scope: "/make/" }).catch(() => {}); // not over TLS: the strip says it
}

// --- What the strip says ------------------------------------------------------------------------------------------------------

let state = "kept";

async function tell() {
  const place = document.querySelector("[data-outbox]");
  if (!place) return;
  const word = place.querySelector("[data-word]");
  const say = (name, n = 0) => {
    word.textContent = place.dataset[name].replace("{n}", String(n));
    place.dataset.state = name === "wordBroken" || name === "wordFull" || name === "wordNoworker" ? "failed" : "waiting";
    place.hidden = false;
  };
  let acts = [];
  try {
    acts = await waiting();
  } catch {
    state = "broken";
  }
  if (state === "broken") say("wordBroken");
  else if (state === "full") say("wordFull");
  else if (acts.length) say(acts.length === 1 ? "wordOne" : "wordMany", acts.length);
  else if (!("serviceWorker" in navigator)) say("wordNoworker");
  else if (state === "may be cleared" && location.pathname === "/make/") say("wordClear");
  else place.hidden = true;
}

// --- Into the outbox ----------------------------------------------------------------------------------------------------------

function pathOf(address) {
  return new URL(address, location.href).pathname;
}

/** The act a form stands for, with the tablet's own answer; null where the server has to ask, and the reason. */
async function actOf(path, fields) {
  const act = actOfForm(path, fields);
  const pack = act && (await packKept());
  if (!act || !pack) return null;
  const batch = fold(pack, await allActs()).get(act.batch);
  const done = batch && completed(act, batch);
  return done && !("open" in done) ? done : null;
}

function goOn(path, lost) {
  const batch = /^\/make\/batch\/([^/]+)\//.exec(path)?.[1] ?? "";
  location.assign(`${OFFLINE}?batch=${batch}${lost ? "&lost=1" : ""}`);
}

async function keepForm(path, fields) {
  let kept = false;
  try {
    const act = await actOf(path, fields);
    if (act) {
      await keep(act, person(), await ticketOf(person()));
      kept = true;
    }
  } catch {
    state = "broken";
  }
  await tell();
  // Without a worker the offline page cannot be opened; what was typed stays on this one.
  if (navigator.serviceWorker?.controller && state !== "broken") goOn(path, !kept);
  return kept;
}

const writes = (form) => form?.method?.toLowerCase() === "post" && form.elements.namedItem("act_key");

// Before `saved.js`, which would only stop the form.
addEventListener(
  "submit",
  (event) => {
    const form = event.target;
    if (navigator.onLine || !writes(form) || !isFloor() || !navigator.serviceWorker?.controller) return;
    event.preventDefault();
    event.stopImmediatePropagation();
    const fields = [...new FormData(form, event.submitter)].map(([name, value]) => [name, String(value)]);
    keepForm(pathOf(form.action), fields);
  },
  { capture: true },
);

const fieldsOf = (config) => [...(config.formData ?? Object.entries(config.parameters ?? {}))].map(([name, value]) => [name, String(value)]);

function failed(event) {
  const config = event.detail?.requestConfig;
  if (!config || !isFloor()) return;
  const path = pathOf(config.path);
  if (!path.startsWith("/make/")) return;
  if (config.verb === "post") keepForm(path, fieldsOf(config));
  else if (navigator.serviceWorker?.controller) location.assign(path);
}

for (const name of ["htmx:sendError", "htmx:timeout"]) document.addEventListener(name, failed);
document.addEventListener("htmx:responseError", (event) => {
  if (event.detail.xhr?.status >= 500) failed(event);
});

// --- What the server has ------------------------------------------------------------------------------------------------------

let later = 0;

function refreshSoon() {
  clearTimeout(later);
  later = setTimeout(() => person() && refreshPack().then(tell), SETTLED_MS);
}

document.addEventListener("htmx:afterRequest", async (event) => {
  const { requestConfig: config, successful } = event.detail;
  if (!isFloor() || config?.verb !== "post" || !successful) return;
  try {
    // Until the next pack brings it, the tablet remembers what the server has just taken.
    const act = await actOf(pathOf(config.path), fieldsOf(config));
    if (act) await keepAnswered(act, person());
  } catch {
    state = "broken";
  }
  refreshSoon();
});
document.addEventListener("htmx:afterSettle", () => {
  tell();
  refreshSoon();
});

/** What waits goes first: no page of the server may ask again what this tablet knows already. */
async function sendFirst() {
  const acts = await waiting().catch(() => []);
  if (!acts.length || !person()) return;
  const main = document.querySelector(".floor-main");
  if (main) main.inert = true;
  const outcome = await send();
  if (outcome.state === "sent") {
    await refreshPack();
    const open = outcome.answers.filter((one) => one.state === "needs a person").length;
    location.replace(open ? "/make/undecided/" : location.href);
    return;
  }
  if (main) main.inert = false;
}

async function begin() {
  if (!isFloor()) return;
  state = await health();
  await tell();
  if (location.pathname === OFFLINE) return;
  await sendFirst();
  refreshSoon();
}

onChange(tell);
begin();
addEventListener("online", () => location.pathname !== OFFLINE && sendFirst());
setInterval(() => {
  if (isFloor() && location.pathname !== OFFLINE && document.visibilityState === "visible") tell();
}, EVERY_MS);
