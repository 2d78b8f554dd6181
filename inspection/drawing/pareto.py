"""Causes in order of their number, with the share that they and all before them make."""

from __future__ import annotations

from collections.abc import Sequence

from inspection.drawing.primitives import (
    checked,
    clean,
    head,
    heading,
    path,
    shortened,
    ticks,
    wide,
)

PITCH = 24.0


def pareto(
    causes: Sequence[tuple[str, int]],
    *,
    title: str,
    count_word: str,
    share_word: str,
    empty: str = "Nothing to show",
    width: int = 900,
) -> str:
    """Bars from the left, the most frequent on top, with a line of the cumulative share through them, as one SVG string.

    causes: (name, count) in descending order; names stand in front, counts and cumulative shares at the bars' ends. Its height follows the
    number of causes. Raises ValueError for a count that is not finite.
    """
    counts = checked(count for _name, count in causes)
    total = sum(counts) or 1.0
    names = min(max((wide(name) for name, _count in causes), default=60.0) + 16, width * 0.42)
    left, right, top = names, width - 130.0, 62.0
    bottom = top + PITCH * max(len(causes), 1) + 4
    height = int(bottom + 40)
    told = "; ".join(f"{name} {count}" for name, count in causes[:10])
    out = [*head("pareto", title, told or empty, width, height), heading(title)]
    if not causes:
        place = f'x="{(left + right) / 2:.1f}" y="{(top + bottom) / 2 + 4:.1f}" text-anchor="middle"'
        return "".join([*out, f'<text class="chart-empty" {place} fill-opacity="0.8">{clean(empty)}</text></svg>'])
    most = max([*counts, 1.0])
    running, line = 0.0, []
    for order, ((name, _count), count) in enumerate(zip(causes, counts, strict=True)):
        y = top + PITCH * order + PITCH / 2
        running += count
        share = running / total
        at = left + (right - left) * share
        line.append((at, y))
        end = left + (right - left) * count / most
        tip = clean(f"{name}: {count:g}, {100 * count / total:.1f} %, {100 * share:.1f} %")
        out.append(
            f'<g class="share"><title>{tip}</title>'
            f'<text x="{left - 8:.1f}" y="{y + 3.8:.1f}" text-anchor="end">{clean(shortened(name, names - 8))}</text>'
            f'<rect x="{left:.1f}" y="{y - 8:.1f}" width="{max(end - left, 1):.1f}" height="16" fill="currentColor" fill-opacity="0.25" '
            'stroke="currentColor" stroke-width="0.8"/>'
            f'<text class="figure" x="{right + 14:.1f}" y="{y + 3.8:.1f}" font-weight="600">{count:g}</text>'
            f'<text class="figure" x="{width - 16:.1f}" y="{y + 3.8:.1f}" text-anchor="end">{100 * share:.1f} %</text></g>'
        )
    out.append(f'<path class="curve" d="{path(line)}" fill="none" stroke="currentColor" stroke-width="1.4"/>')
    out += [f'<circle class="cumulative" cx="{x:.1f}" cy="{y:.1f}" r="2.6"/>' for x, y in line]
    axis = f"M{left:.1f} {top:.1f}V{bottom:.1f}H{right:.1f}"
    out.append(f'<path class="chart-axis" d="{axis}" fill="none" stroke="currentColor" stroke-opacity="0.6"/>')
    for value, text in ticks(0.0, most, min((right - left) / 60, most)):
        x = left + (right - left) * value / most
        out.append(f'<path d="M{x:.1f} {bottom:.1f}v4" stroke="currentColor" stroke-opacity="0.6"/>')
        out.append(f'<text x="{x:.1f}" y="{bottom + 16:.1f}" text-anchor="middle" fill-opacity="0.8">{text}</text>')
    for share in (0.0, 0.2, 0.4, 0.6, 0.8, 1.0):
        x = left + (right - left) * share
        out.append(f'<path d="M{x:.1f} {top:.1f}v-4" stroke="currentColor" stroke-opacity="0.6"/>')
        out.append(f'<text x="{x:.1f}" y="{top - 8:.1f}" text-anchor="middle" fill-opacity="0.8">{100 * share:.0f}</text>')
    for word, y in ((share_word, top - 24), (count_word, bottom + 32)):
        out.append(f'<text class="axis-name" x="{right:.1f}" y="{y:.1f}" text-anchor="end" fill-opacity="0.8">{clean(word)}</text>')
    return "".join([*out, "</svg>"])
