"""Resistance at other temperatures against the correction of IEC 60228: the factors of its table, and its exact formulas.

The factors: as a public reproduction of the standard prints them for copper (5 to 100 °C). The formulas: annex B of GOST 22483-2021,
which adopts the standard.
"""

from decimal import Decimal

import pytest

from shop.resistance import METALS, at_temperature, table_factor, temperature_factor, to_20_c

TABLE = {
    5: "1.064", 10: "1.042", 15: "1.020", 20: "1.000", 25: "0.980", 30: "0.962", 35: "0.943", 40: "0.926", 45: "0.909", 50: "0.893",
    55: "0.877", 60: "0.862", 65: "0.847", 70: "0.833", 75: "0.820", 80: "0.806", 85: "0.794", 90: "0.781", 95: "0.769", 100: "0.758",
}  # fmt: skip


@pytest.mark.parametrize(("celsius", "factor"), TABLE.items())
def test_factor_is_that_of_the_table(celsius, factor):
    assert table_factor(Decimal(celsius)) == Decimal(factor)


@pytest.mark.parametrize("celsius", [-20, 0, 5, 20, 35, 70, 90, 100])
@pytest.mark.parametrize(("metal", "zero"), [("copper", "234.5"), ("tinned copper", "234.5"), ("aluminium", "228")])
def test_exact_factor_is_that_of_the_formula(celsius, metal, zero):
    printed = (Decimal(zero) + 20) / (Decimal(zero) + celsius)
    assert 1 / temperature_factor(Decimal(celsius), METALS[metal].per_kelvin) == pytest.approx(printed, rel=Decimal("0.0006"))


@pytest.mark.parametrize("celsius", TABLE)
def test_table_and_formula_agree_as_well_as_a_measurement_needs(celsius):
    assert to_20_c(Decimal(100), Decimal(celsius)) == pytest.approx(100 * table_factor(Decimal(celsius)), rel=Decimal("0.006"))


def test_resistance_at_working_temperature_is_a_handbook_case():
    """0.5 mm² class 5 at 70 °C: 39.0 ohm/km at 20 °C times 1.1965."""
    assert at_temperature(Decimal("39.0"), Decimal(70)) == Decimal("46.66350")
