// Gauges at a serial port (Web Serial). A port that was allowed once is opened by itself on the next page; a value is taken when it
// stands still, once, and the next one only after the gauge was moved or was quiet: a piece is never recorded twice.
//
// <div data-device='{"gauge": .., "pattern": .., "port": {..}}'> <button data-connect> <button data-request> <span data-device-state>

import { readLine } from "./line.js";
import { offer, say, showLive, take } from "./take.js";

const SAME_LINES = 3;
const STILL_MS = 350; // a gauge that sends once, by its key
const QUIET_MS = 700;
const MOVED = 0.2; // of the value taken: the jaws were opened
const LONGEST_BUFFER = 400;
const ENDS = { "CR LF": /\r?\n/, CR: /\r/, LF: /\n/ };
const KEY = "gauge-ports";

const links = new Map(); // gauge -> its open port; they outlive the pages that htmx swaps in

const serial = () => globalThis.isSecureContext && navigator.serial;

function remembered() {
  try {
    return JSON.parse(localStorage.getItem(KEY) ?? "{}");
  } catch {
    return {};
  }
}

function remember(gauge, port) {
  try {
    localStorage.setItem(KEY, JSON.stringify({ ...remembered(), [gauge]: port.getInfo?.() ?? {} }));
  } catch {
    // asked again next time
  }
}

// Decides which of the lines is a measurement. Made for its own, so that a test can feed it with lines and a clock.
export function steady(accept, { now = () => performance.now(), later = setTimeout, never = clearTimeout } = {}) {
  let last = null;
  let count = 0;
  let lastAt = -Infinity;
  let taken = null;
  let timer = 0;
  const done = () => {
    if (taken || !last) return;
    taken = last;
    accept(last);
  };
  return (value) => {
    const at = now();
    const moved = taken && Math.abs(Number(value.text) - Number(taken.text)) > MOVED * Math.max(Math.abs(Number(taken.text)), 1e-9);
    if (taken && (moved || at - lastAt > QUIET_MS)) {
      taken = null;
      count = 0;
      last = null;
    }
    count = last && last.text === value.text && last.unit === value.unit ? count + 1 : 1;
    last = value;
    lastAt = at;
    never(timer);
    if (taken) return;
    if (count >= SAME_LINES) done();
    else timer = later(done, STILL_MS);
  };
}

function show() {
  const asked = offer();
  if (asked?.way !== "serial") return;
  const link = links.get(asked.gauge);
  const connect = document.querySelector("[data-connect]");
  const request = document.querySelector("[data-request]");
  if (!serial()) {
    say("none");
    if (connect) connect.hidden = true;
    return;
  }
  if (connect) connect.hidden = Boolean(link);
  if (request) request.hidden = !(link && asked.request);
  const said = document.querySelector("[data-device-state]")?.dataset.state;
  if (link) say("on");
  else if (said !== "lost" && said !== "failed") say("off");
}

async function listen(link) {
  const { port, asked } = link;
  const decoder = new TextDecoder("latin1");
  const end = ENDS[asked.lineEnd] ?? ENDS["CR LF"];
  const measured = steady((value) => take(value, "serial", asked.gauge));
  let buffer = "";
  try {
    while (port.readable && links.get(asked.gauge) === link) {
      const reader = port.readable.getReader();
      try {
        for (;;) {
          const { value, done } = await reader.read();
          if (done) break;
          buffer = (buffer + decoder.decode(value, { stream: true })).slice(-LONGEST_BUFFER);
          const lines = buffer.split(end);
          buffer = lines.pop();
          for (const line of lines.filter((one) => one.trim())) {
            const found = readLine(line, asked);
            if (found.rule) say("line", line);
            else {
              showLive(`${found.text} ${found.unit}`);
              measured(found);
            }
          }
        }
        break; // the stream ended: the device is gone
      } finally {
        reader.releaseLock();
      }
    }
  } catch {
    // the cable was pulled, or the battery is empty
  }
  if (links.get(asked.gauge) === link) lose(asked.gauge);
}

function lose(gauge) {
  const link = links.get(gauge);
  links.delete(gauge);
  link?.port.close?.().catch(() => {});
  showLive("");
  if (offer()?.gauge === gauge) {
    say("lost");
    show();
  }
}

async function open(port, asked) {
  try {
    await port.open(asked.port);
  } catch {
    say("failed");
    return;
  }
  const link = { port, asked };
  links.set(asked.gauge, link);
  remember(asked.gauge, port);
  port.addEventListener?.("disconnect", () => links.get(asked.gauge) === link && lose(asked.gauge));
  show();
  listen(link);
}

async function connect() {
  const asked = offer();
  if (!asked?.port || !serial()) return;
  let port;
  try {
    port = await navigator.serial.requestPort();
  } catch {
    return; // nothing was chosen
  }
  await open(port, asked);
}

async function reconnect() {
  const asked = offer();
  if (!asked?.port || !serial() || links.has(asked.gauge)) return;
  const known = remembered()[asked.gauge];
  if (!known) return;
  const ports = (await navigator.serial.getPorts()).filter((port) => {
    const info = port.getInfo?.() ?? {};
    const busy = [...links.values()].some((link) => link.port === port);
    return !busy && info.usbVendorId === known.usbVendorId && info.usbProductId === known.usbProductId;
  });
  if (ports.length === 1) await open(ports[0], asked); // two alike: the person says which
}

async function request() {
  const asked = offer();
  const link = links.get(asked?.gauge);
  if (!link?.port.writable) return;
  const writer = link.port.writable.getWriter();
  try {
    await writer.write(new TextEncoder().encode(asked.request));
  } catch {
    lose(asked.gauge);
  } finally {
    writer.releaseLock();
  }
}

document.addEventListener("click", (event) => {
  if (event.target.closest("[data-connect]")) connect();
  if (event.target.closest("[data-request]")) request();
});
const begin = () => {
  show();
  reconnect();
};
document.addEventListener("htmx:afterSettle", begin);
begin();
