"""Distributions for readings that are not normal: every family is fitted by maximum likelihood, ranked by Anderson-Darling, and none is
chosen: that is for the person who knows the process.

Sources: profile likelihoods as in textbooks on life data; thresholds as in Cheng and Iles 1990 (a likelihood that grows without end
towards the smallest reading has no maximum; from memory). p-values: normal and lognormal D'Agostino and Stephens 1986 table 4.9, Weibull
MIL-HDBK-17-1F 8.3.4 (from memory); for the other families none is tabulated that holds for every shape, so none is given.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

import numpy as np
from scipy import stats
from scipy.optimize import brentq, minimize_scalar
from scipy.special import psi

from inspection.process import folded_normal
from inspection.process.normality import a_squared, normal_p_value
from inspection.process.readings import Array, NoSpread, Values, checked, mean_and_deviation

FEWEST = 8
"""Readings from which Anderson-Darling is known."""

FEWEST_WITH_THRESHOLD = 30
"""Readings below which three parameters say more than the readings do (our own choice)."""

_ENOUGH = 5000
"""Ordered readings from which a threshold is found; more do not move it."""


class Family(StrEnum):
    """Families of distributions. The last three start at a threshold of their own, the four before at zero."""

    NORMAL = "normal"
    LOGNORMAL = "lognormal"
    WEIBULL = "Weibull"
    GAMMA = "gamma"
    HALF_NORMAL = "half normal"
    FOLDED_NORMAL = "folded normal"
    LOGNORMAL_THRESHOLD = "lognormal with threshold"
    WEIBULL_THRESHOLD = "Weibull with threshold"
    GAMMA_THRESHOLD = "gamma with threshold"


class CannotFit(ValueError):  # noqa: N818  # reads as what happened
    """Why a family does not fit these readings at all. family; reason: a sentence."""

    def __init__(self, family: Family, reason: str) -> None:
        self.family, self.reason = family, reason
        super().__init__(family, reason)

    def __str__(self) -> str:
        return f"{self.family}: {self.reason}"


@dataclass(frozen=True, slots=True)
class Fit:
    """A fitted distribution. parameters: by name, in the unit of the readings where they have one. a_squared: Anderson-Darling statistic,
    the smaller the better; p_value: None where no table holds. log_likelihood, aic: for comparing families with unlike parameter counts."""

    family: Family
    parameters: tuple[tuple[str, float], ...]
    n: int
    a_squared: float
    p_value: float | None
    log_likelihood: float

    @property
    def aic(self) -> float:
        return 2 * (len(self.parameters) - self.log_likelihood)

    def share_below(self, value: float) -> float:
        """Share of pieces below a value, by the model."""
        law, arguments = _law(self.family, self.parameters)
        return float(law.cdf(value, *arguments))

    def share_above(self, value: float) -> float:
        """Share of pieces above a value, by the model, exact in a far tail."""
        law, arguments = _law(self.family, self.parameters)
        return float(law.sf(value, *arguments))

    def quantile(self, share: float) -> float:
        """The value below which this share of pieces lies, 0 < share < 1."""
        return float(self.quantiles(np.array([share]))[0])

    def quantiles(self, shares: Array) -> Array:
        """`quantile` of many shares (shape as given)."""
        law, arguments = _law(self.family, self.parameters)
        return np.asarray(law.ppf(shares, *arguments))

    def density(self, values: Values) -> Array:
        """Density of the model, for the curve over a histogram (1/unit, shape as values)."""
        law, arguments = _law(self.family, self.parameters)
        return np.asarray(law.pdf(np.asarray(values, dtype=np.float64), *arguments))


@dataclass(frozen=True, slots=True)
class Fits:
    """fitted: best Anderson-Darling first; refused: families that these readings do not allow, with the reason."""

    fitted: tuple[Fit, ...]
    refused: tuple[CannotFit, ...]

    def __getitem__(self, family: Family) -> Fit:
        """The fit of a named family. Raises CannotFit."""
        for fit in self.fitted:
            if fit.family is family:
                return fit
        raise next((why for why in self.refused if why.family is family), CannotFit(family, "It was not asked for."))


Parameters = tuple[tuple[str, float], ...]


def _law(family: Family, parameters: Parameters) -> tuple[Any, tuple[float, ...]]:
    """The distribution, with functions named as scipy names them, and its arguments."""
    p = dict(parameters)
    start = p.get("threshold", 0.0)
    match family:
        case Family.NORMAL:
            return stats.norm, (p["mean"], p["sigma"])
        case Family.LOGNORMAL | Family.LOGNORMAL_THRESHOLD:
            return stats.lognorm, (p["log sigma"], start, math.exp(p["log mean"]))
        case Family.WEIBULL | Family.WEIBULL_THRESHOLD:
            return stats.weibull_min, (p["shape"], start, p["scale"])
        case Family.GAMMA | Family.GAMMA_THRESHOLD:
            return stats.gamma, (p["shape"], start, p["scale"])
        case Family.HALF_NORMAL:
            return stats.halfnorm, (0.0, p["sigma"])
        case Family.FOLDED_NORMAL:
            return folded_normal, (p["mean"], p["sigma"])


def _normal(given: Array) -> Parameters:
    # Divisor n - 1, so that the percentile method meets the usual Pp on normal readings.
    center, sigma = mean_and_deviation(given)
    return (("mean", center), ("sigma", sigma))


def _lognormal(given: Array) -> Parameters:
    center, sigma = mean_and_deviation(np.log(given))
    return (("log mean", center), ("log sigma", sigma))


def _weibull(given: Array) -> Parameters:
    """The shape k solves sum(x^k ln x)/sum(x^k) - 1/k = mean of ln x; left minus right rises in k."""
    logs = np.log(given)
    largest = float(logs.max())
    away = logs - largest
    middle = float(away.mean())

    def excess(k: float) -> float:
        powers = np.exp(k * away)
        return float(np.dot(powers, away) / powers.sum()) - 1 / k - middle

    shape = _root(excess, 1.2 / max(float(away.std()), 1e-12))
    scale = math.exp(largest) * float(np.exp(shape * away).mean()) ** (1 / shape)
    return (("shape", shape), ("scale", scale))


def _gamma(given: Array) -> Parameters:
    """The shape k solves ln k - psi(k) = ln of the mean minus mean of the logs."""
    center = float(given.mean())
    gap = -float(np.log(given / center).mean())
    # For large k, ln k - psi(k) is 1/(2k) + 1/(12 k^2): the difference itself cancels.
    shape = _root(lambda k: gap - (math.log(k) - float(psi(k)) if k < 1e4 else 1 / (2 * k) + 1 / (12 * k * k)), 1 / (2 * gap))
    return (("shape", shape), ("scale", center / shape))


def _root(function: Callable[[float], float], guess: float) -> float:
    """Root of a rising function of a positive number, from a guess outward."""
    low = high = guess
    while function(low) > 0 and low > 1e-9:
        low /= 2
    while function(high) < 0 and high < 1e12:
        high *= 2
    return float(brentq(function, low, high, xtol=1e-14 * guess, rtol=1e-13)) if low < high else guess


def _half_normal(given: Array) -> Parameters:
    return (("sigma", float(np.sqrt(np.mean(given**2)))),)


def _folded_normal(given: Array) -> Parameters:
    center, sigma = folded_normal.most_likely(given)
    return (("mean", center), ("sigma", sigma))


_ZERO_BOUND: dict[Family, Callable[[Array], Parameters]] = {
    Family.LOGNORMAL: _lognormal,
    Family.WEIBULL: _weibull,
    Family.GAMMA: _gamma,
}
_NOT_NEGATIVE: dict[Family, Callable[[Array], Parameters]] = {Family.HALF_NORMAL: _half_normal, Family.FOLDED_NORMAL: _folded_normal}
_THRESHOLD = {
    Family.LOGNORMAL_THRESHOLD: Family.LOGNORMAL,
    Family.WEIBULL_THRESHOLD: Family.WEIBULL,
    Family.GAMMA_THRESHOLD: Family.GAMMA,
}


def fit(values: Values, family: Family) -> Fit:
    """One family fitted by maximum likelihood (n >= 8, with threshold n >= 30). Raises TooFew, NotFinite, NoSpread, CannotFit."""
    given = np.sort(checked(values, FEWEST))
    if not given[-1] > given[0]:
        raise NoSpread
    if family is Family.NORMAL:
        return _finished(given, family, _normal(given))
    if family in _ZERO_BOUND:
        if not given[0] > 0:
            raise CannotFit(family, "It needs values above zero.")
        return _finished(given, family, _ZERO_BOUND[family](given))
    if family in _NOT_NEGATIVE:
        if given[0] < 0:
            raise CannotFit(family, "It needs values that are not negative.")
        return _finished(given, family, _NOT_NEGATIVE[family](given))
    if given.size < FEWEST_WITH_THRESHOLD:
        raise CannotFit(family, f"Three parameters need {FEWEST_WITH_THRESHOLD} values, {given.size} given.")
    threshold = _threshold(given, family)
    own = _ZERO_BOUND[_THRESHOLD[family]](given - threshold)
    return _finished(given, family, (*own, ("threshold", threshold)))


def fits(values: Values, families: Iterable[Family] = tuple(Family)) -> Fits:
    """Every family asked for, best Anderson-Darling first; those that do not fit with the reason. Raises TooFew, NotFinite, NoSpread."""
    given = checked(values, FEWEST)
    fitted, refused = [], []
    for family in families:
        try:
            fitted.append(fit(given, family))
        except CannotFit as why:
            refused.append(why)
    return Fits(tuple(sorted(fitted, key=lambda each: each.a_squared)), tuple(refused))


def _finished(given: Array, family: Family, parameters: Parameters) -> Fit:
    law, arguments = _law(family, parameters)
    placed = given
    if family in _NOT_NEGATIVE and given[0] == 0 and given[-1] > 0:
        # A reading of zero is a small one rounded off; at zero itself A^2 would be infinite for every sample.
        placed = np.where(given == 0, given[given > 0][0] / 2, given)
    statistic = a_squared(np.asarray(law.logcdf(placed, *arguments)), np.asarray(law.logsf(placed, *arguments)))
    n = int(given.size)
    p_value = None
    if family in (Family.NORMAL, Family.LOGNORMAL):
        p_value = normal_p_value(statistic, n)
    elif family is Family.WEIBULL:
        p_value = _weibull_p_value(statistic, n)
    return Fit(family, parameters, n, statistic, p_value, float(np.sum(law.logpdf(placed, *arguments))))


def _weibull_p_value(statistic: float, n: int) -> float:
    """p-value of A^2 for a Weibull distribution with both parameters estimated (MIL-HDBK-17-1F 8.3.4)."""
    a = statistic * (1 + 0.2 / math.sqrt(n))
    if not 0 < a < 100:
        return 1.0 if a <= 0 else 0.0
    return 1 / (1 + math.exp(-0.10 + 1.24 * math.log(a) + 4.48 * a))


def _threshold(given: Array, family: Family) -> float:
    """The threshold below the smallest reading at which the likelihood has its local maximum. Raises CannotFit when there is none."""
    base = _THRESHOLD[family]
    some = given if given.size <= _ENOUGH else given[np.linspace(0, given.size - 1, _ENOUGH).astype(np.int64)]
    least, span = float(given[0]), float(given[-1] - given[0])

    def loss(log_gap: float) -> float:
        away = some - (least - math.exp(log_gap))
        law, arguments = _law(base, _ZERO_BOUND[base](away))
        return -float(np.mean(law.logpdf(away, *arguments)))

    grid = np.linspace(math.log(span * 1e-4), math.log(span * 100), 48)
    losses = np.array([loss(float(gap)) for gap in grid])
    dips = np.flatnonzero((losses[1:-1] < losses[:-2]) & (losses[1:-1] < losses[2:])) + 1
    if not dips.size:
        near = losses[0] <= losses[-1]
        raise CannotFit(
            family,
            "Its likelihood grows without end towards the smallest value."
            if near
            else "Its threshold runs away: the values are not skewed.",
        )
    best = int(dips[np.argmin(losses[dips])])
    found = minimize_scalar(loss, bounds=(float(grid[best - 1]), float(grid[best + 1])), method="bounded", options={"xatol": 1e-7})
    return least - math.exp(float(found.x))
