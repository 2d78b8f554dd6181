"""Concessions at the desk: what is let through, how far it is used, granting one and ending one."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.core.paginator import Page, Paginator
from django.db.models import Q, QuerySet, Sum
from django.db.models.functions import Coalesce
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_GET

from shop.acts.concessions import GRANTED_MEANING, WITHDRAWN_MEANING, grant_concession, withdraw_concession
from shop.clock import now, shop_day
from shop.concessions import Concession
from shop.finding import Refused
from shop.forms.concessions import ConcessionForm, EndConcessionForm
from shop.pages.acting import Refusal, acting, person_of, require
from shop.pages.catalogue import Crumb
from shop.permissions import Deed, may
from shop.sign_on import sign
from shop.validation import findings_from
from shop.wording import RULES

PER_PAGE = 50
SHOWN = ("live", "over")


@dataclass(frozen=True, slots=True)
class ConcessionLine:
    """One concession and how it stands."""

    concession: Concession
    title: str
    covers: str
    covers_url: str
    limit: str
    used: int
    state: str
    outcome: str


def covers_of(concession: Concession) -> tuple[str, str]:
    """What it covers in words, and where that is."""
    if concession.sheet:
        return _("sheet {name}").format(name=concession.sheet), reverse("plan:sheet", args=[concession.sheet.pk])
    if concession.termination:
        t = concession.termination
        words = _("{sheet}, lead {lead}, end {end}").format(sheet=t.sheet, lead=t.lead, end=t.end)
        return words, reverse("plan:sheet", args=[t.sheet_id])
    if concession.wire_lot:
        return _("wire lot {name}").format(name=concession.wire_lot), reverse("shop:detail", args=["wire-lots", concession.wire_lot.pk])
    lot = concession.terminal_lot
    return _("terminal lot {name}").format(name=lot), reverse("shop:detail", args=["terminal-lots", lot.pk if lot else 0])


def limit_of(concession: Concession) -> str:
    """ "200 pieces, until 2026-12-31"."""
    parts = []
    if concession.quantity_limit is not None:
        parts.append(_("{n} pieces").format(n=concession.quantity_limit))
    if concession.expires_on is not None:
        parts.append(_("until {day}").format(day=concession.expires_on.isoformat()))
    return ", ".join(parts)


def line_of(concession: Concession, used: int, on: date) -> ConcessionLine:
    if concession.withdrawn_at is not None:
        state, outcome = _("withdrawn"), "waiting"
    elif concession.expires_on is not None and concession.expires_on < on:
        state, outcome = _("expired"), "waiting"
    elif concession.quantity_limit is not None and used >= concession.quantity_limit:
        state, outcome = _("used up"), "waiting"
    else:
        state, outcome = _("in force"), "conceded"
    words = RULES.get(concession.rule)
    covers, url = covers_of(concession)
    return ConcessionLine(
        concession, str(words.title) if words else concession.rule, covers, url, limit_of(concession), used, state, outcome
    )


def _rows() -> QuerySet[Concession]:
    return Concession.objects.select_related(
        "sheet", "termination__sheet", "wire_lot", "terminal_lot", "granted_by", "withdrawn_by"
    ).annotate(used_pieces=Coalesce(Sum("uses__quantity"), 0))


def _used(concession: Concession) -> int:
    """Pieces made under it, as `_rows` counted them."""
    return int(concession.__dict__["used_pieces"])


@dataclass(frozen=True, slots=True)
class ConcessionsPage:
    crumbs: list[Crumb]
    rows: Page[Concession]
    lines: list[ConcessionLine]
    shown: str
    words: str
    new_url: str


@require_GET
def concessions(request: HttpRequest) -> HttpResponse:
    person, on = person_of(request), shop_day(now())
    shown, words = request.GET.get("shown", ""), request.GET.get("q", "").strip()
    rows = _rows()
    live = Concession.objects.live(on).values("pk")
    if shown == "live":
        rows = rows.filter(pk__in=live)
    elif shown == "over":
        rows = rows.exclude(pk__in=live)
    if words:
        rows = rows.filter(
            Q(number__icontains=words)
            | Q(rule__icontains=words)
            | Q(sheet__number__icontains=words)
            | Q(termination__sheet__number__icontains=words)
            | Q(wire_lot__lot_number__icontains=words)
            | Q(terminal_lot__lot_number__icontains=words)
        )
    paged = Paginator(rows.order_by("-granted_at", "number"), PER_PAGE).get_page(request.GET.get("page"))
    page = ConcessionsPage(
        crumbs=[Crumb(_("Plan"), reverse("plan:jobs"))],
        rows=paged,
        lines=[line_of(c, _used(c), on) for c in paged],
        shown=shown if shown in SHOWN else "",
        words=words,
        new_url=reverse("plan:new-concession") if may(person, Deed.GRANT_CONCESSION) else "",
    )
    return render(request, "plan/concessions.html", {"page": page, "place": "plan"})


@dataclass(frozen=True, slots=True)
class GrantPage:
    crumbs: list[Crumb]
    form: ConcessionForm
    meaning: str
    leave_url: str


def _grant_page(request: HttpRequest, *, refusal: Refusal | None = None) -> HttpResponse:
    if refusal is None:
        require(request, Deed.GRANT_CONCESSION)
    form = ConcessionForm(
        request.POST if refusal else None, initial={"rule": request.GET.get("rule", ""), "covers": request.GET.get("for", "")}
    )
    if refusal:
        refusal.tell(form)
    page = GrantPage(
        crumbs=[Crumb(_("Plan"), reverse("plan:jobs")), Crumb(_("Concessions"), reverse("plan:concessions"))],
        form=form,
        meaning=GRANTED_MEANING,
        leave_url=reverse("plan:concessions"),
    )
    return render(request, "plan/grant_concession.html", {"page": page, "refusal": refusal, "place": "plan"})


@sensitive_post_parameters("secret")
@acting(again=_grant_page)
def new_concession(request: HttpRequest) -> HttpResponse:
    if request.method != "POST":
        return _grant_page(request)
    by, at = require(request, Deed.GRANT_CONCESSION), now()
    form = ConcessionForm(request.POST)
    if not form.is_valid():
        raise Refused(findings_from(ValidationError(form.errors.as_data())))
    signing = sign(identifier=by.username, secret=form.cleaned_data["secret"], meaning=GRANTED_MEANING, at=at)
    granted = grant_concession(by=by, at=at, signing=signing, **form.stated())
    messages.success(request, _("{concession} is granted.").format(concession=granted))
    return redirect("plan:concession", granted.pk)


@dataclass(frozen=True, slots=True)
class ConcessionPage:
    crumbs: list[Crumb]
    line: ConcessionLine
    form: EndConcessionForm
    may_end: bool
    meaning: str


def _concession_page(request: HttpRequest, pk: int, *, refusal: Refusal | None = None) -> HttpResponse:
    concession = get_object_or_404(_rows(), pk=pk)
    form = EndConcessionForm(request.POST if refusal else None)
    if refusal:
        refusal.tell(form)
    page = ConcessionPage(
        crumbs=[Crumb(_("Plan"), reverse("plan:jobs")), Crumb(_("Concessions"), reverse("plan:concessions"))],
        line=line_of(concession, _used(concession), shop_day(now())),
        form=form,
        may_end=concession.withdrawn_at is None and may(person_of(request), Deed.GRANT_CONCESSION),
        meaning=WITHDRAWN_MEANING,
    )
    return render(request, "plan/concession.html", {"page": page, "refusal": refusal, "place": "plan"})


@sensitive_post_parameters("secret")
@acting(again=_concession_page)
def concession(request: HttpRequest, pk: int) -> HttpResponse:
    if request.method != "POST":
        return _concession_page(request, pk)
    by, at = person_of(request), now()
    signing = sign(identifier=by.username, secret=request.POST.get("secret", ""), meaning=WITHDRAWN_MEANING, at=at)
    ended = withdraw_concession(
        concession=get_object_or_404(Concession, pk=pk), reason=request.POST.get("reason", ""), by=by, at=at, signing=signing
    )
    messages.success(request, _("{concession} is withdrawn.").format(concession=ended))
    return redirect("plan:concession", pk)
