"""Checking a range of ledger entries by itself, so that ranges can be checked side by side.

Proven of a range: its numbers have no gap, each entry has the hash of its text, its number and the hash it names as the one before, and
names the entry before it in the range; and the columns beside each text, and its signature, say what the text says. That the first entry
of a range names the last of the range before is for the one who puts the ranges together.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from json.encoder import encode_basestring as quoted  # what json.dumps does with a text, without building an encoder for each
from typing import Any

from django.db import connection

from records.merkle import BLOCK, BLOCK_LEVEL, Frontier, complete_head
from records.models import Signature

RANGE = 16 * BLOCK
"""Entries checked at a time: whole blocks, some ten megabytes of text."""

# Of records_ledgerentry, in this order. The time comes as text: making a datetime of each would take longer than hashing its entry.
FIELDS = "number, text, previous_hash, hash, kind, version, CAST(at AS text), by_id, subject_kind, subject_id, subject_name"

Peaks = tuple[tuple[int, bytes], ...]


@dataclass(frozen=True, slots=True)
class RangeReport:
    """Of entries start to stop, both included. first_previous: the hash its first entry names as the one before. last: of its last good
    entry. bad: the first number that does not hold, or None. stray: the first entry that contradicts its columns, and why.
    blocks: Merkle heads of its whole blocks. marks: (count, peaks of the range up to it) where a checkpoint wants them."""

    start: int
    stop: int
    first_previous: str
    last: str
    bad: int | None
    stray: tuple[int, str] | None
    blocks: list[bytes] = field(default_factory=list)
    marks: list[tuple[int, Peaks]] = field(default_factory=list)
    peaks: Peaks = ()


def check_range(start: int, stop: int, marks: Sequence[int]) -> RangeReport:
    """start: one more than a multiple of BLOCK. marks: counts within [start, stop] at which the tree is wanted."""
    with connection.cursor() as cursor:
        cursor.execute(f"SELECT {FIELDS} FROM records_ledgerentry WHERE number BETWEEN %s AND %s ORDER BY number", [start, stop])  # noqa: S608  # no text from outside
        rows = cursor.fetchall()
    signed = _signatures(start, stop)
    wanted, first, before = start, "", ""
    stray: tuple[int, str] | None = None
    blocks: list[bytes] = []
    kept: list[tuple[int, Peaks]] = []
    whole, leaves = Frontier(), list[bytes]()
    asked = set(marks)
    sha256, from_hex, signature_of = hashlib.sha256, bytes.fromhex, signed.get
    for row in rows:
        number, text, previous, own = row[:4]
        if number == start:
            first = before = previous
        try:
            if number != wanted or previous != before:
                break
            digest = sha256(b"%b%d\n%b" % (from_hex(previous), number, text.encode())).digest()
        except ValueError:  # a hash that is none
            break
        if digest.hex() != own:
            break
        if stray is None:
            reason = _contradiction(text, row, signature_of(number))
            stray = (number, reason) if reason else None
        leaves.append(sha256(b"\x00" + digest).digest())
        if number % BLOCK == 0:
            blocks.append(complete_head(leaves))
            whole.append(blocks[-1], BLOCK_LEVEL)
            leaves.clear()
        if number in asked:
            kept.append((number, _with(whole, leaves)))
        before, wanted = own, number + 1
    bad = wanted if wanted <= stop else None
    return RangeReport(start, stop, first, before, bad, stray, blocks, kept, _with(whole, leaves))


def _with(whole: Frontier, leaves: Sequence[bytes]) -> Peaks:
    longer = Frontier(whole.peaks)
    for leaf in leaves:
        longer.append(leaf)
    return longer.peaks


def _signatures(start: int, stop: int) -> dict[int, dict[str, Any]]:
    rows = Signature.objects.filter(entry_id__gte=start, entry_id__lte=stop)
    return {
        s["entry_id"]: dict(s)
        for s in rows.values("entry_id", "printed_name", "meaning", "signed_at", "content_sha256", "person__username")
    }


def _contradiction(text: str, row: Sequence[Any], signature: Mapping[str, Any] | None) -> str:
    """Why the row does not say what its text says, or ""."""
    number, _text, _previous, _hash, kind, version, at, by_id, subject_kind, subject_id, subject_name = row
    moment = _written(at)
    if signature is None:
        # Canonical text has its members in a fixed order, so that most entries are compared without being parsed.
        head = f'{{"at":"{moment}","by":{{"id":{by_id},'
        subject = f'{{"id":{subject_id},"kind":"{subject_kind}","name":{quoted(subject_name)}}}'
        if text.startswith(head) and text.endswith(f',"kind":"{kind}","signature":null,"subject":{subject},"version":{version}}}'):
            return ""
    try:
        said = json.loads(text)
        told = (said["kind"], said["version"], datetime.fromisoformat(said["at"]), said["by"]["id"], said["subject"])
        agrees = _signature_agrees(said["signature"], signature)
    except (ValueError, KeyError, TypeError):
        return f"the text of entry {number} is not one this program wrote"
    subject_told = {"id": subject_id, "kind": subject_kind, "name": subject_name}
    if (kind, version, datetime.fromisoformat(moment), by_id, subject_told) != told:
        return f"the columns of entry {number} do not say what its text says"
    return "" if agrees else f"the signature of entry {number} is not the one its text names"


def _written(at: str) -> str:
    """A time as the texts write it, from how a database does: both keep UTC, SQLite without saying so, PostgreSQL without last zeros."""
    fraction = at[19:].removesuffix("+00")
    return f"{at[:10]}T{at[11:19]}{fraction.ljust(7, '0') if fraction else ''}+00:00"


def _signature_agrees(said: Mapping[str, str] | None, row: Mapping[str, Any] | None) -> bool:
    if said is None or row is None:
        return said is None and row is None
    return (said["printed_name"], said["meaning"], datetime.fromisoformat(said["at"]), said["content_sha256"], said["username"]) == (
        row["printed_name"],
        row["meaning"],
        row["signed_at"],
        row["content_sha256"],
        row["person__username"],
    )
