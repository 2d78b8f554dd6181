"""Did a corrective action work: what was looked at since, held against a measure that was stated beforehand. Pure.

Only pieces that somebody looked at count. A look at piece 120 of a batch speaks for its pieces up to 120; a batch in which nobody
looked for the defect says nothing, however many pieces it made.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum


class Counted(StrEnum):
    """What a measure counts."""

    PIECES = "pieces"
    BATCHES = "batches"
    DATE = "date"


class Answer(StrEnum):
    WAITING = "waiting"
    WORKED = "worked"
    FAILED = "did not work"
    UNDECIDED = "cannot be decided"


@dataclass(frozen=True, slots=True)
class Look:
    """Somebody looked for the defect. at_count: pieces of the batch made then; found: it was there."""

    at_count: int
    at: datetime
    found: bool


@dataclass(frozen=True, slots=True)
class Run:
    """A batch that was opened after the actions were done."""

    batch: str
    opened_at: datetime
    closed: bool
    looks: tuple[Look, ...]


@dataclass(frozen=True, slots=True)
class Effect:
    """The answer with its numbers. pieces, batches, looks: that count so far; findings: among them, `first` being the earliest batch.

    reported: nonconformances of the same defect that came in otherwise, such as a customer's complaint.
    """

    answer: Answer
    pieces: int
    batches: int
    looks: int
    findings: int
    first: str
    reported: int


def effect(
    counted: Counted,
    runs: Iterable[Run],
    *,
    target: int = 0,
    until: datetime | None = None,
    at: datetime,
    reported: int = 0,
) -> Effect:
    """Hold what was looked at against the measure.

    target: how many pieces or batches without a finding; until: end of the time without one (exclusive), for `Counted.DATE`.
    at: the moment of asking. Raises ValueError for a measure that can never be reached.

    One finding within the measure and it did not work. A finding at a look that reaches beyond the target counts: nobody knows which of
    the pieces before it was the first. Batches are taken in the order in which they were opened.
    """
    if counted is Counted.DATE:
        if until is None:
            raise ValueError("this measure needs an end")
    elif target < 1:
        raise ValueError("nothing is proven by no piece and no batch")
    looked = sorted((run for run in runs if run.looks), key=lambda run: (run.opened_at, run.batch))
    within = _within(counted, looked, target, until)
    found = [(run.batch, look) for run, looks in within for look in looks if look.found]
    pieces = sum(max(look.at_count for look in looks) for _run, looks in within)
    looks = sum(len(looks) for _run, looks in within)
    if found or reported:
        answer = Answer.FAILED
    elif counted is Counted.PIECES:
        answer = Answer.WORKED if pieces >= target else Answer.WAITING
    elif counted is Counted.BATCHES:
        done = sum(run.closed for run, _looks in within)
        answer = Answer.WORKED if done >= target else Answer.WAITING
    elif until is not None and at < until:
        answer = Answer.WAITING
    else:
        answer = Answer.WORKED if looks else Answer.UNDECIDED
    return Effect(answer, pieces, len(within), looks, len(found), found[0][0] if found else "", reported)


def _within(counted: Counted, looked: list[Run], target: int, until: datetime | None) -> list[tuple[Run, tuple[Look, ...]]]:
    """The looks that count for the measure, by batch."""
    if counted is Counted.BATCHES:
        return [(run, run.looks) for run in looked[:target]]
    if counted is Counted.DATE:
        timely = [(run, tuple(look for look in run.looks if until is not None and look.at < until)) for run in looked]
        return [(run, looks) for run, looks in timely if looks]
    within: list[tuple[Run, tuple[Look, ...]]] = []
    before = 0
    for run in looked:
        if before >= target:
            break
        taken: list[Look] = []
        reached = before
        for look in sorted(run.looks, key=lambda one: one.at_count):
            # All looks at the count that reaches the target are at the same piece: none of them may be left out.
            if reached >= target and before + look.at_count > reached:
                break
            taken.append(look)
            reached = before + look.at_count
        within.append((run, tuple(taken)))
        before = reached
    return within
