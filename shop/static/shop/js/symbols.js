// Symbols in a picture: by the browser's own detector where it knows all of ours, else by the WebAssembly reader in a worker.

const OWN = { QRCode: "qr_code", DataMatrix: "data_matrix", Code128: "code_128" };

async function detector() {
  if (!globalThis.BarcodeDetector) return null;
  const known = await BarcodeDetector.getSupportedFormats();
  if (!Object.values(OWN).every((format) => known.includes(format))) return null;
  const own = new BarcodeDetector({ formats: Object.values(OWN) });
  const named = Object.fromEntries(Object.entries(OWN).map(([name, format]) => [format, name]));
  return { read: async (image) => (await own.detect(image)).map((one) => ({ text: one.rawValue, format: named[one.format] })) };
}

function workerReader({ worker: address, wasm }) {
  const worker = new Worker(address, { type: "module" });
  const waiting = new Map();
  let next = 0;
  const ready = new Promise((resolve, reject) => {
    worker.addEventListener("message", ({ data }) => {
      if (data.ready) resolve();
      else if (data.failed && data.id === undefined) reject(new Error(data.failed));
      else {
        waiting.get(data.id)?.(data.found);
        waiting.delete(data.id);
      }
    });
    worker.addEventListener("error", (event) => reject(new Error(event.message)));
  });
  worker.postMessage({ wasm: new URL(wasm, location.href).href });
  return ready.then(() => ({
    read: (image) =>
      new Promise((resolve) => {
        const id = (next += 1);
        waiting.set(id, resolve);
        worker.postMessage({ id, image }, [image.data.buffer]);
      }),
  }));
}

let reader = null;

// Returns { read(ImageData) -> [{ text, format }] }; made once a page.
export function symbolReader(addresses) {
  reader ??= detector()
    .catch(() => null)
    .then((own) => own ?? workerReader(addresses));
  reader.catch(() => {
    reader = null; // the next try may reach the server again
  });
  return reader;
}
