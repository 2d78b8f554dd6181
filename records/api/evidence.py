"""Evidence packages that are packed in the background, and checkpoints of the ledger."""

from __future__ import annotations

from django.http import FileResponse
from django.urls import reverse
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.renderers import JSONRenderer
from rest_framework.request import Request
from rest_framework.response import Response

from records.acts.checkpoints import make_checkpoint
from records.acts.evidence_orders import order_evidence, package_file
from records.checkpoints import Checkpoint
from records.evidence_orders import EvidenceOf, EvidenceOrder, EvidenceState
from records.pages.sealing import sealing
from shop.api.fields import AnySerializer, Asked, Word
from shop.api.files import ZIP
from shop.api.view import ApiView, ListView, asked, found, person_of
from shop.clock import now

TAGS = ["prove"]


class EvidenceIn(Asked):
    of = serializers.ChoiceField(choices=EvidenceOf.choices)
    number = serializers.CharField(
        max_length=60, required=False, default="", allow_blank=True, help_text="Of the shipment or the harness lot."
    )
    since = serializers.DateField(required=False, allow_null=True, default=None, help_text="First day of a period.")
    until = serializers.DateField(required=False, allow_null=True, default=None, help_text="Last day of a period, included.")


class EvidenceOut(AnySerializer):
    """A package that was asked for."""

    id = serializers.IntegerField(source="pk")
    of = Word(EvidenceOf)
    number = serializers.CharField()
    since = serializers.DateField(allow_null=True)
    until = serializers.DateField(allow_null=True)
    state = Word(EvidenceState)
    done = serializers.IntegerField(help_text="Steps that are done.")
    total = serializers.IntegerField(help_text="Of how many; it grows while the documents are being found.")
    fault = serializers.CharField(help_text="Why it broke off; empty otherwise.")
    sha256 = serializers.CharField(help_text="Of the ZIP; empty until it is done.")
    size = serializers.IntegerField(allow_null=True)
    by = serializers.CharField(source="by.username")
    at = serializers.DateTimeField()
    file = serializers.SerializerMethodField(help_text="Address of the ZIP; empty until it is done.")

    def get_file(self, order: EvidenceOrder) -> str:
        return reverse("api:evidence-package-file", args=[order.pk]) if order.sha256 else ""


class EvidencePackagesView(ListView):
    @extend_schema(summary="List evidence packages", tags=TAGS, responses={200: EvidenceOut(many=True)})
    def get(self, request: Request) -> Response:
        """Newest first."""
        return self.pages(EvidenceOrder.objects.select_related("by"), EvidenceOut)

    @extend_schema(summary="Ask for an evidence package", tags=TAGS, request=EvidenceIn, responses={201: EvidenceOut})
    def post(self, request: Request) -> Response:
        """Packed by the worker; ask for its state until it is done. A shipment or a lot needs its number, a period its days."""
        body = asked(request, EvidenceIn)
        order = order_evidence(by=person_of(request), at=now(), **body)
        order.refresh_from_db()  # where the worker was at once
        return Response(EvidenceOut(order).data, status=201)


class EvidencePackageView(ApiView):
    @extend_schema(summary="Read the state of an evidence package", tags=TAGS, responses={200: EvidenceOut})
    def get(self, request: Request, pk: int) -> Response:
        return Response(EvidenceOut(found(EvidenceOrder.objects.select_related("by"), pk=pk)).data)


class EvidencePackageFileView(ApiView):
    renderer_classes = [ZIP, JSONRenderer]

    @extend_schema(summary="Get the ZIP of an evidence package", tags=TAGS, responses={(200, "application/zip"): OpenApiTypes.BINARY})
    def get(self, request: Request, pk: int) -> FileResponse:
        """Not found until it is done."""
        order = found(EvidenceOrder.objects.exclude(sha256=""), pk=pk)
        return FileResponse(package_file(order), as_attachment=True, filename=order.file_name, content_type="application/zip")


class CheckpointOut(AnySerializer):
    """How far the ledger reached, signed. text, signature and certificate are what `verify_ledger --against` reads."""

    entries = serializers.IntegerField()
    tree_head = serializers.CharField(source="root", help_text="Merkle tree head (RFC 9162) over the hashes of the entries.")
    head = serializers.CharField(help_text="Hash of the last of them.")
    at = serializers.DateTimeField()
    checkpoint = serializers.CharField(source="text", help_text="Canonical JSON, which the signature covers.")
    signature = serializers.CharField(help_text="RSASSA-PKCS1-v1_5 with SHA-256, in hex.")
    certificate = serializers.CharField(help_text="PEM.")


class CheckpointsView(ListView):
    @extend_schema(summary="List checkpoints of the ledger", tags=TAGS, responses={200: CheckpointOut(many=True)})
    def get(self, request: Request) -> Response:
        """Newest first. Keep them where the shop cannot change them."""
        return self.pages(Checkpoint.objects.order_by("-entries"), CheckpointOut)

    @extend_schema(summary="Make a checkpoint of the ledger", tags=TAGS, request=None, responses={201: CheckpointOut})
    @sealing
    def post(self, request: Request) -> Response:
        """By quality or the administrator. Where nothing was written since the newest one, that is the answer."""
        return Response(CheckpointOut(make_checkpoint(by=person_of(request), at=now())).data, status=201)
