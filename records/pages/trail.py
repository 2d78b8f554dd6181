"""The audit trail of one thing in plain words: as a page, as CSV and as a document."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from typing import Any
from urllib.parse import urlencode

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_POST

from records.acts.document_orders import is_long, order_document
from records.acts.reports import issue_audit_trail
from records.document_orders import TrailAsked
from records.models import LedgerEntry
from records.pages.sealing import sealing
from records.trails import Subject, TrailLine, entries_about, subject_of, trail
from shop.clock import now
from shop.pages.acting import acting, person_of
from shop.pages.csv_answer import csv_answer
from shop.pages.paging import LongPaginator
from shop.people import Person
from shop.permissions import Deed, may
from shop.templatetags.shop import moment

PLACE = "prove"
PER_PAGE = 50


@dataclass(frozen=True, slots=True)
class Asked:
    """What the address asks for. since, until: days of the shop, both included; by: a user name."""

    since: date | None
    until: date | None
    by: str

    @property
    def begin(self) -> datetime | None:
        return _midnight(self.since)

    @property
    def end(self) -> datetime | None:
        return _midnight(self.until + timedelta(days=1)) if self.until and self.until < date.max else None

    @property
    def query(self) -> str:
        pairs = [("from", self.since), ("to", self.until), ("by", self.by)]
        return urlencode([(name, str(value)) for name, value in pairs if value])


@dataclass(frozen=True, slots=True)
class TrailPage:
    """rows: a page of entries for the pager; lines: the same in words."""

    subject: Subject
    asked: Asked
    people: list[Person]
    rows: Any
    lines: list[TrailLine]
    csv_url: str
    issue_url: str
    may_issue: bool
    looks_url: str


def _day(text: str) -> date | None:
    try:
        return date.fromisoformat(text.strip())
    except ValueError:
        return None


def _midnight(day: date | None) -> datetime | None:
    return timezone.make_aware(datetime.combine(day, time.min), timezone.get_default_timezone()) if day else None


def asked_in(data: Any) -> Asked:
    """From the fields `from`, `to` and `by`; a day that is none is not asked for."""
    return Asked(_day(data.get("from", "")), _day(data.get("to", "")), data.get("by", "").strip().replace("\0", ""))


def _found(kind: str, pk: int) -> Subject:
    subject = subject_of(kind, pk)
    if subject is None:
        raise Http404(f"nothing is known about {kind} {pk}")
    return subject


@require_GET
def trail_page(request: HttpRequest, kind: str, pk: int) -> HttpResponse:
    subject, asked = _found(kind, pk), asked_in(request.GET)
    rows = LongPaginator(entries_about(subject, begin=asked.begin, end=asked.end, by=asked.by), PER_PAGE).get_page(request.GET.get("page"))
    own = LedgerEntry.objects.filter(pk__in=entries_about(subject).order_by().values("pk")).order_by()
    query = f"?{asked.query}" if asked.query else ""
    page = TrailPage(
        subject=subject,
        asked=asked,
        people=list(Person.objects.filter(pk__in=own.values("by")).order_by("name", "pk")),
        rows=rows,
        lines=trail(subject, rows),
        csv_url=reverse("prove:trail-csv", args=[kind, pk]) + query,
        issue_url=reverse("prove:trail-issue", args=[kind, pk]) + query,
        may_issue=may(person_of(request), Deed.ISSUE_DOCUMENT),
        looks_url=f"{reverse('prove:looks')}?{urlencode({'kind': kind, 'thing': pk})}" if may(person_of(request), Deed.SEE_LOOKS) else "",
    )
    return render(request, "prove/trail.html", {"place": PLACE, "page": page})


@require_GET
def trail_csv(request: HttpRequest, kind: str, pk: int) -> HttpResponse:
    """The whole trail, one row an entry."""
    subject, asked = _found(kind, pk), asked_in(request.GET)
    heads = [_("Entry"), _("Time"), _("By"), _("About"), _("What happened"), _("Changes"), _("Because"), _("Signed as")]
    rows = (
        [str(one.number), moment(one.at), one.by, one.about, one.told.what, "; ".join(one.told.changes), one.told.reason, one.signed_as]
        for one in trail(subject, entries_about(subject, begin=asked.begin, end=asked.end, by=asked.by).iterator(500))
    )
    return csv_answer(f"audit-trail-{kind}-{pk}.csv", heads, rows)


@require_POST
@acting
@sealing
def trail_issue(request: HttpRequest, kind: str, pk: int) -> HttpResponse:
    """The trail as a sealed document; a long one is left to the worker."""
    subject, asked = _found(kind, pk), asked_in(request.GET)
    trail_asked = TrailAsked(subject.kind, subject.pk, subject.name, asked.begin, asked.end, asked.by)
    if is_long(trail_asked):
        return redirect("prove:document-order", pk=order_document(of=trail_asked, by=person_of(request), at=now()).pk)
    document = issue_audit_trail(subject=subject, begin=asked.begin, end=asked.end, about_person=asked.by, by=person_of(request), at=now())
    return redirect("prove:document", number=document.number, issue=document.issue)
