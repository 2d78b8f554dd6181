"""What people do with controlled documents: attach the file of a revision, and withdraw a document or a specification."""

from __future__ import annotations

import hashlib
import re
from datetime import date, datetime
from pathlib import PurePath

from django.conf import settings
from django.db import transaction
from django.db.models import QuerySet

from shop.acts.catalogue import subject_of
from shop.catalogue import kind_named
from shop.clock import shop_day
from shop.events import CatalogueChanged, DocumentFileAttached, publish
from shop.file_kind import is_named_as, kind_of_file
from shop.finding import Finding, misfit, refuse_if
from shop.jobs import SetupSheet, SheetStatus, Termination
from shop.people import Person
from shop.permissions import Deed, permission_findings
from shop.specifications import CrimpSpecification, Document
from shop.stored_files import keep, read
from shop.validation import clean

LIVE = (SheetStatus.DRAFT, SheetStatus.IN_REVIEW, SheetStatus.RELEASED)


def attach_file(*, document: Document, name: str, data: bytes, by: Person, at: datetime) -> Document:
    """Attach the file of this revision, once and for all: what changes is another revision. Raises Refused.

    The file lies under its hash. A file that was written though the act failed in the end belongs to nothing and harms nothing.
    """
    name = bare_name(name)
    with transaction.atomic():
        document = Document.objects.select_for_update().get(pk=document.pk)
        findings = permission_findings(by, Deed.CHANGE_CATALOGUE)
        if document.file_sha256:
            findings.append(misfit("document.file.set", "file", document=str(document)))
        kind = kind_of_file(name, data)
        findings += file_findings(name, data, kind)
        refuse_if(findings)
        sha256 = hashlib.sha256(data).hexdigest()
        keep(storage_name(sha256), data)
        document.file_sha256, document.file_name, document.file_type, document.file_size = sha256, name, str(kind), len(data)
        clean(document)
        document.save(update_fields=["file_sha256", "file_name", "file_type", "file_size"])
        content = {"document": str(document), "file_name": name, "file_type": kind, "file_size": len(data), "sha256": sha256}
        publish(DocumentFileAttached(by=by, at=at, subject=subject_of(kind_named("documents"), document), content=content))
    return document


def file_findings(name: str, data: bytes, kind: str | None) -> list[Finding]:
    limit = settings.UPLOAD_LIMIT_BYTES
    if not data:
        return [misfit("data.required", "file")]
    if len(data) > limit:
        return [misfit("document.file.size", "file", name=name, limit_mb=limit // (1024 * 1024))]
    if kind is None:
        return [misfit("document.file.kind", "file", name=name)]
    return [] if is_named_as(name, kind) else [misfit("document.file.name", "file", name=name, kind=kind)]


def file_of(document: Document) -> bytes:
    """The bytes of a document's file. Raises Refused where they are gone, disposed of, or no longer those that were attached."""
    damaged = misfit("document.file.damaged", document=str(document), sha256=document.file_sha256)
    return read(storage_name(document.file_sha256), document.file_sha256, owner=("controlled document", document.pk), damaged=damaged)


def storage_name(sha256: str) -> str:
    return f"attachments/{sha256[:2]}/{sha256}"


def bare_name(name: str) -> str:
    """A file's own name, without folders and control characters, no longer than its column."""
    last = PurePath(name.replace("\\", "/")).name
    text = re.sub(r"[\x00-\x1f\x7f\"]", "", last).strip()
    path = PurePath(text)
    return path.stem[: 200 - len(path.suffix)] + path.suffix if len(path.suffix) < 20 else text[:200]


# --- Withdrawing -----------------------------------------------------------------------------------------------------------------


def sheets_relying_on(item: Document | CrimpSpecification) -> QuerySet[SetupSheet]:
    """Sheets that are being worked on or in force and whose terminations are made to it."""
    path = "specification__document" if isinstance(item, Document) else "specification"
    ends = Termination.objects.filter(**{path: item})
    return SetupSheet.objects.filter(status__in=LIVE, pk__in=ends.values("sheet")).order_by("number", "-revision")


def specifications_relying_on(item: Document | CrimpSpecification, on: date) -> QuerySet[CrimpSpecification]:
    """Specifications in force that cite it; none cites another specification."""
    cited = CrimpSpecification.objects.filter(document=item) if isinstance(item, Document) else CrimpSpecification.objects.none()
    return cited.in_force(on).order_by("number", "revision")


def withdraw(
    *, item: Document | CrimpSpecification, reason: str, knowing: int | None, by: Person, at: datetime, on: date | None = None
) -> Document | CrimpSpecification:
    """End a document or a specification. Raises Refused.

    knowing: how many sheets and specifications rely on it, as the person saw them; another number means they have to look again.
    on: the first day on which it no longer holds; left out, today.
    """
    model = type(item)
    kind = kind_named("documents" if model is Document else "specifications")
    with transaction.atomic():
        item = model._default_manager.select_for_update().get(pk=item.pk)
        today = shop_day(at)
        day = on or today
        findings = permission_findings(by, kind.deed)
        if item.withdrawn_on is not None and item.withdrawn_on <= today:
            findings.append(misfit("document.withdrawn", document=str(item), day=item.withdrawn_on.isoformat()))
        if day < item.effective_on:
            findings.append(misfit("data.dates.order", "on"))
        if not reason.strip():
            findings.append(misfit("data.required", "reason"))
        relying = sheets_relying_on(item).count() + specifications_relying_on(item, today).count()
        if knowing != relying:
            findings.append(misfit("document.relied_on", "knowing", document=str(item), count=relying))
        refuse_if(findings)
        before = kind.recorded(item)
        item.withdrawn_on = day
        clean(item)
        item.save(update_fields=["withdrawn_on"])
        content = {"kind": kind.slug, "before": before, "after": kind.recorded(item), "reason": reason.strip(), "relied_on_by": relying}
        publish(CatalogueChanged(by=by, at=at, subject=subject_of(kind, item), content=content))
    return item
