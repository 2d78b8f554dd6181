"""The inspection plan of a termination in a draft, characteristic by characteristic."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from django.db import transaction

from shop.characteristics import Characteristic, gauge_kinds_for
from shop.criteria import LONGEST_OWN, criteria_for
from shop.events import InspectionPlanned, publish
from shop.finding import Finding, misfit, refuse_if
from shop.jobs import ChartKind, PlanLine, SetupSheet, SheetStatus, Termination
from shop.people import Person
from shop.permissions import Deed, permission_findings
from shop.plan_lines import Line, own_counts, plan_lines
from shop.sheet_content import termination_content

MOST_PIECES = 1000
"""Nobody measures more pieces of a sample by hand. Our own limit against slips."""


@dataclass(frozen=True, slots=True)
class LineInput:
    """What a planner states about one characteristic: pieces in each kind of sample, gauge kind and chart."""

    characteristic: str
    first: int
    sample: int
    last: int
    gauge_kind: str
    chart: str
    every_nth: int = 1


@dataclass(frozen=True, slots=True)
class InspectionInput:
    """The whole plan. left_out: codes of usual visual criteria; added: what else is looked at, each in a few words."""

    lines: Sequence[LineInput]
    left_out: Sequence[str] = ()
    added: Sequence[str] = ()


def plan_inspection(*, termination: Termination, stated: InspectionInput, by: Person, at: datetime) -> Termination:
    """State the inspection plan of a termination in a draft. What equals the usual plan leaves no line behind."""
    refuse_if(permission_findings(by, Deed.DRAFT_SHEET))
    with transaction.atomic():
        sheet = SetupSheet.objects.select_for_update().get(pk=termination.sheet_id)
        termination = Termination.objects.select_related("terminal").get(pk=termination.pk)
        if sheet.status != SheetStatus.DRAFT:
            refuse_if([misfit("sheet.status", sheet=str(sheet), status=sheet.status, needed=SheetStatus.DRAFT.value)])
        refuse_if(_findings(termination, stated))
        before = termination_content(termination)
        termination.plan_lines.all().delete()  # the lines of a draft; a released sheet's are never touched again
        termination.criteria_left_out, termination.criteria_added = list(stated.left_out), [text.strip() for text in stated.added]
        for line in stated.lines:
            if line.characteristic == Characteristic.CRIMP_HEIGHT:
                termination.first_piece_heights, termination.sample_size = line.first, line.sample
            elif line.characteristic == Characteristic.PULL_FORCE:
                termination.first_piece_pulls, termination.last_piece_pulls = line.first, line.last
        termination.save()
        usual = {line.characteristic: line for line in plan_lines(termination)}  # with its own counts, without lines of its own
        rows = [_row(termination, line, usual[line.characteristic]) for line in stated.lines]
        PlanLine.objects.bulk_create(row for row in rows if row is not None)
        termination = Termination.objects.select_related("terminal").get(pk=termination.pk)
        content = {"before": before, "after": termination_content(termination)}
        publish(InspectionPlanned(by=by, at=at, subject=("setup sheet", sheet.pk, str(sheet)), content=content))
    return termination


def _row(termination: Termination, line: LineInput, usual: Line) -> PlanLine | None:
    """What of the line differs from the usual plan, or None. A count that the termination states itself stays there."""
    own = own_counts(termination, line.characteristic)
    counts = {
        f"{name}_pieces": None if name in own or asked == there else asked
        for name, asked, there in (
            ("first", line.first, usual.first),
            ("sample", line.sample, usual.sample),
            ("last", line.last, usual.last),
        )
    }
    gauge = "" if line.gauge_kind == usual.gauge_kind else line.gauge_kind
    chart = "" if line.chart == usual.chart else line.chart
    if line.every_nth == 1 and not gauge and not chart and all(count is None for count in counts.values()):
        return None
    return PlanLine(
        termination=termination,
        characteristic=line.characteristic,
        gauge_kind=gauge,
        every_nth=line.every_nth,
        chart=chart,
        **counts,
    )


def _findings(termination: Termination, stated: InspectionInput) -> list[Finding]:
    asked = {line.characteristic for line in plan_lines(termination)}
    found: list[Finding] = []
    seen: set[str] = set()
    for line in stated.lines:
        name, place = line.characteristic, line.characteristic.replace(" ", "-")
        if name not in asked or name in seen:
            found.append(misfit("plan.characteristic", place, characteristic=name, asked=", ".join(sorted(asked))))
            continue
        seen.add(name)
        found += _line_findings(line, place)
    found += [misfit("plan.characteristic.missing", "", characteristic=name) for name in sorted(asked - seen)]
    usual = [c.code for c in criteria_for(termination.terminal.barrel, termination.terminal.has_support)]
    found += [misfit("plan.criterion", "left_out", criterion=code) for code in stated.left_out if code not in usual]
    if usual and not stated.added and set(usual) <= set(stated.left_out):
        found.append(misfit("plan.criteria.none", "left_out"))
    texts = [text.strip() for text in stated.added]
    if any(not text or len(text) > LONGEST_OWN for text in texts) or len(set(texts)) < len(texts):
        found.append(misfit("plan.criterion.own", "added", limit=LONGEST_OWN))
    return found


def _line_findings(line: LineInput, place: str) -> list[Finding]:
    found = []
    least = {
        Characteristic.CRIMP_HEIGHT.value: {"first": 1, "sample": 1, "last": 0},
        Characteristic.PULL_FORCE.value: {"first": 1, "sample": 0, "last": 0},
    }.get(line.characteristic, {"first": 0, "sample": 0, "last": 0})
    for name, count in (("first", line.first), ("sample", line.sample), ("last", line.last)):
        if not least[name] <= count <= MOST_PIECES:
            found.append(misfit("plan.pieces", f"{name}-{place}", count=count, characteristic=line.characteristic, least=least[name]))
    if line.every_nth < 1:
        found.append(misfit("plan.every_nth", f"every_nth-{place}", count=line.every_nth))
    kinds = gauge_kinds_for(line.characteristic)
    if line.gauge_kind not in kinds:
        found.append(
            misfit("plan.gauge", f"gauge_kind-{place}", gauge=line.gauge_kind, characteristic=line.characteristic, kinds=", ".join(kinds))
        )
    if line.chart not in ChartKind.values:
        found.append(misfit("plan.chart.unknown", f"chart-{place}", chart=line.chart, charts=", ".join(ChartKind.values)))
    if line.chart in (ChartKind.MEAN_RANGE, ChartKind.MEAN_S) and line.sample < 2:
        found.append(misfit("plan.chart", f"chart-{place}", chart=line.chart, count=line.sample, characteristic=line.characteristic))
    return found
