"""Linearity and bias of a gauge over its range: parts of known value, each read several times; the bias as a line over the reference.

Source: AIAG, Measurement Systems Analysis, 4th ed., chapter III-B (from memory); the lack-of-fit test is the textbook one with pure error
from repeats.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from inspection.spc import NotFinite, TooFew, mean
from inspection.studies.confidence import Interval, NotASetting, f_tail, positive, probability, t_quantile, t_two_sided
from inspection.studies.crossed import Floats, need
from inspection.studies.gauge_type1 import BiasTest, bias_test, deviation

REFERENCES_WANTED = 5
"""Parts over the range of the gauge (AIAG MSA 4th ed., from memory); with fewer the study says so."""


@dataclass(frozen=True, slots=True)
class AtReference:
    """One part. biases: reading - reference, in the order taken; s: their standard deviation; test: of their mean against zero, None with a
    single reading; fit, band: the line and its confidence band here."""

    reference: float
    biases: tuple[float, ...]
    mean_bias: float
    s: float | None
    test: BiasTest | None
    fit: float
    band: Interval


@dataclass(frozen=True, slots=True)
class Coefficient:
    """value; standard_error; t, p: against zero, None where the residuals do not spread; interval."""

    value: float
    standard_error: float
    t: float | None
    p: float | None
    interval: Interval


@dataclass(frozen=True, slots=True)
class BandPoint:
    """The line and its pointwise confidence band at x."""

    x: float
    fit: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class LinearityStudy:
    """bias = intercept + slope times reference.

    references: per part, in rising order; band: the line and its band on an even grid over their range. s: residual standard deviation
    with df degrees of freedom; r_squared: None when all biases are equal; t_critical. lack_of_fit_f, lack_of_fit_p: whether the means
    depart from the line more than repeats explain; None where untestable. zero_inside_band: the zero line lies within the band over the
    whole range, so no linearity problem and no bias is shown. mean_bias: over all readings. linearity: |slope| times the spread given
    (process variation or tolerance), linearity_percent: 100 |slope|, bias_percent: |mean bias| of that spread; None without one.
    few_references: fewer than 5.
    """

    references: tuple[AtReference, ...]
    band: tuple[BandPoint, ...]
    slope: Coefficient
    intercept: Coefficient
    s: float
    df: int
    r_squared: float | None
    t_critical: float
    lack_of_fit_f: float | None
    lack_of_fit_p: float | None
    zero_inside_band: bool
    mean_bias: float
    spread: float | None
    linearity: float | None
    linearity_percent: float
    bias_percent: float | None
    few_references: bool
    confidence: float


def linearity_study(
    references: Sequence[float],
    readings: Sequence[Sequence[float]],
    *,
    spread: float | None = None,
    confidence: float = 0.95,
    grid: int = 41,
) -> LinearityStudy:
    """The study. references: shape (g,), at least 2 different ones; readings: g lists of one or more, in the same unit, together at least
    3.

    Raises TooFew, NotFinite (index over all readings), TooSmall, NotASetting.
    """
    probability("confidence", confidence)
    if spread is not None:
        positive("spread", spread)
    if len(references) != len(readings):
        raise NotASetting("references", len(references))
    need("references", 2, len({float(reference) for reference in references}))
    for reference in references:
        if not math.isfinite(reference):
            raise NotASetting("references", reference)
    for taken in readings:
        if len(taken) < 1:
            raise TooFew(1, 0)
    order = sorted(range(len(references)), key=lambda i: float(references[i]))
    true = [float(references[i]) for i in order]
    biases = [[float(value) - reference for value in readings[i]] for i, reference in zip(order, true, strict=True)]
    x = np.repeat(true, [len(group) for group in biases])
    y = np.concatenate([np.asarray(group, dtype=float) for group in biases])
    odd = np.flatnonzero(~np.isfinite(y))
    if len(odd):
        raise NotFinite(int(odd[0]))
    n = len(y)
    if n < 3:
        raise TooFew(3, n)
    dx, dy = x - x.mean(), y - y.mean()
    sxx, syy, sxy = (math.fsum((a * b).tolist()) for a, b in ((dx, dx), (dy, dy), (dx, dy)))
    slope = sxy / sxx
    intercept = float(y.mean()) - slope * float(x.mean())
    residuals = dy - slope * dx
    sse = math.fsum(np.square(residuals).tolist())
    if sse <= n * (64 * np.finfo(float).eps * float(np.abs(x).max() + np.abs(y).max())) ** 2:
        sse = 0.0  # what rounding leaves of a perfect line
    df = n - 2
    s = math.sqrt(sse / df)
    critical = t_quantile((1 + confidence) / 2, df)

    def at(value: float) -> BandPoint:
        fit = intercept + slope * value
        reach = critical * s * math.sqrt(1 / n + (value - float(x.mean())) ** 2 / sxx)
        return BandPoint(value, fit, fit - reach, fit + reach)

    def part(reference: float, group: list[float]) -> AtReference:
        here = at(reference)
        scatter = deviation(group) if len(group) > 1 else None
        test = None if scatter is None else bias_test(mean(group), scatter / len(group) ** 0.5, len(group) - 1, confidence)
        return AtReference(reference, tuple(group), mean(group), scatter, test, here.fit, Interval(here.low, here.high, confidence))

    lack_f, lack_p = _lack_of_fit(x, y, sse)
    return LinearityStudy(
        references=tuple(part(reference, group) for reference, group in zip(true, biases, strict=True)),
        band=tuple(at(float(value)) for value in np.linspace(true[0], true[-1], max(grid, 2))),
        slope=_coefficient(slope, s / math.sqrt(sxx), df, confidence),
        intercept=_coefficient(intercept, s * math.sqrt(1 / n + float(x.mean()) ** 2 / sxx), df, confidence),
        s=s,
        df=df,
        r_squared=1 - sse / syy if syy > 0 else None,
        t_critical=critical,
        lack_of_fit_f=lack_f,
        lack_of_fit_p=lack_p,
        zero_inside_band=_zero_inside(slope, intercept, critical * s, n, float(x.mean()), sxx, true[0], true[-1]),
        mean_bias=float(y.mean()),
        spread=spread,
        linearity=None if spread is None else abs(slope) * spread,
        linearity_percent=100 * abs(slope),
        bias_percent=None if spread is None else 100 * abs(float(y.mean())) / spread,
        few_references=len(set(true)) < REFERENCES_WANTED,
        confidence=confidence,
    )


def _coefficient(value: float, error: float, df: int, confidence: float) -> Coefficient:
    test = bias_test(value, error, df, confidence)
    return Coefficient(value, error, test.t, None if test.t is None else t_two_sided(test.t, df), test.interval)


def _lack_of_fit(x: Floats, y: Floats, sse: float) -> tuple[float | None, float | None]:
    levels = np.unique(x)
    pure = math.fsum(float(np.square(y[x == level] - y[x == level].mean()).sum()) for level in levels)
    lack_df, pure_df = len(levels) - 2, len(y) - len(levels)
    if lack_df < 1 or pure_df < 1 or pure <= 0 or sse <= 0:
        return None, None
    f = max(sse - pure, 0.0) / lack_df / (pure / pure_df)
    return f, f_tail(f, lack_df, pure_df)


def _zero_inside(slope: float, intercept: float, reach: float, n: int, center: float, sxx: float, low: float, high: float) -> bool:
    """Whether (fit)^2 <= (half width of the band)^2 everywhere from low to high: a parabola in x, largest at an end or, if it opens
    downward, at its vertex."""
    at_center = intercept + slope * center

    def excess(x: float) -> float:
        d = x - center
        return (at_center + slope * d) ** 2 - reach**2 * (1 / n + d**2 / sxx)

    candidates = [low, high]
    opening = slope**2 - reach**2 / sxx
    if opening < 0:
        vertex = center - at_center * slope / opening
        if low < vertex < high:
            candidates.append(vertex)
    return all(excess(x) <= 0 for x in candidates)
