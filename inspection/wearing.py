"""How a tool's crimp height drifts with its counter, stream by stream, and what that forecasts."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal

from django.db.models import Sum

from inspection.acts.control import in_force
from inspection.models import Batch, BatchStatus, Reading, SampleState
from inspection.plan import limits_of
from inspection.process.chart import ChartLimits
from inspection.process.readings import NoSpread
from inspection.process.wear import LEAST_VALUES, Forecast, Wear, wear
from inspection.spc import NotFinite, TooFew
from inspection.streams import Stream
from shop.characteristics import Characteristic
from shop.crib import WearPart
from shop.jobs import ChartKind, Termination
from shop.materials import Terminal
from shop.tools import Tool

CHARACTERISTIC = Characteristic.CRIMP_HEIGHT.value

PACE_DAYS = 60
"""A forecast count becomes a day at the pace of so many days back."""

NEWEST = 2000
"""Readings of a stream that are looked at, the newest."""

UPPER, LOWER, RULE_HIGH, RULE_LOW = "upper limit", "lower limit", "upper control limit", "lower control limit"


@dataclass(frozen=True, slots=True)
class WornStream:
    """One terminal on one conductor area. answer: None where it cannot be computed, and `why` says so."""

    stream: Stream
    readings: int
    answer: Wear | None
    why: str
    termination: Termination


def wear_streams(tool: Tool) -> list[Stream]:
    """The streams of crimp heights that a tool has made, by terminal and area."""
    made = (
        Reading.objects.filter(characteristic=CHARACTERISTIC, sample__batch__termination__tool=tool, sample__tool_count__isnull=False)
        .order_by("sample__batch__termination__terminal__part_number", "sample__batch__termination__csa_mm2")
        .values_list("sample__batch__termination__terminal", "sample__batch__termination__csa_mm2")
        .distinct()
    )
    listed = list(made)
    terminals = Terminal.objects.in_bulk({terminal for terminal, _area in listed})
    return [Stream(tool, terminals[terminal], area, CHARACTERISTIC) for terminal, area in listed]


def worn(stream: Stream, replaced_at: Sequence[int]) -> WornStream:
    """The drift of one stream. Its limits are those of the newest sheet, and the control limits where they are frozen."""
    of: dict[str, object] = {"tool": stream.tool, "terminal": stream.terminal, "csa_mm2": stream.csa_mm2}
    made = {f"sample__batch__termination__{name}": value for name, value in of.items()}
    rows = Reading.objects.standing().filter(**made, characteristic=CHARACTERISTIC, sample__tool_count__isnull=False)
    concluded = rows.exclude(sample__state=SampleState.OPEN).order_by("-sample__taken_at", "-pk")
    listed = list(concluded.values_list("sample__tool_count", "value")[:NEWEST])[::-1]
    newest = Termination.objects.filter(**of).exclude(sheet__released_at=None).order_by("-sheet__released_at", "-pk").first()
    if newest is None:
        raise LookupError("a stream was made to a sheet that was released once")
    try:
        answer = wear(
            [float(count) for count, _value in listed],
            [float(value) for _count, value in listed],
            replaced_at=[float(count) for count in replaced_at],
            limits=_watched(stream, newest),
        )
    except TooFew as error:
        return WornStream(stream, len(listed), None, f"{error.given} of {error.needed}", newest)
    except NoSpread:
        return WornStream(stream, len(listed), None, "one count", newest)
    except (NotFinite, ValueError) as error:
        return WornStream(stream, len(listed), None, str(error), newest)
    return WornStream(stream, len(listed), answer, "", newest)


def _watched(stream: Stream, newest: Termination) -> list[tuple[str, float]]:
    watched = []
    limits = limits_of(newest, CHARACTERISTIC)
    if limits is not None:
        watched += [(what, float(value)) for what, value in ((UPPER, limits.high), (LOWER, limits.low)) if value is not None]
    frozen = in_force(stream)
    if frozen is not None and frozen.chart == ChartKind.INDIVIDUALS:
        chart = ChartLimits.from_text(frozen.limits)
        reach = chart.reach * chart.sigma
        watched += [(RULE_HIGH, chart.center + reach), (RULE_LOW, chart.center - reach)]
    return watched


def replacements(tool: Tool) -> list[int]:
    """Counts at which a wear part was replaced: the first of each kind came with the tool."""
    counts: set[int] = set()
    seen: set[str] = set()
    for kind, count in WearPart.objects.filter(tool=tool).order_by("fitted_at_count", "pk").values_list("kind", "fitted_at_count"):
        if kind in seen:
            counts.add(count)
        seen.add(kind)
    return sorted(counts)


def wear_of(tool: Tool) -> list[WornStream]:
    replaced = replacements(tool)
    return [worn(stream, replaced) for stream in wear_streams(tool)]


@dataclass(frozen=True, slots=True)
class ToolForecast:
    """The first thing a tool's drift arrives at."""

    worn: WornStream
    forecast: Forecast
    day: datetime | None


def first_forecast(tool: Tool, streams: Sequence[WornStream], at: datetime) -> ToolForecast | None:
    """The nearest forecast of all streams, and the day at the tool's pace."""
    found = [(f, w) for w in streams if w.answer is not None for f in w.answer.forecasts[:1]]
    if not found:
        return None
    forecast, of = min(found, key=lambda pair: pair[0].at_count)
    return ToolForecast(of, forecast, _day(tool, forecast.at_count, at))


def _day(tool: Tool, count: float, at: datetime) -> datetime | None:
    """When the counter stands there if the tool goes on as it did lately; None where it stood still."""
    since = at - timedelta(days=PACE_DAYS)
    made = Batch.objects.filter(tool=tool, status=BatchStatus.CLOSED, closed_at__gt=since).aggregate(n=Sum("made"))["n"] or 0
    if made <= 0:
        return None
    days = (count - tool.crimp_count) / (made / PACE_DAYS)
    return at + timedelta(days=min(max(days, 0.0), 3650.0))


def keep_forecast(tool: Tool, at: datetime) -> None:
    """Write what the drift forecasts on the tool, where the tool crib looks. An answer of the program, no act of a person."""
    found = first_forecast(tool, wear_of(tool), at)
    if found is None:
        Tool.objects.filter(pk=tool.pk).update(drift_due_count=None, drift_due_on=None, drift_matter="")
        return
    stream = found.worn.stream
    area = stream.csa_mm2.normalize() if stream.csa_mm2 is not None else Decimal(0)
    matter = f"{stream.terminal} {area:f} mm²: {found.forecast.what}"
    Tool.objects.filter(pk=tool.pk).update(
        drift_due_count=max(int(found.forecast.at_count), 0),
        drift_due_on=found.day.date() if found.day else None,
        drift_matter=matter[:120],
    )


ENOUGH = LEAST_VALUES
