"""Streams: what one control chart follows. The measurements of a tool, a terminal on a conductor area, and a characteristic, in time order.

Without a terminal the stream is everything the tool makes, for a short-run chart of deviations from nominal.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal

import numpy as np
from django.db.models import Exists, OuterRef, QuerySet

from inspection.control import ControlLimits
from inspection.models import Batch, PullTest, Reading, Sample, SampleState
from inspection.plan import limits_of
from inspection.process.chart import Chart, ChartLimits, Kind
from inspection.process.charts import individuals_chart, xbar_r_chart, xbar_s_chart
from inspection.process.memory import cusum_chart, ewma_chart
from inspection.process.phase import apply
from inspection.process.readings import Subgroups
from inspection.process.short_run import short_run_chart
from inspection.verdict import Limits
from shop.characteristics import MEASURED, Characteristic
from shop.jobs import ChartKind, Termination
from shop.materials import Terminal
from shop.tools import Tool

KIND_OF: Mapping[str, Kind] = {
    ChartKind.INDIVIDUALS.value: Kind.INDIVIDUALS,
    ChartKind.MEAN_RANGE.value: Kind.XBAR_R,
    ChartKind.MEAN_S.value: Kind.XBAR_S,
    ChartKind.EWMA.value: Kind.EWMA,
    ChartKind.CUSUM.value: Kind.CUSUM,
}
SHORT_RUN_CHARTS = (ChartKind.INDIVIDUALS.value, ChartKind.MEAN_RANGE.value, ChartKind.MEAN_S.value)

READ_MOST = 5000
"""Samples a chart reads at most, the newest; a signal needs a few dozen, the sums of EWMA and CUSUM hardly more."""


@dataclass(frozen=True, slots=True)
class Stream:
    """terminal, csa_mm2: None on a short-run stream."""

    tool: Tool
    terminal: Terminal | None
    csa_mm2: Decimal | None
    characteristic: str

    @property
    def is_short_run(self) -> bool:
        return self.terminal is None

    @property
    def unit(self) -> str:
        return MEASURED[self.characteristic].unit


@dataclass(frozen=True, slots=True)
class Measured:
    """One value of a stream's sample, with the digits typed and how it was judged."""

    value: float
    text: str
    outcome: str
    piece: int


@dataclass(frozen=True, slots=True)
class StreamSample:
    """One sample of a stream. part: terminal and conductor area, as a short-run chart names it; nominal: None without one on the sheet."""

    pk: int
    batch: str
    number: int
    kind: str
    at: datetime
    at_count: int
    setup_number: int
    part: str
    nominal: float | None
    values: tuple[Measured, ...]

    @property
    def label(self) -> str:
        return f"{self.batch} {self.number}"


def streams_of(termination: Termination, characteristic: str) -> list[Stream]:
    """The streams a measurement of this termination belongs to: its own, and the tool's short-run stream."""
    if termination.tool is None:
        return []
    own = Stream(termination.tool, termination.terminal, termination.csa_mm2, characteristic)
    return [own, Stream(termination.tool, None, None, characteristic)]


def stream_of(limits: ControlLimits) -> Stream:
    return Stream(limits.tool, limits.terminal, limits.csa_mm2, limits.characteristic)


def part_name(termination: Termination) -> str:
    """A part of a short-run chart: the terminal and the conductor area, since each has a nominal of its own."""
    return f"{termination.terminal.part_number} {termination.csa_mm2.normalize():f}"


def _measurements(stream: Stream) -> tuple[QuerySet[Reading] | QuerySet[PullTest], str]:
    """Standing rows of the characteristic, and the column their value is in."""
    if stream.characteristic == Characteristic.PULL_FORCE:
        return PullTest.objects.standing(), "force_n"
    return Reading.objects.standing().filter(characteristic=stream.characteristic), "value"


def samples_of(stream: Stream) -> QuerySet[Sample]:
    """Concluded samples of a stream that carry a standing value of its characteristic, the newest first."""
    of: dict[str, object] = {"batch__termination__tool": stream.tool}
    if stream.terminal is not None:
        of |= {"batch__termination__terminal": stream.terminal, "batch__termination__csa_mm2": stream.csa_mm2}
    rows, _column = _measurements(stream)
    carries = rows.filter(sample=OuterRef("pk"))
    return Sample.objects.filter(Exists(carries), **of).exclude(state=SampleState.OPEN).order_by("-taken_at", "-pk")


def stream_samples(
    stream: Stream, *, since: datetime | None = None, until: datetime | None = None, most: int = READ_MOST, batch: Batch | None = None
) -> list[StreamSample]:
    """The samples of a stream in time order, the newest `most` of them. Three queries.

    since: taken after it; until: taken up to it. A short-run stream leaves out what has no nominal.
    """
    rows = samples_of(stream)
    if since is not None:
        rows = rows.filter(taken_at__gt=since)
    if until is not None:
        rows = rows.filter(taken_at__lte=until)
    if batch is not None:
        rows = rows.filter(batch=batch)
    found = list(rows.values_list("pk", "batch", "number", "kind", "taken_at", "at_count", "setup_number")[:most])
    values: dict[int, list[Measured]] = {}
    measured, column = _measurements(stream)
    inside = {"sample__in": [row[0] for row in found]} if len(found) <= FEW else {"sample__in": rows[:most].values("pk")}
    listed = measured.filter(**inside).order_by("sample", "piece", "pk").values_list("sample", column, "text", "outcome", "piece")
    for pk, value, text, outcome, piece in listed:
        values.setdefault(pk, []).append(Measured(float(value), text, outcome, piece))
    made = _made({row[1] for row in found}, stream.characteristic)
    samples = []
    for pk, of, number, kind, at, at_count, setup_number in reversed(found):
        batch_number, part, nominal = made[of]
        samples.append(StreamSample(pk, batch_number, number, kind, at, at_count, setup_number, part, nominal, tuple(values[pk])))
    return [sample for sample in samples if not stream.is_short_run or sample.nominal is not None]


FEW = 500
"""So many keys are listed in a question; more are asked for by a subquery."""


def _made(batches: set[int], characteristic: str) -> dict[int, tuple[str, str, float | None]]:
    """Number, part and nominal of each batch: read once for all of its samples."""
    rows = Batch.objects.filter(pk__in=batches).select_related("termination__terminal")
    return {row.pk: (row.number, part_name(row.termination), _nominal(row.termination, characteristic)) for row in rows}


def _nominal(t: Termination, characteristic: str) -> float | None:
    """What a deviation is taken from: the nominal, else the middle of two limits."""
    limits: Limits | None = limits_of(t, characteristic)
    if limits is None:
        return None
    if limits.nominal is not None:
        return float(limits.nominal)
    return float((limits.low + limits.high) / 2) if limits.low is not None and limits.high is not None else None


# --- Charts ----------------------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class StreamChart:
    """A chart of a stream. samples: those drawn; places: for each point of the chart's shared axis the index of its sample.

    Charts of single values have a point for every value, charts of means one for every sample.
    """

    chart: Chart
    samples: tuple[StreamSample, ...]
    places: tuple[int, ...]


def stream_chart(samples: Sequence[StreamSample], kind: str, limits: ChartLimits | None = None, *, short_run: bool = False) -> StreamChart:
    """The chart of samples in time order: on frozen limits, or on limits computed from the samples themselves.

    kind: a `ChartKind`. Raises TooFew, NotFinite, NotControlLimits, UnknownPart (a part the frozen limits do not know).
    """
    of_samples = kind in (ChartKind.MEAN_RANGE, ChartKind.MEAN_S)
    groups = [[one.value for one in sample.values] for sample in samples]
    flat = [value for group in groups for value in group]
    places = tuple(range(len(samples))) if of_samples else tuple(i for i, group in enumerate(groups) for _ in group)
    parts = [samples[i].part for i in places]
    sets = _subgroups(groups)
    data: Subgroups | list[float] = sets if of_samples else flat
    if limits is not None:
        chart = apply(limits, data, parts=parts if short_run else ())
    elif short_run:
        nominals = {sample.part: sample.nominal for sample in samples if sample.nominal is not None}
        chart = short_run_chart(data, parts, nominals, kind=KIND_OF[kind])
    elif kind == ChartKind.MEAN_RANGE:
        chart = xbar_r_chart(sets)
    elif kind == ChartKind.MEAN_S:
        chart = xbar_s_chart(sets)
    elif kind == ChartKind.EWMA:
        chart = ewma_chart(flat)
    elif kind == ChartKind.CUSUM:
        chart = cusum_chart(flat)
    else:
        chart = individuals_chart(flat)
    return StreamChart(chart, tuple(samples), places)


def _subgroups(groups: Sequence[Sequence[float]]) -> Subgroups:
    return Subgroups(np.array([value for group in groups for value in group]), np.array([len(group) for group in groups], dtype=np.int64))
