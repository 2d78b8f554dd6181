// Enter goes on to another field instead of sending the form: a badge scanner ends with Enter, and the PIN is still to come.
//
// <input name="identifier" data-then="id_secret">

document.addEventListener("keydown", (event) => {
  if (event.key !== "Enter" || event.isComposing || !event.target.matches?.("[data-then]")) return;
  const next = document.getElementById(event.target.dataset.then);
  if (!next || !event.target.value || next.value) return;
  event.preventDefault();
  next.focus();
});
