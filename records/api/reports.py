"""Certificates of conformity, how the gauges stand, and the audit trail of anything."""

from __future__ import annotations

from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.exceptions import NotFound
from rest_framework.request import Request
from rest_framework.response import Response

from records.acts.reports import CERTIFIED_MEANING, certify_shipment, issue_audit_trail, issue_calibration_status, issue_certificate
from records.api.documents import DocumentWhole
from records.gather.calibration import STANDINGS, gauge_statuses
from records.gather.certificate import certificate_content
from records.models import Shipment
from records.pages.sealing import sealing
from records.report_content import CertificateContent
from records.trails import Subject, entries_about, subject_of, trail
from shop.api.fields import AnySerializer, Asked, Shape, SignatureIn
from shop.api.view import ApiView, ListView, Pages, asked, asked_in_address, found, person_of, signed
from shop.canonical import content_sha256
from shop.clock import now, shop_day
from shop.tools import GaugeKind

TAGS = ["prove"]
OF = [
    OpenApiParameter("kind", str, OpenApiParameter.PATH, description="As the ledger names it, hyphens for spaces: tools, setup-sheet."),
    OpenApiParameter("id", int, OpenApiParameter.PATH),
]


class CertificateToSign(AnySerializer):
    """What quality would sign now. seen_sha256: to be sent back with the signature."""

    content = Shape(CertificateContent)
    seen_sha256 = serializers.CharField()


class CertifyIn(Asked):
    seen_sha256 = serializers.CharField(max_length=64, help_text="Of the content as it was read.")
    signature = SignatureIn()


class CertificateView(ApiView):
    @extend_schema(summary="Read what a certificate would say", tags=TAGS, responses={200: CertificateToSign})
    def get(self, request: Request, number: str) -> Response:
        """Of a shipment, as things are now."""
        content = certificate_content(found(Shipment.objects.select_related("customer", "shipped_by"), number=number))
        return Response({"content": content, "seen_sha256": content_sha256(content)})

    @extend_schema(summary="Certify conformity", tags=TAGS, request=CertifyIn, responses={201: DocumentWhole})
    @sealing
    def post(self, request: Request, number: str) -> Response:
        """Signed by quality; answers with the certificate. Refused while a hold behind the shipment is not decided."""
        body, at = asked(request, CertifyIn), now()
        shipment = found(Shipment, number=number)
        signing = signed(request, body["signature"], CERTIFIED_MEANING, at)
        certify_shipment(shipment=shipment, by=signing.person, at=at, signing=signing, seen_sha256=body["seen_sha256"])
        return Response(DocumentWhole(issue_certificate(shipment=shipment, by=signing.person, at=at)).data, status=201)


class StatusIn(Asked):
    on = serializers.DateField(required=False, allow_null=True, default=None, help_text="As of this day; left out, today.")
    kind = serializers.ChoiceField(choices=GaugeKind.values, required=False, allow_blank=True, default="")


class GaugeStatusOut(AnySerializer):
    """A gauge on the day asked about, every value as text. Of one never calibrated what belongs to a calibration is empty."""

    asset_number = serializers.CharField()
    kind = serializers.CharField()
    description = serializers.CharField()
    state = serializers.CharField()
    resolution = serializers.CharField()
    calibrated = serializers.CharField()
    result = serializers.CharField()
    due = serializers.CharField()
    days_left = serializers.CharField()
    certificate = serializers.CharField()
    laboratory = serializers.CharField()
    uncertainty = serializers.CharField(help_text="Expanded, k = 2, with its unit.")
    standing = serializers.ChoiceField(choices=STANDINGS)
    outcome = serializers.CharField(help_text="The verdict that goes with it.")


class CalibrationStatusView(ListView):
    @extend_schema(
        summary="List how the gauges stand",
        tags=TAGS,
        parameters=[OpenApiParameter("on", OpenApiTypes.DATE), OpenApiParameter("kind", str, enum=GaugeKind.values)],
        responses={200: GaugeStatusOut(many=True)},
    )
    def get(self, request: Request) -> Response:
        """Every gauge that is not retired."""
        stated = asked_in_address(request, StatusIn)
        pages = Pages()
        shown = pages.paginate_queryset(gauge_statuses(stated["on"] or shop_day(now()), stated["kind"]), request, view=self)
        return pages.get_paginated_response(GaugeStatusOut(shown, many=True).data)

    @extend_schema(summary="Issue a calibration status", tags=TAGS, request=StatusIn, responses={201: DocumentWhole})
    @sealing
    def post(self, request: Request) -> Response:
        """A new issue each time: asking has a time."""
        body = asked(request, StatusIn)
        document = issue_calibration_status(by=person_of(request), at=now(), on=body["on"], kind=body["kind"])
        return Response(DocumentWhole(document).data, status=201)


class TrailLineOut(AnySerializer):
    """One ledger entry in words."""

    entry = serializers.IntegerField(source="number")
    at = serializers.DateTimeField()
    by = serializers.CharField()
    about = serializers.CharField(help_text="What it happened to, where that is only a part of the thing.")
    what = serializers.CharField(source="told.what")
    changes = serializers.ListField(child=serializers.CharField(), source="told.changes")
    reason = serializers.CharField(source="told.reason")
    signed_as = serializers.CharField()


def _subject(kind: str, pk: int) -> Subject:
    subject = subject_of(kind, pk)
    if subject is None:
        raise NotFound
    return subject


class TrailView(ListView):
    @extend_schema(
        summary="Read what happened to a thing",
        tags=TAGS,
        parameters=[*OF, OpenApiParameter("by", str, description="User name of who did it.")],
        responses={200: TrailLineOut(many=True)},
    )
    def get(self, request: Request, kind: str, pk: int) -> Response:
        """Oldest first, in plain words. An import that did nothing to the thing is left out."""
        subject = _subject(kind, pk)
        entries = entries_about(subject, by=request.query_params.get("by", "").replace("\0", ""))
        pages = Pages()
        shown = pages.paginate_queryset(entries, request, view=self) or []
        return pages.get_paginated_response(TrailLineOut(trail(subject, shown), many=True).data)

    @extend_schema(summary="Issue an audit trail", tags=TAGS, parameters=OF, request=None, responses={201: DocumentWhole})
    @sealing
    def post(self, request: Request, kind: str, pk: int) -> Response:
        """The whole trail as a sealed document."""
        document = issue_audit_trail(subject=_subject(kind, pk), by=person_of(request), at=now())
        return Response(DocumentWhole(document).data, status=201)
