"""Numbers and words are found however they are written."""

from __future__ import annotations

import string

import pytest
from hypothesis import given
from hypothesis import strategies as st

from records.search_words import MOST_PARTS, asked_in, compact, lexemes, plain, spelled

NUMBERS = st.lists(st.text(string.ascii_letters, min_size=1, max_size=4) | st.integers(0, 99999).map(str), min_size=1, max_size=MOST_PARTS)
SEPARATORS = st.sampled_from(["-", "/", ".", "_"])


@pytest.mark.parametrize("written", ["SH-26-001", "sh 26 1", "Sh/26/01", "SH26-1"])
def test_number_is_spelled_the_same_however_it_is_written(written):
    assert spelled(written) == "sh 26 1"


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("Vík", "vik"),
        ("VIK", "vik"),
        ("Søreth", "soreth"),
        ("Müller", "muller"),
        ("Straße", "strasse"),
        ("Łódź", "lodz"),
        ("Ægir", "aegir"),
    ],
)
def test_marks_and_case_do_not_count(text, found):
    assert plain(text) == found


def test_zeros_in_the_middle_of_a_run_are_kept():
    assert (spelled("J-1002"), spelled("R000"), compact("SH-26-001")) == ("j 1002", "r 0", "sh26001")


def test_number_is_found_from_any_of_its_runs_on():
    assert {"sh", "26", "1", "sh26001", "26001", "001"} <= set(lexemes(["SH-26-001"]))


def test_zeros_at_the_end_of_a_question_ask_for_nothing_yet():
    assert asked_in("26-0").whole == ("26",)
    assert asked_in("0").whole == ("0",)


@pytest.mark.parametrize("text", ["", "  ", "-- / --", "∆ ≈", "\0"])
def test_question_without_a_letter_or_digit_is_empty(text):
    assert asked_in(text).is_empty


@given(NUMBERS, SEPARATORS, SEPARATORS)
def test_separators_never_decide(parts, one, other):
    assert spelled(one.join(parts)) == spelled(other.join(parts))
    assert set(asked_in(other.join(parts)).whole) <= set(lexemes([one.join(parts)]))


@given(st.text())
def test_any_text_can_be_asked_and_kept(text):
    asked = asked_in(text)

    assert len(asked.whole) <= 8
    assert all(word.isalnum() or word.isdecimal() for word in (*asked.whole, *lexemes([text])))
    assert "'" not in asked.compact
    assert '"' not in asked.compact
