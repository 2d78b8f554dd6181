"""Control charts: one or two panels over the same order, with limits, zones, signals, set-ups, and every point within reach.

Long charts are thinned: where several points fall on the same few pixels the lowest, the highest, and every one that signals or lies
beyond a line stay, so that the picture is that of all points and no signal is lost.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby

import numpy as np

from inspection.drawing.order import boxed, clear_place, frame_of_order, order_labels
from inspection.drawing.primitives import (
    STROKES,
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
    wide,
    y_scale,
)
from inspection.process.chart import Chart, Panel
from inspection.process.readings import Array, IntArray

SLOT = 3.0
"""Width, in user units, of the strip in which only the extreme points of a long chart are drawn."""


@dataclass(frozen=True, slots=True)
class Signalled:
    """A point that completes a run rule. panel: index of the chart's panel; point: index of its point. number: of the rule, in a box.

    second: of the second set of rules: its number stands in a pointed box. words: the rule, read out.
    """

    panel: int
    point: int
    number: str
    words: str = ""
    second: bool = False


@dataclass(frozen=True, slots=True)
class ControlWords:
    """The words on the chart, in the page's language. names: of panels, by the name the computation gives them."""

    high: str = "upper control"
    low: str = "lower control"
    center: str = "centre"
    empty: str = "No samples yet"
    signal: str = "signals rule {number}"
    outside: str = "outside the specification"
    described: str = "{count} points, {signals} of them signal."
    names: Mapping[str, str] | None = None

    def name(self, of: str) -> str:
        return (self.names or {}).get(of, of)


WORDS = ControlWords()


def control_chart(
    chart: Chart | None,
    *,
    title: str,
    unit: str,
    labels: Sequence[str] = (),
    tips: Sequence[str] = (),
    signals: Sequence[Signalled] = (),
    specification: Sequence[Level] = (),
    outside: frozenset[int] = frozenset(),
    changes: Sequence[tuple[int, str]] = (),
    zones: bool = True,
    focusable: bool = False,
    words: ControlWords = WORDS,
    width: int = 960,
    height: int = 250,
    spread_height: int = 150,
) -> str:
    """A control chart as one SVG string. chart: None, or without points, for the empty state.

    labels, tips: for each place of the chart's shared axis (`chart.count` of them): what stands below it, and what is told of it on hover
    beside the value. specification: solid heavy lines in the first panel. outside: places whose reading is outside it, as crossed squares.
    changes: (place, word), a thin vertical in front of it. focusable: each point can take the keyboard's focus, the newest first; a page
    moves it with the arrow keys. Raises ValueError for a value that is not finite.
    """
    panels = [] if chart is None else [list(group) for _, group in groupby(enumerate(chart.panels), key=lambda each: each[1].place)]
    count = 0 if chart is None else chart.count
    frames_of = panels if count else []
    spec = [level for level in specification if frames_of]
    ends = [_ends(group, unit, spec if first else (), words) for group, first in _first(frames_of)]
    room = label_room(text for _levels, labelled in ends for _value, _kind, text, _line in labelled)
    right = width - max(room, 16.0)
    changes = [(place, word) for place, word in changes if 0 <= place <= count]
    top, out = 44.0 + (26.0 if changes else 0.0), []
    bottom = top + height - 74.0
    frames: list[Frame] = []
    for (low, high), _labelled in ends:
        frames.append(frame_of_order(58.0, right, top, bottom, count, low, high))
        top = bottom + 34.0
        bottom = top + spread_height - 34.0
    if not frames:
        frames = [frame_of_order(58.0, right, 44.0, height - 30.0, 0, 0.0, 1.0)]
        middle = f'x="{(58 + right) / 2:.1f}" y="{height / 2 + 10:.1f}" text-anchor="middle"'
        out += [frame_lines(frames[0]), f'<text class="chart-empty" {middle} fill-opacity="0.8">{clean(words.empty)}</text>']
    by_panel: dict[int, dict[int, list[Signalled]]] = {}
    for one in signals:
        by_panel.setdefault(one.panel, {}).setdefault(one.point, []).append(one)
    newest = _newest(frames_of)
    for frame, group, ((_low, _high), labelled) in zip(frames, frames_of, ends, strict=False):
        is_first = frame is frames[0]
        out += [frame_lines(frame), *y_scale(frame, ", ".join(x for x in (_panel_name(group, words), unit) if x), pitch=30)]
        if is_first:
            out += _changes(frame, changes)
        else:
            out += [_vertical(frame, place) for place, _word in changes]
        if zones:
            out += [_zones(frame, panel) for _index, panel in group]
        steps = [(line, kind) for _value, kind, _text, line in labelled if line is not None]
        out += [_step_line(frame, panel_samples(group), line, kind) for line, kind in steps if not _level(line)]
        out += end_labels(
            frame,
            [
                EndLabel(frame.y(value), text, kind, frame.left if line is None or _level(line) else frame.right)
                for value, kind, text, line in labelled
            ],
        )
        for index, panel in group:
            marked = by_panel.get(index, {})
            out += _points(
                frame, panel, marked, tips, unit, words, outside if is_first else frozenset(), focusable, newest == index, labelled
            )
    if frames_of:
        out += order_labels(frames[-1], labels)
    described = words.described.format(count=count, signals=len({(s.panel, s.point) for s in signals}))
    told = "; ".join(text for _levels, labelled in ends for _value, _kind, text, _line in labelled)
    all_height = int(frames[-1].bottom + 30)
    start = head("control-chart", title, f"{described} {told}".strip(), width, all_height, focusable=focusable and count > 0)
    return "".join([*start, heading(title), *out, "</svg>"])


Labelled = tuple[float, str, str, Array | None]


def _first(groups: Sequence[list[tuple[int, Panel]]]) -> list[tuple[list[tuple[int, Panel]], bool]]:
    return [(group, index == 0) for index, group in enumerate(groups)]


def _newest(groups: Sequence[list[tuple[int, Panel]]]) -> int:
    return groups[0][0][0] if groups else -1


def _panel_name(group: Sequence[tuple[int, Panel]], words: ControlWords) -> str:
    return ", ".join(words.name(panel.name) for _index, panel in group)


def panel_samples(group: Sequence[tuple[int, Panel]]) -> IntArray:
    return group[0][1].samples


def _level(line: Array) -> bool:
    """Whether a line is the same everywhere."""
    return line.size == 0 or line.strides == (0,) or bool((line == line[0]).all())


def _ends(
    group: Sequence[tuple[int, Panel]], unit: str, specification: Sequence[Level], words: ControlWords
) -> tuple[tuple[float, float], list[Labelled]]:
    """The scale of a frame, and every line with its value at the right end, its kind, its words and the line itself."""
    found: list[tuple[float, str, str, Array | None]] = []
    extremes: list[float] = []
    for order, (_index, panel) in enumerate(group):
        lines = [(panel.high, "control", words.high), (panel.low if panel.has_low else None, "control", words.low)]
        if order == 0:
            lines.append((panel.center, "center", words.center))
        for line, kind, word in lines:
            if line is not None and line.size:
                found.append((float(line[-1]), kind, word, line))
                extremes += checked((line.min(), line.max()))
        if panel.points.size:
            extremes += checked((panel.points.min(), panel.points.max()))
        if not np.isfinite(panel.points).all():
            raise ValueError("a chart point is not a finite number")
    values = checked(level.value for level in specification)
    low, high = span([*extremes, *values])
    digits = places_for(high - low)
    labelled = [(value, kind, f"{word} {shown(value, digits)}", line) for value, kind, word, line in found]
    labelled += [
        (value, level.kind, f"{level.word} {shown(level.value, digits)}", None) for value, level in zip(values, specification, strict=True)
    ]
    return (low, high), labelled


def _changes(frame: Frame, changes: Sequence[tuple[int, str]]) -> list[str]:
    """Set-ups and tool changes; of more than the width has room for, those that can be told apart."""
    kept, last = [], -10.0
    for place, word in changes:
        x = frame.x(place - 0.5)
        if x - last >= 4:
            kept.append((x, word, "change"))
            last = x
    return verticals(frame, kept)


def _vertical(frame: Frame, place: int) -> str:
    x = frame.x(place - 0.5)
    line = f"M{x:.1f} {frame.top:.1f}V{frame.bottom:.1f}"
    return f'<path class="change" d="{line}" stroke="currentColor" stroke-width="0.8" stroke-opacity="0.5"/>'


def _zones(frame: Frame, panel: Panel) -> str:
    """Lines at one and two standard errors, faint: no words, the rules that use them are told in words."""
    out = []
    for sigmas in (1.0, 2.0):
        zone = panel.zone(sigmas)
        for line in zone or ():
            if line.size:
                out.append(_steps(frame, panel.samples, line))
    if not out:
        return ""
    return f'<path class="zone" d="{"".join(out)}" fill="none" stroke="currentColor" stroke-width="0.6" stroke-opacity="0.3"/>'


def _steps(frame: Frame, samples: IntArray, line: Array) -> str:
    """A line that may vary from point to point, as level steps half a place before and after each."""
    if _level(line):
        return f"M{frame.left:.1f} {frame.y(float(line[0])):.1f}H{frame.right:.1f}"
    starts = np.concatenate(([0], np.flatnonzero(np.diff(line)) + 1))
    most = int(frame.right - frame.left)
    if starts.size > most:
        starts = starts[np.linspace(0, starts.size - 1, most).astype(np.int64)]
    xs = [frame.x(float(samples[i]) - 0.5) for i in starts] + [frame.x(float(samples[-1]) + 0.5)]
    levels = [frame.inside(0, frame.y(float(line[i])))[1] for i in starts]
    xs[0] = min(xs[0], frame.x(float(samples[0]) - 0.5))
    moves = "".join(f"V{y:.1f}H{after:.1f}" for y, after in zip(levels[1:], xs[2:], strict=True))
    return f"M{xs[0]:.1f} {levels[0]:.1f}H{xs[1]:.1f}{moves}H{frame.right:.1f}"


def _step_line(frame: Frame, samples: IntArray, line: Array, kind: str) -> str:
    return f'<path class="{kind}" d="{_steps(frame, samples, line)}" fill="none" stroke="currentColor" {STROKES[kind]}/>'


def _thinned(xs: Array, ys: Array, kept: Array) -> IntArray:
    """Indices of the points to draw: in each strip the first, lowest, highest and last, and all that `kept` marks."""
    slot = np.floor(xs / SLOT).astype(np.int64)
    starts = np.concatenate(([0], np.flatnonzero(np.diff(slot)) + 1))
    strip = np.repeat(np.arange(starts.size), np.diff(np.concatenate((starts, [xs.size]))))
    lowest, highest = np.minimum.reduceat(ys, starts)[strip], np.maximum.reduceat(ys, starts)[strip]
    wanted = (ys == lowest) | (ys == highest)
    # Of many equal extremes in one strip the first is enough.
    index = np.arange(xs.size)
    for extreme in (ys == lowest, ys == highest):
        first = np.minimum.reduceat(np.where(extreme, index, xs.size), starts)
        wanted &= ~extreme
        wanted[first] = True
    wanted[[0, -1]] = True
    return np.flatnonzero(wanted | (kept > 0))


def _points(
    frame: Frame,
    panel: Panel,
    marked: Mapping[int, Sequence[Signalled]],
    tips: Sequence[str],
    unit: str,
    words: ControlWords,
    outside: frozenset[int],
    focusable: bool,
    holds_focus: bool,
    labelled: Sequence[Labelled],
) -> list[str]:
    if not len(panel):
        return []
    scale = (frame.right - frame.left) / (frame.x_high - frame.x_low)
    xs = np.asarray(frame.left + (panel.samples - frame.x_low) * scale, dtype=np.float64)
    per_unit = (frame.bottom - frame.top) / (frame.y_high - frame.y_low)
    ys = np.asarray(frame.bottom - (panel.points - frame.y_low) * per_unit, dtype=np.float64)
    kept = np.zeros(xs.size)
    if marked:
        kept[list(marked)] = 1.0
    if outside:
        kept[np.isin(panel.samples, list(outside))] = 1.0
    pitch = scale
    drawn = np.arange(xs.size) if pitch >= SLOT else _thinned(xs, ys, kept)
    px, py = xs[drawn].tolist(), ys[drawn].tolist()
    digits = places_for(frame.y_high - frame.y_low) + 1
    out = []
    if drawn.size > 1:
        line = path(zip(px, py, strict=True))
        out.append(f'<path class="chart-run" d="{line}" fill="none" stroke="currentColor" stroke-width="1" stroke-opacity="0.5"/>')
    name, r = words.name(panel.name), (3.2 if pitch > 7 else 2.0 if pitch > 3 else 1.3)
    focus = ' role="img" tabindex="-1"' if focusable else ""
    last = len(px) - 1
    values, samples = panel.points[drawn].tolist(), panel.samples[drawn].tolist()
    for order, (index, x, y, value, sample) in enumerate(zip(drawn.tolist(), px, py, values, samples, strict=True)):
        told = [tips[sample]] if sample < len(tips) else []
        told.append(f"{name} {shown(value, digits)} {unit}".rstrip())
        shape, kind = "dot", "point"
        if sample in outside:
            shape, kind = "misfit", "point misfit"
            told.append(words.outside)
        found = marked.get(index)
        ring = ""
        if found:
            kind += " signalled"
            told += [f"{words.signal.format(number=one.number)} {one.words}".strip() for one in found]
            ring = f'<circle class="ring" cx="{x:.1f}" cy="{y:.1f}" r="{r + 2.8:g}" fill="none" stroke="currentColor" stroke-width="1.2"/>'
        here = focus.replace("-1", "0") if focusable and holds_focus and order == last else focus
        out.append(f'<g class="{kind}"{here}><title>{clean(", ".join(told))}</title>{mark(shape, x, y, r)}{ring}</g>')
    return out + _numbers(frame, panel, marked, xs, ys, labelled, 24 + wide(f"{name}, {unit}"))


def _numbers(
    frame: Frame,
    panel: Panel,
    marked: Mapping[int, Sequence[Signalled]],
    xs: Array,
    ys: Array,
    labelled: Sequence[Labelled],
    name_end: float,
) -> list[str]:
    """The rules' numbers beside the points that signal, as far as they can be told apart; every such point keeps its ring."""
    out: list[str] = []
    taken: list[tuple[float, float]] = []
    levels = [frame.y(value) for value, _kind, _text, line in labelled if line is None or _level(line)]
    for index in sorted(marked):
        x, below = float(xs[index]), bool(panel.points[index] < panel.center[index])
        highest = frame.top - 5 if x < name_end else None
        for second in (False, True):
            numbers = list(dict.fromkeys(one.number for one in marked[index] if one.second is second))
            if not numbers:
                continue
            first, end = np.searchsorted(xs, (x - 12, x + 12))
            beside = ys[first : max(end, first + 1)]
            word = " ".join(numbers)
            y = clear_place((float(beside.min()), float(beside.max())), levels, frame, below=below, highest=highest)
            if any(abs(x - other_x) < 17 + 3 * len(word) and abs(y - other_y) < 14 for other_x, other_y in taken[-8:]):
                continue
            out.append(boxed(word, x, y, diamond=second))
            taken.append((x, y))
    return out
