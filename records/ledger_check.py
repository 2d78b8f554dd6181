"""Verifying the ledger as it lies in the database: the chain, the columns beside each text, and the signed checkpoints."""

from __future__ import annotations

import multiprocessing
import os
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace

from cryptography import x509
from django.conf import settings

from records.chain import GENESIS, ChainReport, Link, Rows, Tampering, against_head, diagnose
from records.checkpoint_text import NotACheckpoint, Said, Signed, check_signed, read_text
from records.ledger_range import RANGE, Peaks, RangeReport, check_range
from records.merkle import BLOCK, Frontier
from records.models import Checkpoint, LedgerBlock, LedgerEntry, LedgerHead
from records.range_workers import one_range, set_up
from records.shop_key import KeyMissing, KeyUnreadable, load_trust

CHECKPOINTED = "ledger.checkpointed"

Progress = Callable[[int, int], None]
"""Told how many entries were checked, of how many."""

WORTH_IT = 12 * RANGE
"""Below that many entries another process costs more than it saves."""


def verify_ledger(*, workers: int = 1, against: Sequence[Signed] = (), progress: Progress | None = None) -> ChainReport:
    """Walk the whole ledger and name the first entry that does not hold.

    workers: processes that check ranges side by side, each with a connection of its own; 1 checks in this process and connection.
    against: checkpoints that were exported earlier. The stored ones are held against the ledger anyway.
    """
    head = LedgerHead.objects.filter(pk=1).first()
    if head is None:
        return ChainReport(0, "", 1, "the head of the ledger is missing", Tampering.REMOVED)
    marks = _marks(head.count, against)
    walk = _Walk(frozenset(count for count, _, _ in marks))
    for done in _ranges(head.count, walk.wanted, workers):
        walk.take(done)
        if progress is not None:
            progress(min(done.stop, head.count), head.count)
        if walk.bad is not None:
            break
    report = _chain_report(walk, head)
    return _earliest(report, _against_checkpoints(report, walk, marks))


def _ranges(count: int, marks: frozenset[int], workers: int) -> Iterator[RangeReport]:
    spans = [(start, min(start + RANGE - 1, count)) for start in range(1, count + 1, RANGE)]
    asked = [(start, stop, [m for m in marks if start <= m <= stop]) for start, stop in spans]
    if workers < 2 or len(spans) < 2:
        yield from (check_range(*one) for one in asked)
        return
    # Spawned, not forked: a connection must not be shared, and some of the libraries run threads.
    context = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(min(workers, len(spans)), mp_context=context, initializer=set_up) as pool:
        try:
            yield from pool.map(one_range, asked)
        finally:
            pool.shutdown(cancel_futures=True)


def workers_worth(entries: int) -> int:
    """How many processes a ledger of this length is worth on this machine."""
    there = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1
    return min(there, 8) if entries >= WORTH_IT else 1


class _Walk:
    """Ranges put together in order."""

    def __init__(self, wanted: frozenset[int]) -> None:
        self.wanted = wanted
        self.count, self.last = 0, GENESIS
        self.bad: int | None = None
        self.stray: tuple[int, str] | None = None
        self.trees: dict[int, bytes] = {}
        self._tree = Frontier()
        self._blocks = {number: bytes.fromhex(head) for number, head in LedgerBlock.objects.values_list("number", "head")}

    def take(self, done: RangeReport) -> None:
        if done.first_previous != self.last or (done.bad == done.start):
            self.bad = done.start
            return
        for count, peaks in done.marks:
            self.trees[count] = self._with(peaks).head()
        self.stray = self.stray or done.stray
        for number, head in enumerate(done.blocks, start=(done.start - 1) // BLOCK):
            kept = self._blocks.get(number)
            if kept is not None and kept != head and self.stray is None:
                self.stray = (number * BLOCK + 1, f"the kept head of entries {number * BLOCK + 1} to {(number + 1) * BLOCK} is not theirs")
        self._tree = self._with(done.peaks)
        self.bad = done.bad
        self.count = done.stop if done.bad is None else done.bad - 1
        self.last = done.last

    def _with(self, peaks: Peaks) -> Frontier:
        return self._tree.extended(peaks)


def _chain_report(walk: _Walk, head: LedgerHead) -> ChainReport:
    if walk.bad is not None:
        bad, tampering, reason = diagnose(walk.last, walk.bad, _rows())
        if tampering == Tampering.CUT_OFF:
            reason = f"{reason}: the head counts {head.count} entries"
        report = ChainReport(bad - 1, walk.last, bad, reason, tampering)
    else:
        extra = LedgerEntry.objects.filter(number__gt=head.count).count()
        report = against_head(walk.count + extra, walk.last, head.count, None if extra else head.hash)
    if walk.stray and (report.first_bad is None or walk.stray[0] < report.first_bad):
        number, reason = walk.stray
        return ChainReport(number - 1, report.head, number, reason, Tampering.CHANGED)
    return report


def _rows() -> Rows:
    fields = ("number", "text", "previous_hash", "hash")
    entries = LedgerEntry.objects.values_list(*fields)

    def at(number: int) -> Link | None:
        row = entries.filter(number=number).first()
        return Link(*row) if row else None

    return Rows(
        at=at,
        behind=lambda previous: [Link(*row) for row in entries.filter(previous_hash=previous)],
        beyond=lambda number: LedgerEntry.objects.filter(number__gt=number).exists(),
    )


# --- Checkpoints -----------------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Bad:
    number: int
    reason: str
    tampering: Tampering


def _marks(count: int, against: Sequence[Signed]) -> list[tuple[int, Said, Signed]]:
    """(entries, what it says, as signed) of every checkpoint, the earliest first. What cannot be read comes as a count of 0."""
    marks = []
    for signed in [*(Signed(*row) for row in Checkpoint.objects.values_list("text", "signature", "certificate")), *against]:
        try:
            said = read_text(signed.text)
        except NotACheckpoint as error:
            said = Said(0, "", "", str(error), "", 0, "", (), "")
        marks.append((said.entries, said, signed))
    return sorted(marks, key=lambda mark: mark[0])


def _against_checkpoints(report: ChainReport, walk: _Walk, marks: list[tuple[int, Said, Signed]]) -> tuple[int, _Bad | None]:
    """How many checkpoints the ledger agrees with, and the first fault they show."""
    missing = _missing_checkpoint()
    if not marks:
        return 0, missing
    try:
        roots: Iterable[x509.Certificate] = load_trust(settings.SHOP_KEY_DIR).roots
    except (KeyMissing, KeyUnreadable) as error:
        return 0, _Bad(1, f"the checkpoints cannot be verified without the shop's root certificate: {error}", Tampering.UNREADABLE)
    good, agreed = 0, 0
    for count, said, signed in marks:
        try:
            check_signed(signed, roots)
        except NotACheckpoint as error:
            return agreed, _Bad(good + 1, f"the checkpoint at entry {count} is not the shop's: {error}", Tampering.FORGED)
        if report.first_bad is not None and count >= report.first_bad and report.tampering != Tampering.CUT_OFF:
            break  # the chain itself says more
        if count > walk.count:
            when = f"the checkpoint of {said.at} counts {count} entries"
            return agreed, _Bad(walk.count + 1, f"entry {walk.count + 1} and what followed was cut off: {when}", Tampering.CUT_OFF)
        if walk.trees.get(count, b"").hex() != said.root:
            between = f"entries {good + 1} to {count} are not those that the checkpoint of {said.at} was signed over"
            return agreed, _Bad(good + 1, f"{between}: somebody without the shop's key wrote them anew", Tampering.FORGED)
        good, agreed = count, agreed + 1
    return agreed, missing


def _missing_checkpoint() -> _Bad | None:
    """A checkpoint that the ledger says was made and that is no longer stored."""
    entries = LedgerEntry.objects.filter(kind=CHECKPOINTED).exclude(subject_id__in=Checkpoint.objects.values("pk")).order_by("number")
    number = entries.values_list("number", flat=True).first()
    return None if number is None else _Bad(number, f"the checkpoint that entry {number} names was removed", Tampering.REMOVED)


def _earliest(report: ChainReport, told: tuple[int, _Bad | None]) -> ChainReport:
    agreed, bad = told
    if bad is None or (report.first_bad is not None and report.first_bad <= bad.number):
        return replace(report, checkpoints=agreed)
    return ChainReport(bad.number - 1, report.head, bad.number, bad.reason, bad.tampering, agreed)
