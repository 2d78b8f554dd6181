"""Fits, bands and bounds: against statsmodels, published tolerance factors, and what the bounds promise in simulation."""

import numpy as np
import pytest
import statsmodels.api as sm
from hypothesis import given
from hypothesis import strategies as st

from inspection.process.readings import NoSpread
from inspection.process.regression import TooFewPlaces, crossing, fit_curve
from inspection.spc import NotFinite, TooFew

X = np.array([1.10, 1.10, 1.15, 1.15, 1.20, 1.20, 1.25, 1.25, 1.30, 1.30])
Y = np.array([101.0, 99.2, 118.4, 120.1, 126.3, 124.9, 121.7, 123.0, 110.2, 108.8])  # invented


def oracle(x, y, degree):
    return sm.OLS(y, np.vander(x, degree + 1, increasing=True)).fit()


@pytest.mark.parametrize("degree", [0, 1, 2, 3])
def test_fit_agrees_with_statsmodels(degree):
    curve, ols = fit_curve(X, Y, degree), oracle(X, Y, degree)
    grid = np.linspace(1.05, 1.35, 13)
    rows = np.vander(grid, degree + 1, increasing=True)
    assert curve.at(grid) == pytest.approx(ols.predict(rows), rel=1e-9)
    assert curve.s == pytest.approx(np.sqrt(ols.mse_resid), rel=1e-9)
    low, high = curve.mean_band(grid, 0.90)
    band = ols.get_prediction(rows).conf_int(alpha=0.10)
    assert np.column_stack([low, high]) == pytest.approx(band, rel=1e-7)
    if degree:
        assert curve.r_squared == pytest.approx(ols.rsquared)


def test_lack_of_fit_compares_the_curve_with_the_means_at_each_height():
    line, full = oracle(X, Y, 1), sm.OLS(Y, np.array([[x == place for place in np.unique(X)] for x in X], dtype=float)).fit()
    f, p, _df = full.compare_f_test(line)
    curve = fit_curve(X, Y, 1)
    assert (curve.lack_of_fit_f, curve.lack_of_fit_p) == pytest.approx((f, p))
    assert fit_curve(X[::2], Y[::2], 1).lack_of_fit_f is None


@pytest.mark.parametrize(("n", "k"), [(10, 2.9110), (20, 2.3960), (30, 2.2198), (50, 2.0650)])
def test_bound_without_a_slope_is_the_one_sided_tolerance_limit(n, k):
    # One-sided 95/95 factors of the normal distribution, as usual tables print them (e.g. NIST/SEMATECH e-Handbook 7.2.6.3 for the method).
    y = np.random.default_rng(n).normal(size=n)
    curve = fit_curve(np.zeros(n), y, 0)
    bound = curve.piece_bound([0.0], 0.95, 0.95, lower=True)[0]
    assert (y.mean() - bound) / y.std(ddof=1) == pytest.approx(k, abs=5e-5)


def test_bound_holds_back_the_share_it_promises_with_its_confidence():
    rng, kept, runs = np.random.default_rng(7), 0, 600
    x = np.repeat(np.linspace(1.1, 1.3, 5), 4)
    at, true = 1.27, 40 + 30 * 1.27
    for _ in range(runs):
        curve = fit_curve(x, 40 + 30 * x + rng.normal(0, 2, x.size), 1)
        bound = curve.piece_bound([at], 0.9, 0.95, lower=True)[0]
        kept += (true - bound) / 2 >= 1.2815515655  # the 90 % point: at least nine in ten pieces lie above the bound
    assert kept / runs == pytest.approx(0.95, abs=0.03)  # three standard errors of 600 runs are 0.027


@given(st.floats(-50, 50), st.floats(0.5, 20), st.integers(1, 3))
def test_bounds_move_and_stretch_with_the_values(shift, stretch, degree):
    plain, moved = fit_curve(X, Y, degree), fit_curve(X, shift + stretch * Y, degree)
    grid = np.linspace(1.1, 1.3, 7)
    for lower in (True, False):
        a, b = plain.piece_bound(grid, 0.99, 0.95, lower=lower), moved.piece_bound(grid, 0.99, 0.95, lower=lower)
        assert b == pytest.approx(shift + stretch * a, rel=1e-7, abs=1e-7)


def test_bound_lies_further_out_for_more_pieces_and_more_confidence():
    curve = fit_curve(X, Y, 2)
    bounds = [curve.piece_bound([1.2], s, c, lower=True)[0] for s, c in ((0.9, 0.9), (0.99, 0.9), (0.99, 0.95), (0.999, 0.99))]
    assert bounds == sorted(bounds, reverse=True)


def test_crossing_has_the_ends_at_which_the_band_reaches_the_level():
    line = fit_curve(X, 30 - 10 * X + np.tile([0.05, -0.05], 5), 1)
    found = crossing(line, 16.0, 0.95)
    low, high = line.mean_band([found.low, found.high], 0.95)
    assert found.at == pytest.approx(1.4)
    assert (low[0], high[1]) == pytest.approx((16.0, 16.0), abs=1e-6) or (high[0], low[1]) == pytest.approx((16.0, 16.0), abs=1e-6)


def test_line_without_a_slope_crosses_nowhere():
    assert crossing(fit_curve(X, np.tile([1.0, -1.0], 5), 1), 5.0) is None


def test_what_cannot_be_fitted_is_refused():
    with pytest.raises(TooFew):
        fit_curve([1, 2, 3], [1, 2, 3], 1)
    with pytest.raises(TooFewPlaces):
        fit_curve([1, 1, 1, 2, 2, 2], [1, 2, 3, 4, 5, 6], 2)
    with pytest.raises(NoSpread):
        fit_curve([1] * 6, [1, 2, 3, 4, 5, 6], 1)
    with pytest.raises(NotFinite):
        fit_curve([1, 2, 3, 4, float("nan")], [1, 2, 3, 4, 5], 1)
    with pytest.raises(ValueError, match="degree"):
        fit_curve(X, Y, 5)
    with pytest.raises(ValueError, match="straight"):
        crossing(fit_curve(X, Y, 2), 1.0)
