"""Questions that a person keeps: on the prove start page, beside the lists they ask, and here to name, order, share and delete them."""

from __future__ import annotations

from dataclasses import dataclass

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_POST

from shop.acts.saved_searches import change_search, delete_search, save_search
from shop.clock import now
from shop.pages.acting import Refusal, acting, person_of
from shop.permissions import Deed, may
from shop.saved_searches import SavedSearch


@dataclass(frozen=True, slots=True)
class SavedPage:
    """own: the person's, in their order; shared: what others show to everybody. name, address: of one that is being saved."""

    own: list[SavedSearch]
    shared: list[SavedSearch]
    may_share: bool
    may_take_away: bool
    name: str
    address: str
    is_shared: bool


def _page(request: HttpRequest, *, refusal: Refusal | None = None, **_given: object) -> HttpResponse:
    person = person_of(request)
    rows = list(SavedSearch.objects.for_person(person))
    data = request.POST if refusal else request.GET
    page = SavedPage(
        own=[row for row in rows if row.owner_id == person.pk],
        shared=[row for row in rows if row.owner_id != person.pk],
        may_share=may(person, Deed.SHARE_SEARCH),
        may_take_away=may(person, Deed.CHANGE_PEOPLE),
        name=data.get("name", ""),
        address=data.get("address", ""),
        is_shared=bool(data.get("is_shared")),
    )
    return render(request, "saved.html", {"place": "prove", "page": page, "refusal": refusal})


@require_GET
def saved(request: HttpRequest) -> HttpResponse:
    return _page(request)


@require_POST
@acting(again=_page)
def save(request: HttpRequest) -> HttpResponse:
    data = request.POST
    row = save_search(
        name=data.get("name", ""),
        address=data.get("address", ""),
        is_shared=bool(data.get("is_shared")),
        by=person_of(request),
        at=now(),
    )
    messages.success(request, _("Saved as “{name}”.").format(name=row.name))
    return redirect(row.address)


@require_POST
@acting(again=_page)
def change(request: HttpRequest, pk: int) -> HttpResponse:
    row, place = get_object_or_404(SavedSearch.objects.select_related("owner"), pk=pk), request.POST.get("position", "")
    change_search(
        search=row,
        name=request.POST.get("name", ""),
        is_shared=bool(request.POST.get("is_shared")),
        position=int(place) if place.isascii() and place.isdigit() and len(place) < 6 else None,
        by=person_of(request),
    )
    messages.success(request, _("Saved."))
    return redirect("saved")


@require_POST
@acting(again=_page)
def delete(request: HttpRequest, pk: int) -> HttpResponse:
    row = get_object_or_404(SavedSearch.objects.select_related("owner"), pk=pk)
    delete_search(search=row, by=person_of(request))
    messages.success(request, _("“{name}” is deleted.").format(name=row.name))
    return redirect("saved")
