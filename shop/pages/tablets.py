"""The tablets of the shop at the desk: which there are, making a code for one, moving and revoking."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

import segno
from django import forms
from django.conf import settings
from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_GET, require_POST

from shop.acts.tablets import Offer, move_tablet, offer_tablet, revoke_tablet
from shop.beside import Beside, BesideLine, Opening, register
from shop.clock import now
from shop.finding import Refused
from shop.forms.fields import KeyField
from shop.pages.acting import Refusal, acting, person_of
from shop.pages.catalogue import Crumb, crumbs
from shop.people import Person
from shop.permissions import Deed, may
from shop.stations import Station, Tablet
from shop.validation import findings_from


class OfferForm(forms.Form):
    name = forms.CharField(label=gettext_lazy("Name of the tablet"), max_length=60, help_text=gettext_lazy("As written on it: T-01."))
    station = KeyField(Station, "code", only={"is_active": True}, label=gettext_lazy("Station"))

    def __init__(self, *args: object, **options: object) -> None:
        super().__init__(*args, **options)  # type: ignore[arg-type]  # handed through
        self.fields["station"].offer()  # type: ignore[attr-defined]  # a KeyField


@dataclass(frozen=True, slots=True)
class TabletLine:
    name: str
    station: str
    enrolled: datetime | None
    by: str
    seen: datetime | None
    outcome: str
    word: str
    because: str
    url: str
    live: bool


@dataclass(frozen=True, slots=True)
class Code:
    """A code as it is shown once: to type, and as a picture that opens the page with it."""

    tablet: str
    station: str
    text: str
    until: datetime
    url: str
    picture: str


@dataclass(frozen=True, slots=True)
class TabletsPage:
    """form: None for who may not enrol."""

    crumbs: list[Crumb]
    lines: list[TabletLine]
    form: OfferForm | None
    code: Code | None
    only_enrolled: bool


@dataclass(frozen=True, slots=True)
class TabletPage:
    crumbs: list[Crumb]
    tablet: TabletLine
    may_change: bool
    stations: Sequence[Station]


def line_of(tablet: Tablet, at: datetime) -> TabletLine:
    outcome, word = "conforms", _("enrolled")
    if tablet.revoked_at is not None:
        outcome, word = "does not conform", _("revoked")
    elif tablet.waits_for_code(at):
        outcome, word = "waiting", _("waits for its code")
    elif tablet.enrolled_at is None:
        outcome, word = "waiting", _("its code ran out")
    by = tablet.enrolled_by.name if tablet.enrolled_by else tablet.offered_by.name
    return TabletLine(
        name=tablet.name,
        station=tablet.station.code,
        enrolled=tablet.enrolled_at,
        by=by,
        seen=tablet.last_seen_at,
        outcome=outcome,
        word=word,
        because=tablet.revoked_because,
        url=reverse("shop:tablet", args=[tablet.pk]),
        live=tablet.revoked_at is None,
    )


def _rows() -> list[Tablet]:
    return list(Tablet.objects.select_related("station", "enrolled_by", "offered_by").order_by("station__code", "name"))


def _page(request: HttpRequest, *, refusal: Refusal | None = None, offer: Offer | None = None) -> HttpResponse:
    at, form = now(), None
    if may(person_of(request), Deed.ENROL_TABLETS):
        wanted = {"station": request.GET.get("station", ""), "name": request.GET.get("name", "")}
        form = OfferForm(request.POST) if refusal else OfferForm(initial={name: value for name, value in wanted.items() if value})
        if refusal:
            refusal.tell(form)
    page = TabletsPage(
        crumbs=[*crumbs(), Crumb(_("Tablets"))],
        lines=[line_of(tablet, at) for tablet in _rows()],
        form=form,
        code=_code(offer) if offer else None,
        only_enrolled=settings.REQUIRE_ENROLLED_TABLETS,
    )
    return render(request, "catalogue/tablets.html", {"page": page, "refusal": refusal, "place": "shop"})


def _code(offer: Offer) -> Code:
    url = f"{settings.PUBLIC_URL}/make/enrol/?code={offer.code}"
    picture = segno.make_qr(url, error="m").svg_data_uri(scale=6, border=4, dark="#000", light="#fff")
    return Code(offer.tablet.name, offer.tablet.station.code, offer.code, offer.until, f"{settings.PUBLIC_URL}/make/enrol/", picture)


@never_cache
@acting
def tablets(request: HttpRequest) -> HttpResponse:
    return _offer(request) if request.method == "POST" else _page(request)


@acting(again=_page)
def _offer(request: HttpRequest) -> HttpResponse:
    """The code is on the answer itself: the database does not know it, so no other page can show it."""
    form = OfferForm(request.POST)
    if not form.is_valid():
        raise Refused(findings_from(ValidationError(form.errors.as_data())))
    offer = offer_tablet(name=form.cleaned_data["name"], station=form.cleaned_data["station"], by=person_of(request), at=now())
    return _page(request, offer=offer)


def _one(request: HttpRequest, pk: int, *, refusal: Refusal | None = None) -> HttpResponse:
    tablet = get_object_or_404(Tablet.objects.select_related("station", "enrolled_by", "offered_by"), pk=pk)
    page = TabletPage(
        crumbs=[*crumbs(), Crumb(_("Tablets"), reverse("shop:tablets")), Crumb(tablet.name)],
        tablet=line_of(tablet, now()),
        may_change=may(person_of(request), Deed.ENROL_TABLETS),
        stations=list(Station.objects.filter(is_active=True).exclude(pk=tablet.station_id)),
    )
    return render(request, "catalogue/tablet.html", {"page": page, "refusal": refusal, "place": "shop"})


@require_GET
def tablet(request: HttpRequest, pk: int) -> HttpResponse:
    return _one(request, pk)


@require_POST
@acting(again=_one)
def move(request: HttpRequest, pk: int) -> HttpResponse:
    station = get_object_or_404(Station, code=request.POST.get("station", ""))
    moved = move_tablet(
        tablet=get_object_or_404(Tablet, pk=pk), station=station, reason=request.POST.get("reason", ""), by=person_of(request), at=now()
    )
    messages.success(request, _("Tablet {name} stands at station {station} now.").format(name=moved.name, station=station.code))
    return redirect("shop:tablet", pk)


@require_POST
@acting(again=_one)
def revoke(request: HttpRequest, pk: int) -> HttpResponse:
    revoked = revoke_tablet(
        tablet=get_object_or_404(Tablet, pk=pk), reason=request.POST.get("revoked_because", ""), by=person_of(request), at=now()
    )
    messages.success(request, _("Tablet {name} is revoked. What was made at it stays.").format(name=revoked.name))
    return redirect("shop:tablet", pk)


def _beside(item: Station, reader: Person) -> Beside:
    at = now()
    rows = item.tablets.select_related("station", "enrolled_by", "offered_by").order_by("name")
    lines = tuple(
        BesideLine(one.name, one.by, one.url, one.outcome, one.word, one.seen or row.offered_at)
        for row in rows
        for one in [line_of(row, at)]
    )
    url = reverse("shop:tablets")
    opening = (Opening(_("Enrol a tablet"), f"{url}?station={item.code}"),) if may(reader, Deed.ENROL_TABLETS) else ()
    return Beside("tablets", _("Tablets"), lines, opening, more_url=url, more_word=_("All tablets"), opening_word=_("New"))


def register_beside() -> None:
    register("stations", _beside)
