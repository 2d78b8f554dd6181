"""Conductor resistances against IEC 60228:2004 tables 1 to 4 and the copper of IEC 60028."""

import csv
from decimal import Decimal
from pathlib import Path

import pytest

from shop.conductor import (
    parse_size,
)
from shop.resistance import r20_max_ohm_per_km, resistance_ohm_per_km

with (Path(__file__).parent / "data" / "iec60228.csv").open(encoding="utf-8", newline="") as file:
    ROWS = list(csv.DictReader(file))


@pytest.mark.parametrize("row", ROWS, ids=lambda row: f"{row['class']}-{row['csa_mm2']}")
def test_greatest_resistance_is_that_of_the_table(row):
    csa, conductor_class = Decimal(row["csa_mm2"]), int(row["class"])
    assert r20_max_ohm_per_km(csa, conductor_class, metal_coated=False) == Decimal(row["r20_max_plain_cu_ohm_per_km"])
    coated = row["r20_max_metal_coated_cu_ohm_per_km"]
    assert r20_max_ohm_per_km(csa, conductor_class, metal_coated=True) == (Decimal(coated) if coated else None)


@pytest.mark.parametrize("row", ROWS, ids=lambda row: f"{row['class']}-{row['csa_mm2']}")
def test_copper_of_the_nominal_area_stays_below_the_limit(row):
    limit = r20_max_ohm_per_km(Decimal(row["csa_mm2"]), int(row["class"]), metal_coated=False)
    assert Decimal("0.83") * limit < resistance_ohm_per_km(Decimal(row["csa_mm2"])) < limit


@pytest.mark.parametrize("size", sorted({Decimal(row["csa_mm2"]) for row in ROWS if row["class"] == "5"}))
def test_flexible_classes_share_their_resistance(size):
    assert r20_max_ohm_per_km(size, 5, metal_coated=True) == r20_max_ohm_per_km(size, 6, metal_coated=True)


# Usual class 5 constructions by nominal strand (the largest strand of the table is 0.01 mm thicker): common practice.
@pytest.mark.parametrize(
    ("stranding", "nominal"),
    [("16x0.2", "0.5"), ("24x0.2", "0.75"), ("32x0.2", "1"), ("30x0.25", "1.5"), ("50x0.25", "2.5"), ("56x0.3", "4"), ("84x0.3", "6")],
)
def test_class_5_stranding_stays_below_its_limit(stranding, nominal):
    limit = r20_max_ohm_per_km(Decimal(nominal), 5, metal_coated=False)
    assert Decimal("0.85") * limit < resistance_ohm_per_km(parse_size(stranding).csa_mm2) < limit
