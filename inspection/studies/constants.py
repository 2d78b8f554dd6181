"""Constants of gauge studies by ranges, for any number of parts, appraisers and trials.

d2* is the divisor that turns the mean of g ranges of m normal values into a standard deviation without bias of its square:
d2* = sqrt(d2^2 + d3^2/g) (Duncan, Quality Control and Industrial Statistics, appendix; AIAG MSA 4th ed., appendix C; from memory). The
printed K constants are its reciprocals: 0.8862 and 0.5908 for 2 and 3 trials, 0.7071 and 0.5231 for 2 and 3 appraisers.
"""

from __future__ import annotations

import math
from functools import cache

from scipy.optimize import brentq

from inspection.spc import d2, d3


def d2_star(size: int, groups: int) -> float:
    """d2* for the mean of `groups` ranges of `size` values each. Raises ValueError below 2 values or 1 range."""
    if groups < 1:
        raise ValueError(f"a mean range needs 1 range, not {groups}")
    return math.sqrt(d2(size) ** 2 + d3(size) ** 2 / groups)


def _mean_of_chi(df: float) -> float:
    """Mean of chi/sqrt(df), which is c4 for df + 1 values; df need not be whole."""
    return math.sqrt(2 / df) * math.exp(math.lgamma((df + 1) / 2) - math.lgamma(df / 2))


@cache
def range_degrees_of_freedom(size: int, groups: int) -> float:
    """Degrees of freedom of a standard deviation from the mean of `groups` ranges of `size` values: that of the chi distribution with the
    same mean and mean square (Patnaik 1950, Biometrika 37, 78-87; from memory). 10.8 for one range of 15 values, 1 for one range of 2."""
    wanted = d2(size) / d2_star(size, groups)
    return float(brentq(lambda df: _mean_of_chi(df) - wanted, 0.2, 1e6, xtol=1e-9))


def k1(trials: int, ranges: int | None = None) -> float:
    """Equipment variation from the mean range over trials: 1/d2 as the report form has it, or 1/d2* for the stated number of ranges."""
    return 1 / (d2(trials) if ranges is None else d2_star(trials, ranges))


def k2(appraisers: int) -> float:
    """Appraiser variation from the range of the appraisers' means: 1/d2* with one range."""
    return 1 / d2_star(appraisers, 1)


def k3(parts: int) -> float:
    """Part variation from the range of the parts' means: 1/d2* with one range."""
    return 1 / d2_star(parts, 1)


def range_limits(mean_range: float, size: int) -> tuple[float, float]:
    """D3 Rbar and D4 Rbar, the lower not below zero."""
    spread = 3 * d3(size) / d2(size)
    return mean_range * max(1 - spread, 0.0), mean_range * (1 + spread)


def mean_reach(mean_range: float, size: int) -> float:
    """A2 Rbar: how far means of `size` values may lie from the grand mean."""
    return 3 * mean_range / (d2(size) * math.sqrt(size))
