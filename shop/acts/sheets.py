"""What people do with jobs and setup sheets."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields
from datetime import date, datetime
from decimal import Decimal
from fractions import Fraction

from django.db import transaction
from django.db.models import F, Max

from shop.acts.filling import answered, as_written, copies_of, fill, stated_findings, write_all
from shop.canonical import content_sha256
from shop.clock import shop_day
from shop.crib import Press
from shop.events import (
    JobOpened,
    SheetArranged,
    SheetCommented,
    SheetDrafted,
    SheetReleased,
    SheetReturned,
    SheetSubmitted,
    SheetWithdrawn,
    Signing,
    TerminationPlanned,
    TerminationRemoved,
    TerminationsPlanned,
    publish,
)
from shop.finding import Finding, Refused, misfit, refuse_if
from shop.jobs import Customer, Job, ReviewComment, SetupSheet, SheetStatus, Termination, TerminationWire
from shop.materials import Terminal, Wire
from shop.people import Person
from shop.permissions import Deed, permission_findings
from shop.planning import blocking_of, conceded, concessions_on, live_concessions, plan_of_termination, sheet_checks
from shop.set_ups import arranged, key_of
from shop.sheet_content import sheet_content, termination_content
from shop.sign_on import signing_findings
from shop.tools import Tool
from shop.validation import clean

RELEASED_MEANING = "released"
WITHDRAWN_MEANING = "withdrawn"


def open_job(
    *,
    number: str,
    customer: Customer,
    part_number: str,
    part_name: str,
    drawing: str,
    drawing_revision: str,
    quantity: int,
    by: Person,
    at: datetime,
    purchase_order: str = "",
    due_on: date | None = None,
) -> Job:
    """Open a job. Raises Refused."""
    refuse_if(permission_findings(by, Deed.OPEN_JOB))
    job = Job(
        number=number,
        customer=customer,
        part_number=part_number,
        part_name=part_name,
        drawing=drawing,
        drawing_revision=drawing_revision,
        quantity=quantity,
        purchase_order=purchase_order,
        due_on=due_on,
    )
    with transaction.atomic():
        clean(job)
        job.save(force_insert=True)
        content = {
            "number": number,
            "customer": customer.code,
            "part_number": part_number,
            "drawing": drawing,
            "drawing_revision": drawing_revision,
            "quantity": quantity,
        }
        publish(JobOpened(by=by, at=at, subject=("job", job.pk, job.number), content=content))
    return job


def draft_sheet(*, job: Job, by: Person, at: datetime) -> SetupSheet:
    """Start the first revision of a new sheet for a job."""
    refuse_if(permission_findings(by, Deed.DRAFT_SHEET))
    with transaction.atomic():
        job = Job.objects.select_for_update().get(pk=job.pk)  # two planners must not draw the same number
        count = job.sheets.values("number").distinct().count()
        sheet = SetupSheet(job=job, number=f"{job.number}-S{count + 1}", revision=1, author=by, drafted_at=at)
        clean(sheet)
        sheet.save(force_insert=True)
        publish(SheetDrafted(by=by, at=at, subject=_subject(sheet), content={"job": job.number, "revision": 1, "reason": ""}))
    return sheet


@dataclass(frozen=True, slots=True)
class TerminationInput:
    """What a planner states about a termination; the rest is computed."""

    lead: str
    end: str
    terminal: Terminal
    wires: Sequence[Wire]
    quantity: int
    circuit: str = ""
    tool: Tool | None = None
    press: Press | None = None
    dipped_end: bool = False
    wire_length_mm: Decimal | None = None
    required_temperature_c: int | None = None
    required_voltage_v: int | None = None
    required_current_a: Decimal | None = None
    first_piece_heights: int = 5
    first_piece_pulls: int = 3
    sample_every: int = 250
    sample_every_minutes: int | None = None
    sample_size: int = 1
    cross_sections: int = 0
    last_piece_pulls: int = 1
    inspector_signs: bool = False
    rework_allowed: bool = False


STATED = tuple(field.name for field in fields(TerminationInput) if field.name != "wires")
"""Stated as it stands in the termination; the wires have rows of their own."""


def plan_termination(
    *, sheet: SetupSheet, stated: TerminationInput, by: Person, at: datetime, termination: Termination | None = None
) -> Termination:
    """Add a termination to a draft, or change one. A misfit is refused; only the tool may be left open until submission."""
    refuse_if(permission_findings(by, Deed.DRAFT_SHEET))
    with transaction.atomic():
        sheet = SetupSheet.objects.select_for_update().get(pk=sheet.pk)
        refuse_if(_status_findings(sheet, SheetStatus.DRAFT))
        before = termination_content(termination) if termination else None
        if termination is None:
            last = sheet.terminations.aggregate(last=Max("position"))["last"] or 0
            termination = Termination(sheet=sheet, position=last + 1)
        for name in STATED:
            setattr(termination, name, getattr(stated, name))
        _fill(termination, stated.wires, shop_day(at))
        clean(termination)
        termination.save()
        # The wires of a draft may be replaced; a released sheet's rows are never touched again.
        termination.termination_wires.all().delete()
        TerminationWire.objects.bulk_create(
            TerminationWire(termination=termination, wire=wire, position=i) for i, wire in enumerate(stated.wires, start=1)
        )
        termination = Termination.objects.get(pk=termination.pk)
        content = {"before": before, "after": termination_content(termination)}
        publish(TerminationPlanned(by=by, at=at, subject=_subject(sheet), content=content))
    return termination


def _fill(termination: Termination, wires: Sequence[Wire], on: date) -> None:
    """Hold the choice against the rules, refuse a misfit that no concession lets through, and copy the targets in force."""
    plan = plan_of_termination(termination, wires, on)
    concessions = concessions_on(live_concessions([termination.sheet_id], on), termination)
    refuse_if([*conceded(plan.findings, concessions), *stated_findings(termination)])
    fill(termination, wires, plan, answered([plan]))


def remove_termination(*, termination: Termination, by: Person, at: datetime) -> None:
    """Take a termination out of a draft."""
    refuse_if(permission_findings(by, Deed.DRAFT_SHEET))
    with transaction.atomic():
        sheet = SetupSheet.objects.select_for_update().get(pk=termination.sheet_id)
        refuse_if(_status_findings(sheet, SheetStatus.DRAFT))
        content = {"removed": termination_content(termination)}
        termination.termination_wires.all().delete()
        termination.plan_lines.all().delete()
        termination.delete()
        publish(TerminationRemoved(by=by, at=at, subject=_subject(sheet), content=content))


def submit_sheet(*, sheet: SetupSheet, by: Person, at: datetime) -> SetupSheet:
    """Hand a draft to review. Refused with every misfit of every termination."""
    refuse_if(permission_findings(by, Deed.DRAFT_SHEET))
    with transaction.atomic():
        sheet = SetupSheet.objects.select_for_update().get(pk=sheet.pk)
        refuse_if(_status_findings(sheet, SheetStatus.DRAFT) + _fit_findings(sheet, shop_day(at)))
        sheet.status, sheet.submitted_at = SheetStatus.IN_REVIEW, at
        clean(sheet)
        sheet.save(update_fields=["status", "submitted_at"])
        content = {"revision": sheet.revision, "content_sha256": content_sha256(sheet_content(sheet))}
        publish(SheetSubmitted(by=by, at=at, subject=_subject(sheet), content=content))
    return sheet


def return_sheet(*, sheet: SetupSheet, comment: str, by: Person, at: datetime) -> SetupSheet:
    """Send a sheet in review back to its author with a comment."""
    refuse_if(permission_findings(by, Deed.RELEASE_SHEET))
    with transaction.atomic():
        sheet = SetupSheet.objects.select_for_update().get(pk=sheet.pk)
        findings = _status_findings(sheet, SheetStatus.IN_REVIEW)
        if not comment.strip():
            findings.append(misfit("sheet.reason", "comment"))
        refuse_if(findings)
        sheet.status = SheetStatus.DRAFT
        sheet.save(update_fields=["status"])
        ReviewComment.objects.create(sheet=sheet, by=by, at=at, text=comment.strip())
        publish(SheetReturned(by=by, at=at, subject=_subject(sheet), content={"revision": sheet.revision, "comment": comment.strip()}))
    return sheet


def comment_on_sheet(*, sheet: SetupSheet, text: str, by: Person, at: datetime) -> ReviewComment:
    """Say something about a sheet that is drafted or in review, without returning it."""
    refuse_if(permission_findings(by, Deed.RELEASE_SHEET))
    with transaction.atomic():
        sheet = SetupSheet.objects.select_for_update().get(pk=sheet.pk)
        findings = _status_findings(sheet, SheetStatus.DRAFT, SheetStatus.IN_REVIEW)
        if not text.strip():
            findings.append(misfit("sheet.comment", "text"))
        refuse_if(findings)
        comment = ReviewComment(sheet=sheet, by=by, at=at, text=text.strip())
        clean(comment)
        comment.save(force_insert=True)
        publish(SheetCommented(by=by, at=at, subject=_subject(sheet), content={"revision": sheet.revision, "comment": comment.text}))
    return comment


def arrange_sheet(*, sheet: SetupSheet, by: Person, at: datetime) -> SetupSheet:
    """Put the terminations of a draft in the order of their set-ups, so that each tool is set once."""
    refuse_if(permission_findings(by, Deed.DRAFT_SHEET))
    with transaction.atomic():
        sheet = SetupSheet.objects.select_for_update().get(pk=sheet.pk)
        refuse_if(_status_findings(sheet, SheetStatus.DRAFT))
        terminations = as_written(sheet)
        order = [terminations[place] for place in arranged([key_of(termination_content(t)) for t in terminations])]
        if order != terminations:
            # A position stands once in a sheet at every moment: all of them step out of the way first.
            sheet.terminations.update(position=F("position") + max(t.position for t in terminations) + len(order))
            for position, termination in enumerate(order, start=1):
                termination.position = position
            Termination.objects.bulk_update(order, ["position"], batch_size=200)
            content = {"order": [f"{t.lead} {t.end}" for t in order]}
            publish(SheetArranged(by=by, at=at, subject=_subject(sheet), content=content))
    return sheet


def copy_sheet(*, sheet: SetupSheet, job: Job, by: Person, at: datetime) -> SetupSheet:
    """Draft a sheet for another job with the same terminations: pieces for its harnesses, targets of the specifications in force now.

    What does not fit any more comes along as it was; the draft's checks name it, and it is not released so. Concessions stay behind.
    """
    refuse_if(permission_findings(by, Deed.DRAFT_SHEET))
    with transaction.atomic():
        copies = copies_of(sheet, shop_day(at), times=Fraction(job.quantity, sheet.job.quantity))
        if not copies:
            raise Refused([misfit("sheet.empty", sheet=str(sheet))])
        draft = draft_sheet(job=job, by=by, at=at)
        write_all(draft, copies)
        content = {"source": {"sheet": str(sheet)}, "terminations": [termination_content(t) for t in as_written(draft)]}
        publish(TerminationsPlanned(by=by, at=at, subject=_subject(draft), content=content))
    return draft


def release_sheet(*, sheet: SetupSheet, by: Person, at: datetime, signing: Signing, seen_sha256: str) -> SetupSheet:
    """Put `sheet` in force and supersede the revision before it. Raises Refused.

    seen_sha256: the hash of the content the approver saw; a sheet changed meanwhile is not signed.
    """
    with transaction.atomic():
        sheet = SetupSheet.objects.select_for_update().get(pk=sheet.pk)  # decide on the locked row, not on the one the page read
        content = sheet_content(sheet)
        findings = permission_findings(by, Deed.RELEASE_SHEET) + signing_findings(signing, by, RELEASED_MEANING)
        findings += _status_findings(sheet, SheetStatus.IN_REVIEW)
        if sheet.author_id == by.pk:
            findings.append(misfit("sheet.release.author", person=by.name))
        if content_sha256(content) != seen_sha256:
            findings.append(misfit("sign.stale"))
        refuse_if(findings + _fit_findings(sheet, shop_day(at)))
        SetupSheet.objects.in_force().filter(number=sheet.number).update(status=SheetStatus.SUPERSEDED)
        sheet.status, sheet.released_at, sheet.released_by = SheetStatus.RELEASED, at, by
        clean(sheet)
        sheet.save(update_fields=["status", "released_at", "released_by"])
        publish(SheetReleased(by=by, at=at, subject=_subject(sheet), content=content, signing=signing))
    return sheet


def revise_sheet(*, sheet: SetupSheet, reason: str, by: Person, at: datetime) -> SetupSheet:
    """Start the next revision as a draft: a copy, with the targets of the specifications in force now. The old one stays in force."""
    findings = permission_findings(by, Deed.DRAFT_SHEET)
    if not reason.strip():
        findings.append(misfit("sheet.reason", "reason"))
    refuse_if(findings)
    with transaction.atomic():
        sheet = SetupSheet.objects.select_for_update().get(pk=sheet.pk)
        refuse_if(_status_findings(sheet, SheetStatus.RELEASED, SheetStatus.WITHDRAWN))
        last = SetupSheet.objects.filter(number=sheet.number).aggregate(last=Max("revision"))["last"]
        draft = SetupSheet(
            job=sheet.job,
            number=sheet.number,
            revision=last + 1,
            author=by,
            drafted_at=at,
            change_reason=reason.strip(),
            supersedes=sheet,
        )
        clean(draft)
        draft.save(force_insert=True)
        write_all(draft, copies_of(sheet, shop_day(at)))
        content = {"job": sheet.job.number, "revision": draft.revision, "reason": draft.change_reason}
        publish(SheetDrafted(by=by, at=at, subject=_subject(draft), content=content))
    return draft


def withdraw_sheet(*, sheet: SetupSheet, reason: str, by: Person, at: datetime, signing: Signing) -> SetupSheet:
    """Take a released sheet out of force without a successor. No batch starts on it any more."""
    with transaction.atomic():
        sheet = SetupSheet.objects.select_for_update().get(pk=sheet.pk)
        findings = permission_findings(by, Deed.RELEASE_SHEET) + signing_findings(signing, by, WITHDRAWN_MEANING)
        findings += _status_findings(sheet, SheetStatus.RELEASED)
        if not reason.strip():
            findings.append(misfit("sheet.reason", "reason"))
        refuse_if(findings)
        sheet.status = SheetStatus.WITHDRAWN
        sheet.save(update_fields=["status"])
        content = {"sheet": sheet.number, "revision": sheet.revision, "reason": reason.strip()}
        publish(SheetWithdrawn(by=by, at=at, subject=_subject(sheet), content=content, signing=signing))
    return sheet


def _subject(sheet: SetupSheet) -> tuple[str, int, str]:
    return ("setup sheet", sheet.pk, str(sheet))


def _status_findings(sheet: SetupSheet, *needed: SheetStatus) -> list[Finding]:
    if sheet.status in needed:
        return []
    return [misfit("sheet.status", sheet=str(sheet), status=sheet.status, needed=" or ".join(s.value for s in needed))]


def _fit_findings(sheet: SetupSheet, on: date) -> list[Finding]:
    checks = sheet_checks(sheet, on)
    if not checks:
        return [misfit("sheet.empty", sheet=str(sheet))]
    return blocking_of(checks)
