from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shop.quantity import (
    NotAQuantity,
    Typed,
    parse_area_mm2,
    parse_force_n,
    parse_length_mm,
    parse_number,
    parse_temperature_c,
    parse_voltage_v,
    show_area,
    show_force,
    show_length,
)


@pytest.mark.parametrize(
    ("parse", "text", "value"),
    [
        (parse_length_mm, "1.40", "1.40"),
        (parse_length_mm, " 1,40 mm ", "1.40"),
        (parse_length_mm, "1.40MM", "1.40"),
        (parse_length_mm, "1400 µm", "1.4"),
        (parse_length_mm, "0.055 in", "1.397"),
        (parse_length_mm, '0.055"', "1.397"),
        (parse_length_mm, "55 mil", "1.397"),
        (parse_length_mm, "+1.402E+00", "1.402"),
        (parse_length_mm, "−0.01 mm", "-0.01"),
        (parse_length_mm, "0,234", "0.234"),
        (parse_length_mm, ".5", "0.5"),
        (parse_force_n, "89", "89"),
        (parse_force_n, "0.12 kN", "120"),
        (parse_force_n, "1 lbf", "4.4482216152605"),
        (parse_force_n, "2 kgf", "19.6133"),
        (parse_area_mm2, "0.5 mm²", "0.5"),
        (parse_area_mm2, "1 in2", "645.16"),
        (parse_temperature_c, "105", "105"),
        (parse_temperature_c, "221 °F", "105"),
        (parse_temperature_c, "378.15 K", "105"),
        (parse_voltage_v, "0.6 kV", "600"),
    ],
)
def test_quantity_is_read_exactly_and_its_text_kept(parse, text, value):
    assert parse(text) == Typed(text.strip(), Decimal(value))


def test_trailing_zero_stays_as_typed():
    assert str(parse_length_mm("1.80").value) == "1.80"


@pytest.mark.parametrize(
    ("parse", "text", "code"),
    [
        (parse_length_mm, "", "not_a_number"),
        (parse_length_mm, "high", "not_a_number"),
        (parse_length_mm, "mm", "not_a_number"),
        (parse_length_mm, "in", "not_a_number"),
        (parse_length_mm, "1.4 1.5", "not_a_number"),
        (parse_length_mm, "1.4.", "not_a_number"),
        (parse_length_mm, "١.٤", "not_a_number"),
        (parse_length_mm, "1" * 16, "not_a_number"),
        (parse_length_mm, "1.4 mm " * 9, "not_a_number"),
        (parse_length_mm, "1,234.5", "ambiguous"),
        (parse_length_mm, "1.234,5", "ambiguous"),
        (parse_length_mm, "1,234", "ambiguous"),
        (parse_length_mm, "12,345 mm", "ambiguous"),
        (parse_length_mm, "1 234.5", "ambiguous"),
        (parse_length_mm, "1'234.5", "ambiguous"),
        (parse_length_mm, "1.4.5", "ambiguous"),
        (parse_length_mm, "nan", "not_finite"),
        (parse_length_mm, "-inf mm", "not_finite"),
        (parse_length_mm, "Infinity", "not_finite"),
        (parse_length_mm, "1.4 N", "wrong_unit"),
        (parse_length_mm, "1.4 mm²", "wrong_unit"),
        (parse_length_mm, "1.4 furlong", "wrong_unit"),
        (parse_force_n, "20 mm", "wrong_unit"),
        (parse_force_n, "20 lb", "wrong_unit"),
        (parse_force_n, "9 kg", "wrong_unit"),
        (parse_temperature_c, "105 V", "wrong_unit"),
        (parse_area_mm2, "0.5 mm", "wrong_unit"),
    ],
)
def test_quantity_that_cannot_be_taken_is_refused_with_its_code(parse, text, code):
    with pytest.raises(NotAQuantity) as refused:
        parse(text)
    assert refused.value.code == code
    assert refused.value.text == text.strip()
    assert refused.value.expected in str(refused.value)


def test_mass_given_for_a_force_is_told_how_to_write_it():
    with pytest.raises(NotAQuantity, match="kgf"):
        parse_force_n("9 kg")


def test_lone_comma_before_three_digits_offers_both_readings():
    with pytest.raises(NotAQuantity, match=r"write 1\.234 or 1234"):
        parse_length_mm("1,234")


@given(st.decimals("-99999", "99999", places=4))
def test_millimetres_come_back_as_typed(value):
    assert parse_length_mm(f"{value:f} mm").value == value


@given(st.decimals("0", "9999", places=4))
def test_inches_and_pounds_convert_exactly(value):
    assert parse_length_mm(f"{value:f} in").value == value * Decimal("25.4")
    assert parse_force_n(f"{value:f} lbf").value == value * Decimal("4.4482216152605")
    assert parse_length_mm(f"{value:f}", "in") == Typed(f"{value:f}", value * Decimal("25.4"))


@given(st.text(max_size=20), st.sampled_from([parse_length_mm, parse_force_n, parse_temperature_c]))
def test_any_text_is_a_finite_number_or_refused(text, parse):
    try:
        typed = parse(text)
    except NotAQuantity:
        return
    assert typed.value.is_finite()


@given(st.decimals("-999", "999", places=3))
def test_number_reads_the_same_with_point_and_unambiguous_comma(value):
    text = f"{value:.2f}"
    assert parse_number(text) == parse_number(text.replace(".", ",")) == Decimal(text)


@pytest.mark.parametrize(
    ("shown", "text"),
    [
        (show_length(Decimal("1.4000"), "metric"), "1.40 mm"),
        (show_length(Decimal("1.4025"), "metric"), "1.4025 mm"),
        (show_length(Decimal("1.4"), "inch"), "0.0551 in"),
        (show_force(Decimal("89"), "metric"), "89.0 N"),
        (show_force(Decimal("88.964"), "inch"), "20.0 lbf"),
        (show_area(Decimal("0.5000"), "metric"), "0.5 mm²"),
        (show_area(Decimal("120"), "metric"), "120 mm²"),
        (show_area(Decimal("0.5176"), "inch"), "1021 cmil"),
    ],
)
def test_quantity_is_shown_in_the_readers_system(shown, text):
    assert shown == text
