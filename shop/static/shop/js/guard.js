// Asks before what was typed is left behind. <form data-guard>

const touched = new WeakSet();

document.addEventListener("input", (event) => {
  const form = event.target.closest?.("form[data-guard]");
  if (form) touched.add(form);
});

document.addEventListener("submit", (event) => {
  // A submit that was stopped (no connection) leaves the form guarded.
  if (!event.defaultPrevented || event.target.matches("[hx-post], [hx-boost] *")) touched.delete(event.target);
});

addEventListener("beforeunload", (event) => {
  const left = [...document.querySelectorAll("form[data-guard]")].some((form) => touched.has(form));
  if (left) event.preventDefault();
});
