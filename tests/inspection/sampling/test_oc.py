"""OC, AOQ, ATI and ASN against scipy, sums and simulated truth."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from inspection.sampling.oc import (
    Model,
    Stop,
    aoq,
    aoql,
    asn,
    ati,
    most_nonconforming_at,
    oc_curve,
    pa_binomial,
    pa_lot,
    pa_poisson,
    quality_at,
)
from inspection.spc import NotFinite
from inspection.studies.confidence import NotASetting

plans = st.integers(1, 300).flatmap(lambda n: st.tuples(st.just(n), st.integers(0, min(n - 1, 40))))
shares = st.floats(0.0001, 0.9999)


@given(plans, shares)
def test_chance_of_acceptance_is_the_distribution_function(plan, p):
    n, c = plan
    assert float(pa_binomial(p, n, c)) == pytest.approx(stats.binom.cdf(c, n, p), abs=1e-12)
    assert float(pa_poisson(p, n, c)) == pytest.approx(stats.poisson.cdf(c, n * p), abs=1e-12)


@given(plans)
def test_oc_curve_starts_at_one_and_falls(plan):
    n, c = plan
    for model in (Model.BINOMIAL, Model.POISSON):
        curve = oc_curve(n, c, model=model)
        assert curve.y[0] == 1
        assert curve.y[-1] == pytest.approx(0.01, abs=1e-9)
        assert (np.diff(curve.y) <= 1e-12).all()


@given(plans, st.floats(0.001, 0.999))
def test_quality_at_a_chance_gives_that_chance_back(plan, pa):
    n, c = plan
    assert float(pa_binomial(quality_at(pa, n, c), n, c)) == pytest.approx(pa, rel=1e-9)
    assert float(pa_poisson(quality_at(pa, n, c, model=Model.POISSON), n, c)) == pytest.approx(pa, rel=1e-9)


@given(st.integers(2, 60), st.data())
def test_chance_of_one_lot_counts_the_ways_to_draw_it(lot_size, data):
    n = data.draw(st.integers(1, lot_size))
    c = data.draw(st.integers(0, n))
    bad = data.draw(st.integers(0, lot_size))
    ways = sum(math.comb(bad, x) * math.comb(lot_size - bad, n - x) for x in range(min(c, n) + 1) if n - x <= lot_size - bad)
    assert float(pa_lot(bad, lot_size, n, c)) == pytest.approx(ways / math.comb(lot_size, n), abs=1e-9)


def test_whole_lot_looked_at_is_accepted_exactly_up_to_c():
    assert list(pa_lot([0, 1, 2, 3], 20, 20, 1)) == pytest.approx([1, 1, 0, 0])
    assert most_nonconforming_at(0.5, 20, 20, 1) == 1


@given(st.integers(5, 200), st.data())
def test_most_nonconforming_still_accepted_is_the_last_one(lot_size, data):
    n = data.draw(st.integers(1, lot_size))
    c, pa = data.draw(st.integers(0, max(n - 1, 0))), data.draw(st.floats(0.01, 0.99))
    most = most_nonconforming_at(pa, lot_size, n, c)
    assert float(pa_lot(most, lot_size, n, c)) >= pa
    assert most == lot_size or float(pa_lot(most + 1, lot_size, n, c)) < pa


@given(plans, st.integers(0, 5000))
def test_aoql_is_no_less_than_any_outgoing_quality(plan, more):
    n, c = plan
    lot_size = n + more + 1
    worst = aoql(n, c, lot_size=lot_size)
    p = np.linspace(0, 1, 2001)
    assert worst.aoql >= aoq(p, pa_binomial(p, n, c), n, lot_size).max() - 1e-12
    assert worst.aoql <= aoql(n, c).aoql


def test_aoql_without_acceptance_number_has_a_closed_form():
    # p (1 - p)^n is largest at 1/(n + 1).
    worst = aoql(20, 0)
    assert worst.at == pytest.approx(1 / 21, rel=1e-6)
    assert worst.aoql == pytest.approx(1 / 21 * (20 / 21) ** 20, rel=1e-10)


def test_aoql_of_nonconformities_without_acceptance_number_is_one_over_e():
    assert aoql(20, 0, model=Model.POISSON).aoql == pytest.approx(1 / (20 * math.e), rel=1e-10)


def test_aoql_of_one_lot_is_found_among_whole_pieces():
    worst = aoql(50, 1, lot_size=400, model=Model.HYPERGEOMETRIC)
    bad = np.arange(401)
    assert worst.aoql == pytest.approx(max(aoq(bad / 400, pa_lot(bad, 400, 50, 1), 50, 400)))
    assert worst.at * 400 == pytest.approx(round(worst.at * 400))


@given(plans, shares, st.integers(0, 1000))
def test_total_inspection_lies_between_sample_and_lot(plan, p, more):
    n, c = plan
    total = float(ati(pa_binomial(p, n, c), n, n + more))
    assert n - 1e-9 <= total <= n + more + 1e-9


@settings(max_examples=30)
@given(st.integers(1, 12).flatmap(lambda n: st.tuples(st.just(n), st.integers(0, n - 1))), st.floats(0.01, 0.99))
def test_curtailed_sample_number_is_the_sum_over_every_sequence(plan, p):
    n, c = plan
    expected = {Stop.REFUSED: 0.0, Stop.DECIDED: 0.0}
    for word in range(2**n):
        found, stopped = 0, {Stop.REFUSED: n, Stop.DECIDED: n}
        for place in range(n):
            found += word >> place & 1
            looked = place + 1
            if found > c:
                stopped = {stop: min(at, looked) for stop, at in stopped.items()}
            if looked - found >= n - c:
                stopped[Stop.DECIDED] = min(stopped[Stop.DECIDED], looked)
        chance = p**found * (1 - p) ** (n - found)
        for stop, at in stopped.items():
            expected[stop] += at * chance
    for stop, number in expected.items():
        assert float(asn(p, n, c, stop)) == pytest.approx(number, rel=1e-9)
    assert float(asn(p, n, c)) == n


def test_curtailed_sample_number_at_the_ends():
    assert list(asn([0.0, 1.0], 50, 3, Stop.REFUSED)) == pytest.approx([50, 4])
    assert list(asn([0.0, 1.0], 50, 3, Stop.DECIDED)) == pytest.approx([47, 4])


@pytest.mark.parametrize(
    ("p", "error"), [([0.1, math.nan], NotFinite), ([math.inf], NotFinite), ([-0.1], NotASetting), ([1.1], NotASetting)]
)
def test_share_that_is_none_is_refused(p, error):
    with pytest.raises(error):
        pa_binomial(p, 10, 1)


@pytest.mark.parametrize(("n", "c"), [(0, 0), (10, -1), (2.5, 1)])
def test_plan_that_is_none_is_refused(n, c):
    with pytest.raises(NotASetting):
        pa_binomial(0.1, n, c)
    with pytest.raises(NotASetting):
        oc_curve(n, c)


def test_one_lot_needs_its_size_and_whole_pieces():
    with pytest.raises(NotASetting):
        oc_curve(10, 1, model=Model.HYPERGEOMETRIC)
    with pytest.raises(NotASetting):
        pa_lot(0.5, 100, 10, 1)
    with pytest.raises(NotASetting):
        pa_lot(1, 5, 10, 1)


def test_curve_of_one_lot_has_a_point_for_every_piece():
    curve = oc_curve(13, 1, model=Model.HYPERGEOMETRIC, lot_size=100)
    assert [round(float(x) * 100, 9) % 1 for x in curve.x] == [0.0] * len(curve.x)
    assert (curve.y[0], float(curve.y[-1]) < 0.01) == (1.0, True)
