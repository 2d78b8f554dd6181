"""Keeping records: rules, what is due, legal holds, and disposal."""

from __future__ import annotations

from datetime import date

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from records.acts.keeping import (
    DISPOSED_MEANING,
    HOLD_MEANING,
    LIFT_MEANING,
    RULE_MEANING,
    HoldInput,
    dispose,
    finish_disposals,
    lift_hold,
    place_hold,
    set_rule,
)
from records.acts.reports import issue_disposal_certificate
from records.keeping_models import Disposal, LegalHold, RecordKind
from records.keeping_pages import disposal_page, due_page, hold_page, keeping_page, new_hold_page, rule_page
from records.pages.counted import count
from records.pages.sealing import sealing
from shop.clock import now
from shop.finding import Refused, misfit
from shop.pages.acting import Refusal, acting, person_of, require
from shop.permissions import Deed
from shop.sign_on import sign

PLACE = "prove"


def _kind(slug: str) -> str:
    kind = slug.replace("-", " ")
    if kind not in RecordKind.values:
        raise Http404
    return kind


@require_GET
def keeping(request: HttpRequest) -> HttpResponse:
    return render(request, "prove/keeping.html", {"place": PLACE, "page": keeping_page(person_of(request), now())})


def _rule_form(request: HttpRequest, kind: str, *, refusal: Refusal | None = None) -> HttpResponse:
    page = rule_page(_kind(kind), request.POST.dict(), person_of(request))
    return render(request, "prove/retention_rule.html", {"place": PLACE, "page": page, "refusal": refusal})


@require_http_methods(["GET", "POST"])
@acting(again=_rule_form)
def retention_rule(request: HttpRequest, kind: str) -> HttpResponse:
    if request.method == "GET":
        return _rule_form(request, kind)
    person, at, data = person_of(request), now(), request.POST
    years = None if "for_good" in data else count(data.get("years", "").strip(), "years")
    signing = sign(identifier=person.username, secret=data.get("secret", ""), meaning=RULE_MEANING, at=at)
    stated = {"kind": _kind(kind), "after": data.get("after", ""), "reason": data.get("reason", "")}
    set_rule(**stated, years=years, by=person, at=at, signing=signing)
    messages.success(request, _("The rule is in force."))
    return redirect("prove:keeping")


def _due_form(request: HttpRequest, kind: str, *, refusal: Refusal | None = None) -> HttpResponse:
    chosen = set(request.POST.getlist("record")) if request.method == "POST" else None
    page = due_page(_kind(kind), now(), person_of(request), chosen=chosen, note=request.POST.get("note", ""))
    return render(request, "prove/due.html", {"place": PLACE, "page": page, "refusal": refusal})


@require_http_methods(["GET", "POST"])
@acting(again=_due_form)
def due(request: HttpRequest, kind: str) -> HttpResponse:
    """What is due of one kind; signed, the files of the ticked ones go."""
    if request.method == "GET":
        return _due_form(request, kind)
    person, at, data = person_of(request), now(), request.POST
    signing = sign(identifier=person.username, secret=data.get("secret", ""), meaning=DISPOSED_MEANING, at=at)
    act = dispose(
        kind=_kind(kind),
        keys=data.getlist("record"),
        rule_seen=data.get("rule", ""),
        note=data.get("note", ""),
        by=person,
        at=at,
        signing=signing,
    )
    return redirect("prove:disposal", number=act.number)


def _new_hold_form(request: HttpRequest, *, refusal: Refusal | None = None) -> HttpResponse:
    typed = request.POST if request.method == "POST" else request.GET
    page = new_hold_page({name: str(value) for name, value in typed.items()})
    return render(request, "prove/new_legal_hold.html", {"place": PLACE, "page": page, "refusal": refusal})


def _day(request: HttpRequest, field: str) -> date | None:
    text = request.POST.get(field, "").strip()
    try:
        return date.fromisoformat(text) if text else None
    except ValueError:
        raise Refused([misfit("data.invalid", field, message=f"“{text}” is not a date.")]) from None


@require_http_methods(["GET", "POST"])
@acting(again=_new_hold_form)
def new_legal_hold(request: HttpRequest) -> HttpResponse:
    person = require(request, Deed.HOLD_RECORDS)
    if request.method == "GET":
        return _new_hold_form(request)
    at, data = now(), request.POST
    stated = HoldInput(data.get("scope", ""), data.get("name", ""), _day(request, "since"), _day(request, "until"))
    signing = sign(identifier=person.username, secret=data.get("secret", ""), meaning=HOLD_MEANING, at=at)
    said = {"reason": data.get("reason", ""), "reference": data.get("reference", "")}
    hold = place_hold(stated=stated, **said, by=person, at=at, signing=signing)
    return redirect("prove:legal-hold", number=hold.number)


def _hold_shown(request: HttpRequest, number: str, *, refusal: Refusal | None = None) -> HttpResponse:
    hold = get_object_or_404(LegalHold.objects.select_related("placed_by", "lifted_by"), number=number)
    page = hold_page(hold, person_of(request), request.POST.get("reason", ""))
    return render(request, "prove/legal_hold.html", {"place": PLACE, "page": page, "refusal": refusal})


@require_http_methods(["GET", "POST"])
@acting(again=_hold_shown)
def legal_hold(request: HttpRequest, number: str) -> HttpResponse:
    """A hold and what is inside; posted, it is lifted."""
    if request.method == "GET":
        return _hold_shown(request, number)
    person, at = person_of(request), now()
    hold = get_object_or_404(LegalHold, number=number)
    signing = sign(identifier=person.username, secret=request.POST.get("secret", ""), meaning=LIFT_MEANING, at=at)
    lift_hold(hold=hold, reason=request.POST.get("reason", ""), by=person, at=at, signing=signing)
    return redirect("prove:legal-hold", number=number)


@require_GET
def disposal(request: HttpRequest, number: str) -> HttpResponse:
    act = get_object_or_404(Disposal.objects.select_related("by", "rule"), number=number)
    return render(request, "prove/disposal.html", {"place": PLACE, "page": disposal_page(act, person_of(request))})


@require_POST
@acting
@sealing
def disposal_certificate(request: HttpRequest, number: str) -> HttpResponse:
    act = get_object_or_404(Disposal, number=number)
    document = issue_disposal_certificate(act=act, by=person_of(request), at=now())
    return redirect("prove:document", number=document.number, issue=document.issue)


@require_POST
@acting
def finish(request: HttpRequest, number: str) -> HttpResponse:
    """Take away what a worker that was stopped left behind."""
    get_object_or_404(Disposal, number=number)
    finish_disposals(by=person_of(request), at=now())
    return redirect("prove:disposal", number=number)
