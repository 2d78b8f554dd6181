"""A number in a body is the number that was written, digit for digit; what is no finite number is refused."""

from __future__ import annotations

import json
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shop.api.bodies import read_exactly


@given(st.decimals(allow_nan=False, allow_infinity=False, places=6, min_value=-(10**9), max_value=10**9))
def test_fraction_is_read_as_written(value):
    text = format(value, "f")

    read = read_exactly(f'{{"value": {text}}}')["value"]

    assert str(read) == text


@given(st.floats(allow_nan=False, allow_infinity=False))
def test_no_float_is_made_of_any_number(value):
    assert not isinstance(read_exactly(json.dumps(value)), float)


def test_trailing_zero_is_kept():
    assert read_exactly("1.80") == Decimal("1.80")
    assert str(read_exactly("1.80")) == "1.80"


@pytest.mark.parametrize("text", ["NaN", "Infinity", "-Infinity", '{"a": [NaN]}', '{"a": 1, "a": 1}', "", "{", "1" * 5000])
def test_what_json_does_not_know_is_refused(text):
    with pytest.raises(ValueError, match=r".+"):
        read_exactly(text)


@pytest.mark.parametrize(("written", "kept"), [('"1.400"', "1.400"), ("1.400", "1.400"), ("1.4", "1.4")])
def test_reading_keeps_the_digits_it_was_sent_with(written, kept, shop, programs):
    sample = shop.sample(shop.set_up(), "first piece", 5)
    raw = f'{{"characteristic": "crimp height", "piece": 1, "value": {written}, "unit": "mm"}}'

    answer = programs["operator"].ask("POST", f"samples/{sample['id']}/readings/", raw=raw).json

    assert (answer["value"], answer["base_value"]) == (kept, "1.4")


def test_reading_in_inches_is_judged_in_millimetres(shop, programs):
    sample = shop.sample(shop.set_up(), "first piece", 5)
    reading = {"characteristic": "crimp height", "piece": 1, "value": "0.0551 in", "unit": "in"}

    answer = programs["operator"].post(f"samples/{sample['id']}/readings/", reading, status=201)

    assert (answer["value"], answer["unit"], answer["base_value"], answer["outcome"]) == ("0.0551", "in", "1.39954", "conforms")


def test_two_units_for_one_value_are_refused(shop, programs):
    sample = shop.sample(shop.set_up(), "first piece", 5)
    reading = {"characteristic": "crimp height", "piece": 1, "value": "0.0551 in", "unit": "mm"}

    answer = programs["operator"].ask("POST", f"samples/{sample['id']}/readings/", reading)

    assert (answer.status, [(f["rule"], f["field"]) for f in answer.json["findings"]]) == (422, [("data.invalid", "unit")])
