import math
from decimal import Decimal

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from shop.conductor import (
    CSA_PLACES,
    Conductor,
    NotASize,
    awg_area_mm2,
    awg_diameter_mm,
    awg_name,
    awg_number,
    cmil_to_mm2,
    combined_csa_mm2,
    enclosing_diameter_mm,
    equivalent_awg,
    mm2_to_cmil,
    parse_size,
    stranding_area_mm2,
)
from shop.resistance import at_temperature, r20_max_ohm_per_km, resistance_ohm_per_km

SIZES = [
    ("AWG 20", "0.5176", None, "20"),
    ("20 AWG", "0.5176", None, "20"),
    ("20AWG", "0.5176", None, "20"),
    ("awg20", "0.5176", None, "20"),
    ("4/0 AWG", "107.2193", None, "4/0"),
    ("AWG 4/0", "107.2193", None, "4/0"),
    ("4/0", "107.2193", None, "4/0"),
    ("AWG 00", "67.4309", None, "2/0"),
    ("AWG 20 (19/32)", "0.6162", 19, "20"),
    ("AWG 20 19/32", "0.6162", 19, "20"),
    ("20 AWG (19/32)", "0.6162", 19, "20"),
    ("19/32", "0.6162", 19, None),
    ("0.5 mm2", "0.5", None, None),
    ("0.5 mm²", "0.5", None, None),
    ("0.5", "0.5", None, None),
    ("0,5 mm²", "0.5", None, None),
    ("16 mm²", "16", None, None),
    ("120", "120", None, None),
    ("19x0.2", "0.5969", 19, None),
    ("19 x 0.20 mm", "0.5969", 19, None),
    ("19×0,2", "0.5969", 19, None),
    ("7x0.0063 in", "0.1408", 7, None),
    ("1620 cmil", "0.8209", None, None),
    ("250 kcmil", "126.6769", None, None),
    ("1 x 0.8 mm", "0.5027", 1, None),
]


@pytest.mark.parametrize(("text", "csa", "strands", "awg"), SIZES)
def test_size_is_read_in_every_usual_spelling(text, csa, strands, awg):
    size = parse_size(text)
    assert (size.text, size.csa_mm2, size.strands, size.awg) == (text, Decimal(csa), strands, awg)


def test_stranded_gauge_has_the_area_of_its_own_stranding():
    assert parse_size("AWG 20 (19/32)").csa_mm2 > parse_size("AWG 20").csa_mm2
    assert parse_size("7x0.0063 in").strand_diameter_mm == Decimal("0.16002")


@pytest.mark.parametrize(
    ("text", "reason"),
    [
        ("16", "AWG 16 or 16 mm²"),
        ("AWG 20/32", "gauge with a strand count"),
        ("22/19", "write the gauge too"),
        ("3x1.5", "cable of 3 cores"),
        ("3x1.5 mm²", "cable of several cores"),
        ("0.8 mm", "diameter alone"),
        ("1,234 mm²", "1.234 or 1234"),
        ("AWG 20 (19/23)", "19/23 is 4.9173 mm², but AWG 20 is 0.5176 mm²"),
        ("7x0.0063", "check the unit"),
        ("5/0", "not a gauge"),
        ("19/0", "not a gauge"),
        ("AWG 41", "smaller than AWG 40"),
        ("AWG 219/32", "gauge with a strand count"),
        ("0", "outside"),
        ("0 mm²", "outside"),
        ("0.001 mm²", "outside"),
        ("5000 mm²", "outside"),
        ("99999999999999", "outside"),
        ("0x0.2", "number of strands"),
        ("-0.5 mm²", "not a conductor size"),
        ("nan", "not a conductor size"),
        ("inf mm²", "not a conductor size"),
        ("NaN x 0.2", "not a conductor size"),
        ("AWG 20 (19/32", "not a conductor size"),
        ("red", "not a conductor size"),
        ("", "Nothing was typed"),
        ("0.5 mm² " * 9, "too long"),
    ],
)
def test_size_that_is_none_or_could_be_two_is_refused_with_its_reason(text, reason):
    with pytest.raises(NotASize) as refused:
        parse_size(text)
    assert reason in refused.value.reason
    assert str(refused.value).endswith(NotASize.EXPECTED)


@given(st.text(max_size=30))
def test_size_from_any_text_is_a_sane_area_or_refused(text):
    try:
        size = parse_size(text)
    except NotASize:
        return
    assert Decimal("0.005") <= size.csa_mm2 <= 1000
    assert size.csa_mm2 == size.csa_mm2.quantize(CSA_PLACES)


@given(st.decimals("0.01", "500", places=4))
def test_area_as_typed_is_kept_exactly(area):
    for text in (f"{area:f} mm²", f"{area:f} mm2".replace(".", ","), f"{area:f}mm^2"):
        assume("," not in text or len(text.split(",")[1].split()[0]) == 4)
        assert parse_size(text).csa_mm2 == area


def test_three_wires_of_a_tenth_make_exactly_three_tenths():
    assert combined_csa_mm2([Decimal("0.1")] * 3) == Decimal("0.3")
    assert combined_csa_mm2([parse_size("0.1 mm²"), parse_size("0.1"), Decimal("0.1")]) == Decimal("0.3")


@given(st.lists(st.decimals("0.005", "1000", places=4), min_size=1, max_size=8), st.randoms())
def test_combined_area_does_not_depend_on_the_order(areas, random):
    shuffled = areas[:]
    random.shuffle(shuffled)
    assert combined_csa_mm2(areas) == combined_csa_mm2(shuffled)


@pytest.mark.parametrize("n", range(-3, 57))
def test_gauge_survives_its_name_and_grows_thinner(n):
    assert awg_number(awg_name(n)) == n
    assert awg_area_mm2(n) > awg_area_mm2(n + 1)


@given(st.integers(-3, 40))
def test_equivalent_gauge_of_a_gauge_is_itself(n):
    found = equivalent_awg(awg_area_mm2(n))
    assert found.nearest == awg_name(n)
    assert math.isclose(found.number, n, abs_tol=1e-9)


@given(st.decimals("0.005", "1000", places=4), st.decimals("0.005", "1000", places=4))
def test_equivalent_gauge_number_falls_as_the_area_grows(one, other):
    assume(one < other)
    assert equivalent_awg(one).number > equivalent_awg(other).number


@pytest.mark.parametrize("area", [Decimal(0), Decimal(-1), Decimal("NaN"), Decimal("Infinity")])
def test_gauge_and_resistance_of_no_area_are_refused(area):
    with pytest.raises(ValueError, match="positive"):
        equivalent_awg(area)
    with pytest.raises(ValueError, match="positive"):
        resistance_ohm_per_km(area)


@given(st.decimals("0.005", "1000", places=6))
def test_circular_mils_and_square_millimetres_convert_both_ways(area):
    assert abs(cmil_to_mm2(mm2_to_cmil(area)) - area) < Decimal("1e-20")


def test_one_thousand_circular_mils_is_a_wire_of_that_diameter():
    mil_31_6 = Decimal("31.6227766016838") * Decimal("0.0254")
    assert abs(cmil_to_mm2(Decimal(1000)) - stranding_area_mm2(1, mil_31_6)) < Decimal("1e-12")


@pytest.mark.parametrize(
    ("count", "ratio"),
    [(1, 1), (2, 2), (3, 1 + 2 / 3**0.5), (4, 1 + 2**0.5), (5, 1 + (2 * (1 + 5**-0.5)) ** 0.5), (6, 3), (7, 3)],
)
def test_enclosing_circle_of_equal_wires_is_the_published_packing(count, ratio):
    circle = enclosing_diameter_mm([Decimal("1.7")] * count)
    assert not circle.estimate
    assert abs(float(circle.diameter_mm) - 1.7 * ratio) <= 0.0005


def test_enclosing_circle_of_two_wires_is_their_sum():
    circle = enclosing_diameter_mm([Decimal("2.1"), Decimal("1.35")])
    assert (circle.diameter_mm, circle.estimate) == (Decimal("3.45"), False)


def test_enclosing_circle_of_three_unequal_wires_is_found_and_marked_an_estimate():
    # Two wires of 3 in a circle of 6 leave a gap for one of exactly 2 (Descartes' theorem): it adds nothing.
    filled = enclosing_diameter_mm([Decimal(3), Decimal(3), Decimal(2)])
    assert (filled.diameter_mm, filled.estimate) == (Decimal("6.000"), True)
    # A third one larger than the gap pushes the circle out, to the one that touches all three (Descartes' theorem again).
    k1, k2, k3 = 1 / 2.0, 1 / 2.0, 1 / 1.75
    outer = 1 / (2 * math.sqrt(k1 * k2 + k2 * k3 + k3 * k1) - (k1 + k2 + k3))
    found = float(enclosing_diameter_mm([Decimal(4), Decimal(4), Decimal("3.5")]).diameter_mm)
    assert 2 * outer <= found < 2 * outer + 0.005


ods = st.lists(st.decimals("0.5", "9", places=2), min_size=1, max_size=9)


@given(ods, st.randoms())
def test_enclosing_circle_is_bounded_and_ignores_the_order(diameters, random):
    circle = enclosing_diameter_mm(diameters)
    shuffled = diameters[:]
    random.shuffle(shuffled)
    assert enclosing_diameter_mm(shuffled) == circle
    areas = sum(float(d) ** 2 for d in diameters) ** 0.5
    two = sum(sorted(diameters)[-2:])
    assert max(areas - 0.001, float(two) - 0.001) <= float(circle.diameter_mm) <= float(sum(diameters)) + 0.001
    assert circle.at_least_mm <= circle.diameter_mm
    if not circle.estimate:
        assert circle.at_least_mm == circle.diameter_mm


@pytest.mark.parametrize("bad", [[], [Decimal(0)], [Decimal(1), Decimal("-2")], [Decimal("NaN")], [Decimal("Infinity"), Decimal(1)]])
def test_enclosing_circle_without_proper_diameters_is_refused(bad):
    with pytest.raises(ValueError, match="finite, positive"):
        enclosing_diameter_mm(bad)


def test_resistance_rises_by_a_fifth_over_fifty_kelvin():
    cold = resistance_ohm_per_km(Decimal("0.5"))
    assert cold == Decimal("34.482")
    assert resistance_ohm_per_km(Decimal("0.5"), Decimal(70)) == cold * Decimal("1.1965")
    assert at_temperature(Decimal(39), Decimal(20)) == Decimal(39)


def test_resistance_limit_needs_a_nominal_size_of_the_table():
    assert r20_max_ohm_per_km(Decimal("0.50"), 5, metal_coated=False) == Decimal("39.0")
    assert r20_max_ohm_per_km(Decimal("0.50"), 5, metal_coated=True) == Decimal("40.1")
    assert r20_max_ohm_per_km(Decimal("0.55"), 5, metal_coated=False) is None
    assert r20_max_ohm_per_km(Decimal("0.5"), 3, metal_coated=False) is None


def test_conductor_is_a_plain_fact():
    assert parse_size("0.5") == Conductor("0.5", Decimal("0.5"))
    assert awg_diameter_mm(36) == Decimal("0.127")
