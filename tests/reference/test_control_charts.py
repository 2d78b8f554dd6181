"""Control chart constants and worked examples: ASTM E2587 table 1, NIST StRD, Montgomery, NIST/SEMATECH e-Handbook 6.3.2."""

import csv
import math
from pathlib import Path

import pytest

from inspection.spc import c4, d2, d3, individuals_chart, lag_1_autocorrelation, mean, standard_deviation, xbar_r_chart

DATA = Path(__file__).parent / "data"


def table(name):
    with (DATA / name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


@pytest.mark.parametrize("row", table("control_chart_constants.csv"), ids=lambda row: row["n"])
def test_constants_agree_with_astm_e2587_table_1(row):
    n = int(row["n"])
    computed = {
        "d2": d2(n),
        "d3": d3(n),
        "c4": c4(n),
        "A2": 3 / (d2(n) * math.sqrt(n)),
        "A3": 3 / (c4(n) * math.sqrt(n)),
        "D3": max(1 - 3 * d3(n) / d2(n), 0),
        "D4": 1 + 3 * d3(n) / d2(n),
        "B3": max(1 - 3 * math.sqrt(1 - c4(n) ** 2) / c4(n), 0),
        "B4": 1 + 3 * math.sqrt(1 - c4(n) ** 2) / c4(n),
    }
    for name, value in computed.items():
        assert value == pytest.approx(float(row[name]), abs=1.5e-6), name
        # Printed tables differ from the exact values, and from one another, by a unit in the third decimal in a few places.
        assert value == pytest.approx(float(row[f"{name}_printed"]), abs=1.01e-3), name


def test_constants_of_two_values_are_exact():
    # Closed forms: E|x - y| = 2/sqrt(pi), E(x - y)^2 = 2, E s = sqrt(2/pi).
    assert d2(2) == pytest.approx(2 / math.sqrt(math.pi), rel=1e-12)
    assert d3(2) == pytest.approx(math.sqrt(2 - 4 / math.pi), rel=1e-12)
    assert c4(2) == pytest.approx(math.sqrt(2 / math.pi), rel=1e-12)


STRD = {
    "Lottery": [float(row["value"]) for row in table("strd_lottery.csv")],
    "Mavro": [float(row["value"]) for row in table("strd_mavro.csv")],
    "NumAcc1": [10000001.0, 10000003.0, 10000002.0],
    "NumAcc2": [1.2] + [1.1, 1.3] * 500,
    "NumAcc3": [1000000.2] + [1000000.1, 1000000.3] * 500,
}


@pytest.mark.parametrize("name", STRD)
def test_statistics_reach_the_certified_digits_of_nist_strd(name):
    (certified,) = [row for row in table("nist_strd_univariate.csv") if row["dataset"] == name]
    values = STRD[name]
    assert len(values) == int(certified["n"])
    digits = 9 if name == "NumAcc3" else 13
    assert mean(values) == pytest.approx(float(certified["certified_mean"]), rel=1e-14)
    assert standard_deviation(values) == pytest.approx(float(certified["certified_sd_n_minus_1"]), rel=10.0**-digits)
    assert lag_1_autocorrelation(values) == pytest.approx(float(certified["certified_lag1_autocorrelation"]), rel=1e-8)


def test_individuals_chart_of_the_flow_rate_example():
    # NIST/SEMATECH e-Handbook 6.3.2.2; the handbook rounds d2 to 1.128, the exact one gives the upper limit 55.8024.
    chart = individuals_chart([49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1])
    assert chart.center == pytest.approx(50.81, abs=1e-9)
    assert chart.mr_bar == pytest.approx(1.8778, abs=5e-5)
    assert chart.high == pytest.approx(55.8041, abs=2e-3)
    assert chart.high == pytest.approx(55.8024, abs=5e-5)
    assert chart.low == pytest.approx(45.8159, abs=2e-3)
    assert chart.mr_high == pytest.approx(6.135, abs=2e-3)
    assert chart.beyond == ()


def test_mean_and_range_chart_of_the_ring_diameters():
    # Montgomery, Introduction to Statistical Quality Control, 5th ed., table 5-3 and example 5-1.
    chart = xbar_r_chart([[float(row[f"x{i}"]) for i in range(1, 6)] for row in table("xbar_25x5.csv")])
    assert len(chart.means) == 25
    assert chart.center == pytest.approx(74.001176, abs=5e-7)
    assert chart.r_bar == pytest.approx(0.02324, abs=5e-6)
    # Printed 73.988 and 74.014, worked with A2 rounded to 0.577.
    assert chart.low == pytest.approx(73.988, abs=5e-4)
    assert chart.high == pytest.approx(74.014, abs=7e-4)
    assert round(chart.r_high, 3) == 0.049
    assert chart.r_low == 0
    assert round(chart.sigma, 4) == 0.0100
    assert (chart.beyond, chart.r_beyond) == ((), ())
