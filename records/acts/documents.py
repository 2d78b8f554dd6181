"""Issuing documents: a record is drawn, sealed, stored under its hash and entered in the ledger."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.conf import settings
from django.core.files.base import ContentFile
from django.core.files.storage import default_storage
from django.db import transaction
from django.db.models import Max
from django.urls import reverse

from inspection.models import Batch, BatchStatus, Study, StudyState
from records.documents_html import asset_root, document_html
from records.events import DocumentIssued
from records.gather.batch import batch_record, first_sample
from records.gather.first_article import first_article_record
from records.gather.setup_sheet import setup_sheet_record
from records.gather.study import study_record
from records.gather.trace import lot_trace, shipment_trace
from records.models import DocumentKind, HarnessLot, IssuedDocument, Shipment
from records.pdf import render_pdf
from records.qr import qr_svg
from records.seal import NoTimeStamp, seal_pdf
from records.shop_key import load_shop_key
from records.signing_places import anchor, places_of
from records.stamping import stamping
from shop.canonical import canonical_json, sha256_hex
from shop.events import publish
from shop.finding import Refused, misfit, refuse_if
from shop.jobs import SetupSheet
from shop.language import in_the_shops_language
from shop.people import Person
from shop.permissions import Deed, permission_findings
from shop.stored_files import read
from shop.templatetags.shop import moment

PREFIXES = {
    DocumentKind.SETUP_SHEET: "SS",
    DocumentKind.FIRST_ARTICLE: "FA",
    DocumentKind.BATCH_RECORD: "BR",
    DocumentKind.TRACE_REPORT: "TR",
    DocumentKind.STUDY_REPORT: "SR",
    DocumentKind.CERTIFICATE: "CC",
    DocumentKind.CALIBRATION_STATUS: "CS",
    DocumentKind.AUDIT_TRAIL: "AT",
    DocumentKind.DISPOSAL: "DC",
    DocumentKind.NONCONFORMANCE: "NR",
}


@dataclass(frozen=True, slots=True)
class Draft:
    """A document before it is drawn."""

    kind: DocumentKind
    subject: tuple[str, int, str]
    number: str
    revision: str
    title: str
    record: Mapping[str, Any]


@in_the_shops_language
def issue_setup_sheet(*, sheet: SetupSheet, by: Person, at: datetime) -> IssuedDocument:
    """The sheet as released. Raises Refused for a sheet that was not."""
    if sheet.released_at is None:
        raise Refused([not_yet("setup sheet", str(sheet), sheet.status, "A setup sheet is issued once it is released.")])
    title = f"Setup sheet {sheet.number} rev {sheet.revision}"
    record = setup_sheet_record(sheet)
    draft = Draft(
        DocumentKind.SETUP_SHEET, ("setup sheet", sheet.pk, str(sheet)), numbered("SS", sheet.number), str(sheet.revision), title, record
    )
    return issue_draft(draft, by, at)


@in_the_shops_language
def issue_first_article(*, batch: Batch, by: Person, at: datetime) -> IssuedDocument:
    """The report on the accepted first piece. Raises Refused where there is none yet."""
    sample = first_sample(batch)
    if sample is None:
        raise Refused([not_yet("first article", batch.number, batch.status, "It is issued once a first piece is accepted.")])
    title = f"First-article report {batch.number}"
    record = first_article_record(batch)
    return issue_draft(
        Draft(DocumentKind.FIRST_ARTICLE, ("batch", batch.pk, batch.number), numbered("FA", batch.number), "", title, record), by, at
    )


@in_the_shops_language
def issue_batch_record(*, batch: Batch, by: Person, at: datetime) -> IssuedDocument:
    """The whole batch. Raises Refused for a batch that is not closed."""
    if batch.status != BatchStatus.CLOSED:
        raise Refused([not_yet("batch record", batch.number, batch.status, "A batch record is issued once the batch is closed.")])
    title = f"Batch record {batch.number}"
    record = batch_record(batch)
    return issue_draft(
        Draft(DocumentKind.BATCH_RECORD, ("batch", batch.pk, batch.number), numbered("BR", batch.number), "", title, record), by, at
    )


@in_the_shops_language
def issue_trace_report(*, of: Shipment | HarnessLot, by: Person, at: datetime) -> IssuedDocument:
    """The answer to an auditor's question, as it is at this moment: always a new issue."""
    if isinstance(of, Shipment):
        subject, record = ("shipment", of.pk, of.number), shipment_trace(of, by=by, at=at)
    else:
        subject, record = ("harness lot", of.pk, of.number), lot_trace(of, by=by, at=at)
    title = f"Trace report {of.number}"
    return issue_draft(Draft(DocumentKind.TRACE_REPORT, subject, numbered("TR", of.number), "", title, record), by, at)


@in_the_shops_language
def issue_study_report(*, study: Study, by: Person, at: datetime) -> IssuedDocument:
    """A concluded study. Raises Refused for one that is not signed."""
    if study.state != StudyState.SIGNED:
        raise Refused([not_yet("study report", study.number, study.state, "A study report is issued once the study is signed.")])
    title = f"Study report {study.number}"
    subject = ("study", study.pk, study.number)
    return issue_draft(Draft(DocumentKind.STUDY_REPORT, subject, numbered("SR", study.number), "", title, study_record(study)), by, at)


def numbered(prefix: str, subject: str) -> str:
    return f"{prefix}-{subject}"[:60]


def not_yet(kind: str, subject: str, state: str, needed: str) -> Any:
    return misfit("document.subject", kind=kind, subject=subject, state=state, needed=needed)


def verify_url(number: str, issue: int) -> str:
    """Where the QR code leads: the page that compares a file with what was issued."""
    return f"{settings.PUBLIC_URL}{reverse('prove:document', args=[number, issue])}"


def issue_draft(draft: Draft, by: Person, at: datetime) -> IssuedDocument:
    """Draw, seal and store. The same record is issued once: asked for again, the document that exists is the answer.

    Drawing takes a fraction of a second and stays outside the transaction, so that it never holds up the shop floor. Of two people who
    issue the same thing at once, the unique number lets one through; the other gets a lost race.
    """
    refuse_if(permission_findings(by, Deed.ISSUE_DOCUMENT) if by.username != "system" else [])
    text = canonical_json(draft.record)
    record_sha256 = sha256_hex(text)
    earlier = IssuedDocument.objects.filter(number=draft.number)
    same = earlier.filter(record_sha256=record_sha256).first()
    if same is not None and default_storage.exists(storage_name(same.sha256)):
        return same
    issue = (earlier.aggregate(last=Max("issue"))["last"] or 0) + 1
    url = verify_url(draft.number, issue)
    frame = {
        "number": draft.number,
        "revision": draft.revision or str(issue),
        "title": draft.title,
        "issued_at": moment(at),
        "sha256": record_sha256,
        "verify_url": url,
        "qr_svg": qr_svg(url, size_mm=18),
        "paper": settings.PAPER,
        "language": settings.LANGUAGE_CODE,
        "places": [{"word": str(place.word), "anchor": anchor(n)} for n, place in enumerate(places_of(draft.kind), 1)],
    }
    drawn = render_pdf(
        document_html(draft.kind.value, draft.record, frame),
        title=draft.title,
        language=settings.LANGUAGE_CODE,
        attachment=text.encode(),
        attachment_description=f"Record of {draft.title} as canonical JSON",
        created_at=at,
        asset_root=asset_root(),
    )
    key = load_shop_key(settings.SHOP_KEY_DIR, settings.SHOP_KEY_PASSPHRASE or None)
    try:
        sealed = seal_pdf(
            drawn, key=key, at=at, reason=f"issued: {draft.title}", location=None, name=settings.SHOP_NAME, stamping=stamping()
        )
    except NoTimeStamp as error:
        raise Refused([misfit("document.key", reason=str(error))]) from error
    sha256 = sha256_hex(sealed)
    name = storage_name(sha256)
    if not default_storage.exists(name):
        default_storage.save(name, ContentFile(sealed))
    with transaction.atomic():
        kind, pk, subject_name = draft.subject
        document = IssuedDocument.objects.create(
            number=draft.number,
            issue=issue,
            kind=draft.kind,
            title=draft.title,
            subject_kind=kind,
            subject_id=pk,
            record=text,
            record_sha256=record_sha256,
            sha256=sha256,
            size=len(sealed),
            issued_at=at,
            issued_by=by,
        )
        content = {
            "number": draft.number,
            "issue": issue,
            "kind": draft.kind.value,
            "subject": subject_name,
            "sha256": sha256,
            "record_sha256": record_sha256,
            "size": len(sealed),
        }
        publish(DocumentIssued(by=by, at=at, subject=("document", document.pk, str(document)), content=content))
    return document


def storage_name(sha256: str) -> str:
    """Files lie under their hash: two levels, so that no folder grows too large."""
    return f"documents/{sha256[:2]}/{sha256}.pdf"


def document_bytes(document: IssuedDocument) -> bytes:
    """The PDF as issued. Raises Refused for a file that is missing, disposed of, or no longer has its hash."""
    return stored_pdf(document, document.sha256)


def stored_pdf(document: IssuedDocument, sha256: str) -> bytes:
    """The file with this hash that belongs to a document: as issued, or with signatures behind it."""
    return read(storage_name(sha256), sha256, owner=("document", document.pk), damaged=misfit("document.damaged", number=str(document)))
