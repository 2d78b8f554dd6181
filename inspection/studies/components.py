"""Components of variation of a gauge study: what each is made of, how sure it is, and what it is held against."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray
from scipy import special

from inspection.studies.confidence import (
    Interval,
    MeanSquare,
    NotASetting,
    combination_interval,
    f_tail,
    positive,
    variance_interval,
)

STUDY_SIGMAS = 6.0
"""Width of a spread in sigma (AIAG MSA 4th ed.; editions before took 5.15, which holds 99 % of a normal distribution)."""

NDC_FACTOR = 1.41
"""AIAG MSA 4th ed.; the root of two, as printed."""


class Origin(StrEnum):
    """Where variation comes from."""

    EQUIPMENT = "equipment"
    APPRAISER = "appraiser"
    INTERACTION = "part by appraiser"
    REPRODUCIBILITY = "reproducibility"
    GAUGE = "gauge"
    PART = "part"
    TOTAL = "total"


class Standing(StrEnum):
    """How a percentage of repeatability and reproducibility stands."""

    GOOD = "good"
    CONDITIONAL = "conditional"
    NOT_ACCEPTABLE = "not acceptable"


@dataclass(frozen=True, slots=True)
class Yardstick:
    """What variation is held against. Raises NotASetting.

    tolerance: the total tolerance, in the unit of the readings. one_limit: the limit where only one exists; its spread is half the sigmas
    over the distance of the grand mean from it (common practice). process_sigma: long-term standard deviation of the process. sigmas: width
    of a spread. good_below, accepted_to: percent; below the first good, above the second not acceptable (AIAG MSA 4th ed., from memory).
    """

    tolerance: float | None = None
    one_limit: float | None = None
    process_sigma: float | None = None
    sigmas: float = STUDY_SIGMAS
    good_below: Decimal = Decimal(10)
    accepted_to: Decimal = Decimal(30)

    def __post_init__(self) -> None:
        positive("sigmas", self.sigmas)
        for name in ("tolerance", "process_sigma"):
            if (value := getattr(self, name)) is not None:
                positive(name, value)
        if self.one_limit is not None and not math.isfinite(self.one_limit):
            raise NotASetting("one_limit", self.one_limit)

    def standing(self, percent: float | None) -> Standing | None:
        """How a percentage stands, taken to hundredths half up before it meets the limits; None where there is no percentage."""
        if percent is None:
            return None
        met = Decimal(repr(percent)).quantize(Decimal("0.01"), ROUND_HALF_UP)
        if met < self.good_below:
            return Standing.GOOD
        return Standing.CONDITIONAL if met <= self.accepted_to else Standing.NOT_ACCEPTABLE


@dataclass(frozen=True, slots=True)
class Component:
    """One line of a study's table.

    estimate: the variance as estimated, which may be negative; set_to_zero says that it was and counts as zero. variance, sigma: as
    counted. spread: sigmas times sigma. percent_contribution: of the total variance; percent_study: of the total sigma;
    percent_tolerance: spread of the tolerance; percent_one_limit: half the spread of the distance from mean to limit; percent_process: of
    the process sigma. None: not asked, or not computable because it would divide by zero. sigma_interval: of sigma, None where the method
    gives none. percent_study_interval: of percent_study (generalised interval, `share_intervals`).
    """

    origin: Origin
    estimate: float
    variance: float
    sigma: float
    set_to_zero: bool
    spread: float
    percent_contribution: float | None
    percent_study: float | None
    percent_tolerance: float | None
    percent_one_limit: float | None
    percent_process: float | None
    sigma_interval: Interval | None
    percent_study_interval: Interval | None


@dataclass(frozen=True, slots=True)
class AnovaRow:
    """A line of an analysis of variance. f, p are None where there is no test or its divisor is zero; `ss` and `ms` are in squared
    units."""

    origin: Origin
    df: int
    ss: float
    ms: float | None
    f: float | None = None
    p: float | None = None


def tested(origin: Origin, df: int, ss: float, against: MeanSquare) -> AnovaRow:
    """A line with its F test against a mean square."""
    ms = ss / df
    if against.value <= 0:
        return AnovaRow(origin, df, ss, ms)
    return AnovaRow(origin, df, ss, ms, ms / against.value, f_tail(ms / against.value, df, against.df))


def without_dust(ss: float, count: int, largest: float) -> float:
    """A sum of squares, zero where it is no more than what rounding of readings as large as `largest` leaves behind."""
    return 0.0 if ss <= count * (16 * np.finfo(float).eps * largest) ** 2 else ss


Coefficients = Mapping[Origin, Mapping[str, float]]
"""Each component as a combination of mean squares: {PART: {"part": 1/r, "equipment": -1/r}}. Of EQUIPMENT, APPRAISER, INTERACTION and PART,
those that the study has."""

_SUMS = {
    Origin.REPRODUCIBILITY: (Origin.APPRAISER, Origin.INTERACTION),
    Origin.GAUGE: (Origin.EQUIPMENT, Origin.APPRAISER, Origin.INTERACTION),
    Origin.TOTAL: (Origin.EQUIPMENT, Origin.APPRAISER, Origin.INTERACTION, Origin.PART),
}


@dataclass(frozen=True, slots=True)
class Decomposition:
    """components: the table, in the order of Origin. ndc_exact: 1.41 PV/GRR; ndc: truncated and at least 1; both None when GRR is zero.
    ndc_interval: of ndc_exact. ndc_process: the same with the process sigma instead of the parts' own spread."""

    components: tuple[Component, ...]
    ndc_exact: float | None
    ndc: int | None
    ndc_interval: Interval | None
    ndc_process: int | None

    def __getitem__(self, origin: Origin) -> Component:
        """The line of one origin. Raises KeyError: one appraiser has no reproducibility."""
        for component in self.components:
            if component.origin is origin:
                return component
        raise KeyError(origin)


def decomposed(
    lines: Mapping[str, MeanSquare], coefficients: Coefficients, yardstick: Yardstick, grand_mean: float, confidence: float
) -> Decomposition:
    """Components of variance from mean squares, negative ones counted as zero, with intervals of sigma and of percent of study."""
    estimates = {origin: math.fsum(c * lines[name].value for name, c in made_of.items()) for origin, made_of in coefficients.items()}
    combined: dict[Origin, dict[str, float]] = {origin: dict(made_of) for origin, made_of in coefficients.items()}
    for whole, addends in _SUMS.items():
        present = [origin for origin in addends if origin in coefficients]
        if whole is Origin.REPRODUCIBILITY and not present:
            continue
        names = dict.fromkeys(name for origin in present for name in coefficients[origin])
        combined[whole] = {name: math.fsum(coefficients[origin].get(name, 0.0) for origin in present) for name in names}
    intervals = {origin: _variance_interval(lines, made_of, confidence) for origin, made_of in combined.items()}
    shares, ndc_interval = share_intervals(lines, coefficients, confidence)
    return table(estimates, yardstick, grand_mean, intervals, shares, ndc_interval)


def table(
    estimates: Mapping[Origin, float],
    yardstick: Yardstick,
    grand_mean: float,
    variance_intervals: Mapping[Origin, Interval],
    share: Mapping[Origin, Interval] | None = None,
    ndc_interval: Interval | None = None,
) -> Decomposition:
    """The table from estimated variances of EQUIPMENT, APPRAISER, INTERACTION, PART: sums, percentages, categories."""
    counted = {origin: max(estimate, 0.0) for origin, estimate in estimates.items()}
    raw = dict(estimates)
    for whole, addends in _SUMS.items():
        present = [origin for origin in addends if origin in estimates]
        if present and not (whole is Origin.REPRODUCIBILITY and Origin.APPRAISER not in estimates):
            counted[whole] = math.fsum(counted[origin] for origin in present)
            raw[whole] = counted[whole]
    total = counted[Origin.TOTAL]
    distance = None if yardstick.one_limit is None else abs(grand_mean - yardstick.one_limit)

    def line(origin: Origin) -> Component:
        variance, sigma = counted[origin], math.sqrt(counted[origin])
        spread = yardstick.sigmas * sigma
        interval = variance_intervals.get(origin)
        if interval is not None:  # the estimate with its negative parts cut may lie outside the interval of the sum with them
            interval = _of_counted(origin, interval, raw, variance_intervals)
            interval = Interval(min(interval.low, variance), max(interval.high, variance), interval.confidence).root()
        return Component(
            origin=origin,
            estimate=raw[origin],
            variance=variance,
            sigma=sigma,
            set_to_zero=raw[origin] < 0,
            spread=spread,
            percent_contribution=_percent(variance, total),
            percent_study=_percent(sigma, math.sqrt(total)),
            percent_tolerance=_percent(spread, yardstick.tolerance),
            percent_one_limit=_percent(spread / 2, distance),
            percent_process=_percent(sigma, yardstick.process_sigma),
            sigma_interval=interval,
            percent_study_interval=(share or {}).get(origin) if total > 0 else None,
        )

    gauge, part = math.sqrt(counted[Origin.GAUGE]), math.sqrt(counted[Origin.PART])
    exact = NDC_FACTOR * part / gauge if gauge > 0 else None
    process = None
    if yardstick.process_sigma is not None and gauge > 0:
        process = categories(NDC_FACTOR * math.sqrt(max(yardstick.process_sigma**2 - gauge**2, 0.0)) / gauge)
    return Decomposition(
        tuple(line(origin) for origin in Origin if origin in counted),
        exact,
        None if exact is None else categories(exact),
        ndc_interval if exact is not None else None,
        process,
    )


def _of_counted(origin: Origin, interval: Interval, raw: Mapping[Origin, float], intervals: Mapping[Origin, Interval]) -> Interval:
    """The interval of a sum's variance as it counts. Where an addend was cut at zero, the interval of the uncut sum lies too low: the sum
    is no less than any of its addends, so neither is either end."""
    addends = [part for part in _SUMS.get(origin, ()) if part in raw]
    if not any(raw[part] < 0 for part in addends):
        return interval
    known = [interval, *(intervals[part] for part in addends if part in intervals)]
    return Interval(max(each.low for each in known), max(each.high for each in known), interval.confidence)


def categories(exact: float) -> int:
    """The number of distinct categories: truncated, at least 1; a whole number short of itself by rounding stays whole."""
    return max(math.floor(exact + 1e-9), 1)


def _percent(part: float, whole: float | None) -> float | None:
    return 100 * part / whole if whole else None


def _variance_interval(lines: Mapping[str, MeanSquare], made_of: Mapping[str, float], confidence: float) -> Interval:
    scaled = [(c, MeanSquare(abs(c) * lines[name].value, lines[name].df)) for name, c in made_of.items() if abs(c) > 1e-12]
    plus, minus = [term for c, term in scaled if c > 0], [term for c, term in scaled if c < 0]
    if len(plus) == 1 and not minus:
        return variance_interval(plus[0], confidence)
    return combination_interval(plus, minus, confidence)


# --- Shares ----------------------------------------------------------------------------------------------------------------------

_POINTS = 1 << 13


def share_intervals(
    lines: Mapping[str, MeanSquare], coefficients: Coefficients, confidence: float
) -> tuple[dict[Origin, Interval], Interval | None]:
    """Intervals of each component's percent of the total sigma, and of 1.41 PV/GRR.

    Generalised intervals (Weerahandi 1993, J. American Statistical Association 88, 899-905; for gauge studies Hamada and Weerahandi 2000,
    J. Quality Technology 32, 241-253; from memory): each mean square is replaced by its value times df/chi2, negative components count as
    zero, and the quantiles of the resulting ratios are read off. The chi-squares run through an evenly spread sequence of points (Kronecker
    sequence with the powers of the generalised golden ratio), so the same study always gives the same interval.
    """
    names = list(lines)
    quantiles = _spread_points(len(names))
    drawn = {}
    for column, name in enumerate(names):
        df = lines[name].df
        drawn[name] = lines[name].value * df / (2 * special.gammaincinv(df / 2, quantiles[:, column]))
    zero = np.zeros(_POINTS)
    variances = {
        origin: np.maximum(sum((c * drawn[name] for name, c in made_of.items()), zero), 0.0) for origin, made_of in coefficients.items()
    }
    for whole, addends in _SUMS.items():
        present = [variances[origin] for origin in addends if origin in coefficients]
        if present:
            variances[whole] = np.sum(present, axis=0)
    total = variances[Origin.TOTAL]
    if not (total > 0).all():
        return {}, None
    shares = {origin: _between(100 * np.sqrt(variance / total), confidence) for origin, variance in variances.items()}
    gauge = variances[Origin.GAUGE]
    ndc = _between(NDC_FACTOR * np.sqrt(variances[Origin.PART] / gauge), confidence) if (gauge > 0).all() else None
    return shares, ndc


def _between(values: NDArray[np.float64], confidence: float) -> Interval:
    low, high = np.quantile(values, [(1 - confidence) / 2, (1 + confidence) / 2])
    return Interval(float(low), float(high), confidence)


def _spread_points(dimensions: int) -> NDArray[np.float64]:
    """Points in the open unit cube, shape (_POINTS, dimensions): k times the powers of 1/g modulo 1, g the root of g^(d+1) = g + 1."""
    golden = 2.0
    for _ in range(64):
        golden = (1 + golden) ** (1 / (dimensions + 1))
    steps = golden ** -np.arange(1, dimensions + 1)
    points: NDArray[np.float64] = (0.5 + np.outer(np.arange(1, _POINTS + 1), steps)) % 1.0
    return np.clip(points, 1e-12, 1 - 1e-12)
