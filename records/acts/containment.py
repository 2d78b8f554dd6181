"""Containment: everything suspect is put on hold in one signed act, worked through line by line, and closed when nothing is open."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from django.db import transaction
from django.db.models import Sum

from inspection.acts.batches import locked_batch
from inspection.acts.dispositions import DispositionInput, disposition_findings
from inspection.acts.holds import put_on_hold
from inspection.models import Batch, BatchStatus, SampleState
from records.acts.lots import locked_lots
from records.balances import pieces_left
from records.containment import Line, Questioned, suspects
from records.events import ContainmentClosed, ContainmentOpened, SuspectDecided
from records.models import (
    Containment,
    HarnessLot,
    LotLoss,
    LotPart,
    PartOf,
    Shipment,
    Suspect,
    SuspectDecision,
    SuspectDecisionKind,
    SuspectPlace,
)
from shop.acts.concessions import use_concessions
from shop.concessions import Concession
from shop.events import Signing, publish
from shop.finding import Finding, misfit, refuse_if
from shop.people import Person
from shop.permissions import Deed, permission_findings
from shop.sign_on import signing_findings
from shop.validation import clean

OPENED_MEANING = "suspects put on hold"
DECIDED_MEANING = "decision on suspects"
CLOSED_MEANING = "containment closed"

K = SuspectDecisionKind
ALLOWED: dict[str, tuple[SuspectDecisionKind, ...]] = {
    SuspectPlace.IN_PROCESS: (K.FOUND_GOOD, K.COUNTED_OUT, K.SCRAP, K.REWORK, K.USE_AS_IS),
    SuspectPlace.PIECES: (K.FOUND_GOOD, K.SCRAP, K.REWORK, K.USE_AS_IS),
    SuspectPlace.STOCK: (K.FOUND_GOOD, K.SCRAP, K.REWORK),
    SuspectPlace.SHIPPED: (K.NOTIFIED, K.RETURNED, K.ACCEPTED, K.SCRAPPED_THERE),
}
"""What may be decided for a suspect in each place."""

# A run can be stopped from its first piece on; before that nothing was made, and a batch on hold is stopped already.
STOPPABLE = (BatchStatus.FIRST_PIECE, BatchStatus.RUNNING, BatchStatus.CLOSING)


def case_subject(case: Containment) -> tuple[str, int, str]:
    return ("containment case", case.pk, case.number)


def open_case(*, asked: Questioned, reason: str, shown: int, by: Person, at: datetime, signing: Signing) -> Containment:
    """Open a case and hold every suspect: no lot of them ships, no batch of them goes into a lot, running batches stop.

    shown: how many suspects the person saw when they signed; another number means they have to look again. Raises Refused.
    """
    findings = permission_findings(by, Deed.CONTAIN) + signing_findings(signing, by, OPENED_MEANING)
    if not reason.strip():
        findings.append(misfit("data.required", "reason"))
    with transaction.atomic():
        refuse_if(findings)
        first = suspects(asked)
        # Locked in one order, then looked at again: what was shipped or built in between must not slip through.
        lots = sorted({line.lot.pk for line in first if line.lot is not None})
        batches = sorted({line.batch.pk for line in first if line.batch is not None})
        list(Batch.objects.select_for_update().filter(pk__in=batches).order_by("pk").values_list("pk"))
        locked_lots(dict.fromkeys(lots, 0))
        lines = suspects(asked)
        if not lines:
            findings.append(misfit("containment.empty", subject=asked.name))
        elif len(lines) != shown:
            findings.append(misfit("containment.changed", "shown", shown=shown, found=len(lines)))
        refuse_if(findings)
        case = Containment(
            number=f"CC-{Containment.objects.count() + 1:04d}",
            question=asked.question,
            subject_id=asked.subject_id,
            subject_name=asked.name,
            since=asked.since,
            until=asked.until,
            since_count=asked.since_count,
            reason=reason.strip(),
            opened_by=by,
            opened_at=at,
        )
        clean(case)
        case.save(force_insert=True)
        Suspect.objects.bulk_create(
            Suspect(case=case, place=line.place, batch=line.batch, lot=line.lot, shipment=line.shipment, quantity=line.quantity)
            for line in lines
        )
        publish(ContainmentOpened(by=by, at=at, subject=case_subject(case), content=_opened(case, lines), signing=signing))
        for line in lines:
            if line.batch is not None and line.batch.status in STOPPABLE:
                _stop(line.batch, case, by, at)
    return case


def _opened(case: Containment, lines: list[Line]) -> dict[str, object]:
    return {
        "case": case.number,
        "question": case.question,
        "subject": case.subject_name,
        "since": case.since,
        "until": case.until,
        "since_count": case.since_count,
        "reason": case.reason,
        "suspects": [
            {
                "place": line.place,
                "batch": line.batch.number if line.batch else "",
                "lot": line.lot.number if line.lot else "",
                "shipment": line.shipment.number if line.shipment else "",
                "quantity": line.quantity,
            }
            for line in lines
        ],
    }


def _stop(batch: Batch, case: Containment, by: Person, at: datetime) -> None:
    """Stop a batch at its press, as anybody there could have done."""
    batch = locked_batch(batch)
    sample = batch.samples.filter(state__in=[SampleState.OPEN, SampleState.WAITS_FOR_INSPECTOR]).first()
    if sample is not None:
        sample.state, sample.concluded_at = SampleState.REJECTED, at
        sample.save(update_fields=["state", "concluded_at"])
    put_on_hold(batch=batch, sample=sample, reason=f"containment {case.number}: {case.reason}"[:300], by=by, at=at)


def settled(suspect: Suspect) -> int:
    """How many of a suspect are decided on."""
    return suspect.decisions.aggregate(n=Sum("quantity"))["n"] or 0


@dataclass(frozen=True, slots=True)
class DecisionInput:
    """What is decided. concession: its number, for use as is."""

    kind: str
    quantity: int
    note: str
    concession: str = ""


def decide_suspect(*, suspect: Suspect, stated: DecisionInput, by: Person, at: datetime, signing: Signing) -> SuspectDecision:
    """Decide on some of a suspect, or record that the customer was told. Raises Refused."""
    findings = permission_findings(by, Deed.CONTAIN) + signing_findings(signing, by, DECIDED_MEANING)
    with transaction.atomic():
        case = Containment.objects.select_for_update().get(pk=suspect.case_id)
        suspect = Suspect.objects.select_related("batch", "lot", "shipment__customer").get(pk=suspect.pk)
        if suspect.batch is not None:
            suspect.batch = locked_batch(suspect.batch)
        if suspect.lot is not None:
            locked_lots({suspect.lot.pk: 0})
        concession = Concession.objects.filter(number=stated.concession).first() if stated.concession else None
        refuse_if(findings + _decision_findings(case, suspect, stated, concession, at))
        row = SuspectDecision(
            suspect=suspect,
            kind=stated.kind,
            quantity=stated.quantity,
            note=stated.note.strip(),
            concession=concession if stated.kind == K.USE_AS_IS else None,
            by=by,
            at=at,
        )
        clean(row)
        row.save(force_insert=True)
        if suspect.lot is not None and row.kind == K.SCRAP:
            LotLoss.objects.create(lot=suspect.lot, quantity=row.quantity, reason=f"{case.number}: {row.note}"[:300], by=by, at=at)
        if row.concession is not None and suspect.batch is not None:
            use_concessions([row.concession.number], batch=f"{suspect.batch.number} {case.number}", quantity=row.quantity, at=at)
        content = {
            "case": case.number,
            "place": suspect.place,
            "thing": suspect.thing,
            "shipment": suspect.shipment.number if suspect.shipment else "",
            "kind": row.kind,
            "quantity": row.quantity,
            "note": row.note,
            "concession": row.concession.number if row.concession else "",
            "open": suspect.due - settled(suspect),
        }
        publish(SuspectDecided(by=by, at=at, subject=case_subject(case), content=content, signing=signing))
    return row


def _decision_findings(
    case: Containment, suspect: Suspect, stated: DecisionInput, concession: Concession | None, at: datetime
) -> list[Finding]:
    left = suspect.due - settled(suspect)
    found = []
    if case.closed_at is not None:
        found.append(misfit("containment.closed", case=case.number))
    kinds = ALLOWED[suspect.place]
    if stated.kind not in kinds:
        return [*found, misfit("containment.kind", "kind", kind=stated.kind, place=suspect.place, kinds=", ".join(k.value for k in kinds))]
    told = stated.kind == K.NOTIFIED
    if not (stated.quantity == 0 if told else 1 <= stated.quantity <= left):
        found.append(misfit("containment.quantity", "quantity", quantity=stated.quantity, left=0 if told else left, thing=suspect.thing))
    if not stated.note.strip():
        found.append(misfit("data.required", "note"))
    if suspect.batch is not None:
        found += _batch_findings(suspect, suspect.batch, stated, concession, at, left)
    if suspect.shipment is not None and suspect.lot is not None and stated.kind == K.RETURNED:
        found += _return_findings(suspect, suspect.shipment, suspect.lot, stated.quantity)
    return found


def _batch_findings(
    suspect: Suspect, batch: Batch, stated: DecisionInput, concession: Concession | None, at: datetime, left: int
) -> list[Finding]:
    if batch.status != BatchStatus.CLOSED:
        return [misfit("containment.running", batch=batch.number)]
    if stated.kind == K.COUNTED_OUT:
        said = suspect.decisions.filter(kind=K.COUNTED_OUT).aggregate(n=Sum("quantity"))["n"] or 0
        out = (batch.scrap or 0) + (batch.destroyed or 0) + (batch.held or 0) - said
        if stated.quantity > out:
            return [misfit("containment.counted", "quantity", quantity=stated.quantity, batch=batch.number, out=out)]
    if stated.kind == K.SCRAP and stated.quantity > pieces_left(batch):
        return [misfit("lot.batch.pieces", "quantity", asked=stated.quantity, batch=batch.number, left=pieces_left(batch))]
    if stated.kind in (K.REWORK, K.USE_AS_IS):
        same = DispositionInput(stated.kind, stated.quantity, stated.note, stated.concession)
        # What is missing or too many was said already; what is left are the plan's and the concession's own rules.
        known = ("disposition.quantity", "disposition.note")
        return [f for f in disposition_findings(batch, same, concession, at, left) if f.rule not in known]
    return []


def _return_findings(suspect: Suspect, shipment: Shipment, lot: HarnessLot, quantity: int) -> list[Finding]:
    """What is said to be back has been received, under a number of its own, where quality decides about it."""
    back = LotPart.objects.filter(kind=PartOf.RETURNED, shipment=shipment, used=lot).aggregate(n=Sum("quantity"))["n"] or 0
    said = suspect.decisions.filter(kind=K.RETURNED).aggregate(n=Sum("quantity"))["n"] or 0
    if quantity > back - said:
        return [
            misfit(
                "containment.returned", "quantity", quantity=quantity, lot=lot.number, back=max(back - said, 0), shipment=shipment.number
            )
        ]
    return []


def close_case(*, case: Containment, conclusion: str, by: Person, at: datetime, signing: Signing) -> Containment:
    """Close a case: everything is decided on and every customer who received suspects was told. Raises Refused."""
    findings = permission_findings(by, Deed.CONTAIN) + signing_findings(signing, by, CLOSED_MEANING)
    with transaction.atomic():
        case = Containment.objects.select_for_update().get(pk=case.pk)
        if case.closed_at is not None:
            findings.append(misfit("containment.closed", case=case.number))
        if not conclusion.strip():
            findings.append(misfit("data.required", "conclusion"))
        rows = list(case.suspects.select_related("batch", "lot", "shipment__customer").prefetch_related("decisions"))
        refuse_if(findings + open_findings(rows))
        sums: dict[str, int] = {}
        for row in rows:
            for decision in row.decisions.all():
                sums[decision.kind] = sums.get(decision.kind, 0) + decision.quantity
        case.conclusion, case.closed_by, case.closed_at = conclusion.strip(), by, at
        clean(case)
        case.save(update_fields=["conclusion", "closed_by", "closed_at"])
        content = {"case": case.number, "conclusion": case.conclusion, "suspects": len(rows), "decided": sums}
        publish(ContainmentClosed(by=by, at=at, subject=case_subject(case), content=content, signing=signing))
    return case


def open_findings(rows: list[Suspect]) -> list[Finding]:
    """What is still open of a case's suspects, their decisions read along."""
    found = []
    for row in rows:
        decisions = list(row.decisions.all())
        waiting = row.due - sum(d.quantity for d in decisions)
        running = row.batch is not None and row.batch.status != BatchStatus.CLOSED
        if waiting > 0 or running:
            found.append(misfit("containment.open", open=waiting, thing=row.thing, place=row.place))
        if row.shipment is not None and not any(d.kind == K.NOTIFIED for d in decisions):
            found.append(misfit("containment.notice", customer=row.shipment.customer.name, shipment=row.shipment.number))
    return found
