"""The geometry of a limit bar: where limits and readings lie on a drawing, in percent of its width.

The template `_limit_bar.html` draws it. Decimal in, float out: a position on a screen is geometry, the verdict was passed before.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from inspection.verdict import Limits, Outcome

MARGIN = Decimal("0.7")
"""Room on either side of the limits, as a share of the tolerance: a value half a tolerance outside is still drawn. Our own choice."""

EDGE = 4.0
"""A value off the drawing stands this far from its edge, in percent, so that its number stays readable."""


@dataclass(frozen=True, slots=True)
class Mark:
    """One reading on the bar. at: percent from the left. earlier: a faint tick without its number."""

    at: float
    text: str
    outcome: str
    earlier: bool


@dataclass(frozen=True, slots=True)
class Bar:
    """What the template draws. low, nominal, high: texts, empty where there is none; the positions are percent from the left."""

    unit: str
    sentence: str
    low: str
    nominal: str
    high: str
    low_at: float
    nominal_at: float
    high_at: float
    within_at: float
    within_width: float
    marks: tuple[Mark, ...]


@dataclass(frozen=True, slots=True)
class Value:
    """A reading to be drawn: its value in the unit of the limits, the text that was typed, and how it was judged."""

    value: Decimal
    text: str
    outcome: Outcome


def span(limits: Limits) -> tuple[Decimal, Decimal]:
    """The values at the left and the right edge of the drawing."""
    low, high = limits.low, limits.high
    if low is not None and high is not None:
        room = (high - low) * MARGIN or abs(high) / 10 or Decimal(1)
        return low - room, high + room
    stated = low if low is not None else high
    if stated is None:  # Limits without any limit cannot be made
        raise AssertionError("a limit is stated")
    reach = abs(stated) or Decimal(1)
    # A least force: from half of it to two and a half times it, where good pulls lie.
    return (
        (stated - reach / 2, stated + reach * Decimal("1.5")) if low is not None else (stated - reach * Decimal("1.5"), stated + reach / 2)
    )


def _plain(value: Decimal) -> str:
    text = format(value.normalize(), "f")
    places = len(text.partition(".")[2])
    return text if places >= 2 or (value == value.to_integral_value() and abs(value) >= 20) else f"{value:.2f}"


def limit_bar(limits: Limits, unit: str, *, title: str, earlier: Sequence[Value] = (), current: Value | None = None) -> Bar:
    """The bar of a characteristic with the readings taken so far; `current` is the one that was just judged.

    Positions grow with the value and stay between EDGE and 100 - EDGE, however far off a reading is.
    """
    left, right = span(limits)

    def at(value: Decimal) -> float:
        return min(max(float((value - left) / (right - left)) * 100, EDGE), 100 - EDGE)

    low_at = at(limits.low) if limits.low is not None else 0.0
    high_at = at(limits.high) if limits.high is not None else 100.0
    marks = [Mark(round(at(v.value), 2), v.text, str(v.outcome), True) for v in earlier]
    if current:
        marks.append(Mark(round(at(current.value), 2), current.text, str(current.outcome), False))
    low, nominal, high = ("" if v is None else _plain(v) for v in (limits.low, limits.nominal, limits.high))
    stated = f"{low} to {high} {unit}" if low and high else f"at least {low} {unit}" if low else f"at most {high} {unit}"
    taken = [v.text for v in earlier] + ([f"{current.text}, {current.outcome}"] if current else [])
    return Bar(
        unit=unit,
        sentence=f"{title}: {stated}. " + (f"Readings: {'; '.join(taken)}." if taken else "No reading yet."),
        low=low,
        nominal=nominal,
        high=high,
        low_at=round(low_at, 2),
        nominal_at=round(at(limits.nominal), 2) if limits.nominal is not None else 0.0,
        high_at=round(high_at, 2),
        within_at=round(low_at, 2),
        within_width=round(high_at - low_at, 2),
        marks=tuple(marks),
    )
