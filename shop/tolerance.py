"""Limits as a drawing writes them: "1.40 ±0.05", "1.40 +0.05 -0.03", "1.35..1.45"; read into mm, exact in Decimal."""

from __future__ import annotations

import re
from dataclasses import dataclass
from decimal import Decimal

from shop.quantity import NotAQuantity, parse_length_mm

EXPECTED = 'limits such as "1.40 ±0.05", "1.40 +0.05 -0.03" or "1.35..1.45", in mm or with "in" at the end'

_NUMBER = r"[0-9.,]+"
_UNIT = r"(?P<unit>mm|in\.?|inch|\"|″|mils?|µm|μm|um)?"
_BOTH_WAYS = re.compile(rf"(?P<nominal>{_NUMBER})\s*(?:±|\+/-|\+-)\s*(?P<step>{_NUMBER})\s*{_UNIT}", re.I)
_EACH_WAY = re.compile(rf"(?P<nominal>{_NUMBER})\s*\+\s*(?P<up>{_NUMBER})\s*/?\s*[-−]\s*(?P<down>{_NUMBER})\s*{_UNIT}", re.I)
_FROM_TO = re.compile(rf"(?P<low>[0-9]+(?:[.,][0-9]+)?)\s*(?:\.\.\.?|…|–|\bto\b)\s*(?P<high>{_NUMBER})\s*{_UNIT}", re.I)


@dataclass(frozen=True, slots=True)
class Limits:
    """Lowest and highest value in mm; nominal is None where only the two ends were written."""

    low_mm: Decimal
    nominal_mm: Decimal | None
    high_mm: Decimal


def parse_limits_mm(text: str) -> Limits:
    """Read toleranced limits. One unit at the end holds for every figure. Raises NotAQuantity."""
    bare = " ".join(text.split())
    if match := _BOTH_WAYS.fullmatch(bare):
        nominal, step = _lengths(text, match, "nominal", "step")
        return _ordered(text, nominal - step, nominal, nominal + step)
    if match := _EACH_WAY.fullmatch(bare):
        nominal, up, down = _lengths(text, match, "nominal", "up", "down")
        return _ordered(text, nominal - down, nominal, nominal + up)
    if match := _FROM_TO.fullmatch(bare):
        low, high = _lengths(text, match, "low", "high")
        return _ordered(text, low, None, high)
    raise NotAQuantity(text, EXPECTED, "It is not a pair of limits." if bare else "Nothing was typed.", "not_a_number")


def _lengths(text: str, match: re.Match[str], *names: str) -> list[Decimal]:
    try:
        return [parse_length_mm(f"{match[name]} {match['unit'] or 'mm'}").value for name in names]
    except NotAQuantity as error:
        raise NotAQuantity(text, EXPECTED, error.reason, error.code) from None


def _ordered(text: str, low: Decimal, nominal: Decimal | None, high: Decimal) -> Limits:
    if low <= 0 or low > high:
        raise NotAQuantity(text, EXPECTED, "The lower limit is not above zero and below the upper one.", "not_a_number")
    return Limits(low, nominal, high)
