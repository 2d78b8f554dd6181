"""How values lie: a histogram with limits and a fitted curve, and a normal probability plot with its band."""

from __future__ import annotations

import math
from collections.abc import Sequence
from statistics import NormalDist

from inspection.drawing.primitives import (
    Axis,
    EndLabel,
    Frame,
    Level,
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
from inspection.drawing.scatter import DASHES, Curve
from inspection.process.histogram import Histogram
from inspection.process.normality import ProbabilityPlot


def histogram_chart(
    bins: Histogram | None,
    *,
    x: Axis,
    title: str,
    count_word: str = "count",
    uprights: Sequence[Level] = (),
    fits: Sequence[Curve] = (),
    empty: str = "No values yet",
    described: str = "",
    width: int = 620,
    height: int = 300,
) -> str:
    """Bars of counts with limits as lines up and fitted curves over them, as one SVG string.

    bins: None for the empty state. uprights: specification limits ("limit", solid) and others, labelled above. fits: curves whose y is a
    density (1/unit of x); they are drawn to the scale of the counts and named at their end. Raises ValueError for a value not finite.
    """
    total = 0 if bins is None else int(bins.counts.sum())
    edges = [] if bins is None else checked(bins.edges.tolist())
    curves = [
        Curve(checked(fit.x), [value * total * (bins.width if bins else 0.0) for value in checked(fit.y)], fit.word, dash=fit.dash)
        for fit in fits
    ]
    x_low, x_high = span([*edges, *checked(upright.value for upright in uprights)], 0.04)
    highest = max([*(bins.counts.tolist() if bins is not None else ()), *(y for curve in curves for y in curve.y), 1])
    room = label_room(curve.word for curve in curves)
    frame = Frame(50.0, width - max(room, 16.0), 70.0 if uprights else 44.0, height - 44.0, x_low, x_high, 0.0, highest * 1.06)
    digits = places_for(x_high - x_low)
    told = [f"{upright.word} {shown(upright.value, digits)}" for upright in uprights]
    out = [*head("histogram", title, described or "; ".join([f"{total} values", *told]), width, height), heading(title)]
    if bins is None or total == 0:
        middle = f'x="{(frame.left + frame.right) / 2:.1f}" y="{(frame.top + frame.bottom) / 2:.1f}" text-anchor="middle"'
        return "".join([*out, frame_lines(frame), f'<text class="chart-empty" {middle} fill-opacity="0.8">{clean(empty)}</text></svg>'])
    for low, high, count in zip(edges, edges[1:], bins.counts.tolist(), strict=False):
        left, right, top = frame.x(low), frame.x(high), frame.y(count)
        tip = clean(f"{shown(low, digits + 1)} – {shown(high, digits + 1)} {x.unit}: {count}")
        if count:
            out.append(
                f'<g class="bin"><title>{tip}</title><rect x="{left:.1f}" y="{top:.1f}" width="{max(right - left, 0.5):.1f}" '
                f'height="{frame.bottom - top:.1f}" fill="currentColor" fill-opacity="0.22" stroke="currentColor" stroke-width="0.7"/></g>'
            )
    ends = []
    for index, curve in enumerate(curves):
        points = [frame.inside(frame.x(at), frame.y(value)) for at, value in zip(curve.x, curve.y, strict=True) if x_low <= at <= x_high]
        if points:
            dash = curve.dash or DASHES[index % len(DASHES)]
            stroke = f' stroke-dasharray="{dash}"' if dash else ""
            out.append(f'<path class="curve" d="{path(points)}" fill="none" stroke="currentColor" stroke-width="1.6"{stroke}/>')
            if curve.word:
                ends.append(EndLabel(points[-1][1], curve.word, "curve-end", points[-1][0]))
    out += [
        frame_lines(frame),
        *y_scale(frame, count_word, pitch=max(32.0, (frame.bottom - frame.top) / (highest * 1.06))),
        *x_scale(frame, x.text),
    ]
    lines = [(frame.x(upright.value), text, upright.kind) for upright, text in zip(uprights, told, strict=True)]
    out += verticals(frame, lines, beside=count_word)
    out += end_labels(frame, ends)
    return "".join([*out, "</svg>"])


SHARES = (0.001, 0.01, 0.05, 0.1, 0.25, 0.5, 0.75, 0.9, 0.95, 0.99, 0.999)
"""Shares, as fractions, that the scale of a probability plot names."""


def probability_chart(
    plot: ProbabilityPlot | None,
    *,
    x: Axis,
    title: str,
    share_word: str = "share below, %",
    line_word: str = "normal",
    band_word: str = "",
    uprights: Sequence[Level] = (),
    empty: str = "Too few values",
    width: int = 620,
    height: int = 320,
) -> str:
    """Ordered values against the share below them on a normal scale, with the line of the fitted normal and the band in which each value of
    a normal sample falls. Values outside the band are hollow squares. plot: None for the empty state. Raises ValueError, not finite."""
    frame_height = height - 44.0
    if plot is None or not len(plot.values):
        frame = Frame(50.0, width - 16.0, 44.0, frame_height, 0.0, 1.0, 0.0, 1.0)
        middle = f'x="{width / 2:.1f}" y="{height / 2:.1f}" text-anchor="middle"'
        text = f'<text class="chart-empty" {middle} fill-opacity="0.8">{clean(empty)}</text></svg>'
        return "".join([*head("probability", title, empty, width, height), heading(title), frame_lines(frame), text])
    values, quantiles = checked(plot.values.tolist()), checked(plot.quantiles.tolist())
    low, high = checked(plot.low.tolist()), checked(plot.high.tolist())
    q_low, q_high = span(quantiles, 0.04)
    line = [plot.mean + plot.sigma * end for end in (q_low, q_high)]
    x_low, x_high = span([*values, *checked(upright.value for upright in uprights)], 0.06)
    room = label_room([line_word])
    frame = Frame(50.0, width - max(room, 16.0), 70.0 if uprights else 44.0, frame_height, x_low, x_high, q_low, q_high)
    digits = places_for(x_high - x_low)
    outside = sum(not a <= value <= b for a, value, b in zip(low, values, high, strict=True))
    out = [*head("probability", title, f"{len(values)} points, {outside} outside the band", width, height), heading(title)]
    edge = 'fill="none" stroke="currentColor" stroke-width="0.7" stroke-opacity="0.7" stroke-dasharray="3 2"'
    left = [frame.inside(frame.x(at), frame.y(q)) for at, q in zip(low, quantiles, strict=True)]
    right = [frame.inside(frame.x(at), frame.y(q)) for at, q in zip(high, quantiles, strict=True)]
    out.append(f'<path class="band" d="{path([*left, *reversed(right)])}z" fill="currentColor" fill-opacity="0.08"/>')
    out.append(f'<path class="band-edge" d="{path(left)}{path(right)}" {edge}><title>{clean(band_word)}</title></path>')
    # Where the line leaves the frame at a side it is cut there, on the line and not at the corner.
    ends = [_on_line(frame, plot, at, q) for at, q in zip(line, (q_low, q_high), strict=True)]
    out.append(f'<path class="curve" d="{path(ends)}" fill="none" stroke="currentColor" stroke-width="1.2"/>')
    out.append(frame_lines(frame))
    out.append(f'<text class="axis-name" x="8" y="{frame.top - 8:.1f}" fill-opacity="0.8">{clean(share_word)}</text>')
    for share in SHARES:
        quantile = NormalDist().inv_cdf(share)
        if q_low <= quantile <= q_high:
            y = frame.y(quantile)
            out.append(f'<path d="M{frame.left - 4:.1f} {y:.1f}H{frame.left:.1f}" stroke="currentColor" stroke-opacity="0.6"/>')
            out.append(f'<text x="{frame.left - 8:.1f}" y="{y + 3.8:.1f}" text-anchor="end" fill-opacity="0.8">{100 * share:g}</text>')
    out += x_scale(frame, x.text)
    told = [(frame.x(upright.value), f"{upright.word} {shown(upright.value, digits)}", upright.kind) for upright in uprights]
    out += verticals(frame, told, beside=share_word)
    out += end_labels(frame, [EndLabel(ends[1][1], line_word, "curve-end", ends[1][0])])
    r = 2.6 if len(values) <= 200 else 1.6
    for value, q, a, b in zip(values, quantiles, low, high, strict=True):
        inside = a <= value <= b
        tip = clean(f"{shown(value, digits + 1)} {x.unit}, {100 * NormalDist().cdf(q):.2f} %")
        shape = mark("dot", frame.x(value), frame.y(q), r) if inside else _hollow(frame.x(value), frame.y(q))
        out.append(f'<g class="point{"" if inside else " outside"}"><title>{tip}</title>{shape}</g>')
    return "".join([*out, "</svg>"])


def _hollow(x: float, y: float) -> str:
    return f'<rect x="{x - 3:.1f}" y="{y - 3:.1f}" width="6" height="6" fill="none" stroke="currentColor" stroke-width="1.3"/>'


def _on_line(frame: Frame, plot: ProbabilityPlot, at: float, quantile: float) -> tuple[float, float]:
    """The end of the fitted line, cut where it leaves the frame."""
    if not math.isfinite(at) or not frame.x_low <= at <= frame.x_high:
        at = min(max(at, frame.x_low), frame.x_high)
        quantile = (at - plot.mean) / plot.sigma
    return frame.inside(frame.x(at), frame.y(quantile))
