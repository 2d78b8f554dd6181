"""Recurring: at least so many findings of one kind at one thing within so many days."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

from hypothesis import given
from hypothesis import strategies as st

from inspection.recurrence import Occurrence, most_within, recurrences

DAY0 = datetime(2026, 3, 2, tzinfo=UTC)
DAYS = st.lists(st.integers(0, 60).map(lambda n: DAY0 + timedelta(days=n)), max_size=25)


def found(kind, thing, *days):
    return [Occurrence(kind, thing, DAY0 + timedelta(days=n)) for n in days]


def test_three_findings_in_the_span_recur_and_three_over_a_longer_time_do_not():
    lines = recurrences([*found("burr", 1, 0, 10, 30), *found("burr", 2, 0, 20, 31)], least=3, span=timedelta(days=30))

    assert [(line.thing, line.count, line.most, line.recurs) for line in lines] == [(1, 3, 3, True), (2, 3, 2, False)]


def test_same_kind_at_another_thing_and_another_kind_at_the_same_are_counted_apart():
    lines = recurrences([*found("burr", 1, 0, 1), *found("burr", 2, 0), *found("height", 1, 0)], least=2, span=timedelta(days=5))

    assert [(line.kind, line.thing, line.count) for line in lines] == [("burr", 1, 2), ("burr", 2, 1), ("height", 1, 1)]
    assert (lines[0].first, lines[0].last) == (DAY0, DAY0 + timedelta(days=1))


@given(DAYS, st.integers(0, 40))
def test_largest_number_in_a_span_agrees_with_trying_every_beginning(times, span):
    width = timedelta(days=span)
    tried = [sum(begin <= moment <= begin + width for moment in times) for begin in times]

    assert most_within(times, width) == max(tried, default=0)


@given(st.lists(st.tuples(st.sampled_from("ab"), st.integers(1, 3), st.integers(0, 60)), max_size=40), st.integers(1, 5))
def test_nothing_is_counted_twice_or_lost(rows, least):
    occurrences = [Occurrence(kind, thing, DAY0 + timedelta(days=day)) for kind, thing, day in rows]
    lines = recurrences(occurrences, least=least, span=timedelta(days=14))

    assert sum(line.count for line in lines) == len(rows)
    assert all(line.recurs == (line.most >= least) and 1 <= line.most <= line.count for line in lines)
    assert [line.recurs for line in lines] == sorted((line.recurs for line in lines), reverse=True)
