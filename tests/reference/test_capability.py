"""Capability: worked examples and computed exact answers, each with its source.

NIST/SEMATECH e-Handbook 6.1.6; Montgomery, 5th ed.; Bissell 1990; Chou, Owen and Borrego 1990; ISO 22514-2.
"""

import numpy as np
import pytest
from scipy import stats

from inspection.process.capability import Specification, expected_ppm, indices, taguchi_index
from inspection.process.capability_intervals import cp_interval, cpk_bound, cpk_interval, noncentral_t_cdf, one_sided_bound
from inspection.process.percentiles import percentile_indices
from inspection.process.sigma import Estimator, Sigma


def test_handbook_example():
    # e-Handbook 6.1.6: limits 8 and 20, mean 16, s 2.
    specification = Specification(8, 20, 14)
    found = indices(16, Sigma(2, Estimator.OVERALL, 49), 50, specification)
    assert found.both.value == pytest.approx(1.0, rel=1e-12)
    assert found.nearer.value == pytest.approx(0.6667, abs=5e-5)
    assert found.offset == pytest.approx(0.3333, abs=5e-5)
    assert found.nearer.value == pytest.approx((1 - found.offset) * found.both.value, rel=1e-12)
    assert taguchi_index(16, 2, 50, specification).value == pytest.approx(0.7071, abs=5e-5)


def test_interval_of_cp_in_the_textbook_example():
    # Montgomery, 5th ed., example 7-3: limits 38 and 62, n 20, s 1.75; 1.57 to 3.01 printed.
    found = indices(50, Sigma(1.75, Estimator.OVERALL, 19), 20, Specification(38, 62)).both
    assert found.value == pytest.approx(2.29, abs=5e-3)
    assert (found.interval.low, found.interval.high) == pytest.approx((1.5649, 3.0056), abs=5e-5)
    assert found.interval.exact


def test_bissell_intervals():
    around = cpk_interval(1.33, 20)
    assert (around.low, around.high) == pytest.approx((0.8826, 1.7774), abs=5e-5)
    assert cpk_bound(1.33, 20).low == pytest.approx(0.9545, abs=5e-5)


@pytest.mark.parametrize(
    ("cpk", "n", "bissell", "exact"),
    [(1.00, 50, 0.8166, 0.8144), (1.33, 50, 1.0958, 1.0931), (1.33, 100, 1.1651, 1.1637), (1.67, 30, 1.2957, 1.2907)],
)
def test_lower_bounds_of_cpk(cpk, n, bissell, exact):
    # Computed for this project from both formulas.
    assert cpk_bound(cpk, n).low == pytest.approx(bissell, abs=5.1e-5)
    assert one_sided_bound(cpk, n).low == pytest.approx(exact, abs=5.1e-5)


@pytest.mark.parametrize("degrees", [5, 9, 30, 200])
@pytest.mark.parametrize("noncentrality", [-2.0, 0.0, 3.0, 20.0])
def test_noncentral_t_agrees_with_scipy(degrees, noncentrality):
    for t in (noncentrality - 2, noncentrality, noncentrality + 3):
        assert noncentral_t_cdf(t, degrees, noncentrality) == pytest.approx(stats.nct.cdf(t, degrees, noncentrality), abs=1e-10)


def test_percentile_method_on_a_weibull_distribution():
    # Shape 1.5, scale 1, limits 0.05 and 6.0; computed for this project after ISO 22514-2.
    points = stats.weibull_min.ppf([0.00135, 0.5, 0.99865], 1.5)
    assert points == pytest.approx([0.012220, 0.783220, 3.521260], abs=5e-7)
    found = percentile_indices(*points, Specification(0.05, 6.0))
    assert found == pytest.approx({"Pp": 1.6956, "Ppu": 1.9053, "Ppl": 0.9510, "Ppk": 0.9510}, abs=5.1e-5)


@pytest.mark.parametrize(("reach", "outside_ppm"), [(3, 2699.796), (4, 63.342), (5, 0.573303), (6, 0.00197318)])
def test_share_outside_symmetric_limits(reach, outside_ppm):
    # Two-sided normal tails, in any table.
    assert expected_ppm(10, 0.5, Specification(10 - reach * 0.5, 10 + reach * 0.5)).total == pytest.approx(outside_ppm, rel=1e-5)


def test_interval_of_cp_covers_as_often_as_it_says():
    draw = np.random.default_rng(3)
    deviations = draw.standard_normal((4000, 12)).std(axis=1, ddof=1)
    held = sum(a.low <= 1.5 <= a.high for a in (cp_interval(1.5 / s, 11) for s in deviations))
    assert held / 4000 == pytest.approx(0.95, abs=0.012)


def test_exact_bound_lies_below_the_true_index_as_often_as_it_says():
    draw = np.random.default_rng(4)
    samples = draw.standard_normal((800, 12))
    true, high = 1.2, 3.6
    cpu = (high - samples.mean(axis=1)) / (3 * samples.std(axis=1, ddof=1))
    held = sum(one_sided_bound(float(index), 12).low <= true for index in cpu)
    assert held / 800 == pytest.approx(0.95, abs=0.025)
