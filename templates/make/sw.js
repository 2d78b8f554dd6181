// Keeps the floor's files and its offline page on the tablet. Pages come from the server first; where it does not answer in time, the
// offline page stands in for the same address. What is written never passes through here: the pages keep it in their outbox.

const VERSION = "{{ version }}";
const CACHE = `floor-${VERSION}`;
const FILES = {{ files|safe }};
const PAGE = {{ page|safe }};
const PATIENCE_MS = 6000; // a server that takes longer is as good as none to somebody at a press (our own choice)

addEventListener("install", (event) => {
  event.waitUntil(
    caches.open(CACHE).then(async (cache) => {
      await cache.addAll(FILES);
      await cache.add(new Request(PAGE, { cache: "reload" }));
      await skipWaiting();
    }),
  );
});

addEventListener("activate", (event) => {
  event.waitUntil(
    caches
      .keys()
      .then((names) => Promise.all(names.filter((name) => name.startsWith("floor-") && name !== CACHE).map((name) => caches.delete(name))))
      .then(() => clients.claim()),
  );
});

async function kept(request) {
  const cache = await caches.open(CACHE);
  return (await cache.match(request, { ignoreVary: true })) ?? fetch(request);
}

async function fromServer(request) {
  const response = await fetch(request, { signal: AbortSignal.timeout(PATIENCE_MS) });
  if ([502, 503, 504].includes(response.status)) throw new Error(`status ${response.status}`);
  return response;
}

async function page(request) {
  try {
    return await fromServer(request);
  } catch {
    const cache = await caches.open(CACHE);
    return (await cache.match(PAGE, { ignoreVary: true })) ?? Response.error();
  }
}

addEventListener("fetch", (event) => {
  const { request } = event;
  const address = new URL(request.url);
  if (request.method !== "GET" || address.origin !== location.origin) return;
  if (FILES.includes(address.pathname)) event.respondWith(kept(request));
  else if (request.mode === "navigate" && address.pathname.startsWith("/make/")) event.respondWith(page(request));
});
