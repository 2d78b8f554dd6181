// A confirmation leaves after five seconds, unless someone is pointing at it. Nothing else disappears by itself.
//
// <p data-confirmation>

const SECONDS = 5;

function letGo(message) {
  if (message.dataset.confirmation === "counting") return;
  message.dataset.confirmation = "counting";
  const leave = () => {
    if (message.matches(":hover, :focus-within")) setTimeout(leave, 1000);
    else message.remove();
  };
  setTimeout(leave, SECONDS * 1000);
}

const letAllGo = () => document.querySelectorAll("[data-confirmation]").forEach(letGo);

document.addEventListener("htmx:afterSwap", letAllGo);
letAllGo();
