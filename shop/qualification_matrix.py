"""People by processes: until which day each may do what, by the same rule that is asked at the press (`shop.use.person_use`)."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from django.db.models import Prefetch, Q, QuerySet

from shop.people import Person, Process, Qualification, ToolKind

WINDOWS = (30, 60, 90)
"""Days ahead in which a qualification counts as running out."""


@dataclass(frozen=True, slots=True)
class Column:
    """A process, for one kind of tool where the press asks for it. tool_kind empty: the process is asked without a tool."""

    process: str
    tool_kind: str

    def covers(self, qualification: Qualification) -> bool:
        """Whether a qualification is one for this column: without a kind of its own it holds for every kind of tool."""
        kinds = (qualification.tool_kind, self.tool_kind)
        return qualification.process == self.process and ("" in kinds or kinds[0] == kinds[1])


COLUMNS = (
    *(Column(Process.CRIMP, kind) for kind in (ToolKind.APPLICATOR, ToolKind.DIE_SET, ToolKind.HAND_TOOL, ToolKind.POWERED_HAND_TOOL)),
    *(Column(process, "") for process in (Process.STRIP, Process.INSPECT, Process.PULL_TEST, Process.CROSS_SECTION)),
)


@dataclass(frozen=True, slots=True)
class Cell:
    """How one person stands in one column.

    state: "current", "running out" (within `window` days), "later" (granted from a day to come), "expired", "withdrawn" or "none".
    day: the last good day; of "later" the first one; of "withdrawn" the day it was withdrawn; None where it does not expire, or is none.
    """

    state: str
    day: date | None = None
    window: int = 0
    qualification: int | None = None

    @property
    def is_current(self) -> bool:
        return self.state in ("current", "running out")


def cell_of(qualifications: Sequence[Qualification], column: Column, on: date) -> Cell:
    """The qualification that lasts longest decides; without a current one, the one that ended last."""
    fitting = [q for q in qualifications if column.covers(q)]
    current = [q for q in fitting if q.is_current(on)]
    if current:
        longest = max(current, key=lambda q: last_day(q) or date.max)
        day = last_day(longest)
        window = next((days for days in WINDOWS if day is not None and (day - on).days <= days), 0)
        return Cell("running out" if window else "current", day, window, longest.pk)
    coming = [q for q in fitting if q.granted_on > on and not (q.withdrawn_on and q.withdrawn_on <= q.granted_on)]
    if coming:
        first = min(coming, key=lambda q: q.granted_on)
        return Cell("later", first.granted_on, qualification=first.pk)
    if not fitting:
        return Cell("none")
    newest = max(fitting, key=lambda q: (last_day(q) or q.granted_on, q.pk))
    withdrawn = newest.withdrawn_on is not None and (newest.expires_on is None or newest.withdrawn_on <= newest.expires_on)
    return Cell("withdrawn" if withdrawn else "expired", newest.withdrawn_on if withdrawn else newest.expires_on, qualification=newest.pk)


def last_day(qualification: Qualification) -> date | None:
    """The last day on which it holds; None: it does not end. The day it is withdrawn is the first on which it no longer holds."""
    days = [] if qualification.expires_on is None else [qualification.expires_on]
    if qualification.withdrawn_on is not None:
        days.append(qualification.withdrawn_on - timedelta(days=1))
    return min(days, default=None)


def people_with_qualifications(role: str, words: str) -> QuerySet[Person]:
    """People with an open account, their roles and qualifications beside them."""
    rows = Person.objects.active().exclude(username="system")
    if role:
        rows = rows.with_role(role)  # type: ignore[arg-type]  # a role's own word, checked by the caller
    for word in words.split():
        rows = rows.filter(Q(name__icontains=word) | Q(username__icontains=word) | Q(badge__icontains=word))
    held = Prefetch("qualifications", Qualification.objects.order_by("granted_on", "pk"))
    return rows.prefetch_related("person_roles", held).order_by("name", "pk").distinct()
