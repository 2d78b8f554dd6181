import math
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inspection.spc import TooFew
from inspection.studies.confidence import NotASetting
from inspection.studies.crossed import TooSmall
from inspection.studies.uncertainty import (
    CoverageRule,
    Distribution,
    Evaluation,
    Source,
    budget,
    from_readings,
    resolution,
    rounded_up,
)

sources_of = st.lists(
    st.builds(
        lambda value, distribution, sensitivity, df: Source("s", Evaluation.B, value, distribution, sensitivity=sensitivity, df=df),
        st.floats(0.001, 100),
        st.sampled_from(Distribution),
        st.floats(-10, 10).filter(lambda c: abs(c) > 0.01),
        st.one_of(st.integers(1, 100).map(float), st.just(math.inf)),
    ),
    min_size=1,
    max_size=6,
)


@pytest.mark.parametrize(
    ("distribution", "u"),
    [(Distribution.NORMAL, 6.0), (Distribution.RECTANGULAR, 3.4641), (Distribution.TRIANGULAR, 2.4495), (Distribution.U_SHAPED, 4.2426)],
)
def test_standard_uncertainty_by_distribution(distribution, u):
    assert Source("s", Evaluation.B, 6.0, distribution).u == pytest.approx(u, abs=5e-5)


def test_stated_expanded_uncertainty_is_divided_by_its_own_factor():
    assert Source("certificate", Evaluation.B, 0.004, divisor=2.0).u == 0.002


def test_mean_of_readings_and_a_step_of_the_display():
    repeated = from_readings("repeatability", [1.40, 1.41, 1.42, 1.41])
    assert repeated.u == pytest.approx(math.sqrt(0.0002 / 3) / 2)
    assert (repeated.evaluation, repeated.df) == (Evaluation.A, 3)
    assert resolution("display", 0.001).u == pytest.approx(0.001 / math.sqrt(12))
    with pytest.raises(TooFew):
        from_readings("repeatability", [])


@given(sources_of)
def test_budget_adds_up(sources):
    found = budget(sources)
    assert sum(line.share for line in found.lines) == pytest.approx(1)
    assert found.u == pytest.approx(math.hypot(*(line.contribution for line in found.lines)))
    assert found.expanded == pytest.approx(found.k * found.u)
    least = min(source.df for source in sources)
    total = sum(source.df for source in sources)
    assert least - 1e-6 <= found.effective_df <= total * (1 + 1e-9)
    assert found.k >= 2.0 - 1e-4


@given(sources_of, st.floats(0.001, 1000))
def test_budget_follows_the_unit_of_the_result(sources, scale):
    def scaled(s):
        return Source(s.name, s.evaluation, s.value, s.distribution, sensitivity=s.sensitivity * scale, df=s.df)

    before, after = budget(sources), budget([scaled(s) for s in sources])
    assert after.u == pytest.approx(before.u * scale)
    assert after.effective_df == pytest.approx(before.effective_df)


def test_known_sources_have_k_2_at_95_45_percent():
    found = budget([Source("a", Evaluation.B, 3.0), Source("b", Evaluation.B, 4.0)])
    assert (found.u, found.effective_df, found.df_used) == (5.0, math.inf, math.inf)
    assert found.k == pytest.approx(2.0, abs=1e-4)
    assert (found.rule, found.coverage) == (CoverageRule.T, 0.9545)


def test_few_readings_widen_the_coverage_factor():
    # t(97.725 %; 4) = 2.87, the printed k of 95.45 % in GUM table G.2.
    assert budget([Source("a", Evaluation.A, 1.0, df=4)]).k == pytest.approx(2.87, abs=0.005)


def test_shop_may_fix_the_coverage_factor():
    found = budget([Source("a", Evaluation.A, 1.0, df=4)], k=2)
    assert (found.k, found.rule, found.coverage, found.expanded) == (2.0, CoverageRule.FIXED, None, 2.0)


def test_fully_correlated_sources_add_up_straight():
    sources = [Source("a", Evaluation.B, 3.0), Source("b", Evaluation.B, 4.0)]
    together = budget(sources, correlations={(0, 1): 1.0})
    assert together.u == pytest.approx(7.0)
    assert together.covariance_share == pytest.approx(24 / 49)
    assert together.effective_df is None
    assert sum(line.share for line in together.lines) + together.covariance_share == pytest.approx(1)


@pytest.mark.parametrize(
    "correlations", [{(0, 0): 0.5}, {(0, 3): 0.5}, {(0, 1): 1.1}, {(0, 1): 0.9, (1, 2): 0.9, (0, 2): -0.9}, {(0, 1): math.nan}]
)
def test_impossible_correlations_are_refused(correlations):
    with pytest.raises(NotASetting) as refused:
        budget([Source("s", Evaluation.B, 1.0)] * 3, correlations=correlations)
    assert refused.value.setting == "correlations"


def test_budget_without_any_uncertainty_is_refused():
    with pytest.raises(TooSmall):
        budget([])
    with pytest.raises(NotASetting):
        budget([Source("a", Evaluation.B, 0.0)])
    for bad in (
        {"value": -1.0},
        {"value": math.nan},
        {"value": 1.0, "divisor": 0.0},
        {"value": 1.0, "df": 0.5},
        {"value": 1.0, "df": math.nan},
    ):
        with pytest.raises(NotASetting):
            Source("a", Evaluation.B, **bad)


@given(st.floats(1e-9, 1e9))
def test_stated_uncertainty_is_never_smaller_and_has_two_digits(value):
    stated = rounded_up(value)
    assert stated >= Decimal(repr(value)) * (1 - Decimal("1e-11"))
    assert stated <= Decimal(repr(value)) * Decimal("1.1000001")
    assert len(stated.as_tuple().digits) == 2
