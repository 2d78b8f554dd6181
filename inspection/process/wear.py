"""Tool wear: crimp height against the crimp counter, and the count at which it reaches a limit.

One slope for all stretches between replacements of wear parts, a level of its own for each (analysis of covariance); the forecast is made
for the present stretch. Bounds: Fieller's interval, see `inspection.process.regression`.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy import stats

from inspection.process.readings import Array, NoSpread, checked
from inspection.spc import TooFew

LEAST_VALUES = 10
"""Fewer readings of the present stretch and the ones before it show no drift that is worth a forecast (our own choice)."""


@dataclass(frozen=True, slots=True)
class Stretch:
    """Readings between two replacements. after_count: crimps at the replacement before it; level: mean height at its first count."""

    after_count: float
    first: int
    last: int
    level: float


@dataclass(frozen=True, slots=True)
class Forecast:
    """The count at which the drift reaches `limit`, with its interval; high None where it may never come. passed: already there."""

    limit: float
    what: str
    at_count: float
    low: float
    high: float | None
    passed: bool


@dataclass(frozen=True, slots=True, eq=False)
class Wear:
    """slope: per crimp, in the unit of the readings, with its confidence interval and p value against no drift; drifts: the interval leaves
    zero out. s: about the lines. stretches: oldest first. line: heights of the fitted lines at each count. same_slope_p: test that all
    stretches drift alike, None with one. jump, jump_interval: level of the present stretch against the one before it at the replacement,
    None with one. forecasts: of the limits given that lie ahead of the drift, the nearest first; empty without a drift."""

    counts: tuple[float, ...]
    values: tuple[float, ...]
    slope: float
    slope_low: float
    slope_high: float
    p: float
    drifts: bool
    s: float
    df: int
    stretches: tuple[Stretch, ...]
    line: tuple[float, ...]
    same_slope_p: float | None
    jump: float | None
    jump_interval: tuple[float, float] | None
    forecasts: tuple[Forecast, ...]
    confidence: float


def wear(
    counts: Sequence[float],
    values: Sequence[float],
    *,
    replaced_at: Sequence[float] = (),
    limits: Sequence[tuple[str, float]] = (),
    confidence: float = 0.95,
) -> Wear:
    """The drift of a tool.

    counts: crimps on the counter at each reading, values: the readings, both in time order (shape (n,), n >= 10). replaced_at: counts at
    which a wear part was replaced. limits: what is watched, as (what, limit), in the unit of the readings: specification or control limits.
    Raises TooFew, NotFinite, NoSpread (all readings at one count), ValueError.
    """
    x, y = checked(counts, LEAST_VALUES), checked(values, LEAST_VALUES)
    if x.size != y.size:
        raise ValueError(f"{x.size} counts and {y.size} values")
    if not 0 < confidence < 1:
        raise ValueError("confidence lies between 0 and 1")
    cuts = sorted({float(c) for c in replaced_at})
    stretch = np.searchsorted(np.asarray(cuts), x, side="left") if cuts else np.zeros(x.size, dtype=np.int64)
    names, codes = np.unique(stretch, return_inverse=True)
    groups = int(names.size)
    df = int(x.size - groups - 1)
    if df < 3:
        raise TooFew(groups + 4, int(x.size))
    x_mean, y_mean = (np.bincount(codes, weights=v) / np.bincount(codes) for v in (x, y))
    dx, dy = x - x_mean[codes], y - y_mean[codes]
    sxx = math.fsum(float(v) ** 2 for v in dx)
    if sxx <= 0:
        raise NoSpread
    slope = math.fsum(float(v) for v in dx * dy) / sxx
    residuals = dy - slope * dx
    left = math.fsum(float(v) ** 2 for v in residuals)
    s = math.sqrt(left / df)
    se = s / math.sqrt(sxx)
    t = float(stats.t.ppf((1 + confidence) / 2, df))
    p = float(2 * stats.t.sf(abs(slope) / se, df)) if se > 0 else (0.0 if slope else 1.0)
    low, high = slope - t * se, slope + t * se
    drifts = low > 0 or high < 0
    now = groups - 1
    forecasts: list[Forecast] = []
    if drifts:
        newest = float(x[codes == now].max())
        of = _Line(float(x_mean[now]), float(y_mean[now]), slope, s, int(np.bincount(codes)[now]), sxx, t)
        forecasts = [f for what, limit in limits if (f := of.reaches(what, limit, newest)) is not None]
    after = [float("-inf"), *cuts]
    stretches = []
    for code in range(groups):
        inside = np.flatnonzero(codes == code)
        first = float(x[inside].min())
        level = float(y_mean[code] + slope * (first - x_mean[code]))
        began = after[int(names[code])]
        stretches.append(Stretch(began if math.isfinite(began) else first, int(inside[0]), int(inside[-1]), level))
    jump = jump_interval = None
    if groups > 1:
        # Both lines at the replacement: the difference of the group means, brought to one count along the common slope.
        apart = float(x_mean[now] - x_mean[now - 1])
        jump = float(y_mean[now] - y_mean[now - 1]) - slope * apart
        sizes = np.bincount(codes)
        reach = t * s * math.sqrt(1 / float(sizes[now]) + 1 / float(sizes[now - 1]) + apart**2 / sxx)
        jump_interval = (jump - reach, jump + reach)
    return Wear(
        counts=tuple(map(float, x)),
        values=tuple(map(float, y)),
        slope=slope,
        slope_low=low,
        slope_high=high,
        p=p,
        drifts=drifts,
        s=s,
        df=df,
        stretches=tuple(stretches),
        line=tuple(map(float, y_mean[codes] + slope * dx)),
        same_slope_p=_same_slope(x, y, codes, groups, left),
        jump=jump,
        jump_interval=jump_interval,
        forecasts=tuple(sorted(forecasts, key=lambda f: f.at_count)),
        confidence=confidence,
    )


@dataclass(frozen=True, slots=True)
class _Line:
    """The line of the present stretch: mean count and mean value of its n readings, the common slope, its sum of squares."""

    x_mean: float
    y_mean: float
    slope: float
    s: float
    n: int
    sxx: float
    t: float

    def reaches(self, what: str, limit: float, newest: float) -> Forecast | None:
        """When the drift arrives at a limit; None for one that lies behind it. Fieller: (y0 + b d - L)^2 = t^2 s^2 (1/n + d^2/Sxx)."""
        at = self.x_mean + (limit - self.y_mean) / self.slope
        ts2 = (self.t * self.s) ** 2
        a2 = self.slope**2 - ts2 / self.sxx
        gap = self.y_mean - limit
        if a2 <= 0:
            return None
        a1, a0 = 2 * gap * self.slope, gap**2 - ts2 / self.n
        root = math.sqrt(max(a1**2 - 4 * a2 * a0, 0.0))
        low, high = sorted(self.x_mean + (-a1 + sign * root) / (2 * a2) for sign in (-1, 1))
        if at < newest and (limit - self.y_mean) * self.slope < 0:
            return None  # the drift leads away from this limit
        return Forecast(limit, what, at, low, high, passed=at <= newest)


def _same_slope(x: Array, y: Array, codes: np.ndarray, groups: int, left: float) -> float | None:
    """The F test of one slope for all against a slope for each stretch that has one."""
    if groups == 1:
        return None
    own, used = 0.0, 0
    for code in range(groups):
        xs, ys = x[codes == code], y[codes == code]
        dx, dy = xs - xs.mean(), ys - ys.mean()
        sxx = float(dx @ dx)
        used += 1
        if sxx > 0:
            used += 1
            own += float(dy @ dy) - float(dx @ dy) ** 2 / sxx
        else:
            own += float(dy @ dy)
    df = int(x.size) - used
    extra = used - groups - 1
    if df < 1 or extra < 1 or own <= 0:
        return None
    f = max(left - own, 0.0) / extra / (own / df)
    return float(stats.f.sf(f, extra, df))
