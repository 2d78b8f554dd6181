"""Statistics of small sets and control charts, in plain Python: a shop looks at tens of values at a time, and these are quick there.

Sources: ASTM E2587 table 1 and ISO 7870-2:2013 table 2 (constants, computed here instead of copied), NIST/SEMATECH e-Handbook of
Statistical Methods 6.3.2 (charts).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cache
from itertools import pairwise


class TooFew(ValueError):  # noqa: N818  # reads as what happened
    """Not enough values. needed, given: how many."""

    def __init__(self, needed: int, given: int) -> None:
        self.needed, self.given = needed, given
        super().__init__(needed, given)

    def __str__(self) -> str:
        return f"{self.needed} values are needed, {self.given} given"


class NotFinite(ValueError):  # noqa: N818  # reads as what happened
    """A value is NaN or infinite. index: which one, from 0."""

    def __init__(self, index: int) -> None:
        self.index = index
        super().__init__(index)

    def __str__(self) -> str:
        return f"value {self.index + 1} is not a finite number"


class Uneven(ValueError):  # noqa: N818  # reads as what happened
    """Subgroups of an Xbar-R chart differ in size."""


def _checked(values: Sequence[float], needed: int) -> list[float]:
    given = [float(value) for value in values]
    if len(given) < needed:
        raise TooFew(needed, len(given))
    for index, value in enumerate(given):
        if not math.isfinite(value):
            raise NotFinite(index)
    return given


# --- Mean and spread -------------------------------------------------------------------------------------------------------------


def mean(values: Sequence[float]) -> float:
    """Arithmetic mean, in the unit of the values (shape (n,), n >= 1). Raises TooFew, NotFinite."""
    given = _checked(values, 1)
    first = math.fsum(given) / len(given)
    # The second pass takes back what the division rounded off.
    return first + math.fsum(value - first for value in given) / len(given)


def standard_deviation(values: Sequence[float]) -> float:
    """Standard deviation with divisor n - 1 (shape (n,), n >= 2), in two passes. Raises TooFew, NotFinite.

    The shortcut over the sum of squares loses every digit on readings with a large common part; two passes keep them (NIST StRD).
    """
    given = _checked(values, 2)
    centre = mean(given)
    squares = math.fsum((value - centre) ** 2 for value in given)
    correction = math.fsum(value - centre for value in given) ** 2 / len(given)
    return math.sqrt(max(squares - correction, 0.0) / (len(given) - 1))


def lag_1_autocorrelation(values: Sequence[float]) -> float:
    """r1 = sum((x_i - m)(x_i+1 - m)) / sum((x_i - m)^2), as NIST StRD defines it. Zero for equal values. Raises TooFew, NotFinite."""
    given = _checked(values, 2)
    centre = mean(given)
    total = math.fsum((value - centre) ** 2 for value in given)
    return math.fsum((a - centre) * (b - centre) for a, b in pairwise(given)) / total if total else 0.0


# --- Constants of the normal range and standard deviation ------------------------------------------------------------------------


def _normal_cdf(x: float) -> float:
    return 0.5 * math.erfc(-x / math.sqrt(2))


def _integral(function: Callable[[float], float], low: float, high: float, steps: int) -> float:
    """Trapezoidal rule: for a smooth function that has died away at both ends it converges faster than any power of the step."""
    step = (high - low) / steps
    inner = math.fsum(function(low + step * i) for i in range(1, steps))
    return step * (inner + (function(low) + function(high)) / 2)


def _size(n: int) -> int:
    if not 2 <= n <= 1000:
        raise ValueError(f"a subgroup has 2 to 1000 values, not {n}")
    return n


@cache
def d2(n: int) -> float:
    """Mean of the range of n standard normal values: the integral of 1 - F^n - (1 - F)^n over the line (Tippett 1925)."""
    _size(n)
    return _integral(lambda x: 1 - _normal_cdf(x) ** n - _normal_cdf(-x) ** n, -9.0, 9.0, 720)


@cache
def d3(n: int) -> float:
    """Standard deviation of the range of n standard normal values. Raises ValueError.

    E[R^2] is twice the integral, over w > 0, of w times the probability that the range exceeds w, and that probability is one minus the
    distribution n * integral of f(x) (F(x + w) - F(x))^(n - 1).
    """
    _size(n)
    step, reach = 0.05, 9.0
    count = round(reach / step)
    grid = [i * step for i in range(-count, count + 1)]
    density = [math.exp(-x * x / 2) / math.sqrt(2 * math.pi) for x in grid]
    cumulative = [_normal_cdf(i * step) for i in range(-count, 3 * count + 1)]

    def exceeds(shift: int) -> float:
        inside = math.fsum(f * (cumulative[i + shift] - cumulative[i]) ** (n - 1) for i, f in enumerate(density))
        return 1 - n * step * inside

    # w * P(R > w) is zero at both ends but has a slope at zero, so the trapezoidal sum gets its first Euler-Maclaurin term.
    total = math.fsum(shift * step * exceeds(shift) for shift in range(1, 2 * count))
    second_moment = 2 * (step * total + step**2 / 12)
    return math.sqrt(second_moment - d2(n) ** 2)


@cache
def c4(n: int) -> float:
    """Mean of the standard deviation (divisor n - 1) of n standard normal values; by log-gamma, so that large n do not overflow."""
    if n < 2:
        raise ValueError(f"a standard deviation needs 2 values, not {n}")
    return math.sqrt(2 / (n - 1)) * math.exp(math.lgamma(n / 2) - math.lgamma((n - 1) / 2))


# --- Charts ----------------------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class IndividualsChart:
    """Single values in time order. center, low, high: mean and limits; mr_bar, mr_high: mean moving range and its upper limit;
    beyond, mr_beyond: indices of values, and of the later value of a moving range, beyond their limits (on a limit is not beyond)."""

    center: float
    low: float
    high: float
    mr_bar: float
    mr_high: float
    beyond: tuple[int, ...]
    mr_beyond: tuple[int, ...]

    @property
    def sigma(self) -> float:
        """Short-term standard deviation."""
        return self.mr_bar / d2(2)


@dataclass(frozen=True, slots=True)
class XbarRChart:
    """Subgroups of equal size. means, ranges: of each; center, low, high: of the means; r_bar, r_low, r_high: of the ranges;
    beyond, r_beyond: indices of subgroups beyond their limits."""

    means: tuple[float, ...]
    ranges: tuple[float, ...]
    center: float
    low: float
    high: float
    r_bar: float
    r_low: float
    r_high: float
    beyond: tuple[int, ...]
    r_beyond: tuple[int, ...]
    size: int

    @property
    def sigma(self) -> float:
        """Short-term standard deviation of single values."""
        return self.r_bar / d2(self.size)


def individuals_chart(values: Sequence[float]) -> IndividualsChart:
    """Individuals and moving-range chart of values in time order (shape (n,), n >= 2). Raises TooFew, NotFinite.

    Limits are mean +/- 3 MRbar/d2 with d2 for n = 2, computed (1.128379); tables round it to 1.128. Source: e-Handbook 6.3.2.2.
    """
    given = _checked(values, 2)
    center = mean(given)
    moving = [abs(b - a) for a, b in pairwise(given)]
    mr_bar = mean(moving)
    reach = 3 * mr_bar / d2(2)
    mr_high = mr_bar * (1 + 3 * d3(2) / d2(2))
    return IndividualsChart(
        center,
        center - reach,
        center + reach,
        mr_bar,
        mr_high,
        _beyond(given, center - reach, center + reach),
        tuple(index + 1 for index in _beyond(moving, 0.0, mr_high)),
    )


def xbar_r_chart(subgroups: Sequence[Sequence[float]]) -> XbarRChart:
    """Mean and range chart of subgroups of equal size 2 to 25 (shape (k, n), k >= 2). Raises TooFew, NotFinite, Uneven.

    Limits: grand mean +/- 3 Rbar/(d2 sqrt n), and Rbar (1 -/+ 3 d3/d2) not below zero. Source: ASTM E2587; e-Handbook 6.3.2.1.
    """
    groups = [_checked(group, 2) for group in subgroups]
    if len(groups) < 2:
        raise TooFew(2, len(groups))
    size = len(groups[0])
    if any(len(group) != size for group in groups) or size > 25:
        raise Uneven("subgroups of an Xbar-R chart have the same size, 2 to 25")
    means = tuple(mean(group) for group in groups)
    ranges = tuple(max(group) - min(group) for group in groups)
    center, r_bar = mean(means), mean(ranges)
    reach = 3 * r_bar / (d2(size) * math.sqrt(size))
    spread = 3 * d3(size) / d2(size)
    low, high = center - reach, center + reach
    r_low, r_high = max(r_bar * (1 - spread), 0.0), r_bar * (1 + spread)
    return XbarRChart(
        means, ranges, center, low, high, r_bar, r_low, r_high, _beyond(means, low, high), _beyond(ranges, r_low, r_high), size
    )


def _beyond(values: Sequence[float], low: float, high: float) -> tuple[int, ...]:
    """Indices beyond the limits. Equal readings give limits equal to them up to rounding, and rounding is no signal."""
    slack = 1e-12 * max(abs(low), abs(high), *(abs(value) for value in values))
    return tuple(index for index, value in enumerate(values) if value < low - slack or value > high + slack)
