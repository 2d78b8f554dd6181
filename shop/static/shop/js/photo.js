// A photograph is made smaller before it is sent: a camera gives twelve megapixels, the record keeps 2560 pixels on the longer side.
// Without this the server does the same to the whole file.
//
// <label><input type="file" data-photo></label> <img data-photo-shown hidden> <span data-photo-name>

const LONGEST = 2560;

async function smaller(file) {
  const picture = await createImageBitmap(file, { imageOrientation: "from-image" });
  const scale = LONGEST / Math.max(picture.width, picture.height);
  if (scale >= 1) return file;
  const canvas = new OffscreenCanvas(Math.round(picture.width * scale), Math.round(picture.height * scale));
  canvas.getContext("2d").drawImage(picture, 0, 0, canvas.width, canvas.height);
  const made = await canvas.convertToBlob({ type: "image/jpeg", quality: 0.9 });
  return new File([made], file.name.replace(/\.[^.]*$/, "") + ".jpg", { type: "image/jpeg" });
}

document.addEventListener("change", async (event) => {
  const input = event.target;
  if (!input.matches?.("[data-photo]") || !input.files.length) return;
  const place = input.closest(".photo");
  try {
    const files = new DataTransfer();
    files.items.add(await smaller(input.files[0]));
    input.files = files.files;
  } catch {
    // no picture for this browser: the server says what is wrong with it
  }
  const shown = place.querySelector("[data-photo-shown]");
  if (shown.src) URL.revokeObjectURL(shown.src);
  shown.hidden = !input.files[0].type.startsWith("image/");
  const reader = new FileReader(); // as data: the page's policy allows pictures of its own and data
  reader.onload = () => (shown.src = reader.result);
  reader.readAsDataURL(input.files[0]);
  place.querySelector("[data-photo-name]").textContent = `${input.files[0].name} · ${Math.ceil(input.files[0].size / 1024)} kB`;
});
