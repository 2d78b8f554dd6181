"""The streams of the shop as a list: what is measured with each tool, whether its limits are frozen, what signals wait for an answer.

A page holds a number of processes (a tool, or a tool with a terminal on a conductor area), each with its characteristics. Nothing is
counted beyond the page, and the number of questions to the database does not grow with it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from functools import reduce
from operator import or_
from typing import Any
from urllib.parse import urlencode

from django.db.models import Count, Exists, F, Max, OuterRef, Q

from inspection.control import ChartSignal, ControlLimits
from inspection.models import PullTest, Reading, Sample, SampleState
from inspection.streams import Stream
from shop.characteristics import MEASURED, Characteristic
from shop.jobs import ChartKind, Termination

PER_PAGE = 15

STATES = ("frozen", "none", "signals")


@dataclass(frozen=True, slots=True)
class StreamLine:
    """One stream. chart, since: of the limits in force, empty and None without any. samples: with a value; open_signals: unanswered."""

    characteristic: str
    word: str
    samples: int
    last: datetime
    chart: str
    since: datetime | None
    open_signals: int
    query: str


@dataclass(frozen=True, slots=True)
class Process:
    """What one tool makes of one terminal on one conductor area; terminal empty where all of a tool is meant."""

    tool: str
    terminal: str
    csa_mm2: Decimal | None
    lines: tuple[StreamLine, ...]


@dataclass(frozen=True, slots=True)
class ProcessPage:
    """number: from 1; more: whether another page follows."""

    processes: tuple[Process, ...]
    number: int
    more: bool


def stream_query(tool: str, terminal: str, csa_mm2: Decimal | None, characteristic: str) -> str:
    """A stream as it stands in an address."""
    of = {"tool": tool}
    if terminal:
        of |= {"terminal": terminal, "csa": "" if csa_mm2 is None else f"{csa_mm2.normalize():f}"}
    return urlencode(of | {"characteristic": characteristic})


def query_of(stream: Stream) -> str:
    return stream_query(
        stream.tool.asset_number, stream.terminal.part_number if stream.terminal else "", stream.csa_mm2, stream.characteristic
    )  # fmt: skip


def short_run_possible(characteristic: str) -> bool:
    """Whether a deviation has something to be taken from: a nominal, or two limits with a middle."""
    measured = MEASURED[characteristic]
    return measured.has_nominal or (measured.has_low and measured.has_high)


_T = "sample__batch__termination__"
_Key = tuple[int, int | None, Decimal | None]


def processes(query: Mapping[str, str], page: int) -> ProcessPage:
    """A page of processes that have measurements. query: q (words in tool and terminal), characteristic, state, by ("tool": short-run
    streams over everything a tool makes)."""
    by_tool = query.get("by") == "tool"
    columns = ["tool", "tool__asset_number"] + ([] if by_tool else ["terminal", "terminal__part_number", "csa_mm2"])
    taken = Sample.objects.filter(batch__termination=OuterRef("pk")).exclude(state=SampleState.OPEN)
    rows = Termination.objects.filter(Exists(taken), tool__isnull=False)
    for word in query.get("q", "").replace("\0", "").split():
        rows = rows.filter(Q(tool__asset_number__icontains=word) | Q(terminal__part_number__icontains=word))
    rows = _in_state(rows, query.get("state", ""), query.get("characteristic", ""), by_tool=by_tool)
    number = max(page, 1)
    begin = (number - 1) * PER_PAGE
    order = ["tool__asset_number"] + ([] if by_tool else ["terminal__part_number", "csa_mm2"])
    found = list(rows.order_by(*order).values(*columns).distinct()[begin : begin + PER_PAGE + 1])
    more, found = len(found) > PER_PAGE, found[:PER_PAGE]
    if not found:
        return ProcessPage((), number, False)
    keys: list[_Key] = [(row["tool"], row.get("terminal"), row.get("csa_mm2")) for row in found]
    measured = _measured(keys, by_tool=by_tool)
    limits, signals = _limits(keys)
    listed = []
    for row, key in zip(found, keys, strict=True):
        tool, terminal, csa = row["tool__asset_number"], row.get("terminal__part_number", ""), row.get("csa_mm2")
        lines = []
        for value, label in Characteristic.choices:
            counted = measured.get((key, value))
            if counted is None or (by_tool and not short_run_possible(value)):
                continue
            held = limits.get((key, value))
            line = StreamLine(
                characteristic=value,
                word=str(label),
                samples=counted[0],
                last=counted[1],
                chart=str(ChartKind(held.chart).label) if held else "",
                since=held.frozen_at if held else None,
                open_signals=signals.get(held.pk, 0) if held else 0,
                query=stream_query(tool, terminal, csa, value),
            )
            if _asked(line, query):
                lines.append(line)
        if lines:
            listed.append(Process(tool, terminal, csa, tuple(lines)))
    return ProcessPage(tuple(listed), number, more)


def _in_state(rows: Any, state: str, characteristic: str, *, by_tool: bool) -> Any:
    """Processes whose frozen limits answer the question; "none" is decided line by line, as one process has many characteristics."""
    if state not in ("frozen", "signals"):
        return rows
    own = Q(terminal__isnull=True) if by_tool else Q(terminal=OuterRef("terminal"), csa_mm2=OuterRef("csa_mm2"))
    held = ControlLimits.objects.filter(own, tool=OuterRef("tool"), ended_at__isnull=True)
    if characteristic in Characteristic.values:
        held = held.filter(characteristic=characteristic)
    if state == "signals":
        held = held.filter(Exists(ChartSignal.objects.filter(limits=OuterRef("pk"), reaction__isnull=True)))
    return rows.filter(Exists(held))


def _asked(line: StreamLine, query: Mapping[str, str]) -> bool:
    state, characteristic = query.get("state", ""), query.get("characteristic", "")
    if characteristic in Characteristic.values and line.characteristic != characteristic:
        return False
    return {"frozen": line.since is not None, "none": line.since is None, "signals": line.open_signals > 0}.get(state, True)


def _measured(keys: list[_Key], *, by_tool: bool) -> dict[tuple[_Key, str], tuple[int, datetime]]:
    """For each process and characteristic of the page: samples with a value, and the last of them. Two queries."""
    asked = reduce(
        or_, (Q(**{f"{_T}tool": t}) if by_tool else Q(**{f"{_T}tool": t, f"{_T}terminal": p, f"{_T}csa_mm2": c}) for t, p, c in keys)
    )
    columns = [f"{_T}tool"] + ([] if by_tool else [f"{_T}terminal", f"{_T}csa_mm2"])
    told = {"samples": Count("sample", distinct=True), "last": Max("sample__taken_at")}
    found: dict[tuple[_Key, str], tuple[int, datetime]] = {}
    # The meta ordering would become part of the grouping.
    readings = Reading.objects.standing().filter(asked).exclude(sample__state=SampleState.OPEN).order_by()
    pulls = PullTest.objects.standing().filter(asked).exclude(sample__state=SampleState.OPEN).order_by()
    for row in readings.values(*columns, of=F("characteristic")).annotate(**told):
        found[(_key(row), row["of"])] = (row["samples"], row["last"])
    for row in pulls.values(*columns).annotate(**told):
        found[(_key(row), Characteristic.PULL_FORCE.value)] = (row["samples"], row["last"])
    return found


def _key(row: Mapping[str, Any]) -> _Key:
    return row[f"{_T}tool"], row.get(f"{_T}terminal"), row.get(f"{_T}csa_mm2")


def _limits(keys: list[_Key]) -> tuple[dict[tuple[_Key, str], ControlLimits], dict[int, int]]:
    """Limits in force of the tools on the page, and how many signals on each wait for an answer. Two queries."""
    rows = ControlLimits.objects.filter(tool__in={tool for tool, _terminal, _csa in keys}, ended_at__isnull=True)
    held = {((row.tool_id, row.terminal_id, row.csa_mm2), row.characteristic): row for row in rows}
    pks = [row.pk for row in held.values()]
    waiting = ChartSignal.objects.filter(limits__in=pks, reaction__isnull=True).order_by().values("limits").annotate(n=Count("pk"))
    return held, {row["limits"]: row["n"] for row in waiting} if pks else {}
