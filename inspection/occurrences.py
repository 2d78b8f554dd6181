"""Findings as they are stored, counted by what they may have to do with; and what samples looked for since a moment."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from enum import StrEnum
from typing import Any

from django.conf import settings
from django.db.models import F, Model, OuterRef, Q, QuerySet, Subquery, Sum
from django.db.models.functions import Coalesce
from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from inspection.defect_kinds import kind_of_criterion, kind_of_pull, kind_of_reading
from inspection.defects import FAILED, Asked
from inspection.effect import Look, Run
from inspection.models import (
    Batch,
    BatchStatus,
    Hold,
    LinkKind,
    Nonconformance,
    NonconformanceLink,
    Origin,
    PullTest,
    Reading,
    SampleState,
    Scope,
    SetupScan,
    VisualFinding,
)
from inspection.recurrence import Occurrence, Recurrence, recurrences
from shop.crib import Press
from shop.criteria import CROSS_SECTION
from shop.jobs import Job, SetupSheet
from shop.materials import Terminal, Wire
from shop.people import Person
from shop.tools import Tool

FROM_SAMPLES = (Origin.HOLD.value, Origin.HELD.value)
"""Nonconformances whose finding stands in a sample already: they are not counted a second time."""


class By(StrEnum):
    """What findings are counted by."""

    TOOL = "tool"
    TERMINAL = "terminal"
    WIRE = "wire"
    PRESS = "press"
    SHEET = "sheet"
    JOB = "job"
    PERSON = "person"


BY_WORDS: dict[By, Promise] = {
    By.TOOL: _("applicator or tool"),
    By.TERMINAL: _("terminal"),
    By.WIRE: _("wire"),
    By.PRESS: _("press"),
    By.SHEET: _("setup sheet"),
    By.JOB: _("job"),
    By.PERSON: _("person at the press"),
}


@dataclass(frozen=True, slots=True)
class _Way:
    """From a batch, and from a nonconformance, to what is counted by. model: what it is."""

    from_batch: str
    from_record: str
    model: type[Model]


_WAYS: dict[By, _Way] = {
    By.TOOL: _Way("tool", "tool", Tool),
    By.TERMINAL: _Way("termination__terminal", "terminal", Terminal),
    By.WIRE: _Way("termination__termination_wires__wire", "wire", Wire),
    By.PRESS: _Way("press_used", "press", Press),
    By.SHEET: _Way("termination__sheet", "batch__termination__sheet", SetupSheet),
    By.JOB: _Way("termination__sheet__job", "batch__termination__sheet__job", Job),
    # Who opened the batch stands at the press: findings and pieces are counted by the same person, or the rate would be nobody's.
    By.PERSON: _Way("opened_by", "person", Person),
}


def _press_of(batch: str) -> Subquery:
    """The press a batch was set up on last. batch: the way to it from the row, "pk" from the batch itself."""
    scans = SetupScan.objects.filter(batch=OuterRef(batch), accepted=True, press__isnull=False).order_by("-pk")
    return Subquery(scans.values("press")[:1])


def _thing_from_sample(by: By) -> Any:
    return _press_of("sample__batch") if by is By.PRESS else F(f"sample__batch__{_WAYS[by].from_batch}")


def _rejected(ask: Asked) -> list[tuple[QuerySet[Any], str, Any]]:
    """Every table with findings: what was rejected in the time and part of production asked for, and how its kind is named."""
    taken = Q(sample__taken_at__gte=ask.since, sample__taken_at__lt=ask.until) & ask.within("sample__batch__")
    concluded = ~Q(sample__state=SampleState.OPEN)
    return [
        (VisualFinding.objects.standing().filter(taken, concluded, accepted=False), "criterion", kind_of_criterion),
        (Reading.objects.standing().filter(taken, concluded, outcome=FAILED), "characteristic", kind_of_reading),
        (PullTest.objects.standing().filter(taken, concluded, outcome=FAILED), "mode", kind_of_pull),
    ]


def occurrences(ask: Asked, by: By) -> list[Occurrence]:
    """Every finding of the samples, and every nonconformance that came in without one. Four questions to the database."""
    found = [
        Occurrence(kind(name), thing, at)
        for rows, column, kind in _rejected(ask)
        for name, thing, at in rows.order_by().annotate(thing=_thing_from_sample(by)).values_list(column, "thing", "sample__taken_at")
        if thing is not None
    ]
    way = _WAYS[by].from_record
    records = Nonconformance.objects.exclude(origin__in=FROM_SAMPLES).filter(
        _of_records(ask), opened_at__gte=ask.since, opened_at__lt=ask.until, **{f"{way}__isnull": False}
    )
    found += [Occurrence(*row) for row in records.order_by().values_list("defect_kind", way, "opened_at")]
    return found


def _of_records(ask: Asked) -> Q:
    told = Q()
    for name, column in (("tool", "tool__asset_number"), ("terminal", "terminal__part_number")):
        if text := getattr(ask, name):
            told &= Q(**{column: text})
    return told & Q(batch__termination__sheet__job__number=ask.job) if ask.job else told


def pieces_made(ask: Asked, by: By) -> dict[int, int]:
    """Pieces of the batches that were open at any moment of the time asked for, by what is counted by."""
    open_then = Q(opened_at__lt=ask.until) & (Q(closed_at__isnull=True) | Q(closed_at__gte=ask.since))
    thing = _press_of("pk") if by is By.PRESS else F(_WAYS[by].from_batch)
    rows = Batch.objects.filter(ask.within(""), open_then).order_by().annotate(thing=thing, pieces=Coalesce(F("made"), F("last_count")))
    return {key: total or 0 for key, total in rows.values("thing").annotate(total=Sum("pieces")).values_list("thing", "total") if key}


@dataclass(frozen=True, slots=True)
class Recurring:
    """A kind of defect at a thing. pieces: None where nobody counted; records: nonconformances of the same, newest first."""

    of: Recurrence
    name: str
    number: str
    pieces: int | None
    records: tuple[Nonconformance, ...]

    @property
    def per_thousand(self) -> float | None:
        return 1000 * self.of.count / self.pieces if self.pieces else None


def span() -> timedelta:
    """Within which the shop counts (`RECURRING_DAYS`)."""
    return timedelta(days=settings.RECURRING_DAYS)


def recurring(ask: Asked, by: By) -> list[Recurring]:
    """Every kind of defect by what it was found at, what recurs first. Seven questions to the database, however many there are."""
    lines = recurrences(occurrences(ask, by), least=settings.RECURRING_FINDINGS, span=span())
    things = {line.thing for line in lines}
    named = _names(by, things)
    made = pieces_made(ask, by)
    way = _WAYS[by].from_record
    kept: dict[tuple[str, int], list[Nonconformance]] = {}
    records = Nonconformance.objects.filter(defect_kind__in={line.kind for line in lines}, **{f"{way}__in": things})
    for record in records.annotate(thing=F(way)).order_by("-opened_at", "-pk"):
        kept.setdefault((record.defect_kind, record.thing), []).append(record)
    return [Recurring(line, *named[line.thing], made.get(line.thing), tuple(kept.get((line.kind, line.thing), ()))) for line in lines]


def _names(by: By, things: Iterable[int]) -> dict[int, tuple[str, str]]:
    """What each is called on the page, and its number for an address."""
    model: Any = _WAYS[by].model
    rows = model._default_manager.filter(pk__in=set(things))
    if by is By.TOOL:
        return {tool.pk: (f"{tool.asset_number} ({tool.get_kind_display()})", tool.asset_number) for tool in rows}
    if by is By.PERSON:
        return {person.pk: (person.name, person.username) for person in rows}
    return {row.pk: (str(row), str(row)) for row in rows}


# --- The same again --------------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Same:
    """A nonconformance of the same kind of defect. at: what they have in common, "tool AP-102"."""

    record: Nonconformance
    at: tuple[str, ...]


SAME_BY = ("tool", "press", "terminal", "wire", "person")


def same_before(kind: str, at: datetime, *, but: int | None = None, **things: Model | None) -> list[Same]:
    """Nonconformances of this kind at any of these things that are open, or were closed within the shop's span of days; newest first.

    things: by the fields of `SAME_BY`; one question to the database.
    """
    known = {name: thing for name, thing in things.items() if thing is not None and name in SAME_BY}
    if not kind or not known:
        return []
    any_of = Q()
    for name, thing in known.items():
        any_of |= Q(**{name: thing})
    rows = Nonconformance.objects.filter(any_of, Q(closed_at__isnull=True) | Q(closed_at__gte=at - span()), defect_kind=kind)
    rows = rows.exclude(pk=but) if but else rows
    return [
        Same(row, tuple(f"{name} {thing}" for name, thing in known.items() if getattr(row, f"{name}_id") == thing.pk))
        for row in rows.order_by("-opened_at", "-pk")[:10]
    ]


# --- Looked for since ------------------------------------------------------------------------------------------------------------

_SCOPES = {Scope.TOOL: By.TOOL, Scope.TERMINAL: By.TERMINAL, Scope.WIRE: By.WIRE, Scope.PRESS: By.PRESS, Scope.PERSON: By.PERSON}


def runs_since(kind: str, scope: str, thing: int | None, since: datetime) -> list[Run]:
    """The batches opened after `since` in which concluded samples answered whether the defect was there. One question to the database."""
    begun = Q(sample__batch__opened_at__gt=since) & ~Q(sample__state=SampleState.OPEN)
    family, _dot, name = kind.partition(".")
    rows: QuerySet[Any]
    if family == "limits":
        rows = Reading.objects.standing().filter(begun, characteristic=name)
    elif family == "pull":
        rows = PullTest.objects.standing().filter(begun)
    elif kind == CROSS_SECTION:
        rows = VisualFinding.objects.standing().filter(begun, criterion__startswith=f"{CROSS_SECTION}.")
    else:
        rows = VisualFinding.objects.standing().filter(begun, criterion=kind)
    if scope != Scope.EVERYWHERE:
        rows = rows.annotate(thing=_thing_from_sample(_SCOPES[Scope(scope)])).filter(thing=thing)
    return _as_runs(rows.order_by("pk").select_related("sample__batch"), family, name)


def _as_runs(rows: Iterable[Any], family: str, name: str) -> list[Run]:
    """One look a sample, however many pieces it measured."""
    batches: dict[int, Batch] = {}
    looks: dict[int, dict[int, Look]] = {}
    for row in rows:
        sample, batch = row.sample, row.sample.batch
        batches[batch.pk] = batch
        before = looks.setdefault(batch.pk, {}).get(sample.pk)
        found = _is_found(row, family, name) or (before is not None and before.found)
        looks[batch.pk][sample.pk] = Look(sample.at_count, sample.taken_at, found)
    return [
        Run(batch.number, batch.opened_at, batch.status == BatchStatus.CLOSED, tuple(looks[pk].values())) for pk, batch in batches.items()
    ]


def _is_found(row: Any, family: str, name: str) -> bool:
    if family == "limits":
        return bool(row.outcome == FAILED)
    if family == "pull":
        return bool(row.outcome == FAILED and row.mode == name)
    return not row.accepted


def reported_since(record: Nonconformance, scope: str, since: datetime) -> int:
    """Nonconformances of the same kind that came in otherwise since then: what no sample shows, a customer's complaint does."""
    rows = Nonconformance.objects.exclude(origin__in=FROM_SAMPLES).exclude(pk=record.pk)
    rows = rows.filter(defect_kind=record.defect_kind, opened_at__gt=since)
    if scope != Scope.EVERYWHERE:
        rows = rows.filter(**{scope: getattr(record, f"{scope}_id")})
    return rows.count()


def kinds_found_in(sample: Any) -> list[str]:
    """The kinds of defect that a sample found, without repeats."""
    kinds = [kind_of_reading(c) for c in sample.readings.standing().filter(outcome=FAILED).values_list("characteristic", flat=True)]
    kinds += [kind_of_pull(m) for m in sample.pull_tests.standing().filter(outcome=FAILED).values_list("mode", flat=True)]
    kinds += [kind_of_criterion(c) for c in sample.visual_findings.standing().filter(accepted=False).values_list("criterion", flat=True)]
    return list(dict.fromkeys(kinds))


def numbers_of(batches: Sequence[int]) -> dict[int, list[Nonconformance]]:
    """The nonconformances that belong to batches, by the batch's key: opened for it, or with it or a hold of it added. Four questions."""
    holds = dict(Hold.objects.filter(batch__in=batches).values_list("pk", "batch"))
    links = NonconformanceLink.objects.filter(
        Q(kind=LinkKind.BATCH, subject_id__in=batches) | Q(kind=LinkKind.HOLD, subject_id__in=list(holds))
    )
    pairs = {
        (holds[pk] if kind == LinkKind.HOLD else pk, record)
        for kind, pk, record in links.values_list("kind", "subject_id", "nonconformance")
    }
    pairs |= {(batch, record) for record, batch in Nonconformance.objects.filter(batch__in=batches).values_list("pk", "batch") if batch}
    records = Nonconformance.objects.in_bulk([record for _batch, record in pairs])
    found: dict[int, list[Nonconformance]] = {}
    for batch, record in sorted(pairs):
        found.setdefault(batch, []).append(records[record])
    return found


def records_of_holds(batch: Batch) -> list[str]:
    """Numbers of the nonconformances that the holds of a batch are in."""
    holds = Hold.objects.filter(batch=batch).values("pk")
    rows = Nonconformance.objects.filter(links__kind=LinkKind.HOLD, links__subject_id__in=holds).distinct()
    return list(rows.order_by("pk").values_list("number", flat=True))
