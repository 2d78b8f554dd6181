"""Certifying a shipment, and how the gauges stand on a day."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Any
from urllib.parse import urlencode

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from records.acts.reports import CERTIFIED_MEANING, certificate_findings, certify_shipment, issue_calibration_status, issue_certificate
from records.gather.calibration import counted, gauge_statuses
from records.gather.certificate import certificate_content
from records.models import DocumentKind, IssuedDocument, Shipment
from records.pages.sealing import sealing
from records.report_content import GaugeStatus
from shop.canonical import content_sha256
from shop.clock import now, shop_day
from shop.pages.acting import Refusal, acting, person_of, refusal_of
from shop.permissions import Deed, may
from shop.sign_on import sign
from shop.tools import GaugeKind

PLACE = "prove"


@dataclass(frozen=True, slots=True)
class CertificatePage:
    """content: what would be signed now; issued: certificates handed out so far, newest first."""

    shipment: Shipment
    content: Any
    sha256: str
    may_certify: bool
    issued: list[IssuedDocument]
    hindered: Any


@dataclass(frozen=True, slots=True)
class StatusPage:
    on: date
    kind: str
    kinds: list[str]
    counts: list[str]
    gauges: list[tuple[GaugeStatus, str]]
    issue_url: str
    may_issue: bool


def certificate_page(request: HttpRequest, number: str, *, refusal: Refusal | None = None) -> HttpResponse:
    shipment = get_object_or_404(Shipment.objects.select_related("customer", "shipped_by"), number=number)
    content = certificate_content(shipment)
    page = CertificatePage(
        shipment=shipment,
        content=content,
        sha256=content_sha256(content),
        may_certify=may(person_of(request), Deed.CERTIFY),
        issued=list(
            IssuedDocument.objects.filter(kind=DocumentKind.CERTIFICATE, subject_kind="shipment", subject_id=shipment.pk).order_by("-issue")
        ),
        hindered=refusal_of(found).findings if (found := certificate_findings(shipment)) else (),
    )
    context = {"place": PLACE, "page": page, "refusal": refusal, "meaning": CERTIFIED_MEANING}
    return render(request, "prove/certificate.html", context)


@require_http_methods(["GET", "POST"])
@acting(again=certificate_page)
@sealing
def certificate(request: HttpRequest, number: str) -> HttpResponse:
    """What quality certifies, and the signature under it; the document follows at once."""
    if request.method == "GET":
        return certificate_page(request, number)
    shipment, by, at = get_object_or_404(Shipment, number=number), person_of(request), now()
    signing = sign(identifier=by.username, secret=request.POST.get("secret", ""), meaning=CERTIFIED_MEANING, at=at)
    certify_shipment(shipment=shipment, by=by, at=at, signing=signing, seen_sha256=request.POST.get("seen_sha256", ""))
    document = issue_certificate(shipment=shipment, by=by, at=at)
    return redirect("prove:document", number=document.number, issue=document.issue)


def _asked(request: HttpRequest) -> tuple[date, str]:
    """The day and the kind of gauge in the address; today and all where there is none."""
    try:
        on = date.fromisoformat(request.GET.get("on", "").strip())
    except ValueError:
        on = shop_day(now())
    kind = request.GET.get("kind", "").strip()
    return on, kind if kind in GaugeKind.values else ""


@require_GET
def calibration(request: HttpRequest) -> HttpResponse:
    on, kind = _asked(request)
    gauges = gauge_statuses(on, kind)
    page = StatusPage(
        on=on,
        kind=kind,
        kinds=list(GaugeKind.values),
        counts=counted(gauges),
        gauges=[(gauge, "undecided" if gauge["outcome"] == "cannot be decided" else gauge["outcome"]) for gauge in gauges],
        issue_url=f"{reverse('prove:calibration-issue')}?{urlencode({'on': on.isoformat(), 'kind': kind})}",
        may_issue=may(person_of(request), Deed.ISSUE_DOCUMENT),
    )
    return render(request, "prove/calibration.html", {"place": PLACE, "page": page})


@require_POST
@acting
@sealing
def calibration_issue(request: HttpRequest) -> HttpResponse:
    on, kind = _asked(request)
    document = issue_calibration_status(by=person_of(request), at=now(), on=on, kind=kind)
    return redirect("prove:document", number=document.number, issue=document.issue)
