"""Charts with a memory, for small lasting shifts: exponentially weighted moving average and tabular cumulative sum.

Sources: NIST/SEMATECH e-Handbook 6.3.2.4 (Roberts 1959; Lucas and Saccucci 1990) and 6.3.2.3 (Page 1954; head start: Lucas and Crosier
1982). Both plot one value a sample: readings, or means of subgroups with sigma/sqrt(size) as their standard deviation.
"""

from __future__ import annotations

import numpy as np
from scipy.signal import lfilter

from inspection.process.chart import Chart, ChartLimits, Judged, Kind, Panel, Place, line, numbered, panel
from inspection.process.charts import of_kind
from inspection.process.readings import Array, Values, checked, mean
from inspection.process.sigma import Estimator, moving_ranges, sigma_moving_range

_PIECE = 4096
"""Points summed at a time: the running sum of a million points would carry rounding that the recursion does not have."""


def ewma_chart(
    values: Values,
    limits: ChartLimits | None = None,
    *,
    weight: float = 0.2,
    target: float | None = None,
    sigma: float | None = None,
    reach: float = 3.0,
    steady: bool = False,
) -> Chart:
    """EWMA chart: z_t = weight x_t + (1 - weight) z_(t-1), starting at the target. values: n >= 2 (n >= 1 with target and sigma or limits).

    target: mean of the values if not given. sigma: standard deviation of a plotted value, from the moving ranges if not given. Limits:
    target +/- reach sigma sqrt(weight/(2 - weight) (1 - (1 - weight)^(2t))); steady: without the last factor.
    Panel "weighted mean". Raises TooFew, NotFinite, NotControlLimits.
    """
    given, limits = _prepared(Kind.EWMA, values, limits, target, sigma, reach=reach, weight=weight, steady=steady)
    share = limits.weight if limits.weight is not None else 1.0
    points = limits.center + np.asarray(lfilter([share], [1.0, share - 1.0], given - limits.center))
    error: float | Array = limits.sigma * float(np.sqrt(share / (2 - share)))
    if not limits.steady:
        error = error * np.sqrt(-np.expm1(2 * np.arange(1, given.size + 1) * np.log1p(-share))) if share < 1 else limits.sigma
    return Chart(
        Kind.EWMA, (panel("weighted mean", points, limits.center, error, reach=limits.reach, judged=Judged.LIMITS),), limits, given.size
    )


def cusum_chart(
    values: Values,
    limits: ChartLimits | None = None,
    *,
    target: float | None = None,
    sigma: float | None = None,
    slack: float = 0.5,
    decision: float = 5.0,
    head_start: float = 0.0,
) -> Chart:
    """Tabular CUSUM chart. slack: k, half the shift to be caught; decision: h; head_start: first value of both sums (h/2 is usual for a
    fast initial response); all three in sigma of the plotted value. target, sigma: as for `ewma_chart`.

    Panels, in one frame and in the unit of the values: "upper sum" max(0, previous + x - target - k sigma), limit h sigma; "lower sum" the
    same downwards, drawn below zero, limit -h sigma. Sums go on after a signal. Raises TooFew, NotFinite, NotControlLimits.
    """
    given, limits = _prepared(Kind.CUSUM, values, limits, target, sigma, slack=slack, decision=decision, head_start=head_start)
    k, h = (limits.slack or 0.0) * limits.sigma, (limits.decision or 0.0) * limits.sigma
    start = limits.head_start * limits.sigma
    upper = one_sided_sums(given - limits.center - k, start)
    lower = -one_sided_sums(limits.center - k - given, start)
    count, samples = int(given.size), numbered(int(given.size))
    zero = line(0.0, count)
    panels = (
        Panel("upper sum", Place.LOCATION, Judged.LIMITS, upper, zero, None, line(h, count), None, samples, floor=0.0),
        Panel("lower sum", Place.LOCATION, Judged.LIMITS, lower, zero, line(-h, count), None, None, samples),
    )
    return Chart(Kind.CUSUM, panels, limits, count)


def one_sided_sums(steps: Array, start: float = 0.0) -> Array:
    """S_t = max(0, S_(t-1) + step_t) from S_0 = start >= 0 (shape (n,)): the running sum less its lowest value so far, where below zero."""
    sums = np.empty_like(steps)
    last = start
    for first in range(0, steps.size, _PIECE):
        piece = np.cumsum(steps[first : first + _PIECE])
        piece += last
        piece -= np.minimum(np.minimum.accumulate(piece), 0.0)
        sums[first : first + _PIECE] = piece
        last = float(piece[-1])
    return sums


def change_before(of: Panel, at: int) -> int:
    """The first point of the climb that ends at point `at` of a CUSUM panel, the usual estimate of when a shift began: the point after the
    sum last stood at zero (0 if it never did)."""
    at_rest = np.flatnonzero(of.points[: at + 1] == 0)
    return int(at_rest[-1]) + 1 if at_rest.size else 0


def _prepared(
    kind: Kind, values: Values, limits: ChartLimits | None, target: float | None, sigma: float | None, **settings: float
) -> tuple[Array, ChartLimits]:
    """The values and the limits, estimated where neither limits nor target and sigma are given."""
    if limits is not None:
        return checked(values, 1), of_kind(limits, kind)
    given = checked(values, 2 if sigma is None else 1)
    by = Estimator.GIVEN if sigma is not None else Estimator.MOVING_RANGE
    estimated = target is None or sigma is None
    return given, ChartLimits(
        kind,
        mean(given) if target is None else target,
        sigma_moving_range(moving_ranges(given)).value if sigma is None else sigma,
        estimated_by=str(by),
        samples=int(given.size) if estimated else 0,
        readings=int(given.size) if estimated else 0,
        **settings,  # type: ignore[arg-type]  # steady is the one yes or no among numbers
    )
