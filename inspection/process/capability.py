"""Capability and performance: how the scatter of a process lies between the limits of its characteristic.

Cp and Cpk use the standard deviation inside subgroups, Pp and Ppk the overall one; ISO 22514-1 and 22514-2 keep the first names for a
process in control, so results say which standard deviation they used and whether the readings' own chart was quiet. Source also
NIST/SEMATECH e-Handbook 6.1.6. A limit that is not there is not invented.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np
from scipy.special import ndtr

from inspection.process.capability_intervals import Interval, cp_bound, cp_interval, cpk_interval, cpm_interval, one_sided_bound
from inspection.process.chart import Chart, ChartLimits, Kind
from inspection.process.charts import individuals_chart, xbar_r_chart, xbar_s_chart
from inspection.process.readings import Array, Groups, NoSpread, Subgroups, Values, checked, mean_and_deviation, subgroups
from inspection.process.run_rules import Rule, Signals, chart_signals, nelson
from inspection.process.sigma import Estimator, Sigma, moving_ranges, sigma_moving_range, sigma_within
from inspection.spc import TooFew

FEWEST = 10
"""Readings below which no index is given: at ten, the 95 % interval of Cp reaches from 0.55 to 1.45 times its value (our own choice)."""

THIN = 30
"""Readings below which an index stands only with its interval (common practice)."""

ROUTINE = nelson(1, 2, 3, 4)
"""Rules that judge stability unless others are named: those for routine use (Nelson 1984, 1985)."""


class NotASpecification(ValueError):  # noqa: N818  # reads as what happened
    """Limits that no capability can be held against. reason: a sentence."""

    def __init__(self, reason: str) -> None:
        self.reason = reason
        super().__init__(reason)


@dataclass(frozen=True, slots=True)
class Specification:
    """Tolerance limits and target of a characteristic, in the unit of its readings; at least one limit. Raises NotASpecification."""

    low: float | None = None
    high: float | None = None
    target: float | None = None

    def __post_init__(self) -> None:
        stated = [value for value in (self.low, self.high, self.target) if value is not None]
        if not all(math.isfinite(value) for value in stated):
            raise NotASpecification("A limit is a finite number.")
        if self.low is None and self.high is None:
            raise NotASpecification("At least one limit is needed.")
        if self.low is not None and self.high is not None and not self.low < self.high:
            raise NotASpecification("The lower limit is not below the upper one.")

    @property
    def two_sided(self) -> bool:
        return self.low is not None and self.high is not None


@dataclass(frozen=True, slots=True)
class Index:
    """name: "Cpk", "Pp". value: without a unit. interval: two-sided; bound: one-sided lower; None where no method is known."""

    name: str
    value: float
    interval: Interval | None
    bound: Interval | None


@dataclass(frozen=True, slots=True)
class Outside:
    """Pieces outside the limits: by a model in parts per million, or as counted. None where that limit does not exist."""

    below: float | None
    above: float | None

    @property
    def total(self) -> float:
        return (self.below or 0.0) + (self.above or 0.0)


@dataclass(frozen=True, slots=True, eq=False)
class Capability:
    """Indices of one set of readings, normal model.

    n, mean: of the readings. within: short-term standard deviation and how it was found, None where readings have no known order or
    subgroups; overall: of all. cp to cpk: with `within`; pp to ppk, cpm: with `overall`; None where the limits do not allow it (for Cpm
    also without a target). expected_within_ppm, expected_ppm: by the normal model; observed: counted among the n. thin: fewer than 30
    readings, show the interval. stable: whether the readings' own chart showed no signal; None if their order is not known; then `chart`
    is None. signals: what the rules found, a row for each panel of the chart. offset: k = |mean - middle| over half the tolerance, None
    with one limit. An index of a process that was not stable describes the past only.
    """

    n: int
    mean: float
    specification: Specification
    within: Sigma | None
    overall: Sigma
    cp: Index | None
    cpl: Index | None
    cpu: Index | None
    cpk: Index | None
    pp: Index | None
    ppl: Index | None
    ppu: Index | None
    ppk: Index | None
    cpm: Index | None
    expected_within_ppm: Outside | None
    expected_ppm: Outside
    observed: Outside
    thin: bool
    stable: bool | None
    chart: Chart | None
    signals: tuple[tuple[Signals, ...], ...]
    offset: float | None

    @property
    def signal_count(self) -> int:
        return sum(len(found) for row in self.signals for found in row)

    @property
    def indices(self) -> tuple[Index, ...]:
        """Those that exist, in the order of the fields."""
        every = (self.cp, self.cpl, self.cpu, self.cpk, self.pp, self.ppl, self.ppu, self.ppk, self.cpm)
        return tuple(index for index in every if index is not None)


@dataclass(frozen=True, slots=True)
class IndexSet:
    """The four indices from one mean and one standard deviation; None where the limit does not exist. offset: k = |mean - middle| over half
    the tolerance, so that Cpk = (1 - k) Cp."""

    both: Index | None
    lower: Index | None
    upper: Index | None
    nearer: Index
    offset: float | None


def indices(mean: float, sigma: Sigma, n: int, specification: Specification, *, prefix: str = "C", confidence: float = 0.95) -> IndexSet:
    """Cp, Cpl, Cpu and Cpk (prefix "P": Pp, ...) of a mean and a standard deviation from n readings. Raises NoSpread, TooFew (n < 2).

    Intervals of a given standard deviation are left out: the sample says nothing of it.
    """
    if n < 2:
        raise TooFew(2, n)
    if not sigma.value > 0:
        raise NoSpread
    low, high, degrees = specification.low, specification.high, sigma.degrees
    letter = prefix + "p"
    clean = sigma.by in (Estimator.OVERALL, Estimator.POOLED)

    def side(name: str, distance: float, exact: bool) -> Index:
        value = distance / (3 * sigma.value)
        if degrees is None:
            return Index(name, value, None, None)
        around = cpk_interval(value, n, degrees, confidence)
        return Index(name, value, around, one_sided_bound(value, n, degrees, confidence, exact=exact and clean))

    lower = None if low is None else side(f"{letter}l", mean - low, True)
    upper = None if high is None else side(f"{letter}u", high - mean, True)
    both, offset = None, None
    if low is not None and high is not None:
        value = (high - low) / (6 * sigma.value)
        offset = abs(mean - (low + high) / 2) / ((high - low) / 2)
        both = Index(
            letter,
            value,
            None if degrees is None else cp_interval(value, degrees, confidence, exact=clean),
            None if degrees is None else cp_bound(value, degrees, confidence, exact=clean),
        )
    sides = [each for each in (lower, upper) if each is not None]
    nearer = min(sides, key=lambda each: each.value)
    bound = nearer.bound
    if bound is not None and specification.two_sided:
        bound = replace(bound, exact=False)
    return IndexSet(both, lower, upper, Index(f"{letter}k", nearer.value, nearer.interval, bound), offset)


def taguchi_index(mean: float, deviation: float, n: int, specification: Specification, confidence: float = 0.95) -> Index | None:
    """Cpm = (high - low)/(6 sqrt(s^2 + (mean - target)^2)); None without both limits and a target. Raises NoSpread."""
    low, high, target = specification.low, specification.high, specification.target
    if low is None or high is None or target is None:
        return None
    if not deviation > 0:
        raise NoSpread
    value = (high - low) / (6 * math.hypot(deviation, mean - target))
    return Index("Cpm", value, cpm_interval(value, n, (mean - target) / deviation, confidence), None)


def expected_ppm(mean: float, sigma: float, specification: Specification) -> Outside:
    """Pieces beyond each limit, in parts per million, if readings are normal with this mean and standard deviation. Raises NoSpread."""
    if not sigma > 0:
        raise NoSpread
    low, high = specification.low, specification.high
    return Outside(
        None if low is None else 1e6 * float(ndtr((low - mean) / sigma)),
        None if high is None else 1e6 * float(ndtr((mean - high) / sigma)),
    )


def counted_outside(given: Array, specification: Specification) -> Outside:
    """Readings beyond each limit; one on a limit is inside."""
    low, high = specification.low, specification.high
    return Outside(
        None if low is None else float(np.count_nonzero(given < low)),
        None if high is None else float(np.count_nonzero(given > high)),
    )


def capability(
    data: Values | Groups | Subgroups,
    specification: Specification,
    *,
    within: Estimator | None = None,
    ordered: bool = True,
    rules: Iterable[Rule] = ROUTINE,
    limits: ChartLimits | None = None,
    confidence: float = 0.95,
    fewest: int = FEWEST,
) -> Capability:
    """Capability of readings against their limits, and whether they were stable.

    data: single readings in time order, or subgroups (rows of any sizes). within: how the short-term standard deviation is found: MRbar/d2
    for single readings; pooled (default), Rbar/d2 or sbar/c4 for subgroups. ordered: False for single readings whose order is lost: then
    there is no short-term figure and stability is not known. rules, limits: of the chart that judges stability (limits: frozen ones; else
    estimated from the readings). fewest: readings needed. Raises TooFew, NotFinite, NoSpread, NotASpecification, NotControlLimits.
    """
    groups = single = None
    if isinstance(data, Subgroups) or (len(data) and np.ndim(data[0]) == 1):
        groups = subgroups(data)  # type: ignore[arg-type]  # rows, by the test before
        given = groups.values
    else:
        single = given = checked(np.asarray(data, dtype=np.float64), max(fewest, 2))
    n = int(given.size)
    if n < max(fewest, 2):
        raise TooFew(max(fewest, 2), n)
    center, deviation = mean_and_deviation(given)
    overall = Sigma(deviation, Estimator.OVERALL, n - 1)
    if not deviation > ROUNDING * max(abs(center), 1e-300):
        raise NoSpread
    short, chart = _short_term(groups, single, within, ordered, limits)
    own = None if short is None else indices(center, short, n, specification, confidence=confidence)
    total = indices(center, overall, n, specification, prefix="P", confidence=confidence)
    found = () if chart is None else chart_signals(chart, rules)
    return Capability(
        n,
        center,
        specification,
        short,
        overall,
        own.both if own else None,
        own.lower if own else None,
        own.upper if own else None,
        own.nearer if own else None,
        total.both,
        total.lower,
        total.upper,
        total.nearer,
        taguchi_index(center, deviation, n, specification, confidence),
        None if short is None else expected_ppm(center, short.value, specification),
        expected_ppm(center, deviation, specification),
        counted_outside(given, specification),
        n < THIN,
        None if chart is None else not any(len(each) for row in found for each in row),
        chart,
        found,
        total.offset,
    )


ROUNDING = 1e-13
"""A standard deviation this small against the mean is rounding of equal readings."""


def _short_term(
    groups: Subgroups | None, single: Array | None, within: Estimator | None, ordered: bool, limits: ChartLimits | None
) -> tuple[Sigma | None, Chart | None]:
    """The short-term standard deviation and the chart that judges stability, as far as the data have them."""
    if groups is not None and int(groups.sizes.max()) >= 2:
        by = within or Estimator.POOLED
        sigma = sigma_within(groups, by)
        if len(groups) < 2 and limits is None:
            return sigma, None
        by_range = limits.kind is Kind.XBAR_R if limits else by is Estimator.RANGE
        return sigma, (xbar_r_chart(groups, limits, sigma_by=by) if by_range else xbar_s_chart(groups, limits, sigma_by=by))
    # Subgroups of one are single readings.
    given = single if single is not None else groups.values if groups is not None else np.empty(0)
    if not ordered:
        return None, None
    if within not in (None, Estimator.MOVING_RANGE):
        raise TooFew(2, 1)
    return sigma_moving_range(moving_ranges(given)), individuals_chart(given, limits)
