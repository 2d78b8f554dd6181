// What somebody typed and has not sent is kept for them: on this tablet, under their own number and the address of the question, for one
// shift. It is offered to them when they come to the question again, and to nobody else. PINs and files are never kept.
//
// <dialog data-lock data-person="12">   whose drafts they are
// <div data-draft-offer hidden data-words="..%s.."> <button data-draft-take> <button data-draft-leave></div>
// <section data-draft-list hidden><ul></ul></section>   on the station's page: where something of theirs is half done

const KEPT_FOR_MS = 12 * 3600 * 1000;
const NEVER = new Set(["csrfmiddlewaretoken", "act_key", "secret", "identifier", "code", "seen_sha256"]);

const person = () => document.querySelector("[data-lock]")?.dataset.person ?? "";
const prefix = () => `draft:${person()}:`;
const here = () => prefix() + location.pathname;

function read(key) {
  try {
    return JSON.parse(localStorage.getItem(key));
  } catch {
    return null;
  }
}

function write(key, draft) {
  try {
    if (draft) localStorage.setItem(key, JSON.stringify(draft));
    else localStorage.removeItem(key);
  } catch {
    // no storage: nothing is kept, the page itself still holds it
  }
}

const kept = (input) =>
  input.name && !NEVER.has(input.name) && !["hidden", "password", "file", "submit", "button"].includes(input.type) && !input.closest("dialog");

function typed(form) {
  const fields = [];
  for (const input of form.elements) {
    if (!kept(input)) continue;
    if (input.type === "radio" || input.type === "checkbox") {
      if (input.checked !== input.defaultChecked && input.checked) fields.push([input.name, input.value]);
    } else if (input.value !== input.defaultValue && input.value) fields.push([input.name, input.value]);
  }
  return fields;
}

document.addEventListener("input", (event) => {
  const form = event.target.form;
  if (!person() || form?.method?.toLowerCase() !== "post" || form.closest("dialog")) return;
  const fields = typed(form);
  const title = [".strip-batch", "h1"]
    .map((place) => document.querySelector(place)?.textContent.trim().replace(/\s+/g, " "))
    .filter(Boolean)
    .join(" · ");
  write(here(), fields.length ? { at: Date.now(), title, fields } : null);
});

// Sent: no draft any more. What then does not arrive is still on the page. On the way down, after saved.js has let it pass: on the way
// up it is htmx's, which sends it itself and prevents the browser from doing so.
document.addEventListener(
  "submit",
  (event) => {
    if (event.target.method?.toLowerCase() === "post" && !event.target.closest("dialog")) write(here(), null);
  },
  { capture: true },
);
for (const name of ["htmx:sendError", "htmx:timeout"]) {
  document.addEventListener(name, (event) => {
    const form = event.detail?.elt?.closest?.("form");
    if (form) form.dispatchEvent(new Event("input", { bubbles: true }));
  });
}

function fill(draft) {
  for (const [name, value] of draft.fields) {
    for (const input of document.querySelectorAll(`.floor-question [name="${CSS.escape(name)}"]`)) {
      if (input.type === "radio" || input.type === "checkbox") {
        if (input.value === value) input.checked = true;
      } else if (input.type !== "hidden") input.value = value;
      input.dispatchEvent(new Event("input", { bubbles: true }));
    }
  }
}

const clock = (at) => new Date(at).toLocaleTimeString(document.documentElement.lang || undefined, { hour: "2-digit", minute: "2-digit", hour12: false });

function offer() {
  if (!person()) return;
  const place = document.querySelector("[data-draft-offer]");
  const draft = read(here());
  // After a refusal the page holds what was typed itself.
  const open = draft && document.querySelector("#answer") && !document.querySelector(".refusal") && typed(document.querySelector("#answer")).length === 0;
  if (place) {
    place.hidden = !open;
    if (open) {
      const what = draft.fields.map(([, value]) => value).join(", ");
      place.querySelector("[data-draft-words]").textContent = place.dataset.words.replace("%1", clock(draft.at)).replace("%2", what);
    }
  }
  list();
}

function list() {
  const place = document.querySelector("[data-draft-list]");
  if (!place) return;
  const mine = Object.keys(localStorage)
    .filter((key) => key.startsWith(prefix()))
    .map((key) => [key.slice(prefix().length), read(key)])
    .filter(([, draft]) => draft);
  place.hidden = mine.length === 0;
  place.querySelector("ul").replaceChildren(
    ...mine.map(([path, draft]) => {
      const line = document.createElement("li");
      const link = document.createElement("a");
      link.className = "choice";
      link.href = path;
      link.textContent = `${draft.title} · ${clock(draft.at)}`;
      line.append(link);
      return line;
    }),
  );
}

function forget() {
  try {
    for (const key of Object.keys(localStorage)) {
      if (key.startsWith("draft:") && !(Date.now() - (read(key)?.at ?? 0) < KEPT_FOR_MS)) localStorage.removeItem(key);
    }
  } catch {
    // no storage
  }
}

document.addEventListener("click", (event) => {
  if (event.target.closest("[data-draft-take]")) {
    const draft = read(here());
    event.target.closest("[data-draft-offer]").hidden = true;
    if (draft) fill(draft);
  } else if (event.target.closest("[data-draft-leave]")) {
    event.target.closest("[data-draft-offer]").hidden = true;
    write(here(), null);
  }
});

forget();
offer();
document.addEventListener("htmx:afterSettle", offer);
