"""Least pull forces against MIL-T-7928E, UL 486A (1991), NASA-STD-8739.4, SAE AS39029, IEC 60352-2 and QC/T 29106-2004, row by row."""

import csv
from decimal import Decimal
from pathlib import Path

import pytest

from shop.pull_force import minimum_pull_force, standards

with (Path(__file__).parent / "data" / "crimp_tensile.csv").open(encoding="utf-8", newline="") as file:
    ROWS = list(csv.DictReader(file))
CODES = {standard.title: standard.code for standard in standards()}
OFFERED = [row for row in ROWS if row["standard"] in CODES]
NEWTON_PER_POUND = Decimal("4.4482216152605")


@pytest.mark.parametrize("row", OFFERED, ids=lambda row: f"{CODES[row['standard']]}-{row['size']}")
def test_listed_size_gives_its_listed_force_with_source_and_status(row):
    asked = {"awg": row["size"]} if row["size_system"] == "AWG" else {"csa_mm2": Decimal(row["csa_mm2"])}
    found = minimum_pull_force(CODES[row["standard"]], **asked)
    assert (found.force_n, found.force_lbf) == (Decimal(row["min_force_N"]), Decimal(row["min_force_lbf"]))
    assert (found.status, found.source, found.table) == (row["status"], row["source"], row["table"])


@pytest.mark.parametrize("row", OFFERED, ids=lambda row: f"{CODES[row['standard']]}-{row['size']}")
def test_newtons_and_pounds_of_a_row_are_the_same_force(row):
    # The rounded unit is right to half its last place; UL rounds with 4.45 N per pound, which stays inside that too.
    pounds = Decimal(row["min_force_lbf"])
    last_place = Decimal(1).scaleb(pounds.as_tuple().exponent)
    assert abs(Decimal(row["min_force_N"]) / NEWTON_PER_POUND - pounds) <= last_place / 2


def test_what_is_left_out_is_the_family_that_says_so():
    left_out = [row for row in ROWS if row["standard"] not in CODES]
    assert {row["standard"] for row in left_out} == {"MIL-C-39029 / MIL-DTL-22520 family (contact crimps)"}
    assert all("do not use as an acceptance limit" in row["note"] for row in left_out)


@pytest.mark.parametrize(("awg", "civil", "military"), [("18", "89.0", "169.0"), ("22", "35.6", "66.7"), ("12", "311.5", "489.3")])
def test_civil_and_military_forces_of_a_gauge_stay_apart(awg, civil, military):
    assert minimum_pull_force("ul-486a", awg=awg).force_n == Decimal(civil)
    assert minimum_pull_force("mil-t-7928", awg=awg).force_n == Decimal(military)
