"""Containment: asking what is suspect, holding all of it in one act, working through it, telling customers, closing."""

from __future__ import annotations

from datetime import date, timedelta

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from records.acts.containment import (
    CLOSED_MEANING,
    DECIDED_MEANING,
    OPENED_MEANING,
    DecisionInput,
    close_case,
    decide_suspect,
    open_case,
)
from records.containment import Questioned, question_about, suspects
from records.containment_pages import case_page, cases_page, contain_page, decide_page, notice_page
from records.models import Containment, Suspect
from records.pages.counted import count
from shop.beside import beside
from shop.clock import midnight, now
from shop.finding import Refused, misfit
from shop.jobs import Customer
from shop.pages.acting import Refusal, acting, person_of, refusal_of, require
from shop.permissions import Deed
from shop.sign_on import sign

PLACE = "prove"


@require_GET
def cases(request: HttpRequest) -> HttpResponse:
    page = cases_page(open_only="all" not in request.GET, page=request.GET.get("page"), person=person_of(request))
    return render(request, "prove/cases.html", {"place": PLACE, "page": page})


def _day(text: str, field: str) -> date | None:
    try:
        return date.fromisoformat(text) if text else None
    except ValueError:
        raise Refused([misfit("data.invalid", field, message=f"“{text}” is not a date.")]) from None


def _asked(typed: dict[str, str]) -> Questioned:
    """The question as typed. Raises Refused."""
    since, until = _day(typed.get("from", ""), "from"), _day(typed.get("to", ""), "to")
    since_count = typed.get("since_count", "").strip()
    return question_about(
        typed.get("question", ""),
        typed.get("subject", "").strip(),
        since=midnight(since) if since else None,
        until=midnight(until + timedelta(days=1)) if until and until < date.max else None,
        since_count=count(since_count, "since_count") if since_count else None,
    )


def contain_form(request: HttpRequest, *, refusal: Refusal | None = None) -> HttpResponse:
    person = person_of(request)
    data = request.POST if request.method == "POST" else request.GET
    typed = {name: data.get(name, "") for name in ("question", "subject", "from", "to", "since_count", "reason")}
    asked = lines = None
    if typed["subject"]:
        try:
            asked = _asked(typed)
            lines = suspects(asked)
        except Refused as refused:
            refusal = refusal or refusal_of(refused.findings)
    page = contain_page(typed, asked, lines, person)
    status = refusal.status if refusal else 200
    return render(request, "prove/contain.html", {"place": PLACE, "page": page, "refusal": refusal}, status=status)


@require_http_methods(["GET", "POST"])
@acting(again=contain_form)
def contain(request: HttpRequest) -> HttpResponse:
    """Asked with GET, signed with POST: what is signed is the list that was shown."""
    if request.method == "GET":
        return contain_form(request)
    person, at = require(request, Deed.CONTAIN), now()
    asked = _asked(request.POST.dict())
    signing = sign(identifier=person.username, secret=request.POST.get("secret", ""), meaning=OPENED_MEANING, at=at)
    shown = count(request.POST.get("shown", ""), "shown")
    opened = open_case(asked=asked, reason=request.POST.get("reason", ""), shown=shown, by=person, at=at, signing=signing)
    return redirect("prove:case", number=opened.number)


def case_shown(request: HttpRequest, number: str, *, refusal: Refusal | None = None) -> HttpResponse:
    thing = get_object_or_404(Containment.objects.select_related("opened_by", "closed_by"), number=number)
    page = case_page(thing, person_of(request))
    context = {"place": PLACE, "page": page, "refusal": refusal, "conclusion": request.POST.get("conclusion", "")}
    context["sections"] = beside("containment case", thing, person_of(request))
    return render(request, "prove/case.html", context)


@require_GET
def case(request: HttpRequest, number: str) -> HttpResponse:
    return case_shown(request, number)


@require_POST
@acting(again=case_shown)
def close(request: HttpRequest, number: str) -> HttpResponse:
    person, at = person_of(request), now()
    thing = get_object_or_404(Containment, number=number)
    signing = sign(identifier=person.username, secret=request.POST.get("secret", ""), meaning=CLOSED_MEANING, at=at)
    close_case(case=thing, conclusion=request.POST.get("conclusion", ""), by=person, at=at, signing=signing)
    return redirect("prove:case", number=number)


def decide_form(request: HttpRequest, number: str, pk: int, *, refusal: Refusal | None = None) -> HttpResponse:
    rows = Suspect.objects.select_related("case", "batch__termination__sheet__job", "lot__job", "shipment__customer")
    suspect = get_object_or_404(rows, pk=pk, case__number=number)
    page = decide_page(suspect, request.POST.dict() if request.method == "POST" else {})
    return render(request, "prove/decide.html", {"place": PLACE, "page": page, "refusal": refusal})


@require_http_methods(["GET", "POST"])
@acting(again=decide_form)
def decide(request: HttpRequest, number: str, pk: int) -> HttpResponse:
    person = require(request, Deed.CONTAIN)
    if request.method == "GET":
        return decide_form(request, number, pk)
    at = now()
    suspect = get_object_or_404(Suspect, pk=pk, case__number=number)
    kind = request.POST.get("kind", "")
    # A notice decides on nothing: whatever stands in the field is not meant.
    quantity = 0 if kind == "customer notified" else count(request.POST.get("quantity", ""), "quantity")
    stated = DecisionInput(kind, quantity, request.POST.get("note", ""), request.POST.get("concession", "").strip())
    signing = sign(identifier=person.username, secret=request.POST.get("secret", ""), meaning=DECIDED_MEANING, at=at)
    decide_suspect(suspect=suspect, stated=stated, by=person, at=at, signing=signing)
    return redirect("prove:case", number=number)


@require_GET
def notice(request: HttpRequest, number: str, code: str) -> HttpResponse:
    """The draft of the notice to one customer, as a page to print or as plain text."""
    thing = get_object_or_404(Containment, number=number)
    customer = get_object_or_404(Customer.objects.filter(shipments__suspected__case=thing).distinct(), code=code)
    page = notice_page(thing, customer)
    if "text" in request.GET:
        response = HttpResponse(page.text, content_type="text/plain; charset=utf-8")
        response["Content-Disposition"] = f'attachment; filename="notice-{thing.number}-{customer.code}-draft.txt"'
        return response
    return render(request, "prove/notice.html", {"place": PLACE, "page": page})
