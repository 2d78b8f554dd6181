// How many pieces become suspect, while the count is typed. The server counts again.
//
// <p data-suspect="150" data-words="Last good %1, now %2: %3 suspect pieces">   <input name="at_count">

function look() {
  const place = document.querySelector("[data-suspect]");
  const count = document.querySelector("[name=at_count]")?.value.trim() ?? "";
  if (!place || !/^[0-9]{1,9}$/.test(count)) return;
  const good = Number(place.dataset.suspect);
  const values = [good, Number(count), Math.max(Number(count) - good, 0)];
  place.textContent = place.dataset.words.replace(/%([123])/g, (_whole, place_) => String(values[place_ - 1]));
}

document.addEventListener("input", (event) => event.target.name === "at_count" && look());
document.addEventListener("htmx:afterSettle", look);
look();
