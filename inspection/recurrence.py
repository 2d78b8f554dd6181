"""Which findings recur: the same defect at the same thing, at least so many times within so many days. Pure.

The rule is common practice without a source; the shop sets its two numbers (`RECURRING_FINDINGS`, `RECURRING_DAYS`).
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta


@dataclass(frozen=True, slots=True)
class Occurrence:
    """A finding. kind: of defect; thing: key of what it is counted by, such as a tool."""

    kind: str
    thing: int
    at: datetime


@dataclass(frozen=True, slots=True)
class Recurrence:
    """Every finding of one kind at one thing. most: the largest number within the shop's span of days."""

    kind: str
    thing: int
    count: int
    first: datetime
    last: datetime
    most: int
    recurs: bool


def most_within(times: Iterable[datetime], span: timedelta) -> int:
    """The largest number of moments of which the last is at most `span` after the first; 0 for none."""
    ordered = sorted(times)
    most = begin = 0
    for end, moment in enumerate(ordered):
        while moment - ordered[begin] > span:
            begin += 1
        most = max(most, end - begin + 1)
    return most


def recurrences(occurrences: Iterable[Occurrence], *, least: int, span: timedelta) -> list[Recurrence]:
    """One line for each kind and thing: what recurs first, then the most frequent, then the newest.

    least: from how many findings within `span` a defect is called recurring.
    """
    times: dict[tuple[str, int], list[datetime]] = {}
    for one in occurrences:
        times.setdefault((one.kind, one.thing), []).append(one.at)
    lines = []
    for (kind, thing), moments in times.items():
        most = most_within(moments, span)
        lines.append(Recurrence(kind, thing, len(moments), min(moments), max(moments), most, most >= least))
    return sorted(lines, key=lambda line: (not line.recurs, -line.count, -line.last.timestamp(), line.kind, line.thing))
