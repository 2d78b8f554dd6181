"""What recurs: the same kind of defect at the same thing, how often, how much of what was made, and whether somebody works on it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils.http import urlencode
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET

from inspection.defect_kinds import kind_words
from inspection.defects import asked
from inspection.occurrences import BY_WORDS, By, Recurring, recurring
from inspection.pages.charts import chart_crumbs
from inspection.pages.studies import PLACE
from inspection.study_kinds.words import figure
from shop.clock import now, shop_day
from shop.pages.acting import acting, person_of, require
from shop.pages.catalogue import Crumb
from shop.people import Person
from shop.permissions import Deed, may

MOST = 200
"""Lines on the page: what recurs comes first, so that nothing of it is cut."""

PREFILLS = (By.TOOL, By.TERMINAL, By.WIRE, By.PRESS, By.PERSON)


@dataclass(frozen=True, slots=True)
class KnownRecord:
    number: str
    url: str
    word: str


@dataclass(frozen=True, slots=True)
class RecurringRow:
    """records: nonconformances of the same; open_url, reopen_url: "" where the reader may not, or nothing was found since."""

    defect: str
    name: str
    count: int
    most: int
    recurs: bool
    pieces: int | None
    per_thousand: str
    first: datetime
    last: datetime
    records: list[KnownRecord]
    open_url: str
    reopen_url: str


@dataclass(frozen=True, slots=True)
class RecurringPage:
    crumbs: list[Crumb]
    by: str
    by_word: str
    choices: list[tuple[str, str]]
    tool: str
    terminal: str
    job: str
    since: str
    until: str
    rows: list[RecurringRow]
    cut: int
    recurs: int
    least: int
    days: int
    of_people: bool
    caution: str


def by_of(text: str) -> By:
    return By(text) if text in set(By) else By.TOOL


def choices_for(person: Person) -> list[By]:
    """What a reader may count by: findings by person are quality's and the administrator's alone."""
    return [by for by in By if by is not By.PERSON or may(person, Deed.SEE_FINDINGS_BY_PERSON)]


@require_GET
@acting
def recurring_page(request: HttpRequest) -> HttpResponse:
    by = by_of(request.GET.get("by", ""))
    person = require(request, Deed.SEE_FINDINGS_BY_PERSON) if by is By.PERSON else person_of(request)
    ask = asked(request.GET.dict(), shop_day(now()))
    found = recurring(ask, by)
    page = RecurringPage(
        crumbs=chart_crumbs(Crumb(_("Defects"), reverse("studies:defects")), Crumb(_("What recurs"))),
        by=by.value,
        by_word=str(BY_WORDS[by]).capitalize(),
        choices=[(one.value, str(BY_WORDS[one])) for one in choices_for(person)],
        tool=ask.tool,
        terminal=ask.terminal,
        job=ask.job,
        since=f"{shop_day(ask.since):%Y-%m-%d}",
        until=request.GET.get("until", "")[:10],
        rows=[_row(line, by, person) for line in found[:MOST]],
        cut=max(0, len(found) - MOST),
        recurs=sum(line.of.recurs for line in found),
        least=settings.RECURRING_FINDINGS,
        days=settings.RECURRING_DAYS,
        of_people=by is By.PERSON,
        caution=_(
            "This list is for planning training, not for judging people. Who makes more, and who is given the difficult leads, finds more: "
            "read the number per thousand, look at tool, terminal and document first, and ask what training was missing."
        ),
    )
    return render(request, "studies/recurring.html", {"page": page, "place": PLACE})


def _row(line: Recurring, by: By, person: Person) -> RecurringRow:
    records = [
        KnownRecord(record.number, reverse("prove:nonconformance", args=[record.number]), str(record.get_state_display()))
        for record in line.records[:3]
    ]
    worked_on = any(record.is_open for record in line.records)
    closed = [record for record in line.records if not record.is_open]
    begins = {"kind": line.of.kind} | ({by.value: line.number} if by in PREFILLS else {})
    open_url = f"{reverse('prove:nonconformance-new')}?{urlencode(begins)}" if may(person, Deed.OPEN_NONCONFORMANCE) else ""
    ended = max((record.closed_at for record in closed if record.closed_at), default=None)
    answered = worked_on or (ended is not None and line.of.last <= ended)  # nothing was found since
    reopen = bool(closed) and may(person, Deed.CLOSE_NONCONFORMANCE) and not answered
    return RecurringRow(
        defect=kind_words(line.of.kind),
        name=line.name,
        count=line.of.count,
        most=line.of.most,
        recurs=line.of.recurs,
        pieces=line.pieces,
        per_thousand="" if line.per_thousand is None else figure(line.per_thousand),
        first=line.of.first,
        last=line.of.last,
        records=records,
        open_url="" if answered else open_url,
        reopen_url=reverse("prove:nonconformance-step", args=[closed[0].number, "reopen"]) if reopen else "",
    )
