"""Strandings as standards list them: areas, overall diameters and resistances of every row against what is computed.

The sources of the rows stand in their own column.
"""

import csv
from decimal import Decimal
from pathlib import Path

import pytest

from shop.conductor import Conductor, awg_table_diameter_mm, mm2_to_cmil, stranding_area_mm2
from shop.resistance import conductor_resistance
from shop.stranding import bunched, concentric

with (Path(__file__).parent / "data" / "strandings.csv").open(encoding="utf-8", newline="") as file:
    ROWS = list(csv.DictReader(file))

FEET = Decimal("0.3048")  # a thousandth of 1000 ft in km


def name(row):
    return f"{row['group'][:12]} {row['size']} {row['strands']}x{row['strand_diameter_mm'] or row['strand_diameter_in']}"


def with_(*columns):
    return [row for row in ROWS if all(row[column] for column in columns)]


def strand_mm(row):
    """The strand as the list has it: by its gauge or its inches where they are given, which carry more digits than its mm."""
    if row["strand_awg"]:
        return awg_table_diameter_mm(int(row["strand_awg"]))
    return Decimal(row["strand_diameter_in"]) * Decimal("25.4") if row["strand_diameter_in"] else Decimal(row["strand_diameter_mm"])


def test_lists_are_there():
    assert (len(ROWS), len(with_("strands", "area_cmil")), len(with_("r20_max_silver_coated_ohm_per_1000ft"))) == (71, 57, 18)


@pytest.mark.parametrize("row", with_("strands", "area_cmil"), ids=name)
def test_area_is_the_sum_of_the_strands(row):
    area = stranding_area_mm2(int(row["strands"]), strand_mm(row))
    assert mm2_to_cmil(area) == pytest.approx(Decimal(row["area_cmil"]), rel=Decimal("0.005"))
    if row["area_mm2"]:
        assert area == pytest.approx(Decimal(row["area_mm2"]), rel=Decimal("0.005"))


@pytest.mark.parametrize("row", [row for row in with_("strands", "conductor_od_mm") if row["conductor_od_kind"] != "maximum"], ids=name)
def test_listed_overall_diameter_lies_by_the_computed_one(row):
    """Nominal lists are rounded, and unilay conductors are up to some seven per cent slimmer than closed reversed layers."""
    strands, listed = int(row["strands"]), Decimal(row["conductor_od_mm"])
    own = concentric(strands, strand_mm(row)) or bunched(strands, strand_mm(row))
    assert Decimal("0.90") < listed / own.diameter_mm < Decimal("1.15")


@pytest.mark.parametrize("row", [row for row in with_("strands", "conductor_od_mm") if row["conductor_od_kind"] == "maximum"], ids=name)
def test_bunch_of_the_thickest_strands_stays_within_the_greatest_diameter(row):
    assert bunched(int(row["strands"]), strand_mm(row)).diameter_mm <= Decimal(row["conductor_od_mm"])


COATED = [
    (row, coating, material)
    for coating, material in (("tin", "tinned copper"), ("silver", "silver-plated copper"), ("nickel", "nickel-plated copper"))
    for row in with_("strands", f"r20_max_{coating}_coated_ohm_per_1000ft")
]


@pytest.mark.parametrize(("row", "coating", "material"), COATED, ids=lambda value: name(value) if isinstance(value, dict) else value)
def test_greatest_resistance_of_plated_conductors_is_a_little_above_the_nominal(row, coating, material):
    """The margin is the tolerance of the strands, and for ropes of ropes the longer lay. It bears out the conductivities from memory."""
    strand = strand_mm(row)
    area = stranding_area_mm2(int(row["strands"]), strand)
    nominal = conductor_resistance(Conductor("", area, int(row["strands"]), strand), material) * FEET
    assert Decimal("1.00") < Decimal(row[f"r20_max_{coating}_coated_ohm_per_1000ft"]) / nominal < Decimal("1.12")


@pytest.mark.parametrize("row", with_("r20_max_plain_ohm_per_km", "nominal_csa_mm2"), ids=name)
def test_greatest_resistance_of_road_vehicle_wire_is_a_little_above_the_nominal(row):
    nominal = conductor_resistance(Conductor("", Decimal(row["nominal_csa_mm2"])), "copper")
    assert Decimal("1.00") < Decimal(row["r20_max_plain_ohm_per_km"]) / nominal < Decimal("1.13")
    assert Decimal(row["r20_max_tin_coated_ohm_per_km"]) > Decimal(row["r20_max_plain_ohm_per_km"])
