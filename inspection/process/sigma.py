"""Short-term standard deviation, by the estimators that control charts use; each is named, as capability indices must say which was used.

Sources: ASTM E2587 (Rbar/d2, sbar/c4, pooled); Burr 1969 (weights for unequal subgroups, from memory); Cryer and Ryan 1990 (spread of the
mean moving range, from memory; recomputed here in closed form).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from inspection.process.constants import c4, c5, d2, d3, per_size
from inspection.process.readings import Array, Subgroups
from inspection.spc import TooFew


class Estimator(StrEnum):
    """How a standard deviation was found. The values are what is printed beside an index."""

    RANGE = "Rbar/d2"
    DEVIATION = "sbar/c4"
    POOLED = "pooled s"
    MOVING_RANGE = "MRbar/d2"
    OVERALL = "overall s"
    GIVEN = "given"


@dataclass(frozen=True, slots=True)
class Sigma:
    """A standard deviation of single readings, in their unit. degrees: of freedom of the chi-square that its square follows, exactly for
    pooled and overall, approximately (matching its variance) for the others; None for a given one."""

    value: float
    by: Estimator
    degrees: float | None


def _matching_degrees(relative_variance: float) -> float:
    """Degrees of freedom of a standard deviation with this squared coefficient of variation: 1/(2 cv^2), by the first terms of c4."""
    return 1 / (2 * relative_variance) if relative_variance > 0 else math.inf


def sigma_within(groups: Subgroups, by: Estimator) -> Sigma:
    """Standard deviation inside subgroups; subgroups of one say nothing of it and are left out. Raises TooFew, ValueError.

    Rbar/d2 and sbar/c4 of unequal subgroups are weighted by the inverse variance of each term; with equal ones they are the plain means.
    """
    if (size := groups.size) is not None and size >= 2:
        return _of_equal(groups, size, by)
    many = groups.sizes >= 2
    if not bool(many.any()):
        raise TooFew(2, int(groups.sizes.max()))
    sizes = groups.sizes[many]
    if by is Estimator.POOLED:
        deviations = groups.deviations()[many]
        degrees = int((sizes - 1).sum())
        return Sigma(float(np.sqrt(np.dot(sizes - 1, deviations**2) / degrees)), by, degrees)
    if by is Estimator.RANGE:
        factor, error, spreads = per_size(d2, sizes), per_size(d3, sizes), groups.ranges()[many]
    elif by is Estimator.DEVIATION:
        factor, error, spreads = per_size(c4, sizes), per_size(c5, sizes), groups.deviations()[many]
    else:
        raise ValueError(f"{by} does not come from subgroups")
    weights = (factor / error) ** 2
    total = float(weights.sum())
    return Sigma(float(np.dot(weights, spreads / factor)) / total, by, _matching_degrees(1 / total))


def _of_equal(groups: Subgroups, size: int, by: Estimator) -> Sigma:
    """The same for subgroups of one size, where the weights are equal."""
    count = len(groups)
    if by is Estimator.POOLED:
        deviations = groups.deviations()
        return Sigma(math.sqrt(float(np.dot(deviations, deviations)) / count), by, count * (size - 1))
    if by is Estimator.RANGE:
        return Sigma(float(groups.ranges().mean()) / d2(size), by, _matching_degrees((d3(size) / d2(size)) ** 2 / count))
    if by is Estimator.DEVIATION:
        return Sigma(float(groups.deviations().mean()) / c4(size), by, _matching_degrees((c5(size) / c4(size)) ** 2 / count))
    raise ValueError(f"{by} does not come from subgroups")


def moving_ranges(values: Array) -> Array:
    """Absolute differences of neighbours (shape (n - 1,))."""
    step = np.diff(values)
    return np.abs(step, out=step)


def sigma_moving_range(moving: Array) -> Sigma:
    """Standard deviation from moving ranges of two (shape (n - 1,), n >= 2): their mean over d2 = 2/sqrt(pi)."""
    count = moving.size
    # Var|D| = 2 - 4/pi and Cov of neighbours, for differences D with variance 2 and correlation -1/2.
    own = 2 - 4 / math.pi
    shared = 4 / math.pi * (math.sqrt(0.75) + 0.5 * math.asin(0.5)) - 4 / math.pi
    relative = (count * own + 2 * (count - 1) * shared) / count**2 / d2(2) ** 2
    return Sigma(float(moving.mean()) / d2(2), Estimator.MOVING_RANGE, _matching_degrees(relative))
