"""Held pieces: what waits for a decision, and deciding on it. A page of the desk, for quality."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.http import urlencode
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.debug import sensitive_post_parameters

from inspection.acts.dispositions import (
    DISPOSED_MEANING,
    DispositionInput,
    batches_with_held_pieces,
    concessions_for_pieces,
    dispose,
    held_left,
)
from inspection.models import Batch, Disposition, DispositionKind, Hold
from inspection.occurrences import records_of_holds
from inspection.pages.studies import crumbs
from shop.acts.concessions import PIECE_RULE
from shop.clock import now
from shop.concessions import Concession
from shop.forms.fields import CountField
from shop.forms.termination import SignForm
from shop.pages.acting import Refusal, acting, person_of
from shop.pages.catalogue import Crumb
from shop.pages.paging import LongPaginator
from shop.permissions import Deed, may
from shop.sign_on import sign

PLACE = "studies"


@dataclass(frozen=True, slots=True)
class HeldLine:
    batch: Batch
    url: str
    left: int
    since: datetime | None


@dataclass(frozen=True, slots=True)
class HeldPage:
    lines: list[HeldLine]
    rows: object
    crumbs: list[Crumb]


def held(request: HttpRequest) -> HttpResponse:
    rows = LongPaginator(batches_with_held_pieces(), 50).get_page(request.GET.get("page"))
    lines = [
        HeldLine(batch, reverse("studies:dispose", args=[batch.number]), (batch.held or 0) - getattr(batch, "decided", 0), batch.closed_at)
        for batch in rows
    ]
    return render(request, "studies/held.html", {"page": HeldPage(lines, rows, crumbs(Crumb(_("Held pieces")))), "place": PLACE})


class DispositionForm(SignForm):
    kind = forms.ChoiceField(label=gettext_lazy("What becomes of them"), choices=DispositionKind.choices, widget=forms.RadioSelect)
    quantity = CountField(label=gettext_lazy("Pieces"))
    concession = forms.CharField(
        label=gettext_lazy("Concession"), required=False, max_length=40, help_text=gettext_lazy("Needed to use pieces as they are.")
    )
    note = forms.CharField(label=gettext_lazy("Why"), max_length=300)

    field_order = ("kind", "quantity", "concession", "note", "secret")


@dataclass(frozen=True, slots=True)
class DisposePage:
    batch: Batch
    crumbs: list[Crumb]
    left: int
    form: DispositionForm
    holds: list[Hold]
    decided: list[Disposition]
    concessions: list[Concession]
    grant_url: str
    may_decide: bool
    may_rework: bool
    meaning: str
    nonconformance_url: str


def _page(request: HttpRequest, number: str, *, refusal: Refusal | None = None) -> HttpResponse:
    rows = Batch.objects.select_related("termination__sheet__job", "termination__terminal", "termination__tool")
    batch = get_object_or_404(rows, number=number)
    left = held_left(batch)
    form = DispositionForm(request.POST if refusal else None, initial={"quantity": left})
    if refusal:
        refusal.tell(form)
    grant = reverse("plan:new-concession") + "?" + urlencode({"rule": PIECE_RULE, "for": str(batch.termination)})
    person = person_of(request)
    page = DisposePage(
        batch=batch,
        crumbs=crumbs(Crumb(_("Held pieces"), reverse("studies:held")), Crumb(number)),
        left=left,
        form=form,
        holds=list(batch.holds.filter(kept_held__gt=0).select_related("raised_by", "decided_by")),
        decided=list(batch.dispositions.select_related("by", "concession")),
        concessions=concessions_for_pieces(batch, now()),
        grant_url=grant if may(person, Deed.GRANT_CONCESSION) else "",
        may_decide=left > 0 and may(person, Deed.DECIDE_HOLD),
        may_rework=batch.termination.rework_allowed,
        meaning=DISPOSED_MEANING,
        nonconformance_url=f"{reverse('prove:nonconformance-new')}?{urlencode({'held': batch.number})}"
        if may(person, Deed.OPEN_NONCONFORMANCE) and not records_of_holds(batch)
        else "",
    )
    return render(request, "studies/dispose.html", {"page": page, "refusal": refusal, "place": PLACE})


@sensitive_post_parameters("secret")
@acting
def disposing(request: HttpRequest, number: str) -> HttpResponse:
    return _dispose(request, number) if request.method == "POST" else _page(request, number)


@acting(again=_page)
def _dispose(request: HttpRequest, number: str) -> HttpResponse:
    batch, typed, by, at = get_object_or_404(Batch, number=number), request.POST, person_of(request), now()
    text = typed.get("quantity", "").strip()
    stated = DispositionInput(
        kind=typed.get("kind", ""),
        quantity=int(text) if text.isascii() and text.isdigit() and len(text) < 10 else 0,
        note=typed.get("note", ""),
        concession=typed.get("concession", "").strip(),
    )
    signing = sign(identifier=by.username, secret=typed.get("secret", ""), meaning=DISPOSED_MEANING, at=at)
    row = dispose(batch=batch, stated=stated, by=by, at=at, signing=signing)
    messages.success(request, _("{count} pieces: {kind}.").format(count=row.quantity, kind=row.get_kind_display()))
    return redirect("studies:dispose", number)
