"""Charts as one SVG string each, the same on a page and in a PDF.

No script and no inline style (a content security policy forbids both): presentation attributes and classes only, and everything in
`currentColor`, so that a page sets the colour and black-and-white print loses nothing. What matters is told by shape and word. All text is
escaped, and characters XML does not allow are dropped.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Protocol

from inspection.drawing.order import boxed, clear_place, frame_of_order, order_labels
from inspection.drawing.primitives import (
    CHAR,
    CHAR_BOLD,
    EndLabel,
    Frame,
    Number,
    apart,
    clean,
    end_labels,
    frame_lines,
    head,
    heading,
    label_room,
    places_for,
    shown,
    span,
    ticks,
    verticals,
)
from inspection.verdict import Limits, Outcome, judge


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
    low, high = span([float(value) for value in (*(point.value for point in points), *(line[0] for line in stated))])
    places = places_for(high - low)
    lines = [_Line(value, kind, word, shown(value, places)) for value, kind, word in stated]
    marks = [(index, word) for index, word in markers if 0 <= index <= len(points)]
    ends = [f"{line.word} {line.text}" for line in lines]
    top = 44.0 if not marks else 62.0
    frame = frame_of_order(58.0, width - max(label_room(ends), 16.0), top, height - 30.0, len(points), low, high)
    outcomes = [point.outcome or (_judged(point.value, limits) if limits else Outcome.CONFORMS) for point in points]
    outside = [point.label for point, outcome in zip(points, outcomes, strict=True) if outcome is Outcome.DOES_NOT_CONFORM]
    described = words.described.format(
        count=len(points),
        least=min((shown(point.value, places) for point in points), key=float, default="–"),
        most=max((shown(point.value, places) for point in points), key=float, default="–"),
        unit=unit,
        lines="; ".join(f"{line.word} {line.text}" for line in lines) or words.none,
        outside=", ".join(outside) or words.none,
    )
    out = [
        *head("run-chart", title, described, width, height),
        heading(title),
        *_axis(frame, unit, labelled=bool(points or lines)),
        *end_labels(frame, [EndLabel(frame.y(line.value), end, line.kind, frame.left) for line, end in zip(lines, ends, strict=True)]),
        *verticals(frame, [(frame.x(index - 0.5) if points else frame.left, word, "change") for index, word in marks]),
    ]
    levels = [frame.y(line.value) for line in lines]
    if not points:
        between = (frame.top + (frame.bottom - frame.top) * share for share in (0.5, 0.3, 0.7, 0.15, 0.85))
        y = max(between, key=lambda at: min((abs(at - 4 - level) for level in levels), default=0) // 12)
        place = f'x="{(frame.left + frame.right) / 2:.1f}" y="{y:.1f}" text-anchor="middle"'
        out.append(f'<text class="chart-empty" {place} fill-opacity="0.8">{clean(words.empty)}</text>')
    spots = [(frame.x(index), frame.y(point.value)) for index, point in enumerate(points)]
    if len(points) > 1:
        path = " ".join(f"{x:.1f},{y:.1f}" for x, y in spots)
        out.append(f'<polyline class="chart-run" points="{path}" fill="none" stroke="currentColor" stroke-width="1" stroke-opacity="0.5"/>')
    for (x, y), point, outcome in zip(spots, points, outcomes, strict=True):
        out.append(_point(x, y, point, outcome, unit, dense=len(points) > 120))
        if control is not None and not control.low <= float(point.value) <= control.high:
            near = [at for beside, at in spots if abs(beside - x) < 12]
            out.append(boxed("1", x, clear_place(near, levels, frame, below=point.value < control.center)))
    out += order_labels(frame, [point.label for point in points])
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
        *head("limit-bar", title, described, width, height),
        f'<path class="scale" d="M{left:g} {y:g}H{right:g}" stroke="currentColor" stroke-opacity="0.6"/>',
        f'<rect class="within" x="{start:.1f}" y="{y - 11:g}" width="{max(stop - start, 1):.1f}" height="22" '
        'fill="currentColor" fill-opacity="0.1"/>',
    ]
    label_width = max(len(f"{end:f}") for end, _ in ends) * 14 * CHAR + 6
    spread = apart([x_of(end) for end, _ in ends], label_width, left, right)
    for (end, kind), label_x in zip(ends, spread, strict=True):
        dash = ' stroke-dasharray="4 3"' if kind == "nominal" else ' stroke-width="2"'
        out.append(f'<path class="{kind}" d="M{x_of(end):.1f} {y - 17:g}V{y + 17:g}" stroke="currentColor"{dash}/>')
        out.append(f'<text x="{label_x:.1f}" y="{y + 33:g}" text-anchor="middle" font-size="14">{end:f}</text>')
    out += [f'<path class="earlier" d="M{x_of(one):.1f} {y - 8:g}V{y + 8:g}" stroke="currentColor"/>' for one in earlier]
    if value is not None:
        out.append(_pointer(x_of(value), y - 14, outcome or _judged(value, limits), off=(value > high) - (value < low)))
        half = len(reading) * 20 * CHAR_BOLD / 2
        middle = min(max(x_of(value), half + 4), width - half - 4)
        place = f'x="{middle:.1f}" y="{y - 44:g}" text-anchor="middle" font-size="20" font-weight="600"'
        out.append(f'<text class="reading" {place}>{clean(reading)}</text>')
    return "".join([*out, "</svg>"])


# --- Parts -----------------------------------------------------------------------------------------------------------------------


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


def _bar_span(limits: Limits) -> tuple[float, float]:
    """The scale of a limit bar: three quarters of the tolerance beyond each limit, or as far again as a limit that stands alone."""
    ends = [float(end) for end in (limits.low, limits.nominal, limits.high) if end is not None]
    if limits.tolerance is not None:
        margin = float(limits.tolerance) * 0.75 or abs(ends[0]) * 0.1 or 1.0
        return ends[0] - margin, ends[-1] + margin
    reach = max(abs(end) for end in ends) or 1.0
    return (ends[0] - reach / 2, ends[-1] + reach) if limits.low is not None else (ends[0] - reach, ends[-1] + reach / 2)


def _judged(value: Number, limits: Limits) -> Outcome:
    return judge(value if isinstance(value, Decimal) else Decimal(repr(value)), limits)


def _axis(frame: Frame, unit: str, *, labelled: bool) -> list[str]:
    unit_place = f'x="{frame.left - 8:g}" y="{frame.top - 8:g}" text-anchor="end"'
    out = [frame_lines(frame), f'<text {unit_place} fill-opacity="0.8">{clean(unit)}</text>']
    for value, label in ticks(frame.y_low, frame.y_high, (frame.bottom - frame.top) / 32) if labelled else ():
        y = frame.y(value)
        out.append(f'<path d="M{frame.left - 4:g} {y:.1f}H{frame.left:g}" stroke="currentColor" stroke-opacity="0.6"/>')
        out.append(f'<text x="{frame.left - 8:g}" y="{y + 3.8:.1f}" text-anchor="end" fill-opacity="0.8">{label}</text>')
    return out


_CLASSES = {Outcome.CONFORMS: "conforms", Outcome.DOES_NOT_CONFORM: "misfit", Outcome.UNDECIDED: "undecided"}


def _point(x: float, y: float, point: ChartPoint, outcome: Outcome, unit: str, *, dense: bool) -> str:
    r = 2.0 if dense else 3.2
    value = f"{point.value:f}" if isinstance(point.value, Decimal) else f"{point.value:g}"
    tip = clean(", ".join(part for part in (point.label, point.kind, f"{value} {unit}", outcome.value, point.note) if part))
    if outcome is Outcome.DOES_NOT_CONFORM:
        box = f"M{x - 5:.1f} {y - 5:.1f}h10v10h-10z"
        shape = f'<path d="{box}M{x - 5:.1f} {y - 5:.1f}l10 10m0 -10l-10 10" fill="none" stroke="currentColor" stroke-width="1.6"/>'
    elif outcome is Outcome.UNDECIDED:
        shape = f'<circle cx="{x:.1f}" cy="{y:.1f}" r="{r + 1:g}" fill="none" stroke="currentColor" stroke-width="1.6"/>'
    else:
        shape = f'<circle cx="{x:.1f}" cy="{y:.1f}" r="{r:g}"/>'
    return f'<g class="point {_CLASSES[outcome]}"><title>{tip}</title>{shape}</g>'


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
