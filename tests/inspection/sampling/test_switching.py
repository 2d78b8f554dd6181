"""Switching rules on histories of lots."""

from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inspection.sampling.single import Severity
from inspection.sampling.switching import (
    ImpossibleLot,
    LotRecord,
    Route,
    State,
    Why,
    limit_number,
    standing,
    states_before,
)

GOOD, BAD = LotRecord(80, 2, 3, 0), LotRecord(80, 2, 3, 3)
BETWEEN = LotRecord(32, 1, 4, 2)
AGAIN = LotRecord(80, 2, 3, 3, resubmitted=True)


def after(*lots, **given):
    return standing(lots, aql=given.pop("aql", 1.0), route=given.pop("route", Route.NEVER), **given)


def test_first_lot_is_on_normal():
    now = after()
    assert (now.state, now.why, now.severity, now.switches) == (State.NORMAL, None, Severity.NORMAL, ())
    assert now.not_accepted_to_switch == 2


@pytest.mark.parametrize("gap", [0, 1, 2, 3])
def test_two_of_five_not_accepted_tighten(gap):
    now = after(GOOD, BAD, *[GOOD] * gap, BAD)
    assert (now.state, now.why, now.switches[-1].index) == (State.TIGHTENED, Why.TWO_OF_FIVE, gap + 2)


def test_two_not_accepted_further_apart_do_not_tighten():
    now = after(BAD, GOOD, GOOD, GOOD, GOOD, BAD)
    assert (now.state, now.not_accepted_to_switch) == (State.NORMAL, 1)
    assert after(BAD, GOOD, GOOD, GOOD).not_accepted_to_switch == 1
    assert after(BAD, GOOD, GOOD, GOOD, GOOD).not_accepted_to_switch == 2


def test_five_in_a_row_lead_back_to_normal_and_old_lots_are_forgotten():
    now = after(BAD, BAD, *[GOOD] * 5)
    assert (now.state, now.why, now.lots) == (State.NORMAL, Why.FIVE_ACCEPTED, 0)
    assert after(BAD, BAD, *[GOOD] * 5, BAD).state is State.NORMAL
    assert after(BAD, BAD, *[GOOD] * 4).accepted_to_switch == 1
    assert after(BAD, BAD, *[GOOD] * 4, BAD, *[GOOD] * 4).state is State.TIGHTENED


def test_five_not_accepted_on_tightened_stop_acceptance_however_far_apart():
    broken = [BAD, GOOD, GOOD] * 4
    assert after(BAD, BAD, *broken).not_accepted_to_switch == 1
    now = after(BAD, BAD, *broken, BAD)
    assert (now.state, now.severity, now.why) == (State.DISCONTINUED, None, Why.FIVE_ON_TIGHTENED)
    assert after(BAD, BAD, *broken, BAD, *[GOOD] * 20).state is State.DISCONTINUED


def test_lot_presented_again_counts_for_nothing():
    assert after(BAD, AGAIN).state is State.NORMAL
    assert after(BAD, AGAIN, GOOD, AGAIN, GOOD, AGAIN, GOOD, BAD).state is State.TIGHTENED


def test_ten_clean_lots_reduce_where_it_is_agreed():
    lots = [GOOD] * 10
    now = standing(lots, aql=1.0)
    assert (now.state, now.why, now.switches[0].index) == (State.REDUCED, Why.TEN_ACCEPTED, 9)
    assert standing(lots[:9], aql=1.0).state is State.NORMAL
    assert standing(lots, aql=1.0, route=Route.NEVER).state is State.NORMAL


def test_ten_accepted_lots_above_the_limit_number_do_not_reduce():
    one_each = [LotRecord(80, 2, 3, 1)] * 10
    now = standing(one_each, aql=1.0)
    assert (now.state, now.found, now.limit) == (State.NORMAL, 10, 4)
    within = [LotRecord(80, 2, 3, 1)] * 4 + [GOOD] * 6
    assert standing(within, aql=1.0).state is State.REDUCED
    assert standing([LotRecord(80, 2, 3, 1)] * 5 + [GOOD] * 5, aql=1.0).state is State.NORMAL


def test_more_than_ten_lots_are_used_where_ten_are_too_few_pieces():
    small = LotRecord(13, 0, 1, 0)
    assert standing([small] * 10, aql=1.0).state is State.NORMAL
    assert standing([small] * 15, aql=1.0).state is State.NORMAL
    assert standing([small] * 16, aql=1.0).state is State.REDUCED  # 208 pieces
    assert standing([LotRecord(13, 0, 1, 1), *[small] * 15], aql=1.0).state is State.NORMAL


def test_unsteady_production_does_not_reduce_and_ends_reduced():
    unsteady = LotRecord(80, 2, 3, 0, steady=False)
    assert standing([*[GOOD] * 9, unsteady], aql=1.0).state is State.NORMAL
    now = standing([*[GOOD] * 10, GOOD, unsteady], aql=1.0)
    assert (now.state, now.why) == (State.NORMAL, Why.IRREGULAR)


@pytest.mark.parametrize(("lot", "why"), [(BETWEEN, Why.BETWEEN), (LotRecord(32, 1, 4, 4), Why.NOT_ACCEPTED)])
def test_reduced_ends_between_the_numbers_and_with_a_lot_not_accepted(lot, why):
    assert BETWEEN.accepted
    now = standing([*[GOOD] * 10, LotRecord(32, 1, 4, 1), lot], aql=1.0)
    assert (now.state, now.why) == (State.NORMAL, why)


def test_switching_score_of_small_acceptance_numbers_adds_two():
    lots = [LotRecord(20, 0, 1, 0)] * 14
    assert standing(lots, aql=0.65, route=Route.SCORE).score == 28
    assert standing([*lots, lots[0]], aql=0.65, route=Route.SCORE).state is State.REDUCED
    assert standing([*lots, LotRecord(20, 0, 1, 1)], aql=0.65, route=Route.SCORE).score == 0


def test_switching_score_of_larger_acceptance_numbers_asks_for_the_tighter_plan():
    clean, worse = LotRecord(80, 2, 3, 1, ac_tighter=1), LotRecord(80, 2, 3, 2, ac_tighter=1)
    assert standing([clean] * 9, aql=1.0, route=Route.SCORE).score == 27
    assert standing([clean] * 10, aql=1.0, route=Route.SCORE).why is Why.SCORE
    assert standing([*[clean] * 9, worse], aql=1.0, route=Route.SCORE).score == 0


@pytest.mark.parametrize("lot", [LotRecord(80, 3, 3, 0), LotRecord(80, -1, 3, 0), LotRecord(80, 0, 1, -1), LotRecord(0, 0, 1, 0)])
def test_impossible_lot_is_refused_with_its_place(lot):
    with pytest.raises(ImpossibleLot) as error:
        after(GOOD, lot)
    assert error.value.index == 1


def test_plan_without_a_tightened_one_never_switches():
    assert after(*[BAD] * 10, can_tighten=False).state is State.NORMAL


REMEMBERED = {10: 0, 25: 2, 40: 4, 65: 8, 100: 14, 150: 22, 250: 40, 400: 68, 650: 115, 1000: 181}
"""MIL-STD-105E Table VIII, 20 to 29 sample units; from memory."""


@pytest.mark.parametrize(("aql", "limit"), REMEMBERED.items())
def test_limit_numbers_are_the_remembered_ones(aql, limit):
    assert limit_number(20, aql) == limit_number(29, aql) == limit


def test_limit_number_of_too_few_pieces_is_none():
    assert limit_number(19, 1000) is None
    assert limit_number(199, 1.0) is None
    assert limit_number(200, 1.0) == 0


lot_of = st.builds(
    LotRecord,
    n=st.just(80),
    ac=st.just(2),
    re=st.just(3),
    nonconforming=st.integers(0, 4),
    resubmitted=st.booleans(),
    steady=st.booleans(),
)
histories = st.lists(lot_of, max_size=60)
routes = st.sampled_from([Route.LIMIT_NUMBERS, Route.SCORE, Route.NEVER])


@given(histories, routes)
def test_resubmitted_lots_change_nothing(lots, route):
    whole = standing(lots, aql=1.0, route=route)
    without = standing([lot for lot in lots if not lot.resubmitted], aql=1.0, route=route)
    assert (whole.state, whole.score, [s.why for s in whole.switches]) == (without.state, without.score, [s.why for s in without.switches])


@given(histories, routes)
def test_history_told_lot_by_lot_agrees_with_the_whole(lots, route):
    states = states_before(lots, aql=1.0, route=route)
    assert list(states) == [standing(lots[:index], aql=1.0, route=route).state for index in range(len(lots))]


@given(histories, routes)
def test_every_switch_is_one_the_standard_knows(lots, route):
    known = {
        (State.NORMAL, State.TIGHTENED),
        (State.TIGHTENED, State.NORMAL),
        (State.NORMAL, State.REDUCED),
        (State.REDUCED, State.NORMAL),
        (State.TIGHTENED, State.DISCONTINUED),
    }
    switches = standing(lots, aql=1.0, route=route).switches
    assert {(switch.before, switch.after) for switch in switches} <= known
    assert all(one.after is other.before for one, other in pairwise(switches))
    if route is Route.NEVER:
        assert all(switch.after is not State.REDUCED for switch in switches)
