"""Stability of a gauge: the same master measured again and again over weeks, as a chart, with a test for drift.

Limits as in `inspection.spc` (AIAG MSA 4th ed., chapter III-B: an average and range chart, or individuals, of repeated readings of a
master). The drift is the slope of a straight line through the subgroup means over time.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from inspection.spc import NotFinite, individuals_chart, mean, xbar_r_chart
from inspection.studies.confidence import NotASetting, positive, probability
from inspection.studies.crossed import TooSmall, need
from inspection.studies.gauge_type1 import BiasTest, bias_test, deviation, difference


@dataclass(frozen=True, slots=True)
class GivenLimits:
    """Limits frozen earlier, in the unit of the readings. range_high: of the ranges, or of the moving ranges of single readings. Raises
    NotASetting unless low < center < high."""

    low: float
    center: float
    high: float
    range_high: float

    def __post_init__(self) -> None:
        if not (-math.inf < self.low < self.center < self.high < math.inf):
            raise NotASetting("limits", (self.low, self.center, self.high))
        positive("range_high", self.range_high)


@dataclass(frozen=True, slots=True)
class Drift:
    """slope: per day, as a t test against zero (`slope.bias` is the slope, `slope.interval` its interval); over_study: slope times the
    days from first to last; percent_of_tolerance: of the tolerance over the study, None without one. fit: the line at each time."""

    slope: BiasTest
    over_study: float
    percent_of_tolerance: float | None
    fit: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class StabilityStudy:
    """Everything a chart of a master shows.

    days, subgroups: as given; size: readings each time. means; ranges: of each subgroup, or moving ranges with size 1 (the first belongs
    to the second point). low, center, high, range_center, range_low, range_high: limits; limits_given: they came from outside. beyond:
    indices of means beyond; ranges_beyond: indices of points whose range, or moving range to the point before, is beyond. sigma_within:
    from the mean range; s_of_means. drift: None when all times are equal. bias: of the overall mean against the master's value, with the
    scatter of the means, None without one. stable: nothing beyond, and no drift that its interval tells from zero.
    """

    days: tuple[float, ...]
    subgroups: tuple[tuple[float, ...], ...]
    size: int
    means: tuple[float, ...]
    ranges: tuple[float, ...]
    low: float
    center: float
    high: float
    range_center: float
    range_low: float
    range_high: float
    limits_given: bool
    beyond: tuple[int, ...]
    ranges_beyond: tuple[int, ...]
    sigma_within: float
    s_of_means: float
    drift: Drift | None
    reference: float | None
    bias: BiasTest | None
    stable: bool
    confidence: float


def stability_study(
    days: Sequence[float],
    subgroups: Sequence[Sequence[float]],
    *,
    limits: GivenLimits | None = None,
    reference: float | None = None,
    tolerance: float | None = None,
    confidence: float = 0.95,
) -> StabilityStudy:
    """The study. days: time of each check in days from any start, not falling; subgroups: as many lists of equal length 1 to 25, at least
    3.

    Raises TooSmall, TooFew, NotFinite, Uneven (from `inspection.spc`), NotASetting.
    """
    probability("confidence", confidence)
    if tolerance is not None:
        positive("tolerance", tolerance)
    if len(days) != len(subgroups):
        raise NotASetting("days", len(days))
    need("subgroups", 3, len(subgroups))
    times = [float(day) for day in days]
    for index, day in enumerate(times):
        if not math.isfinite(day):
            raise NotFinite(index)
        if index and day < times[index - 1]:
            raise NotASetting("days", day)
    size = len(subgroups[0])
    if size == 0:
        raise TooSmall("trials", 1, 0)
    chart = _chart(subgroups, size)
    means = chart.means
    if limits is not None:
        slack = 1e-12 * max(abs(limits.low), abs(limits.high))
        beyond = tuple(i for i, m in enumerate(means) if m < limits.low - slack or m > limits.high + slack)
        shift = 1 if size == 1 else 0
        wide = tuple(i + shift for i, r in enumerate(chart.ranges) if r > limits.range_high + slack)
        chart = _Chart(
            means,
            chart.ranges,
            limits.low,
            limits.center,
            limits.high,
            chart.range_center,
            0.0,
            limits.range_high,
            beyond,
            wide,
            chart.sigma,
        )
    drift = _drift(times, means, tolerance, confidence)
    scatter = deviation(means)
    bias = None
    if reference is not None:
        bias = bias_test(difference(mean(means), float(reference)), scatter / len(means) ** 0.5, len(means) - 1, confidence)
    return StabilityStudy(
        days=tuple(times),
        subgroups=tuple(tuple(float(value) for value in group) for group in subgroups),
        size=size,
        means=means,
        ranges=chart.ranges,
        low=chart.low,
        center=chart.center,
        high=chart.high,
        range_center=chart.range_center,
        range_low=chart.range_low,
        range_high=chart.range_high,
        limits_given=limits is not None,
        beyond=chart.beyond,
        ranges_beyond=chart.ranges_beyond,
        sigma_within=chart.sigma,
        s_of_means=scatter,
        drift=drift,
        reference=None if reference is None else float(reference),
        bias=bias,
        stable=not (chart.beyond or chart.ranges_beyond or (drift is not None and drift.slope.significant)),
        confidence=confidence,
    )


@dataclass(frozen=True, slots=True)
class _Chart:
    means: tuple[float, ...]
    ranges: tuple[float, ...]
    low: float
    center: float
    high: float
    range_center: float
    range_low: float
    range_high: float
    beyond: tuple[int, ...]
    ranges_beyond: tuple[int, ...]
    sigma: float


def _chart(subgroups: Sequence[Sequence[float]], size: int) -> _Chart:
    if size > 1:
        of = xbar_r_chart(subgroups)
        return _Chart(of.means, of.ranges, of.low, of.center, of.high, of.r_bar, of.r_low, of.r_high, of.beyond, of.r_beyond, of.sigma)
    if any(len(group) != 1 for group in subgroups):
        raise NotASetting("subgroups", [len(group) for group in subgroups])
    singles = [float(group[0]) for group in subgroups]
    alone = individuals_chart(singles)
    moving = tuple(abs(b - a) for a, b in pairwise(singles))
    return _Chart(
        tuple(singles),
        moving,
        alone.low,
        alone.center,
        alone.high,
        alone.mr_bar,
        0.0,
        alone.mr_high,
        alone.beyond,
        alone.mr_beyond,
        alone.sigma,
    )


def _drift(times: Sequence[float], means: Sequence[float], tolerance: float | None, confidence: float) -> Drift | None:
    x, y = np.asarray(times), np.asarray(means)
    dx, dy = x - x.mean(), y - y.mean()
    sxx = math.fsum((dx * dx).tolist())
    if sxx <= 0:
        return None
    slope = math.fsum((dx * dy).tolist()) / sxx
    sse = math.fsum(np.square(dy - slope * dx).tolist())
    dust = len(x) * (64 * np.finfo(float).eps * float(np.abs(y).max())) ** 2
    if math.fsum(np.square(dy).tolist()) <= dust:
        slope = 0.0
    error = math.sqrt((0.0 if sse <= dust else sse) / (len(x) - 2) / sxx)
    over = slope * (times[-1] - times[0])
    return Drift(
        slope=bias_test(slope, error, len(x) - 2, confidence),
        over_study=over,
        percent_of_tolerance=None if tolerance is None else 100 * abs(over) / tolerance,
        fit=tuple(float(value) for value in y.mean() + slope * dx),
    )
