import math
from decimal import Decimal

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from inspection.spc import NotFinite, TooFew
from inspection.studies.bias import bias_study
from inspection.studies.confidence import NotASetting
from inspection.studies.gauge_type1 import Type1Settings, resolution_check, type_1
from inspection.studies.measurement_system import Influence, ProcessInfluences, SystemInfluences, measurement_capability


def repeated(seed, n=50, center=1.4, s=0.002):
    return [round(float(v), 4) for v in np.random.default_rng(seed).normal(center, s, n)]


@given(st.integers(0, 10_000), st.floats(-0.002, 0.002))
@settings(max_examples=30, deadline=None)
def test_bias_test_agrees_with_scipy(seed, off):
    readings = repeated(seed)
    study = type_1(readings, 1.4 + off, 0.1)
    oracle = stats.ttest_1samp(readings, 1.4 + off)
    interval = oracle.confidence_interval(0.95)
    assert study.test.t == pytest.approx(oracle.statistic, rel=1e-6, abs=1e-9)
    assert study.test.p == pytest.approx(oracle.pvalue, rel=1e-6)
    assert (study.test.interval.low + 1.4 + off, study.test.interval.high + 1.4 + off) == pytest.approx(
        (interval.low, interval.high), abs=1e-10
    )
    assert study.test.significant is bool(oracle.pvalue < 0.05)


def test_least_tolerance_would_just_meet_the_required_figures():
    study = type_1(repeated(3), 1.4005, 0.1)
    assert type_1(study.readings, 1.4005, study.tolerance_for_cg).cg == pytest.approx(1.33)
    assert type_1(study.readings, 1.4005, study.tolerance_for_cgk).cgk == pytest.approx(1.33)


@given(st.integers(0, 10_000), st.floats(0.01, 100), st.integers(-50, 50))
@settings(max_examples=30, deadline=None)
def test_figures_do_not_depend_on_the_unit(seed, scale, shift):
    readings = repeated(seed)
    before = type_1(readings, 1.401, 0.1)
    after = type_1([v * scale + shift for v in readings], 1.401 * scale + shift, 0.1 * scale)
    assert (after.cg, after.cgk, after.test.t) == pytest.approx((before.cg, before.cgk, before.test.t), rel=1e-6)


def test_settings_of_another_customer_change_the_figures():
    readings = repeated(1)
    usual, other = type_1(readings, 1.4, 0.1), type_1(readings, 1.4, 0.1, settings=Type1Settings(fraction=0.15, sigmas=4.0))
    assert other.cg == pytest.approx(usual.cg * 0.15 / 0.2 * 6 / 4)
    assert (other.band_low, other.band_high) == pytest.approx((1.3925, 1.4075))


def test_bias_larger_than_the_band_makes_cgk_negative():
    study = type_1(repeated(1), 1.38, 0.1)
    assert study.cgk < 0
    assert (study.cg_capable, study.cgk_capable, study.test.significant) == (True, False, True)
    assert set(study.outside_band) == {i for i, v in enumerate(study.readings) if v > 1.39}


def test_equal_readings_have_no_cg():
    exact = type_1([0.3] * 25, Decimal("0.3"), 0.1, resolution=Decimal("0.01"))
    assert (exact.s, exact.cg, exact.cgk, exact.cg_capable, exact.test.t) == (0.0, None, None, None, None)
    assert exact.test.significant is False
    assert (exact.resolution_percent, exact.resolution_fine) == (Decimal(10), False)
    assert type_1([0.3] * 25, 0.31, 0.1).test.significant is True


def test_fewer_than_25_readings_are_refused_unless_the_shop_allows_it():
    with pytest.raises(TooFew) as refused:
        type_1(repeated(1, n=24), 1.4, 0.1)
    assert (refused.value.needed, refused.value.given) == (25, 24)
    assert len(type_1(repeated(1, n=10), 1.4, 0.1, settings=Type1Settings(least_readings=10)).readings) == 10


def test_junk_is_refused():
    with pytest.raises(NotFinite):
        type_1([*repeated(1), math.nan], 1.4, 0.1)
    for reference, tolerance in ((math.nan, 0.1), (1.4, 0.0), (1.4, math.inf)):
        with pytest.raises(NotASetting):
            type_1(repeated(1), reference, tolerance)
    with pytest.raises(NotASetting):
        Type1Settings(fraction=0)
    with pytest.raises(NotASetting):
        resolution_check(0, 0.1)


# --- ISO 22514-7 -----------------------------------------------------------------------------------------------------------------


def test_fifteen_percent_with_k_2_is_a_capability_of_one_and_a_third():
    # The limits of ISO 22514-7 agree with one another: Q_MS 15 % is C_MS 1.333, Q_MP 30 % is C_MP 1.333.
    u = 0.15 * 0.1 / 4
    found = measurement_capability(0.1, SystemInfluences(0.0, 0.0, u), ProcessInfluences(repeatability=2 * u))
    assert (found.system.q_percent, found.system.c) == (pytest.approx(15), pytest.approx(4 / 3))
    assert (found.process.q_percent, found.process.c) == (pytest.approx(30), pytest.approx(4 / 3))
    assert (found.system.capable, found.process.capable) == (True, True)
    assert found.system.least_tolerance == pytest.approx(0.1)


def test_influences_add_up_in_squares_and_only_the_largest_scatter_counts():
    system = SystemInfluences(calibration=0.0003, resolution=0.001, repeatability=0.0002, bias=-0.0005, linearity=0.0001)
    found = measurement_capability(
        Decimal("0.1"), system, ProcessInfluences(repeatability=0.0006, reproducibility=0.0004, temperature=0.0002)
    )
    step = 0.001 / math.sqrt(12)
    of_system = math.sqrt(0.0003**2 + step**2 + 0.0005**2 / 3 + 0.0001**2)
    assert found.system.u == pytest.approx(of_system)
    assert found.process.u == pytest.approx(math.sqrt(of_system**2 - step**2 + 0.0006**2 + 0.0004**2 + 0.0002**2))
    assert {line.influence for line in found.system.lines if not line.counted} == {Influence.REPEATABILITY_ON_REFERENCE}
    assert {line.influence for line in found.process.lines if not line.counted} == {
        Influence.REPEATABILITY_ON_REFERENCE,
        Influence.RESOLUTION,
    }
    assert sum(line.share for line in found.process.lines) == pytest.approx(1)
    assert (found.resolution_percent, found.resolution_fine) == (Decimal(1), True)


def test_system_alone_has_no_process_figures():
    found = measurement_capability(0.1, SystemInfluences(0.0, 0.0, 0.0))
    assert (found.process, found.system.c, found.resolution_fine) == (None, None, None)
    assert found.system.q_percent == 0


def test_negative_influences_are_refused():
    with pytest.raises(NotASetting) as refused:
        SystemInfluences(0.0, -0.001, 0.0)
    assert refused.value.setting == "resolution"
    with pytest.raises(NotASetting):
        ProcessInfluences(stability=math.nan)


# --- Bias ------------------------------------------------------------------------------------------------------------------------


@given(st.integers(0, 10_000), st.integers(2, 40))
@settings(max_examples=30, deadline=None)
def test_bias_by_deviation_agrees_with_scipy(seed, n):
    readings = repeated(seed, n)
    if len(set(readings)) == 1:
        return
    study, oracle = bias_study(readings, 1.401), stats.ttest_1samp(readings, 1.401)
    assert (study.by_deviation.t, study.by_deviation.p) == pytest.approx((oracle.statistic, oracle.pvalue), rel=1e-6)


def test_bias_by_range_and_by_deviation_nearly_agree_on_normal_readings():
    readings = repeated(11, 15)
    study = bias_study(readings, 1.4, process_sigma=0.01)
    assert study.sigma_by_range == pytest.approx(study.s, rel=0.25)
    assert study.by_range.df < study.by_deviation.df
    assert study.repeatability_percent == pytest.approx(100 * study.s / 0.01)


def test_equal_readings_off_the_reference_show_a_bias():
    study = bias_study([2.1] * 5, 2.0)
    assert (study.by_deviation.t, study.by_deviation.significant, study.by_range.significant) == (None, True, True)
