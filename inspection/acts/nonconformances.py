"""Nonconformance and corrective action: opening, cause, actions, the measure of the effect, its proof, closing, reopening.

Each step is one act of one person. What was decided about the pieces (holds, dispositions, containment) has acts of its own.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from typing import Any

from django.db import transaction
from django.db.models import QuerySet

from inspection.acts.dispositions import held_left
from inspection.defect_kinds import is_kind, is_looked_for, kind_words
from inspection.effect import Answer, Counted, Effect, effect
from inspection.events import (
    ActionEnded,
    ActionStated,
    CauseStated,
    EffectVerified,
    MeasureStated,
    NonconformanceClosed,
    NonconformanceLinked,
    NonconformanceOpened,
    NonconformanceReopened,
)
from inspection.models import (
    ActionResult,
    Batch,
    Cause,
    Closing,
    CorrectiveAction,
    EffectCheck,
    EffectMeasure,
    Hold,
    LinkKind,
    MeasureKind,
    Nonconformance,
    NonconformanceLink,
    NonconformanceState,
    Origin,
    Scope,
    SetupPart,
    Study,
    StudyState,
)
from inspection.occurrences import reported_since, runs_since
from shop.clock import midnight, shop_day
from shop.crib import Press
from shop.events import Signing, publish
from shop.finding import Finding, Verdict, misfit, refuse_if
from shop.jobs import Customer
from shop.materials import Terminal, TerminalLot, Wire, WireLot
from shop.people import Person
from shop.permissions import Deed, permission_findings
from shop.sign_on import signing_findings
from shop.tools import Tool
from shop.validation import clean

VERIFIED_MEANING = "effect of corrective action verified"
CLOSED_MEANING = "nonconformance closed"

MOST_BECAUSE, LONGEST_BECAUSE = 5, 200

OpenCheck = Callable[[Nonconformance], list[Finding]]
OPEN_CHECKS: list[OpenCheck] = []
"""What the records above have still open, such as a containment case: they register here, since nothing below may import them."""


def subject_of(record: Nonconformance) -> tuple[str, int, str]:
    return ("nonconformance", record.pk, record.number)


def locked(record: Nonconformance) -> Nonconformance:
    return Nonconformance.objects.select_for_update().get(pk=record.pk)


def open_findings(record: Nonconformance) -> list[Finding]:
    return [] if record.is_open else [misfit("nc.closed", number=record.number)]


def required(**texts: str) -> list[Finding]:
    return [misfit("data.required", name) for name, text in texts.items() if not text.strip()]


# --- Opening ---------------------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Link:
    """Something to point at. kind: of `LinkKind`."""

    kind: str
    pk: int
    name: str


@dataclass(frozen=True, slots=True)
class OpenInput:
    what: str
    requirement: str
    defect_kind: str
    origin: str = Origin.SEEN.value
    found_at: str = "in process"
    quantity: int | None = None
    batch: Batch | None = None
    tool: Tool | None = None
    press: Press | None = None
    terminal: Terminal | None = None
    wire: Wire | None = None
    person: Person | None = None
    terminal_lot: TerminalLot | None = None
    wire_lot: WireLot | None = None
    customer: Customer | None = None
    customer_reference: str = ""


THINGS = ("batch", "tool", "press", "terminal", "wire", "person", "terminal_lot", "wire_lot", "customer")


def open_nonconformance(*, stated: OpenInput, links: Sequence[Link] = (), by: Person, at: datetime) -> Nonconformance:
    """Record that something does not meet a requirement. Raises Refused."""
    findings = permission_findings(by, Deed.OPEN_NONCONFORMANCE)
    findings += required(what=stated.what, requirement=stated.requirement)
    if not is_kind(stated.defect_kind):
        findings.append(misfit("nc.kind", "defect_kind", kind=stated.defect_kind or "–"))
    if stated.origin == Origin.COMPLAINT and stated.customer is None:
        findings.append(misfit("nc.customer", "customer"))
    with transaction.atomic():
        refuse_if(findings + linked_findings(links))
        record = Nonconformance(
            number=next_number(at),
            origin=stated.origin,
            found_at=stated.found_at,
            what=stated.what.strip(),
            requirement=stated.requirement.strip(),
            quantity=stated.quantity,
            defect_kind=stated.defect_kind,
            customer_reference=stated.customer_reference.strip(),
            opened_by=by,
            opened_at=at,
            **{name: getattr(stated, name) for name in THINGS},
        )
        clean(record)
        record.save(force_insert=True)
        _link(record, links, by, at)
        content = opened_content(record) | {"points_at": [{"kind": link.kind, "name": link.name} for link in links]}
        publish(NonconformanceOpened(by=by, at=at, subject=subject_of(record), content=content))
    return record


def next_number(at: datetime) -> str:
    """NC-26-0001, counted anew each year. Two at once get the same: the database lets one through, the other is a lost race."""
    year = f"NC-{shop_day(at):%y}-"
    return f"{year}{Nonconformance.objects.filter(number__startswith=year).count() + 1:04d}"


def opened_content(record: Nonconformance) -> dict[str, Any]:
    things = {name: getattr(record, name) for name in THINGS}
    named = {name: thing.username if isinstance(thing, Person) else str(thing) for name, thing in things.items() if thing is not None}
    return {
        "number": record.number,
        "origin": record.origin,
        "found_at": record.found_at,
        "what": record.what,
        "requirement": record.requirement,
        "quantity": record.quantity,
        "defect_kind": record.defect_kind,
        "defect": kind_words(record.defect_kind),
        "about": named,
        "customer_reference": record.customer_reference,
    }


def linked_findings(links: Iterable[Link]) -> list[Finding]:
    """A hold or an inspection stands in one nonconformance; lots, shipments, batches and cases may stand in several."""
    found = []
    for link in links:
        if link.kind not in LinkKind.values:
            found.append(misfit("nc.link", "links", kind=link.kind, name=link.name))
        elif link.kind in (LinkKind.HOLD, LinkKind.INSPECTION):
            kept = NonconformanceLink.objects.filter(kind=link.kind, subject_id=link.pk).select_related("nonconformance").first()
            if kept is not None:
                found.append(misfit("nc.linked", kind=link.kind, name=link.name, number=kept.nonconformance.number))
    return found


def _link(record: Nonconformance, links: Iterable[Link], by: Person, at: datetime) -> None:
    NonconformanceLink.objects.bulk_create(
        NonconformanceLink(nonconformance=record, kind=link.kind, subject_id=link.pk, name=link.name[:120], by=by, at=at) for link in links
    )


def link_to_nonconformance(*, record: Nonconformance, links: Sequence[Link], by: Person, at: datetime) -> Nonconformance:
    """Add a further finding of the same, or something it is about. Raises Refused."""
    findings = permission_findings(by, Deed.OPEN_NONCONFORMANCE)
    with transaction.atomic():
        record = locked(record)
        findings += open_findings(record) + linked_findings(links)
        kept = {(link.kind, link.subject_id) for link in record.links.all()}
        findings += [
            misfit("nc.linked", kind=link.kind, name=link.name, number=record.number)
            for link in links
            if (link.kind, link.pk) in kept and link.kind not in (LinkKind.HOLD, LinkKind.INSPECTION)
        ]
        if not links:
            findings.append(misfit("data.required", "links"))
        refuse_if(findings)
        _link(record, links, by, at)
        content = {"number": record.number, "points_at": [{"kind": link.kind, "name": link.name} for link in links]}
        publish(NonconformanceLinked(by=by, at=at, subject=subject_of(record), content=content))
    return record


# --- Cause and actions -----------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class CauseInput:
    """parts: of the six; because: one reason a line, each answering why the one before was so."""

    parts: tuple[str, ...]
    occurred: str
    undetected: str
    because: tuple[str, ...] = ()


def state_cause(*, record: Nonconformance, stated: CauseInput, by: Person, at: datetime) -> Cause:
    """Say what failed and why; a later statement stands in place of the earlier. Raises Refused."""
    findings = permission_findings(by, Deed.WORK_ON_NONCONFORMANCE)
    parts = [part.value for part in SetupPart if part.value in stated.parts]
    if not parts or len(parts) != len(set(stated.parts)):
        findings.append(misfit("nc.cause.part", "parts"))
    because = [line.strip() for line in stated.because if line.strip()]
    if len(because) > MOST_BECAUSE or any(len(line) > LONGEST_BECAUSE for line in because):
        findings.append(misfit("nc.cause.lines", "because", given=len(because), most=MOST_BECAUSE, length=LONGEST_BECAUSE))
    findings += required(occurred=stated.occurred, undetected=stated.undetected)
    with transaction.atomic():
        record = locked(record)
        refuse_if(findings + open_findings(record))
        row = Cause(
            nonconformance=record,
            parts=parts,
            occurred=stated.occurred.strip(),
            undetected=stated.undetected.strip(),
            because=because,
            by=by,
            at=at,
        )
        clean(row)
        row.save(force_insert=True)
        content = {
            "number": record.number,
            "parts": parts,
            "occurred": row.occurred,
            "undetected": row.undetected,
            "because": because,
        }
        publish(CauseStated(by=by, at=at, subject=subject_of(record), content=content))
    return row


@dataclass(frozen=True, slots=True)
class ActionInput:
    kind: str
    what: str
    responsible: Person
    due_on: date


def state_action(*, record: Nonconformance, stated: ActionInput, by: Person, at: datetime) -> CorrectiveAction:
    """Say what is done, by whom and until when. Raises Refused."""
    findings = permission_findings(by, Deed.WORK_ON_NONCONFORMANCE) + required(what=stated.what)
    if stated.due_on < shop_day(at):
        findings.append(misfit("nc.action.due", "due_on", due=stated.due_on.isoformat()))
    if not stated.responsible.is_active:
        findings.append(misfit("nc.action.person", "responsible", person=stated.responsible.name))
    with transaction.atomic():
        record = locked(record)
        refuse_if(findings + open_findings(record))
        row = CorrectiveAction(
            nonconformance=record,
            number=record.actions.count() + 1,
            kind=stated.kind,
            what=stated.what.strip(),
            responsible=stated.responsible,
            due_on=stated.due_on,
            stated_by=by,
            stated_at=at,
        )
        clean(row)
        row.save(force_insert=True)
        content = {
            "number": record.number,
            "action": row.number,
            "kind": row.kind,
            "what": row.what,
            "responsible": row.responsible.name,
            "due_on": row.due_on,
        }
        publish(ActionStated(by=by, at=at, subject=subject_of(record), content=content))
    return row


def may_end_action(action: CorrectiveAction, person: Person) -> list[Finding]:
    """Who sees to an action says that it is done, whatever their role."""
    return [] if person.is_active and action.responsible_id == person.pk else permission_findings(person, Deed.WORK_ON_NONCONFORMANCE)


def end_action(*, action: CorrectiveAction, result: str, evidence: str, by: Person, at: datetime) -> CorrectiveAction:
    """An action is done, with what shows it; or dropped, with the reason. Raises Refused."""
    findings = may_end_action(action, by) + required(evidence=evidence)
    if result not in ActionResult.values:
        findings.append(misfit("data.invalid", "result", message=f"{result or 'Nothing'} is no end of an action."))
    with transaction.atomic():
        record = locked(action.nonconformance)
        action = CorrectiveAction.objects.select_for_update(of=("self",)).select_related("responsible").get(pk=action.pk)
        findings += open_findings(record)
        if action.result:
            findings.append(misfit("nc.action.ended", action=action.number, result=action.get_result_display()))
        refuse_if(findings)
        action.result, action.evidence, action.ended_by, action.ended_at = result, evidence.strip(), by, at
        clean(action)
        action.save(update_fields=["result", "evidence", "ended_by", "ended_at"])
        content = {
            "number": record.number,
            "action": action.number,
            "what": action.what,
            "result": result,
            "evidence": action.evidence,
            "due_on": action.due_on,
        }
        publish(ActionEnded(by=by, at=at, subject=subject_of(record), content=content))
    return action


def overdue_actions(on: date) -> QuerySet[CorrectiveAction]:
    """Actions that nobody ended by their day, of nonconformances that are open."""
    rows = CorrectiveAction.objects.filter(result="", due_on__lt=on, nonconformance__state=NonconformanceState.OPEN)
    return rows.select_related("nonconformance", "responsible").order_by("due_on", "pk")


# --- The effect ------------------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class MeasureInput:
    kind: str
    scope: str = ""
    target: int | None = None
    until: date | None = None
    text: str = ""


COUNTED = {MeasureKind.PIECES.value: Counted.PIECES, MeasureKind.BATCHES.value: Counted.BATCHES, MeasureKind.DATE.value: Counted.DATE}


def measure_findings(record: Nonconformance, stated: MeasureInput, on: date) -> list[Finding]:
    found = []
    if stated.kind not in MeasureKind.values:
        return [misfit("data.invalid", "kind", message=f"{stated.kind or 'Nothing'} is no proof that can be stated.")]
    if stated.kind not in COUNTED:
        return required(text=stated.text)
    if not is_looked_for(record.defect_kind):
        found.append(misfit("nc.measure.kind", "kind", kind=kind_words(record.defect_kind)))
    if stated.scope not in Scope.values:
        found.append(misfit("data.required", "scope"))
    elif stated.scope != Scope.EVERYWHERE and getattr(record, f"{stated.scope}_id") is None:
        found.append(misfit("nc.measure.scope", "scope", number=record.number, scope=stated.scope))
    if stated.kind == MeasureKind.DATE:
        if stated.until is None or stated.until <= on or stated.until == date.max:
            found.append(misfit("nc.measure.until", "until"))
    elif stated.target is None or stated.target < 1:
        found.append(misfit("nc.measure.target", "target", kind=stated.kind))
    return found


def state_measure(*, record: Nonconformance, stated: MeasureInput, by: Person, at: datetime) -> EffectMeasure:
    """Decide beforehand what will prove that it worked. Counting begins now or, where that is later, with the last action done."""
    findings = permission_findings(by, Deed.WORK_ON_NONCONFORMANCE)
    with transaction.atomic():
        record = locked(record)
        refuse_if(findings + open_findings(record) + measure_findings(record, stated, shop_day(at)))
        counts = stated.kind in COUNTED
        row = EffectMeasure(
            nonconformance=record,
            kind=stated.kind,
            scope=stated.scope if counts else "",
            target=stated.target if stated.kind in (MeasureKind.PIECES, MeasureKind.BATCHES) else None,
            until=stated.until if stated.kind == MeasureKind.DATE else None,
            text=stated.text.strip(),
            by=by,
            at=at,
        )
        clean(row)
        row.save(force_insert=True)
        content = {"number": record.number} | measure_content(row)
        publish(MeasureStated(by=by, at=at, subject=subject_of(record), content=content))
    return row


def measure_content(measure: EffectMeasure) -> dict[str, Any]:
    return {name: getattr(measure, name) for name in ("kind", "scope", "target", "until", "text")}


def standing_measure(record: Nonconformance) -> EffectMeasure | None:
    """The measure that counts: the newest, and after a reopening only one stated since: what was proven before did not hold."""
    rows = record.measures.select_related("check_made__by", "by")
    rows = rows.filter(at__gte=record.reopened_at) if record.reopened_at else rows
    return rows.order_by("-pk").first()


def counted_from(record: Nonconformance, measure: EffectMeasure, actions: Iterable[CorrectiveAction]) -> datetime | None:
    """From when the effect is counted: the measure was stated and every action has ended. None: not yet."""
    standing = since_reopening(record, actions)
    ends = [action.ended_at for action in standing if action.result == ActionResult.DONE and action.ended_at is not None]
    if not ends or any(not action.result for action in actions):
        return None
    return max([measure.at, *ends])


def since_reopening(record: Nonconformance, actions: Iterable[CorrectiveAction]) -> list[CorrectiveAction]:
    return [action for action in actions if record.reopened_at is None or action.stated_at >= record.reopened_at]


def effect_of(record: Nonconformance, measure: EffectMeasure, since: datetime, at: datetime) -> Effect | None:
    """What the shop's samples say about a measure that is counted; None for one that people or a study answer."""
    if measure.kind not in COUNTED:
        return None
    thing = None if measure.scope == Scope.EVERYWHERE else getattr(record, f"{measure.scope}_id")
    return effect(
        COUNTED[measure.kind],
        runs_since(record.defect_kind, measure.scope, thing, since),
        target=measure.target or 0,
        until=_end_of(measure.until) if measure.until else None,
        at=at,
        reported=reported_since(record, measure.scope, since),
    )


def _end_of(day: date) -> datetime:
    return midnight(date.fromordinal(day.toordinal() + 1))


@dataclass(frozen=True, slots=True)
class VerifyInput:
    """text: what was seen. study: its number, for a measure that a study answers; worked: for one answered in words."""

    text: str
    worked: bool | None = None
    study: str = ""


def verify_effect(*, record: Nonconformance, stated: VerifyInput, by: Person, at: datetime, signing: Signing) -> EffectCheck:
    """Hold what is on record against the measure and sign what came out: it worked, or it did not. Raises Refused."""
    findings = permission_findings(by, Deed.VERIFY_EFFECT) + signing_findings(signing, by, VERIFIED_MEANING) + required(text=stated.text)
    with transaction.atomic():
        record = locked(record)
        measure, actions = standing_measure(record), list(record.actions.select_related("responsible"))
        findings += open_findings(record)
        if measure is None:
            refuse_if([*findings, misfit("nc.effect.none")])
            raise AssertionError("the refusal above is always one")
        findings += verify_findings(record, measure, actions, by)
        since = counted_from(record, measure, actions)
        refuse_if(findings)
        if since is None:
            raise AssertionError("actions that are not done were refused")
        worked, figures, study, further = _answered(record, measure, stated, since, at)
        refuse_if(further)
        row = EffectCheck(measure=measure, worked=bool(worked), figures=figures, study=study, text=stated.text.strip(), by=by, at=at)
        clean(row)
        row.save(force_insert=True)
        content = {
            "number": record.number,
            "measure": measure_content(measure),
            "counted_from": since,
            "result": "worked" if row.worked else "did not work",
            "figures": figures,
            "study": study.number if study else "",
            "text": row.text,
        }
        publish(EffectVerified(by=by, at=at, subject=subject_of(record), content=content, signing=signing))
    return row


def verify_findings(
    record: Nonconformance, measure: EffectMeasure, actions: Sequence[CorrectiveAction], by: Person | None
) -> list[Finding]:
    """What stands against looking at the effect now. by: None where nobody in particular asks."""
    found = []
    made = getattr(measure, "check_made", None)
    if made is not None:
        found.append(misfit("nc.effect.made", day=shop_day(made.at).isoformat()))
    done = [action for action in since_reopening(record, actions) if action.result == ActionResult.DONE]
    waiting = [action for action in actions if not action.result]
    if waiting or not done:
        found.append(misfit("nc.effect.actions", open=len(waiting), done=len(done)))
    if by is not None:
        own = [action for action in done if by.pk in (action.ended_by_id, action.responsible_id)]
        found += [misfit("nc.effect.self", person=by.name, action=action.number) for action in own]
    return found


def _answered(
    record: Nonconformance, measure: EffectMeasure, stated: VerifyInput, since: datetime, at: datetime
) -> tuple[bool | None, dict[str, Any], Study | None, list[Finding]]:
    """What the measure answers: worked or not, the numbers, the study; or what is missing."""
    told = effect_of(record, measure, since, at)
    if told is not None:
        if told.answer in (Answer.WORKED, Answer.FAILED):
            return told.answer is Answer.WORKED, effect_figures(told), None, []
        return None, {}, None, [waiting_finding(measure, told)]
    if measure.kind == MeasureKind.TEXT:
        return stated.worked, {}, None, required(worked="" if stated.worked is None else "stated")
    study = Study.objects.filter(number=stated.study.strip()).first() if stated.study.strip() else None
    if study is None:
        why = "there is none of this number."
    elif study.state != StudyState.SIGNED or study.closed_at is None:
        why = f"it is {study.state}."
    elif study.closed_at <= since:
        why = "it was concluded before the actions were done."
    elif study.outcome not in ("conforms", "does not conform"):
        why = "it cannot decide."
    else:
        return study.outcome == "conforms", {"study": study.number, "outcome": study.outcome}, study, []
    return None, {}, None, [misfit("nc.effect.study", "study", study=stated.study.strip() or "–", why=why)]


def waiting_finding(measure: EffectMeasure, told: Effect) -> Finding:
    verdict = Verdict.UNDECIDABLE if told.answer is Answer.UNDECIDED else Verdict.MISFIT
    wanted = f"No finding until {measure.until}." if measure.until else f"No finding in {measure.target} {measure.kind}."
    compared: dict[str, Decimal | int | str] = {"pieces": told.pieces, "batches": told.batches, "looks": told.looks, "expected": wanted}
    return Finding("nc.effect.waiting", verdict, "", compared)


def effect_figures(told: Effect) -> dict[str, Any]:
    return {
        "answer": told.answer.value,
        "pieces": told.pieces,
        "batches": told.batches,
        "samples": told.looks,
        "findings": told.findings,
        "first_found_in": told.first,
        "reported": told.reported,
    }


# --- Closing ---------------------------------------------------------------------------------------------------------------------


def touched_batches(record: Nonconformance) -> list[Batch]:
    """Batches it is about: its own, and those of holds and batches added to it."""
    keys = {record.batch_id} if record.batch_id else set()
    links = list(record.links.all())
    keys |= {link.subject_id for link in links if link.kind == LinkKind.BATCH}
    holds = [link.subject_id for link in links if link.kind == LinkKind.HOLD]
    keys |= set(Hold.objects.filter(pk__in=holds).values_list("batch", flat=True)) if holds else set()
    return list(Batch.objects.filter(pk__in=keys).order_by("pk")) if keys else []


def material_findings(record: Nonconformance) -> list[Finding]:
    """What is still open with the pieces themselves."""
    batches = touched_batches(record)
    holds = Hold.objects.filter(batch__in=batches, decided_at__isnull=True).select_related("batch").order_by("pk")
    found = [misfit("nc.close.hold", batch=hold.batch.number) for hold in holds]
    found += [misfit("nc.close.held", batch=batch.number, left=left) for batch in batches if (left := held_left(batch)) > 0]
    for check in OPEN_CHECKS:
        found += check(record)
    return found


def closing_findings(record: Nonconformance) -> list[Finding]:
    """Everything that is still open, with a finding each."""
    actions = list(record.actions.select_related("responsible"))
    since = " since it was reopened" if record.reopened_at else ""
    found = [] if record.causes.exists() else [misfit("nc.close.cause")]
    found += _open_actions(actions)
    done = [action for action in since_reopening(record, actions) if action.result == ActionResult.DONE]
    if not done and all(action.result for action in actions):
        found.append(misfit("nc.close.actions", since=since))
    measure = standing_measure(record)
    check = getattr(measure, "check_made", None)
    if measure is None:
        found.append(misfit("nc.close.measure", since=since))
    elif check is None:
        found.append(misfit("nc.close.proof"))
    elif not check.worked:
        found.append(misfit("nc.close.failed", day=shop_day(check.at).isoformat()))
    return found + material_findings(record)


def _open_actions(actions: Iterable[CorrectiveAction]) -> list[Finding]:
    return [
        misfit("nc.close.action", action=a.number, what=a.what, person=a.responsible.name, due=a.due_on.isoformat())
        for a in actions
        if not a.result
    ]


def correction_findings(record: Nonconformance) -> list[Finding]:
    """What stands against closing without a corrective action."""
    kept = since_reopening(record, record.actions.exclude(result=ActionResult.DROPPED))
    return ([misfit("nc.close.has_actions", number=record.number)] if kept else []) + material_findings(record)


def close_nonconformance(
    *, record: Nonconformance, conclusion: str = "", without_action_because: str = "", by: Person, at: datetime, signing: Signing
) -> Closing:
    """Close it, signed by quality: with cause, action and proof; or, where `without_action_because` says why, with a correction only."""
    findings = permission_findings(by, Deed.CLOSE_NONCONFORMANCE) + signing_findings(signing, by, CLOSED_MEANING)
    because = without_action_because.strip()
    with transaction.atomic():
        record = locked(record)
        findings += open_findings(record)
        findings += correction_findings(record) if because else closing_findings(record) + required(conclusion=conclusion)
        refuse_if(findings)
        row = Closing(nonconformance=record, conclusion=conclusion.strip(), without_action_because=because, by=by, at=at)
        clean(row)
        row.save(force_insert=True)
        record.state, record.closed_at = NonconformanceState.CLOSED, at
        record.save(update_fields=["state", "closed_at"])
        content = {
            "number": record.number,
            "conclusion": row.conclusion,
            "without_action_because": because,
            "actions": [{"action": a.number, "what": a.what, "result": a.result} for a in record.actions.all()],
        }
        publish(NonconformanceClosed(by=by, at=at, subject=subject_of(record), content=content, signing=signing))
    return row


def reopen_nonconformance(*, record: Nonconformance, reason: str, by: Person, at: datetime) -> Nonconformance:
    """Quality opens a closed one again: what was proven before did not hold, so that actions and proof begin anew. Raises Refused."""
    findings = permission_findings(by, Deed.CLOSE_NONCONFORMANCE) + required(reason=reason)
    with transaction.atomic():
        record = locked(record)
        if record.is_open:
            findings.append(misfit("nc.open", number=record.number))
        refuse_if(findings)
        last = record.closings.get(reopened_at__isnull=True)
        last.reopened_because, last.reopened_by, last.reopened_at = reason.strip(), by, at
        clean(last)
        last.save(update_fields=["reopened_because", "reopened_by", "reopened_at"])
        record.state, record.closed_at, record.reopened_at = NonconformanceState.OPEN, None, at
        record.save(update_fields=["state", "closed_at", "reopened_at"])
        content = {"number": record.number, "reason": last.reopened_because}
        publish(NonconformanceReopened(by=by, at=at, subject=subject_of(record), content=content))
    return record
