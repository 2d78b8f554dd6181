import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from inspection.process import folded_normal
from inspection.process.distributions import CannotFit, Family, fit, fits
from inspection.process.readings import NoSpread
from inspection.spc import TooFew


def draws(family, n, seed=1):
    draw = np.random.default_rng(seed)
    return {
        Family.NORMAL: lambda: draw.normal(5, 1, n),
        Family.LOGNORMAL: lambda: np.exp(draw.normal(0.2, 0.6, n)),
        Family.WEIBULL: lambda: 2 * draw.weibull(1.7, n),
        Family.GAMMA: lambda: draw.gamma(2.5, 1.4, n),
        Family.HALF_NORMAL: lambda: np.abs(draw.normal(0, 0.3, n)),
        Family.FOLDED_NORMAL: lambda: np.abs(draw.normal(0.5, 0.4, n)),
        Family.LOGNORMAL_THRESHOLD: lambda: 10 + np.exp(draw.normal(0.2, 0.6, n)),
        Family.WEIBULL_THRESHOLD: lambda: 10 + 2 * draw.weibull(2.2, n),
        Family.GAMMA_THRESHOLD: lambda: 10 + draw.gamma(3.5, 1.4, n),
    }[family]()


@pytest.mark.parametrize("family", list(Family))
def test_parameters_and_tails_of_the_right_family_are_found(family):
    values = draws(family, 6000)
    found = fit(values, family)
    for share in (0.01, 0.5, 0.99):
        assert found.share_below(float(np.quantile(values, share))) == pytest.approx(share, abs=0.012)
    assert found.a_squared < 2.5
    assert found.quantile(found.share_below(values[0])) == pytest.approx(values[0], rel=1e-6)
    assert found.share_above(values[0]) == pytest.approx(1 - found.share_below(values[0]), abs=1e-12)


@pytest.mark.parametrize(
    ("family", "law", "start"),
    [
        (Family.LOGNORMAL, stats.lognorm, {"floc": 0}),
        (Family.WEIBULL, stats.weibull_min, {"floc": 0}),
        (Family.GAMMA, stats.gamma, {"floc": 0}),
        (Family.HALF_NORMAL, stats.halfnorm, {"floc": 0}),
        (Family.FOLDED_NORMAL, stats.foldnorm, {"floc": 0}),
    ],
)
def test_likelihood_is_as_large_as_what_scipy_finds(family, law, start):
    values = draws(family, 300)
    ours = fit(values, family)
    theirs = float(law.logpdf(values, *law.fit(values, **start)).sum())
    # The lognormal keeps divisor n - 1, which costs a little likelihood.
    assert ours.log_likelihood == pytest.approx(theirs, abs=2e-3)


def test_weibull_agrees_with_scipy_in_its_parameters():
    values = draws(Family.WEIBULL, 300)
    shape, _, scale = stats.weibull_min.fit(values, floc=0)
    ours = dict(fit(values, Family.WEIBULL).parameters)
    assert (ours["shape"], ours["scale"]) == pytest.approx((shape, scale), rel=1e-4)


@pytest.mark.parametrize("family", [Family.WEIBULL_THRESHOLD, Family.GAMMA_THRESHOLD, Family.LOGNORMAL_THRESHOLD])
def test_threshold_is_where_the_likelihood_is_largest_nearby(family):
    values = draws(family, 400, seed=3)
    found = fit(values, family)
    threshold = dict(found.parameters)["threshold"]
    assert threshold < values.min()
    base = {"Weibull": Family.WEIBULL, "gamma": Family.GAMMA, "lognormal": Family.LOGNORMAL}[str(family).split()[0]]
    gap = values.min() - threshold
    for other in (threshold - 0.3 * gap, threshold + 0.3 * gap):
        assert fit(values - other, base).log_likelihood < found.log_likelihood


def test_all_families_are_ranked_and_none_is_chosen():
    found = fits(draws(Family.GAMMA, 500))
    assert [each.a_squared for each in found.fitted] == sorted(each.a_squared for each in found.fitted)
    assert {each.family for each in found.fitted} | {why.family for why in found.refused} == set(Family)
    assert found.fitted[0].family in (Family.GAMMA, Family.GAMMA_THRESHOLD, Family.WEIBULL_THRESHOLD)


def test_families_that_the_readings_do_not_allow_are_named_with_the_reason():
    found = fits([-0.5, *np.random.default_rng(1).normal(3, 1, 15)])
    refused = {why.family: why.reason for why in found.refused}
    assert "above zero" in refused[Family.WEIBULL]
    assert "negative" in refused[Family.HALF_NORMAL]
    assert "30" in refused[Family.WEIBULL_THRESHOLD]
    with pytest.raises(CannotFit) as why:
        found[Family.GAMMA]
    assert why.value.family is Family.GAMMA
    # An exponential sample crowds its end: the likelihood of a threshold Weibull has no maximum there.
    crowded = 1 + np.random.default_rng(2).exponential(1, 200)
    assert Family.WEIBULL_THRESHOLD in {why.family for why in fits(crowded).refused}


@given(st.integers(1, 40), st.sampled_from([Family.LOGNORMAL, Family.WEIBULL, Family.GAMMA, Family.HALF_NORMAL, Family.FOLDED_NORMAL]))
def test_fits_scale_with_the_unit(factor, family):
    values = draws(Family.WEIBULL, 60)
    here, there = fit(values, family), fit(values * factor, family)
    assert there.quantile(0.99) == pytest.approx(factor * here.quantile(0.99), rel=1e-5)
    assert there.a_squared == pytest.approx(here.a_squared, abs=1e-4)


def test_p_values_reject_the_wrong_family_and_keep_their_promise():
    draw = np.random.default_rng(9)
    rejected = sum(fit(draw.weibull(1.7, 40), Family.WEIBULL).p_value < 0.05 for _ in range(600))
    assert rejected / 600 == pytest.approx(0.05, abs=0.03)
    rejected = sum(fit(np.exp(draw.normal(size=40)), Family.LOGNORMAL).p_value < 0.05 for _ in range(600))
    assert rejected / 600 == pytest.approx(0.05, abs=0.03)
    assert fit(draws(Family.LOGNORMAL, 500), Family.NORMAL).p_value < 1e-6
    assert fit(draws(Family.GAMMA, 500), Family.GAMMA).p_value is None


def test_zero_readings_of_a_half_normal_are_rounded_small_ones():
    values = np.round(draws(Family.HALF_NORMAL, 200), 2)
    assert (values == 0).any()
    assert math.isfinite(fit(values, Family.HALF_NORMAL).a_squared)


def test_density_integrates_to_one():
    found = fit(draws(Family.GAMMA, 200), Family.GAMMA)
    grid = np.linspace(0, 60, 6001)
    assert np.trapezoid(found.density(grid), grid) == pytest.approx(1, abs=1e-4)


def test_readings_that_fit_nothing_are_refused():
    with pytest.raises(TooFew):
        fits([1.0, 2.0, 3.0])
    with pytest.raises(NoSpread):
        fit([1.4] * 20, Family.NORMAL)


@pytest.mark.parametrize(("mean", "sigma"), [(0.0, 1.0), (0.5, 0.4), (1.4, 0.002)])
def test_folded_normal_agrees_with_scipy(mean, sigma):
    shares = np.array([0.00135, 0.2, 0.5, 0.9, 0.99865])
    values = stats.foldnorm.ppf(shares, mean / sigma, 0, sigma)
    assert folded_normal.ppf(shares, mean, sigma) == pytest.approx(values, rel=1e-9)
    assert folded_normal.cdf(values, mean, sigma) == pytest.approx(shares, abs=1e-10)
    assert folded_normal.sf(values, mean, sigma) == pytest.approx(1 - shares, abs=1e-10)
    assert folded_normal.pdf(values, mean, sigma) == pytest.approx(stats.foldnorm.pdf(values, mean / sigma, 0, sigma), rel=1e-9)


def test_folded_normal_far_from_zero_is_the_normal():
    values = np.random.default_rng(3).normal(1.40, 0.002, 200)
    ours = dict(fit(values, Family.FOLDED_NORMAL).parameters)
    assert (ours["mean"], ours["sigma"]) == pytest.approx((values.mean(), values.std()), rel=1e-5)
