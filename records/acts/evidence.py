"""Evidence packages: documents, records, attachments, ledger entries with proofs, a signed manifest and a verifier in one ZIP."""

from __future__ import annotations

import io
import json
import zipfile
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path
from typing import IO, Any

from django.conf import settings
from django.db import transaction
from django.db.models import Exists, OuterRef, Q, QuerySet
from django.utils import timezone

from inspection.models import Batch, BatchStatus, LoadedLot, SetupScan
from records import evidence_verifier
from records.acts.attachments import attachment_bytes
from records.acts.checkpoints import inclusion_proofs, make_checkpoint
from records.acts.documents import (
    document_bytes,
    issue_batch_record,
    issue_first_article,
    issue_setup_sheet,
    issue_trace_report,
)
from records.acts.signing import current_bytes, signed_state
from records.checkpoints import Checkpoint
from records.events import EvidencePacked
from records.gather.batch import first_sample
from records.keeping_models import Attachment, DisposedFile, KeptAs
from records.models import HarnessLot, IssuedDocument, LedgerEntry, Shipment
from records.shop_key import ROOT_CERTIFICATE, SIGNING_CERTIFICATE, load_shop_key, raw_signature
from records.trace import batches_behind, lots_behind
from shop.acts.documents import file_of
from shop.canonical import canonical_json, sha256_hex
from shop.events import publish
from shop.finding import misfit, refuse_if
from shop.people import Person
from shop.permissions import Deed, permission_findings
from shop.specifications import Document

LONGEST_DAYS = 366

README = """Evidence package

question: {question}
made at:  {at}
made by:  {by}, {shop}

Check it with Python 3.9 or newer and nothing else:

    python3 -I -S verify.py --root-sha256 FINGERPRINT

FINGERPRINT is that of the shop's root certificate; ask the shop for it by another way than the one this package came. verify.py is one
file of plain Python: read it, or check the package with a copy of it that you trust.

documents/    the documents as issued, sealed by the shop; -signed: with the signatures people put on them
records/      what they say, as canonical JSON (RFC 8785)
attachments/  files of the controlled documents they were made to, and files that people put to these things
ledger/       the ledger entries of it, each with its proof, and the signed checkpoint they are proven under
keys/         the certificate the shop signs with, and its root

What the check shows:
{shown}

What it does not show:
{not_shown}
"""

Progress = Callable[[int, int], None]
"""Told how many things were packed, of how many."""


@dataclass
class _Asked:
    """What a package is about. everything: the time in which every ledger entry belongs to it."""

    question: str
    subject: tuple[str, int, str]
    batches: dict[int, Batch]
    lots: dict[int, HarnessLot]
    shipments: dict[int, Shipment]
    traced: list[Shipment | HarnessLot]
    everything: tuple[datetime, datetime] | None = None


def pack_evidence(*, of: Shipment | HarnessLot, by: Person, at: datetime, report: IssuedDocument | None = None) -> bytes:
    """A ZIP with everything behind `of`. Documents not issued yet are issued now. Raises Refused.

    report: a trace report issued before; left out, a fresh one is issued.
    """
    out = io.BytesIO()
    write_evidence(of, out=out, by=by, at=at, report=report)
    return out.getvalue()


def write_evidence(
    of: Shipment | HarnessLot,
    *,
    out: IO[bytes],
    by: Person,
    at: datetime,
    report: IssuedDocument | None = None,
    progress: Progress | None = None,
) -> None:
    """The same, written to `out`, which can be read back and sought in."""
    refuse_if(permission_findings(by, Deed.ISSUE_DOCUMENT))
    kind = "shipment" if isinstance(of, Shipment) else "harness lot"
    lots = [lot for lot, _ in lots_behind(of)] if isinstance(of, Shipment) else [of]
    asked = _Asked(
        question=f"Everything behind {kind} {of.number}",
        subject=(kind, of.pk, of.number),
        batches={batch.pk: batch for lot in lots for batch, _ in batches_behind(lot)},
        lots={lot.pk: lot for lot in lots},
        shipments={s.pk: s for s in ([of] if isinstance(of, Shipment) else Shipment.objects.filter(lots=of))},
        traced=[] if report else [of],
    )
    _pack(asked, out, by, at, [report] if report else [], progress)


def write_period(*, since: date, until: date, out: IO[bytes], by: Person, at: datetime, progress: Progress | None = None) -> None:
    """What was closed, built and shipped on the shop's days from `since` to `until`, both included, and every ledger entry of that time."""
    refuse_if(permission_findings(by, Deed.ISSUE_DOCUMENT))
    refuse_if(period_findings(since, until))
    begin, end = (_midnight(day) for day in (since, until + timedelta(days=1)))
    shipments = {s.pk: s for s in Shipment.objects.filter(shipped_at__gte=begin, shipped_at__lt=end)}
    lots = {lot.pk: lot for lot in HarnessLot.objects.filter(built_at__gte=begin, built_at__lt=end)}
    lots |= {lot.pk: lot for shipment in shipments.values() for lot, _ in lots_behind(shipment)}
    batches = {batch.pk: batch for lot in lots.values() for batch, _ in batches_behind(lot)}
    closed = Batch.objects.filter(status=BatchStatus.CLOSED, closed_at__gte=begin, closed_at__lt=end)
    batches |= {batch.pk: batch for batch in closed.select_related("termination__sheet__job")}
    asked = _Asked(
        question=f"What was closed, built and shipped from {since} to {until}",
        subject=("period", 0, f"{since} to {until}"),
        batches=batches,
        lots=lots,
        shipments=shipments,
        traced=list(shipments.values()),
        everything=(begin, end),
    )
    _pack(asked, out, by, at, [], progress)


def period_findings(since: date, until: date) -> list[Any]:
    if since <= until and (until - since).days < LONGEST_DAYS:
        return []
    return [misfit("evidence.period", "until", since=since.isoformat(), until=until.isoformat(), days=LONGEST_DAYS)]


def _midnight(day: date) -> datetime:
    return timezone.make_aware(datetime.combine(day, time.min), timezone.get_default_timezone())


# --- Packing ---------------------------------------------------------------------------------------------------------------------


def _pack(asked: _Asked, out: IO[bytes], by: Person, at: datetime, reports: list[IssuedDocument], progress: Progress | None) -> None:
    steps = _Steps(progress, len(asked.batches) + len(asked.traced))
    for batch in asked.batches.values():
        issue_setup_sheet(sheet=batch.termination.sheet, by=by, at=at)
        if first_sample(batch) is not None:
            issue_first_article(batch=batch, by=by, at=at)
        if batch.status == BatchStatus.CLOSED:
            issue_batch_record(batch=batch, by=by, at=at)
        steps.done()
    for thing in asked.traced:
        reports.append(issue_trace_report(of=thing, by=by, at=at))
        steps.done()
    documents = _documents(asked, reports)
    attachments = _attachments(asked)
    enclosed = _enclosed(asked)
    steps.more(len(documents) + len(attachments))
    checkpoint = make_checkpoint(by=Person.system(), at=at)  # whoever may pack: the ledger is signed by the house, not by them
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as package:
        files = _Files(package, at)
        listed = [_add_document(files, document, steps) for document in documents]
        for attachment in attachments:
            files.add(f"attachments/{attachment.file_sha256[:12]}-{_safe(attachment.file_name)}", file_of(attachment))
            steps.done()
        put_to = [_add_attachment(files, row) for row in enclosed]
        files.add("ledger/entries.jsonl", _entries(asked, documents, attachments, checkpoint))
        files.add("ledger/checkpoint.json", checkpoint.signed.as_file().encode())
        files.add("keys/root.pem", (settings.SHOP_KEY_DIR / ROOT_CERTIFICATE).read_bytes())
        files.add("keys/signing.pem", (settings.SHOP_KEY_DIR / SIGNING_CERTIFICATE).read_bytes())
        files.add("verify.py", Path(evidence_verifier.__file__).read_bytes())
        files.add("README.txt", _readme(asked.question, by, at))
        manifest = {
            "version": 2,
            "question": asked.question,
            "made_at": at,
            "made_by": by.name,
            "shop": settings.SHOP_NAME,
            "ledger": {"entries": checkpoint.entries, "hash": checkpoint.head, "root": checkpoint.root},
            "documents": listed,
            "attachments": put_to,
            "disposed": [_told(file) for file in _gone(asked)],
            "files": sorted(files.listed, key=lambda file: str(file["path"])),
        }
        manifest_bytes = canonical_json(manifest).encode()
        key = load_shop_key(settings.SHOP_KEY_DIR, settings.SHOP_KEY_PASSPHRASE or None)
        files.add("manifest.json", manifest_bytes)
        files.add("manifest.sig", raw_signature(key, manifest_bytes).hex().encode())
    with transaction.atomic():
        content = {
            "question": asked.question,
            "files": len(files.listed),
            "manifest_sha256": sha256_hex(manifest_bytes),
            "checkpoint": {"entries": checkpoint.entries, "root": checkpoint.root},
        }
        publish(EvidencePacked(by=by, at=at, subject=asked.subject, content=content))


class _Steps:
    """How far the packing is."""

    def __init__(self, progress: Progress | None, total: int) -> None:
        self._progress, self._done, self._total = progress, 0, total

    def more(self, steps: int) -> None:
        self._total += steps

    def done(self) -> None:
        self._done += 1
        if self._progress is not None:
            self._progress(self._done, self._total)


@dataclass
class _Files:
    """Files on their way into the ZIP: each is written at once and only its hash is kept."""

    package: zipfile.ZipFile
    at: datetime
    listed: list[dict[str, str | int]] = field(default_factory=list)

    def add(self, path: str, data: bytes) -> str:
        info = zipfile.ZipInfo(path, date_time=self.at.astimezone(UTC).timetuple()[:6])
        info.compress_type = zipfile.ZIP_DEFLATED
        info.external_attr = 0o644 << 16
        self.package.writestr(info, data)
        self.listed.append({"path": path, "sha256": sha256_hex(data), "size": len(data)})
        return path


def _add_document(files: _Files, document: IssuedDocument, steps: _Steps) -> dict[str, Any]:
    name = _safe(f"{document.number}-{document.issue}")
    listed: dict[str, Any] = {
        "title": document.title,
        "pdf": files.add(f"documents/{name}.pdf", document_bytes(document)),
        "record": files.add(f"records/{name}.json", document.record.encode()),
    }
    if signed_state(document).signatures:
        listed["signed"] = [files.add(f"documents/{name}-signed.pdf", current_bytes(document))]
    steps.done()
    return listed


def _safe(name: str) -> str:
    """A name that is one file in one folder, whatever was typed."""
    return "".join(c if c.isalnum() or c in "-._" else "_" for c in name).lstrip(".") or "_"


def _documents(asked: _Asked, reports: Iterable[IssuedDocument]) -> list[IssuedDocument]:
    wanted = _issued_about(asked) | Q(pk__in=[report.pk for report in reports])
    return list(IssuedDocument.objects.filter(wanted, _is_kept(KeptAs.DOCUMENT)).order_by("number", "issue"))


def _issued_about(asked: _Asked) -> Q:
    sheets = {batch.termination.sheet_id for batch in asked.batches.values()}
    wanted = Q(subject_kind="setup sheet", subject_id__in=sheets) | Q(subject_kind="batch", subject_id__in=list(asked.batches))
    if asked.everything:
        wanted |= Q(issued_at__gte=asked.everything[0], issued_at__lt=asked.everything[1])
    return wanted


def _attachments(asked: _Asked) -> list[Document]:
    """The files of the documents that the terminations were made to."""
    return list(_cited(asked).filter(_is_kept(KeptAs.CONTROLLED)).order_by("number", "revision"))


def _cited(asked: _Asked) -> QuerySet[Document]:
    ends = {batch.termination_id for batch in asked.batches.values()}
    return Document.objects.filter(specifications__terminations__in=ends).exclude(file_sha256="").distinct()


def _is_kept(kept_as: KeptAs) -> Any:
    """Of rows whose file was not disposed of."""
    return ~Exists(DisposedFile.objects.filter(kept_as=kept_as, row_id=OuterRef("pk")))


def _about(asked: _Asked) -> Q:
    """Attachments of these batches, lots and shipments, and of the reels, spools and calibrations behind them."""
    scans = SetupScan.objects.filter(batch__in=list(asked.batches), accepted=True).order_by()
    loaded = LoadedLot.objects.filter(batch__in=list(asked.batches)).order_by()
    about = Q(pk=None)
    for kind, ids in (
        ("batch", list(asked.batches)),
        ("harness lot", list(asked.lots)),
        ("shipment", list(asked.shipments)),
        ("wire-lots", loaded.exclude(wire_lot=None).values("wire_lot")),
        ("terminal-lots", loaded.exclude(terminal_lot=None).values("terminal_lot")),
        ("calibrations", scans.exclude(calibration=None).values("calibration")),
    ):
        about |= Q(subject_kind=kind, subject_id__in=ids)
    if asked.everything:
        about |= Q(at__gte=asked.everything[0], at__lt=asked.everything[1])
    return about


def _enclosed(asked: _Asked) -> list[Attachment]:
    rows = Attachment.objects.filter(_about(asked), _is_kept(KeptAs.ATTACHMENT))
    return list(rows.select_related("withdrawal").order_by("pk"))


def _add_attachment(files: _Files, row: Attachment) -> dict[str, Any]:
    """Put to a thing by somebody: the file, and in the manifest what it belongs to. A withdrawn one says so."""
    withdrawal = getattr(row, "withdrawal", None)
    return {
        "file": files.add(f"attachments/{row.pk}-{row.sha256[:12]}-{_safe(row.file_name)}", attachment_bytes(row)),
        "title": row.title,
        "of": f"{row.subject_kind} {row.subject_name}",
        "withdrawn": withdrawal.reason if withdrawal else "",
    }


def _gone(asked: _Asked) -> list[DisposedFile]:
    """What would be in here, had its file not been disposed of: its hash stays."""
    issued = IssuedDocument.objects.filter(_issued_about(asked)).order_by().values("pk")
    enclosed = Attachment.objects.filter(_about(asked)).order_by().values("pk")
    wanted = Q(kept_as=KeptAs.DOCUMENT, row_id__in=issued) | Q(kept_as=KeptAs.ATTACHMENT, row_id__in=enclosed)
    wanted |= Q(kept_as=KeptAs.CONTROLLED, row_id__in=_cited(asked).order_by().values("pk"))
    return list(DisposedFile.objects.filter(wanted).select_related("disposal__rule"))


def _told(file: DisposedFile) -> dict[str, Any]:
    act = file.disposal
    return {"record": file.name, "sha256": file.sha256, "size": file.size, "act": act.number, "rule": str(act.rule), "at": act.at}


def _entries(asked: _Asked, documents: list[IssuedDocument], attachments: list[Document], checkpoint: Checkpoint) -> bytes:
    """The ledger entries about these things, a line of JSON each with its proof. Other customers' entries stay out, unless a period is
    asked for."""
    samples = Batch.objects.filter(pk__in=list(asked.batches)).exclude(samples=None).values_list("samples", flat=True)
    wanted = Q()
    for kind, ids in (
        ("setup sheet", {batch.termination.sheet_id for batch in asked.batches.values()}),
        ("batch", set(asked.batches)),
        ("sample", set(samples)),
        ("harness lot", set(asked.lots)),
        ("shipment", set(asked.shipments)),
        ("document", {document.pk for document in documents}),
        ("documents", {attachment.pk for attachment in attachments}),
    ):
        wanted |= Q(subject_kind=kind, subject_id__in=list(ids))
    wanted |= Q(kind__startswith="attachment.") & _about(asked)
    if asked.everything:
        wanted |= Q(at__gte=asked.everything[0], at__lt=asked.everything[1])
    found: QuerySet[LedgerEntry] = LedgerEntry.objects.filter(wanted, number__lte=checkpoint.entries).order_by("number")
    rows = list(found.values("number", "text", "previous_hash", "hash"))
    proofs = inclusion_proofs([row["number"] for row in rows], checkpoint)
    lines = (json.dumps(row | {"proof": proofs[row["number"]]}, ensure_ascii=False, sort_keys=True) for row in rows)
    return "".join(f"{line}\n" for line in lines).encode()


def _readme(question: str, by: Person, at: datetime) -> bytes:
    shown, not_shown = (
        "\n".join(f"- {sentence}" for sentence in sentences) for sentences in (evidence_verifier.SHOWN, evidence_verifier.NOT_SHOWN)
    )
    told = {"question": question, "at": at.astimezone(UTC).isoformat(), "by": by.name, "shop": settings.SHOP_NAME}
    return README.format(**told, shown=shown, not_shown=not_shown).encode()
