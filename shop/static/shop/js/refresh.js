// Brings the newest work to a page that stands open, and leaves alone what somebody is typing: only this part is taken from the answer.
//
// <div id="work" data-refresh="/make/">

const EVERY_MS = 20_000;

async function refresh() {
  const place = document.querySelector("[data-refresh]");
  const away = document.hidden || !navigator.onLine || document.querySelector("dialog[open]");
  if (!place || away || place.contains(document.activeElement)) return;
  const answer = await fetch(place.dataset.refresh, { headers: { "X-Refresh": "1" } }).catch(() => null);
  if (!answer?.ok || answer.redirected) return;
  const fresh = new DOMParser().parseFromString(await answer.text(), "text/html").querySelector(`#${place.id}[data-refresh]`);
  // Meanwhile the page may have gone on, or somebody may be about to touch something in it.
  if (!fresh || !place.isConnected || place.contains(document.activeElement) || fresh.innerHTML === place.innerHTML) return;
  place.replaceChildren(...fresh.childNodes);
}

setInterval(refresh, EVERY_MS);
