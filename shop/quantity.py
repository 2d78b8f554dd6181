"""Quantities at the edge: text a person or a gauge typed, with or without a unit, into an exact Decimal in the stored unit.

Inside the program the unit stands in the name (`height_mm`, `force_n`); only this module knows other units. Nothing is guessed: a
text that can be read two ways, or that measures something else, is refused with the reason. Conversions are exact in Decimal:
1 in = 25.4 mm and 1 lbf = 4.4482216152605 N by definition (NIST SP 811, appendix B).
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from decimal import ROUND_HALF_UP, Decimal
from typing import Any, Literal

import pint

System = Literal["metric", "inch"]
Reason = Literal["not_a_number", "wrong_unit", "ambiguous", "not_finite"]

# A registry with only the units a shop writes: anything else ("furlong") is unknown rather than converted. pi is needed for the
# circular mil alone, to more places than a Decimal keeps by default.
_PI = Decimal("3.141592653589793238462643383")
_registry: Any = pint.UnitRegistry(None, non_int_type=Decimal)
for _definition in (
    "millimetre = [length] = mm",
    "centimetre = 10 * millimetre",
    "metre = 1000 * millimetre",
    "micrometre = 0.001 * millimetre",
    "inch = 25.4 * millimetre",
    "foot = 304.8 * millimetre",
    "mil = 0.0254 * millimetre",
    "square_millimetre = millimetre ** 2",
    "square_inch = 645.16 * millimetre ** 2",
    f"circular_mil = {_PI / 4 * Decimal('0.00064516')} * millimetre ** 2",
    f"kilo_circular_mil = {_PI / 4 * Decimal('0.64516')} * millimetre ** 2",
    "newton = [force] = N",
    "kilonewton = 1000 * newton",
    "pound_force = 4.4482216152605 * newton",
    "ounce_force = 0.27801385095378125 * newton",
    "kilogram_force = 9.80665 * newton",
    "kelvin = [temperature] = K",
    "degree_celsius = kelvin; offset: 273.15",
    f"degree_fahrenheit = {Decimal(5) / 9} * kelvin; offset: {Decimal('459.67') * 5 / 9}",
    "volt = [voltage] = V",
    "kilovolt = 1000 * volt",
    "milliohm = [resistance]",
    "microohm = 0.001 * milliohm",
    "ohm = 1000 * milliohm",
    "percent = []",
    "ampere = [current] = A",
    "milliampere = 0.001 * ampere",
    "kilogram = [mass] = kg",
    "pound = 0.45359237 * kilogram",
):
    _registry.define(_definition)

# What people write -> the unit. Spellings are compared without spaces and in lower case; no two of them differ by case alone.
_SPELLINGS: dict[str, str] = {
    "mm": "millimetre", "millimetre": "millimetre", "millimeter": "millimetre",
    "cm": "centimetre", "m": "metre",
    "µm": "micrometre", "μm": "micrometre", "um": "micrometre",
    "in": "inch", "in.": "inch", "inch": "inch", "inches": "inch", '"': "inch", "″": "inch",
    "ft": "foot", "mil": "mil", "mils": "mil", "thou": "mil",
    "mm2": "square_millimetre", "mm²": "square_millimetre", "mm^2": "square_millimetre",
    "sqmm": "square_millimetre", "qmm": "square_millimetre",
    "in2": "square_inch", "in²": "square_inch", "in^2": "square_inch",
    "cmil": "circular_mil", "kcmil": "kilo_circular_mil", "mcm": "kilo_circular_mil",
    "n": "newton", "kn": "kilonewton", "lbf": "pound_force", "ozf": "ounce_force", "kgf": "kilogram_force", "kp": "kilogram_force",
    "°c": "degree_celsius", "c": "degree_celsius", "degc": "degree_celsius", "℃": "degree_celsius",
    "°f": "degree_fahrenheit", "f": "degree_fahrenheit", "degf": "degree_fahrenheit", "k": "kelvin",
    "v": "volt", "kv": "kilovolt",
    "mω": "milliohm", "mohm": "milliohm", "µω": "microohm", "μω": "microohm", "uohm": "microohm", "ω": "ohm", "ohm": "ohm",
    "%": "percent", "a": "ampere", "ma": "milliampere",
    "kg": "kilogram", "lb": "pound", "lbs": "pound",
}  # fmt: skip

LONGEST_TEXT = 40
"""A longer text is no reading; the limit also keeps every product exact in Decimal's 28 digits."""
LONGEST_NUMBER = 15
LARGEST_POWER = 20
"""Powers of ten beyond which a number is a slip: and past which rounding to four places would overflow. Our own choice."""

TEMPERATURE_PLACES = Decimal("0.01")
"""Temperatures are rounded half up to this, in degrees Celsius: 5/9 has no finite decimal."""

_NUMBER = re.compile(r"([+\-−]?)((?:[0-9]+(?:[.,][0-9]+)*)|(?:[.,][0-9]+))(?:[eE]([+\-]?[0-9]{1,2}))?")
_NOT_FINITE = re.compile(r"[+\-−]?(nan|snan|inf|infinity|∞)", re.IGNORECASE)


class NotAQuantity(ValueError):  # noqa: N818  # reads as what happened
    """A text that cannot be taken as a quantity. The parts are attributes; the sentence is built late.

    text: as typed. expected: what would be accepted, such as "a length in mm or in". reason: what is wrong with it.
    code: "not_a_number", "wrong_unit", "ambiguous" or "not_finite".
    """

    def __init__(self, text: str, expected: str, reason: str, code: Reason) -> None:
        self.text, self.expected, self.reason, self.code = text, expected, reason, code
        super().__init__(text, expected, reason, code)

    def __str__(self) -> str:
        return f'"{self.text}": {self.reason} Expected {self.expected}.'


@dataclass(frozen=True, slots=True)
class Typed:
    """A quantity as typed and in the stored unit: "1.80" keeps its zero, and a signature covers the text.

    number, unit: the two parts of the text; where it named no unit, the one that was taken.
    """

    text: str
    value: Decimal
    number: str = field(default="", compare=False)
    unit: str = field(default="", compare=False)


@dataclass(frozen=True, slots=True)
class _Dimension:
    """One kind of quantity: its stored unit, its default unit as a spelling, and what a refusal says is expected."""

    unit: str
    default: str
    expected: str
    mass_hint: str = ""


_LENGTH = _Dimension("millimetre", "mm", "a length in mm, µm, in or mil")
_AREA = _Dimension("square_millimetre", "mm2", "an area in mm² or cmil")
_FORCE = _Dimension("newton", "N", "a force in N, kN, lbf or kgf", mass_hint=" It is a mass: write lbf or kgf for a force.")
_TEMPERATURE = _Dimension("degree_celsius", "°C", "a temperature in °C, °F or K")
_VOLTAGE = _Dimension("volt", "V", "a voltage in V or kV")
_RESISTANCE = _Dimension("milliohm", "mohm", "a resistance in mΩ, µΩ or Ω")
_CURRENT = _Dimension("ampere", "A", "a current in A or mA")
_SHARE = _Dimension("percent", "%", "a share in %")


def parse_number(text: str, expected: str = "a number") -> Decimal:
    """A number without a unit, exact. Point or comma as the decimal mark where it can be read one way only.

    Refused: thousands marks of any kind ("1,234.5", "1.234,5", "1 234"), and a lone comma before exactly three digits ("1,234"),
    which is 1.234 to one reader and 1234 to another; "0,234" can be read one way only. Raises NotAQuantity.
    """
    bare = text.strip()
    if _NOT_FINITE.fullmatch(bare):
        raise NotAQuantity(text, expected, "It is not a finite number.", "not_finite")
    match = _NUMBER.fullmatch(bare)
    if match is None or len(bare) > LONGEST_TEXT:
        if re.fullmatch(r"[+\-−]?[0-9]{1,3}(?:[\s'’][0-9]{3})+(?:[.,][0-9]+)?", bare):
            raise NotAQuantity(text, expected, "It holds a thousands mark; write the digits without it.", "ambiguous")
        raise NotAQuantity(text, expected, "It is not a number." if bare else "Nothing was typed.", "not_a_number")
    sign, digits, exponent = match.groups()
    if len(re.sub("[.,]", "", digits)) > LONGEST_NUMBER:
        raise NotAQuantity(text, expected, f"It has more than {LONGEST_NUMBER} digits.", "not_a_number")
    if digits.count(".") + digits.count(",") > 1:
        raise NotAQuantity(text, expected, "It holds a thousands mark or two decimal marks; write one decimal point only.", "ambiguous")
    whole, comma, fraction = digits.partition(",")
    if comma and len(fraction) == 3 and len(whole) <= 3 and whole.strip("0"):
        reason = f"The comma can be a decimal mark or a thousands mark; write {whole}.{fraction} or {whole}{fraction}."
        raise NotAQuantity(text, expected, reason, "ambiguous")
    number = Decimal(f"{'-' if sign in ('-', '−') else ''}{digits.replace(',', '.')}{'E' + exponent if exponent else ''}")
    if number and abs(number.adjusted()) > LARGEST_POWER:
        raise NotAQuantity(text, expected, "It is far beyond anything measured here.", "not_a_number")
    return number


def _parse(text: str, dimension: _Dimension, default_unit: str) -> Typed:
    bare = text.strip()
    # The unit begins at the first character that cannot belong to a number; an exponent's letter belongs to the number, and "nan" or
    # "inf" are words of their own (otherwise "inf" would read as a unit of one inch and a stray f).
    head = re.match(r"[+\-−]?[0-9.,\s'’]*(?:(?<=[0-9])[eE][+\-]?[0-9]+)?", bare)
    number_text = head.group().strip() if head else ""
    unit_text = bare[head.end() :].strip() if head else bare
    if _NOT_FINITE.match(bare):
        raise NotAQuantity(bare, dimension.expected, "It is not a finite number.", "not_finite")
    if len(bare) > LONGEST_TEXT or not number_text.strip("+-−"):
        raise NotAQuantity(bare, dimension.expected, "It is not a number." if bare else "Nothing was typed.", "not_a_number")
    try:
        number = parse_number(number_text, dimension.expected)
    except NotAQuantity as refused:
        raise NotAQuantity(bare, refused.expected, refused.reason, refused.code) from None
    unit = _unit(unit_text or default_unit)
    if unit is None:
        if re.search(r"[0-9]", unit_text):
            raise NotAQuantity(bare, dimension.expected, "It is not one number with a unit.", "not_a_number")
        raise NotAQuantity(bare, dimension.expected, f"The unit {unit_text or default_unit} is not known here.", "wrong_unit")
    try:
        value = _registry.Quantity(number, unit).to(dimension.unit).magnitude
    except pint.DimensionalityError:
        reason = f"The unit {unit_text or default_unit} does not measure this."
        if unit in ("kilogram", "pound"):
            reason += dimension.mass_hint
        raise NotAQuantity(bare, dimension.expected, reason, "wrong_unit") from None
    return Typed(bare, Decimal(value), number_text, unit_text or default_unit)


def _unit(spelling: str) -> str | None:
    """The unit behind a spelling, or None. Case is ignored, because caps lock is common; only a megohm would become a milliohm by it."""
    if re.match(r"\s*M\s*(Ω|Ω|ohm)", spelling, re.IGNORECASE) and spelling.lstrip().startswith("M"):
        return None
    return _SPELLINGS.get(spelling.replace(" ", "").lower())


def parse_length_mm(text: str, default_unit: str = "mm") -> Typed:
    """A length in mm. "1.40", "1,40 mm", "0.055 in"; a text without a unit is in `default_unit`. A sign is kept. Raises NotAQuantity."""
    return _parse(text, _LENGTH, default_unit)


def parse_area_mm2(text: str, default_unit: str = "mm2") -> Typed:
    """An area in mm². For conductor sizes with gauges and strandings see `shop.conductor.parse_size`. Raises NotAQuantity."""
    return _parse(text, _AREA, default_unit)


def parse_force_n(text: str, default_unit: str = "N") -> Typed:
    """A force in N. kg and lb are masses and are refused, kgf and lbf accepted. Raises NotAQuantity."""
    return _parse(text, _FORCE, default_unit)


def parse_temperature_c(text: str, default_unit: str = "°C") -> Typed:
    """A temperature in degrees Celsius, rounded to `TEMPERATURE_PLACES`. Raises NotAQuantity."""
    typed = _parse(text, _TEMPERATURE, default_unit)
    return Typed(typed.text, typed.value.quantize(TEMPERATURE_PLACES, ROUND_HALF_UP))


def parse_voltage_v(text: str, default_unit: str = "V") -> Typed:
    """A voltage in V. Raises NotAQuantity."""
    return _parse(text, _VOLTAGE, default_unit)


def _shown(value: Decimal, least: int, most: int) -> str:
    """Rounded half up to `most` places, trailing zeros dropped down to `least` places."""
    text = format(value.quantize(Decimal(1).scaleb(-most), ROUND_HALF_UP), "f")
    while most > least and text.endswith("0"):
        text, most = text[:-1], most - 1
    return text


def show_length(value_mm: Decimal, system: System) -> str:
    """A length for display: "1.40 mm" or "0.0551 in". For reading only; a verdict is always taken on the stored value."""
    if system == "inch":
        return f"{_shown(value_mm / Decimal('25.4'), 4, 4)} in"
    return f"{_shown(value_mm, 2, 4)} mm"


def show_area(value_mm2: Decimal, system: System) -> str:
    """A conductor area for display: "0.5 mm²" or "1020 cmil"."""
    if system == "inch":
        return f"{_shown(value_mm2 / (_PI / 4 * Decimal('0.00064516')), 0, 0)} cmil"
    return f"{_shown(value_mm2, 0, 4).rstrip('.')} mm²"


def show_force(value_n: Decimal, system: System) -> str:
    """A force for display: "89.0 N" or "20.0 lbf"."""
    if system == "inch":
        return f"{_shown(value_n / Decimal('4.4482216152605'), 1, 1)} lbf"
    return f"{_shown(value_n, 1, 2)} N"


def parse_current_a(text: str, default_unit: str = "A") -> Typed:
    """A current in A. "7.5", "500 mA". Raises NotAQuantity."""
    return _parse(text, _CURRENT, default_unit)


def parse_resistance_mohm(text: str, default_unit: str = "mohm") -> Typed:
    """A resistance in mΩ. "0.85", "850 µΩ". Raises NotAQuantity."""
    return _parse(text, _RESISTANCE, default_unit)


def parse_share_pct(text: str, default_unit: str = "%") -> Typed:
    """A share in %. "86.5", "86.5 %". Raises NotAQuantity."""
    return _parse(text, _SHARE, default_unit)
