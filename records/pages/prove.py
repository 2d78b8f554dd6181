"""Prove: from a number to everything behind it, and from a reel, a tool or a gauge to everybody it reached."""

from __future__ import annotations

import json
from datetime import date, datetime, time, timedelta

from django.core.paginator import Paginator
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from inspection.models import Batch
from records.acts.documents import (
    document_bytes,
    issue_batch_record,
    issue_first_article,
    issue_setup_sheet,
    issue_trace_report,
)
from records.acts.evidence import pack_evidence
from records.acts.lots import BUILT_MEANING, SHIPPED_MEANING, build_lot, ship
from records.gather.batch import batch_record
from records.gather.trace import lot_trace, shipment_trace
from records.ledger_check import verify_ledger
from records.models import HarnessLot, IssuedDocument, LedgerEntry, Shipment
from records.pages.sealing import sealing
from records.queries import (
    EntryPage,
    batch_row,
    behind_lot,
    behind_shipment,
    lots_to_ship,
    new_lot_page,
    parts_shown,
    search_page,
    url_of,
    where_page,
)
from records.seal_page import compare_upload
from records.trace import BACKWARD, Found, find
from shop.clock import now
from shop.finding import Refused, misfit
from shop.jobs import Customer, Job, SetupSheet
from shop.pages.acting import Refusal, acting, person_of
from shop.permissions import Deed, may
from shop.sign_on import sign

PLACE = "prove"


@require_GET
def search(request: HttpRequest) -> HttpResponse:
    """One field for every number; a single hit opens at once."""
    asked = request.GET.get("number", "").strip()
    page = search_page(asked)
    if len(page.found) == 1:
        return redirect(url_of(page.found[0]))
    found = [(one, url_of(one)) for one in page.found]
    person = person_of(request)
    context = {
        "place": PLACE,
        "page": page,
        "found": found,
        "may_build": may(person, Deed.BUILD_LOT),
        "may_ship": may(person, Deed.SHIP),
    }
    return render(request, "prove/search.html", context)


@require_GET
def shipment(request: HttpRequest, number: str) -> HttpResponse:
    thing = get_object_or_404(Shipment.objects.select_related("customer", "shipped_by"), number=number)
    record = shipment_trace(thing, by=person_of(request), at=now())
    return render(request, "prove/behind.html", {"place": PLACE, "page": behind_shipment(thing, record)})


@require_GET
def lot(request: HttpRequest, number: str) -> HttpResponse:
    thing = get_object_or_404(HarnessLot.objects.select_related("job__customer", "built_by"), number=number)
    record = lot_trace(thing, by=person_of(request), at=now())
    return render(request, "prove/behind.html", {"place": PLACE, "page": behind_lot(thing, record)})


@require_GET
def batch(request: HttpRequest, number: str) -> HttpResponse:
    thing = get_object_or_404(Batch, number=number)
    record = batch_record(thing)
    row = batch_row(thing, thing.good or 0)
    context = {"place": PLACE, "batch": thing, "record": record, "row": row, "parts": parts_shown(record["parts"])}
    return render(request, "prove/batch.html", context)


def _day(text: str) -> date | None:
    try:
        return date.fromisoformat(text)
    except ValueError:
        return None


def _midnight(day: date | None) -> datetime | None:
    return timezone.make_aware(datetime.combine(day, time.min), timezone.get_default_timezone()) if day else None


@require_GET
def where(request: HttpRequest, kind: str, number: str) -> HttpResponse:
    found = _backward(kind, number)
    since, until = _day(request.GET.get("from", "")), _day(request.GET.get("to", ""))
    end = _midnight(until + timedelta(days=1)) if until else None
    page = where_page(found, since=since, until=until, begin=_midnight(since), end=end)
    return render(request, "prove/where.html", {"place": PLACE, "page": page})


def _backward(kind: str, number: str) -> Found:
    wanted = kind.replace("-", " ")
    for found in find(number):
        if found.kind == wanted and wanted in BACKWARD:
            return found
    raise Http404(f"no {wanted} {number}")


def new_lot_form(request: HttpRequest, *, refusal: Refusal | None = None) -> HttpResponse:
    data = request.POST if request.method == "POST" else request.GET
    job = Job.objects.filter(number=data.get("job", "")).select_related("customer").first()
    page = new_lot_page(
        job, number=data.get("number", ""), quantity=data.get("quantity", ""), given=_numbered(request, "pieces-"), meaning=BUILT_MEANING
    )
    return render(request, "prove/new_lot.html", {"place": PLACE, "page": page, "refusal": refusal})


def _numbered(request: HttpRequest, prefix: str) -> dict[int, str]:
    """Fields named prefix + id, as typed; empty ones left out."""
    return {
        int(name.removeprefix(prefix)): request.POST[name].strip()
        for name in request.POST
        if name.startswith(prefix) and name.removeprefix(prefix).isdigit() and request.POST[name].strip()
    }


def _counts(fields: dict[int, str], field: str) -> dict[int, int]:
    """The typed numbers as counts; a zero leaves the thing out. Raises Refused for anything but digits."""
    wrong = [text for text in fields.values() if not text.isdigit()]
    if wrong:
        raise Refused([misfit("data.invalid", field, message=f"“{wrong[0]}” is not a count.")])
    return {pk: int(text) for pk, text in fields.items() if int(text)}


@require_http_methods(["GET", "POST"])
@acting(again=new_lot_form)
def new_lot(request: HttpRequest) -> HttpResponse:
    if request.method == "GET":
        return new_lot_form(request)
    person, at = person_of(request), now()
    job = get_object_or_404(Job, number=request.POST.get("job", ""))
    quantity = _counts({0: request.POST.get("quantity", "").strip() or "?"}, "quantity").get(0, 0)
    batches = _counts(_numbered(request, "pieces-"), "batches")
    signing = sign(identifier=person.username, secret=request.POST.get("secret", ""), meaning=BUILT_MEANING, at=at)
    built = build_lot(
        number=request.POST.get("number", "").strip(), job=job, quantity=quantity, batches=batches, by=person, at=at, signing=signing
    )
    return redirect("prove:lot", number=built.number)


def new_shipment_form(request: HttpRequest, *, refusal: Refusal | None = None) -> HttpResponse:
    data = request.POST if request.method == "POST" else request.GET
    customer = Customer.objects.filter(code=data.get("customer", "")).first()
    context = {
        "place": PLACE,
        "refusal": refusal,
        "customers": Customer.objects.filter(jobs__harness_lots__isnull=False).distinct(),
        "customer": customer,
        "number": data.get("number", ""),
        "delivery_note": data.get("delivery_note", ""),
        "choices": lots_to_ship(customer.pk if customer else None, _numbered(request, "harnesses-")),
        "meaning": SHIPPED_MEANING,
    }
    return render(request, "prove/new_shipment.html", context)


@require_http_methods(["GET", "POST"])
@acting(again=new_shipment_form)
def new_shipment(request: HttpRequest) -> HttpResponse:
    if request.method == "GET":
        return new_shipment_form(request)
    person, at = person_of(request), now()
    customer = get_object_or_404(Customer, code=request.POST.get("customer", ""))
    lots = _counts(_numbered(request, "harnesses-"), "lots")
    signing = sign(identifier=person.username, secret=request.POST.get("secret", ""), meaning=SHIPPED_MEANING, at=at)
    sent = ship(
        number=request.POST.get("number", "").strip(),
        customer=customer,
        lots=lots,
        by=person,
        at=at,
        signing=signing,
        delivery_note=request.POST.get("delivery_note", "").strip(),
    )
    return redirect("prove:shipment", number=sent.number)


@require_POST
@acting
@sealing
def issue(request: HttpRequest, kind: str, pk: int) -> HttpResponse:
    """Issue a document and open its page."""
    by, at = person_of(request), now()
    match kind:
        case "setup-sheet":
            document = issue_setup_sheet(sheet=get_object_or_404(SetupSheet, pk=pk), by=by, at=at)
        case "first-article":
            document = issue_first_article(batch=get_object_or_404(Batch, pk=pk), by=by, at=at)
        case "batch-record":
            document = issue_batch_record(batch=get_object_or_404(Batch, pk=pk), by=by, at=at)
        case "shipment-trace":
            document = issue_trace_report(of=get_object_or_404(Shipment, pk=pk), by=by, at=at)
        case "lot-trace":
            document = issue_trace_report(of=get_object_or_404(HarnessLot, pk=pk), by=by, at=at)
        case _:
            raise Http404
    return redirect("prove:document", number=document.number, issue=document.issue)


@require_POST
@acting
@sealing
def evidence(request: HttpRequest, kind: str, number: str) -> HttpResponse:
    """The evidence package, made now and downloaded."""
    thing: Shipment | HarnessLot
    if kind == "shipment":
        thing = get_object_or_404(Shipment, number=number)
    elif kind == "lot":
        thing = get_object_or_404(HarnessLot, number=number)
    else:
        raise Http404
    package = pack_evidence(of=thing, by=person_of(request), at=now())
    response = HttpResponse(package, content_type="application/zip")
    response["Content-Disposition"] = f'attachment; filename="evidence-{number}.zip"'
    return response


@require_http_methods(["GET", "POST"])
def document(request: HttpRequest, number: str, issue: int) -> HttpResponse:
    """What was issued under a number, and whether a file somebody holds is that document: where the QR code leads."""
    thing = get_object_or_404(IssuedDocument.objects.select_related("issued_by"), number=number, issue=issue)
    upload = request.FILES.get("file") if request.method == "POST" else None
    context = {
        "place": PLACE,
        "document": thing,
        "later": IssuedDocument.objects.filter(number=number, issue__gt=issue).order_by("-issue").first(),
        "comparison": compare_upload(thing, upload) if upload else None,
        "file_missing": request.method == "POST" and upload is None,
        "subject_url": _subject_url(thing),
    }
    return render(request, "prove/document.html", context)


def _subject_url(thing: IssuedDocument) -> str:
    match thing.subject_kind:
        case "setup sheet":
            return reverse("plan:sheet", args=[thing.subject_id])
        case "batch":
            return reverse("prove:batch", args=[Batch.objects.get(pk=thing.subject_id).number])
        case "harness lot":
            return reverse("prove:lot", args=[HarnessLot.objects.get(pk=thing.subject_id).number])
    return reverse("prove:shipment", args=[Shipment.objects.get(pk=thing.subject_id).number])


@require_GET
@acting
@sealing
def document_file(request: HttpRequest, number: str, issue: int) -> HttpResponse:
    thing = get_object_or_404(IssuedDocument, number=number, issue=issue)
    response = HttpResponse(document_bytes(thing), content_type="application/pdf")
    response["Content-Disposition"] = f'inline; filename="{thing.number}-{thing.issue}.pdf"'
    return response


@require_GET
def ledger(request: HttpRequest) -> HttpResponse:
    entries = LedgerEntry.objects.select_related("by").defer("text").order_by("-number")
    kind, subject = request.GET.get("kind", ""), request.GET.get("about", "").strip()
    if kind:
        entries = entries.filter(kind=kind)
    if subject:
        entries = entries.filter(subject_name__icontains=subject)
    context = {
        "place": PLACE,
        "rows": Paginator(entries, 50).get_page(request.GET.get("page")),
        "kinds": LedgerEntry.objects.values_list("kind", flat=True).distinct().order_by("kind"),
        "kind": kind,
        "subject": subject,
        "report": verify_ledger() if "verify" in request.GET else None,
    }
    return render(request, "prove/ledger.html", context)


@require_GET
def ledger_entry(request: HttpRequest, number: int) -> HttpResponse:
    entry = get_object_or_404(LedgerEntry.objects.select_related("by", "signature"), number=number)
    page = EntryPage(
        entry=entry,
        text=json.dumps(json.loads(entry.text), indent=2, ensure_ascii=False),
        previous=number - 1 if number > 1 else None,
        following=number + 1 if LedgerEntry.objects.filter(number=number + 1).exists() else None,
    )
    return render(request, "prove/ledger_entry.html", {"place": PLACE, "page": page})
