"""Runs side by side on one scale, one panel for each person: ranges or means of the parts in their order, with common limits."""

from __future__ import annotations

from collections.abc import Collection, Sequence
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
    shortened,
    shown,
    span,
    wide,
    y_scale,
)


@dataclass(frozen=True, slots=True)
class Panel:
    """The values of one person. labels: of each value (the part), under the axis. beyond: indices that are marked."""

    name: str
    labels: Sequence[str]
    values: Sequence[Number]
    beyond: Collection[int] = ()


def panels(
    runs: Sequence[Panel],
    *,
    y: Axis,
    title: str,
    levels: Sequence[Level] = (),
    label_word: str = "",
    empty: str = "No values yet",
    described: str = "",
    width: int = 720,
    height: int = 260,
) -> str:
    """Every run in a panel of its own on one scale, joined by a line, as an SVG string. label_word: what a label is ("part").

    A value that is marked as beyond is a crossed square. Raises ValueError for a value that is not finite.
    """
    every = [value for run in runs for value in checked(run.values)]
    low, high = span([*every, *checked(level.value for level in levels)])
    low, high = (low if y.low is None else y.low), (high if y.high is None else y.high)
    digits = places_for(high - low)
    ends = [f"{level.word} {shown(level.value, digits)}".strip() for level in levels]
    frame = Frame(58.0, width - max(label_room(ends), 16.0), 62.0, height - 44.0, 0.0, float(max(len(runs), 1)), low, high)
    if not described:
        described = f"{len(every)} values of {', '.join(run.name for run in runs)}. {'; '.join(ends)}"
    out = [*head("panels", title, described, width, height), heading(title), frame_lines(frame), *y_scale(frame, y.text)]
    out += end_labels(frame, [EndLabel(frame.y(v.value), text, v.kind, frame.left) for v, text in zip(levels, ends, strict=True)])
    if not every:
        middle = f'x="{(frame.left + frame.right) / 2:.1f}" y="{(frame.top + frame.bottom) / 2:.1f}" text-anchor="middle"'
        out.append(f'<text class="chart-empty" {middle} fill-opacity="0.8">{clean(empty)}</text>')
    room = (frame.right - frame.left) / max(len(runs), 1)
    for index, run in enumerate(runs):
        out += _panel(frame, frame.left + index * room, room, run, y.unit, digits, first=index == 0)
    if label_word:
        place = f'x="{frame.right:.1f}" y="{frame.bottom + 32:.1f}" text-anchor="end"'
        out.append(f'<text class="axis-name" {place} fill-opacity="0.8">{clean(label_word)}</text>')
    return "".join([*out, "</svg>"])


def _panel(frame: Frame, left: float, room: float, run: Panel, unit: str, digits: int, *, first: bool) -> list[str]:
    out = []
    if not first:
        line = f"M{left:.1f} {frame.top - 22:.1f}V{frame.bottom:.1f}"
        out.append(f'<path class="between" d="{line}" stroke="currentColor" stroke-opacity="0.35"/>')
    name = clean(shortened(run.name, room - 10))
    out.append(f'<text class="panel-name" x="{left + 6:.1f}" y="{frame.top - 10:.1f}" font-weight="600">{name}</text>')
    pitch = room / max(len(run.values), 1)
    spots = [(left + (place + 0.5) * pitch, frame.y(value)) for place, value in enumerate(run.values)]
    if len(spots) > 1:
        out.append(f'<path class="run" d="{path(spots)}" fill="none" stroke="currentColor" stroke-width="1" stroke-opacity="0.5"/>')
    every = max(int(-(-(max((wide(label) for label in run.labels), default=0.0) + 6) // pitch)), 1)
    for place, ((x, y), value, label) in enumerate(zip(spots, run.values, run.labels, strict=True)):
        tip = clean(f"{run.name}, {label}, {shown(value, digits)} {unit}".strip())
        shape = "misfit" if place in run.beyond else "dot"
        out.append(f'<g class="point {shape}"><title>{tip}</title>{mark(shape, x, y)}</g>')
        if place % every == 0:
            at = f'x="{x:.1f}" y="{frame.bottom + 16:.1f}" text-anchor="middle"'
            out.append(f'<text {at} fill-opacity="0.8">{clean(label)}</text>')
    return out
