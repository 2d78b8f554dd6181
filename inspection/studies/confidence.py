"""Intervals of confidence, and the distributions behind them, for everything the studies report.

Two-sided throughout; `confidence` is the probability covered, 0.95 unless said otherwise.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

from scipy import special


class NotASetting(ValueError):  # noqa: N818  # reads as what happened
    """A setting that makes no sense. setting: its name; value: what was given."""

    def __init__(self, setting: str, value: object) -> None:
        self.setting, self.value = setting, value
        super().__init__(setting, value)

    def __str__(self) -> str:
        return f"{self.setting} cannot be {self.value}"


@dataclass(frozen=True, slots=True)
class Interval:
    """low to high, in the unit of what it encloses. confidence: 0 to 1."""

    low: float
    high: float
    confidence: float

    def holds(self, value: float) -> bool:
        """Whether the value lies inside or on the edge."""
        return self.low <= value <= self.high

    def root(self) -> Interval:
        """The interval of a standard deviation from that of its variance; below zero counts as zero."""
        return Interval(math.sqrt(max(self.low, 0.0)), math.sqrt(max(self.high, 0.0)), self.confidence)


@dataclass(frozen=True, slots=True)
class MeanSquare:
    """A mean square and its degrees of freedom."""

    value: float
    df: float


def positive(setting: str, value: float) -> float:
    """The value, if it is finite and above zero. Raises NotASetting."""
    if not (math.isfinite(value) and value > 0):
        raise NotASetting(setting, value)
    return float(value)


def probability(setting: str, value: float) -> float:
    """The value, if it lies between 0 and 1, both excluded. Raises NotASetting."""
    if not 0 < value < 1:
        raise NotASetting(setting, value)
    return float(value)


# --- Distributions ---------------------------------------------------------------------------------------------------------------


def normal_cdf(x: float) -> float:
    """P(Z <= x) for a standard normal Z."""
    return float(special.ndtr(x))


def normal_quantile(p: float) -> float:
    """x with P(Z <= x) = p."""
    return float(special.ndtri(p))


def t_quantile(p: float, df: float) -> float:
    """x with P(T <= x) = p; infinite df is the normal distribution."""
    return normal_quantile(p) if math.isinf(df) else float(special.stdtrit(df, p))


def t_two_sided(t: float, df: float) -> float:
    """P(|T| >= |t|)."""
    return 2 * float(special.ndtr(-abs(t)) if math.isinf(df) else special.stdtr(df, -abs(t)))


def chi2_quantile(p: float, df: float) -> float:
    """x with P(chi2 <= x) = p."""
    return 2 * float(special.gammaincinv(df / 2, p))


def f_tail(f: float, df_above: float, df_below: float) -> float:
    """P(F >= f)."""
    return float(special.fdtrc(df_above, df_below, f))


def f_quantile(p: float, df_above: float, df_below: float) -> float:
    """x with P(F <= x) = p."""
    return float(special.fdtri(df_above, df_below, p))


# --- Means and proportions -------------------------------------------------------------------------------------------------------


def around(center: float, standard_error: float, df: float, confidence: float) -> Interval:
    """center -/+ t standard errors."""
    reach = t_quantile((1 + confidence) / 2, df) * standard_error
    return Interval(center - reach, center + reach, confidence)


def proportion_interval(count: int, of: int, confidence: float = 0.95) -> Interval:
    """Exact interval of a proportion (Clopper and Pearson 1934, Biometrika 26, 404-413). Raises NotASetting.

    With 0 or all of them the missing side is 0 or 1 and the other keeps its own tail of (1 - confidence)/2.
    """
    if not 0 <= count <= of or of < 1:
        raise NotASetting("count", count)
    tail = (1 - probability("confidence", confidence)) / 2
    low = float(special.betaincinv(count, of - count + 1, tail)) if count else 0.0
    high = float(special.betaincinv(count + 1, of - count, 1 - tail)) if count < of else 1.0
    return Interval(low, high, confidence)


# --- Variances -------------------------------------------------------------------------------------------------------------------


def variance_interval(mean_square: MeanSquare, confidence: float = 0.95) -> Interval:
    """Exact chi-square interval of the variance a mean square estimates."""
    tail = (1 - confidence) / 2
    total = mean_square.value * mean_square.df
    return Interval(total / chi2_quantile(1 - tail, mean_square.df), total / chi2_quantile(tail, mean_square.df), confidence)


def combination_interval(plus: Sequence[MeanSquare], minus: Sequence[MeanSquare] = (), confidence: float = 0.95) -> Interval:
    """Modified large-sample interval of sum(plus) - sum(minus), each term a mean square already times its positive coefficient.

    Sums alone: Graybill and Wang 1980 (J. American Statistical Association 75, 869-873). With differences: Ting, Burdick, Graybill,
    Jeyaratnam and Lu 1990 (J. Statistical Computation and Simulation 35, 135-143), as reviewed for gauge studies by Burdick, Borror and
    Montgomery 2003 (J. Quality Technology 35, 342-354). From memory; exact for a single term. The ends may be negative; a variance's are
    cut at zero.
    """
    tail = (1 - confidence) / 2
    estimate = math.fsum(term.value for term in plus) - math.fsum(term.value for term in minus)
    below = above = 0.0
    for terms, same in ((plus, True), (minus, False)):
        for term in terms:
            shrink, grow = _shrink(term.df, tail), _grow(term.df, tail)
            below += ((shrink if same else grow) * term.value) ** 2
            above += ((grow if same else shrink) * term.value) ** 2
    for q in plus:
        for r in minus:
            product = q.value * r.value
            upper, lower = f_quantile(1 - tail, q.df, r.df), f_quantile(tail, q.df, r.df)
            below += product * ((upper - 1) ** 2 - (_shrink(q.df, tail) * upper) ** 2 - _grow(r.df, tail) ** 2) / upper
            above += product * ((1 - lower) ** 2 - (_grow(q.df, tail) * lower) ** 2 - _shrink(r.df, tail) ** 2) / lower
    if minus:
        below += _same_sign(plus, tail)
        above += _same_sign(minus, tail)
    return Interval(estimate - math.sqrt(max(below, 0.0)), estimate + math.sqrt(max(above, 0.0)), confidence)


def _shrink(df: float, tail: float) -> float:
    return 1 - df / chi2_quantile(1 - tail, df)


def _grow(df: float, tail: float) -> float:
    return df / chi2_quantile(tail, df) - 1


def _same_sign(terms: Sequence[MeanSquare], tail: float) -> float:
    """Cross terms of Ting et al. between mean squares of one sign."""
    found = 0.0
    for q, t in combinations(terms, 2):
        both = q.df + t.df
        cross = _shrink(both, tail) ** 2 * both**2 / (q.df * t.df)
        cross -= _shrink(q.df, tail) ** 2 * q.df / t.df + _shrink(t.df, tail) ** 2 * t.df / q.df
        found += cross / (len(terms) - 1) * q.value * t.value
    return found
