"""Tolerance factors against integrals written down another way, and against simulated samples."""

import math
from decimal import Decimal

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import integrate, stats

from inspection.sampling.tolerance import (
    Verdict,
    k_one_sided,
    k_two_sided,
    k_two_sided_howe,
    lower_bound,
    lower_bound_of,
    rank_bound,
    rank_confidence,
    share_covered,
    values_needed,
)
from inspection.spc import NotFinite, TooFew
from inspection.studies.confidence import NotASetting

shares = st.floats(0.5, 0.999)


@settings(max_examples=40, deadline=None)
@given(st.integers(2, 200), shares, shares)
def test_one_sided_factor_covers_with_its_confidence(n, p, gamma):
    k = k_one_sided(n, p, gamma)
    z = stats.norm.ppf(p)

    # P(mean + k s >= z) over s, written without the noncentral t.
    def density(v):
        return stats.chi2.pdf(v, n - 1) * stats.norm.cdf((k * math.sqrt(v / (n - 1)) - z) * math.sqrt(n))

    low, high = stats.chi2.ppf([1e-13, 1 - 1e-13], n - 1)
    covered = integrate.quad(density, low, high, limit=300, points=[stats.chi2.median(n - 1)])[0]
    assert covered == pytest.approx(gamma, abs=2e-6)


@settings(max_examples=20, deadline=None)
@given(st.integers(2, 100), shares, shares)
def test_two_sided_factor_covers_with_its_confidence(n, p, gamma):
    k = k_two_sided(n, p, gamma)

    # The half width that holds p about an off-centre mean is a noncentral chi-square quantile.
    def density(x):
        r2 = stats.ncx2.ppf(p, 1, x * x / n) if x else stats.chi2.ppf(p, 1)
        return 2 * stats.norm.pdf(x) * stats.chi2.sf((n - 1) * r2 / k**2, n - 1)

    assert integrate.quad(density, 0, 9, limit=200)[0] == pytest.approx(gamma, abs=1e-7)


@pytest.mark.parametrize(("p", "gamma"), [(0.95, 0.95), (0.90, 0.99), (0.99, 0.90)])
def test_two_sided_factor_is_close_to_the_approximation_for_many_values(p, gamma):
    assert k_two_sided(500, p, gamma) == pytest.approx(k_two_sided_howe(500, p, gamma), rel=2e-3)


@given(st.integers(2, 300), shares, shares)
def test_factor_falls_with_more_values_and_grows_with_confidence(n, p, gamma):
    assert k_one_sided(n + 1, p, gamma) < k_one_sided(n, p, gamma) or gamma <= 0.51
    assert k_one_sided(n, p, min(gamma + 0.0005, 0.9999)) > k_one_sided(n, p, gamma)


@settings(deadline=None)
@given(st.integers(3, 200), st.floats(0.6, 0.999), st.floats(0.6, 0.999))
def test_share_covered_undoes_the_factor(n, p, gamma):
    assert share_covered(k_one_sided(n, p, gamma), n, gamma) == pytest.approx(p, abs=1e-8)


def test_share_covered_far_below_the_mean_is_nothing():
    assert share_covered(-5.0, 10, 0.95) < 0.01


def test_bound_holds_in_simulated_shops_as_often_as_it_says():
    rng = np.random.default_rng(4)
    k = k_one_sided(12, 0.95, 0.90)
    drawn = rng.normal(100, 8, (20_000, 12))
    bounds = drawn.mean(axis=1) - k * drawn.std(axis=1, ddof=1)
    covered = (bounds <= stats.norm.ppf(0.05, 100, 8)).mean()
    assert covered == pytest.approx(0.90, abs=0.01)


FORCES = [131.5, 128.0, 134.2, 129.9, 133.1, 130.4, 127.8, 132.6, 131.0, 129.2]


def test_bound_of_pull_forces_is_mean_less_k_s_and_is_held_against_the_minimum():
    answer = lower_bound_of(FORCES, p=0.95, gamma=0.95, minimum=Decimal(89))
    assert answer.bound == pytest.approx(np.mean(FORCES) - k_one_sided(10, 0.95, 0.95) * np.std(FORCES, ddof=1))
    assert answer.verdict is Verdict.HOLDS
    assert answer.share is not None
    assert answer.share > 0.95
    short = lower_bound_of(FORCES, p=0.95, gamma=0.95, minimum=Decimal(126))
    assert short.verdict is Verdict.FALLS_SHORT
    assert short.share is not None
    assert short.share < 0.95
    assert lower_bound_of(FORCES, p=0.95, gamma=0.95).verdict is None


@settings(deadline=None)
@given(st.floats(80, 150), st.floats(0.5, 10), st.integers(3, 100), st.decimals(60, 140, places=1))
def test_bound_reaches_the_minimum_exactly_when_enough_is_covered(mean, s, n, minimum):
    answer = lower_bound(mean, s, n, p=0.95, gamma=0.95, minimum=minimum)
    if abs(answer.bound - float(minimum)) > 1e-6:
        assert (answer.verdict is Verdict.HOLDS) is (answer.share >= 0.95)


def test_equal_forces_prove_nothing():
    answer = lower_bound_of([120.0] * 8, p=0.95, gamma=0.95, minimum=Decimal(100))
    assert (answer.verdict, answer.share) == (Verdict.NO_SPREAD, None)


def test_bound_refuses_too_few_and_what_is_no_number():
    with pytest.raises(TooFew):
        lower_bound_of([100.0], p=0.95, gamma=0.95)
    with pytest.raises(NotFinite):
        lower_bound_of([100.0, math.nan], p=0.95, gamma=0.95)
    for p, gamma in ((1.0, 0.95), (0.95, 0.0), (math.nan, 0.95)):
        with pytest.raises(NotASetting):
            k_one_sided(10, p, gamma)
    with pytest.raises(NotASetting):
        lower_bound(100.0, -1.0, 10, p=0.95, gamma=0.95)
    with pytest.raises(NotASetting):
        lower_bound(100.0, 1.0, 10, p=0.95, gamma=0.95, minimum=Decimal("NaN"))


@given(st.integers(1, 400), st.floats(0.6, 0.99), st.floats(0.6, 0.99))
def test_rank_bound_is_the_largest_that_holds(n, p, gamma):
    values = [float(v) for v in range(max(n, 2))]
    answer = rank_bound(values, p=p, gamma=gamma)
    assert (answer.rank is None) is (len(values) < values_needed(p, gamma))
    if answer.rank is not None:
        assert answer.value == answer.rank - 1
        assert rank_confidence(len(values), answer.rank, p) >= gamma - 1e-9
        if answer.rank < len(values):
            assert rank_confidence(len(values), answer.rank + 1, p) < gamma + 1e-9


def test_smallest_of_fifty_nine_is_a_bound_and_of_fifty_eight_is_none():
    values = list(np.linspace(100, 130, 59))
    assert (rank_bound(values, p=0.95, gamma=0.95).rank, rank_bound(values, p=0.95, gamma=0.95).value) == (1, 100.0)
    short = rank_bound(values[:58], p=0.95, gamma=0.95)
    assert (short.rank, short.value, short.needed) == (None, None, 59)
