// A shared tablet locks when nobody touched it for a while: the screen is covered, what was typed stays on the page under the cover, and
// the same person's PIN takes the cover off. The server knows that it is locked: nothing is answered to it until a PIN came.
//
// <dialog data-lock data-after="300" data-lock-url=".."> <form data-unlock> .. <p data-lock-answer> .. <div data-lock-offline hidden>
// <p data-lock-countdown data-words="Locks in %s s" hidden>

const cover = () => document.querySelector("dialog[data-lock]");

let touched = Date.now();
let locked = false;
let owed = false; // the network was away: the PIN is asked when it is back

// A page that is loaded again before the server heard of the lock is covered again; where nobody is signed on there is nothing to cover.
const KEY = "locked-person";

function remember(person) {
  try {
    if (person) sessionStorage.setItem(KEY, person);
    else sessionStorage.removeItem(KEY);
  } catch {
    // no storage: the server's word alone
  }
}

function remembered() {
  try {
    return sessionStorage.getItem(KEY);
  } catch {
    return null;
  }
}

function countdown(left) {
  const place = document.querySelector("[data-lock-countdown]");
  if (!place) return;
  place.hidden = left === null;
  // Every five seconds is enough to read by, and moves less.
  if (left !== null) place.textContent = place.dataset.words.replace("%s", String(left > 10 ? Math.ceil(left / 5) * 5 : left));
}

function tellServer(dialog) {
  const token = dialog.querySelector("[name=csrfmiddlewaretoken]")?.value ?? "";
  return fetch(dialog.dataset.lockUrl, { method: "POST", headers: { "X-CSRFToken": token }, keepalive: true }).catch(() => null);
}

function lock() {
  const dialog = cover();
  if (!dialog || locked) return;
  locked = true;
  remember(dialog.dataset.person);
  countdown(null);
  for (const other of document.querySelectorAll("dialog[open]")) other.close();
  dialog.querySelector("[data-lock-answer]").textContent = "";
  dialog.querySelector("[name=secret]").value = "";
  showNetwork();
  dialog.showModal();
  if (navigator.onLine) tellServer(dialog);
}

function unlock() {
  locked = false;
  touched = Date.now();
  const dialog = cover();
  dialog?.close();
  dialog?.querySelector("form")?.reset();
  if (!owed) remember(null);
}

function showNetwork() {
  const dialog = cover();
  if (!dialog) return;
  dialog.querySelector("[data-lock-offline]").hidden = navigator.onLine;
  dialog.querySelector("[data-unlock]").hidden = !navigator.onLine;
}

addEventListener("offline", showNetwork);
addEventListener("online", () => {
  showNetwork();
  if (owed) {
    owed = false;
    lock();
  } else if (locked) tellServer(cover());
});

for (const kind of ["pointerdown", "keydown", "input"]) {
  addEventListener(
    kind,
    (event) => {
      if (locked) {
        // The PIN is no answer to the question behind the cover: nobody else listens to it.
        if (kind === "input" && event.target.closest?.("[data-lock]")) event.stopImmediatePropagation();
        return;
      }
      touched = Date.now();
      countdown(null);
    },
    { capture: true },
  );
}

function look() {
  const dialog = cover();
  if (!dialog || locked) return;
  const after = Number(dialog.dataset.after);
  const left = Math.ceil(after - (Date.now() - touched) / 1000);
  if (left <= 0) lock();
  else countdown(left <= Math.min(60, after / 3) ? left : null);
}
setInterval(look, 1000);
document.addEventListener("visibilitychange", look); // a device that slept locks at once

document.addEventListener("click", (event) => {
  if (event.target.closest("[data-lock-now]")) lock();
  if (event.target.closest("[data-go-on-offline]")) {
    owed = true;
    unlock();
  }
});

// Escape takes no cover off.
document.addEventListener("cancel", (event) => event.target.matches?.("[data-lock]") && event.preventDefault(), { capture: true });
document.addEventListener(
  "close",
  (event) => {
    if (locked && event.target.matches?.("[data-lock]")) event.target.showModal();
  },
  { capture: true },
);

document.addEventListener(
  "submit",
  async (event) => {
    const form = event.target.closest?.("form[data-unlock]");
    if (!form) return;
    event.preventDefault();
    event.stopImmediatePropagation();
    const answer = form.querySelector("[data-lock-answer]");
    const sent = await fetch(form.action, { method: "POST", body: new FormData(form), headers: { "X-Unlock": "1" } }).catch(() => null);
    form.elements.namedItem("secret").value = "";
    if (sent?.status === 204) {
      unlock();
      return;
    }
    if (sent?.redirected || sent?.status === 403) {
      // Nobody is signed on any more: what was typed is kept as a draft of its person.
      location.assign(form.dataset.signOn);
      return;
    }
    answer.textContent = sent ? await sent.text() : form.dataset.noAnswer;
    form.elements.namedItem("secret").focus();
  },
  { capture: true },
);

if (cover() && cover().dataset.person === remembered()) lock();
else remember(null);
