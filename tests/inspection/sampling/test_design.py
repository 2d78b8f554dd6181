"""Plans for stated risks against brute force."""

from decimal import Decimal

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy import stats

from inspection.sampling.design import (
    NoPlan,
    demonstrated_reliability,
    demonstration,
    plan_for_lot,
    plan_for_risks,
    sequential_curves,
    sequential_plan,
    success_run,
    zero_acceptance,
    zero_acceptance_like,
    zero_acceptance_lot,
)
from inspection.sampling.oc import Model, pa_binomial, pa_lot, quality_at
from inspection.studies.confidence import NotASetting


@settings(max_examples=40, deadline=None)
@given(st.floats(0.005, 0.1), st.floats(0.02, 0.2), st.floats(2.5, 8.0), st.floats(0.02, 0.2))
def test_plan_for_risks_is_the_smallest_that_keeps_both(p1, alpha, ratio, beta):
    p2 = p1 * ratio
    plan = plan_for_risks(p1, alpha, p2, beta)
    assert plan.alpha <= alpha + 1e-12
    assert plan.beta <= beta + 1e-12
    assert plan.alpha == pytest.approx(1 - stats.binom.cdf(plan.c, plan.n, p1), abs=1e-12)
    n = np.arange(1, plan.n)[:, None]
    c = np.arange(0, plan.c + 30)[None, :]
    keeps = (stats.binom.cdf(c, n, p1) >= 1 - alpha) & (stats.binom.cdf(c, n, p2) <= beta)
    assert not keeps.any()


def test_plan_for_risks_of_nonconformities_keeps_both():
    plan = plan_for_risks(0.02, 0.05, 0.08, 0.10, model=Model.POISSON)
    assert stats.poisson.cdf(plan.c, plan.n * 0.02) >= 0.95
    assert stats.poisson.cdf(plan.c, plan.n * 0.08) <= 0.10
    n = np.arange(1, plan.n)[:, None]
    c = np.arange(0, plan.c + 20)[None, :]
    assert not ((stats.poisson.cdf(c, n * 0.02) >= 0.95) & (stats.poisson.cdf(c, n * 0.08) <= 0.10)).any()


@settings(max_examples=25, deadline=None)
@given(st.integers(20, 150), st.data())
def test_plan_for_one_lot_is_the_smallest_that_keeps_both(lot_size, data):
    good = data.draw(st.integers(0, lot_size // 10))
    bad = data.draw(st.integers(good + 1, lot_size))
    plan = plan_for_lot(lot_size, good, 0.05, bad, 0.10)
    assert (plan.alpha <= 0.05 + 1e-12, plan.beta <= 0.10 + 1e-12) == (True, True)
    smaller = [
        (n, c)
        for n in range(1, plan.n)
        for c in range(n + 1)
        if pa_lot(good, lot_size, n, c) >= 0.95 and pa_lot(bad, lot_size, n, c) <= 0.10
    ]
    assert smaller == []


def test_plan_that_cannot_be_is_refused():
    with pytest.raises(NotASetting):
        plan_for_risks(0.05, 0.05, 0.05, 0.10)
    with pytest.raises(NotASetting):
        plan_for_risks(0.05, 1.0, 0.06, 0.10)
    with pytest.raises(NoPlan):
        plan_for_risks(1e-8, 0.05, 1.1e-8, 0.10)


@given(st.decimals("0.001", "0.999", places=3), st.decimals("0.001", "0.999", places=3))
def test_success_run_is_the_first_that_suffices(reliability, confidence):
    n = success_run(reliability, confidence)
    assert 1 - reliability**n >= confidence - Decimal("1e-20")
    assert n == 1 or 1 - reliability ** (n - 1) < confidence


@pytest.mark.parametrize(("reliability", "confidence"), [("1", "0.9"), ("0", "0.9"), ("0.9", "1"), ("NaN", "0.9")])
def test_success_run_of_certainty_is_refused(reliability, confidence):
    with pytest.raises(NotASetting):
        success_run(reliability, confidence)


@given(st.floats(0.5, 0.99), st.floats(0.5, 0.99), st.integers(0, 5))
def test_demonstration_shows_what_it_was_made_for(reliability, confidence, failures):
    n = demonstration(reliability, confidence, failures)
    assert demonstrated_reliability(n, failures, confidence) >= reliability - 1e-9
    assert n == failures + 1 or demonstrated_reliability(n - 1, failures, confidence) < reliability + 1e-9


@given(st.floats(0.001, 0.5), st.floats(0.01, 0.5))
def test_plan_with_none_allowed_keeps_the_risk_and_no_smaller_does(p2, beta):
    plan = zero_acceptance(p2, beta)
    assert (1 - p2) ** plan.n <= beta + 1e-12
    assert plan.n == 1 or (1 - p2) ** (plan.n - 1) > beta - 1e-12


@given(st.integers(2, 300), st.data())
def test_plan_with_none_allowed_of_one_lot(lot_size, data):
    bad = data.draw(st.integers(1, lot_size))
    plan = zero_acceptance_lot(lot_size, bad, 0.10)
    assert pa_lot(bad, lot_size, plan.n, 0) <= 0.10
    assert plan.n == 1 or pa_lot(bad, lot_size, plan.n - 1, 0) > 0.10
    assert plan.n <= lot_size - bad + 1


def test_plan_with_none_allowed_protects_like_the_plan_it_replaces():
    like = zero_acceptance_like(80, 2)
    bad = quality_at(0.10, 80, 2)
    assert float(pa_binomial(bad, like.n, 0)) <= 0.10
    assert like.n < 80


qualities = st.tuples(st.floats(0.001, 0.3), st.floats(1.3, 8.0)).map(lambda pair: (pair[0], pair[0] * pair[1]))


@given(qualities, st.floats(0.01, 0.2), st.floats(0.01, 0.2))
def test_sequential_plan_has_its_risks_at_its_qualities(pair, alpha, beta):
    p1, p2 = pair
    assume(p2 < 0.95)
    plan = sequential_plan(p1, alpha, p2, beta)
    assert plan.chance(p1) == pytest.approx(1 - alpha, rel=1e-6)
    assert plan.chance(p2) == pytest.approx(beta, rel=1e-6)
    assert p1 < plan.slope < p2
    curve = np.linspace(0, 1, 101)
    oc, number = sequential_curves(plan, curve)
    assert (np.diff(oc.y) <= 1e-12).all()
    assert (number.y > 0).all()


def test_sequential_sample_number_agrees_with_simulated_lots():
    plan = sequential_plan(0.2, 0.05, 0.3, 0.10)
    rng = np.random.default_rng(8)
    for p in (0.2, 0.25, 0.3):
        taken, accepted = [], 0
        for _lot in range(600):
            found = n = 0
            while True:
                n += 1
                found += rng.random() < p
                lowest, highest = plan.acceptance_number(n), plan.rejection_number(n)
                if lowest is not None and found <= lowest:
                    accepted += 1
                    break
                if highest is not None and found >= highest:
                    break
            taken.append(n)
        # Wald's figures leave out the overshoot of the lines: a few pieces more are taken.
        assert np.mean(taken) == pytest.approx(plan.asn(p), rel=0.15)
        assert accepted / 600 == pytest.approx(plan.chance(p), abs=0.06)


def test_sequential_plan_says_from_when_it_can_decide():
    plan = sequential_plan(0.01, 0.05, 0.10, 0.10)
    assert plan.acceptance_number(plan.fewest_to_accept - 1) is None
    assert plan.acceptance_number(plan.fewest_to_accept) == 0
    assert plan.rejection_number(1) is None
    assert plan.rejection_number(plan.fewest_to_refuse) == plan.fewest_to_refuse


@pytest.mark.parametrize("given_", [(0.1, 0.05, 0.1, 0.1), (0.0, 0.05, 0.1, 0.1), (0.01, 0.6, 0.1, 0.5)])
def test_sequential_plan_that_cannot_be_is_refused(given_):
    with pytest.raises(NotASetting):
        sequential_plan(*given_)
