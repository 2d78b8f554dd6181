// Says that a sample is due once its time has come, and says it louder when that was a while ago, while the page stands open.
//
// <p data-due-at="2026-03-02T10:42:00+01:00" data-overdue-at="..">..</p>   the classes is-due and is-overdue show the words for it

function look() {
  for (const [name, shown] of [["dueAt", "is-due"], ["overdueAt", "is-overdue"]]) {
    for (const place of document.querySelectorAll(`[data-due-at]:not(.${shown})`)) {
      if (place.dataset[name] && Date.now() >= Date.parse(place.dataset[name])) place.classList.add(shown);
    }
  }
}

look();
document.addEventListener("htmx:afterSettle", look);
setInterval(look, 5000);
