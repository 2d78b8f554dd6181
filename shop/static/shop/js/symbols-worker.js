// Reads symbols beside the page, so that the picture does not stutter. Started by symbols.js only when somebody opens the camera in a
// browser that cannot read symbols itself.

import { prepareZXingModule, readBarcodes } from "./vendor/zxing/reader.js";

const FORMATS = ["QRCode", "DataMatrix", "Code128"];

addEventListener("message", async ({ data }) => {
  if (data.wasm) {
    prepareZXingModule({ overrides: { locateFile: () => data.wasm }, fireImmediately: true }).then(
      () => postMessage({ ready: true }),
      (error) => postMessage({ failed: String(error) }),
    );
    return;
  }
  try {
    const found = await readBarcodes(data.image, { formats: FORMATS, tryHarder: true, textMode: "Plain", maxNumberOfSymbols: 4 });
    postMessage({ id: data.id, found: found.filter((one) => one.isValid).map((one) => ({ text: one.symbologyIdentifier + one.text, format: one.format })) });
  } catch (error) {
    postMessage({ id: data.id, found: [], failed: String(error) });
  }
});
