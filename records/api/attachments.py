"""Files attached to things: list, attach, fetch, withdraw."""

from __future__ import annotations

from typing import Any

from django.http import Http404, HttpResponse
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.parsers import MultiPartParser
from rest_framework.renderers import JSONRenderer
from rest_framework.request import Request
from rest_framework.response import Response

from records.acts.attachments import attach, attachment_bytes, attachments_of, withdraw_attachment
from records.attachables import ATTACHABLE, Thing, thing
from records.disposed import disposal_of
from records.keeping_models import Attachment, KeptAs
from shop.api.catalogue import file_in
from shop.api.fields import AnySerializer, Asked
from shop.api.files import AnyFile, file_response
from shop.api.view import ApiView, asked, found, person_of
from shop.clock import now
from shop.file_kind import ENDINGS

TAGS = ["attachments"]
KIND = OpenApiParameter("kind", str, OpenApiParameter.PATH, enum=sorted(ATTACHABLE))


class AttachmentOut(AnySerializer):
    """A file that was put to a thing."""

    id = serializers.IntegerField()
    subject_kind = serializers.CharField(help_text="As the ledger names it.")
    subject_id = serializers.IntegerField()
    subject_name = serializers.CharField()
    title = serializers.CharField()
    file_name = serializers.CharField()
    file_type = serializers.CharField(help_text="Told by the file's content.")
    size = serializers.IntegerField()
    sha256 = serializers.CharField()
    by = serializers.CharField(source="by.username")
    at = serializers.DateTimeField()
    withdrawn = serializers.SerializerMethodField(help_text="Why it counts no longer; empty while it does.")
    disposed_by_act = serializers.SerializerMethodField(help_text="Number of the disposal that took its file; empty while it is kept.")

    def get_withdrawn(self, row: Attachment) -> str:
        withdrawal = getattr(row, "withdrawal", None)
        return withdrawal.reason if withdrawal else ""

    def get_disposed_by_act(self, row: Attachment) -> str:
        gone = disposal_of((KeptAs.ATTACHMENT.value, row.pk))
        return gone.disposal.number if gone else ""


class AttachmentIn(AnySerializer):
    """A file and what it is."""

    title = serializers.CharField(max_length=120)
    file = serializers.FileField()


class WithdrawAttachmentIn(Asked):
    reason = serializers.CharField(max_length=300)


def _thing(kind: str, pk: int) -> Thing:
    known = thing(kind, pk)
    if known is None:
        raise Http404
    return known


class AttachmentsView(ApiView):
    parser_classes = [MultiPartParser]

    @extend_schema(summary="List the attachments of a thing", tags=TAGS, parameters=[KIND], responses={200: AttachmentOut(many=True)})
    def get(self, request: Request, kind: str, pk: int) -> Response:
        """In the order in which they came, withdrawn ones too."""
        return Response(AttachmentOut(attachments_of(_thing(kind, pk)), many=True).data)

    @extend_schema(
        summary="Attach a file",
        tags=TAGS,
        parameters=[KIND],
        request={"multipart/form-data": AttachmentIn},
        responses={201: AttachmentOut},
    )
    def post(self, request: Request, kind: str, pk: int) -> Response:
        """PDF, PNG, JPEG, WebP, XLSX without macros, CSV or text, told by its content. It never changes; a wrong one is withdrawn."""
        to, (name, data) = _thing(kind, pk), file_in(request)
        fields: Any = request.data
        row = attach(thing=to, title=str(fields.get("title", ""))[:200], name=name, data=data, by=person_of(request), at=now())
        return Response(AttachmentOut(found(Attachment.objects.select_related("by"), pk=row.pk)).data, status=201)


class AttachmentFileView(ApiView):
    renderer_classes = [JSONRenderer, AnyFile]

    @extend_schema(summary="Get an attached file", tags=TAGS, responses={(200, kind): OpenApiTypes.BINARY for kind in ENDINGS})
    def get(self, request: Request, pk: int) -> HttpResponse:
        """As it was attached, to be kept as a file. 410 after its disposal."""
        row = found(Attachment, pk=pk)
        return file_response(attachment_bytes(row), row.file_type, row.file_name)


class WithdrawAttachmentView(ApiView):
    @extend_schema(summary="Withdraw an attachment", tags=TAGS, request=WithdrawAttachmentIn, responses={200: AttachmentOut})
    def post(self, request: Request, pk: int) -> Response:
        """It stays readable, marked as withdrawn."""
        row = found(Attachment, pk=pk)
        withdraw_attachment(attachment=row, reason=asked(request, WithdrawAttachmentIn)["reason"], by=person_of(request), at=now())
        return Response(AttachmentOut(found(Attachment.objects.select_related("by", "withdrawal"), pk=pk)).data)
