"""How a rule comes to its answer: three values, and a comparison that keeps the numbers. Used by `shop.fit` and `shop.use`."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date
from decimal import Decimal

from shop.finding import Finding, Verdict

UNKNOWN = "?"
"""Stands in a comparison for what is not recorded."""


def answer(rule: str, fits: bool | None, field: str, **compared: Decimal | int | str | date | None) -> Finding:
    """A finding from a yes, a no or an open answer (None). Dates are written year-month-day."""
    verdict = Verdict.UNDECIDABLE if fits is None else Verdict.FITS if fits else Verdict.MISFIT
    shown = {
        key: UNKNOWN if value is None or value == "" else value.isoformat() if isinstance(value, date) else value
        for key, value in compared.items()
    }
    return Finding(rule, verdict, field, shown)


def within(least: Decimal | None, most: Decimal | None, low: Decimal | None, high: Decimal | None) -> bool | None:
    """Whether a value known to lie between `least` and `most` lies in the range, limits inside; None where that is open.

    A value beyond the one limit that is recorded is out, whatever the other would be.
    """
    if least is None or most is None:
        return None
    if (low is not None and most < low) or (high is not None and least > high):
        return False
    if low is None or high is None:
        return None
    return True if least >= low and most <= high else None


def all_of(answers: Iterable[bool | None]) -> bool | None:
    """False if any is False, else None if any is open, else True."""
    listed = list(answers)
    return False if False in listed else None if None in listed else True
