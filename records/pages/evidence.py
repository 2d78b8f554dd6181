"""Evidence packages on the pages: asking for one, watching it being packed, taking it away; and making a checkpoint of the ledger."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime

from django.contrib import messages
from django.http import FileResponse, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from records.acts.checkpoints import make_checkpoint
from records.acts.evidence_orders import order_evidence, package_file
from records.evidence_orders import EvidenceOf, EvidenceOrder, EvidenceState
from records.pages.sealing import sealing
from shop.clock import now
from shop.finding import Refused, misfit
from shop.pages.acting import Refusal, acting, person_of
from shop.permissions import Deed, may

PLACE = "prove"
SHOWN = 20


@dataclass(frozen=True, slots=True)
class OrderRow:
    """A package that was asked for. outcome: a verdict's name, or "" while it is being packed."""

    title: str
    url: str
    by: str
    at: datetime
    outcome: str
    word: str
    size_kb: int | None


@dataclass(frozen=True, slots=True)
class EvidencePage:
    """The form and what was asked for before. Values as they were typed."""

    of: str
    number: str
    since: str
    until: str
    choices: Sequence[tuple[str, str]]
    rows: Sequence[OrderRow]
    may_pack: bool


@dataclass(frozen=True, slots=True)
class OrderPage:
    row: OrderRow
    done: int
    total: int
    is_over: bool
    is_lost: bool
    fault: str
    sha256: str
    file_url: str
    heard_at: datetime


def _row(order: EvidenceOrder, at: datetime) -> OrderRow:
    lost = order.is_lost(at)
    outcome = {EvidenceState.DONE: "conforms", EvidenceState.BROKEN: "does not conform"}.get(EvidenceState(order.state), "waiting")
    word = str(_("no news from the worker")) if lost else str(order.get_state_display())
    return OrderRow(
        title=str(order),
        url=reverse("prove:evidence-order", args=[order.pk]),
        by=order.by.name,
        at=order.at,
        outcome="cannot be decided" if lost else outcome,
        word=word,
        size_kb=None if order.size is None else (order.size + 1023) // 1024,
    )


def _form(request: HttpRequest, *, refusal: Refusal | None = None) -> HttpResponse:
    data, at = request.POST if request.method == "POST" else request.GET, now()
    page = EvidencePage(
        of=data.get("of", EvidenceOf.PERIOD),
        number=data.get("number", ""),
        since=data.get("since", ""),
        until=data.get("until", ""),
        choices=[(value, str(label)) for value, label in EvidenceOf.choices],
        rows=[_row(order, at) for order in EvidenceOrder.objects.select_related("by")[:SHOWN]],
        may_pack=may(person_of(request), Deed.ISSUE_DOCUMENT),
    )
    return render(request, "prove/evidence.html", {"place": PLACE, "page": page, "refusal": refusal})


def _day(request: HttpRequest, field: str) -> date | None:
    text = request.POST.get(field, "").strip()
    try:
        return date.fromisoformat(text) if text else None
    except ValueError:
        raise Refused([misfit("data.invalid", field, message=f"“{text}” is not a date.")]) from None


@require_http_methods(["GET", "POST"])
@acting(again=_form)
def evidence_packages(request: HttpRequest) -> HttpResponse:
    """Ask for a package; the worker packs it."""
    if request.method == "GET":
        return _form(request)
    of = request.POST.get("of", "")
    if of not in EvidenceOf.values:
        raise Refused([misfit("data.invalid", "of", message=f"“{of}” is nothing a package can be about.")])
    order = order_evidence(
        of=of,
        number=request.POST.get("number", "").strip(),
        since=_day(request, "since"),
        until=_day(request, "until"),
        by=person_of(request),
        at=now(),
    )
    return redirect("prove:evidence-order", pk=order.pk)


@require_GET
def evidence_order(request: HttpRequest, pk: int) -> HttpResponse:
    """How far a package is; asked by htmx while it goes on, the moving part alone."""
    order, at = get_object_or_404(EvidenceOrder.objects.select_related("by"), pk=pk), now()
    page = OrderPage(
        row=_row(order, at),
        done=order.done,
        total=order.total,
        is_over=order.is_over,
        is_lost=order.is_lost(at),
        fault=order.fault,
        sha256=order.sha256,
        file_url=reverse("prove:evidence-file", args=[order.pk]) if order.sha256 else "",
        heard_at=order.heard_at,
    )
    template = "prove/_evidence_order.html" if request.headers.get("HX-Request") else "prove/evidence_order.html"
    return render(request, template, {"place": PLACE, "page": page})


@require_GET
@acting
def evidence_file(request: HttpRequest, pk: int) -> HttpResponse:
    order = get_object_or_404(EvidenceOrder.objects.exclude(sha256=""), pk=pk)
    name = order.file_name
    return FileResponse(package_file(order), as_attachment=True, filename=name, content_type="application/zip")  # type: ignore[return-value]  # it streams


@require_POST
@acting
@sealing
def checkpoint(request: HttpRequest) -> HttpResponse:
    """Sign how far the ledger reaches."""
    made = make_checkpoint(by=person_of(request), at=now())
    messages.success(request, _("The ledger is signed up to entry %(entries)s.") % {"entries": made.entries})
    return redirect("prove:ledger")
