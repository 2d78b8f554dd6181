from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shop.quantity import NotAQuantity
from shop.tolerance import Limits, parse_limits_mm

D = Decimal


@pytest.mark.parametrize(
    ("text", "low", "nominal", "high"),
    [
        ("1.40 ±0.05", "1.35", "1.40", "1.45"),
        ("1.40 +/- 0.05 mm", "1.35", "1.40", "1.45"),
        ("1,40±0,05", "1.35", "1.40", "1.45"),
        ("1.40 +0.05 -0.03", "1.37", "1.40", "1.45"),
        ("1.40 +0.05/-0", "1.40", "1.40", "1.45"),
        ("1.35..1.45", "1.35", None, "1.45"),
        ("1.35 to 1.45 mm", "1.35", None, "1.45"),
        ("0.055 ±0.002 in", "1.3462", "1.3970", "1.4478"),
    ],
)
def test_limits_as_written(text, low, nominal, high):
    assert parse_limits_mm(text) == Limits(D(low), nominal and D(nominal), D(high))


@pytest.mark.parametrize("text", ["", "1.40", "1.40 ± 0.05 kg", "±0.05", "1.45..1.35", "0.05 ±0.10", "1.4 +-", "1.234,5 ±0.1"])
def test_limits_refused(text):
    with pytest.raises(NotAQuantity):
        parse_limits_mm(text)


@given(st.decimals("0.5", "50", places=3), st.decimals("0", "0.4", places=3))
def test_limits_read_back(nominal, step):
    assert parse_limits_mm(f"{nominal} ±{step}") == Limits(nominal - step, nominal, nominal + step)
