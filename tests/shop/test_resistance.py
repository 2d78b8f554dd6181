from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shop.conductor import Conductor, parse_size
from shop.materials import ConductorMaterial
from shop.resistance import (
    METALS,
    STRANDING_INCREMENT,
    at_temperature,
    conductor_resistance,
    metal_for,
    nearest_nominal_mm2,
    resistance_ohm_per_km,
    temperature_factor,
    to_20_c,
)

areas = st.decimals("0.01", "300", places=4)
temperatures = st.decimals("-80", "300", places=1)
metals = st.sampled_from(list(METALS))


@given(areas, areas, temperatures, metals)
def test_more_metal_resists_less(one, other, celsius, metal):
    small, large = sorted((one, other))
    thin, thick = (resistance_ohm_per_km(area, celsius, METALS[metal]) for area in (small, large))
    assert (thin > thick) == (small < large)


@given(areas, temperatures, temperatures, metals)
def test_warmer_metal_resists_more(area, one, other, metal):
    cold, warm = sorted((one, other))
    assert (resistance_ohm_per_km(area, cold, METALS[metal]) < resistance_ohm_per_km(area, warm, METALS[metal])) == (cold < warm)


@given(st.decimals("0.01", "500", places=3), temperatures, metals)
def test_correction_to_20_degrees_takes_back_what_the_temperature_did(r20, celsius, metal):
    per_kelvin = METALS[metal].per_kelvin
    assert to_20_c(at_temperature(r20, celsius, per_kelvin), celsius, per_kelvin) == pytest.approx(r20, rel=Decimal("1e-20"))


@given(areas, st.integers(1, 9), metals)
def test_resistance_of_wires_side_by_side_is_shared(area, count, metal):
    assert resistance_ohm_per_km(area * count, metal=METALS[metal]) * count == pytest.approx(
        resistance_ohm_per_km(area, metal=METALS[metal]), rel=Decimal("1e-20")
    )


def test_every_material_of_the_catalogue_but_steel_cored_has_a_figure():
    assert set(METALS) == {m.value for m in ConductorMaterial} - {"steel-cored"}
    assert conductor_resistance(parse_size("19x0.2"), "steel-cored") is None
    assert all(metal.source for metal in METALS.values())


def test_metals_stand_in_the_order_of_their_conductivity():
    order = sorted(METALS.values(), key=lambda metal: metal.ohm_mm2_per_km)
    assert [metal.code for metal in order] == [
        "copper", "silver-plated copper", "nickel-plated copper", "tinned copper", "copper alloy", "aluminium",
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("strand", "ohm_g_per_m2"),
    [
        ("8", "0.15695"),
        ("7.4", "0.15695"),
        ("3", "0.15776"),
        ("0.51", "0.15940"),
        ("0.3", "0.16279"),
        ("0.2", "0.16454"),
        (None, "0.16454"),
    ],
)
def test_tin_coat_counts_more_on_thinner_strands(strand, ohm_g_per_m2):
    metal = metal_for("tinned copper", Decimal(strand) if strand else None)
    assert metal.ohm_mm2_per_km == pytest.approx(Decimal(ohm_g_per_m2) / Decimal("8.89") * 1000, rel=Decimal("1e-20"))


def test_solid_conductor_has_no_stranding_increment():
    solid, stranded, unknown = parse_size("1 x 0.8 mm"), parse_size("7x0.3"), Conductor("0.5", Decimal("0.5"))
    assert conductor_resistance(solid, "copper") == resistance_ohm_per_km(solid.csa_mm2)
    for size in (stranded, unknown):
        assert conductor_resistance(size, "copper") == resistance_ohm_per_km(size.csa_mm2) * STRANDING_INCREMENT


@pytest.mark.parametrize("celsius", ["-81", "301", "NaN", "Infinity"])
def test_temperature_far_out_is_refused(celsius):
    with pytest.raises(ValueError, match="temperature"):
        temperature_factor(Decimal(celsius))


@pytest.mark.parametrize(
    ("area", "nominal"), [("0.5", "0.5"), ("0.5387", "0.5"), ("0.754", "0.75"), ("1.009", "1"), ("0.3", None), ("0.62", None)]
)
def test_nominal_size_is_named_only_where_one_is_near(area, nominal):
    assert nearest_nominal_mm2(Decimal(area)) == (Decimal(nominal) if nominal else None)
