"""Published gauge studies: AIAG, Measurement Systems Analysis, 4th ed., chapter III-B and its report form.

Formulas and constants of the form confirmed in public copies; data and results of the examples from memory, recomputed and equal.
"""

import csv
from decimal import Decimal
from pathlib import Path

import pytest

from inspection.studies.bias import bias_study
from inspection.studies.components import Origin, Standing
from inspection.studies.constants import d2_star, k1, k2, k3, range_degrees_of_freedom
from inspection.studies.crossed import arranged
from inspection.studies.gauge_rr import average_and_range
from inspection.studies.gauge_type1 import cg, cgk, resolution_check
from inspection.studies.linearity import linearity_study

DATA = Path(__file__).parent / "data"


def table(name):
    with (DATA / name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


@pytest.fixture(scope="module")
def ten_parts():
    return arranged((row["part"], row["appraiser"], row["trial"], float(row["value"])) for row in table("grr_3x3x10.csv"))


def test_constants_agree_with_the_report_form():
    assert [round(k1(trials), 4) for trials in (2, 3)] == [0.8862, 0.5908]
    assert [round(k2(appraisers), 4) for appraisers in (2, 3)] == [0.7071, 0.5231]
    assert [round(k3(parts), 4) for parts in range(2, 11)] == [0.7071, 0.5231, 0.4467, 0.4030, 0.3742, 0.3534, 0.3375, 0.3249, 0.3146]


@pytest.mark.parametrize(
    ("size", "divisor", "df"),
    [(2, 1.41421, 1.0), (3, 1.91155, 2.0), (4, 2.23887, 2.9), (5, 2.48124, 3.8), (10, 3.17905, 7.7), (15, 3.55333, 10.8)],
)
def test_divisor_and_degrees_of_freedom_of_one_range_agree_with_the_table(size, divisor, df):
    # AIAG MSA 4th ed., appendix C, from memory; the printed d2* of 15 comes from a series and is 1e-4 too large.
    assert d2_star(size, 1) == pytest.approx(divisor, abs=1.1e-4)
    assert round(range_degrees_of_freedom(size, 1), 1) == df


def test_average_and_range_agrees_with_the_published_study(ten_parts):
    study = average_and_range(ten_parts.values)

    assert (study.parts, study.appraisers, study.trials) == (10, 3, 3)
    assert study.picture.appraiser_ranges == pytest.approx((0.184, 0.513, 0.328), abs=5.1e-4)
    assert study.picture.mean_range == pytest.approx(0.3417, abs=5e-5)
    assert study.picture.appraiser_means == pytest.approx((0.1903, 0.0683, -0.2543), abs=5.1e-5)
    assert study.mean_difference == pytest.approx(0.4447, abs=5.1e-5)
    assert study.part_range == pytest.approx(3.511, abs=5e-4)
    published = {
        Origin.EQUIPMENT: (0.20188, 17.62),
        Origin.APPRAISER: (0.22963, 20.04),
        Origin.GAUGE: (0.30575, 26.68),
        Origin.PART: (1.10456, 96.38),
        Origin.TOTAL: (1.14610, 100),
    }
    for origin, (sigma, percent) in published.items():
        assert study.variation[origin].sigma == pytest.approx(sigma, abs=1e-4), origin
        assert study.variation[origin].percent_study == pytest.approx(percent, abs=0.01), origin
    assert study.variation.ndc_exact == pytest.approx(5.09, abs=0.005)
    assert study.variation.ndc == 5
    assert study.standing_study is Standing.CONDITIONAL


def test_range_limit_agrees_with_the_factor_on_the_form(ten_parts):
    # D4 for three trials is printed as 2.58 on the form; the exact value is 2.575.
    drawn = average_and_range(ten_parts.values).picture
    assert drawn.range_high / drawn.mean_range == pytest.approx(2.58, abs=0.006)


FIFTEEN = (5.8, 5.7, 5.9, 5.9, 6.0, 6.1, 6.0, 6.1, 6.4, 6.3, 6.0, 6.1, 6.2, 5.6, 6.0)


def test_bias_agrees_with_the_published_example():
    study = bias_study(FIFTEEN, 6.0)

    assert study.mean == pytest.approx(6.0067, abs=5e-5)
    assert study.s == pytest.approx(0.2120, abs=5e-5)
    assert study.sigma_by_range == pytest.approx(0.22514, abs=1e-5)
    assert study.by_range.standard_error == pytest.approx(0.05813, abs=1e-5)
    assert study.by_range.t == pytest.approx(0.1147, abs=5e-5)
    assert study.by_range.t_critical == pytest.approx(2.206, abs=5e-4)
    assert study.by_range.interval.low == pytest.approx(-0.1215, abs=1e-4)
    assert study.by_range.interval.high == pytest.approx(0.1349, abs=1e-4)
    # That edition prints -0.1185 and 0.1319, which its own rounded figures (0.0067, 0.05813, 2.206) give only to a unit of the last digit.
    assert study.range_interval_d2_ratio.low == pytest.approx(-0.1185, abs=1.5e-4)
    assert study.range_interval_d2_ratio.high == pytest.approx(0.1319, abs=1.5e-4)
    assert (study.by_range.significant, study.by_deviation.significant) == (False, False)


def test_linearity_agrees_with_the_published_example():
    rows = table("linearity_5x12.csv")
    references = sorted({float(row["reference"]) for row in rows})
    study = linearity_study(references, [[float(r["value"]) for r in rows if float(r["reference"]) == x] for x in references])

    assert study.intercept.value == pytest.approx(0.736667, abs=5e-7)
    assert study.slope.value == pytest.approx(-0.131667, abs=5e-7)
    assert study.r_squared == pytest.approx(0.7143, abs=5e-5)
    assert study.s == pytest.approx(0.23954, abs=5e-6)
    assert study.slope.t == pytest.approx(-12.04, abs=0.005)
    assert study.intercept.t == pytest.approx(10.16, abs=0.005)
    assert study.t_critical == pytest.approx(2.0017, abs=5e-5)
    assert [part.mean_bias for part in study.references] == pytest.approx([0.4917, 0.1250, 0.0250, -0.2917, -0.6167], abs=5e-5)
    assert study.mean_bias == pytest.approx(-0.0533, abs=5e-5)
    assert study.zero_inside_band is False
    assert study.linearity_percent == pytest.approx(13.17, abs=0.005)


def test_type_1_figures_of_the_usual_trade_form():
    # Computed for this project from the usual trade form: T 0.10, s 0.0012, mean 2.0008, reference 2.0000.
    assert cg(0.0012, 0.10) == pytest.approx(2.778, abs=5e-4)
    assert cgk(0.0008, 0.0012, 0.10) == pytest.approx(2.556, abs=5e-4)


def test_resolution_of_exactly_five_percent_is_fine_enough():
    # ISO 22514-7:2012, from memory: resolution at most 5 % of the tolerance.
    assert resolution_check(0.005, 0.1) == (Decimal(5), True)
