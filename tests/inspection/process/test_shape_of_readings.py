import itertools
import math
import statistics

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats
from statsmodels.sandbox.stats.runs import runstest_1samp
from statsmodels.stats.diagnostic import normal_ad

from inspection.process.histogram import histogram
from inspection.process.normality import anderson_darling, normality, probability_plot, shapiro_wilk
from inspection.process.readings import NoSpread
from inspection.process.runs import _as_long, _coin, runs_test
from inspection.spc import NotFinite, TooFew


@pytest.mark.parametrize("n", [8, 20, 100, 1000])
@pytest.mark.parametrize("law", ["normal", "uniform", "exponential"])
def test_anderson_darling_agrees_with_statsmodels(n, law):
    values = getattr(np.random.default_rng(n), law)(size=n)
    statistic, p_value = normal_ad(values)
    ours = anderson_darling(values)
    assert (ours.statistic, ours.p_value) == pytest.approx((statistic, p_value), rel=1e-8, abs=1e-12)


def test_shapiro_wilk_is_scipys_and_does_not_mind_the_unit():
    values = np.random.default_rng(1).normal(1.40, 0.002, 50)
    assert shapiro_wilk(values).p_value == pytest.approx(stats.shapiro(values * 1000).pvalue, rel=1e-6)


def test_tests_that_do_not_hold_for_the_number_of_values_are_left_out():
    draw = np.random.default_rng(1)
    assert [test.name for test in normality(draw.normal(size=5))] == ["Shapiro-Wilk"]
    assert [test.name for test in normality(draw.normal(size=50))] == ["Anderson-Darling", "Shapiro-Wilk"]
    assert [test.name for test in normality(draw.normal(size=5001))] == ["Anderson-Darling"]
    with pytest.raises(ValueError, match="5000"):
        shapiro_wilk(draw.normal(size=5001))
    with pytest.raises(TooFew):
        anderson_darling([1.0] * 7)
    for test in (anderson_darling, shapiro_wilk, probability_plot):
        with pytest.raises(NoSpread):
            test([1.4] * 10)
        with pytest.raises(NotFinite):
            test([1.4, math.nan, *range(10)])


def test_p_value_never_leaves_its_range_and_falls_with_the_distance():
    draw = np.random.default_rng(2)
    samples = [draw.normal(size=30) ** power for power in (1, 3, 5, 9)]
    p_values = [anderson_darling(sample).p_value for sample in samples]
    assert all(0 <= p <= 1 for p in p_values)
    assert p_values == sorted(p_values, reverse=True)


def test_probability_plot_of_a_normal_sample_follows_its_line():
    values = np.random.default_rng(3).normal(1.40, 0.01, 200)
    plot = probability_plot(values)
    assert list(plot.values) == sorted(values)
    assert plot.quantiles[99] == pytest.approx(-plot.quantiles[100])
    assert np.corrcoef(plot.values, plot.quantiles)[0, 1] > 0.99
    assert ((plot.low <= plot.values) & (plot.values <= plot.high)).mean() > 0.85
    assert np.all(plot.low < plot.high)


def test_probability_plot_of_many_values_keeps_both_ends():
    values = np.random.default_rng(3).normal(size=50_000)
    plot = probability_plot(values, most=500)
    assert len(plot.values) <= 500
    assert list(plot.values[:10]) == sorted(values)[:10]
    assert list(plot.values[-10:]) == sorted(values)[-10:]


def arrangements(above, below):
    for places in itertools.combinations(range(above + below), above):
        yield [1 if i in places else -1 for i in range(above + below)]


@pytest.mark.parametrize(("above", "below"), [(1, 1), (3, 4), (5, 5), (2, 7), (6, 4)])
def test_chances_of_runs_agree_with_every_arrangement(above, below):
    counted, longest = [], []
    for row in arrangements(above, below):
        lengths = [len(list(run)) for _, run in itertools.groupby(row)]
        counted.append(len(lengths))
        longest.append(max(lengths))
    for row in itertools.islice(arrangements(above, below), 0, None, 7):
        found = runs_test(row, center=0)
        assert found.p_few == pytest.approx(sum(c <= found.runs for c in counted) / len(counted))
        assert found.p_many == pytest.approx(sum(c >= found.runs for c in counted) / len(counted))
        assert found.p_longest == pytest.approx(sum(long >= found.longest for long in longest) / len(longest))
        assert found.expected == pytest.approx(statistics.fmean(counted))


def test_number_of_runs_agrees_with_statsmodels_for_many_values():
    values = np.random.default_rng(5).normal(size=2000)
    values[:1000] += 0.3
    _, p_value = runstest_1samp(values, cutoff="median", correction=False)
    found = runs_test(values)
    assert 2 * min(found.p_few, found.p_many) == pytest.approx(p_value, rel=0.1)


def test_longest_run_of_a_coin_agrees_with_every_toss_and_with_the_exact_count():
    for length in (2, 3, 5):
        rows = list(itertools.product((0, 1), repeat=9))
        long = sum(max(len(list(run)) for _, run in itertools.groupby(row)) >= length for row in rows)
        assert _coin(9, length) == pytest.approx(long / len(rows))
    # With the numbers on either side fixed, a long run is a little less likely than with free tosses.
    assert 0.9 * _coin(1000, 13) < _as_long(500, 500, 13) < _coin(1000, 13)


def test_drift_gives_few_and_long_runs_and_over_adjustment_many():
    drift = runs_test([1.40 + i / 1000 for i in range(20)])
    assert (drift.runs, drift.longest) == (2, 10)
    assert drift.p_few < 0.001
    assert drift.p_longest < 0.001
    sawtooth = runs_test([1.39, 1.41] * 10)
    assert (sawtooth.runs, sawtooth.longest, sawtooth.p_longest) == (20, 1, 1.0)
    assert sawtooth.p_many < 0.001
    with pytest.raises(TooFew):
        runs_test([1.4, 1.4, 1.4])


readings = st.lists(st.integers(1000, 1500), min_size=1, max_size=200)


@given(readings)
def test_every_reading_falls_into_one_bin_between_steps(steps):
    values = [step / 1000 for step in steps]
    found = histogram(values, resolution=0.001)
    assert found.counts.sum() == len(values)
    assert found.edges[0] < min(values)
    assert found.edges[-1] > max(values)
    assert len(found.edges) == len(found.counts) + 1 <= 61
    # Edges halfway between steps: no reading stands on one, whatever the last digit of a double says.
    assert np.abs(found.edges * 1000 - np.floor(found.edges * 1000) - 0.5).max() < 1e-6
    by_edges = np.histogram(values, bins=found.edges)[0]
    assert list(found.counts) == list(by_edges)


@given(st.lists(st.floats(-1e3, 1e3), min_size=1, max_size=200))
def test_bins_without_a_resolution_hold_every_reading(values):
    found = histogram(values)
    assert found.counts.sum() == len(values)
    assert 1 <= len(found.counts) <= 60


def test_width_is_that_of_freedman_and_diaconis():
    values = np.random.default_rng(6).normal(size=1000)
    expected = 2 * (np.quantile(values, 0.75) - np.quantile(values, 0.25)) / 10
    assert histogram(values).width == pytest.approx(expected, rel=0.1)


def test_coarse_gauge_leaves_no_gaps():
    # A gauge of 0.005 on readings that scatter by 0.01: bins of a finer width would be empty every other time.
    values = np.round(np.random.default_rng(7).normal(1.40, 0.01, 2000) / 0.005) * 0.005
    found = histogram(values, resolution=0.005)
    assert (found.counts[2:-2] > 0).all()
    with pytest.raises(ValueError, match="resolution"):
        histogram(values, resolution=0.0)
