"""Charts as one SVG string each, the same on a page and in a PDF.

No script and no inline style (a content security policy forbids both): presentation attributes and classes only, and everything in
`currentColor`, so that a page sets the colour and black-and-white print loses nothing. What matters is told by shape and word. All text is
escaped, and characters XML does not allow are dropped.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Protocol
from xml.sax.saxutils import escape

from inspection.verdict import Limits, Outcome, judge

Number = Decimal | float | int

FACE = "Proof Text, Proof Symbols, system-ui, sans-serif"
_CHAR = 0.56
_CHAR_BOLD = 0.68
"""Width of an average character over the font size: generous, it keeps labels apart without measuring the font."""


@dataclass(frozen=True, slots=True)
class ChartPoint:
    """One plotted value.

    label: under the axis (a count, a time). note: for the tooltip. outcome: as judged and recorded; None: judged here against the limits.
    kind: what the sample was ("first piece"), for the tooltip.
    """

    label: str
    value: Number
    note: str = ""
    outcome: Outcome | None = None
    kind: str = ""


class ControlLines(Protocol):
    """Centre line and control limits, as the charts of `inspection.spc` have them."""

    @property
    def low(self) -> float: ...
    @property
    def center(self) -> float: ...
    @property
    def high(self) -> float: ...


@dataclass(frozen=True, slots=True)
class ChartWords:
    """The words on a chart, in the page's language. `{...}` are filled in."""

    upper_limit: str = "upper limit"
    lower_limit: str = "lower limit"
    nominal: str = "nominal"
    control_high: str = "upper control"
    control_low: str = "lower control"
    center: str = "centre"
    empty: str = "No readings yet"
    described: str = "{count} readings from {least} to {most} {unit}. Lines: {lines}. Outside the limits: {outside}."
    none: str = "none"


WORDS = ChartWords()


@dataclass(frozen=True, slots=True)
class _Frame:
    """The plotting area in user units and the values at its lower and upper edge."""

    left: float
    right: float
    top: float
    bottom: float
    low: float
    high: float
    count: int
    labelled: bool = True

    def x(self, index: float) -> float:
        return self.left + 14 + (index + 0.5) * (self.right - self.left - 28) / max(self.count, 1)

    def y(self, value: Number) -> float:
        return self.bottom - (float(value) - self.low) / (self.high - self.low) * (self.bottom - self.top)


@dataclass(frozen=True, slots=True)
class _Line:
    value: Number
    kind: str
    word: str
    text: str


def run_chart(
    points: Sequence[ChartPoint],
    *,
    limits: Limits | None = None,
    control: ControlLines | None = None,
    markers: Iterable[tuple[int, str]] = (),
    unit: str,
    title: str,
    width: int = 720,
    height: int = 260,
    words: ChartWords = WORDS,
) -> str:
    """Values in order with their limits, as an SVG string.

    limits: the tolerance, solid lines. control: centre line and control limits, dashed. markers: (index, word), a thin vertical in front of
    the point with that index (a set-up, a new reel). A value outside the tolerance is a crossed square, an undecided one a hollow circle;
    one beyond the control limits carries a boxed 1 (the rule's number). Raises ValueError for a value that is not finite.
    """
    if not all(math.isfinite(point.value) for point in points):
        raise ValueError("a chart point is not a finite number")
    stated = _stated(limits, control, words)
    low, high = _span([float(value) for value in (*(point.value for point in points), *(line[0] for line in stated))])
    places = _places(high - low)
    lines = [_Line(value, kind, word, _shown(value, places)) for value, kind, word in stated]
    marks = [(index, word) for index, word in markers if 0 <= index <= len(points)]
    label_room = max((len(f"{line.word} {line.text}") for line in lines), default=0) * 11 * _CHAR_BOLD + 14
    frame = _Frame(
        58.0, width - max(label_room, 16.0), 44.0 if not marks else 62.0, height - 30.0, low, high, len(points), bool(points or lines)
    )
    outcomes = [point.outcome or (_judged(point.value, limits) if limits else Outcome.CONFORMS) for point in points]
    outside = [point.label for point, outcome in zip(points, outcomes, strict=True) if outcome is Outcome.DOES_NOT_CONFORM]
    described = words.described.format(
        count=len(points),
        least=min((_shown(point.value, places) for point in points), key=float, default="–"),
        most=max((_shown(point.value, places) for point in points), key=float, default="–"),
        unit=unit,
        lines="; ".join(f"{line.word} {line.text}" for line in lines) or words.none,
        outside=", ".join(outside) or words.none,
    )
    out = [
        *_head("run-chart", title, described, width, height),
        f'<text class="chart-title" x="8" y="17" font-size="13" font-weight="600">{_clean(title)}</text>',
        *_axis(frame, unit),
        *_level_lines(frame, lines),
        *_vertical_marks(frame, marks),
    ]
    levels = [frame.y(line.value) for line in lines]
    if not points:
        between = (frame.top + (frame.bottom - frame.top) * share for share in (0.5, 0.3, 0.7, 0.15, 0.85))
        y = max(between, key=lambda at: min((abs(at - 4 - level) for level in levels), default=0) // 12)
        place = f'x="{(frame.left + frame.right) / 2:.1f}" y="{y:.1f}" text-anchor="middle"'
        out.append(f'<text class="chart-empty" {place} fill-opacity="0.8">{_clean(words.empty)}</text>')
    spots = [(frame.x(index), frame.y(point.value)) for index, point in enumerate(points)]
    if len(points) > 1:
        path = " ".join(f"{x:.1f},{y:.1f}" for x, y in spots)
        out.append(f'<polyline class="chart-run" points="{path}" fill="none" stroke="currentColor" stroke-width="1" stroke-opacity="0.5"/>')
    for (x, y), point, outcome in zip(spots, points, outcomes, strict=True):
        out.append(_point(x, y, point, outcome, unit, dense=len(points) > 120))
        if control is not None and not control.low <= float(point.value) <= control.high:
            out.append(_signal(x, [at for near, at in spots if abs(near - x) < 12], levels, frame, below=point.value < control.center))
    out += _point_labels(frame, [point.label for point in points])
    return "".join([*out, "</svg>"])


def limit_bar(
    value: Number | None,
    limits: Limits,
    unit: str,
    *,
    title: str,
    text: str = "",
    outcome: Outcome | None = None,
    word: str = "",
    earlier: Sequence[Number] = (),
    width: int = 640,
    height: int = 120,
) -> str:
    """The target drawn to scale with the reading on it, as an SVG string.

    value: the reading, None before it is taken. text: as typed, otherwise the value. outcome: as judged, otherwise judged here. word: the
    verdict in the page's language, behind the reading. earlier: readings of the same sample, as thin ticks. A reading off the scale points
    out of it. Raises ValueError for a value that is not finite.
    """
    if value is not None and not math.isfinite(value):
        raise ValueError("a reading is not a finite number")
    ends = [(end, kind) for end, kind in ((limits.low, "limit"), (limits.nominal, "nominal"), (limits.high, "limit")) if end is not None]
    ends = [pair for index, pair in enumerate(ends) if index == 0 or pair[0] != ends[index - 1][0]]  # a tolerance of zero is one line
    low, high = _bar_span(limits)
    left, right, y = 24.0, width - 24.0, height - 42.0

    def x_of(at: Number) -> float:
        return left + (min(max(float(at), low), high) - low) / (high - low) * (right - left)

    shown = text or ("" if value is None else f"{value:f}" if isinstance(value, Decimal) else f"{value:g}")
    reading = " ".join(part for part in (shown if not shown or shown.endswith(unit) else f"{shown} {unit}", word) if part)
    described = "; ".join(f"{end:f} {unit}" for end, _ in ends) + (f": {reading}" if reading else "")
    start, stop = x_of(low if limits.low is None else limits.low), x_of(high if limits.high is None else limits.high)
    out = [
        *_head("limit-bar", title, described, width, height),
        f'<path class="scale" d="M{left:g} {y:g}H{right:g}" stroke="currentColor" stroke-opacity="0.6"/>',
        f'<rect class="within" x="{start:.1f}" y="{y - 11:g}" width="{max(stop - start, 1):.1f}" height="22" '
        'fill="currentColor" fill-opacity="0.1"/>',
    ]
    label_width = max(len(f"{end:f}") for end, _ in ends) * 14 * _CHAR + 6
    spread = _apart([x_of(end) for end, _ in ends], label_width, left, right)
    for (end, kind), label_x in zip(ends, spread, strict=True):
        dash = ' stroke-dasharray="4 3"' if kind == "nominal" else ' stroke-width="2"'
        out.append(f'<path class="{kind}" d="M{x_of(end):.1f} {y - 17:g}V{y + 17:g}" stroke="currentColor"{dash}/>')
        out.append(f'<text x="{label_x:.1f}" y="{y + 33:g}" text-anchor="middle" font-size="14">{end:f}</text>')
    out += [f'<path class="earlier" d="M{x_of(one):.1f} {y - 8:g}V{y + 8:g}" stroke="currentColor"/>' for one in earlier]
    if value is not None:
        out.append(_pointer(x_of(value), y - 14, outcome or _judged(value, limits), off=(value > high) - (value < low)))
        half = len(reading) * 20 * _CHAR_BOLD / 2
        middle = min(max(x_of(value), half + 4), width - half - 4)
        place = f'x="{middle:.1f}" y="{y - 44:g}" text-anchor="middle" font-size="20" font-weight="600"'
        out.append(f'<text class="reading" {place}>{_clean(reading)}</text>')
    return "".join([*out, "</svg>"])


# --- Parts -----------------------------------------------------------------------------------------------------------------------


def _clean(text: object) -> str:
    """Text for XML: what XML 1.0 does not allow is dropped, the rest escaped."""
    allowed = re.sub("[^\\t\\n\\r\\u0020-\\ud7ff\\ue000-\\ufffd\\U00010000-\\U0010ffff]", "", str(text))
    return escape(allowed, {'"': "&quot;"})


def _head(kind: str, title: str, described: str, width: int, height: int) -> list[str]:
    return [
        f'<svg xmlns="http://www.w3.org/2000/svg" class="{kind}" role="img" aria-label="{_clean(f"{title}. {described}")}" '
        f'viewBox="0 0 {width} {height}" width="{width}" height="{height}" font-family="{FACE}" font-size="11" fill="currentColor">',
        f"<title>{_clean(title)}</title><desc>{_clean(described)}</desc>",
    ]


def _stated(limits: Limits | None, control: ControlLines | None, words: ChartWords) -> list[tuple[Number, str, str]]:
    found: list[tuple[Number | None, str, str]] = []
    if limits is not None:
        found += [
            (limits.high, "limit", words.upper_limit),
            (limits.nominal, "nominal", words.nominal),
            (limits.low, "limit", words.lower_limit),
        ]
    if control is not None:
        found += [
            (control.high, "control", words.control_high),
            (control.center, "center", words.center),
            (control.low, "control", words.control_low),
        ]
    return [(value, kind, word) for value, kind, word in found if value is not None]


def _span(values: Sequence[float]) -> tuple[float, float]:
    """The axis: all values and lines with a margin; around equal values, and with nothing to show, a sensible stretch."""
    if not values:
        return 0.0, 1.0
    low, high = min(values), max(values)
    margin = (high - low) * 0.08 or abs(low) * 0.02 or 1.0
    return low - margin, high + margin


def _bar_span(limits: Limits) -> tuple[float, float]:
    """The scale of a limit bar: three quarters of the tolerance beyond each limit, or as far again as a limit that stands alone."""
    ends = [float(end) for end in (limits.low, limits.nominal, limits.high) if end is not None]
    if limits.tolerance is not None:
        margin = float(limits.tolerance) * 0.75 or abs(ends[0]) * 0.1 or 1.0
        return ends[0] - margin, ends[-1] + margin
    reach = max(abs(end) for end in ends) or 1.0
    return (ends[0] - reach / 2, ends[-1] + reach) if limits.low is not None else (ends[0] - reach, ends[-1] + reach / 2)


def _places(span: float) -> int:
    return min(max(math.ceil(-math.log10(span / 500)), 0), 9)


def _shown(value: Number, places: int) -> str:
    """A Decimal keeps the digits it was stated with; a computed value gets as many as the chart can show."""
    if isinstance(value, Decimal):
        return f"{value:f}"
    text = f"{value:.{places}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def _judged(value: Number, limits: Limits) -> Outcome:
    return judge(value if isinstance(value, Decimal) else Decimal(repr(value)), limits)


def _axis(frame: _Frame, unit: str) -> list[str]:
    out = [
        f'<path class="chart-axis" d="M{frame.left:g} {frame.top:g}V{frame.bottom:g}H{frame.right:.1f}" '
        'fill="none" stroke="currentColor" stroke-opacity="0.6"/>',
        f'<text x="{frame.left - 8:g}" y="{frame.top - 8:g}" text-anchor="end" fill-opacity="0.8">{_clean(unit)}</text>',
    ]
    if not frame.labelled:
        return out
    rough = (frame.high - frame.low) / max((frame.bottom - frame.top) / 32, 1)
    power = 10.0 ** math.floor(math.log10(rough))
    step = next(factor * power for factor in (1, 2, 5, 10) if factor * power >= rough * 0.999)
    places = min(max(-math.floor(math.log10(step) + 1e-9), 0), 9)
    for count in range(math.ceil(frame.low / step - 1e-9), math.floor(frame.high / step + 1e-9) + 1):
        y = frame.y(count * step)
        out.append(f'<path d="M{frame.left - 4:g} {y:.1f}H{frame.left:g}" stroke="currentColor" stroke-opacity="0.6"/>')
        label = f"{count * step:.{places}f}"
        out.append(f'<text x="{frame.left - 8:g}" y="{y + 3.8:.1f}" text-anchor="end" fill-opacity="0.8">{label}</text>')
    return out


_STROKES = {
    "limit": 'stroke-width="1.6"',
    "nominal": 'stroke-width="0.8" stroke-opacity="0.7" stroke-dasharray="1 3"',
    "control": 'stroke-width="1" stroke-dasharray="6 4"',
    "center": 'stroke-width="0.8" stroke-dasharray="12 3 2 3"',
}


def _level_lines(frame: _Frame, lines: Sequence[_Line]) -> list[str]:
    """The limits, each with its word at the line's end; words that would meet are moved apart and joined to their line."""
    ordered = sorted(lines, key=lambda line: -float(line.value))
    levels = [frame.y(line.value) for line in ordered]
    out = []
    for line, y, label_y in zip(ordered, levels, _apart(levels, 13, frame.top - 8, frame.bottom + 8), strict=True):
        bend = f"H{frame.right:.1f}L{frame.right + 8:.1f} {label_y:.1f}"
        out.append(f'<path class="{line.kind}" d="M{frame.left:g} {y:.1f}{bend}" fill="none" stroke="currentColor" {_STROKES[line.kind]}/>')
        weight = ' font-weight="600"' if line.kind == "limit" else ""
        word = _clean(f"{line.word} {line.text}")
        out.append(f'<text x="{frame.right + 11:.1f}" y="{label_y + 3.8:.1f}"{weight}>{word}</text>')
    return out


def _apart(places: Sequence[float], gap: float, least: float, most: float) -> list[float]:
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


def _vertical_marks(frame: _Frame, marks: Sequence[tuple[int, str]]) -> list[str]:
    """Set-ups and changes as thin verticals; their words stand in two rows above the plot, shortened where the next one begins."""
    out: list[str] = []
    placed = [(frame.x(index - 0.5) if frame.count else frame.left, word) for index, word in sorted(marks, key=lambda mark: mark[0])]
    for order, (x, word) in enumerate(placed):
        row_y = frame.top - 8 - 13 * (order % 2)
        room = (placed[order + 2][0] if order + 2 < len(placed) else frame.right + 60) - x - 8
        fits = max(int(room / (11 * _CHAR)), 1)
        shown = word if len(word) <= fits else f"{word[: max(fits - 1, 0)]}…"
        stroke = 'stroke="currentColor" stroke-width="0.8" stroke-opacity="0.8"'
        out.append(f'<g class="mark"><title>{_clean(word)}</title><path d="M{x:.1f} {row_y - 8:.1f}V{frame.bottom:g}" {stroke}/>')
        out.append(f'<text x="{x + 3:.1f}" y="{row_y:.1f}">{_clean(shown)}</text></g>')
    return out


_CLASSES = {Outcome.CONFORMS: "conforms", Outcome.DOES_NOT_CONFORM: "misfit", Outcome.UNDECIDED: "undecided"}


def _point(x: float, y: float, point: ChartPoint, outcome: Outcome, unit: str, *, dense: bool) -> str:
    r = 2.0 if dense else 3.2
    value = f"{point.value:f}" if isinstance(point.value, Decimal) else f"{point.value:g}"
    tip = _clean(", ".join(part for part in (point.label, point.kind, f"{value} {unit}", outcome.value, point.note) if part))
    if outcome is Outcome.DOES_NOT_CONFORM:
        box = f"M{x - 5:.1f} {y - 5:.1f}h10v10h-10z"
        shape = f'<path d="{box}M{x - 5:.1f} {y - 5:.1f}l10 10m0 -10l-10 10" fill="none" stroke="currentColor" stroke-width="1.6"/>'
    elif outcome is Outcome.UNDECIDED:
        shape = f'<circle cx="{x:.1f}" cy="{y:.1f}" r="{r + 1:g}" fill="none" stroke="currentColor" stroke-width="1.6"/>'
    else:
        shape = f'<circle cx="{x:.1f}" cy="{y:.1f}" r="{r:g}"/>'
    return f'<g class="point {_CLASSES[outcome]}"><title>{tip}</title>{shape}</g>'


def _signal(x: float, near: Sequence[float], levels: Sequence[float], frame: _Frame, *, below: bool) -> str:
    """Nelson's rule 1, one point beyond the control limits: its number in a box above or below the run, clear of every line."""

    def is_clear(box: float) -> bool:
        return frame.top - 26 <= box <= frame.bottom - 14 and not any(box - 3 < level < box + 15 for level in levels)

    over = [min(near) - 20 - 3 * step for step in range(40)]
    under = [max(near) + 8 + 3 * step for step in range(40)]
    tried = [*under, *over] if below else [*over, *under]
    box_y = next((place for place in tried if is_clear(place)), over[0])
    box = f'<rect x="{x - 6:.1f}" y="{box_y:.1f}" width="12" height="12" fill="none" stroke="currentColor"/>'
    return (
        f'<g class="signal">{box}<text x="{x:.1f}" y="{box_y + 9.5:.1f}" text-anchor="middle" font-size="10" font-weight="600">1</text></g>'
    )


def _point_labels(frame: _Frame, labels: Sequence[str]) -> list[str]:
    """The labels under the axis, every one, or every second, fifth, ... that leaves room; the last always."""
    if not labels:
        return []
    pitch = (frame.right - frame.left - 28) / len(labels)
    need = max(len(label) for label in labels) * 11 * _CHAR + 8
    every = next((n for n in (1, 2, 5, 10, 20, 25, 50, 100, 200, 500, 1000) if n * pitch >= need), len(labels))
    last = len(labels) - 1
    chosen = [index for index in range(0, len(labels), every) if index == 0 or (last - index) * pitch >= need or index == last]
    out = []
    for index in dict.fromkeys([*chosen, last]):
        x = frame.x(index)
        out.append(f'<path d="M{x:.1f} {frame.bottom:g}v4" stroke="currentColor" stroke-opacity="0.6"/>')
        out.append(f'<text x="{x:.1f}" y="{frame.bottom + 16:g}" text-anchor="middle" fill-opacity="0.8">{_clean(labels[index])}</text>')
    return out


def _pointer(x: float, y: float, outcome: Outcome, *, off: int) -> str:
    """A triangle on the bar, filled where the reading conforms, hollow where undecided, crossed where not; sideways when off the scale."""
    shape = f"M{x:.1f} {y:g}l-11 -20h22z" if not off else f"M{x:.1f} {y - 10:g}l{-20 * off} -11v22z"
    fill = "currentColor" if outcome is Outcome.CONFORMS else "none"
    cross = ""
    if outcome is Outcome.DOES_NOT_CONFORM:
        cx = x if not off else x - 13 * off
        cy = y - 13 if not off else y - 10
        cross = f'<path d="M{cx - 4:.1f} {cy - 4:g}l8 8m0 -8l-8 8" stroke="currentColor" stroke-width="2"/>'
    return f'<g class="mark {_CLASSES[outcome]}"><path d="{shape}" fill="{fill}" stroke="currentColor" stroke-width="1.6"/>{cross}</g>'
