"""What the pages of nonconformances show: the list, one record with its next steps, and whether the same was there before."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from typing import Any

from django.core.paginator import Page
from django.db.models import Count, Min, Q, QuerySet
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from inspection.acts.nonconformances import (
    closing_findings,
    correction_findings,
    may_end_action,
    overdue_actions,
    since_reopening,
    standing_measure,
    verify_findings,
)
from inspection.defect_kinds import kind_words
from inspection.models import Batch, CorrectiveAction, Hold, LinkKind, Nonconformance, NonconformanceLink, NonconformanceState
from inspection.nonconformance_from import from_batch
from inspection.occurrences import SAME_BY, Same, kinds_found_in, numbers_of, same_before
from records.gather.nonconformance import nonconformance_record
from records.models import DocumentKind, IssuedDocument
from records.nonconformance_links import about_words, new_url, urls_of
from records.queries import Part
from records.report_content import ActionLine, NonconformanceRecord
from records.trails import trail_url
from shop.clock import shop_day
from shop.pages.catalogue import Crumb
from shop.pages.paging import LongPaginator
from shop.people import Person
from shop.permissions import Deed, may
from shop.wording import Worded, worded

PER_PAGE = 50
STATES = ("open", "overdue", "closed", "all")


def crumbs(*further: Crumb) -> list[Crumb]:
    return [Crumb(_("Prove"), reverse("prove:search")), Crumb(_("Nonconformances"), reverse("prove:nonconformances")), *further]


def record_url(number: str) -> str:
    return reverse("prove:nonconformance", args=[number])


# --- The list --------------------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class RecordRow:
    record: Nonconformance
    url: str
    defect: str
    about: str
    open_actions: int
    due: date | None
    outcome: str
    word: str


@dataclass(frozen=True, slots=True)
class RecordsPage:
    """state, found_at, words, mine: the filters as they stand in the address."""

    crumbs: list[Crumb]
    rows: Page[Nonconformance]
    lines: list[RecordRow]
    state: str
    found_at: str
    words: str
    mine: bool
    count: str
    overdue: int
    overdue_url: str
    may_open: bool

    @property
    def is_filtered(self) -> bool:
        return bool(self.state != "open" or self.found_at or self.words or self.mine)


def records_for(query: Mapping[str, str], person: Person, on: date) -> QuerySet[Nonconformance]:
    """As the address asks; open ones where it names no state."""
    waiting = Q(actions__result="")
    rows = Nonconformance.objects.select_related("tool", "terminal", "wire", "batch", "customer", "opened_by").annotate(
        open_actions=Count("actions", filter=waiting, distinct=True), next_due=Min("actions__due_on", filter=waiting)
    )
    state = query.get("state", "") or "open"
    if state in NonconformanceState.values:
        rows = rows.filter(state=state)
    elif state == "overdue":
        rows = rows.filter(pk__in=overdue_actions(on).order_by().values("nonconformance"))
    if found_at := query.get("found_at", ""):
        rows = rows.filter(found_at=found_at)
    if kind := query.get("kind", ""):
        rows = rows.filter(defect_kind=kind)
    if "mine" in query:
        own = CorrectiveAction.objects.filter(responsible=person, result="")
        rows = rows.filter(pk__in=own.order_by().values("nonconformance"))
    if words := query.get("q", "").replace("\0", "").strip():
        rows = rows.filter(pk__in=Nonconformance.objects.filter(about_words(words)).order_by().values("pk"))
    return rows.order_by("-opened_at", "-pk")


def records_page(query: Mapping[str, str], person: Person, at: datetime) -> RecordsPage:
    on = shop_day(at)
    pages = LongPaginator(records_for(query, person, on), PER_PAGE)
    rows = pages.get_page(query.get("page"))
    state = query.get("state", "") or "open"
    return RecordsPage(
        crumbs=[Crumb(_("Prove"), reverse("prove:search")), Crumb(_("Nonconformances"))],
        rows=rows,
        lines=[_row(record, on) for record in rows],
        state=state if state in STATES else "all",
        found_at=query.get("found_at", ""),
        words=query.get("q", "").replace("\0", "").strip(),
        mine="mine" in query,
        count=pages.counted(ngettext("%(count)s record", "%(count)s records", 1), ngettext("%(count)s record", "%(count)s records", 2)),
        overdue=overdue_actions(on).count(),
        overdue_url=f"{reverse('prove:nonconformances')}?state=overdue",
        may_open=may(person, Deed.OPEN_NONCONFORMANCE),
    )


def _row(record: Any, on: date) -> RecordRow:
    about = [str(thing) for thing in (record.tool, record.terminal, record.wire, record.batch, record.customer) if thing]
    late = record.is_open and record.next_due is not None and record.next_due < on
    if not record.is_open:
        outcome, word = "conforms", _("closed")
    else:
        outcome, word = ("does not conform", _("overdue")) if late else ("waiting", _("open"))
    return RecordRow(
        record,
        record_url(record.number),
        kind_words(record.defect_kind),
        ", ".join(about),
        record.open_actions,
        record.next_due,
        outcome,
        word,
    )


# --- The same before -------------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class SameRow:
    """A nonconformance of the same. reopen_url: "" where the reader may not, or it is open anyway."""

    number: str
    url: str
    what: str
    at: str
    outcome: str
    word: str
    reopen_url: str


def same_rows(found: Sequence[Same], person: Person) -> list[SameRow]:
    """With who was at the press left out for readers who are not to see it."""
    sees, reopens = may(person, Deed.SEE_FINDINGS_BY_PERSON), may(person, Deed.CLOSE_NONCONFORMANCE)
    rows = []
    for same in found:
        at = [thing for thing in same.at if sees or not thing.startswith("person ")]
        if not at:
            continue
        record = same.record
        rows.append(
            SameRow(
                number=record.number,
                url=record_url(record.number),
                what=record.what,
                at=", ".join(at),
                outcome="waiting" if record.is_open else "conforms",
                word=str(record.get_state_display()),
                reopen_url=reverse("prove:nonconformance-step", args=[record.number, "reopen"]) if reopens and not record.is_open else "",
            )
        )
    return rows


def same_as(record: Nonconformance, person: Person, at: datetime) -> list[SameRow]:
    things = {name: getattr(record, name) for name in SAME_BY}
    return same_rows(same_before(record.defect_kind, at, but=record.pk, **things), person)


# --- One record ------------------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Next:
    """A step that can be done now."""

    word: str
    url: str
    primary: bool = False


@dataclass(frozen=True, slots=True)
class ActionRow:
    line: ActionLine
    end_url: str


@dataclass(frozen=True, slots=True)
class LinkRow:
    what: str
    name: str
    url: str


@dataclass(frozen=True, slots=True)
class Moment:
    """A line of the timeline."""

    at: datetime
    by: str
    what: str


@dataclass(frozen=True, slots=True)
class RecordPage:
    """content: what the report says too. person: "" for readers who are not to see it. waiting: what stands against closing."""

    record: Nonconformance
    content: NonconformanceRecord
    crumbs: list[Crumb]
    parts: list[Part]
    about: list[LinkRow]
    person: str
    actions: list[ActionRow]
    next: list[Next]
    same: list[SameRow]
    waiting: list[Worded]
    timeline: list[Moment]
    issued: list[IssuedDocument]
    trail_url: str
    may_issue: bool


def record_page(record: Nonconformance, person: Person, at: datetime) -> RecordPage:
    """record: as `load_nonconformance` reads it."""
    content = nonconformance_record(record, at)
    rows = list(record.actions.select_related("responsible", "ended_by", "stated_by"))
    waiting = closing_findings(record) if record.is_open else []
    sees = may(person, Deed.SEE_FINDINGS_BY_PERSON)
    return RecordPage(
        record=record,
        content=content,
        crumbs=crumbs(Crumb(record.number)),
        parts=[Part(p["part"], _(p["part"]).capitalize(), p["state"], p["word"], p["evidence"]) for p in content["parts"]],
        about=_about(record),
        person=record.person.name if record.person and sees else "",
        actions=[
            ActionRow(line, _step(record, f"action-{row.number}") if _may_end(record, row, person) else "")
            for line, row in zip(content["actions"], rows, strict=True)
        ],
        next=_next(record, rows, person, closable=not waiting),
        same=same_as(record, person, at) if record.is_open else [],
        waiting=[worded(finding) for finding in waiting],
        timeline=_timeline(record, rows),
        issued=list(
            IssuedDocument.objects.filter(kind=DocumentKind.NONCONFORMANCE, subject_kind="nonconformance", subject_id=record.pk).order_by(
                "-issue"
            )
        ),
        trail_url=trail_url("nonconformance", record.pk),
        may_issue=may(person, Deed.ISSUE_DOCUMENT),
    )


def _may_end(record: Nonconformance, action: CorrectiveAction, person: Person) -> bool:
    return record.is_open and not action.result and not may_end_action(action, person)


def _step(record: Nonconformance, step: str) -> str:
    return reverse("prove:nonconformance-step", args=[record.number, step])


def _next(record: Nonconformance, actions: list[CorrectiveAction], person: Person, *, closable: bool) -> list[Next]:
    """What this reader can do now; the step that is due comes first and is the page's one primary button."""
    if not record.is_open:
        return [Next(_("Reopen"), _step(record, "reopen"))] if may(person, Deed.CLOSE_NONCONFORMANCE) else []
    steps: list[Next] = []
    measure = standing_measure(record)
    if closable and may(person, Deed.CLOSE_NONCONFORMANCE):
        steps.append(Next(_("Close"), _step(record, "close"), primary=True))
    if measure is not None and may(person, Deed.VERIFY_EFFECT) and not verify_findings(record, measure, actions, person):
        steps.append(Next(_("Verify that it worked"), _step(record, "verify"), primary=True))
    if may(person, Deed.WORK_ON_NONCONFORMANCE):
        steps += _work(record, has_actions=bool(since_reopening(record, actions)), has_measure=measure is not None)
    if may(person, Deed.OPEN_NONCONFORMANCE):
        steps.append(Next(_("Add what it is about"), _step(record, "add")))
    if may(person, Deed.CLOSE_NONCONFORMANCE) and not correction_findings(record):
        steps.append(Next(_("Correction only"), _step(record, "correction-only")))
    return steps


def _work(record: Nonconformance, *, has_actions: bool, has_measure: bool) -> list[Next]:
    """Cause, action and proof; the first of them that is missing comes first."""
    has_cause = record.causes.exists()
    cause = (has_cause, Next(_("State the cause anew") if has_cause else _("State the cause"), _step(record, "cause")))
    action = (has_actions, Next(_("State an action"), _step(record, "action")))
    proof = (has_measure, Next(_("State another proof") if has_measure else _("State what will prove it"), _step(record, "measure")))
    due = next((step for there, step in (cause, action, proof) if not there), None)
    first = [] if due is None else [replace(due, primary=True)]
    return first + [step for _there, step in (action, proof, cause) if step is not due]


def _about(record: Nonconformance) -> list[LinkRow]:
    def item(kind: str, thing: Any, name: str) -> LinkRow:
        return LinkRow(_(kind), name, reverse("shop:detail", args=[f"{kind.replace(' ', '-')}s", thing.pk]))

    rows = []
    if record.batch:
        t = record.batch.termination
        rows.append(LinkRow(_("batch"), record.batch.number, reverse("prove:batch", args=[record.batch.number])))
        words = _("{sheet}, lead {lead}, end {end}").format(sheet=t.sheet, lead=t.lead, end=t.end)
        rows.append(LinkRow(_("termination"), words, reverse("plan:sheet", args=[t.sheet_id])))
    if record.tool:
        rows.append(item("tool", record.tool, record.tool.asset_number))
    if record.press:
        rows.append(LinkRow(_("press"), record.press.asset_number, reverse("shop:detail", args=["presses", record.press.pk])))
    if record.terminal:
        rows.append(item("terminal", record.terminal, record.terminal.part_number))
    if record.wire:
        rows.append(item("wire", record.wire, record.wire.part_number))
    if record.terminal_lot:
        rows.append(item("terminal lot", record.terminal_lot, record.terminal_lot.lot_number))
    if record.wire_lot:
        rows.append(item("wire lot", record.wire_lot, record.wire_lot.lot_number))
    links = list(record.links.all())
    urls = urls_of(links)
    return rows + [LinkRow(str(link.get_kind_display()), link.name, urls.get(link.pk, "")) for link in links]


def _timeline(record: Nonconformance, actions: list[CorrectiveAction]) -> list[Moment]:
    """Every step in the order of time."""
    found = [Moment(record.opened_at, record.opened_by.name, _("opened"))]
    for link in record.links.select_related("by"):
        if link.at != record.opened_at:
            found.append(Moment(link.at, link.by.name, _("added: {kind} {name}").format(kind=link.get_kind_display(), name=link.name)))
    for nth, cause in enumerate(record.causes.select_related("by")):
        found.append(Moment(cause.at, cause.by.name, _("cause stated anew") if nth else _("cause stated")))
    for action in actions:
        found.append(Moment(action.stated_at, action.stated_by.name, _("action {n} stated").format(n=action.number)))
        if action.ended_at and action.ended_by:
            told = _("action {n} {result}").format(n=action.number, result=action.get_result_display())
            found.append(Moment(action.ended_at, action.ended_by.name, told))
    for measure in record.measures.select_related("by", "check_made__by"):
        found.append(Moment(measure.at, measure.by.name, _("proof stated")))
        check = getattr(measure, "check_made", None)
        if check is not None:
            found.append(Moment(check.at, check.by.name, _("verified: it worked") if check.worked else _("verified: it did not work")))
    for row in record.closings.select_related("by", "reopened_by"):
        only = bool(row.without_action_because)
        found.append(Moment(row.at, row.by.name, _("closed, correction only") if only else _("closed")))
        if row.reopened_at and row.reopened_by:
            told = _("reopened: {reason}").format(reason=row.reopened_because)
            found.append(Moment(row.reopened_at, row.reopened_by.name, told))
    return sorted(found, key=lambda moment: moment.at)


# --- Beside a batch --------------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class FindingRow:
    """A hold of a batch. record: the nonconformance it is in, None where it is in none; open_url: to open one."""

    reason: str
    at: datetime
    record: Nonconformance | None
    open_url: str


@dataclass(frozen=True, slots=True)
class BatchFindings:
    """What a batch page says about nonconformances. records: those of the batch; same: of the same kind at the same things, elsewhere."""

    records: list[SameRow]
    findings: list[FindingRow]
    same: list[SameRow]
    open_url: str


def findings_of(batch: Batch, person: Person, at: datetime) -> BatchFindings | None:
    """None where nothing was found, nothing is recorded, and the reader could not record anything."""
    opens = may(person, Deed.OPEN_NONCONFORMANCE)
    records = numbers_of([batch.pk]).get(batch.pk, [])
    holds = list(batch.holds.select_related("sample").order_by("pk"))
    kept = {link.subject_id: link.nonconformance for link in _hold_links(holds)}
    findings = [
        FindingRow(hold.reason, hold.raised_at, kept.get(hold.pk), new_url(hold=hold.pk) if opens and hold.pk not in kept else "")
        for hold in holds
    ]
    every = list(dict.fromkeys([*records, *kept.values()]))
    kinds = dict.fromkeys(kind for hold in holds if hold.sample and hold.pk not in kept for kind in kinds_found_in(hold.sample))
    begun = from_batch(batch)
    same: dict[int, Same] = {}
    for kind in kinds:
        for one in same_before(kind, at, **{name: getattr(begun, name) for name in SAME_BY}):
            if one.record not in every:
                same.setdefault(one.record.pk, one)
    if not (every or findings or opens):
        return None
    own = [Same(record, (record.what,)) for record in every]
    return BatchFindings(
        same_rows(own, person), findings, same_rows(list(same.values()), person), new_url(about=batch.number) if opens else ""
    )


def _hold_links(holds: Sequence[Hold]) -> list[NonconformanceLink]:
    rows = NonconformanceLink.objects.filter(kind=LinkKind.HOLD, subject_id__in=[hold.pk for hold in holds])
    return list(rows.select_related("nonconformance"))
