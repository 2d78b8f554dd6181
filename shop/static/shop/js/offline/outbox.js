// The acts that wait on this tablet, and sending them in order when the connection is back. Every tab of the tablet hears of a change.

import { allActs, changeActs, health, keepAct, newKey, packStands, recall, remember, tabletName, takePack } from "./store.js";

const MOST = 100; // acts in one request
const WAIT_MS = 20_000;
const heard = new EventTarget();
const channel = "BroadcastChannel" in globalThis ? new BroadcastChannel("floor-outbox") : null;
if (channel) channel.onmessage = () => heard.dispatchEvent(new Event("change"));

function told() {
  heard.dispatchEvent(new Event("change"));
  channel?.postMessage("change");
}

export const onChange = (listener) => heard.addEventListener("change", listener);

export async function waiting() {
  return (await allActs()).filter((act) => !act.sent);
}

/** Keep an act of this person; rejects where the tablet cannot keep it. */
export async function keep(act, person, ticket) {
  await keepAct({ key: newKey(), made_at: new Date().toISOString(), by: person, ticket, path: "", fields: [], ...act });
  told();
}

/** The form reached the server and was answered: the same act, known to be there until the next pack brings it. */
export async function keepAnswered(act, person) {
  await keepAct({ made_at: new Date().toISOString(), by: person, ticket: "", ...act, sent: Date.now() });
}

const cookie = (name) => document.cookie.split("; ").find((one) => one.startsWith(`${name}=`))?.slice(name.length + 1) ?? "";

function asked(url, options = {}) {
  return fetch(url, { credentials: "same-origin", redirect: "manual", signal: AbortSignal.timeout(WAIT_MS), ...options });
}

let sending = null;

/** Send what waits. {state: "sent" | "nothing" | "no connection" | "sign on", answers, clock}. Two at once are one. */
export function send() {
  sending ??= (navigator.locks ? navigator.locks.request("floor-outbox", sendNow) : sendNow()).finally(() => (sending = null));
  return sending;
}

async function sendNow() {
  const acts = await waiting();
  if (!acts.length) return { state: "nothing", answers: [], clock: "" };
  const answers = [];
  let clock = "";
  for (let from = 0; from < acts.length; from += MOST) {
    const part = acts.slice(from, from + MOST);
    const outcome = await sendPart(part);
    if (outcome.state !== "sent") return { ...outcome, answers };
    answers.push(...outcome.answers);
    clock = outcome.clock || clock;
  }
  told();
  return { state: "sent", answers, clock };
}

async function sendPart(part) {
  const acts = part.map(({ key, kind, batch, by, made_at, content, ticket, path, fields }) => ({ key, kind, batch, by, made_at, content, ticket, path, fields }));
  const body = JSON.stringify({ tablet: await tabletName(), tablet_now: new Date().toISOString(), acts });
  const post = () => asked("/make/acts/", { method: "POST", body, headers: { "Content-Type": "application/json", "X-CSRFToken": cookie("csrftoken") } });
  let response;
  try {
    response = await post();
    // The token of another session, or none yet: the pack's answer brings one.
    if (response.status === 403 && (await asked("/make/pack/")).ok) response = await post();
  } catch {
    return { state: "no connection" };
  }
  if (response.type === "opaqueredirect" || response.status === 403) return { state: "sign on" };
  if (!response.ok) return { state: response.status < 500 ? "refused" : "no connection" };
  const told = await response.json();
  const now = Date.now();
  const by_key = new Map(told.answers.map((one) => [one.key, one]));
  const changed = part
    .filter((act) => by_key.has(act.key) && by_key.get(act.key).state !== "refused")
    .map((act) => ({ ...act, sent: now, aside: ["needs a person", "waits"].includes(by_key.get(act.key).state) }));
  await changeActs(changed);
  await remember("contact", now);
  return { state: "sent", answers: told.answers, clock: told.clock };
}

/** Whether the server answers at all. Asked without the session, whose idle time must not be wound up by a page that nobody touches. */
export async function reachable() {
  try {
    return (await asked("/healthz", { credentials: "omit" })).ok;
  } catch {
    return false;
  }
}

/** Ask for the station pack; false without connection. */
export async function refreshPack() {
  const askedAt = Date.now();
  const known = await recall("pack").catch(() => null);
  let reached = false;
  try {
    const batch = /^\/make\/batch\/([^/]+)\//.exec(location.pathname)?.[1] ?? new URLSearchParams(location.search).get("batch") ?? "";
    const response = await asked(`/make/pack/${batch ? `?batch=${encodeURIComponent(decodeURIComponent(batch))}` : ""}`, known?.etag ? { headers: { "If-None-Match": known.etag } } : {});
    reached = response.ok || response.status === 304;
    if (response.status === 304) await packStands(askedAt);
    else if (response.ok && !response.redirected) {
      const pack = await response.json();
      await takePack(pack, response.headers.get("ETag") ?? "", askedAt);
      // Each person who was signed on here keeps a ticket: their acts are theirs, whoever sends them.
      await remember("tickets", { ...(await recall("tickets")), [pack.person]: pack.ticket });
    }
    if (reached) await remember("contact", Date.now());
  } catch {
    // A tablet that cannot keep the pack has reached the server all the same; the strip says what it cannot do.
  }
  told();
  return reached;
}

export { health };
export const ticketOf = async (person) => (await recall("tickets"))?.[person] ?? "";
export const packKept = async () => (await recall("pack"))?.pack ?? null;
export const lastContact = () => recall("contact");
