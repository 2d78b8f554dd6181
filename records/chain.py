"""The hash chain of the ledger: pure computation over canonical texts.

hash(n) = SHA-256( hash(n-1) || number || 0x0A || canonical text ), the first entry chaining to 32 zero bytes. The number stands inside,
so an entry cannot be moved; the text is the stored one, so a verifier never has to canonicalise again.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from enum import StrEnum

GENESIS = "0" * 64


def entry_hash(previous_hash: str, number: int, text: str) -> str:
    """Hex SHA-256 of one entry. previous_hash: 64 hex digits of the entry before, or GENESIS."""
    return hashlib.sha256(b"%b%d\n%b" % (bytes.fromhex(previous_hash), number, text.encode())).hexdigest()


@dataclass(frozen=True, slots=True)
class Link:
    """One stored entry as the verifier sees it."""

    number: int
    text: str
    previous_hash: str
    hash: str


class Tampering(StrEnum):
    """What was done to a ledger that does not hold, as far as it can be told from what is left."""

    NONE = ""
    CHANGED = "changed"
    REMOVED = "removed"
    INSERTED = "inserted"
    SWAPPED = "swapped"
    ADDED = "added past the head"
    CUT_OFF = "cut off"
    FORGED = "forged"
    UNREADABLE = "not proven"


@dataclass(frozen=True, slots=True)
class ChainReport:
    """entries: how many were good from the start. first_bad: the number of the first bad entry, or None. reason: in words.

    tampering: what kind of change it looks like. checkpoints: how many signed checkpoints the ledger was held against and agreed with.
    """

    entries: int
    head: str
    first_bad: int | None
    reason: str
    tampering: Tampering = Tampering.NONE
    checkpoints: int = 0

    @property
    def is_whole(self) -> bool:
        return self.first_bad is None


def holds(link: Link, previous_hash: str, number: int) -> bool:
    """Whether the entry is the one with this number behind the entry with that hash."""
    if link.previous_hash != previous_hash or len(link.hash) != 64:
        return False
    try:
        return entry_hash(previous_hash, number, link.text) == link.hash
    except ValueError:  # a hash that is none
        return False


@dataclass(frozen=True, slots=True)
class Rows:
    """Ways to look around in a ledger that does not hold.

    at: the entry stored under a number. behind: an entry stored with this hash as the one before it. beyond: whether any entry has a
    higher number.
    """

    at: Callable[[int], Link | None]
    behind: Callable[[str], list[Link]]
    beyond: Callable[[int], bool]


FARTHEST = 64
"""How many entries in a row may have been taken out, the rest numbered anew, for it to be told as a removal."""


def diagnose(previous: str, number: int, rows: Rows) -> tuple[int, Tampering, str]:
    """(first bad number, kind, reason) where entry `number` is not the one that follows the entry with hash `previous`."""
    found = rows.at(number)
    if found is None:
        if not rows.beyond(number):
            return number, Tampering.CUT_OFF, f"entry {number} is missing, and everything after it"
        return number, Tampering.REMOVED, f"entry {number} was removed"
    # The entry that really follows may stand elsewhere.
    true = next((link for link in rows.behind(previous) if link.number != number and holds(link, previous, number)), None)
    if true is not None:
        if _hashes_to_itself(found, true.number):
            return number, Tampering.SWAPPED, f"entries {number} and {true.number} were swapped"
        return number, Tampering.INSERTED, f"entry {number} was inserted"
    after = rows.at(number + 1)
    if found.previous_hash == previous:
        if after is not None and holds(Link(number, after.text, found.previous_hash, found.hash), previous, number):
            return number, Tampering.SWAPPED, f"the texts of entries {number} and {number + 1} were swapped"
        return number, Tampering.CHANGED, f"entry {number} was changed after it was written"
    if any(_hashes_to_itself(found, number + n) for n in range(1, FARTHEST)):
        return number, Tampering.REMOVED, f"entry {number} was removed and those after it numbered anew"
    before = rows.at(number - 1)
    if before is not None and holds(found, before.previous_hash, number - 1):
        return number - 1, Tampering.INSERTED, f"entry {number - 1} was inserted"
    if before is not None and _hashes_to_itself(found, number):
        return number - 1, Tampering.CHANGED, f"entry {number - 1} was changed and hashed anew: entry {number} does not follow it"
    return number, Tampering.CHANGED, f"entry {number} was changed: it does not follow the entry before it"


def _hashes_to_itself(link: Link, number: int) -> bool:
    return holds(link, link.previous_hash, number)


def verify_chain(links: Iterable[Link], *, expected_count: int | None = None, expected_head: str | None = None) -> ChainReport:
    """Walk the entries in order of their numbers and stop at the first that does not hold.

    expected_count, expected_head: what the head row says, so that a missing tail is noticed.
    """
    previous, count = GENESIS, 0
    for link in links:
        wanted = count + 1
        if link.number != wanted:
            reason = f"entry {wanted} is missing; the next one found is {link.number}"
            return ChainReport(count, previous, wanted, reason, Tampering.REMOVED)
        if link.previous_hash != previous:
            return ChainReport(count, previous, wanted, f"entry {wanted} does not follow the entry before it", Tampering.CHANGED)
        if not holds(link, previous, wanted):
            return ChainReport(count, previous, wanted, f"entry {wanted} was changed after it was written", Tampering.CHANGED)
        previous, count = link.hash, wanted
    return against_head(count, previous, expected_count, expected_head)


def against_head(count: int, last: str, expected_count: int | None, expected_head: str | None) -> ChainReport:
    """The report on `count` entries that hold, once the head row has had its say. last: hash of the last of them."""
    if expected_count is not None and count < expected_count:
        reason = f"entry {count + 1} is missing: the head counts {expected_count} entries"
        return ChainReport(count, last, count + 1, reason, Tampering.CUT_OFF)
    if expected_count is not None and count > expected_count:
        extra = expected_count + 1
        reason = f"entry {extra} was added past the head, which counts {expected_count} entries"
        return ChainReport(expected_count, last, extra, reason, Tampering.ADDED)
    if expected_head is not None and last != expected_head:
        return ChainReport(count, last, max(count, 1), f"the head does not name entry {count}", Tampering.CHANGED)
    return ChainReport(count, last, None, "")
