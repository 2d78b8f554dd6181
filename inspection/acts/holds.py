"""Stopping a run, and what quality decides about it."""

from __future__ import annotations

from datetime import datetime

from django.db import transaction
from django.db.models import Max

from inspection.acts.batches import batch_subject, locked_batch, status_findings
from inspection.events import HoldDecided, HoldRaised
from inspection.models import Batch, BatchStatus, Hold, HoldDecision, Sample, SampleState
from shop.events import Signing, publish
from shop.finding import misfit, refuse_if
from shop.people import Person
from shop.permissions import Deed, permission_findings
from shop.sign_on import signing_findings

DECIDED_MEANING = "decided on hold"


def last_good_count(batch: Batch) -> int:
    """The piece count of the last accepted sample: everything after it is suspect."""
    return batch.samples.filter(state=SampleState.ACCEPTED).aggregate(n=Max("at_count"))["n"] or 0


def put_on_hold(*, batch: Batch, sample: Sample | None, reason: str, by: Person, at: datetime) -> Hold:
    """Part of an act that rejects: stops the batch and names the suspect pieces. The caller holds the lock on the batch."""
    hold = Hold.objects.create(
        batch=batch,
        sample=sample,
        reason=reason,
        suspect_from=last_good_count(batch),
        suspect_to=max(batch.last_count, sample.at_count if sample else 0),
        raised_by=by,
        raised_at=at,
    )
    batch.status = BatchStatus.ON_HOLD
    batch.save(update_fields=["status"])
    content = {
        "batch": batch.number,
        "sample": sample.number if sample else None,
        "reason": reason,
        "suspect_from": hold.suspect_from,
        "suspect_to": hold.suspect_to,
    }
    publish(HoldRaised(by=by, at=at, subject=batch_subject(batch), content=content))
    return hold


def raise_hold(*, batch: Batch, reason: str, at_count: int, by: Person, at: datetime) -> Hold:
    """Anybody at the press who sees something wrong stops the run."""
    with transaction.atomic():
        batch = locked_batch(batch)
        findings = status_findings(batch, BatchStatus.FIRST_PIECE, BatchStatus.RUNNING, BatchStatus.CLOSING)
        if not (permission_findings(by, Deed.RUN_BATCH) == [] or permission_findings(by, Deed.DECIDE_HOLD) == []):
            findings += permission_findings(by, Deed.RUN_BATCH)
        if not reason.strip():
            findings.append(misfit("hold.reason", "reason"))
        if at_count < batch.last_count:
            findings.append(misfit("batch.counts.below", "at_count", made=at_count, last=batch.last_count))
        refuse_if(findings)
        open_sample = batch.samples.filter(state__in=[SampleState.OPEN, SampleState.WAITS_FOR_INSPECTOR]).first()
        if open_sample:
            open_sample.state, open_sample.concluded_at = SampleState.REJECTED, at
            open_sample.save(update_fields=["state", "concluded_at"])
        batch.last_count = at_count
        batch.save(update_fields=["last_count"])
        return put_on_hold(batch=batch, sample=open_sample, reason=reason.strip(), by=by, at=at)


def decide_hold(
    *, hold: Hold, decision: str, reason: str, scrapped: int, kept_held: int, by: Person, at: datetime, signing: Signing
) -> Hold:
    """Quality decides: go on with a new first piece, or end the batch; and what becomes of the suspect pieces."""
    with transaction.atomic():
        batch = locked_batch(hold.batch)
        hold = Hold.objects.select_for_update().get(pk=hold.pk)
        findings = permission_findings(by, Deed.DECIDE_HOLD) + signing_findings(signing, by, DECIDED_MEANING)
        if hold.decided_at is not None or batch.status != BatchStatus.ON_HOLD:
            findings.append(misfit("hold.none", batch=batch.number))
        if not reason.strip():
            findings.append(misfit("hold.reason", "reason"))
        if decision not in HoldDecision.values:
            findings.append(misfit("data.invalid", "decision", message=f"{decision} is not a decision."))
        if hold.raised_by_id == by.pk and hold.sample is not None and hold.sample.taken_by_id == by.pk:
            findings.append(misfit("hold.self", person=by.name))
        if min(scrapped, kept_held) < 0 or scrapped + kept_held > hold.suspect_quantity:
            findings.append(misfit("hold.quantity", "scrapped", scrapped=scrapped, kept=kept_held, suspect=hold.suspect_quantity))
        refuse_if(findings)
        hold.decision, hold.decision_reason, hold.scrapped, hold.kept_held = decision, reason.strip(), scrapped, kept_held
        hold.decided_by, hold.decided_at = by, at
        hold.save()
        if decision == HoldDecision.RESUME:
            batch.status = BatchStatus.FIRST_PIECE
            batch.setup_number += 1
        else:
            batch.status = BatchStatus.CLOSING
        batch.save(update_fields=["status", "setup_number"])
        content = {
            "batch": batch.number,
            "hold_reason": hold.reason,
            "suspect_from": hold.suspect_from,
            "suspect_to": hold.suspect_to,
            "decision": decision,
            "decision_reason": hold.decision_reason,
            "scrapped": scrapped,
            "kept_held": kept_held,
        }
        publish(HoldDecided(by=by, at=at, subject=batch_subject(batch), content=content, signing=signing))
    return hold
