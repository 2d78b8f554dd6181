"""A list of the catalogue: filters and sort in its address, pages without counting everything, and one state for many rows."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Any

from django.contrib import messages
from django.core.paginator import Page
from django.db import models
from django.http import Http404, HttpRequest, HttpResponse, QueryDict
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_GET, require_POST

from shop.acts.catalogue import set_states
from shop.acts.states_by_file import by_file_of, permission_by_file
from shop.catalogue import Kind
from shop.clock import now, shop_day
from shop.pages.acting import Refusal, acting, person_of
from shop.pages.catalogue import Crumb, crumbs, kind_or_404
from shop.pages.paging import LongPaginator
from shop.pages.showing import Head, Row, Sorting, heads, model_field, row_of, system_of
from shop.permissions import Deed, may

PER_PAGE = 50


@dataclass(frozen=True, slots=True)
class Filter:
    """A choice in the sentence above the list."""

    name: str
    label: str
    any_word: str
    options: list[tuple[str, str]]
    chosen: str


@dataclass(frozen=True, slots=True)
class ListPage:
    kind: Kind
    crumbs: list[Crumb]
    heads: list[Head]
    rows: Page[Any]
    lines: list[Row]
    filters: list[Filter]
    words: str
    sort: str
    count: str
    has_standing: bool
    is_filtered: bool
    new_url: str
    import_url: str
    export_query: str
    by_file_url: str  # where a file changes states or withdraws
    by_file_word: str
    states: list[tuple[str, str]]  # what may be done with many rows at once; empty: nothing
    chosen: frozenset[int]
    state: str
    reason: str


@require_GET
def listing(request: HttpRequest, slug: str) -> HttpResponse:
    return _listing(request, slug)


def _listing(request: HttpRequest, slug: str, *, refusal: Refusal | None = None) -> HttpResponse:
    kind, person, on = kind_or_404(slug), person_of(request), shop_day(now())
    system = system_of(person)
    words = request.GET.get("q", "").strip()
    rows, filters = chosen_rows(kind, request.GET, on)
    sorting = _sorting(kind, request.GET)
    if sorting.by:
        rows = rows.order_by(("-" if sorting.descending else "") + sorting.by, "pk")
    paginator = LongPaginator(rows, PER_PAGE)
    page_rows = paginator.get_page(request.GET.get("page"))
    permitted = may(person, kind.deed)
    page = ListPage(
        kind=kind,
        crumbs=crumbs(),
        heads=heads(kind, kind.columns, system, sorting),
        rows=page_rows,
        lines=[row_of(kind, kind.columns, item, system, on) for item in page_rows],
        filters=filters,
        words=words,
        sort=request.GET.get("sort", "") if sorting.by else "",
        count=paginator.counted(_("%(count)s entry"), _("%(count)s entries")),
        has_standing=kind.standing is not None,
        is_filtered=bool(words or any(made.chosen for made in filters)),
        new_url=reverse("shop:new", args=[slug]) if permitted else "",
        import_url=reverse("shop:import", args=[slug]) if permitted else "",
        export_query=list_query(request.GET),
        by_file_url=reverse("shop:states-file", args=[slug]) if by_file_of(kind) and not permission_by_file(kind, person) else "",
        by_file_word=_("Withdraw by a file") if by_file_of(kind) == "withdraw" else _("States by a file"),
        states=states_of(kind) if permitted or may(person, Deed.DECIDE_HOLD) else [],
        chosen=frozenset(_ticked(request)),
        state=request.POST.get("state", ""),
        reason=request.POST.get("state_reason", ""),
    )
    return render(request, "catalogue/list.html", {"page": page, "place": "shop", "refusal": refusal})


def states_of(kind: Kind) -> list[tuple[str, str]]:
    """The states of a kind that is put on hold, released or taken out of use; empty for any other."""
    if by_file_of(kind) != "state":
        return []
    field = model_field(kind.model, "state")
    return [(str(value), str(label)) for value, label in (field.choices if field else None) or []]


def _ticked(request: HttpRequest) -> list[int]:
    return [int(pk) for pk in request.POST.getlist("pk") if pk.isdigit()]


@require_POST
@acting(again=lambda request, slug, refusal=None: _listing(request, slug, refusal=refusal))
def change_states(request: HttpRequest, slug: str) -> HttpResponse:
    """One state and one reason for every ticked row: all of them or none."""
    kind = kind_or_404(slug)
    if not states_of(kind):
        raise Http404
    items = list(kind.model._default_manager.filter(pk__in=_ticked(request)))
    changed = set_states(
        items=items, state=request.POST.get("state", ""), reason=request.POST.get("state_reason", ""), by=person_of(request), at=now()
    )
    messages.success(request, ngettext("%(count)s state is changed.", "%(count)s states are changed.", changed) % {"count": changed})
    return redirect(f"{reverse('shop:list', args=[slug])}{list_query(request.GET)}")


def chosen_rows(kind: Kind, query: QueryDict, on: date) -> tuple[models.QuerySet[Any], list[Filter]]:
    """The items that a list's address asks for, and its filters."""
    rows = kind.items(on)
    words = query.get("q", "").strip()
    if words:
        rows = kind.matching(rows, words)
    filters = [_filter(kind, name, query.get(_short(name), "")) for name in kind.filters]
    for name, made in zip(kind.filters, filters, strict=True):
        if made.chosen:
            rows = rows.filter(**{name: made.chosen})
    return rows, filters


def _short(name: str) -> str:
    """The filter's name in the address: the last part of its path."""
    return name.rpartition("__")[2]


def _filter(kind: Kind, name: str, chosen: str) -> Filter:
    field = model_field(kind.model, name)
    assert field is not None  # noqa: S101  # filters are columns
    options = [(str(value), str(label)) for value, label in field.choices or [] if value]
    label = str(field.verbose_name)
    known = chosen if chosen in dict(options) else ""
    return Filter(_short(name), label, _("any {label}").format(label=label), options, known)


def list_query(query: QueryDict) -> str:
    """The list's filters as they stand, for the address of its file."""
    kept = query.copy()
    kept.pop("page", None)
    return f"?{kept.urlencode()}" if kept else ""


def _sorting(kind: Kind, query: QueryDict) -> Sorting:
    wanted = query.get("sort", "")
    kept = query.copy()
    for name in ("sort", "page"):
        kept.pop(name, None)
    sortable = {column.names[0] for column in kind.columns if model_field(kind.model, column.names[0]) is not None}
    by = wanted.removeprefix("-")
    return Sorting(by if by in sortable else "", wanted.startswith("-"), kept.urlencode())
