"""Acts on catalogue items that are more than a change of a field: the tool crib's, and withdrawing a document or a specification."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django import forms
from django.http import HttpResponse
from django.urls import path
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.parsers import MultiPartParser
from rest_framework.renderers import JSONRenderer
from rest_framework.request import Request
from rest_framework.response import Response

from shop.acts.crib import fit_wear_part, record_care, set_counter
from shop.acts.documents import attach_file, file_of, withdraw
from shop.acts.presses import verify_shut_height
from shop.api.catalogue import file_in, item_out
from shop.api.fields import AnySerializer, Asked
from shop.api.files import AnyFile, file_response
from shop.api.form_bodies import body_of, read_by, written
from shop.api.view import ApiView, asked, found, person_of
from shop.catalogue import KINDS
from shop.clock import now, shop_day
from shop.file_kind import ENDINGS
from shop.forms.crib import CareForm, CounterForm, ShutHeightForm, WearPartForm
from shop.forms.specifications import WithdrawForm
from shop.specifications import Document as DocumentRow

Tool, Document, Specification = (item_out(KINDS[slug]) for slug in ("tools", "documents", "specifications"))
WearPartIn = body_of(WearPartForm, "WearPartIn", required=("kind", "part_number"), about="A wear part that goes into the tool.")
CareIn = body_of(CareForm, "CareIn", required=("kind", "result", "note"), about="A service, verification or repair.")
PressItem = item_out(KINDS["presses"])
ShutHeightIn = body_of(
    ShutHeightForm, "ShutHeightIn", required=("measured_mm", "gauge", "due_on"), about="A measured shut height of a press."
)
CounterIn = body_of(CounterForm, "CounterIn", required=("count",), about="What the tool's own counter shows.")


FILE_TYPES = tuple(ENDINGS)


class FileIn(AnySerializer):
    """The file of a revision."""

    file = serializers.FileField()


WithdrawIn = body_of(WithdrawForm, "WithdrawPaperIn", required=("reason", "knowing"), about="The end of a document or specification.")


def _done(
    request: Request, slug: str, pk: int, body: type[Asked], form: type[forms.Form], act: Callable[..., object], name: str
) -> Response:
    """Perform `act` on the item called `name` among its arguments, and show the item as it stands then."""
    rows = KINDS[slug].items(shop_day(now()))
    item = found(rows, pk=pk)
    read: Any = read_by(form(written(asked(request, body, of_form=True))))
    stated = read.stated() if hasattr(read, "stated") else read.cleaned_data
    act(**{name: item}, by=person_of(request), at=now(), **stated)
    return Response(item_out(KINDS[slug])(found(rows.all(), pk=pk), context={"whole": True}).data)


class WearPartView(ApiView):
    @extend_schema(summary="Fit a wear part", tags=["catalogue: Tools"], request=WearPartIn, responses={200: Tool})
    def post(self, request: Request, pk: int) -> Response:
        """The one of that kind fitted so far comes out at the same count, for the reason given."""
        return _done(request, "tools", pk, WearPartIn, WearPartForm, fit_wear_part, "tool")


class CareView(ApiView):
    @extend_schema(summary="Record a service, verification or repair", tags=["catalogue: Tools"], request=CareIn, responses={200: Tool})
    def post(self, request: Request, pk: int) -> Response:
        """A passed one makes the next due by the tool's plan; a failed one takes the tool out of use."""
        return _done(request, "tools", pk, CareIn, CareForm, record_care, "tool")


class CounterView(ApiView):
    @extend_schema(summary="Set a tool's counter", tags=["catalogue: Tools"], request=CounterIn, responses={200: Tool})
    def post(self, request: Request, pk: int) -> Response:
        """Below what was counted so far only for a reason."""
        return _done(request, "tools", pk, CounterIn, CounterForm, set_counter, "tool")


class ShutHeightView(ApiView):
    @extend_schema(summary="Record a press's shut height", tags=["catalogue: Presses"], request=ShutHeightIn, responses={200: PressItem})
    def post(self, request: Request, pk: int) -> Response:
        """Within the press's tolerance it holds until due_on; beyond it the press goes into verification."""
        return _done(request, "presses", pk, ShutHeightIn, ShutHeightForm, verify_shut_height, "press")


class WithdrawDocumentView(ApiView):
    @extend_schema(summary="Withdraw a document", tags=["catalogue: Documents"], request=WithdrawIn, responses={200: Document})
    def post(self, request: Request, pk: int) -> Response:
        """knowing: how many sheets in work or in force and specifications in force rely on it."""
        return _done(request, "documents", pk, WithdrawIn, WithdrawForm, withdraw, "item")


class WithdrawSpecificationView(ApiView):
    @extend_schema(
        summary="Withdraw a crimp specification",
        tags=["catalogue: Crimp specifications"],
        request=WithdrawIn,
        responses={200: Specification},
    )
    def post(self, request: Request, pk: int) -> Response:
        """knowing: how many sheets in work or in force rely on it."""
        return _done(request, "specifications", pk, WithdrawIn, WithdrawForm, withdraw, "item")


class DocumentFileView(ApiView):
    parser_classes = [MultiPartParser]
    renderer_classes = [JSONRenderer, AnyFile]

    @extend_schema(
        summary="Get the file of a document's revision",
        tags=["catalogue: Documents"],
        responses={(200, kind): OpenApiTypes.BINARY for kind in FILE_TYPES},
    )
    def get(self, request: Request, pk: int) -> HttpResponse:
        """As attached, told to be kept as a file."""
        document = found(DocumentRow.objects.exclude(file_sha256=""), pk=pk)
        return file_response(file_of(document), document.file_type, document.file_name)

    @extend_schema(
        summary="Attach the file of a document's revision",
        tags=["catalogue: Documents"],
        request={"multipart/form-data": FileIn},
        responses={200: Document},
    )
    def post(self, request: Request, pk: int) -> Response:
        """Once: a revision's file never changes. PDF, PNG, JPEG, WebP, XLSX, text or CSV, told by its content."""
        rows = KINDS["documents"].items(shop_day(now()))
        document, (name, data) = found(rows, pk=pk), file_in(request)
        attach_file(document=document, name=name, data=data, by=person_of(request), at=now())
        return Response(item_out(KINDS["documents"])(found(rows.all(), pk=pk), context={"whole": True}).data)


urlpatterns = [
    path("catalogue/documents/<int:pk>/file/", DocumentFileView.as_view(), name="document-file"),
    path("catalogue/tools/<int:pk>/wear-part/", WearPartView.as_view(), name="wear-part"),
    path("catalogue/tools/<int:pk>/care/", CareView.as_view(), name="care"),
    path("catalogue/tools/<int:pk>/counter/", CounterView.as_view(), name="counter"),
    path("catalogue/presses/<int:pk>/shut-height/", ShutHeightView.as_view(), name="shut-height"),
    path("catalogue/documents/<int:pk>/withdraw/", WithdrawDocumentView.as_view(), name="document-withdraw"),
    path("catalogue/specifications/<int:pk>/withdraw/", WithdrawSpecificationView.as_view(), name="specification-withdraw"),
]
