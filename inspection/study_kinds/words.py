"""What several kinds of study have in common: figures as text, plain conditions in words, and refusals of an analysis."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from decimal import Decimal

from inspection.spc import NotFinite, TooFew
from shop.finding import Refused, misfit

DIGITS = 4
"""Significant digits of a figure on a page: enough to recompute with, few enough to read."""


def figure(value: float | Decimal | None, digits: int = DIGITS) -> str:
    """A figure with so many significant digits, as plain digits; "–" for None. A zero is "0"."""
    if value is None:
        return "–"
    number = float(value)
    if number == 0:
        return "0"
    text = f"{number:.{digits}g}"
    return format(Decimal(text), "f") if "e" in text else text


def exact(value: float | Decimal | int | None) -> str:
    """A figure as the signed content keeps it: every digit that a double holds; "" for None."""
    if value is None:
        return ""
    return str(value) if isinstance(value, Decimal | int) else repr(float(value))


def percent(value: float | Decimal | None) -> str:
    """With one decimal: "12.3"."""
    return "–" if value is None else f"{float(value):.1f}"


def exacts(values: Sequence[float]) -> list[str]:
    return [exact(value) for value in values]


@contextmanager
def refused_as_findings(what: str) -> Iterator[None]:
    """Turn what a pure analysis raises about its data into a refusal with words. what: of what there are too few."""
    try:
        yield
    except TooFew as error:
        raise Refused([misfit("study.too_few", "", what=what, given=error.given, needed=error.needed)]) from error
    except NotFinite as error:
        raise Refused([misfit("study.impossible", "", why=str(error))]) from error
    except ValueError as error:
        raise Refused([misfit("study.impossible", "", why=str(error))]) from error
