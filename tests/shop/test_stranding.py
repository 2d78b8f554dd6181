from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shop.conductor import enclosing_diameter_mm, parse_size
from shop.sizes import every_size
from shop.stranding import bunched, concentric

strands = st.decimals("0.02", "5", places=3)


@pytest.mark.parametrize(
    ("count", "factor"),
    # Public copies of the ASTM B8 factors; 4, 14 and 27 by geometry.
    [
        (3, "2.155"),
        (7, "3"),
        (12, "4.155"),
        (19, "5"),
        (37, "7"),
        (61, "9"),
        (91, "11"),
        (127, "13"),
        (169, "15"),
        (217, "17"),
        (271, "19"),
    ],
)
def test_closed_layers_have_the_published_diameter(count, factor):
    assert concentric(count, Decimal(1)).diameter_mm == Decimal(factor)


@pytest.mark.parametrize("count", [2, 5, 6, 8, 16, 24, 26, 41, 65, 105])
def test_number_that_closes_no_layer_has_no_concentric_diameter(count):
    assert concentric(count, Decimal(1)) is None


@given(st.integers(1, 7), strands)
def test_few_strands_have_their_exact_circle(count, strand):
    assert bunched(count, strand).diameter_mm == pytest.approx(enclosing_diameter_mm([strand] * count).diameter_mm, abs=Decimal("0.001"))


@given(st.integers(1, 500), strands)
def test_one_more_strand_makes_no_slimmer_bunch_and_never_more_metal_than_circle(count, strand):
    one, more = bunched(count, strand), bunched(count + 1, strand)
    assert one.diameter_mm <= more.diameter_mm
    assert 0 < more.packing < 1


@given(st.integers(1, 5), strands, st.integers(2, 20))
def test_diameter_grows_with_the_strand(turns, strand, times):
    count = 1 + 3 * turns * (turns + 1)
    assert concentric(count, strand * times).diameter_mm == pytest.approx(
        concentric(count, strand).diameter_mm * times, abs=Decimal("0.02")
    )


@pytest.mark.parametrize("act", [lambda: bunched(0, Decimal(1)), lambda: bunched(7, Decimal(0)), lambda: concentric(7, Decimal("NaN"))])
def test_no_stranding_is_refused(act):
    with pytest.raises(ValueError, match="stran"):
        act()


def test_size_is_shown_in_every_other():
    shown = every_size(parse_size("AWG 20 (19/32)"))
    assert (shown.csa_mm2, shown.cmil, shown.awg.nearest, shown.solid_diameter_mm) == (
        Decimal("0.6162"),
        Decimal("1216.1"),
        "19",
        Decimal("0.886"),
    )
    assert (shown.strands, shown.strand_diameter_mm, shown.concentric.diameter_mm, shown.concentric.packing) == (
        19,
        Decimal("0.2032"),
        Decimal("1.016"),
        Decimal("0.760"),
    )


@given(st.decimals("0.01", "500", places=3))
def test_size_written_as_shown_is_the_same_size(area):
    """Round trip: shown in circular mils and as solid wire, and read again."""
    shown = every_size(parse_size(f"{area} mm2"))
    assert parse_size(f"{shown.cmil} cmil").csa_mm2 == pytest.approx(area, abs=Decimal("0.0001"))
    if Decimal("0.02") <= shown.solid_diameter_mm <= 12:
        assert parse_size(f"1 x {shown.solid_diameter_mm} mm").csa_mm2 == pytest.approx(area, rel=Decimal("0.02"))


def test_solid_wire_has_no_diameter_over_strands():
    shown = every_size(parse_size("1 x 0.8 mm"))
    assert (shown.concentric, shown.bunched) == (None, None)
