"""Visual criteria as pairs of sketches, good and bad, drawn for this project: a terminal on the left, the wire on the right.

The sketches help a person to see what the words say. They are no dimensions and no workmanship standard: the criterion's words, the
application specification and the customer's drawing decide. In a bad one a dashed ring shows where to look, so that nothing hangs on a
colour.
"""

from __future__ import annotations

from collections.abc import Callable
from html import escape

WIDTH, HEIGHT = 160, 72

METAL, STRAND, INSULATION, SOFT, RING = "sk-metal", "sk-strand", "sk-insulation", "sk-soft", "sk-ring"


def _path(kind: str, d: str) -> str:
    return f'<path class="{kind}" d="{d}"/>'


def _box(kind: str, x: float, y: float, width: float, height: float, round_by: float = 0) -> str:
    corner = f' rx="{round_by:g}"' if round_by else ""
    return f'<rect class="{kind}" x="{x:g}" y="{y:g}" width="{width:g}" height="{height:g}"{corner}/>'


def _dot(kind: str, x: float, y: float, radius: float) -> str:
    return f'<circle class="{kind}" cx="{x:g}" cy="{y:g}" r="{radius:g}"/>'


def _ring(x: float, y: float, radius: float = 11) -> str:
    return _dot(RING, x, y, radius)


# --- An open barrel from the side ------------------------------------------------------------------------------------------------

MATING = "M6 28 L34 28 L38 32 L38 44 L34 48 L6 48 Z"
BARREL = "M52 28 L54 30 L80 30 L86 25 L86 51 L80 46 L54 46 L52 48 Z"
BARREL_WITHOUT_BELL = "M52 28 L54 30 L86 30 L86 46 L54 46 L52 48 Z"
FLOOR = "M38 48 L52 48 M86 51 L108 51"
SUPPORT = "M108 21 L130 21 L130 53 L108 53 Z"


def _open_barrel(
    *,
    insulation_from: float = 101,
    brush_to: float = 46,
    bell: bool = True,
    tab: str = "M130 53 L134 53",
    mating: str = MATING,
    more: str = "",
) -> str:
    """Side view. insulation_from, brush_to: where the insulation begins and the strands end, in the sketch's own units."""
    strands = "".join(_path(STRAND, f"M{brush_to:g} {y} L{max(insulation_from, 88):g} {y}") for y in (33, 38, 43))
    return "".join(
        (
            _path(METAL, mating) if mating else "",
            _path(METAL, FLOOR),
            strands,
            _box(INSULATION, insulation_from, 26, 156 - insulation_from, 24, 2),
            _path(METAL + " sk-fill", BARREL if bell else BARREL_WITHOUT_BELL),
            _path(METAL + " sk-fill", SUPPORT),
            _path(METAL, tab),
            more,
        )
    )


def _strands_in(good: bool) -> str:
    if good:
        return _open_barrel()
    return _open_barrel(more=_path(STRAND, "M97 33 C92 14 78 14 66 18 C60 20 56 20 50 16") + _ring(72, 18))


def _window(good: bool) -> str:
    return _open_barrel() if good else _open_barrel(insulation_from=87) + _ring(94, 38, 14)


def _bell_mouth(good: bool) -> str:
    return _open_barrel() if good else _open_barrel(bell=False) + _ring(86, 38, 14)


def _brush(good: bool) -> str:
    return _open_barrel() if good else _open_barrel(brush_to=22) + _ring(30, 38, 13)


def _straight(good: bool) -> str:
    if good:
        return _open_barrel() + _path(SOFT, "M4 60 L156 60")
    bent = f'<g transform="rotate(18 40 44)">{_path(METAL, MATING)}</g>'
    return _open_barrel(mating="", more=bent) + _path(SOFT, "M4 60 L156 60") + _ring(42, 42, 13)


def _cut_off_tab(good: bool) -> str:
    if good:
        return _open_barrel()
    return _open_barrel(tab="M130 53 L144 53 L150 63 M148 60 L153 58") + _ring(142, 56, 13)


def _plating(good: bool) -> str:
    if good:
        return _open_barrel()
    flakes = "M60 30 L63 34 L67 32 L71 36 L75 33 L78 35 L80 30 M62 46 L66 43 L69 45 L74 42 L77 46"
    return _open_barrel(more=_path(SOFT, flakes)) + _ring(70, 33, 13)


def _tang(good: bool) -> str:
    if good:
        return _open_barrel(more=_path(METAL, "M30 28 L14 18"))
    return _open_barrel(more=_path(METAL, "M30 28 L12 26") + _path(SOFT, "M30 28 L14 18")) + _ring(18, 23, 12)


# --- An open barrel from above, and cut through ----------------------------------------------------------------------------------


def _seam(good: bool) -> str:
    barrel = _box(METAL, 46, 18, 62, 36, 2) + _path(METAL, "M6 24 L34 24 L46 20 M6 48 L34 48 L46 52 M6 24 L6 48")
    wire = _box(INSULATION, 122, 24, 34, 24, 2) + "".join(_path(STRAND, f"M108 {y} L122 {y}") for y in (31, 36, 41))
    if good:
        return barrel + wire + _path(METAL, "M46 36 L108 36")
    return barrel + wire + _path(METAL, "M46 32 L70 32 L108 27 M46 40 L70 40 L108 45") + _path(STRAND, "M76 36 L108 36") + _ring(94, 36, 15)


def _support_grip(good: bool) -> str:
    wire = _dot(INSULATION, 80, 38, 20) + "".join(
        _dot(STRAND, 80 + x, 38 + y, 3.5) for x, y in ((0, 0), (8, 0), (-8, 0), (4, 7), (-4, 7), (4, -7), (-4, -7))
    )
    if good:
        return wire + _path(METAL, "M80 14 C62 10 54 24 54 38 C54 54 66 64 80 64 C94 64 106 54 106 38 C106 24 98 10 80 14")
    return (
        wire + _path(METAL, "M52 12 C48 24 50 34 54 42 C58 56 68 64 80 64 C92 64 102 56 106 42 C110 34 112 24 108 12") + _ring(80, 14, 13)
    )


def _cross_section(good: bool) -> str:
    barrel = "M80 24 C76 12 50 12 50 34 C50 50 54 60 66 60 L94 60 C106 60 110 50 110 34 C110 12 84 12 80 24"
    if good:
        cells = "M56 34 L70 30 L80 42 L92 30 L104 34 M56 46 L70 44 L80 42 L92 44 L104 46 M70 44 L70 56 M92 44 L92 56 M80 42 L80 56"
        return _path(METAL, barrel) + _path(METAL, "M80 24 L80 40") + _path(STRAND, cells)
    round_ones = ((62, 32), (70, 40), (62, 48), (92, 32), (100, 40), (94, 50), (72, 52))
    wings = _path(METAL, "M80 24 L84 58")
    return _path(METAL, barrel) + wings + "".join(_dot(STRAND, x, y, 4) for x, y in round_ones) + _ring(82, 54, 12)


# --- A closed barrel --------------------------------------------------------------------------------------------------------------


def _closed_barrel(*, insulation_from: float = 112, seen: bool = True, indent: float = 82, more: str = "") -> str:
    """Ring tongue, barrel with inspection hole near its front, one indent. seen: whether strands show in the hole."""
    hole = _dot(METAL, 62, 38, 5) + ("".join(_dot(STRAND, x, 38, 1.6) for x in (59.5, 62, 64.5)) if seen else "")
    notch = f"M50 26 L{indent - 7:g} 26 L{indent - 4:g} 33 L{indent + 4:g} 33 L{indent + 7:g} 26 L104 26 L104 50 L50 50 Z"
    return "".join(
        (
            _dot(METAL, 24, 38, 18),
            _dot(METAL, 24, 38, 8),
            _path(METAL, "M41 32 L50 32 M41 44 L50 44"),
            "".join(_path(STRAND, f"M104 {y} L{max(insulation_from, 105):g} {y}") for y in (33, 38, 43)),
            _box(INSULATION, insulation_from, 28, 156 - insulation_from, 20, 2),
            _path(METAL + " sk-fill", notch),
            hole,
            more,
        )
    )


def _inspection_hole(good: bool) -> str:
    return _closed_barrel() if good else _closed_barrel(seen=False) + _ring(62, 38, 12)


def _indent(good: bool) -> str:
    if good:
        return _closed_barrel()
    return _closed_barrel(indent=64, more=_path(METAL, "M71 34 L75 39 L72 43 L77 50")) + _ring(67, 34, 15)


def _clearance(good: bool) -> str:
    if good:
        return _closed_barrel()
    inside = _path(SOFT, "M104 29 L94 29 L94 47 L104 47")
    return _closed_barrel(insulation_from=104, more=inside) + _ring(102, 38, 14)


# --- The wire, and the parts ------------------------------------------------------------------------------------------------------


def _strands_whole(good: bool) -> str:
    insulation = _box(INSULATION, 90, 20, 66, 32, 2)
    ends = dict(zip((22.5, 29.5, 36.5, 43.5, 50.5), (20, 20, 20, 20, 20) if good else (20, 20, 58, 20, 70), strict=True))
    strands = "".join(_path(STRAND + " sk-thick", f"M{x} {y:g} L90 {y:g}") for y, x in ends.items())
    return strands + insulation if good else strands + insulation + _ring(60, 42, 17)


def _right_parts(good: bool) -> str:
    sheet = _path(METAL, "M8 8 L52 8 L60 16 L60 64 L8 64 Z") + _path(SOFT, "M16 50 L50 50 M16 57 L42 57")
    asked = _box(INSULATION, 16, 22, 36, 14, 2) + _path(METAL, "M16 29 L52 29")
    taken = _box(INSULATION, 84, 22, 68, 14, 2)
    if good:
        return sheet + asked + taken + _path(METAL, "M84 29 L152 29 M84 48 L112 48 L116 52 L152 52 M84 62 L112 62 L116 58 L152 58")
    other = _path(METAL, "M96 22 L96 36 M112 22 L112 36 M128 22 L128 36 M144 22 L144 36")
    return sheet + asked + taken + other + _dot(METAL, 96, 55, 8) + _path(METAL, "M104 52 L152 52 M104 58 L152 58") + _ring(118, 29, 13)


SKETCHES: dict[str, Callable[[bool], str]] = {
    "visual.right_parts": _right_parts,
    "visual.strands_in": _strands_in,
    "visual.strands_whole": _strands_whole,
    "visual.window": _window,
    "visual.clearance": _clearance,
    "visual.inspection_hole": _inspection_hole,
    "visual.bell_mouth": _bell_mouth,
    "visual.brush": _brush,
    "visual.support_grip": _support_grip,
    "visual.seam": _seam,
    "visual.indent": _indent,
    "visual.straight": _straight,
    "visual.cut_off_tab": _cut_off_tab,
    "visual.plating": _plating,
    "visual.tang": _tang,
    "cross_section": _cross_section,
}


def sketch(code: str, *, good: bool, title: str = "") -> str:
    """The sketch of a criterion as SVG, 160 by 72 units; empty for a criterion without one (a planner's own words).

    code: as in `shop.criteria`; of a cross-section the number after the dot does not matter. title: said to those who cannot see it;
    without one the sketch is hidden from them, because the words stand beside it.
    """
    drawn = SKETCHES.get(code) or SKETCHES.get(code.partition(".")[0])
    if drawn is None:
        return ""
    said = f'role="img" aria-label="{escape(title)}"' if title else 'aria-hidden="true" focusable="false"'
    return f'<svg class="sketch" viewBox="0 0 {WIDTH} {HEIGHT}" {said}>{drawn(good)}</svg>'
