"""The evidence package of a shipment or a harness lot: documents, records, ledger entries, a signed manifest and a verifier in one ZIP."""

from __future__ import annotations

import io
import json
import zipfile
from collections.abc import Iterable
from datetime import UTC, datetime
from pathlib import Path

from django.conf import settings
from django.db import transaction
from django.db.models import Q

from records import evidence_verifier
from records.acts.documents import (
    document_bytes,
    issue_batch_record,
    issue_first_article,
    issue_setup_sheet,
    issue_trace_report,
)
from records.events import EvidencePacked
from records.gather.batch import first_sample
from records.models import HarnessLot, IssuedDocument, LedgerEntry, LedgerHead, Shipment
from records.shop_key import ROOT_CERTIFICATE, SIGNING_CERTIFICATE, load_shop_key, raw_signature
from records.trace import batches_behind, lots_behind
from shop.canonical import canonical_json, sha256_hex
from shop.events import publish
from shop.finding import refuse_if
from shop.people import Person
from shop.permissions import Deed, permission_findings

README = """Evidence package

question: {question}
made at:  {at}

Check it with Python 3.9 or newer and nothing else:

    python3 verify.py --root-sha256 FINGERPRINT

FINGERPRINT is that of the shop's root certificate; ask the shop for it by another way than the one this package came.
The PDFs are sealed: an ordinary PDF reader shows by whom, and whether they are intact. Each has its record attached as JSON.

documents/  the documents as issued      records/  what they say, as canonical JSON
ledger/     the ledger entries of it     keys/     certificates
"""


def pack_evidence(*, of: Shipment | HarnessLot, by: Person, at: datetime, report: IssuedDocument | None = None) -> bytes:
    """A ZIP with everything behind `of`. Documents not issued yet are issued now. Raises Refused.

    report: a trace report issued before; left out, a fresh one is issued.
    """
    refuse_if(permission_findings(by, Deed.ISSUE_DOCUMENT))
    lots = [lot for lot, _ in lots_behind(of)] if isinstance(of, Shipment) else [of]
    batches = {batch.pk: batch for lot in lots for batch, _ in batches_behind(lot)}
    for batch in batches.values():
        issue_setup_sheet(sheet=batch.termination.sheet, by=by, at=at)
        if first_sample(batch) is not None:
            issue_first_article(batch=batch, by=by, at=at)
        issue_batch_record(batch=batch, by=by, at=at)
    report = report or issue_trace_report(of=of, by=by, at=at)
    sheets = {batch.termination.sheet_id for batch in batches.values()}
    documents = [
        *IssuedDocument.objects.filter(subject_kind="setup sheet", subject_id__in=sheets).order_by("number", "issue"),
        *IssuedDocument.objects.filter(subject_kind="batch", subject_id__in=batches).order_by("number", "issue"),
        report,
    ]
    shipments = [of] if isinstance(of, Shipment) else list(Shipment.objects.filter(lots=of))
    samples = [pk for batch in batches.values() for pk in batch.samples.values_list("pk", flat=True)]
    entries = _entries(
        ("setup sheet", sheets),
        ("batch", batches),
        ("sample", samples),
        ("harness lot", [lot.pk for lot in lots]),
        ("shipment", [s.pk for s in shipments]),
        ("document", [d.pk for d in documents]),
    )
    files: dict[str, bytes] = {}
    listed = []
    for document in documents:
        name = f"{document.number}-{document.issue}".replace(" ", "_")
        files[f"documents/{name}.pdf"] = document_bytes(document)
        files[f"records/{name}.json"] = document.record.encode()
        listed.append({"title": document.title, "pdf": f"documents/{name}.pdf", "record": f"records/{name}.json"})
    question = f"Everything behind {'shipment' if isinstance(of, Shipment) else 'harness lot'} {of.number}"
    files["ledger/entries.jsonl"] = "".join(f"{line}\n" for line in entries).encode()
    files["keys/root.pem"] = (settings.SHOP_KEY_DIR / ROOT_CERTIFICATE).read_bytes()
    files["keys/signing.pem"] = (settings.SHOP_KEY_DIR / SIGNING_CERTIFICATE).read_bytes()
    files["verify.py"] = Path(evidence_verifier.__file__).read_bytes()
    files["README.txt"] = README.format(question=question, at=at.astimezone(UTC).isoformat()).encode()
    head = LedgerHead.objects.get(pk=1)
    manifest = {
        "version": 1,
        "question": question,
        "made_at": at,
        "made_by": by.name,
        "shop": settings.SHOP_NAME,
        "ledger": {"entries": head.count, "hash": head.hash},
        "documents": listed,
        "files": [{"path": path, "sha256": sha256_hex(data), "size": len(data)} for path, data in sorted(files.items())],
    }
    manifest_bytes = canonical_json(manifest).encode()
    key = load_shop_key(settings.SHOP_KEY_DIR, settings.SHOP_KEY_PASSPHRASE or None)
    files["manifest.json"] = manifest_bytes
    files["manifest.sig"] = raw_signature(key, manifest_bytes).hex().encode()
    with transaction.atomic():
        kind = "shipment" if isinstance(of, Shipment) else "harness lot"
        content = {"question": question, "files": len(files), "manifest_sha256": sha256_hex(manifest_bytes)}
        publish(EvidencePacked(by=by, at=at, subject=(kind, of.pk, of.number), content=content))
    return _zipped(files, at)


def _entries(*subjects: tuple[str, Iterable[int]]) -> list[str]:
    """The ledger entries about these things, a line of JSON each. Other customers' entries stay out."""
    wanted = Q()
    for kind, ids in subjects:
        wanted |= Q(subject_kind=kind, subject_id__in=list(ids))
    rows = LedgerEntry.objects.filter(wanted).order_by("number").values("number", "text", "previous_hash", "hash")
    return [json.dumps(row, ensure_ascii=False, sort_keys=True) for row in rows]


def _zipped(files: dict[str, bytes], at: datetime) -> bytes:
    out = io.BytesIO()
    stamp = at.astimezone(UTC).timetuple()[:6]
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as package:
        for path, data in sorted(files.items()):
            info = zipfile.ZipInfo(path, date_time=stamp)
            info.compress_type = zipfile.ZIP_DEFLATED
            info.external_attr = 0o644 << 16
            package.writestr(info, data)
    return out.getvalue()
