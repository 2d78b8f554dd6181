"""The hash chain of the ledger: pure computation over canonical texts.

hash(n) = SHA-256( hash(n-1) || number || 0x0A || canonical text ), the first entry chaining to 32 zero bytes. The number stands inside,
so an entry cannot be moved; the text is the stored one, so a verifier never has to canonicalise again.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable
from dataclasses import dataclass

GENESIS = "0" * 64


def entry_hash(previous_hash: str, number: int, text: str) -> str:
    """Hex SHA-256 of one entry. previous_hash: 64 hex digits of the entry before, or GENESIS."""
    digest = hashlib.sha256(bytes.fromhex(previous_hash))
    digest.update(f"{number}\n".encode())
    digest.update(text.encode())
    return digest.hexdigest()


@dataclass(frozen=True, slots=True)
class Link:
    """One stored entry as the verifier sees it."""

    number: int
    text: str
    previous_hash: str
    hash: str


@dataclass(frozen=True, slots=True)
class ChainReport:
    """entries: how many were good from the start. first_bad: the number of the first bad entry, or None. reason: in words."""

    entries: int
    head: str
    first_bad: int | None
    reason: str

    @property
    def is_whole(self) -> bool:
        return self.first_bad is None


def verify_chain(links: Iterable[Link], *, expected_count: int | None = None, expected_head: str | None = None) -> ChainReport:
    """Walk the entries in order of their numbers and stop at the first that does not hold.

    expected_count, expected_head: what the head row says, so that a missing tail is noticed.
    """
    previous, count = GENESIS, 0
    for link in links:
        wanted = count + 1
        if link.number != wanted:
            return ChainReport(count, previous, wanted, f"entry {wanted} is missing; the next one found is {link.number}")
        if link.previous_hash != previous:
            return ChainReport(count, previous, wanted, f"entry {wanted} does not follow the entry before it")
        if entry_hash(previous, link.number, link.text) != link.hash:
            return ChainReport(count, previous, wanted, f"entry {wanted} was changed after it was written")
        previous, count = link.hash, wanted
    if expected_count is not None and count < expected_count:
        return ChainReport(count, previous, count + 1, f"entry {count + 1} is missing: the head counts {expected_count} entries")
    if expected_count is not None and count > expected_count:
        extra = expected_count + 1
        return ChainReport(expected_count, previous, extra, f"entry {extra} was added past the head, which counts {expected_count} entries")
    if expected_head is not None and previous != expected_head:
        return ChainReport(count, previous, count, f"the head does not name entry {count}")
    return ChainReport(count, previous, None, "")
