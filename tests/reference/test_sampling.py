"""Sampling plans, OC curves, sequential plans and tolerance factors against published tables and examples."""

import csv
from decimal import Decimal
from pathlib import Path

import pytest

from inspection.sampling.design import sequential_plan, success_run
from inspection.sampling.oc import pa_binomial, quality_at
from inspection.sampling.single import Level, code_letter, lot_ranges, plan_for
from inspection.sampling.tolerance import k_one_sided, k_two_sided, k_two_sided_howe
from inspection.studies.confidence import proportion_interval

DATA = Path(__file__).parent / "data"


def table(name):
    with (DATA / name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


# MIL-STD-105E Table I, confirmed in two public copies.
@pytest.mark.parametrize("row", table("sampling_code_letters.csv"), ids=lambda row: row["lot_from"])
@pytest.mark.parametrize("level", list(Level))
def test_code_letter_is_that_of_table_one_at_both_ends_of_the_range(row, level):
    for lot in (row["lot_from"], row["lot_to"] or "9999999"):
        assert code_letter(int(lot), level) == row[level.value]


LOTS = {
    "A": 5,
    "B": 12,
    "C": 20,
    "D": 40,
    "E": 80,
    "F": 120,
    "G": 200,
    "H": 400,
    "J": 1000,
    "K": 2000,
    "L": 5000,
    "M": 20_000,
    "N": 100_000,
}
LOTS |= {"P": 300_000, "Q": 600_000}


# MIL-STD-105E Tables II-A, II-B, II-C; the status of each cell stands in its row.
@pytest.mark.parametrize("severity", ["normal", "tightened", "reduced"])
def test_plan_of_every_cell_is_that_of_the_master_table(severity):
    looked_up = 0
    for row in table(f"sampling_single_{severity}.csv"):
        lot, level = (LOTS.get(row["code_letter"]), "II") if row["code_letter"] != "R" else (600_000, "III")
        if lot is None:
            continue  # letter S stands for no lot: it is only reached by an arrow
        plan = plan_for(lot, level, row["aql"], severity)
        expected = (row["code_letter"], row["plan_letter_used"], int(row["n"]), int(row["ac"]), int(row["re"]), row["status"])
        assert (plan.code_letter, plan.plan_letter, plan.table_n, plan.ac, plan.re, plan.status) == expected
        assert plan.cell.value == row["table_cell"]
        assert plan.n == min(int(row["n"]), lot)
        looked_up += 1
    assert looked_up == 16 * 26


def test_letter_s_is_reached_by_the_arrow_of_the_tightened_table():
    plan = plan_for(600_000, "III", "0.025", "tightened")
    assert (plan.code_letter, plan.plan_letter, plan.n, plan.ac) == ("R", "S", 3150, 1)


def test_ranges_are_those_of_table_one():
    assert [(str(low), str(high or "")) for low, high in lot_ranges()] == [
        (row["lot_from"], row["lot_to"]) for row in table("sampling_code_letters.csv")
    ]


# MIL-STD-105E Table X (percent nonconforming accepted at each chance), three figures, binomial; recomputed. One unit of the last figure
# is allowed: 3.5348 is printed 3.54, 1.3854 is printed 1.38.
CHANCES = (0.99, 0.95, 0.90, 0.75, 0.50, 0.25, 0.10, 0.05, 0.01)
TABLE_X = {
    (20, 0): "0.0502 0.256 0.525 1.43 3.41 6.70 10.9 13.9 20.6",
    (20, 1): "0.759 1.81 2.69 4.81 8.25 12.9 18.1 21.6 28.9",
    (50, 3): "1.68 2.78 3.54 5.10 7.29 10.0 12.9 14.8 18.7",
    (80, 2): "0.550 1.03 1.38 2.16 3.33 4.84 6.52 7.66 10.1",
}


@pytest.mark.parametrize(("plan", "printed"), TABLE_X.items())
def test_percent_nonconforming_at_a_chance_is_that_of_table_ten(plan, printed):
    for chance, text in zip(CHANCES, printed.split(), strict=True):
        places = len(text.partition(".")[2])
        assert 100 * quality_at(chance, *plan) == pytest.approx(float(text), abs=1.0001 * 10**-places)


def test_plans_of_table_ten_are_those_of_the_master_table():
    assert [
        (plan.n, plan.ac)
        for plan in (plan_for(120, "II", "0.65"), plan_for(120, "II", "2.5"), plan_for(400, "II", "2.5"), plan_for(1000, "II", "1.0"))
    ] == list(TABLE_X)


# NIST/SEMATECH e-Handbook 6.2.3.2, n 52, c 3; from memory, recomputed (0.8460 and 0.7383 are printed one unit off).
def test_oc_curve_is_that_of_the_handbook():
    printed = ["0.998", "0.980", "0.930", "0.845", "0.739", "0.620", "0.502", "0.394", "0.300", "0.223", "0.162", "0.115"]
    for percent, text in enumerate(printed, start=1):
        assert float(pa_binomial(percent / 100, 52, 3)) == pytest.approx(float(text), abs=1.01e-3)
    assert float(pa_binomial(0.04, 52, 3)) == pytest.approx(0.8460, abs=5e-5)
    assert float(pa_binomial(0.05, 52, 3)) == pytest.approx(0.7383, abs=5e-5)


# NIST/SEMATECH e-Handbook 6.2.6; from memory, recomputed.
def test_sequential_lines_are_those_of_the_handbook():
    plan = sequential_plan(0.01, 0.05, 0.10, 0.10)
    assert (plan.h1, plan.h2, plan.slope) == (
        pytest.approx(0.939, abs=5e-4),
        pytest.approx(1.205, abs=5e-4),
        pytest.approx(0.0397, abs=5e-5),
    )


# Zero-failure demonstration, ln(1 - C)/ln R; computed for this project.
@pytest.mark.parametrize(
    ("reliability", "confidence", "n"), [("0.95", "0.95", 59), ("0.90", "0.95", 29), ("0.95", "0.90", 45), ("0.99", "0.95", 299)]
)
def test_success_run_sizes(reliability, confidence, n):
    assert success_run(Decimal(reliability), Decimal(confidence)) == n


# NIST/SEMATECH e-Handbook 7.2.6.3, n 43, p 0.90, g 0.99; from memory, recomputed.
def test_tolerance_factors_are_those_of_the_handbook():
    assert k_two_sided_howe(43, 0.90, 0.99) == pytest.approx(2.217, abs=5e-4)
    assert k_one_sided(43, 0.90, 0.99) == pytest.approx(1.8740, abs=5e-5)


# One-sided 95/95: computed for this project, usual tables agree.
@pytest.mark.parametrize(("n", "k"), [(10, 2.9110), (20, 2.3960), (30, 2.2198), (50, 2.0650)])
def test_one_sided_factors_at_ninety_five_and_ninety_five(n, k):
    assert k_one_sided(n, 0.95, 0.95) == pytest.approx(k, abs=1.01e-4)


# Two-sided, exact (Odeh; as tabulated in ISO 16269-6): n 2 and 10 at 95/95, from memory.
@pytest.mark.parametrize(("n", "k"), [(2, 36.5192), (10, 3.3934)])
def test_two_sided_factors_are_exact(n, k):
    assert k_two_sided(n, 0.95, 0.95) == pytest.approx(k, abs=1e-4)


# NIST/SEMATECH e-Handbook 7.2.4.1, 4 in 20; from memory, recomputed.
def test_exact_interval_of_a_proportion_is_that_of_the_handbook():
    ninety, ninety_five = proportion_interval(4, 20, 0.90), proportion_interval(4, 20, 0.95)
    assert [round(x, 4) for x in (ninety.low, ninety.high)] == [0.0714, 0.4010]
    assert [round(x, 4) for x in (ninety_five.low, ninety_five.high)] == [0.0573, 0.4366]
