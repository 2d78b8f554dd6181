import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from inspection.process.box_cox import box_cox_capability, box_cox_power, transformed_limit
from inspection.process.capability import NotASpecification, Specification, capability, indices, taguchi_index
from inspection.process.capability_intervals import cp_bound, cp_interval, one_sided_bound
from inspection.process.chart import Kind
from inspection.process.charts import given_limits, xbar_r_chart
from inspection.process.distributions import CannotFit, Family, fit, fits
from inspection.process.percentiles import data_percentile_capability, percentile_capability, percentile_indices
from inspection.process.readings import NoSpread, NotPositive
from inspection.process.sigma import Estimator, Sigma
from inspection.spc import NotFinite, TooFew

reading = st.integers(-5000, 5000).map(lambda x: x / 1000)
spread_rows = st.lists(reading, min_size=10, max_size=60).filter(lambda row: len(set(row)) > 2)


def quiet(n, seed=1, mean=1.40, sigma=0.01):
    return np.random.default_rng(seed).normal(mean, sigma, n)


def values_of(found):
    return {index.name: index.value for index in found.indices}


def test_indices_follow_their_definitions():
    readings = quiet(100)
    found = capability(readings, Specification(1.36, 1.43, 1.395))
    mean, s = readings.mean(), readings.std(ddof=1)
    within = np.abs(np.diff(readings)).mean() * math.sqrt(math.pi) / 2
    assert values_of(found) == pytest.approx(
        {
            "Cp": 0.07 / (6 * within),
            "Cpl": (mean - 1.36) / (3 * within),
            "Cpu": (1.43 - mean) / (3 * within),
            "Cpk": (1.43 - mean) / (3 * within),
            "Pp": 0.07 / (6 * s),
            "Ppl": (mean - 1.36) / (3 * s),
            "Ppu": (1.43 - mean) / (3 * s),
            "Ppk": (1.43 - mean) / (3 * s),
            "Cpm": 0.07 / (6 * math.sqrt(s**2 + (mean - 1.395) ** 2)),
        }
    )
    assert (found.within.by, found.overall.by, found.overall.degrees) == (Estimator.MOVING_RANGE, Estimator.OVERALL, 99)
    assert found.offset == pytest.approx(abs(mean - 1.395) / 0.035)
    assert (found.observed.below, found.observed.above) == ((readings < 1.36).sum(), (readings > 1.43).sum())


@pytest.mark.parametrize("by", [Estimator.POOLED, Estimator.RANGE, Estimator.DEVIATION])
def test_subgroups_name_the_sigma_they_used(by):
    found = capability(quiet(200).reshape(40, 5), Specification(1.36, 1.44), within=by)
    assert found.within.by is by
    assert found.cpk.value == pytest.approx(min(1.44 - found.mean, found.mean - 1.36) / (3 * found.within.value))
    assert found.within.degrees < found.overall.degrees
    assert found.cp.interval.exact is (by is Estimator.POOLED)


@pytest.mark.parametrize(("low", "high"), [(None, 1.43), (1.36, None)])
def test_missing_limit_is_not_invented(low, high):
    found = capability(quiet(60), Specification(low, high, 1.40))
    names = set(values_of(found))
    assert names == ({"Cpu", "Cpk", "Ppu", "Ppk"} if low is None else {"Cpl", "Cpk", "Ppl", "Ppk"})
    missing = "below" if low is None else "above"
    assert (getattr(found.expected_ppm, missing), getattr(found.observed, missing)) == (None, None)
    assert found.ppk.bound.exact
    assert not capability(quiet(60), Specification(1.36, 1.43)).ppk.bound.exact


def test_too_few_readings_are_refused_with_both_numbers():
    with pytest.raises(TooFew) as few:
        capability(quiet(9), Specification(1.36, 1.44))
    assert (few.value.needed, few.value.given) == (10, 9)
    assert "10 values are needed, 9 given" in str(few.value)
    with pytest.raises(TooFew):
        capability(quiet(9).reshape(3, 3), Specification(1.36, 1.44))
    with pytest.raises(TooFew) as few:
        capability([], Specification(1.36, 1.44))
    assert (few.value.needed, few.value.given) == (10, 0)


def test_thin_sets_say_so_and_carry_an_interval():
    thin, full = capability(quiet(29), Specification(1.36, 1.44)), capability(quiet(30), Specification(1.36, 1.44))
    assert (thin.thin, full.thin) == (True, False)
    for index in thin.indices:
        assert index.interval.low < index.value < index.interval.high
    assert percentile_capability(quiet(20), Specification(1.36, 1.44), Family.NORMAL).ppk.interval.low > 0


def test_unstable_process_says_so_and_shows_the_signals():
    calm = capability(quiet(60, seed=3), Specification(1.36, 1.44), rules=())
    assert (calm.stable, calm.signal_count) == (True, 0)
    shifted = capability(np.concatenate((quiet(30), quiet(30, seed=2) + 0.05)), Specification(1.30, 1.50))
    assert shifted.stable is False
    assert shifted.signal_count > 0
    assert any(found.rule.code == "nelson.2" and len(found) for found in shifted.signals[0])
    assert shifted.ppk.value < shifted.cpk.value


def test_order_that_is_lost_leaves_stability_and_short_term_unknown():
    found = capability(quiet(60), Specification(1.36, 1.44), ordered=False)
    assert (found.stable, found.within, found.cpk, found.chart, found.signals) == (None, None, None, None, ())
    assert found.ppk is not None


def test_stability_is_judged_on_frozen_limits_where_given():
    groups = quiet(100).reshape(20, 5)
    frozen = given_limits(Kind.XBAR_R, 1.50, 0.01)
    found = capability(groups, Specification(1.36, 1.44), limits=frozen)
    assert found.stable is False
    assert len(found.signals[0][0]) == 20
    assert found.chart.limits is frozen
    assert capability(groups, Specification(1.36, 1.44), within=Estimator.RANGE).chart.limits == xbar_r_chart(groups).limits


@settings(max_examples=40)
@given(spread_rows, st.sampled_from([0.5, 2.0, 10.0]), st.integers(-20, 20))
def test_indices_do_not_depend_on_unit_or_origin(row, factor, shift):
    here = capability(row, Specification(-6, 7, 1))
    there = capability([x * factor + shift for x in row], Specification(-6 * factor + shift, 7 * factor + shift, factor + shift))
    assert values_of(here) == pytest.approx(values_of(there), rel=1e-9, abs=1e-9)
    assert here.expected_ppm.total == pytest.approx(there.expected_ppm.total, rel=1e-6, abs=1e-9)


@settings(max_examples=40)
@given(spread_rows)
def test_mirrored_readings_swap_their_sides(row):
    here, there = capability(row, Specification(-6, 7)), capability([-x for x in row], Specification(-7, 6))
    assert here.cpl.value == pytest.approx(there.cpu.value, rel=1e-9, abs=1e-9)
    assert here.cpk.value == pytest.approx(there.cpk.value, rel=1e-9, abs=1e-9)
    assert here.expected_ppm.below == pytest.approx(there.expected_ppm.above, rel=1e-9, abs=1e-9)


@settings(max_examples=40)
@given(spread_rows, st.randoms(use_true_random=False))
def test_overall_indices_do_not_depend_on_order(row, random):
    mixed = random.sample(row, len(row))
    here, there = (capability(x, Specification(-6, 7)) for x in (row, mixed))
    assert (here.pp.value, here.ppk.value) == pytest.approx((there.pp.value, there.ppk.value), rel=1e-12)


@given(st.floats(0.2, 4), st.integers(5, 200))
def test_more_readings_and_less_confidence_narrow_what_is_known(index, n):
    narrow, wide = cp_interval(index, 4 * n), cp_interval(index, n)
    assert wide.low < narrow.low < index < narrow.high < wide.high
    assert one_sided_bound(index, n).low < one_sided_bound(index, 4 * n).low < index
    assert one_sided_bound(index, n, confidence=0.99).low < one_sided_bound(index, n).low
    assert cp_interval(index, n).low < cp_bound(index, n).low < index


@pytest.mark.parametrize("index", [0.0, 0.5, 3.0, 20.0])
def test_bound_of_a_million_readings_is_next_to_the_index(index):
    assert one_sided_bound(index, 10**6).low == pytest.approx(index, abs=0.002 * max(index, 1))


def test_readings_and_limits_without_meaning_are_refused():
    with pytest.raises(NoSpread):
        capability([1.4] * 20, Specification(1.3, 1.5))
    with pytest.raises(NotFinite):
        capability([*quiet(20), math.nan], Specification(1.3, 1.5))
    for limits in ((None, None), (1.5, 1.4), (1.4, 1.4), (math.nan, 1.4), (None, math.inf)):
        with pytest.raises(NotASpecification):
            Specification(*limits)
    with pytest.raises(NoSpread):
        indices(1.4, Sigma(0.0, Estimator.OVERALL, 9), 10, Specification(1.3, 1.5))
    with pytest.raises(ValueError, match="confidence"):
        capability(quiet(20), Specification(1.3, 1.5), confidence=1.0)
    assert taguchi_index(1.4, 0.01, 20, Specification(1.3, 1.5)) is None


def test_given_sigma_has_no_interval():
    found = indices(1.4, Sigma(0.01, Estimator.GIVEN, None), 20, Specification(1.3, 1.5))
    assert (found.both.interval, found.nearer.bound) == (None, None)


def test_normal_percentiles_are_the_usual_indices():
    readings = quiet(80)
    found = percentile_capability(readings, Specification(1.36, 1.44), Family.NORMAL)
    usual = capability(readings, Specification(1.36, 1.44))
    assert found.pp.value == pytest.approx(usual.pp.value, rel=1e-4)
    assert found.ppk.value == pytest.approx(usual.ppk.value, rel=1e-4)
    assert found.expected_ppm.total == pytest.approx(usual.expected_ppm.total, rel=1e-9)
    assert found.ppk.interval is None


def test_resampled_interval_is_repeatable_and_agrees_with_theory_for_normal_readings():
    readings = quiet(25)
    found = percentile_capability(readings, Specification(1.36, 1.44), Family.NORMAL, resamples=1000)
    again = percentile_capability(readings, Specification(1.36, 1.44), Family.NORMAL, resamples=1000)
    theory = cp_interval(found.pp.value, 24)
    assert found.ppk.interval == again.ppk.interval
    # Resampling centres on the estimate, theory on the true value: the width is what they share.
    assert found.pp.interval.high - found.pp.interval.low == pytest.approx(theory.high - theory.low, rel=0.35)


def test_skewed_readings_by_their_own_model_expect_what_they_show():
    readings = np.random.default_rng(4).weibull(1.5, 5000)
    found = percentile_capability(readings, Specification(high=3.0), Family.WEIBULL)
    assert found.expected_ppm.above == pytest.approx(1e6 * math.exp(-(3.0**1.5)), rel=0.15)
    assert found.observed.above == (readings > 3.0).sum()
    assert (found.pp, found.ppl) == (None, None)
    # The normal model hides them.
    assert capability(readings, Specification(high=3.0)).expected_ppm.above < 0.25 * found.expected_ppm.above


def test_data_percentiles_need_thousands():
    readings = quiet(20_000)
    found = data_percentile_capability(readings, Specification(1.36, 1.44))
    assert (found.fit, found.expected_ppm) == (None, None)
    assert found.pp.value == pytest.approx(capability(readings, Specification(1.36, 1.44)).pp.value, rel=0.05)
    with pytest.raises(TooFew) as few:
        data_percentile_capability(quiet(1999), Specification(1.36, 1.44))
    assert few.value.needed == 2000
    with pytest.raises(NoSpread):
        percentile_indices(1.0, 1.0, 2.0, Specification(0, 3))


def test_capability_of_a_named_family_that_cannot_fit_is_refused():
    with pytest.raises(CannotFit):
        percentile_capability([-1.0, *quiet(20)], Specification(high=3), Family.WEIBULL)
    assert fits(quiet(40))[Family.NORMAL] == fit(quiet(40), Family.NORMAL)


def test_transformation_makes_lognormal_readings_normal_and_moves_the_limits():
    readings = np.exp(np.random.default_rng(6).normal(0, 0.5, 400))
    power = box_cox_power(readings)
    assert power.low < 0 < power.high
    assert not power.low < 1 < power.high
    found = box_cox_capability(readings, Specification(0.1, 6.0), power=0.0)
    logs = capability(np.log(readings), Specification(math.log(0.1), math.log(6.0)))
    assert values_of(found.transformed) == pytest.approx(values_of(logs))
    assert found.transformed.observed == capability(readings, Specification(0.1, 6.0)).observed
    assert (found.used, found.specification) == (0.0, Specification(0.1, 6.0))


@given(st.floats(-3, 3), st.floats(0.1, 10), st.floats(0.1, 10))
def test_transformed_limits_keep_their_order(power, one, other):
    if one != other:
        low, high = sorted((one, other))
        assert transformed_limit(low, power) <= transformed_limit(high, power)


def test_subgroups_are_transformed_as_subgroups():
    groups = np.exp(np.random.default_rng(7).normal(0, 0.3, (30, 4)))
    found = box_cox_capability(groups, Specification(high=4.0)).transformed
    assert found.within.by is Estimator.POOLED
    assert len(found.chart.location) == 30


def test_what_cannot_be_transformed_is_refused():
    with pytest.raises(NotPositive) as wrong:
        box_cox_power([0.0, *quiet(20)])
    assert wrong.value.what == "value"
    with pytest.raises(NotPositive) as wrong:
        box_cox_capability(quiet(20), Specification(0.0, 1.5))
    assert wrong.value.what == "limit"
    with pytest.raises(TooFew):
        box_cox_power(quiet(9))
    with pytest.raises(NoSpread):
        box_cox_power([1.4] * 20)
    assert box_cox_power(quiet(20)).at_end in (True, False)
