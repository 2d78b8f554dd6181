import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from inspection.process.chart import ChartLimits, Kind, NotControlLimits
from inspection.process.memory import change_before, cusum_chart, ewma_chart, one_sided_sums
from inspection.process.phase import apply
from inspection.process.run_rules import chart_signals, nelson
from inspection.spc import TooFew

reading = st.floats(-100, 100).map(lambda x: round(x, 3))
rows = st.lists(reading, min_size=2, max_size=60)


@given(rows, st.sampled_from([0.05, 0.2, 0.4, 1.0]))
def test_weighted_mean_follows_its_recursion_and_its_error(values, weight):
    chart = ewma_chart(values, weight=weight, target=1.0, sigma=2.0)
    z, variance = 1.0, 0.0
    for i, x in enumerate(values):
        z = weight * x + (1 - weight) * z
        variance = weight**2 * 4 + (1 - weight) ** 2 * variance
        assert chart.location.points[i] == pytest.approx(z, abs=1e-9)
        assert chart.location.sigma[i] == pytest.approx(np.sqrt(variance), rel=1e-9)


def test_weight_of_one_is_the_chart_of_single_values():
    chart = ewma_chart([1.0, 4.0, 2.0], weight=1.0, target=2.0, sigma=0.5)
    assert list(chart.location.points) == [1.0, 4.0, 2.0]
    assert list(chart.location.high) == [3.5] * 3


@given(st.lists(reading, min_size=1, max_size=300), st.floats(0, 50))
def test_sums_follow_their_recursion(steps, start):
    total, expected = start, []
    for step in steps:
        total = max(0.0, total + step)
        expected.append(total)
    assert one_sided_sums(np.array(steps), start) == pytest.approx(expected, abs=1e-9)


def test_sums_of_a_long_series_stay_exact():
    steps = np.random.default_rng(2).normal(-0.5, 1, 30_000)
    total, expected = 0.0, np.empty(steps.size)
    for i, step in enumerate(steps):
        total = max(0.0, total + step)
        expected[i] = total
    assert np.abs(one_sided_sums(steps) - expected).max() < 1e-10


def test_head_start_signals_a_shift_that_was_there_from_the_first_point():
    values = [11.2] * 8
    plain = cusum_chart(values, target=10.0, sigma=1.0, slack=0.5, decision=4.0)
    ahead = cusum_chart(values, target=10.0, sigma=1.0, slack=0.5, decision=4.0, head_start=2.0)
    first = [chart_signals(chart, nelson(1))[0][0].at[0] for chart in (plain, ahead)]
    assert first == [5, 2]


def test_average_run_length_of_a_cusum_in_control():
    # k 0.5, h 5: 465 in control, 10.4 after a shift of one sigma (Lucas and Crosier 1982; e-Handbook 6.3.2.3, from memory).
    draws = np.random.default_rng(11).standard_normal((300, 4000))
    for shift, expected, tolerance in ((0.0, 465, 60), (1.0, 10.4, 1.0)):
        firsts = []
        for row in draws[:, : 4000 if shift == 0 else 200]:
            chart = cusum_chart(row + shift, target=0.0, sigma=1.0)
            at = [found.at[0] for panel in chart_signals(chart, nelson(1)) for found in panel if len(found)]
            firsts.append(min(at) + 1 if at else 4000)
        assert np.mean(firsts) == pytest.approx(expected, abs=tolerance)


def test_change_is_placed_where_the_sum_left_zero():
    values = [10, 9, 10.2, 9.5, 11.5, 11.8, 11.6, 12.0]
    upper = cusum_chart(values, target=10.0, sigma=1.0, slack=0.5, decision=4.0).panels[0]
    assert change_before(upper, 7) == 4
    assert change_before(cusum_chart([12.0, 12.0], target=10.0, sigma=1.0).panels[0], 1) == 0


def test_two_sums_share_a_frame_and_lie_on_either_side_of_zero():
    upper, lower = cusum_chart([9.0, 11.0, 12.0, 8.0, 7.0], target=10.0, sigma=1.0).panels
    assert (upper.name, lower.name, upper.place, lower.place) == ("upper sum", "lower sum", "location", "location")
    assert upper.points.min() >= 0 >= lower.points.max()
    assert (upper.low, lower.high, upper.high[0], lower.low[0]) == (None, None, 5.0, -5.0)


@pytest.mark.parametrize("chart", [ewma_chart, cusum_chart])
def test_limits_come_from_moving_ranges_and_freeze(chart):
    first = chart([10.0, 11.0, 10.5, 9.5, 10.0])
    assert (first.limits.center, first.limits.estimated_by) == (10.2, "MRbar/d2")
    again = apply(ChartLimits.from_text(first.limits.as_text()), [10.0, 11.0])
    assert list(again.panels[0].points) == list(first.panels[0].points[:2])
    with pytest.raises(TooFew):
        chart([1.0])


def test_settings_without_meaning_are_refused():
    with pytest.raises(NotControlLimits):
        ewma_chart([1.0, 2.0], weight=0.0)
    with pytest.raises(NotControlLimits):
        cusum_chart([1.0, 2.0], decision=0.0)
    with pytest.raises(NotControlLimits):
        apply(ChartLimits(Kind.P, 0.1), [1.0])
