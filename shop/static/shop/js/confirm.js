// Opens a dialog that stands in the page instead of following a link to the page that asks the same.
//
// <a href="/.../hold/" data-dialog="hold">Hold</a>   <dialog id="hold" class="dialog"> ... <button type="button" data-dialog-close>

document.addEventListener("click", (event) => {
  const opener = event.target.closest("[data-dialog]");
  if (opener) {
    const dialog = document.getElementById(opener.dataset.dialog);
    if (dialog?.showModal) {
      event.preventDefault();
      dialog.showModal();
    }
    return;
  }
  const closer = event.target.closest("[data-dialog-close]");
  if (closer) closer.closest("dialog")?.close();
});
