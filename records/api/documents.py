"""Issued documents and evidence packages: what auditors take away."""

from __future__ import annotations

import json
from datetime import datetime
from typing import Any

from django.db import models
from django.http import Http404, HttpResponse
from django.urls import reverse
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.renderers import JSONRenderer
from rest_framework.request import Request
from rest_framework.response import Response

from inspection.models import Batch, Study
from records.acts.documents import (
    issue_batch_record,
    issue_first_article,
    issue_setup_sheet,
    issue_study_report,
    issue_trace_report,
)
from records.acts.evidence import pack_evidence
from records.acts.signing import current_bytes, sign_document, signed_state
from records.models import DocumentKind, HarnessLot, IssuedDocument, Shipment
from records.pages.sealing import sealing
from shop.api.fields import AnySerializer, Asked, Count, SignatureIn, Word
from shop.api.files import PDF, ZIP, file_response
from shop.api.view import ApiView, ListView, asked, found, named_in_body, person_of, signed
from shop.clock import now
from shop.jobs import SetupSheet
from shop.people import Person

TAGS = ["prove"]


class Issuable(models.TextChoices):
    """What can be issued."""

    SETUP_SHEET = "setup-sheet"
    FIRST_ARTICLE = "first-article"
    BATCH_RECORD = "batch-record"
    SHIPMENT_TRACE = "shipment-trace"
    LOT_TRACE = "lot-trace"
    STUDY_REPORT = "study-report"


class IssueIn(Asked):
    kind = serializers.ChoiceField(choices=Issuable.choices)
    number = serializers.CharField(max_length=60, help_text="Of the setup sheet, the batch, the shipment, the harness lot or the study.")
    revision = Count(
        least=1, required=False, allow_null=True, default=None, help_text="Of a setup sheet; left out, the newest that was released."
    )


class DocumentOut(AnySerializer):
    """A document as it was issued: never changed, a later state is a new issue."""

    number = serializers.CharField()
    issue = serializers.IntegerField()
    kind = Word(DocumentKind)
    title = serializers.CharField()
    subject_kind = serializers.CharField()
    subject_id = serializers.IntegerField()
    sha256 = serializers.CharField(help_text="Of the file.")
    record_sha256 = serializers.CharField(help_text="Of the canonical JSON attached to it.")
    size = serializers.IntegerField()
    issued_at = serializers.DateTimeField()
    issued_by = serializers.CharField(source="issued_by.username")
    file = serializers.SerializerMethodField(help_text="Address of the PDF.")

    def get_file(self, document: IssuedDocument) -> str:
        return reverse("api:document-file", args=[document.number, document.issue])


class DocumentWhole(DocumentOut):
    """A document with its record."""

    record = serializers.SerializerMethodField(help_text="What the document says, as attached to it.")

    def get_record(self, document: IssuedDocument) -> dict[str, Any]:
        said: dict[str, Any] = json.loads(document.record)
        return said


class SignDocumentIn(Asked):
    meaning = serializers.CharField(max_length=40, help_text="performed, checked or approved: one of the document's places.")
    seen_sha256 = serializers.CharField(max_length=64, help_text="Of the file as it was read.")
    signature = SignatureIn()


class DocumentSignatureOut(AnySerializer):
    """A person's signature on a document itself."""

    number = serializers.IntegerField(help_text="In the order of signing, from 1.")
    meaning = serializers.CharField()
    person = serializers.CharField(source="person.username")
    printed_name = serializers.CharField()
    signed_at = serializers.DateTimeField()
    sha256 = serializers.CharField(help_text="Of the file with this signature behind it.")
    certificate_sha256 = serializers.CharField(help_text="Of the certificate made for this signature, DER.")


class DocumentsView(ListView):
    @extend_schema(
        summary="List issued documents",
        tags=TAGS,
        parameters=[
            OpenApiParameter("number", str),
            OpenApiParameter("kind", str, enum=DocumentKind.values),
            OpenApiParameter("subject_kind", str, description="setup sheet, batch, shipment, harness lot or study."),
            OpenApiParameter("subject_id", int),
        ],
        responses={200: DocumentOut(many=True)},
    )
    def get(self, request: Request) -> Response:
        """Newest first."""
        rows = IssuedDocument.objects.select_related("issued_by").defer("record")
        for name in ("number", "kind", "subject_kind"):
            value = request.query_params.get(name, "").replace("\0", "")
            rows = rows.filter(**{name: value}) if value else rows
        subject = request.query_params.get("subject_id", "")
        if subject:
            rows = rows.filter(subject_id=int(subject)) if subject.isascii() and subject.isdigit() and len(subject) < 19 else rows.none()
        return self.pages(rows, DocumentOut)

    @extend_schema(summary="Issue a document", tags=TAGS, request=IssueIn, responses={201: DocumentWhole})
    @sealing
    def post(self, request: Request) -> Response:
        """Drawn, sealed and stored. The same record is issued once: asked for again, the document that exists is the answer."""
        body = asked(request, IssueIn)
        return Response(DocumentWhole(_issue(body, person_of(request), now())).data, status=201)


def _issue(body: dict[str, Any], by: Person, at: datetime) -> IssuedDocument:
    number = body["number"]
    match body["kind"]:
        case Issuable.SETUP_SHEET:
            sheets = SetupSheet.objects.order_by("-revision")
            sheets = sheets.filter(revision=body["revision"]) if body["revision"] else sheets.filter(released_at__isnull=False)
            return issue_setup_sheet(sheet=named_in_body(sheets, "number", number=number), by=by, at=at)
        case Issuable.FIRST_ARTICLE:
            return issue_first_article(batch=named_in_body(Batch.objects.all(), "number", number=number), by=by, at=at)
        case Issuable.BATCH_RECORD:
            return issue_batch_record(batch=named_in_body(Batch.objects.all(), "number", number=number), by=by, at=at)
        case Issuable.SHIPMENT_TRACE:
            return issue_trace_report(of=named_in_body(Shipment.objects.all(), "number", number=number), by=by, at=at)
        case Issuable.STUDY_REPORT:
            return issue_study_report(study=named_in_body(Study.objects.all(), "number", number=number), by=by, at=at)
    return issue_trace_report(of=named_in_body(HarnessLot.objects.all(), "number", number=number), by=by, at=at)


class DocumentView(ApiView):
    @extend_schema(summary="Read an issued document", tags=TAGS, responses={200: DocumentWhole})
    def get(self, request: Request, number: str, issue: int) -> Response:
        """With the record attached to it."""
        return Response(DocumentWhole(found(IssuedDocument.objects.select_related("issued_by"), number=number, issue=issue)).data)


class DocumentFileView(ApiView):
    renderer_classes = [PDF, JSONRenderer]

    @extend_schema(summary="Get the PDF", tags=TAGS, responses={(200, "application/pdf"): OpenApiTypes.BINARY})
    @sealing
    def get(self, request: Request, number: str, issue: int) -> HttpResponse:
        """With every signature on it so far. A stored file that no longer has its hash is refused as damaged."""
        document = found(IssuedDocument, number=number, issue=issue)
        return file_response(current_bytes(document), "application/pdf", f"{document.number}-{document.issue}.pdf")


class DocumentSignaturesView(ApiView):
    @extend_schema(summary="List the signatures on a document", tags=TAGS, responses={200: DocumentSignatureOut(many=True)})
    def get(self, request: Request, number: str, issue: int) -> Response:
        """In the order of signing; each left a file of its own, with a hash of its own."""
        state = signed_state(found(IssuedDocument, number=number, issue=issue))
        return Response(DocumentSignatureOut(state.signatures, many=True).data)

    @extend_schema(summary="Sign a document", tags=TAGS, request=SignDocumentIn, responses={201: DocumentSignatureOut})
    @sealing
    def post(self, request: Request, number: str, issue: int) -> Response:
        """Behind the shop's seal and every signature before, with a certificate made for this one."""
        body, at = asked(request, SignDocumentIn), now()
        document = found(IssuedDocument, number=number, issue=issue)
        meaning = body["meaning"]
        signing = signed(request, body["signature"], f"document {meaning}", at)
        row = sign_document(document=document, meaning=meaning, by=signing.person, at=at, signing=signing, seen_sha256=body["seen_sha256"])
        return Response(DocumentSignatureOut(row).data, status=201)


class EvidenceView(ApiView):
    renderer_classes = [ZIP, JSONRenderer]

    @extend_schema(
        summary="Pack the evidence",
        tags=TAGS,
        parameters=[OpenApiParameter("kind", str, OpenApiParameter.PATH, enum=["shipment", "lot"])],
        request=None,
        responses={(200, "application/zip"): OpenApiTypes.BINARY},
    )
    @sealing
    def post(self, request: Request, kind: str, number: str) -> HttpResponse:
        """Documents, records, ledger entries, a signed manifest and a verifier in one ZIP. Documents not issued yet are issued now."""
        thing: Shipment | HarnessLot
        match kind:
            case "shipment":
                thing = found(Shipment, number=number)
            case "lot":
                thing = found(HarnessLot, number=number)
            case _:
                raise Http404
        return file_response(pack_evidence(of=thing, by=person_of(request), at=now()), "application/zip", f"evidence-{number}.zip")
