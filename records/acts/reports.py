"""Certificates, calibration status lists, audit trails, nonconformance reports: what quality certifies, what an auditor takes away."""

from __future__ import annotations

import json
from collections.abc import Mapping
from datetime import date, datetime
from typing import Any

from django.db import transaction

from inspection.models import Hold, Nonconformance
from records.acts.documents import Draft, issue_draft, not_yet, numbered
from records.balances import open_suspects
from records.events import ShipmentCertified
from records.gather.audit_trail import audit_trail_record
from records.gather.calibration import calibration_status
from records.gather.certificate import certificate_content
from records.gather.common import day, signature_contents
from records.gather.disposal import disposal_record
from records.gather.nonconformance import nonconformance_record
from records.keeping_models import Disposal
from records.models import DocumentKind, IssuedDocument, LedgerEntry, Shipment, Signature
from records.trace import lots_behind, parts_behind
from records.trails import Subject
from shop.canonical import content_sha256
from shop.clock import shop_day
from shop.events import Signing, publish
from shop.finding import Finding, Refused, misfit, refuse_if
from shop.language import in_the_shops_language
from shop.people import Person
from shop.permissions import Deed, permission_findings
from shop.sign_on import signing_findings
from shop.tools import GaugeKind

CERTIFIED_MEANING = "conformity certified"


def certificate_findings(shipment: Shipment) -> list[Finding]:
    """Nothing is certified while a batch behind it, through lots in lots, waits for a decision, or a containment case suspects it."""
    lots = [lot for lot, _quantity in lots_behind(shipment)]
    every = {lot.pk for lot in lots} | {part.used_id for part in parts_behind(lot.pk for lot in lots)}
    holds = Hold.objects.filter(batch__lot_batches__lot__in=every, decided_at__isnull=True).select_related("batch")
    found = [misfit("certificate.hold", shipment=shipment.number, batch=hold.batch.number) for hold in holds.distinct().order_by("pk")]
    cases = open_suspects().filter(shipment=shipment).order_by("case__number").values_list("case__number", flat=True).distinct()
    return found + [misfit("certificate.contained", shipment=shipment.number, case=number) for number in cases]


def certify_shipment(*, shipment: Shipment, by: Person, at: datetime, signing: Signing, seen_sha256: str) -> Mapping[str, Any]:
    """Quality certifies what a shipment is. seen_sha256: of the content that was shown; what changed meanwhile is not signed.

    What was signed stands in the ledger and is what `issue_certificate` prints.
    """
    with transaction.atomic():
        shipment = Shipment.objects.select_for_update(of=("self",)).select_related("customer", "shipped_by").get(pk=shipment.pk)
        content = certificate_content(shipment)
        findings = permission_findings(by, Deed.CERTIFY) + signing_findings(signing, by, CERTIFIED_MEANING)
        if content_sha256(content) != seen_sha256:
            findings.append(misfit("sign.stale"))
        refuse_if(findings + certificate_findings(shipment))
        subject = ("shipment", shipment.pk, shipment.number)
        publish(ShipmentCertified(by=by, at=at, subject=subject, content=content, signing=signing))
    return content


@in_the_shops_language
def issue_certificate(*, shipment: Shipment, by: Person, at: datetime) -> IssuedDocument:
    """The certificate as quality signed it last. Raises Refused where nobody has."""
    signatures = Signature.objects.filter(subject_kind="shipment", subject_id=shipment.pk, meaning=CERTIFIED_MEANING)
    last = signatures.order_by("-entry_id").first()
    if last is None:
        raise Refused([not_yet("certificate", shipment.number, "shipped", "A certificate is issued once quality has certified.")])
    content = json.loads(LedgerEntry.objects.get(pk=last.entry_id).text)["content"]
    record = content | {"signatures": signature_contents([last])}
    title = f"Certificate of conformity {shipment.number}"
    subject = ("shipment", shipment.pk, shipment.number)
    return issue_draft(Draft(DocumentKind.CERTIFICATE, subject, numbered("CC", shipment.number), "", title, record), by, at)


@in_the_shops_language
def issue_calibration_status(*, by: Person, at: datetime, on: date | None = None, kind: str = "") -> IssuedDocument:
    """How the gauges stand on a day, today unless stated. kind: of gauge, "" for all."""
    on = on or shop_day(at)
    if kind and kind not in GaugeKind.values:
        raise Refused([misfit("data.invalid", "kind", message=f"{kind} is no kind of gauge.")])
    number = f"CS-{day(on)}" + (f"-{kind.replace(' ', '-')}" if kind else "")
    record = calibration_status(on, kind, number=number, by=by, at=at)
    subject = ("calibration status", int(f"{on:%Y%m%d}"), day(on))
    title = f"Calibration status {day(on)}" + (f", {kind}" if kind else "")
    return issue_draft(Draft(DocumentKind.CALIBRATION_STATUS, subject, number, "", title, record), by, at)


@in_the_shops_language
def issue_audit_trail(
    *,
    subject: Subject,
    by: Person,
    at: datetime,
    begin: datetime | None = None,
    end: datetime | None = None,
    about_person: str = "",
) -> IssuedDocument:
    """Everything that happened to a thing, in words: always a new issue, since asking has a time."""
    number = numbered("AT", f"{subject.kind.replace(' ', '-')}-{subject.pk}")
    record = audit_trail_record(subject, number=number, begin=begin, end=end, about_person=about_person, by=by, at=at)
    title = f"Audit trail of {subject.kind} {subject.name}"[:200]
    return issue_draft(Draft(DocumentKind.AUDIT_TRAIL, (subject.kind, subject.pk, subject.name), number, "", title, record), by, at)


@in_the_shops_language
def issue_disposal_certificate(*, act: Disposal, by: Person, at: datetime) -> IssuedDocument:
    """What a disposal took, with the hashes that stay."""
    subject = ("disposal", act.pk, act.number)
    title = f"Certificate of disposal {act.number}"
    return issue_draft(Draft(DocumentKind.DISPOSAL, subject, numbered("DC", act.number), "", title, disposal_record(act)), by, at)


@in_the_shops_language
def issue_nonconformance_report(*, record: Nonconformance, by: Person, at: datetime) -> IssuedDocument:
    """A nonconformance as it stands, from finding to proof. record: as `gather.nonconformance.load_nonconformance` reads it."""
    title = f"Nonconformance report {record.number}"
    subject = ("nonconformance", record.pk, record.number)
    content = nonconformance_record(record, at)
    return issue_draft(Draft(DocumentKind.NONCONFORMANCE, subject, numbered("NR", record.number), "", title, content), by, at)
