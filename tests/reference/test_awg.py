"""Gauges against ASTM B258 and NBS Circular 31, strandings against the slash sheets of AS22759 and ASTM B174 / B286."""

import csv
from decimal import Decimal
from pathlib import Path

import pytest

from shop.conductor import (
    awg_area_mm2,
    awg_diameter_mm,
    awg_name,
    awg_number,
    awg_table_diameter_mm,
    equivalent_awg,
    mm2_to_cmil,
    parse_size,
)
from shop.resistance import resistance_ohm_per_km

DATA = Path(__file__).parent / "data"


def table(name):
    with (DATA / name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


GAUGES = table("awg.csv")
STRANDINGS = [row for row in table("strandings.csv") if row["strand_awg"]]


@pytest.mark.parametrize("row", GAUGES, ids=lambda row: row["awg"])
def test_gauge_agrees_with_astm_b258_and_nbs_circular_31(row):
    n = awg_number(row["awg"])
    assert n == int(row["n"])
    assert awg_name(n) == row["awg"]
    # ASTM B258: the formula, and the gauge table rounded to 0.1 mil.
    assert abs(awg_diameter_mm(n) - Decimal(row["diameter_formula_mm"])) <= Decimal("0.00005")
    assert awg_table_diameter_mm(n) == Decimal(row["diameter_rounded_mil"]) * Decimal("0.0254")
    assert abs(awg_area_mm2(n) / Decimal(row["area_formula_mm2"]) - 1) < Decimal("0.0005")  # the table has four figures
    # NBS Circular 31: areas within 0.06 %, resistance of annealed copper within 0.15 %.
    assert abs(mm2_to_cmil(awg_area_mm2(n)) / Decimal(row["area_handbook_cmil"]) - 1) < Decimal("0.0006")
    per_1000_ft = resistance_ohm_per_km(awg_area_mm2(n)) * Decimal("0.3048")
    assert abs(per_1000_ft / Decimal(row["r20_annealed_cu_handbook_ohm_per_1000ft"]) - 1) < Decimal("0.0015")


@pytest.mark.parametrize("row", GAUGES, ids=lambda row: row["awg"])
def test_gauge_as_written_reads_as_its_area(row):
    assert parse_size(f"AWG {row['awg']}").csa_mm2 == awg_area_mm2(int(row["n"])).quantize(Decimal("0.0001"))
    assert equivalent_awg(Decimal(row["area_formula_mm2"])).nearest == row["awg"]


@pytest.mark.parametrize("row", STRANDINGS, ids=lambda row: f"{row['size']}-{row['strands']}/{row['strand_awg']}")
def test_listed_stranding_reads_as_its_listed_area(row):
    size = parse_size(f"AWG {row['size']} ({row['strands']}/{row['strand_awg']})")
    assert (size.strands, size.awg) == (int(row["strands"]), row["size"])
    assert abs(size.csa_mm2 - Decimal(row["area_mm2"])) <= Decimal(row["area_mm2"]) * Decimal("0.001") + Decimal("0.00005")


TIN_COATED = [row for row in STRANDINGS if row["r20_max_tin_coated_ohm_per_km"] and "AS22759" in row["group"]]


@pytest.mark.parametrize("row", TIN_COATED, ids=lambda row: row["size"])
def test_computed_resistance_stays_below_the_as22759_limit(row):
    computed = resistance_ohm_per_km(parse_size(f"AWG {row['size']} ({row['strands']}/{row['strand_awg']})").csa_mm2)
    # The limit allows for the lay, the coating and the strand tolerance: it lies above bare copper, not far above.
    assert Decimal("0.78") * Decimal(row["r20_max_tin_coated_ohm_per_km"]) < computed < Decimal(row["r20_max_tin_coated_ohm_per_km"])
