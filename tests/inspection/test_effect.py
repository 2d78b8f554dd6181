"""Did it work: only what somebody looked at counts, one finding is enough, and what comes after the measure changes nothing."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inspection.effect import Answer, Counted, Look, Run, effect

DAY0 = datetime(2026, 3, 2, 8, tzinfo=UTC)


def look(count, *, found=False, hours=0):
    return Look(count, DAY0 + timedelta(hours=hours), found)


def run(number, *looks, closed=True):
    return Run(f"B{number:02}", DAY0 + timedelta(days=number), closed, looks)


def answer(counted, runs, **stated):
    return effect(counted, runs, **({"at": DAY0 + timedelta(days=400)} | stated))


def test_pieces_count_up_to_the_last_look_and_no_further():
    told = answer(Counted.PIECES, [run(1, look(5), look(60)), run(2), run(3, look(30), closed=False)], target=100)

    assert (told.answer, told.pieces, told.batches, told.looks) == (Answer.WAITING, 90, 2, 3)


def test_target_of_pieces_is_reached_by_the_look_that_covers_it():
    told = answer(Counted.PIECES, [run(1, look(60)), run(2, look(39)), run(3, look(1))], target=100)

    assert (told.answer, told.pieces) == (Answer.WORKED, 100)


def test_finding_at_a_look_beyond_the_target_counts_and_one_after_it_does_not():
    bad = answer(Counted.PIECES, [run(1, look(60)), run(2, look(500, found=True))], target=100)
    late = answer(Counted.PIECES, [run(1, look(60)), run(2, look(40)), run(3, look(5, found=True))], target=100)

    assert (bad.answer, bad.findings, bad.first) == (Answer.FAILED, 1, "B02")
    assert (late.answer, late.findings) == (Answer.WORKED, 0)


def test_next_batches_are_those_in_which_somebody_looked():
    runs = [run(1), run(2, look(5), look(80)), run(3, look(5), closed=False)]

    assert answer(Counted.BATCHES, runs, target=2).answer is Answer.WAITING
    closed = [*runs[:2], replace(runs[2], closed=True)]
    assert answer(Counted.BATCHES, closed, target=2).answer is Answer.WORKED
    assert answer(Counted.BATCHES, [*closed, run(4, look(5, found=True))], target=2).answer is Answer.WORKED
    assert answer(Counted.BATCHES, [*closed, run(4, look(5, found=True))], target=3).answer is Answer.FAILED


def test_running_batch_with_a_finding_is_not_waited_for():
    assert answer(Counted.BATCHES, [run(1, look(5, found=True), closed=False)], target=3).answer is Answer.FAILED


def test_date_is_waited_for_and_without_a_look_nothing_is_decided():
    end = DAY0 + timedelta(days=30)
    good = [run(1, look(5, hours=24))]

    assert answer(Counted.DATE, good, until=end, at=end - timedelta(seconds=1)).answer is Answer.WAITING
    assert answer(Counted.DATE, good, until=end, at=end).answer is Answer.WORKED
    assert answer(Counted.DATE, [run(1)], until=end, at=end).answer is Answer.UNDECIDED
    assert answer(Counted.DATE, [run(40, look(5, found=True, hours=24 * 31))], until=end, at=end).answer is Answer.UNDECIDED


def test_complaint_of_the_same_defect_counts_like_a_finding():
    told = answer(Counted.PIECES, [run(1, look(500))], target=100, reported=1)

    assert (told.answer, told.findings, told.reported) == (Answer.FAILED, 0, 1)


@pytest.mark.parametrize(("counted", "stated"), [(Counted.PIECES, {}), (Counted.BATCHES, {"target": 0}), (Counted.DATE, {"target": 5})])
def test_measure_that_says_nothing_is_refused(counted, stated):
    with pytest.raises(ValueError, match=r"needs|nothing"):
        answer(counted, [], **stated)


LOOKS = st.lists(st.builds(look, st.integers(1, 40), found=st.booleans(), hours=st.integers(0, 900)), max_size=4).map(tuple)
RUNS = st.lists(st.tuples(LOOKS, st.booleans()), max_size=6).map(
    lambda rows: [run(n, *looks, closed=c) for n, (looks, c) in enumerate(rows)]
)
STATED = st.one_of(
    st.tuples(st.just(Counted.PIECES), st.fixed_dictionaries({"target": st.integers(1, 150)})),
    st.tuples(st.just(Counted.BATCHES), st.fixed_dictionaries({"target": st.integers(1, 6)})),
    st.tuples(st.just(Counted.DATE), st.fixed_dictionaries({"until": st.integers(1, 40).map(lambda n: DAY0 + timedelta(days=n))})),
)


@given(RUNS, st.integers(1, 150))
def test_pieces_agree_with_counting_them_one_by_one(runs, target):
    """The oracle lays every piece that a look speaks for in a row: a piece is bad when the look that covers it found the defect."""
    row = []
    for one in runs:
        done = 0
        for count in sorted({each.at_count for each in one.looks}):
            bad = any(each.found for each in one.looks if each.at_count == count)
            row += [bad] * (count - done)
            done = count
    expected = Answer.FAILED if any(row[:target]) else Answer.WORKED if len(row) >= target else Answer.WAITING

    assert answer(Counted.PIECES, runs, target=target).answer is expected


@given(RUNS, STATED, st.randoms())
def test_order_in_which_rows_come_does_not_matter(runs, measure, random):
    counted, stated = measure
    shuffled = [replace(one, looks=tuple(random.sample(one.looks, len(one.looks)))) for one in random.sample(runs, len(runs))]

    assert answer(counted, shuffled, **stated) == answer(counted, runs, **stated)


@given(RUNS, STATED)
def test_more_good_looks_later_never_turn_an_answer_over(runs, measure):
    counted, stated = measure
    before = answer(counted, runs, **stated).answer
    after = answer(counted, [*runs, run(99, look(500, hours=1))], **stated).answer

    if before in (Answer.WORKED, Answer.FAILED):
        assert after is before
    else:
        assert after is not Answer.FAILED


@given(RUNS, STATED)
def test_it_worked_only_where_nothing_was_found_and_somebody_looked(runs, measure):
    counted, stated = measure
    told = answer(counted, runs, **stated)

    assert (told.answer is Answer.FAILED) == (told.findings > 0)
    if told.answer is Answer.WORKED:
        assert told.looks > 0
    all_good = [replace(one, looks=tuple(replace(each, found=False) for each in one.looks)) for one in runs]
    assert answer(counted, all_good, **stated).answer is not Answer.FAILED
