// Points of a chart by keyboard: arrow keys go from point to point, Home and End to the ends, Page keys to the next signal.
// What a point is stands in its <title>; it is also written under the chart, for hover and focus alike.
//
// <figure data-points> <svg> <g class="point" tabindex="-1"><title>...</title> ... </svg> <p data-point-told role="status"></p> </figure>

const figureOf = (node) => node.closest?.("figure[data-points]");
const pointsOf = (figure) => [...figure.querySelectorAll(".point[tabindex]")];

function tell(figure, point) {
  const place = figure.querySelector("[data-point-told]");
  if (place) place.textContent = point.querySelector("title")?.textContent ?? "";
}

function next(points, index, key) {
  const last = points.length - 1;
  const signalled = (step) => {
    for (let at = index + step; at >= 0 && at <= last; at += step) if (points[at].classList.contains("signalled")) return at;
    return index;
  };
  switch (key) {
    case "ArrowRight": return Math.min(index + 1, last);
    case "ArrowLeft": return Math.max(index - 1, 0);
    case "Home": return 0;
    case "End": return last;
    case "PageDown": return signalled(1);
    case "PageUp": return signalled(-1);
    default: return -1;
  }
}

document.addEventListener("keydown", (event) => {
  const point = event.target.closest?.(".point[tabindex]");
  const figure = point && figureOf(point);
  if (!figure) return;
  const points = pointsOf(figure);
  const to = next(points, points.indexOf(point), event.key);
  if (to < 0) return;
  event.preventDefault();
  point.setAttribute("tabindex", "-1");
  points[to].setAttribute("tabindex", "0");
  points[to].focus();
});

for (const kind of ["focusin", "pointerover"]) {
  document.addEventListener(kind, (event) => {
    const point = event.target.closest?.(".point");
    const figure = point && figureOf(point);
    if (figure) tell(figure, point);
  });
}
