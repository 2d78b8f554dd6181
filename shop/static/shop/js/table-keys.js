// "/" goes to the search field, up and down move through the rows, Home and End to the first and the last, Enter opens the row's
// link (that part the browser does), and x ticks the row where rows can be ticked.
//
// <input data-search>   <table data-rows>: the first link of each row takes the focus, .tick input is its tick

const rowLinks = (table) => [...table.querySelectorAll("tbody tr")].map((row) => row.querySelector("a[href]")).filter(Boolean);

const isTyping = (element) => element?.matches?.("input, textarea, select, [contenteditable]");

document.addEventListener("keydown", (event) => {
  if (event.ctrlKey || event.altKey || event.metaKey || event.shiftKey) return;
  const active = document.activeElement;

  if (event.key === "/" && !isTyping(active)) {
    const search = document.querySelector("[data-search]");
    if (!search) return;
    event.preventDefault();
    search.focus();
    search.select?.();
    return;
  }

  const table = active?.closest?.("table[data-rows]");
  if (event.key === "x" && table && !isTyping(active)) {
    active.closest("tbody tr")?.querySelector(".tick input")?.click();
    return;
  }

  if (!["ArrowDown", "ArrowUp", "Home", "End"].includes(event.key)) return;
  const step = event.key === "ArrowDown" ? 1 : -1;
  if (table && (!isTyping(active) || active.matches(".tick input"))) {
    const links = rowLinks(table);
    const here = links.findIndex((link) => link.closest("tr") === active.closest("tr"));
    const next = event.key === "Home" ? links[0] : event.key === "End" ? links.at(-1) : links[here + step];
    if (next) {
      event.preventDefault();
      next.focus();
      next.closest("tr").scrollIntoView({ block: "nearest" });
    }
  } else if (active?.matches?.("[data-search]") && event.key === "ArrowDown") {
    const first = document.querySelector("table[data-rows]");
    const link = first && rowLinks(first)[0];
    if (link) {
      event.preventDefault();
      link.focus();
    }
  }
});
