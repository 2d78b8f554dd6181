import json
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from inspection import spc
from inspection.process.chart import ChartLimits, Kind, NotControlLimits, PartScale, Place
from inspection.process.charts import given_limits, individuals_chart, run_chart, sigma_from_limits, xbar_r_chart, xbar_s_chart
from inspection.process.constants import c4, constants, d2, d3
from inspection.process.phase import apply
from inspection.process.readings import mean, standard_deviation, subgroups
from inspection.process.run_rules import nelson, signals
from inspection.process.sigma import Estimator, moving_ranges, sigma_moving_range, sigma_within
from inspection.spc import NotFinite, TooFew

reading = st.floats(-1e4, 1e4, allow_nan=False).map(lambda x: round(x, 3))
row = st.lists(reading, min_size=2, max_size=40)
table = st.integers(2, 9).flatmap(lambda n: st.lists(st.lists(reading, min_size=n, max_size=n), min_size=2, max_size=12))
ragged = st.lists(st.lists(reading, min_size=2, max_size=7), min_size=2, max_size=12)


def close(a, b, scale=1.0, rel=1e-9):
    return np.allclose(a, b, rtol=rel, atol=1e-9 * max(scale, 1e-3))


@given(row)
def test_mean_and_deviation_agree_with_the_small_set_statistics(values):
    scale = max(map(abs, values))
    assert close(mean(values), spc.mean(values), scale)
    assert close(standard_deviation(values), spc.standard_deviation(values), scale)


@given(row)
def test_individuals_chart_agrees_with_the_small_set_chart(values):
    ours, small = individuals_chart(values), spc.individuals_chart(values)
    scale = max(map(abs, values))
    for a, b in ((ours.location.center, small.center), (ours.location.low, small.low), (ours.location.high, small.high)):
        assert close(a, b, scale)
    assert close(ours.spread.center, small.mr_bar, scale)
    assert close(ours.spread.high, small.mr_high, scale)
    assert close(ours.limits.sigma, small.sigma, scale)


@given(st.lists(st.integers(-400, 400).map(lambda x: 1.4 + x / 1000), min_size=2, max_size=40))
def test_points_beyond_limits_agree_with_the_small_set_chart(values):
    ours, small = individuals_chart(values), spc.individuals_chart(values)
    ((location,), (moving,)) = (signals(panel, nelson(1)) for panel in ours.panels)
    assert tuple(location.at) == small.beyond
    assert tuple(ours.spread.samples[moving.at]) == small.mr_beyond


@given(table)
def test_mean_and_range_chart_agrees_with_the_small_set_chart(groups):
    ours, small = xbar_r_chart(groups), spc.xbar_r_chart(groups)
    scale = max(abs(x) for group in groups for x in group)
    assert close(ours.location.points, small.means, scale)
    assert close(ours.spread.points, small.ranges, scale)
    for a, b in ((ours.location.center, small.center), (ours.location.low, small.low), (ours.location.high, small.high)):
        assert close(a, b, scale)
    assert close(ours.spread.center, small.r_bar, scale)
    # The plain-Python d3 of three values is off in the eighth decimal.
    assert close(ours.spread.low, small.r_low, scale, 1e-7)
    assert close(ours.spread.high, small.r_high, scale, 1e-7)


@pytest.mark.parametrize("n", [2, 4, 5, 8, 25, 100, 1000])
def test_constants_agree_with_the_small_set_ones(n):
    assert d2(n) == pytest.approx(spc.d2(n), rel=1e-12)
    assert d3(n) == pytest.approx(spc.d3(n), rel=1e-9)


def test_constants_of_huge_subgroups_are_sensible():
    # Extremes of n normal values: the range settles, slowly, and its scatter shrinks; c4 follows 1 - 1/(4n).
    sizes = [1000, 10_000, 100_000, 1_000_000]
    assert [d2(n) for n in sizes] == sorted(d2(n) for n in sizes)
    assert [d3(n) for n in sizes] == sorted((d3(n) for n in sizes), reverse=True)
    assert d2(1_000_000) < 2 * math.sqrt(2 * math.log(1_000_000))
    assert c4(1001) == pytest.approx(spc.c4(1001), rel=1e-11)
    assert 1 - c4(10**9) == pytest.approx(2.5e-10, rel=1e-6)
    k = constants(100)
    assert 0 < k.b3 < 1 < k.b4
    assert 0 < k.big_d3 < 1 < k.big_d4
    for constant in (d2, d3, c4):
        with pytest.raises(ValueError, match="1"):
            constant(1)


def test_range_constants_agree_with_simulated_ranges():
    draws = np.random.default_rng(8).standard_normal((200_000, 7))
    ranges = np.ptp(draws, axis=1)
    assert ranges.mean() == pytest.approx(d2(7), abs=0.01)
    assert ranges.std() == pytest.approx(d3(7), abs=0.01)


@given(ragged, st.integers(-1000, 1000), st.integers(1, 50))
def test_limits_shift_and_scale_with_the_readings(groups, shift, factor):
    moved = [[x * factor + shift for x in group] for group in groups]
    scale = 1e4 * factor
    for chart in (xbar_r_chart, xbar_s_chart):
        here, there = chart(groups), chart(moved)
        for name in ("points", "center", "low", "high"):
            assert close(getattr(here.location, name) * factor + shift, getattr(there.location, name), scale)
            assert close(getattr(here.spread, name) * factor, getattr(there.spread, name), scale)


@given(ragged, st.randoms(use_true_random=False))
def test_order_of_subgroups_and_inside_them_does_not_move_limits(groups, random):
    mixed = [random.sample(group, len(group)) for group in groups]
    random.shuffle(mixed)
    for by, chart in ((Estimator.RANGE, xbar_r_chart), (Estimator.DEVIATION, xbar_s_chart), (Estimator.POOLED, xbar_s_chart)):
        here, there = chart(groups, sigma_by=by).limits, chart(mixed, sigma_by=by).limits
        assert close([here.center, here.sigma], [there.center, there.sigma], 1e4)


@given(ragged)
def test_mirrored_readings_have_mirrored_limits(groups):
    here, there = xbar_s_chart(groups).location, xbar_s_chart([[-x for x in group] for group in groups]).location
    assert close(here.low, -there.high, 1e4)
    assert close(here.high, -there.low, 1e4)


@given(ragged)
def test_limits_of_larger_subgroups_are_narrower(groups):
    chart = xbar_s_chart(groups)
    sizes = np.array([len(group) for group in groups])
    width = chart.location.high - chart.location.low
    order = np.argsort(sizes, kind="stable")
    assert np.all(np.diff(width[order]) <= 1e-9)
    assert close(chart.location.sigma * np.sqrt(sizes), chart.limits.sigma)
    assert close(chart.location.center, np.mean([x for group in groups for x in group]), 1e4)


def test_unequal_subgroups_keep_their_own_limits_and_one_of_one_has_no_range():
    groups = [[1.40, 1.42, 1.41], [1.43], [1.39, 1.41], [1.40, 1.44, 1.42, 1.41]]
    chart = xbar_r_chart(groups)
    assert list(chart.spread.samples) == [0, 2, 3]
    assert list(chart.location.samples) == [0, 1, 2, 3]
    sigma = chart.limits.sigma
    assert chart.spread.center == pytest.approx([d2(3) * sigma, d2(2) * sigma, d2(4) * sigma])
    assert chart.location.high[1] - chart.limits.center == pytest.approx(3 * sigma)
    # Each range over its own d2, weighted by the inverse of its variance.
    ranges, sizes = [0.02, 0.02, 0.04], [3, 2, 4]
    weights = [(d2(n) / d3(n)) ** 2 for n in sizes]
    expected = sum(w * r / d2(n) for w, r, n in zip(weights, ranges, sizes, strict=True)) / sum(weights)
    assert sigma == pytest.approx(expected, rel=1e-12)


def test_estimators_agree_with_the_sigma_behind_many_readings():
    draws = np.random.default_rng(5).normal(10, 0.5, (4000, 5))
    for by in (Estimator.RANGE, Estimator.DEVIATION, Estimator.POOLED):
        assert sigma_within(subgroups(draws), by).value == pytest.approx(0.5, rel=0.02)
    assert sigma_moving_range(moving_ranges(draws.ravel())).value == pytest.approx(0.5, rel=0.02)


def test_degrees_of_freedom_match_the_scatter_of_each_estimator():
    draws = np.random.default_rng(6).standard_normal((4000, 10, 4))
    for by, reduce in (
        (Estimator.RANGE, lambda x: np.ptp(x, axis=2).mean(axis=1) / d2(4)),
        (Estimator.DEVIATION, lambda x: x.std(axis=2, ddof=1).mean(axis=1) / c4(4)),
        (Estimator.POOLED, lambda x: np.sqrt((x.var(axis=2, ddof=1)).mean(axis=1))),
    ):
        sigmas = reduce(draws)
        degrees = sigma_within(subgroups(draws[0]), by).degrees
        assert sigmas.std() / sigmas.mean() == pytest.approx(1 / math.sqrt(2 * degrees), rel=0.05)
    moving = np.abs(np.diff(draws.reshape(4000, 40), axis=1)).mean(axis=1)
    degrees = sigma_moving_range(moving_ranges(draws[0].ravel())).degrees
    assert moving.std() / moving.mean() == pytest.approx(1 / math.sqrt(2 * degrees), rel=0.05)


def test_frozen_limits_survive_as_text_and_chart_new_readings_as_the_old():
    old = [[1.40, 1.42, 1.41], [1.43, 1.40, 1.41], [1.39, 1.41, 1.42]]
    frozen = json.dumps(xbar_r_chart(old).limits.as_text())
    limits = ChartLimits.from_text(json.loads(frozen))
    assert limits == xbar_r_chart(old).limits
    chart = apply(limits, [[1.50, 1.51, 1.52]])
    assert len(chart.location) == 1
    assert chart.location.high[0] == xbar_r_chart(old).location.high[0]
    assert [list(found.at) for found in signals(chart.location, nelson(1))] == [[0]]


@given(
    st.sampled_from([Kind.INDIVIDUALS, Kind.XBAR_S]),
    reading,
    st.floats(1e-9, 1e6),
    st.lists(st.tuples(st.text(min_size=1, max_size=5), reading), max_size=3, unique_by=lambda part: part[0]),
)
def test_limits_read_back_what_they_wrote(kind, center, sigma, parts):
    limits = ChartLimits(kind, center, sigma, parts=tuple(PartScale(name, nominal, sigma) for name, nominal in parts))
    assert ChartLimits.from_text(json.loads(json.dumps(limits.as_text()))) == limits


@pytest.mark.parametrize(
    "wrong", [{"center": "nan"}, {"sigma": "-1.0"}, {"kind": "x"}, {"reach": "0"}, {"steady": "perhaps"}, {"parts": [["a"]]}]
)
def test_text_that_is_no_limits_is_refused(wrong):
    text = given_limits(Kind.INDIVIDUALS, 1.4, 0.01).as_text()
    with pytest.raises(NotControlLimits):
        ChartLimits.from_text(text | wrong)
    with pytest.raises(NotControlLimits):
        ChartLimits.from_text({})


def test_given_limits_stand_where_they_were_stated():
    center, sigma = sigma_from_limits(1.385, 1.415, 4)
    chart = xbar_r_chart([[1.40, 1.41, 1.40, 1.39]], given_limits(Kind.XBAR_R, center, sigma))
    assert (chart.location.low[0], chart.location.high[0]) == pytest.approx((1.385, 1.415))
    with pytest.raises(NotControlLimits):
        sigma_from_limits(1.415, 1.385)
    with pytest.raises(NotControlLimits):
        given_limits(Kind.XBAR_R, 1.4, 0.0)
    with pytest.raises(NotControlLimits):
        individuals_chart([1.4, 1.5], given_limits(Kind.XBAR_R, 1.4, 0.1))


def test_live_moving_range_reaches_back_to_the_reading_before():
    limits = given_limits(Kind.INDIVIDUALS, 1.40, 0.01)
    alone = individuals_chart([1.41], limits)
    assert (len(alone.panels), alone.spread) == (1, None)
    joined = individuals_chart([1.41, 1.40], limits, before=1.38)
    assert joined.spread.points == pytest.approx([0.03, 0.01])
    assert list(joined.spread.samples) == [0, 1]


def test_run_chart_has_a_median_and_no_limits():
    chart = run_chart([3.0, 1.0, 2.0, 9.0, 2.5])
    assert (chart.limits.center, chart.location.low, chart.location.high, chart.location.zone(1)) == (2.5, None, None, None)
    found = {each.rule.code: each.applies for each in signals(chart.location, nelson())}
    assert [code for code, applies in found.items() if applies] == ["nelson.2", "nelson.3", "nelson.4"]


def test_zones_lie_one_and_two_sigma_from_the_centre_where_they_mean_something():
    chart = individuals_chart([1.40, 1.42, 1.41, 1.43, 1.40])
    low, high = chart.location.zone(2)
    assert high - chart.location.center == pytest.approx(2 / 3 * (chart.location.high - chart.location.center))
    assert low[0] < chart.location.zone(1)[0][0]
    assert chart.spread.zone(1) is None
    assert (chart.spread.place, chart.spread.has_low, chart.location.has_low) == (Place.SPREAD, False, True)


def test_readings_that_make_no_chart_are_refused():
    for act in (individuals_chart, run_chart):
        with pytest.raises(TooFew) as few:
            act([1.4])
        assert (few.value.needed, few.value.given) == (2, 1)
        with pytest.raises(NotFinite) as wrong:
            act([1.4, math.nan, 1.5])
        assert wrong.value.index == 1
    for act in (xbar_r_chart, xbar_s_chart):
        with pytest.raises(TooFew):
            act([[1.4, 1.5]])
        with pytest.raises(TooFew):
            act([[1.4, 1.5], []])
        with pytest.raises(TooFew):
            act([[1.4], [1.5]])
        with pytest.raises(NotFinite) as wrong:
            act([[1.4, 1.5], [1.4, math.inf]])
        assert wrong.value.index == 3


def test_equal_readings_have_no_spread_and_no_signal():
    for chart in (individuals_chart([1.4] * 40), xbar_r_chart([[1.4] * 3] * 40), xbar_s_chart([[1.4, 1.4], [1.4] * 5] * 20)):
        assert chart.limits.sigma == 0
        for panel in chart.panels:
            assert [len(found) for found in signals(panel, nelson())] == [0] * 8
