// Says truthfully whether there is a connection and whether what was entered has reached the server. Also gives each form
// that writes a key of its own, so that sending the same act twice counts once.
//
// <p data-connection data-word-online="Connected" data-word-offline="No connection"><span data-word></span></p>
// <p data-saved data-word-saving=".." data-word-saved=".." data-word-unsaved=".." data-word-failed=".."><span data-word></span></p>
// <input type="hidden" name="act_key" value="">

function newKey() {
  if (crypto.randomUUID) return crypto.randomUUID();
  // randomUUID exists only in secure contexts; getRandomValues everywhere.
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  bytes[6] = (bytes[6] & 0x0f) | 0x40;
  bytes[8] = (bytes[8] & 0x3f) | 0x80;
  const hex = [...bytes].map((byte) => byte.toString(16).padStart(2, "0")).join("");
  return [hex.slice(0, 8), hex.slice(8, 12), hex.slice(12, 16), hex.slice(16, 20), hex.slice(20)].join("-");
}

function say(place, state) {
  if (!place) return;
  const key = `word${state[0].toUpperCase()}${state.slice(1)}`;
  const word = place.querySelector("[data-word]");
  place.dataset.state = state;
  if (word && place.dataset[key]) word.textContent = place.dataset[key];
}

function showConnection() {
  say(document.querySelector("[data-connection]"), navigator.onLine ? "online" : "offline");
}

function showSaved(state) {
  say(document.querySelector("[data-saved]"), state);
  document.documentElement.dataset.savedState = state;
}

const writes = (form) => form?.method?.toLowerCase() === "post" || form?.matches?.("[hx-post], [hx-put], [hx-patch], [hx-delete]");

addEventListener("online", showConnection);
addEventListener("offline", showConnection);
document.addEventListener("htmx:afterSwap", showConnection);
showConnection();

// Before validation and before htmx reads the form. The same key stays for a retry of the same form.
document.addEventListener(
  "submit",
  (event) => {
    const form = event.target;
    if (!writes(form)) return;
    const key = form.elements.namedItem("act_key");
    if (key && !key.value) key.value = newKey();
    if (!navigator.onLine) {
      // A plain submit without a connection would replace the page, and what was typed with it.
      event.preventDefault();
      event.stopImmediatePropagation();
      showConnection();
      showSaved("failed");
      return;
    }
    showSaved("saving");
  },
  { capture: true },
);

document.addEventListener("input", (event) => {
  if (writes(event.target.form)) showSaved("unsaved");
});

const isWrite = (event) => event.detail?.requestConfig?.verb !== "get";

document.addEventListener("htmx:afterRequest", (event) => {
  if (!isWrite(event)) return;
  // A refusal did reach the server, which says so on the page: what was typed is not saved yet, but nothing was lost on the way.
  const refused = [409, 422].includes(event.detail.xhr?.status);
  showSaved(event.detail.successful ? "saved" : refused ? "unsaved" : "failed");
});
for (const name of ["htmx:sendError", "htmx:timeout"]) {
  document.addEventListener(name, (event) => {
    if (isWrite(event)) showSaved("failed");
  });
}
