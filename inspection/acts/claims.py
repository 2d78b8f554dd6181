"""Signatures given without the network: claimed by badge, confirmed or disowned by the person with their PIN."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

from django.db import transaction
from django.utils import timezone

from inspection.acts.batches import locked_batch
from inspection.acts.holds import put_on_hold
from inspection.events import SignatureClaimed, SignatureConfirmed, SignatureDisowned
from inspection.models import BatchStatus, ClaimAnswer, ClaimedSignature, Sample, SampleState
from shop.canonical import content_sha256, plain
from shop.events import Signing, publish
from shop.finding import Finding, misfit, refuse_if
from shop.people import Person
from shop.sign_on import signing_findings

DISOWNED_MEANING = "not my signature"


@dataclass(frozen=True, slots=True)
class Claim:
    """Stands where a signature would: the tablet had no network. recorded_at: when the server got to know."""

    recorded_at: datetime


def claim_signature(
    claim: Claim | None, *, sample: Sample, person: Person, meaning: str, content: Mapping[str, Any], at: datetime
) -> ClaimedSignature | None:
    """Part of an act that needs a signature; the caller is in a transaction. Nothing where there is a real one."""
    if claim is None:
        return None
    row = ClaimedSignature.objects.create(
        sample=sample,
        person=person,
        meaning=meaning,
        content=plain(content),
        content_sha256=content_sha256(content),
        made_at=at,
        recorded_at=claim.recorded_at,
    )
    told = {"batch": sample.batch.number, "sample": sample.number, "meaning": meaning, "person": person.name, "made_at": at}
    subject = ("sample", sample.pk, str(sample))
    publish(SignatureClaimed(by=person, at=claim.recorded_at, subject=subject, content=told | {"content_sha256": row.content_sha256}))
    return row


def stamp(at: datetime) -> str:
    """A moment as it stands in a signature: in the shop's zone, to the minute."""
    return timezone.localtime(at, timezone.get_default_timezone()).strftime("%Y-%m-%d %H:%M")


def confirm_signature(*, claim: ClaimedSignature, by: Person, at: datetime, signing: Signing, seen_sha256: str) -> ClaimAnswer:
    """The person signs with their PIN what they signed without the network: the same content, the same meaning."""
    with transaction.atomic():
        claim, findings = _open_claim(claim, by, signing, claim.meaning)
        if claim.content_sha256 != seen_sha256 or content_sha256(claim.content) != claim.content_sha256:
            findings.append(misfit("sign.stale"))
        refuse_if(findings)
        answer = ClaimAnswer.objects.create(claim=claim, confirmed=True, by=by, at=at)
        # The signature itself says when it was given and when it was confirmed; documents print it.
        how = f"{signing.how}; given without network {stamp(claim.made_at)}, confirmed {stamp(at)}"
        subject = ("sample", claim.sample_id, str(claim.sample))
        publish(SignatureConfirmed(by=by, at=at, subject=subject, content=claim.content, signing=replace(signing, how=how[:300])))
    return answer


def disown_signature(*, claim: ClaimedSignature, reason: str, by: Person, at: datetime, signing: Signing) -> ClaimAnswer:
    """The person did not sign: the sample does not count, the run stops, and what was made since the last good sample is suspect."""
    with transaction.atomic():
        claim, findings = _open_claim(claim, by, signing, DISOWNED_MEANING)
        if not reason.strip():
            findings.append(misfit("hold.reason", "reason"))
        refuse_if(findings)
        answer = ClaimAnswer.objects.create(claim=claim, confirmed=False, reason=reason.strip()[:300], by=by, at=at)
        sample = claim.sample
        if sample.state != SampleState.REJECTED:
            sample.state, sample.concluded_at = SampleState.REJECTED, at
            sample.save(update_fields=["state", "concluded_at"])
        content = {
            "batch": sample.batch.number,
            "sample": sample.number,
            "meaning": claim.meaning,
            "made_at": claim.made_at,
            "content_sha256": claim.content_sha256,
            "reason": answer.reason,
        }
        publish(SignatureDisowned(by=by, at=at, subject=("sample", sample.pk, str(sample)), content=content, signing=signing))
        if sample.batch.status not in (BatchStatus.ON_HOLD, BatchStatus.CLOSED):
            why = f"{by.name}: {DISOWNED_MEANING} ({claim.meaning}, sample {sample.number}). {answer.reason}"
            put_on_hold(batch=sample.batch, sample=sample, reason=why[:300], by=by, at=at)
    return answer


def _open_claim(claim: ClaimedSignature, by: Person, signing: Signing, meaning: str) -> tuple[ClaimedSignature, list[Finding]]:
    """The claim with its batch locked, and what speaks against an answer by this person."""
    batch = locked_batch(claim.sample.batch)
    claim = ClaimedSignature.objects.select_related("sample", "person").get(pk=claim.pk)
    claim.sample.batch = batch
    findings = signing_findings(signing, by, meaning)
    if by.pk != claim.person_id:
        findings.append(misfit("claim.person", person=claim.person.name))
    if ClaimAnswer.objects.filter(claim=claim).exists():
        findings.append(misfit("claim.answered", person=claim.person.name))
    return claim, findings
