import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from inspection.process.attributes import NotACount, c_chart, given_rate, np_chart, p_chart, u_chart
from inspection.process.chart import ChartLimits, Judged, Kind, NotControlLimits
from inspection.process.phase import apply
from inspection.spc import NotFinite, TooFew

samples = st.lists(st.integers(1, 500).flatmap(lambda n: st.tuples(st.integers(0, n), st.just(n))), min_size=2, max_size=30)


@given(samples)
def test_share_is_weighted_by_sample_size_and_limits_stay_possible(rows):
    counts, sizes = zip(*rows, strict=True)
    chart = p_chart(counts, sizes)
    assert chart.limits.center == pytest.approx(sum(counts) / sum(sizes))
    assert np.all((chart.location.low >= 0) & (chart.location.high <= 1))
    assert np.all(chart.location.low <= chart.location.center)
    share = chart.limits.center
    for n, sigma in zip(sizes, chart.location.sigma, strict=True):
        assert sigma == pytest.approx(math.sqrt(share * (1 - share) / n), abs=1e-12)


@given(samples)
def test_numbers_and_shares_say_the_same(rows):
    counts, sizes = zip(*rows, strict=True)
    shares, numbers = p_chart(counts, sizes), np_chart(counts, sizes)
    for name in ("points", "center", "low", "high", "sigma"):
        assert getattr(shares.location, name) * np.array(sizes) == pytest.approx(getattr(numbers.location, name), abs=1e-9)
    assert shares.location.judged == numbers.location.judged


@given(st.lists(st.integers(0, 60), min_size=2, max_size=30), st.integers(1, 9))
def test_rates_of_equal_samples_are_counts_over_their_extent(counts, extent):
    rates, numbers = u_chart(counts, extent), c_chart(counts)
    for name in ("points", "center", "low", "high", "sigma"):
        assert getattr(rates.location, name) * extent == pytest.approx(getattr(numbers.location, name), abs=1e-9)


def test_limits_of_larger_samples_are_narrower():
    chart = u_chart([3, 6, 12, 25], [1, 2, 4, 8])
    assert np.all(np.diff(chart.location.high) < 0)
    assert np.all(np.diff(chart.location.low) >= 0)


def test_zones_hold_only_where_both_limits_do():
    assert c_chart([16, 14, 20, 15]).location.judged is Judged.ALL
    low = c_chart([1, 0, 2, 1]).location
    assert (low.judged, low.has_low, low.low[0]) == (Judged.SIDES, False, 0.0)


def test_no_defect_at_all_gives_a_flat_chart():
    chart = p_chart([0, 0, 0], 50)
    assert (chart.location.high[0], chart.limits.center) == (0, 0)


@pytest.mark.parametrize("counts", [[1, -1], [1, 2.5], [1, 51]])
def test_impossible_counts_are_named(counts):
    with pytest.raises(NotACount) as wrong:
        p_chart(counts, 50)
    assert wrong.value.index == 1


def test_what_makes_no_chart_is_refused():
    with pytest.raises(TooFew):
        c_chart([3])
    with pytest.raises(TooFew):
        p_chart([3, 4, 5], [50, 60])
    with pytest.raises(NotACount):
        u_chart([3, 4], [0, 1])
    with pytest.raises(NotFinite):
        c_chart([3, math.nan])


def test_frozen_share_charts_a_new_sample():
    limits = ChartLimits.from_text(p_chart([5, 4, 6], 100).limits.as_text())
    chart = apply(limits, [9], inspected=[400])
    assert chart.location.center[0] == pytest.approx(0.05)
    assert chart.location.points[0] == 9 / 400
    with pytest.raises(NotControlLimits):
        apply(limits, [9])
    assert apply(given_rate(Kind.C, 9.0), [20]).location.high[0] == 18
    with pytest.raises(NotControlLimits):
        given_rate(Kind.P, 1.5)
