"""Overall diameter of a bare stranding: closed layers round a core (concentric), or strands twisted together as they come (bunched).

Geometry in float, quantized by a named rule. Nominal figures: compacting, unilay and lay length change them by some per cent, and a
conductor's data sheet outranks them.
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal

from shop.conductor import equal_circles_ratio

DIAMETER_PLACES = Decimal("0.001")
"""Named rule: an overall diameter is given to 0.001 mm, rounded half up."""

BUNCH_SQUARE = Decimal("1.332")
"""Square of the overall diameter over strands x square of the strand diameter, of a bunch of many strands: three quarters of the circle
are filled. Common practice, as printed with the diameter factors of ASTM B8 in public copies."""

_CORES = {1: Decimal(1), 3: Decimal("2.155"), 4: Decimal("2.414")}
"""Diameter over one, three or four strands in strand diameters; each further layer holds six more than the one under it and adds two.
Gives the published factors 3, 5, 7, 9 for 7, 19, 37, 61 strands and 4.155 for 12. Source: public copies of the ASTM B8 factors; four by
geometry."""

LAYERS = 20


@dataclass(frozen=True, slots=True)
class Overall:
    """diameter_mm: over the bare stranding. packing: share of its circle that is metal. factor: in strand diameters."""

    diameter_mm: Decimal
    packing: Decimal
    factor: Decimal


def concentric(strands: int, strand_diameter_mm: Decimal) -> Overall | None:
    """Overall diameter of closed layers, or None where this number of strands makes none (7, 12, 19, 37 do; 16 and 24 do not)."""
    for core, over_core in _CORES.items():
        count, layer = core, core + 6 if core > 1 else 6
        for turn in range(LAYERS):
            if count == strands:
                return _overall(strands, strand_diameter_mm, over_core + 2 * turn)
            count, layer = count + layer, layer + 6
    return None


def bunched(strands: int, strand_diameter_mm: Decimal) -> Overall:
    """Overall diameter of a bunch: up to seven strands the smallest circle round them, then by `BUNCH_SQUARE`. One strand at least."""
    if strands < 1:
        raise ValueError("a stranding has one strand at least")
    exact = equal_circles_ratio(strands)
    factor = Decimal(exact) if exact is not None else (BUNCH_SQUARE * strands).sqrt()
    return _overall(strands, strand_diameter_mm, factor)


def _overall(strands: int, strand_diameter_mm: Decimal, factor: Decimal) -> Overall:
    if not strand_diameter_mm.is_finite() or strand_diameter_mm <= 0:
        raise ValueError(f"a strand diameter is finite and positive, not {strand_diameter_mm}")
    packing = Decimal(strands) / factor**2
    return Overall(
        diameter_mm=(strand_diameter_mm * factor).quantize(DIAMETER_PLACES, ROUND_HALF_UP),
        packing=packing.quantize(Decimal("0.001"), ROUND_HALF_UP),
        factor=factor.quantize(Decimal("0.001"), ROUND_HALF_UP),
    )
