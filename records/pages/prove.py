"""Prove: from a number to everything behind it, and from a reel, a tool or a gauge to everybody it reached."""

from __future__ import annotations

import json

from django.db.models import CharField
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from inspection.models import Batch, Nonconformance, Study
from inspection.set_up import six_parts
from inspection.stream_lists import stream_query
from records.acts.document_orders import is_long, order_document
from records.acts.documents import (
    document_bytes,
    issue_batch_record,
    issue_first_article,
    issue_setup_sheet,
    issue_study_report,
    issue_trace_report,
)
from records.acts.evidence import pack_evidence
from records.acts.evidence_orders import order_evidence
from records.acts.lots import BUILT_MEANING, SHIPPED_MEANING, build_lot, ship
from records.acts.signing import current_bytes, signed_state
from records.checkpoints import Checkpoint
from records.disposed import disposal_of
from records.gather.batch import batch_record
from records.gather.trace import issued_of
from records.keeping_models import Disposal, KeptAs
from records.ledger_check import verify_ledger
from records.models import HarnessLot, IssuedDocument, LedgerEntry, LotKind, Shipment
from records.nonconformance_pages import findings_of
from records.pages.counted import counts, numbered, serials_by_lot
from records.pages.sealing import sealing
from records.queries import (
    EntryPage,
    batch_row,
    lot_page,
    lots_to_ship,
    new_lot_page,
    parts_shown,
    shipment_page,
)
from records.seal_page import compare_upload
from records.trails import in_words, subject_of, trail_url
from shop.beside import beside
from shop.characteristics import Characteristic
from shop.clock import now
from shop.composed import Composed, Given
from shop.events import RECORDED
from shop.jobs import Customer, Job, SetupSheet
from shop.looks import Thing, seen
from shop.pages.acting import Refusal, acting, person_of
from shop.pages.paging import LongPaginator
from shop.permissions import Deed, may
from shop.sign_on import sign

PLACE = "prove"

_SHIPMENT = Composed(lambda: Shipment.objects.filter(number=Given("number", CharField())).select_related("customer", "shipped_by"))


@require_GET
def shipment(request: HttpRequest, number: str) -> HttpResponse:
    found = _SHIPMENT(number=number)
    if not found:
        raise Http404(f"no shipment {number}")
    (thing,) = found
    seen(request, Thing("shipment", thing.pk, str(thing)))
    sections = beside("shipment", thing, person_of(request))
    page = shipment_page(thing, person_of(request), now())
    return render(request, "prove/behind.html", {"place": PLACE, "page": page, "sections": sections})


@require_GET
def lot(request: HttpRequest, number: str) -> HttpResponse:
    thing = get_object_or_404(HarnessLot.objects.select_related("job__customer", "built_by"), number=number)
    page = lot_page(thing, person_of(request), now())
    return render(
        request, "prove/behind.html", {"place": PLACE, "page": page, "sections": beside("harness lot", thing, person_of(request))}
    )


@require_GET
def batch(request: HttpRequest, number: str) -> HttpResponse:
    thing = get_object_or_404(Batch, number=number)
    record = batch_record(thing)
    row = batch_row(thing, thing.good or 0, issued_of([thing])[thing.pk], record["parts"], six_parts(thing))
    t = thing.termination
    chart = stream_query(t.tool.asset_number, t.terminal.part_number, t.csa_mm2, Characteristic.CRIMP_HEIGHT.value) if t.tool else ""
    context = {"place": PLACE, "batch": thing, "record": record, "row": row, "parts": parts_shown(record["parts"]), "chart_query": chart}
    context["trail_url"] = trail_url("batch", thing.pk)
    context["sections"] = beside("batch", thing, person_of(request))
    context["nonconformances"] = findings_of(thing, person_of(request), now())
    return render(request, "prove/batch.html", context)


def new_lot_form(request: HttpRequest, *, refusal: Refusal | None = None) -> HttpResponse:
    data = request.POST if request.method == "POST" else request.GET
    job = Job.objects.filter(number=data.get("job", "")).select_related("customer").first()
    page = new_lot_page(
        job,
        number=data.get("number", ""),
        quantity=data.get("quantity", ""),
        given=numbered(request, "pieces-"),
        meaning=BUILT_MEANING,
        kind=data.get("kind", LotKind.HARNESS),
        serials=data.get("serials", ""),
        given_lots=numbered(request, "used-"),
    )
    return render(request, "prove/new_lot.html", {"place": PLACE, "page": page, "refusal": refusal})


@require_http_methods(["GET", "POST"])
@acting(again=new_lot_form)
def new_lot(request: HttpRequest) -> HttpResponse:
    if request.method == "GET":
        return new_lot_form(request)
    person, at = person_of(request), now()
    job = get_object_or_404(Job, number=request.POST.get("job", ""))
    quantity = counts({0: request.POST.get("quantity", "").strip() or "?"}, "quantity").get(0, 0)
    batches = counts(numbered(request, "pieces-"), "batches")
    signing = sign(identifier=person.username, secret=request.POST.get("secret", ""), meaning=BUILT_MEANING, at=at)
    built = build_lot(
        number=request.POST.get("number", "").strip(),
        job=job,
        quantity=quantity,
        batches=batches,
        lots=counts(numbered(request, "used-"), "lots"),
        kind=request.POST.get("kind") or LotKind.HARNESS,
        serials=request.POST.get("serials", "").split(),
        by=person,
        at=at,
        signing=signing,
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
        "choices": lots_to_ship(customer.pk if customer else None, numbered(request, "harnesses-")),
        "serials": data.get("serials", ""),
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
    lots = counts(numbered(request, "harnesses-"), "lots")
    signing = sign(identifier=person.username, secret=request.POST.get("secret", ""), meaning=SHIPPED_MEANING, at=at)
    sent = ship(
        number=request.POST.get("number", "").strip(),
        customer=customer,
        lots=lots,
        by=person,
        at=at,
        signing=signing,
        delivery_note=request.POST.get("delivery_note", "").strip(),
        serials=serials_by_lot(request.POST.get("serials", "").split(), lots),
    )
    return redirect("prove:shipment", number=sent.number)


def _orderable(kind: str, pk: int) -> Batch | Shipment | HarnessLot | None:
    """What a document that may take the worker is about; None for a kind that never does."""
    match kind:
        case "batch-record":
            return get_object_or_404(Batch, pk=pk)
        case "shipment-trace":
            return get_object_or_404(Shipment, pk=pk)
        case "lot-trace":
            return get_object_or_404(HarnessLot, pk=pk)
    return None


@require_POST
@acting
@sealing
def issue(request: HttpRequest, kind: str, pk: int) -> HttpResponse:
    """Issue a document and open its page."""
    by, at = person_of(request), now()
    of = _orderable(kind, pk)
    if of is not None and is_long(of):
        return redirect("prove:document-order", pk=order_document(of=of, by=by, at=at).pk)
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
        case "study-report":
            document = issue_study_report(study=get_object_or_404(Study, pk=pk), by=by, at=at)
        case _:
            raise Http404
    return redirect("prove:document", number=document.number, issue=document.issue)


@require_POST
@acting
@sealing
def evidence(request: HttpRequest, kind: str, number: str) -> HttpResponse:
    """The evidence package, made now and downloaded; a long one is left to the worker."""
    thing: Shipment | HarnessLot
    if kind == "shipment":
        thing = get_object_or_404(Shipment, number=number)
    elif kind == "lot":
        thing = get_object_or_404(HarnessLot, number=number)
    else:
        raise Http404
    if is_long(thing):
        return redirect("prove:evidence-order", pk=order_evidence(of=kind, number=number, by=person_of(request), at=now()).pk)
    package = pack_evidence(of=thing, by=person_of(request), at=now())
    response = HttpResponse(package, content_type="application/zip")
    response["Content-Disposition"] = f'attachment; filename="evidence-{number}.zip"'
    return response


@require_http_methods(["GET", "POST"])
def document(request: HttpRequest, number: str, issue: int) -> HttpResponse:
    """What was issued under a number, and whether a file somebody holds is that document: where the QR code leads."""
    thing = get_object_or_404(IssuedDocument.objects.select_related("issued_by"), number=number, issue=issue)
    upload = request.FILES.get("file") if request.method == "POST" else None
    state = signed_state(thing)
    context = {
        "place": PLACE,
        "document": thing,
        "signed": state.signatures,
        "sha256": state.sha256,
        "open_places": [(place.word, ", ".join(sorted(place.roles))) for _number, place in state.open_places()],
        "may_sign": state.place_for(person_of(request)) is not None,
        "later": IssuedDocument.objects.filter(number=number, issue__gt=issue).order_by("-issue").first(),
        "comparison": compare_upload(thing, upload) if upload else None,
        "file_missing": request.method == "POST" and upload is None,
        "subject_url": _subject_url(thing),
        "disposed": disposal_of((KeptAs.DOCUMENT.value, thing.pk)),
    }
    return render(request, "prove/document.html", context)


def _subject_url(thing: IssuedDocument) -> str:
    match thing.subject_kind:
        case "setup sheet":
            return reverse("plan:sheet", args=[thing.subject_id])
        case "batch":
            return reverse("prove:batch", args=[Batch.objects.get(pk=thing.subject_id).number])
        case "study":
            return reverse("studies:study", args=[Study.objects.get(pk=thing.subject_id).number])
        case "calibration status":
            return reverse("prove:calibration")
        case "nonconformance":
            return reverse("prove:nonconformance", args=[Nonconformance.objects.get(pk=thing.subject_id).number])
        case "harness lot":
            return reverse("prove:lot", args=[HarnessLot.objects.get(pk=thing.subject_id).number])
        case "disposal":
            return reverse("prove:disposal", args=[Disposal.objects.get(pk=thing.subject_id).number])
        case "shipment":
            return reverse("prove:shipment", args=[Shipment.objects.get(pk=thing.subject_id).number])
    return trail_url(thing.subject_kind, thing.subject_id)


@require_GET
@acting
@sealing
def document_file(request: HttpRequest, number: str, issue: int) -> HttpResponse:
    thing = get_object_or_404(IssuedDocument, number=number, issue=issue)
    data = document_bytes(thing) if "as-issued" in request.GET else current_bytes(thing)
    response = HttpResponse(data, content_type="application/pdf")
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
        "rows": LongPaginator(entries, 50).get_page(request.GET.get("page")),
        "kinds": sorted(RECORDED),  # asking the ledger which kinds it has would read all of it
        "kind": kind,
        "subject": subject,
        "checkpoint": Checkpoint.objects.order_by("-entries").first(),
        "may_checkpoint": may(person_of(request), Deed.MAKE_CHECKPOINT),
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
        told=in_words(entry),
        signature=getattr(entry, "signature", None),
        trail_url=subject.url if (subject := subject_of(entry.subject_kind, entry.subject_id)) else "",
        following=number + 1 if LedgerEntry.objects.filter(number=number + 1).exists() else None,
    )
    return render(request, "prove/ledger_entry.html", {"place": PLACE, "page": page})
