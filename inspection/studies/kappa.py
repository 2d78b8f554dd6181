"""Kappa: agreement beyond chance between two (Cohen) or more (Fleiss) calls on the same items.

0/0, when every call falls into one category, is not computable and stands as None: agreement that could not have failed shows nothing.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from inspection.studies.confidence import Interval, NotASetting, normal_cdf, normal_quantile, probability
from inspection.studies.crossed import need

Counts = Sequence[Sequence[int]] | NDArray[np.int64]

GOOD_ABOVE, POOR_BELOW = Decimal("0.75"), Decimal("0.40")
"""Limits of good and poor agreement (AIAG MSA 4th ed. III-C, after Fleiss; from memory)."""


class KappaStanding(StrEnum):
    """How a kappa stands in the trade."""

    GOOD = "good"
    FAIR = "fair"
    POOR = "poor"


def kappa_standing(kappa: float | None, good_above: Decimal = GOOD_ABOVE, poor_below: Decimal = POOR_BELOW) -> KappaStanding | None:
    """Above 0.75 good, below 0.40 poor, taken to four decimals half up; None where kappa is not computable."""
    if kappa is None:
        return None
    met = Decimal(repr(kappa)).quantize(Decimal("0.0001"), ROUND_HALF_UP)
    if met > good_above:
        return KappaStanding.GOOD
    return KappaStanding.POOR if met < poor_below else KappaStanding.FAIR


@dataclass(frozen=True, slots=True)
class Kappa:
    """kappa: None where not computable. standard_error, interval: asymptotic, cut at -1 and 1; None where kappa is, and where the error
    is zero (perfect agreement), since the formula then knows no width. z, p: against kappa = 0, two-sided, with the error that holds
    there. observed, expected: shares of agreement; n: items or paired calls; standing."""

    kappa: float | None
    standard_error: float | None
    interval: Interval | None
    z: float | None
    p: float | None
    observed: float
    expected: float
    n: int
    standing: KappaStanding | None


@dataclass(frozen=True, slots=True)
class FleissKappa:
    """overall; by_category: one per column of the counts, each against all others together; raters: calls per item."""

    overall: Kappa
    by_category: tuple[Kappa, ...]
    raters: int


def cohen_kappa(counts: Counts, confidence: float = 0.95) -> Kappa:
    """Cohen's kappa (1960) of a square table of counts: rows the first's calls, columns the second's.

    Standard errors: Fleiss, Cohen and Everitt 1969 (Psychological Bulletin 72, 323-327; from memory), for the interval and for the test
    of zero. Raises NotASetting for a table that is not square, negative or empty.
    """
    probability("confidence", confidence)
    table = _counted(counts)
    if table.shape[0] != table.shape[1]:
        raise NotASetting("counts", table.shape)
    n = int(table.sum())
    p = table / n
    rows, columns, same = p.sum(axis=1), p.sum(axis=0), np.diag(p)
    observed, expected = float(same.sum()), float(rows @ columns)
    if (rows * columns).max() == 1:
        return Kappa(None, None, None, None, None, 1.0, 1.0, n, None)
    kappa = (observed - expected) / (1 - expected)
    diagonal = float((same * (1 - (rows + columns) * (1 - kappa)) ** 2).sum())
    across = (columns[:, None] + rows[None, :]) ** 2 * p
    off = (1 - kappa) ** 2 * float(across.sum() - np.diag(across).sum())
    variance = (diagonal + off - (kappa - expected * (1 - kappa)) ** 2) / (n * (1 - expected) ** 2)
    at_zero = (expected + expected**2 - float((rows * columns * (rows + columns)).sum())) / (n * (1 - expected) ** 2)
    return _kappa(kappa, math.sqrt(max(variance, 0.0)), math.sqrt(max(at_zero, 0.0)), observed, expected, n, confidence)


def fleiss_kappa(counts: Counts, confidence: float = 0.95) -> FleissKappa:
    """Fleiss' kappa (1971, Psychological Bulletin 76, 378-382). counts: one row per item, one column per category, each row with the same
    sum >= 2.

    The test of zero has the error of Fleiss, Nee and Landis 1979 (Psychological Bulletin 86, 974-977; from memory). The interval has the
    one that holds away from zero, by linearisation over the items (Gwet 2008, British J. Mathematical and Statistical Psychology 61,
    29-48; from memory). Raises NotASetting, TooSmall.
    """
    probability("confidence", confidence)
    table = _counted(counts)
    need("items", 2, table.shape[0])
    raters = int(table[0].sum())
    if raters < 2 or (table.sum(axis=1) != raters).any():
        raise NotASetting("raters", raters)
    alone = [np.column_stack((table[:, j], raters - table[:, j])) for j in range(table.shape[1])]
    return FleissKappa(_fleiss(table, raters, confidence), tuple(_fleiss(pair, raters, confidence) for pair in alone), raters)


def _fleiss(table: NDArray[np.int64], raters: int, confidence: float) -> Kappa:
    items = table.shape[0]
    shares = table.sum(axis=0) / (items * raters)
    agreeing = (table * (table - 1)).sum(axis=1) / (raters * (raters - 1))
    observed, expected = float(agreeing.mean()), float((shares**2).sum())
    if shares.max() == 1:
        return Kappa(None, None, None, None, None, 1.0, 1.0, items, None)
    kappa = (observed - expected) / (1 - expected)
    by_item = (agreeing - expected) / (1 - expected)
    by_chance = table @ shares / raters
    linear = by_item - 2 * (1 - kappa) * (by_chance - expected) / (1 - expected)
    error = math.sqrt(float(((linear - kappa) ** 2).sum()) / (items * (items - 1)))
    spread = shares * (1 - shares)
    inner = float(spread.sum()) ** 2 - float((spread * (1 - 2 * shares)).sum())
    at_zero = math.sqrt(2 * max(inner, 0.0) / (items * raters * (raters - 1))) / float(spread.sum())
    return _kappa(kappa, error, at_zero, observed, expected, items, confidence)


def _kappa(kappa: float, error: float, at_zero: float, observed: float, expected: float, n: int, confidence: float) -> Kappa:
    reach = normal_quantile((1 + confidence) / 2) * error
    z = kappa / at_zero if at_zero > 0 else None
    return Kappa(
        kappa=kappa,
        standard_error=error if error > 1e-9 else None,
        interval=Interval(max(kappa - reach, -1.0), min(kappa + reach, 1.0), confidence) if error > 1e-9 else None,
        z=z,
        p=None if z is None else 2 * normal_cdf(-abs(z)),
        observed=observed,
        expected=expected,
        n=n,
        standing=kappa_standing(kappa),
    )


def _counted(counts: Counts) -> NDArray[np.int64]:
    table = np.asarray(counts)
    if table.ndim != 2 or table.size == 0 or not np.issubdtype(table.dtype, np.integer) or (table < 0).any() or table.sum() == 0:
        raise NotASetting("counts", table.shape)
    return table.astype(np.int64)
