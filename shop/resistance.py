"""Dc resistance per length: the greatest by IEC 60228 class, and what a stranding of a metal has, at a temperature.

Resistances are Decimal in ohm/km. Sources: IEC 60028 (annealed copper), ASTM B33 table 2 (tin-coated copper, by strand diameter), IEC
60228 tables 1 to 4 and its formulas for other temperatures (read in a stored copy of GOST 22483-2021, which adopts it), ASTM B496 (a
stranded conductor has 2 % more than its wires). What was not confirmed in a stored copy says "from memory" and shows it on the page.
"""

from __future__ import annotations

import csv
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal
from functools import cache
from pathlib import Path

from shop.conductor import Conductor

COPPER_OHM_MM2_PER_KM = Decimal("17.241")
"""Annealed copper of 100 % IACS at 20 °C: 0.017241 ohm mm²/m. Source: IEC 60028."""

COPPER_PER_KELVIN = Decimal("0.00393")
"""Temperature coefficient of that resistance at 20 °C. Source: IEC 60028; IEC 60228 takes it for coated copper too."""

COLDEST_C, HOTTEST_C = Decimal(-80), Decimal(300)
"""The straight line through 20 °C is meant for working temperatures; our own rule keeps it from being asked far beyond."""

FEET_PER_KM = Decimal(1000) / Decimal("0.3048")


@dataclass(frozen=True, slots=True)
class Metal:
    """A conductor metal at 20 °C: resistivity in ohm mm²/km, temperature coefficient per kelvin, and where both come from."""

    code: str
    ohm_mm2_per_km: Decimal
    per_kelvin: Decimal
    source: str


def _of_copper(conductivity: str) -> tuple[Decimal, Decimal]:
    """Resistivity and coefficient of a metal with this share of the conductivity of annealed copper."""
    share = Decimal(conductivity)
    return COPPER_OHM_MM2_PER_KM / share, COPPER_PER_KELVIN * share


_ALLOY = _of_copper("0.85")
"""The coefficient falls with the conductivity. Source: handbook rule for copper of other conductivities (NBS Circular 31)."""

METALS: Mapping[str, Metal] = {
    metal.code: metal
    for metal in (
        Metal("copper", COPPER_OHM_MM2_PER_KM, COPPER_PER_KELVIN, "IEC 60028"),
        Metal("tinned copper", Decimal("0.16454") / Decimal("8.89") * 1000, COPPER_PER_KELVIN, "ASTM B33 table 2, strands up to 0.28 mm"),
        Metal("silver-plated copper", COPPER_OHM_MM2_PER_KM, COPPER_PER_KELVIN, "as annealed copper: ASTM B298, from memory"),
        Metal("nickel-plated copper", COPPER_OHM_MM2_PER_KM / Decimal("0.94"), COPPER_PER_KELVIN, "94 % IACS: ASTM B355, from memory"),
        Metal("copper alloy", *_ALLOY, "85 % IACS: high-strength alloys of ASTM B624, from memory; the alloy's own figure outranks it"),
        Metal("aluminium", Decimal("28.264"), Decimal("0.00403"), "IEC 60889 hard-drawn, from memory; coefficient IEC 60228"),
    )
}
"""Metals by the code that the catalogue uses. A steel-cored conductor has none: it depends on the share of the steel."""

_TINNED = (
    (Decimal("7.4"), Decimal("0.15695")),
    (Decimal("2.6"), Decimal("0.15776")),
    (Decimal("0.51"), Decimal("0.15940")),
    (Decimal("0.28"), Decimal("0.16279")),
)
"""From this strand diameter in mm up: ohm g/m² at 20 °C; below the last, 0.16454 down to 0.076 mm. Source: ASTM B33 table 2."""

COPPER_G_PER_CM3 = Decimal("8.89")
"""Density by which ASTM B33 and B193 turn mass resistivity into volume resistivity."""


def metal_for(material: str, strand_diameter_mm: Decimal | None = None) -> Metal | None:
    """The metal of a catalogue material, tin-coated copper by its strand diameter; None where no figure can be given.

    A tin coat takes a larger share of a thinner strand; without a diameter the figure of thin strands stands, which is the largest.
    """
    metal = METALS.get(material)
    if metal is None or material != "tinned copper" or strand_diameter_mm is None:
        return metal
    for least, ohm_g_per_m2 in _TINNED:
        if strand_diameter_mm >= least:
            return Metal(metal.code, ohm_g_per_m2 / COPPER_G_PER_CM3 * 1000, metal.per_kelvin, f"ASTM B33 table 2, strands from {least} mm")
    return metal


# --- Temperature -----------------------------------------------------------------------------------------------------------------


def temperature_factor(temperature_c: Decimal, per_kelvin: Decimal = COPPER_PER_KELVIN) -> Decimal:
    """R(t) / R(20 °C) = 1 + a (t - 20). Raises ValueError outside -80 to 300 °C."""
    if not temperature_c.is_finite() or not COLDEST_C <= temperature_c <= HOTTEST_C:
        raise ValueError(f"a temperature from {COLDEST_C} to {HOTTEST_C} °C is needed, not {temperature_c}")
    return 1 + per_kelvin * (temperature_c - 20)


def at_temperature(r20: Decimal, temperature_c: Decimal, per_kelvin: Decimal = COPPER_PER_KELVIN) -> Decimal:
    """A resistance known at 20 °C, at another temperature."""
    return r20 * temperature_factor(temperature_c, per_kelvin)


TABLE_PER_KELVIN = Decimal("0.004")
"""The table of correction factors in IEC 60228 (annex A) is rounded from 1 / (1 + 0.004 (t - 20)), for copper and aluminium alike: 1.064 at
5 °C, 0.893 at 50 °C, 0.758 at 100 °C. Source: the factors as a public reproduction prints them; that this formula gives them, our
calculation. The exact formulas of its annex B have 0.00393 and 0.00403."""


def table_factor(temperature_c: Decimal) -> Decimal:
    """The factor k of the IEC 60228 table by which a resistance measured at a temperature is multiplied to have it at 20 °C."""
    return (1 / temperature_factor(temperature_c, TABLE_PER_KELVIN)).quantize(Decimal("0.001"), ROUND_HALF_UP)


def to_20_c(measured: Decimal, temperature_c: Decimal, per_kelvin: Decimal = COPPER_PER_KELVIN) -> Decimal:
    """A resistance measured at a temperature, corrected to 20 °C: divided by the factor. Source: IEC 60228, k = 1 / (1 + a (t - 20))."""
    return measured / temperature_factor(temperature_c, per_kelvin)


# --- From area and metal ---------------------------------------------------------------------------------------------------------

STRANDING_INCREMENT = Decimal("1.02")
"""A strand is longer than the conductor it winds through. Source: ASTM B496 (standard increment); ropes of ropes have more."""


def resistance_ohm_per_km(csa_mm2: Decimal, temperature_c: Decimal = Decimal(20), metal: Metal = METALS["copper"]) -> Decimal:
    """Resistance of a straight wire of this area in ohm/km; a twisted conductor has `STRANDING_INCREMENT` times as much."""
    if not csa_mm2.is_finite() or csa_mm2 <= 0:
        raise ValueError(f"an area is finite and positive, not {csa_mm2}")
    return at_temperature(metal.ohm_mm2_per_km / csa_mm2, temperature_c, metal.per_kelvin)


def conductor_resistance(conductor: Conductor, material: str, temperature_c: Decimal = Decimal(20)) -> Decimal | None:
    """Nominal resistance of a conductor of this material in ohm/km; None where the material has no figure.

    Solid (one strand) as it is; a stranding, and a size that does not say its strands, with `STRANDING_INCREMENT`. Tolerances of the
    strands are not in it: the greatest resistance of a standard or a drawing is above it.
    """
    metal = metal_for(material, conductor.strand_diameter_mm)
    if metal is None:
        return None
    straight = resistance_ohm_per_km(conductor.csa_mm2, temperature_c, metal)
    return straight if conductor.strands == 1 else straight * STRANDING_INCREMENT


# --- By class --------------------------------------------------------------------------------------------------------------------

CLASSES: Mapping[int, str] = {1: "solid", 2: "stranded", 5: "flexible", 6: "extra flexible"}


def r20_max_ohm_per_km(csa_mm2: Decimal, conductor_class: int, *, metal_coated: bool) -> Decimal | None:
    """Greatest resistance at 20 °C in ohm/km of a nominal size, or None where the table has none. Source: IEC 60228:2004 tables 1 to 4.

    csa_mm2: nominal, matched exactly. conductor_class: 1 solid, 2 stranded, 5 flexible, 6 extra flexible.
    """
    row = _iec60228().get((conductor_class, csa_mm2))
    return None if row is None else row[1 if metal_coated else 0]


def nearest_nominal_mm2(csa_mm2: Decimal, within: Decimal = Decimal("0.1")) -> Decimal | None:
    """The nominal size of IEC 60228 that a stranding of this area is sold as, or None where none is near.

    within: greatest share by which the area may differ; strandings of the classes lie some per cent beside their nominal size.
    """
    nominal = min({size for _, size in _iec60228()}, key=lambda size: abs(size - csa_mm2))
    return nominal if abs(nominal - csa_mm2) <= within * nominal else None


@cache
def _iec60228() -> dict[tuple[int, Decimal], tuple[Decimal | None, Decimal | None]]:
    def number(text: str) -> Decimal | None:
        return Decimal(text) if text else None

    with (Path(__file__).parent / "reference" / "iec60228.csv").open(encoding="utf-8", newline="") as file:
        return {
            (int(row["class"]), Decimal(row["csa_mm2"])): (
                number(row["r20_max_plain_cu_ohm_per_km"]),
                number(row["r20_max_metal_coated_cu_ohm_per_km"]),
            )
            for row in csv.DictReader(file)
        }
