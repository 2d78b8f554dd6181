"""What every drawing is made of: clean text, the drawing's head, a frame with its scales, labels kept apart.

No script and no inline style (a content security policy forbids both): presentation attributes and classes only, and everything in
`currentColor`, so that a page sets the colour and black-and-white print loses nothing. What matters is told by shape and word.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from xml.sax.saxutils import escape

Number = Decimal | float | int

FACE = "Proof Text, Proof Symbols, system-ui, sans-serif"
CHAR = 0.56
CHAR_BOLD = 0.68
"""Width of an average character over the font size: generous, it keeps labels apart without measuring the font."""

SIZE = 11
"""Font size of labels, in user units."""

LARGEST = 1e100
"""Beyond it nothing is drawn: the scale could not be computed in doubles."""

_NOT_XML = re.compile("[^\\t\\n\\r\\u0020-\\ud7ff\\ue000-\\ufffd\\U00010000-\\U0010ffff]")


def clean(text: object) -> str:
    """Text for XML: what XML 1.0 does not allow is dropped, the rest escaped."""
    return escape(_NOT_XML.sub("", str(text)), {'"': "&quot;"})


def wide(text: str, size: float = SIZE, *, bold: bool = False) -> float:
    """Room a text needs, in user units."""
    return len(text) * size * (CHAR_BOLD if bold else CHAR)


def shortened(text: str, room: float, size: float = SIZE) -> str:
    """The text, cut with an ellipsis where it would need more than `room`."""
    fits = max(int(room / (size * CHAR)), 1)
    return text if len(text) <= fits else f"{text[: fits - 1]}…"


def head(kind: str, title: str, described: str, width: int, height: int, *, focusable: bool = False) -> list[str]:
    """The drawing's first tags. focusable: its points can be reached by keyboard, so it is a group rather than one picture."""
    role = "group" if focusable else "img"
    label = clean(title if focusable else f"{title}. {described}")
    return [
        f'<svg xmlns="http://www.w3.org/2000/svg" class="{kind}" role="{role}" aria-label="{label}" '
        f'viewBox="0 0 {width} {height}" width="{width}" height="{height}" font-family="{FACE}" font-size="{SIZE}" fill="currentColor">',
        f"<title>{clean(title)}</title><desc>{clean(described)}</desc>",
    ]


def heading(title: str) -> str:
    return f'<text class="chart-title" x="8" y="17" font-size="13" font-weight="600">{clean(title)}</text>'


def checked(values: Iterable[Number]) -> list[float]:
    """Values as floats. Raises ValueError for one that is not finite, or too large for any scale."""
    floats = [float(value) for value in values]
    for value in floats:
        if not abs(value) <= LARGEST:
            raise ValueError(
                "a value of a drawing is not a finite number" if not math.isfinite(value) else "a value is too large to be drawn"
            )
    return floats


def span(values: Sequence[float], margin: float = 0.08) -> tuple[float, float]:
    """The ends of a scale: all values with a margin; around equal values, and with nothing to show, a sensible stretch."""
    if not values:
        return 0.0, 1.0
    low, high = min(values), max(values)
    size = max(abs(low), abs(high))
    if high - low <= max(size * 1e-9, 1e-200):  # equal but for rounding
        stretch = size * 0.02 if size > 1e-200 else 1.0
        return low - stretch, high + stretch
    return low - (high - low) * margin, high + (high - low) * margin


def places_for(extent: float) -> int:
    """Decimals with which values on a scale of this extent can be told apart on paper."""
    return min(max(math.ceil(-math.log10(extent / 500)), 0), 9) if extent > 0 else 0


def shown(value: Number, places: int) -> str:
    """A Decimal keeps the digits it was stated with; a computed value gets as many as the scale can show."""
    if isinstance(value, Decimal):
        return f"{value:f}"
    if value and not 1e-6 <= abs(value) < 1e9:
        return f"{value:.4g}"
    text = f"{value:.{places}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def ticks(low: float, high: float, most: float) -> list[tuple[float, str]]:
    """Round values from low to high, about `most` of them at most, each with its text."""
    rough = (high - low) / max(most, 1)
    power = 10.0 ** math.floor(math.log10(rough))
    step = next((factor * power for factor in (1, 2, 5, 10) if factor * power >= rough * 0.999), 10 * power)
    first, last = math.ceil(low / step - 1e-9), math.floor(high / step + 1e-9)
    exponent = -math.floor(math.log10(step) + 1e-9)
    plain = exponent <= 9 and max(abs(low), abs(high)) < 1e7
    places = max(exponent, 0)
    values = [count * step for count in range(first, min(last, first + 200) + 1)]
    return [(value, f"{value:.{places}f}" if plain else f"{value:.6g}") for value in values]


def apart(places: Sequence[float], gap: float, least: float, most: float) -> list[float]:
    """Positions in ascending order, moved as little as needed to stand `gap` apart, inside the bounds where there is room."""
    moved = list(places)
    for index in range(1, len(moved)):
        moved[index] = max(moved[index], moved[index - 1] + gap)
    if moved and moved[-1] > most:
        moved[-1] = most
    for index in range(len(moved) - 2, -1, -1):
        moved[index] = min(moved[index], moved[index + 1] - gap)
    if moved and moved[0] < least:  # more labels than room: keep them apart and let them run over the far end
        moved = [max(place, least + gap * index) for index, place in enumerate(moved)]
    return moved


@dataclass(frozen=True, slots=True)
class Axis:
    """What a scale measures. low, high: its ends; None to follow what is drawn."""

    label: str
    unit: str = ""
    low: float | None = None
    high: float | None = None

    @property
    def text(self) -> str:
        return f"{self.label}, {self.unit}" if self.label and self.unit else self.label or self.unit


@dataclass(frozen=True, slots=True)
class Level:
    """A line at one value, with its word and value at its end. A Decimal keeps its digits.

    kind: "limit" (of the specification, solid and heavy), "control" (long dashes), "center" (dash and dot), "nominal" (dots).
    """

    value: Number
    word: str
    kind: str = "limit"


STROKES = {
    "limit": 'stroke-width="1.6"',
    "nominal": 'stroke-width="0.8" stroke-opacity="0.7" stroke-dasharray="1 3"',
    "control": 'stroke-width="1" stroke-dasharray="6 4"',
    "center": 'stroke-width="0.8" stroke-dasharray="12 3 2 3"',
}


@dataclass(frozen=True, slots=True)
class Frame:
    """The plotting area in user units, and the values at its edges."""

    left: float
    right: float
    top: float
    bottom: float
    x_low: float
    x_high: float
    y_low: float
    y_high: float

    def x(self, value: Number) -> float:
        return self.left + (float(value) - self.x_low) / (self.x_high - self.x_low) * (self.right - self.left)

    def y(self, value: Number) -> float:
        return self.bottom - (float(value) - self.y_low) / (self.y_high - self.y_low) * (self.bottom - self.top)

    def inside(self, x: float, y: float) -> tuple[float, float]:
        """A place moved onto the frame's edge where it would lie outside."""
        return min(max(x, self.left), self.right), min(max(y, self.top), self.bottom)


def frame_lines(frame: Frame) -> str:
    return (
        f'<path class="chart-axis" d="M{frame.left:.1f} {frame.top:.1f}V{frame.bottom:.1f}H{frame.right:.1f}" '
        'fill="none" stroke="currentColor" stroke-opacity="0.6"/>'
    )


def y_scale(frame: Frame, label: str, *, pitch: float = 32) -> list[str]:
    """Ticks with their values on the left, what they measure above them."""
    out = [f'<text class="axis-name" x="8" y="{frame.top - 8:.1f}" fill-opacity="0.8">{clean(label)}</text>'] if label else []
    for value, text in ticks(frame.y_low, frame.y_high, (frame.bottom - frame.top) / pitch):
        y = frame.y(value)
        out.append(f'<path d="M{frame.left - 4:.1f} {y:.1f}H{frame.left:.1f}" stroke="currentColor" stroke-opacity="0.6"/>')
        out.append(f'<text x="{frame.left - 8:.1f}" y="{y + 3.8:.1f}" text-anchor="end" fill-opacity="0.8">{text}</text>')
    return out


def x_scale(frame: Frame, label: str, *, pitch: float = 70) -> list[str]:
    """Ticks with their values below, what they measure under them at the right."""
    out = []
    for value, text in ticks(frame.x_low, frame.x_high, (frame.right - frame.left) / max(pitch, wide(str(frame.x_high)[:8]) + 8)):
        x = frame.x(value)
        out.append(f'<path d="M{x:.1f} {frame.bottom:.1f}v4" stroke="currentColor" stroke-opacity="0.6"/>')
        out.append(f'<text x="{x:.1f}" y="{frame.bottom + 16:.1f}" text-anchor="middle" fill-opacity="0.8">{text}</text>')
    if label:
        place = f'x="{frame.right:.1f}" y="{frame.bottom + 32:.1f}" text-anchor="end"'
        out.append(f'<text class="axis-name" {place} fill-opacity="0.8">{clean(label)}</text>')
    return out


@dataclass(frozen=True, slots=True)
class EndLabel:
    """A word at the right end of a line. y: where the line ends; start: from where it is drawn, None where it is a curve of its own."""

    y: float
    text: str
    kind: str = "limit"
    start: float | None = None


def end_labels(frame: Frame, labels: Sequence[EndLabel], *, gap: float = 13) -> list[str]:
    """Lines with their words at the right; words that would meet are moved apart and joined to their line."""
    ordered = sorted(labels, key=lambda label: label.y)
    levels = [label.y for label in ordered]
    out = []
    for label, label_y in zip(ordered, apart(levels, gap, frame.top - 8, frame.bottom + 8), strict=True):
        y = label.y
        stroke = STROKES.get(label.kind, 'stroke-width="0.8" stroke-opacity="0.6"')
        start = frame.right if label.start is None else label.start
        bend = f"H{frame.right:.1f}L{frame.right + 8:.1f} {label_y:.1f}"
        out.append(f'<path class="{label.kind}" d="M{start:.1f} {y:.1f}{bend}" fill="none" stroke="currentColor" {stroke}/>')
        weight = ' font-weight="600"' if label.kind == "limit" else ""
        out.append(f'<text x="{frame.right + 11:.1f}" y="{label_y + 3.8:.1f}"{weight}>{clean(label.text)}</text>')
    return out


def label_room(texts: Iterable[str]) -> float:
    """Room at the right for words at the ends of lines."""
    return max((wide(text, bold=True) for text in texts), default=0.0) + 14


def verticals(frame: Frame, marks: Sequence[tuple[float, str, str]], *, beside: str = "") -> list[str]:
    """(x in user units, word, kind) as lines from the top; words stand in two rows above, shortened where the next begins, left out where
    there is no room for any of them (they stay in the line's title). beside: the name of the axis, which begins the lower row."""
    out: list[str] = []
    placed = sorted(marks)
    ends = [8 + wide(beside) + 8 if beside else frame.left - 60.0, frame.left - 60.0]
    last = frame.right + 12
    for order, (x, word, kind) in enumerate(placed):
        room = (placed[order + 2][0] if order + 2 < len(placed) else frame.right + 60) - x - 8
        row = order % 2
        if ends[1 - row] <= x < ends[row]:
            row = 1 - row
        if room < 40:  # crowded: a word where a row is free, whole or not at all
            row = next((row for row in (0, 1) if ends[row] <= x), 0)
            room = last - x - 8 if ends[row] <= x else 0.0
        row_y = frame.top - 8 - 13 * row
        at_end = order == len(placed) - 1 and x + 3 + wide(word) > last and x - 3 - wide(word) > ends[row]
        told = word if at_end else shortened(word, room) if room >= 30 and x >= ends[row] else ""
        stroke = STROKES.get(kind, 'stroke-width="0.8" stroke-opacity="0.6"')
        place = f'x="{x - 3:.1f}" text-anchor="end"' if at_end else f'x="{x + 3:.1f}"'
        text = f'<text {place} y="{row_y:.1f}">{clean(told)}</text>' if told else ""
        if told:
            ends[row] = x + wide(told) + 8
        top = row_y - 8 if told else frame.top
        out.append(
            f'<g class="mark {kind}"><title>{clean(word)}</title>'
            f'<path d="M{x:.1f} {top:.1f}V{frame.bottom:.1f}" fill="none" stroke="currentColor" {stroke}/>{text}</g>'
        )
    return out


def path(points: Iterable[tuple[float, float]]) -> str:
    """The points joined, as a path's data."""
    return "M" + "L".join(f"{x:.1f} {y:.1f}" for x, y in points)


SHAPES = ("dot", "ring", "square", "diamond", "triangle", "cross")
"""Marks that stay apart without colour, in the order in which groups get them."""


def mark(shape: str, x: float, y: float, r: float = 3.2) -> str:
    """One of `SHAPES`, or "misfit": a crossed square, larger."""
    line = 'fill="none" stroke="currentColor" stroke-width="1.4"'
    match shape:
        case "ring":
            return f'<circle cx="{x:.1f}" cy="{y:.1f}" r="{r:g}" {line}/>'
        case "square":
            return f'<rect x="{x - r:.1f}" y="{y - r:.1f}" width="{2 * r:g}" height="{2 * r:g}"/>'
        case "diamond":
            return f'<path d="M{x:.1f} {y - r - 1:.1f}l{r + 1:g} {r + 1:g}l{-r - 1:g} {r + 1:g}l{-r - 1:g} {-r - 1:g}z" {line}/>'
        case "triangle":
            return f'<path d="M{x:.1f} {y - r:.1f}l{r:g} {2 * r:g}h{-2 * r:g}z"/>'
        case "cross":
            return f'<path d="M{x - r:.1f} {y - r:.1f}l{2 * r:g} {2 * r:g}m0 {-2 * r:g}l{-2 * r:g} {2 * r:g}" {line}/>'
        case "misfit":
            box = f"M{x - 5:.1f} {y - 5:.1f}h10v10h-10z"
            return f'<path d="{box}M{x - 5:.1f} {y - 5:.1f}l10 10m0 -10l-10 10" fill="none" stroke="currentColor" stroke-width="1.6"/>'
    return f'<circle cx="{x:.1f}" cy="{y:.1f}" r="{r:g}"/>'
