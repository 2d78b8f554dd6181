"""Points in the order they came: the frame, the labels under them, and the numbers of rules that signal."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from inspection.drawing.primitives import Frame, clean, wide

INSET = 14.0


def frame_of_order(left: float, right: float, top: float, bottom: float, count: int, low: float, high: float) -> Frame:
    """A frame whose x is the order of `count` points, 0 to count - 1, each in the middle of its share of the width."""
    aside = 0.5 + INSET * max(count, 1) / max(right - left - 2 * INSET, 1)
    return Frame(left, right, top, bottom, -aside, max(count, 1) - 1 + aside, low, high)


def order_labels(frame: Frame, labels: Sequence[str]) -> list[str]:
    """The labels under the axis, every one, or every second, fifth, ... that leaves room; the last always."""
    if not labels:
        return []
    pitch = (frame.right - frame.left - 2 * INSET) / len(labels)
    need = wide("x" * max(len(label) for label in labels)) + 8
    every = next((n for n in (1, 2, 5, 10, 20, 25, 50, 100, 200, 500, 1000) if n * pitch >= need), len(labels))
    last = len(labels) - 1
    chosen = [index for index in range(0, len(labels), every) if index == 0 or (last - index) * pitch >= need or index == last]
    out = []
    for index in dict.fromkeys([*chosen, last]):
        x = frame.x(index)
        out.append(f'<path d="M{x:.1f} {frame.bottom:g}v4" stroke="currentColor" stroke-opacity="0.6"/>')
        out.append(f'<text x="{x:.1f}" y="{frame.bottom + 16:g}" text-anchor="middle" fill-opacity="0.8">{clean(labels[index])}</text>')
    return out


def clear_place(near: Sequence[float], levels: Sequence[float], frame: Frame, *, below: bool, highest: float | None = None) -> float:
    """Where a box 12 high stands above (or below) the points near it, clear of every line: its upper edge. highest: never above it."""
    ceiling = frame.top - 26 if highest is None else highest

    def places(up: bool) -> Iterator[float]:
        start = min(near) - 20 if up else max(near) + 8
        return (start + (-3 if up else 3) * step for step in range(40))

    for box in (*places(not below), *places(below)):
        if ceiling <= box <= frame.bottom - 14 and not any(box - 3 < level < box + 15 for level in levels):
            return box
    return max(min(near) - 20, ceiling)


def boxed(word: str, x: float, y: float, *, diamond: bool = False) -> str:
    """A rule's number in a shape, its upper edge at y: a box, or a box with pointed ends for the second set of rules."""
    half = max(6.0, wide(word, 10, bold=True) / 2 + 2)
    if diamond:
        ends = f"M{x - half:.1f} {y:.1f}H{x + half:.1f}l5 6l-5 6H{x - half:.1f}l-5 -6z"
        shape = f'<path d="{ends}" fill="none" stroke="currentColor"/>'
    else:
        shape = f'<rect x="{x - half:.1f}" y="{y:.1f}" width="{2 * half:.1f}" height="12" fill="none" stroke="currentColor"/>'
    place = f'x="{x:.1f}" y="{y + 9.5:.1f}" text-anchor="middle" font-size="10" font-weight="600"'
    return f'<g class="signal">{shape}<text {place}>{clean(word)}</text></g>'
