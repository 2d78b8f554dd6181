"""Files that people put to things: checked by content, kept under their hash, withdrawn but never deleted."""

from __future__ import annotations

import hashlib
from datetime import datetime

from django.db import transaction
from django.db.models import QuerySet

from records.attachables import Thing
from records.events import AttachmentAdded, AttachmentWithdrawn
from records.keeping_models import Attachment, AttachmentWithdrawal, KeptAs
from shop.acts.documents import bare_name, file_findings, storage_name
from shop.events import publish
from shop.file_kind import kind_of_file
from shop.finding import misfit, refuse_if
from shop.people import Person
from shop.permissions import Deed, permission_findings
from shop.stored_files import keep, read
from shop.validation import clean


def attach(*, thing: Thing, title: str, name: str, data: bytes, by: Person, at: datetime) -> Attachment:
    """Attach a file to a thing. Raises Refused."""
    name, title = bare_name(name), title.strip()
    kind = kind_of_file(name, data)
    findings = permission_findings(by, Deed.ATTACH) + file_findings(name, data, kind)
    if not title:
        findings.append(misfit("data.required", "title"))
    sha256 = hashlib.sha256(data).hexdigest()
    with transaction.atomic():
        if (twin := attachments_of(thing).filter(sha256=sha256, withdrawal=None).first()) is not None:
            findings.append(misfit("attachment.twice", "file", name=name, title=twin.title))
        refuse_if(findings)
        keep(storage_name(sha256), data)
        subject_kind, subject_id, subject_name = thing.subject
        row = Attachment(
            subject_kind=subject_kind,
            subject_id=subject_id,
            subject_name=subject_name,
            title=title,
            file_name=name,
            file_type=str(kind),
            size=len(data),
            sha256=sha256,
            by=by,
            at=at,
        )
        clean(row)
        row.save(force_insert=True)
        publish(AttachmentAdded(by=by, at=at, subject=thing.subject, content=_content(row)))
    return row


def _content(row: Attachment) -> dict[str, object]:
    said = {"title": row.title, "file_name": row.file_name, "file_type": row.file_type, "file_size": row.size, "sha256": row.sha256}
    return {"attachment": row.pk, **said}


def withdraw_attachment(*, attachment: Attachment, reason: str, by: Person, at: datetime) -> AttachmentWithdrawal:
    """Say that an attachment counts no longer, and why. It stays where it is. Raises Refused."""
    with transaction.atomic():
        findings = permission_findings(by, Deed.WITHDRAW_ATTACHMENT)
        if not reason.strip():
            findings.append(misfit("data.required", "reason"))
        if AttachmentWithdrawal.objects.filter(attachment=attachment).exists():
            findings.append(misfit("attachment.withdrawn", title=attachment.title))
        refuse_if(findings)
        row = AttachmentWithdrawal(attachment=attachment, reason=reason.strip(), by=by, at=at)
        clean(row)
        row.save(force_insert=True)
        subject = (attachment.subject_kind, attachment.subject_id, attachment.subject_name)
        publish(AttachmentWithdrawn(by=by, at=at, subject=subject, content=_content(attachment) | {"reason": row.reason}))
    return row


def attachments_of(thing: Thing) -> QuerySet[Attachment]:
    """Everything attached to it, withdrawn or not, in the order in which it came."""
    return in_order(Attachment.objects.filter(subject_kind=thing.of.kind, subject_id=thing.pk))


def in_order(rows: QuerySet[Attachment]) -> QuerySet[Attachment]:
    """Attachments as they came, with who attached and who withdrew them."""
    return rows.select_related("by", "withdrawal__by").order_by("pk")


def attachment_bytes(attachment: Attachment) -> bytes:
    """The file as it was attached. Raises Refused where it is missing, disposed of, or another."""
    damaged = misfit("attachment.damaged", title=attachment.title, sha256=attachment.sha256)
    owner = (KeptAs.ATTACHMENT.value, attachment.pk)
    return read(storage_name(attachment.sha256), attachment.sha256, owner=owner, damaged=damaged)
