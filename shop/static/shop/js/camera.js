// The camera as a scanner: a viewfinder in the page, or a picture of the code where the browser gives no live camera.
//
// <button type="button" data-camera>   <dialog id="camera" data-worker=".." data-wasm=".."> <video> <input type="file" data-picture>

import { send } from "./scan.js";

const WIDEST = 1280; // a label a hand's breadth away fills it; more pixels only take time
const WIDEST_STILL = 2200;
const EVERY_MS = 120;

let stream = null;
let looking = 0;
let twice = "";

const dialog = () => document.getElementById("camera");
const field = () => [...document.querySelectorAll("[data-scan-field]")].find((one) => !one.disabled);

function say(word) {
  const place = dialog()?.querySelector("[data-camera-state]");
  if (place) place.textContent = place.dataset[word] ?? "";
}

async function reader() {
  const { symbolReader } = await import("./symbols.js");
  const { worker, wasm } = dialog().dataset;
  return symbolReader({ worker, wasm });
}

function pixels(source, width, height, widest) {
  const scale = Math.min(1, widest / Math.max(width, height));
  const canvas = document.createElement("canvas");
  canvas.width = Math.max(1, Math.round(width * scale));
  canvas.height = Math.max(1, Math.round(height * scale));
  const context = canvas.getContext("2d", { willReadFrequently: true });
  context.drawImage(source, 0, 0, canvas.width, canvas.height);
  return context.getImageData(0, 0, canvas.width, canvas.height);
}

function stop() {
  looking += 1;
  for (const track of stream?.getTracks() ?? []) track.stop();
  stream = null;
}

function take(text) {
  const into = field();
  stop();
  dialog()?.close();
  if (into) send(into, text);
}

// A matrix symbol corrects its own errors; a bar code is believed when it was read the same way twice.
function believed(found) {
  if (found.format !== "Code128") return true;
  const again = twice === found.text;
  twice = found.text;
  return again;
}

async function look(video, turn) {
  let symbols;
  try {
    symbols = await reader();
  } catch {
    say("wordNoReader");
    return;
  }
  while (turn === looking && video.isConnected) {
    if (video.videoWidth) {
      const found = await symbols.read(pixels(video, video.videoWidth, video.videoHeight, WIDEST));
      if (turn !== looking) return;
      const one = found.find(believed);
      if (one) {
        take(one.text);
        return;
      }
      if (found.length === 0) twice = "";
    }
    await new Promise((resolve) => setTimeout(resolve, EVERY_MS));
  }
}

async function open() {
  const place = dialog();
  const video = place.querySelector("video");
  const torch = place.querySelector("[data-torch]");
  torch.hidden = true;
  twice = "";
  place.showModal();
  if (!globalThis.isSecureContext || !navigator.mediaDevices?.getUserMedia) {
    place.dataset.live = "no";
    say(globalThis.isSecureContext ? "wordNoCamera" : "wordNotSecure");
    return;
  }
  say("wordStarting");
  const turn = (looking += 1);
  try {
    stream = await navigator.mediaDevices.getUserMedia({
      audio: false,
      video: { facingMode: { ideal: "environment" }, width: { ideal: 1920 }, height: { ideal: 1080 } },
    });
  } catch (error) {
    place.dataset.live = "no";
    say(error.name === "NotAllowedError" ? "wordRefused" : "wordNoCamera");
    return;
  }
  if (turn !== looking) {
    for (const track of stream.getTracks()) track.stop(); // closed while the browser asked
    return;
  }
  place.dataset.live = "yes";
  video.srcObject = stream;
  await video.play().catch(() => {});
  say("wordLooking");
  const [track] = stream.getVideoTracks();
  torch.hidden = !track.getCapabilities?.().torch;
  look(video, turn);
}

async function picture(input) {
  const [file] = input.files;
  if (!file) return;
  say("wordReading");
  try {
    const [symbols, image] = await Promise.all([reader(), createImageBitmap(file)]);
    const found = await symbols.read(pixels(image, image.width, image.height, WIDEST_STILL));
    if (found.length === 1) take(found[0].text);
    else say(found.length ? "wordSeveral" : "wordNothing");
  } catch (error) {
    say(error instanceof DOMException ? "wordNoPicture" : "wordNoReader");
  }
  input.value = "";
}

document.addEventListener("click", (event) => {
  if (event.target.closest("[data-camera]") && dialog()?.showModal) open();
  const torch = event.target.closest("[data-torch]");
  if (torch && stream) {
    const on = torch.getAttribute("aria-pressed") !== "true";
    stream
      .getVideoTracks()[0]
      .applyConstraints({ advanced: [{ torch: on }] })
      .then(() => torch.setAttribute("aria-pressed", String(on)), () => {});
  }
});
document.addEventListener("change", (event) => {
  if (event.target.matches?.("[data-picture]")) picture(event.target);
});
document.addEventListener("close", (event) => event.target.id === "camera" && stop(), { capture: true });
document.addEventListener("htmx:beforeSwap", stop);
addEventListener("pagehide", stop);
