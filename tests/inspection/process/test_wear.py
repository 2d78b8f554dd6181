"""Tool wear: drift, replacements and forecast, against statsmodels and against data made with a known drift."""

import numpy as np
import pytest
import statsmodels.api as sm
from hypothesis import given
from hypothesis import strategies as st

from inspection.process.readings import NoSpread
from inspection.process.wear import wear
from inspection.spc import NotFinite, TooFew

COUNTS = np.arange(1000.0, 41_000.0, 1000.0)


def made(slope=1e-6, noise=0.002, jump=0.0, cut=None, seed=3):
    values = 1.40 + slope * COUNTS + np.random.default_rng(seed).normal(0, noise, COUNTS.size)
    if cut is not None:
        values[cut < COUNTS] += jump
    return values


def test_slope_and_its_interval_agree_with_statsmodels():
    values, cut = made(jump=-0.03, cut=20_000), 20_000
    answer = wear(COUNTS, values, replaced_at=[cut], confidence=0.90)
    after = (cut < COUNTS).astype(float)
    ols = sm.OLS(values, np.column_stack([1 - after, after, COUNTS])).fit()
    assert answer.slope == pytest.approx(ols.params[2], rel=1e-6)
    assert (answer.slope_low, answer.slope_high) == pytest.approx(tuple(ols.conf_int(alpha=0.10)[2]), rel=1e-5)
    assert answer.p == pytest.approx(ols.pvalues[2], rel=1e-4)
    assert answer.jump == pytest.approx(ols.params[1] - ols.params[0], rel=1e-6)
    contrast = ols.t_test([-1, 1, 0]).conf_int(alpha=0.10)[0]
    assert answer.jump_interval == pytest.approx(tuple(contrast), rel=1e-5)


def test_one_slope_for_all_stretches_is_tested():
    values = made(jump=-0.03, cut=20_000)
    after = (COUNTS > 20_000).astype(float)
    one = sm.OLS(values, np.column_stack([1 - after, after, COUNTS])).fit()
    own = sm.OLS(values, np.column_stack([1 - after, after, (1 - after) * COUNTS, after * COUNTS])).fit()
    assert wear(COUNTS, values, replaced_at=[20_000]).same_slope_p == pytest.approx(own.compare_f_test(one)[1], rel=1e-4)


def test_drift_is_found_and_the_limit_forecast_in_its_interval():
    answer = wear(COUNTS, made(), limits=[("upper limit", 1.45), ("lower limit", 1.35)])
    assert answer.drifts
    (forecast,) = answer.forecasts  # the drift leads up: the lower limit is never reached
    assert forecast.what == "upper limit"
    assert forecast.low < 50_000 < forecast.high  # 1.40 + 1e-6 x 50,000 = 1.45
    assert not forecast.passed


def test_forecast_interval_covers_the_true_count_as_often_as_it_says():
    hits = 0
    for seed in range(400):
        answer = wear(COUNTS, made(seed=seed), limits=[("upper", 1.45)])
        forecast = answer.forecasts[0]
        hits += forecast.low <= 50_000 <= forecast.high
    assert hits / 400 == pytest.approx(0.95, abs=0.033)  # three standard errors


def test_without_drift_there_is_no_forecast():
    answer = wear(COUNTS, made(slope=0.0), limits=[("upper", 1.45)])
    assert (answer.drifts, answer.forecasts) == (False, ())


def test_limit_passed_already_is_said():
    answer = wear(COUNTS, made(slope=2e-6), limits=[("upper", 1.45)])
    assert answer.forecasts[0].passed
    assert answer.forecasts[0].at_count < COUNTS.max()


def test_replacement_begins_a_stretch_of_its_own_and_the_forecast_starts_there():
    values = made(jump=-0.030, cut=30_000)
    answer = wear(COUNTS, values, replaced_at=[30_000, 99_000], limits=[("upper", 1.45)])
    assert [(s.first, s.last) for s in answer.stretches] == [(0, 29), (30, 39)]
    assert answer.jump == pytest.approx(-0.030, abs=0.004)
    assert answer.forecasts[0].at_count == pytest.approx(80_000, rel=0.1)  # 1.37 + 1e-6 x 80,000 = 1.45


@given(st.floats(0.1, 10), st.floats(-5, 5), st.floats(100, 1e6))
def test_answer_moves_with_the_unit_of_the_readings_and_the_start_of_the_counter(stretch, shift, start):
    values = made(jump=-0.03, cut=20_000)
    plain = wear(COUNTS, values, replaced_at=[20_000], limits=[("upper", 1.45)])
    moved = wear(COUNTS + start, shift + stretch * values, replaced_at=[20_000 + start], limits=[("upper", shift + stretch * 1.45)])
    assert moved.slope == pytest.approx(stretch * plain.slope, rel=1e-6)
    assert moved.forecasts[0].at_count - start == pytest.approx(plain.forecasts[0].at_count, rel=1e-5)


def test_what_carries_no_answer_is_refused():
    with pytest.raises(TooFew):
        wear(COUNTS[:9], made()[:9])
    with pytest.raises(TooFew):
        wear(COUNTS[:10], made()[:10], replaced_at=[1500, 2500, 3500, 4500, 5500, 6500, 7500])
    with pytest.raises(NoSpread):
        wear([5.0] * 12, list(made()[:12]))
    with pytest.raises(NotFinite):
        wear(COUNTS, [float("inf"), *made()[1:]])
    with pytest.raises(ValueError, match="counts"):
        wear(COUNTS, made()[1:])
