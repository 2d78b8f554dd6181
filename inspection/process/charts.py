"""Control charts of measured values: means with ranges or standard deviations, individuals with moving ranges, run charts.

Each function estimates its limits from the readings (phase I), or charts them with `limits` given or frozen before (phase II).
Sources: ASTM E2587; ISO 7870-2:2013; NIST/SEMATECH e-Handbook of Statistical Methods 6.3.2; constants computed (`constants`).
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from inspection.process.chart import Chart, ChartLimits, Judged, Kind, NotControlLimits, Place, numbered, panel
from inspection.process.constants import c4, c5, d2, d3, per_size
from inspection.process.readings import Array, Groups, Subgroups, Values, checked, mean, subgroups
from inspection.process.sigma import Estimator, moving_ranges, sigma_moving_range, sigma_within
from inspection.spc import TooFew


def of_kind(limits: ChartLimits, *kinds: Kind) -> ChartLimits:
    """The limits, if they belong to one of these kinds of chart. Raises NotControlLimits."""
    if limits.kind not in kinds:
        raise NotControlLimits(f"Limits of a chart of kind {limits.kind} do not fit one of kind {kinds[0]}.")
    return limits


def xbar_r_chart(
    data: Groups | Subgroups, limits: ChartLimits | None = None, *, sigma_by: Estimator = Estimator.RANGE, reach: float = 3.0
) -> Chart:
    """Mean and range chart. data: k >= 2 subgroups of any sizes (k >= 1 with limits given); a subgroup of one has no range.

    Panels: "mean" (grand mean of all readings +/- reach sigma/sqrt n) and "range" (d2 sigma +/- reach d3 sigma, not below 0), with the
    constants of each subgroup's own size. Raises TooFew, NotFinite, NotControlLimits.
    """
    return _means_with_spread(Kind.XBAR_R, data, limits, sigma_by, reach)


def xbar_s_chart(
    data: Groups | Subgroups, limits: ChartLimits | None = None, *, sigma_by: Estimator = Estimator.DEVIATION, reach: float = 3.0
) -> Chart:
    """Mean and standard deviation chart; as `xbar_r_chart`, with "standard deviation": c4 sigma +/- reach sigma sqrt(1 - c4^2).

    sigma_by: sbar/c4 (default) or pooled, which weighs by degrees of freedom and suits very unequal sizes.
    """
    return _means_with_spread(Kind.XBAR_S, data, limits, sigma_by, reach)


def _means_with_spread(kind: Kind, data: Groups | Subgroups, limits: ChartLimits | None, sigma_by: Estimator, reach: float) -> Chart:
    groups = subgroups(data, 2 if limits is None else 1)
    if limits is None:
        sigma = sigma_within(groups, sigma_by)
        limits = ChartLimits(
            kind,
            mean(groups.values),
            sigma.value,
            reach,
            estimated_by=str(sigma.by),
            samples=len(groups),
            readings=int(groups.values.size),
        )
    of_kind(limits, kind)
    sizes, common = groups.sizes, groups.size
    error = limits.sigma / (np.sqrt(sizes) if common is None else np.sqrt(common))
    location = panel("mean", groups.means(), limits.center, error, reach=limits.reach)
    samples = np.flatnonzero(sizes >= 2)
    if not samples.size:
        return Chart(kind, (location,), limits, len(groups))
    factor: Callable[[int], float] = d2 if kind is Kind.XBAR_R else c4
    scatter: Callable[[int], float] = d3 if kind is Kind.XBAR_R else c5
    name, spreads = ("range", groups.ranges()) if kind is Kind.XBAR_R else ("standard deviation", groups.deviations())
    center: float | Array
    wide: float | Array
    if common is not None:
        center, wide = factor(common), scatter(common)
    else:
        center, wide, spreads = per_size(factor, sizes[samples]), per_size(scatter, sizes[samples]), spreads[samples]
    spread = panel(
        name,
        spreads,
        center * limits.sigma,
        wide * limits.sigma,
        reach=limits.reach,
        place=Place.SPREAD,
        judged=Judged.SIDES,
        floor=0.0,
        samples=samples,
    )
    return Chart(kind, (location, spread), limits, len(groups))


def individuals_chart(values: Values, limits: ChartLimits | None = None, *, reach: float = 3.0, before: float | None = None) -> Chart:
    """Individuals and moving-range chart of readings in time order (n >= 2; n >= 1 with limits given).

    Panels: "value" (mean +/- reach MRbar/d2) and "moving range" (of two neighbours; centre d2 sigma, upper limit (d2 + reach d3) sigma).
    before: the reading before the first, for the first moving range of live monitoring. Raises TooFew, NotFinite, NotControlLimits.
    """
    given = checked(values, 2 if limits is None else 1)
    joined = given if before is None else np.concatenate((checked([before]), given))
    moving = moving_ranges(joined)
    if limits is None:
        sigma = sigma_moving_range(moving)
        limits = ChartLimits(
            Kind.INDIVIDUALS,
            mean(given),
            sigma.value,
            reach,
            estimated_by=str(sigma.by),
            samples=int(given.size),
            readings=int(given.size),
        )
    of_kind(limits, Kind.INDIVIDUALS)
    location = panel("value", given, limits.center, limits.sigma, reach=limits.reach)
    if not moving.size:
        return Chart(Kind.INDIVIDUALS, (location,), limits, int(given.size))
    spread = panel(
        "moving range",
        moving,
        d2(2) * limits.sigma,
        d3(2) * limits.sigma,
        reach=limits.reach,
        place=Place.SPREAD,
        judged=Judged.LIMITS,
        floor=0.0,
        samples=numbered(int(given.size))[given.size - moving.size :],
    )
    return Chart(Kind.INDIVIDUALS, (location, spread), limits, int(given.size))


def run_chart(values: Values, limits: ChartLimits | None = None) -> Chart:
    """Run chart: values in time order about their median, no limits (n >= 2; n >= 1 with limits given). Tests: `runs`.

    Raises TooFew, NotFinite, NotControlLimits.
    """
    given = checked(values, 2 if limits is None else 1)
    if limits is None:
        count = int(given.size)
        limits = ChartLimits(Kind.RUN, float(np.median(given)), estimated_by="median", samples=count, readings=count)
    of_kind(limits, Kind.RUN)
    return Chart(Kind.RUN, (panel("value", given, limits.center, None, judged=Judged.RUNS),), limits, int(given.size))


def given_limits(kind: Kind, center: float, sigma: float, *, reach: float = 3.0) -> ChartLimits:
    """Limits that a drawing, a customer or a standard states, for kinds xbar-r, xbar-s and individuals: centre line and standard deviation
    of single readings. Raises NotControlLimits, also for a standard deviation of zero."""
    if kind not in (Kind.XBAR_R, Kind.XBAR_S, Kind.INDIVIDUALS):
        raise NotControlLimits(f"A chart of kind {kind} is not given by a centre and a standard deviation.")
    if not sigma > 0:
        raise NotControlLimits("A given standard deviation is above zero.")
    return ChartLimits(kind, center, sigma, reach, estimated_by=str(Estimator.GIVEN))


def sigma_from_limits(low: float, high: float, size: int = 1, *, reach: float = 3.0) -> tuple[float, float]:
    """Centre and standard deviation of single readings behind printed limits of means of `size`. Raises NotControlLimits, TooFew."""
    if size < 1:
        raise TooFew(1, size)
    if not (np.isfinite(low) and np.isfinite(high) and low < high):
        raise NotControlLimits("The lower limit is below the upper one, both are finite.")
    return (low + high) / 2, (high - low) / (2 * reach) * float(np.sqrt(size))
