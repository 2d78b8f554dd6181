"""Who looked at what: by thing, by person, by time; as a page and as CSV."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any
from urllib.parse import urlencode

from django.db.models import QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET

from records.pages.trail import Asked, asked_in
from records.trails import Subject, subject_of
from shop.desk_looks import Look, LookedAs
from shop.pages.acting import acting, require
from shop.pages.csv_answer import csv_answer
from shop.pages.paging import LongPaginator
from shop.people import Person
from shop.permissions import Deed
from shop.templatetags.shop import moment

PLACE = "prove"
PER_PAGE = 50


@dataclass(frozen=True, slots=True)
class LooksAsked:
    """What an address asks for. subject: the thing it is about; what: in which way it was looked at; words: a part of the thing's name."""

    span: Asked
    subject: Subject | None
    what: str
    words: str

    @property
    def query(self) -> str:
        pairs = [("what", self.what), ("about", self.words)]
        if self.subject:
            pairs += [("kind", self.subject.kind.replace(" ", "-")), ("thing", str(self.subject.pk))]
        own = urlencode([pair for pair in pairs if pair[1]])
        return "&".join(part for part in (own, self.span.query) if part)

    @property
    def is_filtered(self) -> bool:
        return bool(self.query)


@dataclass(frozen=True, slots=True)
class LookLine:
    look: Look
    url: str


@dataclass(frozen=True, slots=True)
class LooksPage:
    asked: LooksAsked
    people: list[Person]
    ways: list[tuple[str, str]]
    rows: Any
    lines: list[LookLine]
    csv_url: str


def looks_asked(data: Any) -> LooksAsked:
    kind, pk = data.get("kind", ""), data.get("thing", "")
    number = int(pk) if pk.isascii() and pk.isdigit() and len(pk) < 19 else 0
    what = data.get("what", "")
    return LooksAsked(
        span=asked_in(data),
        subject=subject_of(kind, number) if kind and number else None,
        what=what if what in LookedAs.values else "",
        words=data.get("about", "").replace("\0", "").strip()[:80],
    )


def looks_found(asked: LooksAsked) -> QuerySet[Look]:
    """The looks asked for, the newest first."""
    rows = Look.objects.within(asked.span.begin, asked.span.end).select_related("person")
    if asked.subject:
        rows = rows.filter(kind=asked.subject.kind, subject_id=asked.subject.pk)
    if asked.span.by:
        rows = rows.filter(person__username=asked.span.by)
    if asked.what:
        rows = rows.filter(what=asked.what)
    if asked.words:
        rows = rows.filter(name__icontains=asked.words)
    return rows


def _trail_of(look: Look) -> str:
    return reverse("prove:trail", args=[look.kind.replace(" ", "-"), look.subject_id]) if look.subject_id else ""


@require_GET
@acting
def looks(request: HttpRequest) -> HttpResponse:
    require(request, Deed.SEE_LOOKS)
    asked = looks_asked(request.GET)
    rows = LongPaginator(looks_found(asked), PER_PAGE).get_page(request.GET.get("page"))
    page = LooksPage(
        asked=asked,
        people=list(Person.objects.exclude(username="system").order_by("name", "pk")),
        ways=[(str(value), str(label)) for value, label in LookedAs.choices],
        rows=rows,
        lines=[LookLine(look, _trail_of(look)) for look in rows],
        csv_url=reverse("prove:looks-csv") + (f"?{asked.query}" if asked.query else ""),
    )
    return render(request, "prove/looks.html", {"place": PLACE, "page": page})


@require_GET
@acting
def looks_csv(request: HttpRequest) -> HttpResponse:
    require(request, Deed.SEE_LOOKS)
    heads = [_("Time"), _("Person"), _("User name"), _("Kind"), _("Thing"), _("Looked at as"), _("Through")]
    rows = (
        [moment(one.at), one.person.name, one.person.username, one.kind, one.name, one.get_what_display(), one.get_door_display()]
        for one in looks_found(looks_asked(request.GET)).iterator(500)
    )
    return csv_answer("looks.csv", heads, rows)
