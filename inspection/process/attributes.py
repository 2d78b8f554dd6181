"""Charts of counts from visual inspection: nonconforming pieces (p, np) and nonconformities (c, u).

Sources: ASTM E2587; NIST/SEMATECH e-Handbook 6.3.3.1 (counts) and 6.3.3.2 (shares). Limits are three standard errors of the binomial or
Poisson distribution from the centre and do not go below zero (or above one for a share). Zones hold where both limits do.
"""

from __future__ import annotations

import numpy as np

from inspection.process.chart import Chart, ChartLimits, Judged, Kind, NotControlLimits, panel
from inspection.process.charts import of_kind
from inspection.process.readings import Array, Values, checked
from inspection.spc import TooFew


class NotACount(ValueError):  # noqa: N818  # reads as what happened
    """A count that is negative, not whole, or above the number inspected. index: which sample, from 0."""

    def __init__(self, index: int, value: float) -> None:
        self.index, self.value = index, value
        super().__init__(index, value)

    def __str__(self) -> str:
        return f"value {self.index + 1} is {self.value:g}, which is no possible count"


def p_chart(counts: Values, inspected: Values | float, limits: ChartLimits | None = None, *, reach: float = 3.0) -> Chart:
    """Share of nonconforming pieces. counts: nonconforming pieces a sample; inspected: pieces a sample, one number or one each.

    Centre: all nonconforming over all inspected; limits vary with the sample. Panel "share". Raises TooFew, NotFinite, NotACount.
    """
    found, sizes, limits = _shares(Kind.P, counts, inspected, limits, reach)
    share = limits.center
    error = np.sqrt(share * (1 - share) / sizes)
    return _chart(limits, "share", found / sizes, share, error, ceiling=1.0)


def np_chart(counts: Values, inspected: Values | float, limits: ChartLimits | None = None, *, reach: float = 3.0) -> Chart:
    """Number of nonconforming pieces. As `p_chart`; the centre line is share times sample size, so it varies where sizes do.
    `limits.center` stays the share. Panel "count"."""
    found, sizes, limits = _shares(Kind.NP, counts, inspected, limits, reach)
    share = limits.center
    return _chart(limits, "count", found, share * sizes, np.sqrt(share * (1 - share) * sizes), ceiling=sizes)


def c_chart(counts: Values, limits: ChartLimits | None = None, *, reach: float = 3.0) -> Chart:
    """Number of nonconformities in samples of equal extent. Centre: mean count. Panel "count". Raises TooFew, NotFinite, NotACount."""
    found = _counts(counts, 1 if limits else 2)
    if limits is None:
        limits = _estimated(Kind.C, float(found.sum()) / found.size, found, reach)
    of_kind(limits, Kind.C)
    return _chart(limits, "count", found, limits.center, float(np.sqrt(limits.center)))


def u_chart(counts: Values, extent: Values | float, limits: ChartLimits | None = None, *, reach: float = 3.0) -> Chart:
    """Nonconformities per unit. extent: units a sample (pieces, hundred pieces, metres), above zero, whole or not; one number or one each.

    Centre: all nonconformities over all units. Panel "rate". Raises TooFew, NotFinite, NotACount.
    """
    found = _counts(counts, 1 if limits else 2)
    units = _sizes(extent, found.size)
    if limits is None:
        limits = _estimated(Kind.U, float(found.sum() / _total(units, found.size)), found, reach)
    of_kind(limits, Kind.U)
    return _chart(limits, "rate", found / units, limits.center, np.sqrt(limits.center / units))


def _chart(
    limits: ChartLimits, name: str, points: Array, center: float | Array, error: float | Array, ceiling: float | Array | None = None
) -> Chart:
    count = int(points.size)
    low = center - limits.reach * error
    high = center + limits.reach * error
    symmetric = bool(np.all(low >= 0)) and (ceiling is None or bool(np.all(high <= ceiling)))
    judged = Judged.ALL if symmetric else Judged.SIDES
    made = panel(name, points, center, error, reach=limits.reach, judged=judged, floor=0.0, ceiling=ceiling)
    return Chart(limits.kind, (made,), limits, count)


def _shares(
    kind: Kind, counts: Values, inspected: Values | float, limits: ChartLimits | None, reach: float
) -> tuple[Array, float | Array, ChartLimits]:
    found = _counts(counts, 1 if limits else 2)
    sizes = _sizes(inspected, found.size)
    if wrong := np.flatnonzero(found > sizes).tolist():
        raise NotACount(wrong[0], float(found[wrong[0]]))
    if limits is None:
        limits = _estimated(kind, float(found.sum() / _total(sizes, found.size)), found, reach)
    return found, sizes, of_kind(limits, kind)


def _estimated(kind: Kind, center: float, found: Array, reach: float) -> ChartLimits:
    law = "binomial" if kind in (Kind.P, Kind.NP) else "Poisson"
    return ChartLimits(kind, center, reach=reach, estimated_by=law, samples=int(found.size), readings=int(found.size))


def _counts(counts: Values, needed: int) -> Array:
    found = checked(counts, needed)
    if wrong := np.flatnonzero((found < 0) | (found != np.floor(found))).tolist():
        raise NotACount(wrong[0], float(found[wrong[0]]))
    return found


def _sizes(given: Values | float, count: int) -> float | Array:
    """Sample sizes: a number where all are equal, as lines that do not vary are quicker to compare with. Raises as `p_chart`."""
    sizes = checked(np.atleast_1d(np.asarray(given, dtype=np.float64)), 1)
    if sizes.size not in (1, count):
        raise TooFew(count, int(sizes.size))
    if wrong := np.flatnonzero(sizes <= 0).tolist():
        raise NotACount(wrong[0], float(sizes[wrong[0]]))
    return float(sizes[0]) if bool((sizes == sizes[0]).all()) else sizes


def _total(sizes: float | Array, count: int) -> float:
    return float(sizes.sum()) if isinstance(sizes, np.ndarray) else sizes * count


def given_rate(kind: Kind, center: float, *, reach: float = 3.0) -> ChartLimits:
    """Limits from a stated share (p, np), count (c) or rate (u). Raises NotControlLimits."""
    if kind not in (Kind.P, Kind.NP, Kind.C, Kind.U):
        raise NotControlLimits(f"A chart of kind {kind} is not given by its centre alone.")
    return ChartLimits(kind, center, reach=reach)
