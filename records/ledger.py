"""Appending to the ledger. There is one chain; its head row is the lock, so numbers have no gaps."""

from __future__ import annotations

from records.chain import entry_hash
from records.models import LedgerEntry, LedgerHead, Signature
from shop.canonical import canonical_json, content_sha256
from shop.events import Event


def entry_text(event: Event) -> str:
    """The canonical text of an event, which the chain covers."""
    signing = event.signing
    return canonical_json(
        {
            "kind": event.kind,
            "version": event.version,
            "at": event.at,
            "by": {"id": event.by.pk, "username": event.by.username, "name": event.by.name},
            "subject": {"kind": event.subject[0], "id": event.subject[1], "name": event.subject[2]},
            "content": event.content,
            "signature": signing
            and {
                "username": signing.person.username,
                "printed_name": signing.person.name,
                "meaning": signing.meaning,
                "at": signing.at,
                "how": signing.how,
                "content_sha256": content_sha256(event.content),
            },
        }
    )


def append(event: Event) -> LedgerEntry:
    """Write `event` into the ledger, with its signature if it has one. Must run inside the act's transaction."""
    text = entry_text(event)
    head = LedgerHead.objects.select_for_update().get(pk=1)
    number = head.count + 1
    subject_kind, subject_id, subject_name = event.subject
    entry = LedgerEntry(
        number=number,
        kind=event.kind,
        version=event.version,
        at=event.at,
        by=event.by,
        subject_kind=subject_kind,
        subject_id=subject_id,
        subject_name=subject_name,
        text=text,
        previous_hash=head.hash,
        hash=entry_hash(head.hash, number, text),
    )
    # Never save() with a key that might exist: that would be an UPDATE.
    entry.save(force_insert=True)
    head.count, head.hash = number, entry.hash
    head.save(update_fields=["count", "hash"])
    if event.signing:
        Signature.objects.create(
            entry=entry,
            person=event.signing.person,
            printed_name=event.signing.person.name,
            meaning=event.signing.meaning,
            signed_at=event.signing.at,
            how=event.signing.how,
            content_sha256=content_sha256(event.content),
            subject_kind=subject_kind,
            subject_id=subject_id,
        )
    return entry
