"""The prove start page: one field that finds whatever carries a number or a name; a scanned label opens its thing at once."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from django.core.paginator import Paginator
from django.db.models import Q
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_GET

from records.models import LedgerEntry
from records.pages.trace import thing_found
from records.queries import SearchPage, search_page, url_of
from records.search import Group, Hit, exactly, of_kind, overview
from records.search_kinds import SearchKind, kinds_for, titles
from records.telling import Told
from records.trails import in_words
from shop.long_lists import COUNTED
from shop.pages.acting import person_of
from shop.people import Person
from shop.permissions import Deed, may

PLACE = "prove"
PER_PAGE = 50
ENTRIES_SHOWN = 5
BIGGEST = 2**63 - 1


@dataclass(frozen=True, slots=True)
class EntryLine:
    """A ledger entry about something that was found by its exact number."""

    entry: LedgerEntry
    told: Told


@dataclass(frozen=True, slots=True)
class AnswerPage:
    """groups: the best of each kind, where no kind was chosen; rows: a page of one kind's hits; is_cut: there are more than are counted.

    searched: the kinds that were looked through, in words.
    """

    asked: str
    chosen: str
    kinds: list[tuple[str, str]]
    groups: list[Group]
    rows: Any
    is_cut: bool
    entries: list[EntryLine]
    searched: str

    @property
    def is_empty(self) -> bool:
        return not self.groups and not self.entries and not (self.rows and self.rows.object_list)


def _opens(hit: Hit) -> str:
    """Where a scanned label leads: what went into the thing or what it went into, if it is something that is traced."""
    return url_of(thing_found(hit.kind.trace, hit.pk)) if hit.kind.trace else hit.url


def _entries(asked: str, exact: Sequence[Hit]) -> list[EntryLine]:
    """The newest entries about what carries exactly this number, and the entry that has it itself."""
    wanted = Q()
    for hit in exact[:3]:
        if hit.kind.trail:
            wanted |= Q(subject_kind=hit.kind.trail, subject_id=hit.pk)
    if asked.isascii() and asked.isdigit() and int(asked) <= BIGGEST:
        wanted |= Q(number=int(asked))
    if not wanted:
        return []
    rows = LedgerEntry.objects.filter(wanted).select_related("by").order_by("-number")[:ENTRIES_SHOWN]
    return [EntryLine(entry, in_words(entry)) for entry in rows]


def _answer(asked: str, kind: SearchKind | None, kinds: list[SearchKind], exact: list[Hit], page: Any) -> AnswerPage:
    hits = of_kind(asked, kind) if kind else []
    return AnswerPage(
        asked=asked,
        chosen=kind.slug if kind else "",
        kinds=titles(kinds),
        groups=[] if kind else overview(asked, kinds),
        rows=Paginator(hits[:COUNTED], PER_PAGE).get_page(page) if kind else None,
        is_cut=len(hits) > COUNTED,
        entries=[] if kind else _entries(asked, exact),
        searched=", ".join(str(one.title).lower() for one in ([kind] if kind else kinds)),
    )


@dataclass(frozen=True, slots=True)
class StartPage:
    """What stands there before anything is asked: what was built and shipped last. answer: None before anything is asked."""

    answer: AnswerPage | None
    asked: str
    chosen: str
    kinds: list[tuple[str, str]]
    lists: SearchPage | None
    may_build: bool
    may_ship: bool
    may_see_looks: bool


def _start(person: Person, answer: AnswerPage | None, kinds: list[SearchKind]) -> StartPage:
    return StartPage(
        answer=answer,
        asked=answer.asked if answer else "",
        chosen=answer.chosen if answer else "",
        kinds=titles(kinds),
        lists=None if answer else search_page(),
        may_build=may(person, Deed.BUILD_LOT),
        may_ship=may(person, Deed.SHIP),
        may_see_looks=may(person, Deed.SEE_LOOKS),
    )


@require_GET
def search(request: HttpRequest) -> HttpResponse:
    """One field for every number and name. What carries exactly this number and is the only one opens at once."""
    person, asked = person_of(request), " ".join(request.GET.get("number", "").replace("\0", " ").split())[:200]
    kinds = kinds_for(person)
    kind = next((one for one in kinds if one.slug == request.GET.get("kind", "")), None)
    answer = None
    if asked:
        exact = exactly(asked, kinds)
        if len(exact) == 1 and kind is None and "all" not in request.GET:
            return redirect(_opens(exact[0]))
        answer = _answer(asked, kind, kinds, exact, request.GET.get("page"))
    return render(request, "prove/search.html", {"place": PLACE, "page": _start(person, answer, kinds)})
