// "/" goes to the search field, up and down move through the rows, Enter opens the row's link (that part the browser does).
//
// <input data-search>   <table data-rows>: the first link of each row takes the focus

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

  if (event.key !== "ArrowDown" && event.key !== "ArrowUp") return;
  const step = event.key === "ArrowDown" ? 1 : -1;
  const table = active?.closest?.("table[data-rows]");
  if (table && !isTyping(active)) {
    const links = rowLinks(table);
    const here = links.findIndex((link) => link.closest("tr") === active.closest("tr"));
    const next = links[here + step];
    if (next) {
      event.preventDefault();
      next.focus();
      next.closest("tr").scrollIntoView({ block: "nearest" });
    }
  } else if (active?.matches?.("[data-search]") && step === 1) {
    const first = document.querySelector("table[data-rows]");
    const link = first && rowLinks(first)[0];
    if (link) {
      event.preventDefault();
      link.focus();
    }
  }
});
