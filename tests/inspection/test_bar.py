"""The limit bar: what is drawn stands where its value is."""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inspection.bar import EDGE, Value, limit_bar
from inspection.verdict import Limits, Outcome, judge

TWO_SIDED = Limits(Decimal("1.35"), Decimal("1.45"), Decimal("1.40"))
values = st.decimals(min_value="0.001", max_value="999", places=3)
limits = st.tuples(values, values).map(lambda pair: Limits(min(pair), max(pair)))


def drawn(value, of):
    return limit_bar(of, "mm", title="crimp height", current=Value(value, str(value), judge(value, of))).marks[0]


def test_bar_of_two_limits_has_the_nominal_in_the_middle():
    bar = limit_bar(TWO_SIDED, "mm", title="crimp height")

    assert bar.nominal_at == 50
    assert bar.low_at + bar.high_at == pytest.approx(100)
    assert (bar.low, bar.nominal, bar.high) == ("1.35", "1.40", "1.45")
    assert bar.sentence == "crimp height: 1.35 to 1.45 mm. No reading yet."


def test_bar_of_a_least_force_is_open_to_the_right():
    bar = limit_bar(Limits(Decimal(85), None), "N", title="pull force")

    assert (bar.low, bar.high) == ("85", "")
    assert bar.within_at + bar.within_width == 100
    assert bar.sentence.startswith("pull force: at least 85 N.")


def test_bar_says_its_readings_in_words():
    earlier = [Value(Decimal("1.40"), "1.40 mm", Outcome.CONFORMS)]
    bar = limit_bar(TWO_SIDED, "mm", title="x", earlier=earlier, current=Value(Decimal("1.47"), "1.47 mm", Outcome.DOES_NOT_CONFORM))

    assert bar.sentence.endswith("Readings: 1.40 mm; 1.47 mm, does not conform.")
    assert [mark.earlier for mark in bar.marks] == [True, False]


@given(of=limits, value=values)
def test_mark_stays_on_the_drawing_however_far_off_its_value(of, value):
    assert EDGE <= drawn(value, of).at <= 100 - EDGE


@given(of=limits, pair=st.tuples(values, values))
def test_larger_value_never_stands_left_of_a_smaller_one(of, pair):
    assert drawn(min(pair), of).at <= drawn(max(pair), of).at


@given(of=limits.filter(lambda limits: limits.tolerance > Decimal("0.01")), value=values)
def test_mark_stands_within_the_drawn_limits_exactly_when_it_conforms(of, value):
    bar = limit_bar(of, "mm", title="x")
    at = drawn(value, of).at

    if judge(value, of) is Outcome.CONFORMS:
        assert bar.low_at - 0.01 <= at <= bar.high_at + 0.01
    else:
        assert at <= bar.low_at + 0.01 or at >= bar.high_at - 0.01
