"""Points over a scale, with fitted lines and their bands, limits, and spans of x that mean something.

Used wherever one thing is plotted against another: bias against reference value, pull force against crimp height, height against count.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from inspection.drawing.primitives import (
    Axis,
    EndLabel,
    Frame,
    Level,
    Number,
    checked,
    clean,
    end_labels,
    frame_lines,
    head,
    heading,
    label_room,
    mark,
    path,
    places_for,
    shown,
    span,
    verticals,
    x_scale,
    y_scale,
)


@dataclass(frozen=True, slots=True)
class Spot:
    """One point. tip: what it is, read out and shown on hover, beside its values. shape: one of `primitives.SHAPES`, or "misfit"."""

    x: Number
    y: Number
    tip: str = ""
    shape: str = "dot"


@dataclass(frozen=True, slots=True)
class Curve:
    """A line through (x, y) with its word at its right end, and a band from `low` to `high` around it where it has one.

    x ascending; y, low, high: as many values as x. dash: an SVG dash array, empty for a solid line. step: level until the next x.
    outline: the band's edges are drawn as thin lines too (a prediction band around a confidence band).
    """

    x: Sequence[float]
    y: Sequence[float]
    word: str = ""
    low: Sequence[float] | None = None
    high: Sequence[float] | None = None
    dash: str = ""
    step: bool = False
    outline: bool = True


@dataclass(frozen=True, slots=True)
class Stretch:
    """A shaded stretch of the x scale (a window) with its word at the top. kind: becomes its class."""

    low: Number
    high: Number
    word: str = ""
    kind: str = "window"


def scatter(
    spots: Sequence[Spot],
    *,
    x: Axis,
    y: Axis,
    title: str,
    curves: Sequence[Curve] = (),
    levels: Sequence[Level] = (),
    uprights: Sequence[Level] = (),
    stretches: Sequence[Stretch] = (),
    described: str = "",
    empty: str = "No values yet",
    width: int = 720,
    height: int = 320,
) -> str:
    """Points, lines and limits as one SVG string.

    levels: lines across, labelled at the right end with word and value; uprights: lines up, labelled above. The scales take in the points,
    levels, uprights, stretches and the curves themselves; a band that runs further is cut at the frame.
    described: a sentence for who cannot see it; else the counts. Raises ValueError for a value that is not finite.
    """
    xs = checked([spot.x for spot in spots])
    ys = checked([spot.y for spot in spots])
    for curve in curves:
        if any(len(other) != len(curve.x) for other in (curve.y, curve.low, curve.high) if other is not None):
            raise ValueError("a curve has as many values as places")
    x_all = [*xs, *checked(v for c in curves for v in c.x), *checked(u.value for u in uprights)]
    x_all += checked(v for s in stretches for v in (s.low, s.high))
    y_all = [*ys, *checked(v for c in curves for v in c.y), *checked(level.value for level in levels)]
    for curve in curves:
        checked([*(curve.low or ()), *(curve.high or ())])
    x_low, x_high = _ends(x, x_all)
    y_low, y_high = _ends(y, y_all)
    digits_x, digits_y = places_for(x_high - x_low), places_for(y_high - y_low)
    ends = [f"{level.word} {shown(level.value, digits_y)}".strip() for level in levels]
    top = 44.0 + (26.0 if uprights or any(s.word for s in stretches) else 0.0)
    room = label_room([*ends, *(curve.word for curve in curves)])
    frame = Frame(58.0, width - max(room, 16.0), top, height - 44.0, x_low, x_high, y_low, y_high)
    if not described:
        described = f"{len(spots)} points. " + "; ".join([*ends, *(curve.word for curve in curves if curve.word)])
    out = [*head("scatter", title, described, width, height), heading(title)]
    out += [_stretch(frame, stretch) for stretch in stretches]
    for curve in curves:
        out += _curve(frame, curve)
    out += [frame_lines(frame), *y_scale(frame, y.text), *x_scale(frame, x.text)]
    marks = [(frame.x(u.value), f"{u.word} {shown(u.value, digits_x)}".strip(), u.kind) for u in uprights]
    marks += [(frame.x(max(float(s.low), x_low)), s.word, "window-word") for s in stretches if s.word]
    out += verticals(frame, marks, beside=y.text)
    labels = [EndLabel(frame.y(v.value), text, v.kind, frame.left) for v, text in zip(levels, ends, strict=True)]
    labels += [_end(frame, curve) for curve in curves if curve.word and len(curve.x)]
    out += end_labels(frame, labels)
    if not spots and not curves:
        middle = f'x="{(frame.left + frame.right) / 2:.1f}" y="{(frame.top + frame.bottom) / 2:.1f}" text-anchor="middle"'
        out.append(f'<text class="chart-empty" {middle} fill-opacity="0.8">{clean(empty)}</text>')
    seen: set[tuple[int, int, str]] = set()
    r = 3.2 if len(spots) <= 300 else 2.0
    for spot, px, py in zip(spots, (frame.x(v) for v in xs), (frame.y(v) for v in ys), strict=True):
        here = (round(px), round(py), spot.shape)
        if len(spots) > 1000 and here in seen:  # one dot stands for all that lie under it
            continue
        seen.add(here)
        tip = ", ".join(
            t for t in (spot.tip, f"{shown(spot.x, digits_x)} {x.unit}".strip(), f"{shown(spot.y, digits_y)} {y.unit}".strip()) if t
        )
        out.append(f'<g class="point {spot.shape}"><title>{clean(tip)}</title>{mark(spot.shape, px, py, r)}</g>')
    return "".join([*out, "</svg>"])


def curves_chart(
    curves: Sequence[Curve],
    *,
    x: Axis,
    y: Axis,
    title: str,
    levels: Sequence[Level] = (),
    uprights: Sequence[Level] = (),
    spots: Sequence[Spot] = (),
    described: str = "",
    width: int = 720,
    height: int = 320,
) -> str:
    """Several curves on common scales (OC, AOQ, ATI), each named at its end and drawn in a dash of its own; `spots` mark risks on them."""
    told = [
        curve
        if curve.dash or index == 0
        else Curve(curve.x, curve.y, curve.word, curve.low, curve.high, DASHES[index % len(DASHES)], curve.step)
        for index, curve in enumerate(curves)
    ]
    return scatter(
        spots, x=x, y=y, title=title, curves=told, levels=levels, uprights=uprights, described=described, width=width, height=height
    )  # fmt: skip


DASHES = ("", "7 3", "2 3", "10 3 2 3", "4 2", "12 4")


def _ends(axis: Axis, values: Sequence[float]) -> tuple[float, float]:
    fixed = [end for end in (axis.low, axis.high) if end is not None]
    low, high = span([*values, *fixed])
    low, high = (low if axis.low is None else axis.low), (high if axis.high is None else axis.high)
    return (low, high) if low < high else span([low])


def _clipped(frame: Frame, xs: Iterable[float], ys: Iterable[float]) -> list[tuple[float, float]]:
    return [frame.inside(frame.x(x), frame.y(y)) for x, y in zip(xs, ys, strict=True)]


def _curve(frame: Frame, curve: Curve) -> list[str]:
    out = []
    if curve.low is not None and curve.high is not None and len(curve.x):
        under, over = _clipped(frame, curve.x, curve.low), _clipped(frame, curve.x, curve.high)
        out.append(f'<path class="band" d="{path([*over, *reversed(under)])}z" fill="currentColor" fill-opacity="0.08"/>')
        if curve.outline:
            edge = 'fill="none" stroke="currentColor" stroke-width="0.6" stroke-opacity="0.6" stroke-dasharray="3 2"'
            out.append(f'<path class="band-edge" d="{path(over)}{path(under)}" {edge}/>')
    if len(curve.x):
        line = _clipped(frame, curve.x, curve.y)
        if curve.step:
            line = [place for (x0, y0), (x1, y1) in zip(line, [*line[1:], line[-1]], strict=True) for place in ((x0, y0), (x1, y0))]
        dash = f' stroke-dasharray="{curve.dash}"' if curve.dash else ""
        out.append(f'<path class="curve" d="{path(line)}" fill="none" stroke="currentColor" stroke-width="1.4"{dash}/>')
    return out


def _end(frame: Frame, curve: Curve) -> EndLabel:
    end_x, end_y = _clipped(frame, curve.x[-1:], curve.y[-1:])[0]
    return EndLabel(end_y, curve.word, "curve-end", end_x)


def _stretch(frame: Frame, stretch: Stretch) -> str:
    left, right = (min(max(frame.x(v), frame.left), frame.right) for v in (stretch.low, stretch.high))
    return (
        f'<rect class="{clean(stretch.kind)}" x="{left:.1f}" y="{frame.top:.1f}" width="{max(right - left, 1):.1f}" '
        f'height="{frame.bottom - frame.top:.1f}" fill="currentColor" fill-opacity="0.1"/>'
    )
