"""Phase II: new readings on limits frozen before, whatever the kind of chart."""

from __future__ import annotations

from collections.abc import Sequence

from inspection.process.attributes import c_chart, np_chart, p_chart, u_chart
from inspection.process.chart import Chart, ChartLimits, Kind, NotControlLimits
from inspection.process.charts import individuals_chart, run_chart, xbar_r_chart, xbar_s_chart
from inspection.process.memory import cusum_chart, ewma_chart
from inspection.process.readings import Groups, Subgroups, Values
from inspection.process.short_run import short_run_chart


def apply(
    limits: ChartLimits, data: Values | Groups | Subgroups, *, inspected: Values | float | None = None, parts: Sequence[str] = ()
) -> Chart:
    """The chart of new readings on frozen limits; one sample is enough.

    data: subgroups for xbar-r and xbar-s, counts for p, np, c and u, else single values. inspected: sample sizes (p, np) or units (u).
    parts: of each reading or subgroup, for limits of a short-run chart. Raises NotControlLimits when what the kind needs is missing, and
    what the chart itself raises.
    """
    if limits.parts:
        if not parts:
            raise NotControlLimits("A short-run chart needs the part of each sample.")
        return short_run_chart(data, parts, limits=limits, kind=limits.kind)
    if limits.kind in (Kind.P, Kind.NP, Kind.U) and inspected is None:
        raise NotControlLimits("A chart of shares or rates needs how much was inspected.")
    match limits.kind:
        case Kind.XBAR_R:
            return xbar_r_chart(data, limits)  # type: ignore[arg-type]  # the kind says what the data are; the chart checks
        case Kind.XBAR_S:
            return xbar_s_chart(data, limits)  # type: ignore[arg-type]
        case Kind.INDIVIDUALS:
            return individuals_chart(data, limits)  # type: ignore[arg-type]
        case Kind.RUN:
            return run_chart(data, limits)  # type: ignore[arg-type]
        case Kind.EWMA:
            return ewma_chart(data, limits)  # type: ignore[arg-type]
        case Kind.CUSUM:
            return cusum_chart(data, limits)  # type: ignore[arg-type]
        case Kind.C:
            return c_chart(data, limits)  # type: ignore[arg-type]
        case Kind.P:
            return p_chart(data, inspected or 0.0, limits)  # type: ignore[arg-type]
        case Kind.NP:
            return np_chart(data, inspected or 0.0, limits)  # type: ignore[arg-type]
        case Kind.U:
            return u_chart(data, inspected or 0.0, limits)  # type: ignore[arg-type]
