"""Conductors: a size as written, its cross-section, gauge, and several wires together.

Sizes are Decimal from end to end: a range check in floats refuses three wires of 0.1 mm² for a barrel that ends at 0.3 mm². Geometry of
several wires is in float and quantized by a named rule before it is handed out.

Source: ASTM B258 (gauge formula and diameters). Overall diameters of strandings and resistance have modules of their own.
"""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import ROUND_CEILING, ROUND_HALF_UP, Decimal

from shop.quantity import NotAQuantity, parse_length_mm, parse_number

PI = Decimal("3.141592653589793238462643383")
MM_PER_INCH = Decimal("25.4")
MM2_PER_CMIL = PI / 4 * Decimal("0.0254") ** 2
"""A circular mil is the area of a circle one mil (0.001 in) in diameter."""

CSA_PLACES = Decimal("0.0001")
"""Named rule: a cross-section is rounded half up to 0.0001 mm² once, when the size is read; sums and comparisons are exact after that."""

ENCLOSING_PLACES = Decimal("0.001")
"""Named rule: an enclosing diameter is given to 0.001 mm, rounded half up where exact and upward where it is an upper bound."""

SMALLEST_CSA_MM2, LARGEST_CSA_MM2 = Decimal("0.005"), Decimal(1000)
"""Sizes outside (AWG 40 to 1000 mm²) are taken for a slip of the pen; our own rule."""

THICKEST_STRAND_MM, THINNEST_STRAND_MM = Decimal(12), Decimal("0.02")

SMALLEST_GAUGE, SMALLEST_STRAND_GAUGE = 40, 56
"""Gauge numbers go from -3 (4/0) to 40 for a conductor and to 56 for a strand (the range of ASTM B258)."""

STRANDING_FITS_GAUGE = (Decimal("0.75"), Decimal("1.35"))
"""Area of a named stranding over the area of the gauge named beside it. Listed constructions lie between 0.89 and 1.20 (reference
strandings); a ratio outside says that one of the two was mistyped. Our own rule."""


class NotASize(ValueError):  # noqa: N818  # reads as what happened
    """A text that is no conductor size, or could be two. text: as typed. reason: what is wrong, a sentence."""

    EXPECTED = 'Write a size such as "AWG 20", "AWG 20 (19/32)", "0.5 mm²" or "19 x 0.2 mm".'

    def __init__(self, text: str, reason: str) -> None:
        self.text, self.reason = text, reason
        super().__init__(text, reason)

    def __str__(self) -> str:
        return f'"{self.text}": {self.reason} {self.EXPECTED}'


@dataclass(frozen=True, slots=True)
class Conductor:
    """One conductor size.

    text: as typed. csa_mm2: conducting area, rounded by CSA_PLACES; of its own stranding where one was given, otherwise of the solid gauge.
    strands: number of strands, 1 for solid, None where not stated. strand_diameter_mm: of one strand. awg: gauge as named ("20", "4/0").
    """

    text: str
    csa_mm2: Decimal
    strands: int | None = None
    strand_diameter_mm: Decimal | None = None
    awg: str | None = None


# --- Gauge -----------------------------------------------------------------------------------------------------------------------


def awg_number(awg: str) -> int:
    """The number n of a gauge: "20" is 20, "1/0" is 0, "4/0" is -3. Raises NotASize for anything else."""
    text = awg.strip()
    match = re.fullmatch(r"([1-4])/0|(0{1,4})|([1-9][0-9]?)", text)
    if match is None:
        raise NotASize(awg, "It is not a gauge from 4/0 to 56.")
    aught, zeros, plain = match.groups()
    n = 1 - int(aught) if aught else 1 - len(zeros) if zeros else int(plain)
    if n > SMALLEST_STRAND_GAUGE:
        raise NotASize(awg, "It is not a gauge from 4/0 to 56.")
    return n


def awg_name(n: int) -> str:
    """A gauge number as it is written: 20 is "20", 0 is "1/0", -3 is "4/0"."""
    return str(n) if n > 0 else f"{1 - n}/0"


def awg_diameter_mm(n: int) -> Decimal:
    """Diameter of the solid round wire of gauge number n, in mm, unrounded: 0.127 mm x 92^((36 - n)/39). Source: ASTM B258."""
    return Decimal("0.127") * Decimal(92) ** (Decimal(36 - n) / 39)


def awg_table_diameter_mm(n: int) -> Decimal:
    """The diameter the gauge table prints, in mm: the formula rounded to 0.1 mil, from gauge 45 on to 0.01 mil.

    Strand areas of listed conductors are made with it (19 strands of AWG 32 are 19 x 8.0² cmil). Source: ASTM B258; the finer step from
    45 on is from memory.
    """
    mils = awg_diameter_mm(n) / MM_PER_INCH * 1000
    return mils.quantize(Decimal("0.1") if n <= 44 else Decimal("0.01"), ROUND_HALF_UP) * MM_PER_INCH / 1000


def awg_area_mm2(n: int) -> Decimal:
    """Area of the solid gauge in mm², from the unrounded diameter (not rounded by CSA_PLACES). Source: ASTM B258."""
    return circle_area_mm2(awg_diameter_mm(n))


@dataclass(frozen=True, slots=True)
class EquivalentAwg:
    """The gauge of an area: number is the exact position on the gauge scale, nearest the closest whole gauge as written."""

    number: float
    nearest: str


def equivalent_awg(csa_mm2: Decimal) -> EquivalentAwg:
    """The gauge whose solid wire has this area. For orientation only: a table that lists gauges is read by the named gauge.

    Nearest is on the gauge scale (equal area ratios are equal steps), held within 4/0 to 56. Raises ValueError unless finite and positive.
    """
    if not csa_mm2.is_finite() or csa_mm2 <= 0:
        raise ValueError(f"an area is finite and positive, not {csa_mm2}")
    number = 36 - 39 * math.log(float(area_diameter_mm(csa_mm2)) / 0.127, 92)
    return EquivalentAwg(number, awg_name(min(max(round(number), -3), SMALLEST_STRAND_GAUGE)))


# --- Area ------------------------------------------------------------------------------------------------------------------------


def circle_area_mm2(diameter_mm: Decimal) -> Decimal:
    """Area of a round section."""
    return PI / 4 * diameter_mm**2


def area_diameter_mm(csa_mm2: Decimal) -> Decimal:
    """Diameter of the solid round wire of this area."""
    return (csa_mm2 * 4 / PI).sqrt()


def mm2_to_cmil(csa_mm2: Decimal) -> Decimal:
    """Square millimetres to circular mils."""
    return csa_mm2 / MM2_PER_CMIL


def cmil_to_mm2(cmil: Decimal) -> Decimal:
    """Circular mils to square millimetres."""
    return cmil * MM2_PER_CMIL


def stranding_area_mm2(strands: int, strand_diameter_mm: Decimal) -> Decimal:
    """Conducting area of a stranding: the strands' own sections, no air between them; not rounded by CSA_PLACES."""
    return strands * circle_area_mm2(strand_diameter_mm)


def combined_csa_mm2(sizes: Sequence[Conductor | Decimal]) -> Decimal:
    """Area of all wires in one barrel, an exact sum. Source of the rule to add areas: NASA-STD-8739.4 clause 19.11."""
    return sum((s.csa_mm2 if isinstance(s, Conductor) else s for s in sizes), Decimal(0))


# --- A size as written -----------------------------------------------------------------------------------------------------------

_DECIMAL = r"[0-9.,]+"
_GAUGE = r"(?:[0-9]+/0|[0-9]{1,4})"
_AREA_UNIT = r"(?:mm2|mm²|mm\^2|sq\.?\s*mm|qmm|cmil|kcmil|mcm)"
_LENGTH_UNIT = r"(?:mm|in\.?|inch|mil|mils|\"|″|µm|um|μm)"


def parse_size(text: str) -> Conductor:
    """Read a conductor size in any of the usual spellings. Raises NotASize.

    Gauges ("AWG 20", "4/0"), gauges with their stranding ("AWG 20 (19/32)": 19 strands of AWG 32), strandings alone ("19/32",
    "19 x 0.2", "7x0.0063 in"), areas ("0.5", "0,5 mm²", "1620 cmil") and solid wire by diameter ("1 x 0.8 mm").
    "4/0" is always the gauge. Refused because they can be read two ways: a whole number without a unit that is also a gauge ("16"),
    "AWG 20/32", a strand coarser than AWG 20 without the gauge beside it ("22/19"), and "3x1.5" without a unit (three strands, or a
    cable of three cores).
    """
    bare = " ".join(text.split())
    if not bare or len(bare) > 40:
        raise NotASize(text.strip(), "Nothing was typed." if not bare else "It is too long.")
    flat = bare.replace("×", "x").replace("*", "x").replace("X", "x")

    if match := re.fullmatch(rf"(?:AWG\s*({_GAUGE})|({_GAUGE})\s*AWG)(?:\s+([0-9]+)/([0-9]+)|\s*\(\s*([0-9]+)/([0-9]+)\s*\))?", flat, re.I):
        before, after, strands, strand_awg, *bracketed = match.groups()
        gauge = before or after
        if bracketed[0] is not None:
            strands, strand_awg = bracketed
        if strands is None:
            return _gauge(bare, gauge)
        return _stranding_by_awg(bare, int(strands), int(strand_awg), gauge)
    if match := re.fullmatch(r"([1-9][0-9]*)/0", flat):
        return _gauge(bare, match.group())
    if re.fullmatch(r"AWG\s*[0-9]+/[0-9]+", flat, re.I):
        raise NotASize(bare, "It can be a gauge with a strand count or strands of a gauge.")
    if match := re.fullmatch(r"([0-9]+)/([0-9]+)(?:\s*AWG)?", flat, re.I):
        return _stranding_by_awg(bare, int(match[1]), int(match[2]), None)
    if match := re.fullmatch(rf"([0-9]+)\s*x\s*({_DECIMAL})\s*({_LENGTH_UNIT})?", flat, re.I):
        return _stranding_by_diameter(bare, int(match[1]), match[2], match[3])
    if re.fullmatch(rf"[0-9]+\s*[xG]\s*{_DECIMAL}\s*{_AREA_UNIT}", flat, re.I):
        raise NotASize(bare, "It is a cable of several cores; give the size of one core.")
    if re.fullmatch(rf"{_DECIMAL}\s*{_LENGTH_UNIT}", flat, re.I):
        raise NotASize(bare, 'A diameter alone is no size; for a solid wire write "1 x 0.8 mm".')
    if match := re.fullmatch(rf"({_DECIMAL})\s*({_AREA_UNIT})?", flat, re.I):
        return _area(bare, match[1], (match[2] or "").lower())
    raise NotASize(bare, "It is not a conductor size.")


def _gauge(text: str, gauge: str) -> Conductor:
    try:
        n = awg_number(gauge)
    except NotASize as error:
        raise NotASize(text, error.reason) from None
    if n > SMALLEST_GAUGE:
        raise NotASize(text, f"A conductor of AWG {gauge} is smaller than AWG {SMALLEST_GAUGE}.")
    return Conductor(text, _csa(text, awg_area_mm2(n)), awg=awg_name(n))


def _stranding_by_awg(text: str, strands: int, strand_awg: int, gauge: str | None) -> Conductor:
    if not 1 <= strand_awg <= SMALLEST_STRAND_GAUGE:
        raise NotASize(text, f"A strand is of AWG 1 to {SMALLEST_STRAND_GAUGE}.")
    if gauge is None and strand_awg < 20:
        raise NotASize(text, "It can be strands of a gauge, or a gauge with its number of strands; write the gauge too.")
    diameter_mm = awg_table_diameter_mm(strand_awg)
    conductor = _stranding(text, strands, diameter_mm)
    if gauge is None:
        return conductor
    named = _gauge(text, gauge)
    ratio = conductor.csa_mm2 / named.csa_mm2
    if not STRANDING_FITS_GAUGE[0] <= ratio <= STRANDING_FITS_GAUGE[1]:
        raise NotASize(text, f"{strands}/{strand_awg} is {conductor.csa_mm2} mm², but AWG {named.awg} is {named.csa_mm2} mm².")
    return Conductor(text, conductor.csa_mm2, strands, diameter_mm, named.awg)


def _stranding_by_diameter(text: str, strands: int, diameter: str, unit: str | None) -> Conductor:
    if unit is None and 2 <= strands <= 6:
        raise NotASize(text, f"It can be {strands} strands or a cable of {strands} cores; write mm behind the diameter, or one core.")
    try:
        diameter_mm = parse_length_mm(f"{diameter} {unit or 'mm'}").value
    except NotAQuantity as error:
        raise NotASize(text, error.reason) from None
    return _stranding(text, strands, diameter_mm)


def _stranding(text: str, strands: int, diameter_mm: Decimal) -> Conductor:
    if not 1 <= strands <= 10_000:
        raise NotASize(text, "The number of strands lies between 1 and 10000.")
    if not THINNEST_STRAND_MM <= diameter_mm <= THICKEST_STRAND_MM:
        raise NotASize(text, f"A strand of {diameter_mm} mm lies outside {THINNEST_STRAND_MM} to {THICKEST_STRAND_MM} mm; check the unit.")
    return Conductor(text, _csa(text, stranding_area_mm2(strands, diameter_mm)), strands, diameter_mm)


def _area(text: str, number: str, unit: str) -> Conductor:
    try:
        value = parse_number(number)
    except NotAQuantity as error:
        raise NotASize(text, error.reason) from None
    if not unit and number.isdigit() and int(number) <= SMALLEST_STRAND_GAUGE and value > 0:
        raise NotASize(text, f"It can be AWG {number} or {number} mm²; write which.")
    if unit in ("kcmil", "mcm"):
        value *= 1000
    return Conductor(text, _csa(text, cmil_to_mm2(value) if unit in ("cmil", "kcmil", "mcm") else value))


def _csa(text: str, csa_mm2: Decimal) -> Decimal:
    """The named rounding of a cross-section, and the refusal of what no wire has."""
    rounded = csa_mm2.quantize(CSA_PLACES, ROUND_HALF_UP) if csa_mm2 < LARGEST_CSA_MM2 * 2 else csa_mm2
    if not SMALLEST_CSA_MM2 <= rounded <= LARGEST_CSA_MM2:
        shown = format(csa_mm2, ".4g")
        raise NotASize(text, f"{shown} mm² lies outside {SMALLEST_CSA_MM2} to {LARGEST_CSA_MM2} mm².")
    return rounded


# --- Several wires in one insulation support -------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class EnclosingCircle:
    """The smallest circle found around several wires laid side by side.

    diameter_mm: its diameter; where `estimate` is set, an upper bound from an arrangement that was found, not proven the best.
    at_least_mm: no circle smaller than this holds the wires; equal to diameter_mm where exact.
    """

    diameter_mm: Decimal
    estimate: bool
    at_least_mm: Decimal


# Diameter of the smallest circle around n equal circles, over theirs. Source: circle-packing literature; proofs by R. L. Graham, "Sets of
# points with given minimum separation", American Mathematical Monthly 75 (1968), for n up to 7 [citation from memory].
_EQUAL_CIRCLES: dict[int, float] = {
    1: 1.0,
    2: 2.0,
    3: 1 + 2 / math.sqrt(3),
    4: 1 + math.sqrt(2),
    5: 1 + math.sqrt(2 * (1 + 1 / math.sqrt(5))),
    6: 3.0,
    7: 3.0,
}


def equal_circles_ratio(count: int) -> float | None:
    """Diameter of the smallest circle around so many equal circles, over theirs; None above seven, where no value is proven here."""
    return _EQUAL_CIRCLES.get(count)


def enclosing_diameter_mm(ods_mm: Sequence[Decimal]) -> EnclosingCircle:
    """The circle that encloses round wires of these outer diameters, in mm, whatever their order.

    Exact for any one or two wires and for up to seven equal ones. Otherwise an arrangement is built, each next wire touching two others as
    near the middle as it goes, and the circle around it is an upper bound: a valid fit, marked as an estimate. Raises ValueError for no
    wires and for diameters that are not finite and positive.
    """
    if not ods_mm or any(not od.is_finite() or od <= 0 for od in ods_mm):
        raise ValueError("enclosing circle: one or more finite, positive diameters are needed")
    ods = sorted(ods_mm, reverse=True)
    count, largest = len(ods), ods[0]
    if count <= 2:
        exact = sum(ods, Decimal(0))
        return EnclosingCircle(exact, False, exact)
    if count in _EQUAL_CIRCLES and ods[-1] == largest:
        exact = Decimal(float(largest) * _EQUAL_CIRCLES[count]).quantize(ENCLOSING_PLACES, ROUND_HALF_UP)
        return EnclosingCircle(exact, False, exact)
    bounds = [float(sum(ods, Decimal(0))), _packed_diameter([float(od) / 2 for od in ods])]
    if count in _EQUAL_CIRCLES:
        bounds.append(float(largest) * _EQUAL_CIRCLES[count])  # room for as many of the largest is room for these
    else:  # one in the middle and a ring of the others: seven or more around it never press on the middle one
        bounds.append(float(largest) * (1 + 1 / math.sin(math.pi / (count - 1))))
    # Two wires side by side need their sum; all of them need their areas. The margin keeps float noise from rounding up a whole step.
    at_least = max(float(ods[0] + ods[1]), math.sqrt(sum(float(od) ** 2 for od in ods)))
    upper = Decimal(max(min(bounds) - 1e-9, at_least)).quantize(ENCLOSING_PLACES, ROUND_CEILING)
    lower = min(Decimal(at_least - 1e-9).quantize(ENCLOSING_PLACES, ROUND_HALF_UP), upper)
    return EnclosingCircle(upper, True, lower)


def _packed_diameter(radii: Sequence[float]) -> float:
    """Place circles one by one, largest first, and return the diameter of a circle around them all."""
    placed: list[tuple[float, float, float]] = [(0.0, 0.0, radii[0]), (radii[0] + radii[1], 0.0, radii[1])]
    for r in radii[2:]:
        spots = [
            spot
            for i, a in enumerate(placed)
            for b in placed[i + 1 :]
            for spot in _touching_both(a, b, r)
            if all(math.hypot(spot[0] - x, spot[1] - y) >= r + other - 1e-9 for x, y, other in placed)
        ]
        weight = sum(other * other for _, _, other in placed)
        mx, my = (sum(c[k] * c[2] ** 2 for c in placed) / weight for k in (0, 1))
        # There is always a spot: the first two touch each other, so a circle can roll around them until it meets a third.
        x, y = min(spots, key=lambda spot: (round(math.hypot(spot[0] - mx, spot[1] - my) + r, 9), spot))
        placed.append((x, y, r))
    return 2 * _enclosing_radius(placed)


def _touching_both(a: tuple[float, float, float], b: tuple[float, float, float], r: float) -> list[tuple[float, float]]:
    """Centres of a circle of radius r that touches both circles from outside: none, or two mirrored ones."""
    from_a, from_b = a[2] + r, b[2] + r
    dx, dy = b[0] - a[0], b[1] - a[1]
    apart = math.hypot(dx, dy)
    if apart > from_a + from_b:
        return []
    along = (apart**2 + from_a**2 - from_b**2) / (2 * apart)
    aside = math.sqrt(max(from_a**2 - along**2, 0.0))
    ux, uy = dx / apart, dy / apart
    return [(a[0] + ux * along - uy * s, a[1] + uy * along + ux * s) for s in (aside, -aside)]


def _enclosing_radius(circles: Sequence[tuple[float, float, float]]) -> float:
    """Radius of a circle around the given circles: the centre steps toward the one that sticks out most, each step shorter.

    Any centre gives a valid radius, so stopping early costs tightness, never validity.
    """
    x = y = 0.0
    best = math.inf
    for step in range(1, 3000):
        reach, cx, cy = max((math.hypot(cx - x, cy - y) + r, cx, cy) for cx, cy, r in circles)
        best = min(best, reach)
        x, y = x + (cx - x) / (step + 1), y + (cy - y) / (step + 1)
    return best
