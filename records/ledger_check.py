"""Verifying the ledger as it lies in the database: the chain, and that the columns beside each text still say what the text says."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from datetime import datetime

from records.chain import ChainReport, Link, verify_chain
from records.models import LedgerEntry, LedgerHead, Signature

CHUNK = 2000


def _links(strays: list[tuple[int, str]]) -> Iterator[Link]:
    """Every stored entry in order. What contradicts its own text is noted in `strays` (entry number, reason), the first one only."""
    signed = {
        s["entry_id"]: s
        for s in Signature.objects.values("entry_id", "printed_name", "meaning", "signed_at", "content_sha256", "person__username")
    }
    rows = LedgerEntry.objects.order_by("number").values_list(
        "number", "text", "previous_hash", "hash", "kind", "version", "at", "by__username", "subject_kind", "subject_id", "subject_name"
    )
    for number, text, previous, own, kind, version, at, username, subject_kind, subject_id, subject_name in rows.iterator(CHUNK):
        if not strays:
            columns = (kind, version, at, username, {"kind": subject_kind, "id": subject_id, "name": subject_name})
            reason = _contradiction(text, columns, signed.get(number))
            if reason:
                strays.append((number, reason.format(number=number)))
        yield Link(number, text, previous, own)


def _contradiction(text: str, columns: tuple[object, ...], signature: Mapping[str, object] | None) -> str:
    """Why the row does not say what its text says, or ""."""
    try:
        said = json.loads(text)
        told = (said["kind"], said["version"], datetime.fromisoformat(said["at"]), said["by"]["username"], said["subject"])
        agrees = _signature_agrees(said["signature"], signature)
    except (ValueError, KeyError, TypeError):
        return "the text of entry {number} is not one this program wrote"
    if columns != told:
        return "the columns of entry {number} do not say what its text says"
    return "" if agrees else "the signature of entry {number} is not the one its text names"


def _signature_agrees(said: Mapping[str, str] | None, row: Mapping[str, object] | None) -> bool:
    if said is None or row is None:
        return said is None and row is None
    return (said["printed_name"], said["meaning"], datetime.fromisoformat(said["at"]), said["content_sha256"], said["username"]) == (
        row["printed_name"],
        row["meaning"],
        row["signed_at"],
        row["content_sha256"],
        row["person__username"],
    )


def verify_ledger() -> ChainReport:
    """Walk the whole ledger and name the first entry that does not hold."""
    head = LedgerHead.objects.filter(pk=1).first()
    if head is None:
        return ChainReport(0, "", 1, "the head of the ledger is missing")
    strays: list[tuple[int, str]] = []
    report = verify_chain(_links(strays), expected_count=head.count, expected_head=head.hash)
    if strays and (report.first_bad is None or strays[0][0] < report.first_bad):
        number, reason = strays[0]
        return ChainReport(number - 1, report.head, number, reason)
    return report
