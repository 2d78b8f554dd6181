"""Short-run charts: one press crimps many terminals, and its one chart plots deviations from each terminal's nominal.

Plain deviations assume that all parts scatter alike; `spreads_differ` tests that (Brown and Forsythe 1974: Levene's test about medians).
Where they do not, deviations are divided by each part's own standard deviation and the chart runs in sigma (common practice; ASTM MNL 7
and ISO 7870-8 describe both forms, from memory).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.special import fdtrc

from inspection.process.chart import Chart, ChartLimits, Kind, NotControlLimits, Panel, PartScale, Place
from inspection.process.charts import individuals_chart, of_kind, xbar_r_chart, xbar_s_chart
from inspection.process.readings import Array, Groups, IntArray, NoSpread, Subgroups, Values, checked, subgroups
from inspection.process.sigma import Estimator, moving_ranges, sigma_moving_range, sigma_within
from inspection.spc import TooFew

KINDS = {Kind.INDIVIDUALS: individuals_chart, Kind.XBAR_R: xbar_r_chart, Kind.XBAR_S: xbar_s_chart}


class UnknownPart(ValueError):  # noqa: N818  # reads as what happened
    """A part without a nominal (or standard deviation) on this chart. part: its name."""

    def __init__(self, part: str) -> None:
        self.part = part
        super().__init__(part)


class PartTooFew(TooFew):
    """Too few readings of one part. part: its name."""

    def __init__(self, part: str, needed: int, given: int) -> None:
        super().__init__(needed, given)
        self.part = part


@dataclass(frozen=True, slots=True)
class SpreadTest:
    """Whether parts scatter alike. statistic: F of absolute deviations from each part's median; degrees: of freedom; p_value: chance of a
    statistic this large if they do. alike: p_value at least `alpha`; small sets rarely show a difference."""

    statistic: float
    degrees: tuple[int, int]
    p_value: float
    alpha: float

    @property
    def alike(self) -> bool:
        return self.p_value >= self.alpha


def spreads_differ(data: Values | Groups | Subgroups, parts: Sequence[str], *, alpha: float = 0.05) -> SpreadTest:
    """Test whether the parts on one chart scatter differently. data, parts: as for `short_run_chart`; at least two parts with two readings
    each. Raises TooFew, PartTooFew, NotFinite, NoSpread when no part scatters at all."""
    groups = _groups(data, parts)
    names, codes = _coded(parts)
    if len(names) < 2:
        raise TooFew(2, len(names))
    each = np.repeat(codes, groups.sizes)
    away, counts = np.empty_like(groups.values), np.bincount(each, minlength=len(names))
    for code, name in enumerate(names):
        if counts[code] < 2:
            raise PartTooFew(name, 2, int(counts[code]))
        mine = each == code
        away[mine] = np.abs(groups.values[mine] - np.median(groups.values[mine]))
    centers = np.bincount(each, away) / counts
    between = float(np.dot(counts, (centers - away.mean()) ** 2))
    within = float(((away - centers[each]) ** 2).sum())
    if not bool(away.any()):
        raise NoSpread
    degrees = (len(names) - 1, int(groups.values.size) - len(names))
    statistic = (between / degrees[0]) / (within / degrees[1]) if degrees[1] and within > 0 else np.inf
    p_value = float(fdtrc(degrees[0], degrees[1], statistic)) if np.isfinite(statistic) else 0.0
    return SpreadTest(float(statistic), degrees, p_value, alpha)


def part_sigmas(data: Values | Groups | Subgroups, parts: Sequence[str], *, by: Estimator | None = None) -> dict[str, float]:
    """Short-term standard deviation of each part, in the unit of the readings.

    by: of subgroups pooled (default), Rbar/d2 or sbar/c4; of single readings the moving ranges between neighbouring readings of the same
    part. Raises PartTooFew for a part with fewer than two readings, NoSpread for one that does not scatter.
    """
    groups = _groups(data, parts)
    names, codes = _coded(parts)
    singles = bool((groups.sizes == 1).all())
    sigmas = {}
    for code, name in enumerate(names):
        mine = groups.values[np.repeat(codes == code, groups.sizes)]
        if mine.size < 2:
            raise PartTooFew(name, 2, int(mine.size))
        if singles:
            sigma = sigma_moving_range(moving_ranges(mine)).value
        else:
            sigma = sigma_within(Subgroups(mine, groups.sizes[codes == code]), by or Estimator.POOLED).value
        if not sigma > 0:
            raise NoSpread
        sigmas[name] = sigma
    return sigmas


def short_run_chart(
    data: Values | Groups | Subgroups,
    parts: Sequence[str],
    nominals: Mapping[str, float] | None = None,
    limits: ChartLimits | None = None,
    *,
    kind: Kind = Kind.INDIVIDUALS,
    sigmas: Mapping[str, float] | None = None,
) -> Chart:
    """Chart of deviations from nominal. data: single readings (kind individuals) or subgroups (xbar-r, xbar-s) in time order; parts: the
    part of each reading or subgroup, as many; nominals: of each part, in the unit of the readings.

    sigmas: of each part (`part_sigmas`, or known) for a standardised chart, whose unit is then sigma. limits: frozen before; they name
    their parts, and nominals are taken from them. Panels as of the kind, the first named "deviation". `Chart.limits` is what to freeze.
    Raises TooFew, NotFinite, UnknownPart, NotControlLimits.
    """
    if kind not in KINDS:
        raise NotControlLimits(f"A short-run chart is one of individuals or subgroups, not {kind}.")
    if limits is not None:
        of_kind(limits, kind)
        if not limits.parts:
            raise NotControlLimits("These limits name no parts, so they are not of a short-run chart.")
    scales = limits.parts if limits is not None else _scales(parts, nominals or {}, sigmas)
    groups = _groups(data, parts)
    known = {scale.part: scale for scale in scales}
    names, codes = _coded(parts)
    for name in names:
        if name not in known:
            raise UnknownPart(name)
    each = np.repeat(codes, groups.sizes)
    away = groups.values - np.array([known[name].nominal for name in names])[each]
    if scales[0].sigma is not None:
        away = away / np.array([known[name].sigma for name in names], dtype=np.float64)[each]
    if kind is Kind.INDIVIDUALS:
        if away.size != len(groups):
            raise NotControlLimits("A chart of individuals takes single readings.")
        chart = individuals_chart(away, limits)
    elif kind is Kind.XBAR_R:
        chart = xbar_r_chart(Subgroups(away, groups.sizes), limits)
    else:
        chart = xbar_s_chart(Subgroups(away, groups.sizes), limits)
    named = tuple(_renamed(each) if each.place is Place.LOCATION else each for each in chart.panels)
    return Chart(kind, named, replace(chart.limits, parts=scales), chart.count)


def _renamed(location: Panel) -> Panel:
    return replace(location, name="deviation")


def _scales(parts: Sequence[str], nominals: Mapping[str, float], sigmas: Mapping[str, float] | None) -> tuple[PartScale, ...]:
    """Scales of the parts that occur, and of those that have a nominal and will come later."""
    for part in parts:
        if part not in nominals or (sigmas is not None and part not in sigmas):
            raise UnknownPart(part)
    return tuple(
        PartScale(part, float(nominals[part]), None if sigmas is None else float(sigmas[part]))
        for part in sorted(nominals)
        if sigmas is None or part in sigmas
    )


def _groups(data: Values | Groups | Subgroups, parts: Sequence[str]) -> Subgroups:
    """Single readings become subgroups of one."""
    if isinstance(data, Subgroups):
        groups = data
    elif len(data) and np.ndim(data[0]) == 0:
        values: Array = checked(np.asarray(data, dtype=np.float64), 1)
        groups = Subgroups(values, np.ones(values.size, dtype=np.int64))
    else:
        groups = subgroups(data, 1)  # type: ignore[arg-type]  # rows, by the branch before
    if len(parts) != len(groups):
        raise TooFew(len(groups), len(parts))
    return groups


def _coded(parts: Sequence[str]) -> tuple[list[str], IntArray]:
    names, codes = np.unique(np.asarray(parts, dtype=np.str_), return_inverse=True)
    return [str(name) for name in names], np.asarray(codes, dtype=np.int64)
