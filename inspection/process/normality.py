"""Is it plausible that readings are normal: Anderson-Darling and Shapiro-Wilk tests, probability plot.

Sources: Stephens in D'Agostino and Stephens, Goodness-of-Fit Techniques 1986, table 4.9 (A^2 with mean and standard deviation estimated,
its small-sample factor and p-value formula; confirmed in a public statistics library); Royston 1995 (Shapiro-Wilk, as scipy computes it).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.special import betaincinv, log_ndtr, ndtri
from scipy.stats import shapiro

from inspection.process.readings import Array, NoSpread, Values, checked, mean_and_deviation
from inspection.spc import TooFew

SHAPIRO_MOST = 5000
"""Values up to which the p-value of Shapiro-Wilk is known (Royston 1995)."""


@dataclass(frozen=True, slots=True)
class NormalityTest:
    """name: of the test. statistic: A^2 or W. p_value: chance of a sample as far from normal if the process is normal. n: values."""

    name: str
    statistic: float
    p_value: float
    n: int


def anderson_darling(values: Values) -> NormalityTest:
    """Anderson-Darling test of normality, n >= 8. Raises TooFew, NotFinite, NoSpread.

    statistic is A^2 itself; the p-value belongs to A^2 (1 + 0.75/n + 2.25/n^2).
    """
    given = np.sort(checked(values, 8))
    center, sigma = mean_and_deviation(given)
    if not sigma > 0:
        raise NoSpread
    z = (given - center) / sigma
    statistic = a_squared(log_ndtr(z), log_ndtr(-z))
    n = int(given.size)
    return NormalityTest("Anderson-Darling", statistic, normal_p_value(statistic, n), n)


def a_squared(log_below: Array, log_above: Array) -> float:
    """A^2 of values in ascending order, from the logarithms of the shares that a distribution has below and above each.

    -n - (1/n) sum of (2i - 1)(ln F(x_i) + ln(1 - F(x_(n + 1 - i)))). Values outside the distribution give infinity.
    """
    n = log_below.size
    weights = np.arange(1, 2 * n, 2, dtype=np.float64)
    total = float(np.dot(weights, log_below + log_above[::-1]))
    return -n - total / n if math.isfinite(total) else math.inf


def normal_p_value(statistic: float, n: int) -> float:
    """p-value of A^2 for normality with both parameters estimated (D'Agostino and Stephens 1986, table 4.9)."""
    a = statistic * (1 + 0.75 / n + 2.25 / n**2)
    if a <= 0.2:
        return 1 - math.exp(-13.436 + 101.14 * a - 223.73 * a * a)
    if a <= 0.34:
        return 1 - math.exp(-8.318 + 42.796 * a - 59.938 * a * a)
    if a <= 0.6:
        return math.exp(0.9177 - 4.279 * a - 1.38 * a * a)
    # The parabola turns upwards past 153; the p-value is long nothing by then.
    return math.exp(1.2937 - 5.709 * a + 0.0186 * a * a) if a < 13 else 0.0


def shapiro_wilk(values: Values) -> NormalityTest:
    """Shapiro-Wilk test of normality, 3 to 5000 values. Raises TooFew, NotFinite, NoSpread, ValueError over 5000."""
    given = checked(values, 3)
    if given.size > SHAPIRO_MOST:
        raise ValueError(f"the p-value of Shapiro-Wilk is known up to {SHAPIRO_MOST} values, not for {given.size}")
    center, sigma = mean_and_deviation(given)
    if not sigma > 0:
        raise NoSpread
    statistic, p_value = shapiro((given - center) / sigma)
    return NormalityTest("Shapiro-Wilk", float(statistic), float(p_value), int(given.size))


def normality(values: Values) -> tuple[NormalityTest, ...]:
    """The tests that the number of values allows, from 3 up. Raises TooFew, NotFinite, NoSpread."""
    given = checked(values, 3)
    tests = [] if given.size < 8 else [anderson_darling(given)]
    return (*tests, shapiro_wilk(given)) if given.size <= SHAPIRO_MOST else tuple(tests)


@dataclass(frozen=True, slots=True, eq=False)
class ProbabilityPlot:
    """Ordered values against normal quantiles: a straight row of points is a normal sample.

    values, quantiles: coordinates of the points (shape (k,)); mean, sigma: of the line values = mean + sigma quantile; low, high: the band
    in which each ordered value of a normal sample falls with `confidence`, each for itself.
    """

    values: Array
    quantiles: Array
    mean: float
    sigma: float
    low: Array
    high: Array
    confidence: float


def probability_plot(values: Values, *, confidence: float = 0.95, most: int = 1000) -> ProbabilityPlot:
    """Coordinates of a normal probability plot (n >= 3). Raises TooFew, NotFinite, NoSpread.

    Plotting positions (i - 0.3)/(n + 0.4), Benard's median ranks (common practice); the band is of the beta distribution of ordered
    shares. most: of more values an even choice is plotted, with the ten outermost at either end always among it.
    """
    if not 0 < confidence < 1:
        raise ValueError("a confidence lies between 0 and 1")
    given = np.sort(checked(values, 3))
    center, sigma = mean_and_deviation(given)
    if not sigma > 0:
        raise NoSpread
    n = given.size
    if most < 20:
        raise TooFew(20, most)
    ends = np.arange(10)
    rank = (
        np.arange(n) if n <= most else np.unique(np.concatenate((ends, np.linspace(10, n - 11, most - 20).astype(np.int64), n - 1 - ends)))
    )
    i = rank + 1.0
    tail = (1 - confidence) / 2
    low, high = ndtri(betaincinv(i, n + 1 - i, tail)), ndtri(betaincinv(i, n + 1 - i, 1 - tail))
    return ProbabilityPlot(
        given[rank], ndtri((i - 0.3) / (n + 0.4)), center, sigma, center + sigma * low, center + sigma * high, confidence
    )
