import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from inspection.studies.components import Origin, share_intervals
from inspection.studies.confidence import MeanSquare, combination_interval, f_quantile, f_tail, t_quantile, t_two_sided, variance_interval

# Expected mean squares of 8 parts, 4 appraisers, 2 trials with sigmas 1.0, 0.5, 0.2 (interaction) and 0.3.
PARTS, APPRAISERS, TRIALS = 8, 4, 2
PART, APPRAISER, INTERACTION, EQUIPMENT = 1.0, 0.25, 0.04, 0.09
EXPECTED = {
    "part": (EQUIPMENT + TRIALS * INTERACTION + APPRAISERS * TRIALS * PART, 7),
    "appraiser": (EQUIPMENT + TRIALS * INTERACTION + PARTS * TRIALS * APPRAISER, 3),
    "interaction": (EQUIPMENT + TRIALS * INTERACTION, 21),
    "equipment": (EQUIPMENT, 32),
}


def studies(count, seed):
    """Mean squares as a study would find them: the expected one times chi2/df."""
    rng = np.random.default_rng(seed)
    drawn = {name: expected * rng.chisquare(df, count) / df for name, (expected, df) in EXPECTED.items()}
    return [{name: MeanSquare(float(values[i]), EXPECTED[name][1]) for name, values in drawn.items()} for i in range(count)]


COMBINATIONS = {
    "part": (PART, {"part": 1 / 8, "interaction": -1 / 8}),
    "appraiser": (APPRAISER, {"appraiser": 1 / 16, "interaction": -1 / 16}),
    "reproducibility": (APPRAISER + INTERACTION, {"appraiser": 1 / 16, "interaction": 7 / 16, "equipment": -1 / 2}),
    "gauge": (APPRAISER + INTERACTION + EQUIPMENT, {"appraiser": 1 / 16, "interaction": 7 / 16, "equipment": 1 / 2}),
    "interaction": (INTERACTION, {"interaction": 1 / 2, "equipment": -1 / 2}),
}


@pytest.mark.parametrize("name", COMBINATIONS)
def test_interval_of_a_combination_covers_the_truth_as_often_as_it_says(name):
    # 2000 studies of a 90 % interval: 1800 hits wanted, four standard deviations are 54; the method is known to err on the wide side.
    truth, made_of = COMBINATIONS[name]
    hits = 0
    for lines in studies(2000, seed=11):
        scaled = [(c, MeanSquare(abs(c) * lines[n].value, lines[n].df)) for n, c in made_of.items()]
        hits += combination_interval([t for c, t in scaled if c > 0], [t for c, t in scaled if c < 0], 0.9).holds(truth)
    assert 1746 <= hits <= 1900


def test_interval_of_a_share_covers_the_truth_as_often_as_it_says():
    # 150 studies of a 90 % interval: 135 hits wanted, four standard deviations are 15.
    coefficients = {
        Origin.EQUIPMENT: {"equipment": 1.0},
        Origin.APPRAISER: {"appraiser": 1 / 16, "interaction": -1 / 16},
        Origin.INTERACTION: {"interaction": 1 / 2, "equipment": -1 / 2},
        Origin.PART: {"part": 1 / 8, "interaction": -1 / 8},
    }
    gauge = APPRAISER + INTERACTION + EQUIPMENT
    share, ndc = 100 * math.sqrt(gauge / (gauge + PART)), 1.41 * math.sqrt(PART / gauge)
    found = [share_intervals(lines, coefficients, 0.9) for lines in studies(150, seed=2)]
    assert 120 <= sum(shares[Origin.GAUGE].holds(share) for shares, _ in found) <= 150
    assert 120 <= sum(interval.holds(ndc) for _, interval in found) <= 150


def test_interval_of_one_mean_square_is_the_chi_square_one():
    # 95 % interval of a variance with 10 degrees of freedom: 10/20.483 and 10/3.247 of it, as chi-square tables give.
    found = variance_interval(MeanSquare(4.0, 10))
    assert (found.low, found.high) == pytest.approx((40 / 20.483, 40 / 3.247), rel=1e-4)
    combined = combination_interval([MeanSquare(4.0, 10)])
    assert (combined.low, combined.high) == pytest.approx((found.low, found.high))


@given(st.floats(0.01, 100), st.floats(0.01, 100), st.integers(1, 60), st.integers(1, 60), st.floats(0.01, 100))
def test_interval_of_a_difference_follows_scale_and_holds_the_estimate(a, b, df_a, df_b, scale):
    before = combination_interval([MeanSquare(a, df_a)], [MeanSquare(b, df_b)])
    after = combination_interval([MeanSquare(a * scale, df_a)], [MeanSquare(b * scale, df_b)])
    assert before.low <= a - b <= before.high
    assert (after.low, after.high) == pytest.approx((before.low * scale, before.high * scale), rel=1e-9, abs=1e-9)


@given(st.floats(0.001, 0.999), st.floats(1, 300), st.floats(1, 300), st.floats(0, 20))
def test_distributions_agree_with_scipy_stats(p, df, other, x):
    assert t_quantile(p, df) == pytest.approx(stats.t.ppf(p, df), rel=1e-8, abs=1e-12)
    assert t_two_sided(x, df) == pytest.approx(2 * stats.t.sf(x, df), rel=1e-8, abs=1e-300)
    assert f_quantile(p, df, other) == pytest.approx(stats.f.ppf(p, df, other), rel=1e-7)
    assert f_tail(x, df, other) == pytest.approx(stats.f.sf(x, df, other), rel=1e-8, abs=1e-300)
    assert t_quantile(p, math.inf) == pytest.approx(stats.norm.ppf(p), rel=1e-9, abs=1e-15)
