// What the tablet keeps: acts that wait for the server, in order, and the newest station pack. One small database of its own.
// A store that fails is told by every call: nobody may believe that an act is kept when it is not.

const NAME = "floor";
const VERSION = 1;

let opened = null;

function asPromise(request) {
  return new Promise((resolve, reject) => {
    request.onsuccess = () => resolve(request.result);
    request.onerror = () => reject(request.error ?? new Error("storage failed"));
  });
}

function open() {
  opened ??= new Promise((resolve, reject) => {
    const request = indexedDB.open(NAME, VERSION);
    request.onupgradeneeded = () => {
      const acts = request.result.createObjectStore("acts", { keyPath: "n", autoIncrement: true });
      acts.createIndex("key", "key", { unique: true });
      request.result.createObjectStore("kept");
    };
    request.onsuccess = () => {
      // Another tab with a newer program, or an eviction: the next call opens anew.
      request.result.onversionchange = () => request.result.close();
      request.result.onclose = () => (opened = null);
      resolve(request.result);
    };
    request.onerror = () => reject(request.error);
    request.onblocked = () => reject(new Error("storage is blocked"));
  });
  opened.catch(() => (opened = null));
  return opened;
}

async function within(stores, mode, work) {
  const database = await open();
  // Strict: the act is on the disk before anybody is told that it is kept.
  const transaction = database.transaction(stores, mode, { durability: "strict" });
  const done = new Promise((resolve, reject) => {
    transaction.oncomplete = resolve;
    transaction.onabort = () => reject(transaction.error ?? new Error("storage failed"));
  });
  done.catch(() => {});
  const result = await work(transaction);
  await done;
  return result;
}

/** Keep an act. One with this key that is there already stays as it is. */
export function keepAct(act) {
  return within(["acts"], "readwrite", async (t) => {
    const acts = t.objectStore("acts");
    const there = await asPromise(acts.index("key").get(act.key));
    if (!there) await asPromise(acts.add(act));
  });
}

/** Every act in order; `sent` marks those the server has answered. */
export const allActs = () => within(["acts"], "readonly", (t) => asPromise(t.objectStore("acts").getAll()));

export function changeActs(changed) {
  return within(["acts"], "readwrite", (t) => Promise.all(changed.map((act) => asPromise(t.objectStore("acts").put(act)))));
}

export const recall = (name) => within(["kept"], "readonly", (t) => asPromise(t.objectStore("kept").get(name)));
export const remember = (name, value) => within(["kept"], "readwrite", (t) => asPromise(t.objectStore("kept").put(value, name)));

/** Put a new pack in, and let go of the acts that were answered before it was asked for: it contains them. */
export function takePack(pack, etag, askedAt) {
  return within(["acts", "kept"], "readwrite", async (t) => {
    const acts = t.objectStore("acts");
    for (const act of await asPromise(acts.getAll())) if (act.sent && act.sent < askedAt) acts.delete(act.n);
    t.objectStore("kept").put({ pack, etag, at: askedAt }, "pack");
  });
}

/** The pack is still what the server has: only the answered acts go. */
export function packStands(askedAt) {
  return within(["acts", "kept"], "readwrite", async (t) => {
    const acts = t.objectStore("acts");
    for (const act of await asPromise(acts.getAll())) if (act.sent && act.sent < askedAt) acts.delete(act.n);
    const kept = t.objectStore("kept");
    const known = await asPromise(kept.get("pack"));
    if (known) kept.put({ ...known, at: askedAt }, "pack");
  });
}

const LEAST_ROOM = 5_000_000; // bytes: thousands of acts (our own choice)

/** "kept", "may be cleared" (the browser may evict it), "full" or "broken". */
export async function health() {
  try {
    await remember("trial", Date.now());
    await recall("trial");
  } catch {
    return "broken";
  }
  if (!navigator.storage?.estimate) return "may be cleared";
  const { quota = 0, usage = 0 } = await navigator.storage.estimate();
  if (quota - usage < LEAST_ROOM) return "full";
  const persisted = (await navigator.storage.persisted?.()) || (await navigator.storage.persist?.());
  return persisted ? "kept" : "may be cleared";
}

export async function tabletName() {
  let name = await recall("tablet");
  if (!name) {
    name = newKey();
    await remember("tablet", name);
  }
  return name;
}

export function newKey() {
  if (crypto.randomUUID) return crypto.randomUUID();
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  const hex = [...bytes].map((byte) => byte.toString(16).padStart(2, "0")).join("");
  return [hex.slice(0, 8), hex.slice(8, 12), hex.slice(12, 16), hex.slice(16, 20), hex.slice(20)].join("-");
}
