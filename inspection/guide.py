"""What a sample still asks for, in the order of measuring, and about how long it takes. Pure."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from statistics import median

SECONDS = {"reading": 15.0, "pull": 40.0, "look": 4.0, "section": 300.0, "sign": 15.0, "inspector": 60.0}
"""Usual times for one of each, in seconds: estimates for the first pieces of a sample (common practice, no source)."""
LONGEST_GAP_S = 180.0
"""Between two values: beyond that somebody was called away, which says nothing of the pace."""
FEWEST_GAPS = 3


@dataclass(frozen=True, slots=True)
class Step:
    """One thing that is done so many times. kind: a key of SECONDS. name: in words, for the screen."""

    kind: str
    name: str
    done: int
    of: int

    @property
    def is_done(self) -> bool:
        return self.done >= self.of


@dataclass(frozen=True, slots=True)
class Guide:
    """steps in order. present: the place of the first that is not done, from 0; as many as there are steps when all are.

    seconds: about how long the rest takes.
    """

    steps: tuple[Step, ...]
    present: int
    seconds: float


def guide(steps: Sequence[Step], gaps_s: Sequence[float] = ()) -> Guide:
    """gaps_s: seconds between the values of this sample so far; from three on they say how fast this person goes with a reading."""
    present = next((place for place, step in enumerate(steps) if not step.is_done), len(steps))
    pace = reading_pace(gaps_s)
    seconds = sum((step.of - step.done) * (pace if step.kind == "reading" else SECONDS[step.kind]) for step in steps if not step.is_done)
    return Guide(tuple(steps), present, seconds)


def reading_pace(gaps_s: Sequence[float]) -> float:
    """Seconds for one reading: the middle of the gaps, where there are enough of them."""
    counted = [gap for gap in gaps_s if 0 < gap <= LONGEST_GAP_S]
    return median(counted) if len(counted) >= FEWEST_GAPS else SECONDS["reading"]
