"""Values in groups: dots by part and appraiser, and bars of shares with their intervals."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from statistics import fmean

from inspection.drawing.primitives import (
    SHAPES,
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
    places_for,
    shortened,
    shown,
    span,
    ticks,
    wide,
    y_scale,
)


@dataclass(frozen=True, slots=True)
class Column:
    """Values of one appraiser on one part. name: of the appraiser; the same names in the same order in every group."""

    name: str
    values: Sequence[Number]


@dataclass(frozen=True, slots=True)
class Group:
    """A part with a column for each appraiser."""

    name: str
    columns: Sequence[Column]


def dots(
    groups: Sequence[Group],
    *,
    y: Axis,
    title: str,
    levels: Sequence[Level] = (),
    group_word: str = "",
    mean_word: str = "mean",
    empty: str = "No values yet",
    described: str = "",
    width: int = 720,
    height: int = 300,
) -> str:
    """Every value over its part, one column of dots per appraiser, as an SVG string.

    Each appraiser has a shape, named above; a short line marks the mean of a column, a long one that of the part. group_word: what a group
    is ("part"), under the axis. Raises ValueError for a value that is not finite.
    """
    every = [value for group in groups for column in group.columns for value in checked(column.values)]
    low, high = span([*every, *checked(level.value for level in levels)])
    low, high = (low if y.low is None else y.low), (high if y.high is None else y.high)
    digits = places_for(high - low)
    ends = [f"{level.word} {shown(level.value, digits)}".strip() for level in levels]
    names = list(dict.fromkeys(column.name for group in groups for column in group.columns))
    shape = {name: SHAPES[index % len(SHAPES)] for index, name in enumerate(names)}
    key_height = 18.0 if len(names) > 1 else 0.0
    frame = Frame(58.0, width - max(label_room(ends), 16.0), 44.0 + key_height, height - 44.0, 0.0, float(max(len(groups), 1)), low, high)
    if not described:
        described = f"{len(every)} values in {len(groups)} groups, {', '.join(names)}"
    out = [*head("dots", title, described, width, height), heading(title)]
    out += _key(names, shape, width) if key_height else []
    out += [frame_lines(frame), *y_scale(frame, y.text)]
    out += end_labels(frame, [EndLabel(frame.y(v.value), text, v.kind, frame.left) for v, text in zip(levels, ends, strict=True)])
    if not every:
        middle = f'x="{(frame.left + frame.right) / 2:.1f}" y="{(frame.top + frame.bottom) / 2:.1f}" text-anchor="middle"'
        out.append(f'<text class="chart-empty" {middle} fill-opacity="0.8">{clean(empty)}</text>')
    wide_of_group = (frame.right - frame.left) / max(len(groups), 1)
    for index, group in enumerate(groups):
        out += _group(frame, frame.left + index * wide_of_group, wide_of_group, group, shape, y.unit, digits, mean_word, first=index == 0)
    if group_word:
        place = f'x="{frame.right:.1f}" y="{frame.bottom + 32:.1f}" text-anchor="end"'
        out.append(f'<text class="axis-name" {place} fill-opacity="0.8">{clean(group_word)}</text>')
    return "".join([*out, "</svg>"])


def _key(names: Sequence[str], shape: dict[str, str], width: int) -> list[str]:
    out, x = [], 14.0
    room = (width - 28) / len(names)
    for name in names:
        told = shortened(name, room - 18)
        out.append(f'<g class="key">{mark(shape[name], x, 33.0)}<text x="{x + 8:.1f}" y="36.8">{clean(told)}</text></g>')
        x += min(wide(told) + 28, room)
    return out


def _group(
    frame: Frame,
    left: float,
    wide_of_group: float,
    group: Group,
    shape: dict[str, str],
    unit: str,
    digits: int,
    mean_word: str,
    *,
    first: bool,
) -> list[str]:
    out = []
    if not first:
        out.append(
            f'<path class="between" d="M{left:.1f} {frame.top:.1f}V{frame.bottom:.1f}" stroke="currentColor" stroke-opacity="0.15"/>'
        )
    pitch = wide_of_group / max(len(group.columns), 1)
    r = 3.2 if pitch > 12 else 2.2
    taken = [float(value) for column in group.columns for value in column.values]
    if taken:
        mean = fmean(taken)
        tip = clean(f"{group.name}, {mean_word} {shown(mean, digits)} {unit}".strip())
        d = f"M{left + wide_of_group * 0.06:.1f} {frame.y(mean):.1f}h{wide_of_group * 0.88:.1f}"
        out.append(
            f'<g class="group-mean"><title>{tip}</title><path d="{d}" stroke="currentColor" stroke-width="2" stroke-opacity="0.45"/></g>'
        )
    for place, column in enumerate(group.columns):
        x = left + (place + 0.5) * pitch
        if len(column.values) > 1 and len(group.columns) > 1:
            y = frame.y(fmean(float(value) for value in column.values))
            half = min(pitch * 0.42, 9.0)
            out.append(f'<path class="column-mean" d="M{x - half:.1f} {y:.1f}h{2 * half:.1f}" stroke="currentColor" stroke-width="1"/>')
        for value in column.values:
            tip = clean(f"{group.name}, {column.name}, {shown(value, digits)} {unit}".strip())
            out.append(f'<g class="point"><title>{tip}</title>{mark(shape[column.name], x, frame.y(value), r)}</g>')
    told = shortened(group.name, wide_of_group - 4)
    out.append(
        f'<text x="{left + wide_of_group / 2:.1f}" y="{frame.bottom + 16:.1f}" text-anchor="middle" fill-opacity="0.8">{clean(told)}</text>'
    )
    return out


@dataclass(frozen=True, slots=True)
class Share:
    """One bar. value: in the unit of the scale; low, high: its interval, None where none is known. shown: text at its end."""

    name: str
    value: Number
    low: Number | None = None
    high: Number | None = None
    shown: str = ""


def bars(
    shares: Sequence[Share],
    *,
    title: str,
    x: Axis,
    levels: Sequence[Level] = (),
    empty: str = "Nothing to show yet",
    described: str = "",
    width: int = 720,
) -> str:
    """Horizontal bars from zero, each with its name in front, its interval as a whisker and its value at the end, as an SVG string.

    levels: lines up at agreed shares, named above. Its height follows the number of bars. Raises ValueError for a value not finite.
    """
    values = checked(share.value for share in shares)
    whiskers = checked(end for share in shares for end in (share.low, share.high) if end is not None)
    low, high = span([0.0, *values, *whiskers, *checked(level.value for level in levels)], 0.02)
    low, high = (0.0 if low <= 0 <= min([*values, *whiskers, 0.0]) else low), high
    low, high = (low if x.low is None else x.low), (high if x.high is None else x.high)
    digits = places_for(high - low)
    ends = [share.shown or f"{shown(share.value, digits)} {x.unit}".strip() for share in shares]
    names_room = min(max((wide(share.name) for share in shares), default=40.0) + 16, width * 0.35)
    top = 30.0 + (30.0 if levels else 0.0)
    pitch = 26.0
    bottom = top + pitch * max(len(shares), 1) + 4
    height = int(bottom + 40)
    frame = Frame(names_room, width - label_room(ends), top, bottom, low, high, 0.0, 1.0)
    if not described:
        described = "; ".join(f"{share.name} {end}" for share, end in zip(shares, ends, strict=True))
    out = [*head("bars", title, described, width, height), heading(title)]
    zero = min(max(frame.x(0), frame.left), frame.right)
    for order, level in enumerate(sorted(levels, key=lambda each: float(each.value))):
        at, row_y = frame.x(level.value), frame.top - 6 - 13 * (order % 2)
        word = f"{level.word} {shown(level.value, digits)}".strip()
        out.append(f'<path class="{level.kind}" d="M{at:.1f} {row_y - 8:.1f}V{bottom:.1f}" stroke="currentColor" stroke-dasharray="4 3"/>')
        out.append(f'<text x="{at + 3:.1f}" y="{row_y:.1f}">{clean(word)}</text>')
    for index, (share, end) in enumerate(zip(shares, ends, strict=True)):
        y = top + pitch * index + pitch / 2
        at = frame.x(share.value)
        tip = f"{share.name}, {end}"
        if share.low is not None and share.high is not None:
            tip += f" ({shown(share.low, digits)} – {shown(share.high, digits)})"
        out.append(
            f'<g class="share"><title>{clean(tip)}</title>'
            f'<text x="{frame.left - 8:.1f}" y="{y + 3.8:.1f}" text-anchor="end">{clean(shortened(share.name, names_room - 8))}</text>'
            f'<rect x="{min(zero, at):.1f}" y="{y - 8:.1f}" width="{max(abs(at - zero), 0.8):.1f}" height="16" '
            'fill="currentColor" fill-opacity="0.28" stroke="currentColor" stroke-width="0.8"/>'
        )
        reach = at
        if share.low is not None and share.high is not None:
            a, b = (min(max(frame.x(v), frame.left), frame.right) for v in (share.low, share.high))
            reach = max(at, b)
            out.append(
                f'<path class="whisker" d="M{a:.1f} {y:.1f}H{b:.1f}M{a:.1f} {y - 4:.1f}v8M{b:.1f} {y - 4:.1f}v8" '
                'fill="none" stroke="currentColor" stroke-width="1.2"/>'
            )
        out.append(f'<text class="figure" x="{reach + 6:.1f}" y="{y + 3.8:.1f}" font-weight="600">{clean(end)}</text></g>')
    if not shares:
        middle = f'x="{(frame.left + frame.right) / 2:.1f}" y="{(top + bottom) / 2 + 4:.1f}" text-anchor="middle"'
        out.append(f'<text class="chart-empty" {middle} fill-opacity="0.8">{clean(empty)}</text>')
    axis = f"M{frame.left:.1f} {bottom:.1f}H{frame.right:.1f}M{zero:.1f} {top:.1f}V{bottom:.1f}"
    out.append(f'<path class="chart-axis" d="{axis}" fill="none" stroke="currentColor" stroke-opacity="0.6"/>')
    for value, text in ticks(low, high, (frame.right - frame.left) / 70):
        tick = frame.x(value)
        out.append(f'<path d="M{tick:.1f} {bottom:.1f}v4" stroke="currentColor" stroke-opacity="0.6"/>')
        out.append(f'<text x="{tick:.1f}" y="{bottom + 16:.1f}" text-anchor="middle" fill-opacity="0.8">{text}</text>')
    if x.text:
        place = f'x="{frame.right:.1f}" y="{bottom + 32:.1f}" text-anchor="end"'
        out.append(f'<text class="axis-name" {place} fill-opacity="0.8">{clean(x.text)}</text>')
    return "".join([*out, "</svg>"])
