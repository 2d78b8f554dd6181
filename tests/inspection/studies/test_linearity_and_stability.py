import math

import numpy as np
import pandas
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats
from statsmodels.formula.api import ols
from statsmodels.stats.anova import anova_lm

from inspection.spc import NotFinite, TooFew, Uneven, individuals_chart, xbar_r_chart
from inspection.studies.confidence import NotASetting
from inspection.studies.crossed import TooSmall
from inspection.studies.linearity import linearity_study
from inspection.studies.stability import GivenLimits, stability_study

REFERENCES = (0.5, 1.0, 1.5, 2.0, 3.0)


def measured(seed, slope=0.01, offset=0.0, s=0.004, counts=(4, 4, 4, 4, 4)):
    rng = np.random.default_rng(seed)
    return [
        [round(float(v), 4) for v in x + offset + slope * (x - 1.6) + rng.normal(0, s, n)] for x, n in zip(REFERENCES, counts, strict=True)
    ]


@given(st.integers(0, 10_000), st.lists(st.integers(1, 6), min_size=5, max_size=5))
@settings(max_examples=25, deadline=None)
def test_linearity_agrees_with_statsmodels(seed, counts):
    readings = measured(seed, counts=counts)
    study = linearity_study(REFERENCES, readings)
    x = np.repeat(REFERENCES, counts)
    frame = pandas.DataFrame({"x": x, "y": np.concatenate(readings) - x})
    if len(x) < 6:
        return
    line = ols("y ~ x", frame).fit()
    assert (study.slope.value, study.intercept.value) == pytest.approx((line.params["x"], line.params["Intercept"]), abs=1e-9)
    assert (study.slope.t, study.intercept.t) == pytest.approx((line.tvalues["x"], line.tvalues["Intercept"]), rel=1e-5, abs=1e-8)
    assert (study.slope.p, study.intercept.p) == pytest.approx((line.pvalues["x"], line.pvalues["Intercept"]), rel=1e-5)
    assert study.r_squared == pytest.approx(line.rsquared, abs=1e-9)
    band = line.get_prediction(pandas.DataFrame({"x": REFERENCES})).conf_int()
    assert [(p.band.low, p.band.high) for p in study.references] == [pytest.approx(tuple(row), abs=1e-9) for row in band]
    if max(counts) > 1:
        oracle = anova_lm(line, ols("y ~ C(x)", frame).fit())
        assert study.lack_of_fit_f == pytest.approx(oracle.loc[1, "F"], rel=1e-4, abs=1e-6)
        assert study.lack_of_fit_p == pytest.approx(oracle.loc[1, "Pr(>F)"], rel=1e-4)
    else:
        assert study.lack_of_fit_f is None


@given(st.integers(0, 10_000), st.floats(-0.01, 0.01), st.floats(-0.004, 0.004))
@settings(max_examples=40, deadline=None)
def test_zero_inside_the_band_is_what_the_drawn_band_shows(seed, slope, offset):
    study = linearity_study(REFERENCES, measured(seed, slope, offset), grid=2001)
    assert study.zero_inside_band is all(point.low <= 0 <= point.high for point in study.band)


def test_each_reference_has_its_own_bias_test():
    readings = measured(4)
    study = linearity_study(REFERENCES, readings)
    for part, taken in zip(study.references, readings, strict=True):
        oracle = stats.ttest_1samp(np.array(taken) - part.reference, 0)
        assert (part.test.t, part.test.p) == pytest.approx((oracle.statistic, oracle.pvalue), rel=1e-6)


def test_linearity_is_held_against_the_spread_given():
    study = linearity_study(REFERENCES, measured(1), spread=0.1)
    assert study.linearity == pytest.approx(abs(study.slope.value) * 0.1)
    assert study.linearity_percent == pytest.approx(100 * study.linearity / 0.1)
    assert study.bias_percent == pytest.approx(100 * abs(study.mean_bias) / 0.1)
    assert linearity_study(REFERENCES, measured(1)).linearity is None


def test_references_may_come_in_any_order():
    readings = measured(2)
    forth, back = linearity_study(REFERENCES, readings), linearity_study(REFERENCES[::-1], readings[::-1])
    assert [p.reference for p in back.references] == list(REFERENCES)
    assert back.slope.value == pytest.approx(forth.slope.value, abs=1e-12)


def test_perfect_gauge_shows_no_linearity_problem():
    study = linearity_study((1.0, 2.0, 3.0), [[1.0, 1.0], [2.0, 2.0], [3.0, 3.0]])
    assert (study.s, study.slope.t, study.r_squared, study.zero_inside_band) == (0.0, None, None, True)
    assert study.few_references


def test_junk_in_a_linearity_study_is_refused():
    with pytest.raises(TooSmall):
        linearity_study((1.0, 1.0), [[1.0, 1.1], [1.0, 1.2]])
    with pytest.raises(TooFew):
        linearity_study((1.0, 2.0), [[1.0], [2.0]])
    with pytest.raises(TooFew):
        linearity_study((1.0, 2.0), [[1.0, 1.0, 1.0], []])
    with pytest.raises(NotFinite) as refused:
        linearity_study((1.0, 2.0), [[1.0, 1.1], [math.nan, 2.0]])
    assert refused.value.index == 2
    for references, readings in (((1.0,), [[1.0], [2.0]]), ((1.0, math.inf), [[1.0, 1.0], [2.0]])):
        with pytest.raises(NotASetting):
            linearity_study(references, readings)


# --- Stability -------------------------------------------------------------------------------------------------------------------

DAYS = tuple(7.0 * week for week in range(20))


def master(seed, drift=0.0, s=0.001, size=3):
    rng = np.random.default_rng(seed)
    return [[round(float(v), 4) for v in 1.4 + drift * day + rng.normal(0, s, size)] for day in DAYS]


def test_stability_chart_is_the_mean_and_range_chart():
    groups = master(1)
    study, chart = stability_study(DAYS, groups), xbar_r_chart(groups)
    assert (study.low, study.center, study.high) == (chart.low, chart.center, chart.high)
    assert (study.range_center, study.range_high) == (chart.r_bar, chart.r_high)
    assert (study.means, study.ranges, study.limits_given) == (chart.means, chart.ranges, False)


def test_single_readings_make_an_individuals_chart():
    groups = master(1, size=1)
    groups[7] = [1.42]
    study, chart = stability_study(DAYS, groups), individuals_chart([g[0] for g in groups])
    assert (study.low, study.high, study.range_high) == (chart.low, chart.high, chart.mr_high)
    assert (study.beyond, study.ranges_beyond, study.stable) == ((7,), (7, 8), False)


@given(st.integers(0, 10_000), st.floats(-0.0002, 0.0002))
@settings(max_examples=30, deadline=None)
def test_drift_agrees_with_scipy(seed, drift):
    study = stability_study(DAYS, master(seed, drift), tolerance=0.1)
    oracle = stats.linregress(DAYS, study.means)
    assert study.drift.slope.bias == pytest.approx(oracle.slope, rel=1e-7, abs=1e-12)
    assert study.drift.slope.p == pytest.approx(oracle.pvalue, rel=1e-5)
    assert study.drift.slope.standard_error == pytest.approx(oracle.stderr, rel=1e-6)
    assert study.drift.over_study == pytest.approx(oracle.slope * 133, rel=1e-7, abs=1e-10)
    assert study.drift.percent_of_tolerance == pytest.approx(abs(oracle.slope) * 133000, rel=1e-6, abs=1e-8)
    assert study.drift.slope.significant is bool(oracle.pvalue < 0.05)


def test_slow_drift_inside_the_limits_is_not_stable():
    study = stability_study(DAYS, master(3, drift=0.00001))
    assert study.beyond == ()
    assert (study.drift.slope.significant, study.stable) == (True, False)


def test_given_limits_judge_the_points():
    groups = master(1)
    limits = GivenLimits(low=1.39, center=1.4, high=1.41, range_high=0.01)
    assert stability_study(DAYS, groups, limits=limits).beyond == ()
    groups[4] = [1.412, 1.411, 1.412]
    groups[9] = [1.40, 1.4101, 1.40]
    study = stability_study(DAYS, groups, limits=limits)
    assert (study.beyond, study.ranges_beyond, study.limits_given, study.stable) == ((4,), (9,), True, False)
    assert (study.low, study.center, study.high, study.range_high) == (1.39, 1.4, 1.41, 0.01)


def test_bias_against_the_value_of_the_master():
    groups = master(6)
    study = stability_study(DAYS, groups, reference=1.399)
    oracle = stats.ttest_1samp([np.mean(group) for group in groups], 1.399)
    assert study.bias.t == pytest.approx(oracle.statistic, rel=1e-6)
    assert study.bias.significant
    assert stability_study(DAYS, groups).bias is None


def test_checks_at_one_time_have_no_drift():
    assert stability_study([0, 0, 0], [[1.0, 1.1], [1.1, 1.0], [1.0, 1.1]]).drift is None


def test_junk_in_a_stability_study_is_refused():
    groups = master(1)
    with pytest.raises(TooSmall):
        stability_study(DAYS[:2], groups[:2])
    with pytest.raises(NotASetting):
        stability_study(DAYS[:-1], groups)
    with pytest.raises(NotASetting):
        stability_study(DAYS[::-1], groups)
    with pytest.raises(Uneven):
        stability_study(DAYS, [*groups[:-1], [1.4, 1.4]])
    with pytest.raises(NotFinite):
        stability_study([*DAYS[:-1], math.nan], groups)
    with pytest.raises(NotASetting):
        GivenLimits(1.0, 1.0, 2.0, 0.1)
