import math
import statistics

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inspection.spc import (
    NotFinite,
    TooFew,
    Uneven,
    c4,
    d2,
    d3,
    individuals_chart,
    lag_1_autocorrelation,
    mean,
    standard_deviation,
    xbar_r_chart,
)

readings = st.lists(st.floats(-1e6, 1e6, allow_nan=False).map(lambda x: round(x, 4)), min_size=2, max_size=40)


@given(readings)
def test_mean_and_deviation_agree_with_exact_arithmetic(values):
    assert math.isclose(mean(values), float(statistics.fmean(values)), rel_tol=1e-12, abs_tol=1e-9)
    assert math.isclose(standard_deviation(values), statistics.stdev(values), rel_tol=1e-9, abs_tol=1e-9)


def test_deviation_survives_a_large_common_part():
    # The sum-of-squares shortcut gives zero or a negative variance here.
    assert math.isclose(standard_deviation([1e9 + 0.1, 1e9 + 0.2, 1e9 + 0.3]), 0.1, rel_tol=1e-6)


@given(readings, st.floats(-1e3, 1e3))
def test_limits_move_with_the_readings(values, shift):
    here, there = individuals_chart(values), individuals_chart([v + shift for v in values])
    for a, b in ((here.low, there.low), (here.center, there.center), (here.high, there.high)):
        assert math.isclose(a + shift, b, rel_tol=1e-9, abs_tol=1e-6)
    assert math.isclose(here.mr_bar, there.mr_bar, rel_tol=1e-6, abs_tol=1e-6)


@given(readings)
def test_limits_enclose_the_centre_and_equal_the_width_six_sigma(values):
    chart = individuals_chart(values)
    assert chart.low <= chart.center <= chart.high
    assert math.isclose(chart.high - chart.low, 6 * chart.sigma, rel_tol=1e-6, abs_tol=1e-6)


def test_point_beyond_its_limit_is_named_and_so_is_the_jump():
    quiet = [1.40, 1.41, 1.40, 1.39, 1.40, 1.41, 1.40, 1.39, 1.40, 1.41, 1.40, 1.39, 1.40, 1.41, 1.40]
    chart = individuals_chart([*quiet, 1.52])
    assert chart.beyond == (15,)
    assert chart.mr_beyond == (15,)
    assert individuals_chart(quiet).beyond == ()


def test_equal_readings_have_no_spread_and_no_signal():
    chart = individuals_chart([1.4] * 7)
    assert (chart.low, chart.high, chart.mr_bar, chart.beyond, chart.mr_beyond) == (1.4, 1.4, 0.0, (), ())
    group = xbar_r_chart([[1.4] * 3] * 4)
    assert (group.low, group.high, group.beyond, group.r_beyond) == (1.4, 1.4, (), ())


def test_two_readings_make_a_chart_and_one_does_not():
    assert individuals_chart([1, 3]).center == 2
    with pytest.raises(TooFew) as refused:
        individuals_chart([1])
    assert (refused.value.needed, refused.value.given) == (2, 1)
    for act in (mean, standard_deviation, lag_1_autocorrelation, individuals_chart, xbar_r_chart):
        with pytest.raises(TooFew):
            act([])


@pytest.mark.parametrize("bad", [math.nan, math.inf, -math.inf])
def test_reading_that_is_no_number_is_named(bad):
    for act in (mean, standard_deviation, lag_1_autocorrelation, individuals_chart):
        with pytest.raises(NotFinite) as refused:
            act([1.4, bad, 1.41])
        assert refused.value.index == 1
    with pytest.raises(NotFinite):
        xbar_r_chart([[1.4, 1.41], [1.4, bad]])


def test_subgroups_of_different_size_are_refused():
    with pytest.raises(Uneven):
        xbar_r_chart([[1, 2, 3], [1, 2]])
    with pytest.raises(TooFew):
        xbar_r_chart([[1, 2, 3]])


def test_subgroup_beyond_the_limits_is_named():
    groups = [[1.40, 1.41, 1.39]] * 9
    assert xbar_r_chart([*groups, [1.50, 1.51, 1.49]]).beyond == (9,)
    assert xbar_r_chart([*groups, [1.30, 1.40, 1.50]]).r_beyond == (9,)


@pytest.mark.parametrize("constant", [d2, c4, d3])
def test_constants_of_no_subgroup_are_refused(constant):
    with pytest.raises(ValueError, match="1"):
        constant(1)


@given(st.integers(2, 200))
def test_range_grows_and_the_deviation_factor_tends_to_one(n):
    assert d2(n + 1) > d2(n)
    assert c4(n) < c4(n + 1) < 1


def test_deviation_factor_of_a_huge_set_is_one():
    assert math.isclose(c4(10**6), 1 - 1 / (4 * 10**6), rel_tol=1e-9)
