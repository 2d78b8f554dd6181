"""Long documents that the worker draws: asked for here, followed until they are issued."""

from __future__ import annotations

from django.db import models
from django.urls import reverse
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.exceptions import ValidationError
from rest_framework.request import Request
from rest_framework.response import Response

from inspection.models import Batch
from records.acts.document_orders import Ordered, order_document
from records.document_orders import DocumentOrder, OrderState, TrailAsked
from records.models import HarnessLot, Shipment
from records.trails import subject_of
from shop.api.fields import AnySerializer, Asked, Count, Word
from shop.api.view import ApiView, ListView, asked, found, named_in_body, person_of
from shop.clock import now

TAGS = ["prove"]


class Orderable(models.TextChoices):
    """What the worker draws."""

    BATCH_RECORD = "batch-record"
    SHIPMENT_TRACE = "shipment-trace"
    LOT_TRACE = "lot-trace"
    AUDIT_TRAIL = "audit-trail"


class OrderIn(Asked):
    document_kind = serializers.ChoiceField(choices=Orderable.choices)
    number = serializers.CharField(
        max_length=60, required=False, default="", allow_blank=True, help_text="Of the batch, the shipment or the harness lot."
    )
    about = serializers.CharField(
        max_length=40, required=False, default="", allow_blank=True, help_text="Of an audit trail: the kind of thing, as in its address."
    )
    id = Count(least=1, required=False, allow_null=True, default=None, help_text="Of an audit trail: the thing's key, as in its address.")


class OrderOut(AnySerializer):
    """A document that was asked for."""

    id = serializers.IntegerField(source="pk")
    document_kind = serializers.SerializerMethodField()
    number = serializers.CharField(source="of.number")
    state = Word(OrderState)
    pages = serializers.IntegerField(help_text="Laid out so far.")
    fault = serializers.CharField(help_text="Why it was not issued; empty otherwise.")
    is_lost = serializers.SerializerMethodField(help_text="Nothing was heard of it for minutes: ask for it again.")
    by = serializers.CharField(source="by.username")
    at = serializers.DateTimeField()
    document = serializers.SerializerMethodField(help_text="Address of the issued document; empty until it is there.")

    def get_document_kind(self, order: DocumentOrder) -> Orderable:
        if order.trail_id is not None:
            return Orderable.AUDIT_TRAIL
        if order.batch_id is not None:
            return Orderable.BATCH_RECORD
        return Orderable.LOT_TRACE if order.lot_id is not None else Orderable.SHIPMENT_TRACE

    def get_is_lost(self, order: DocumentOrder) -> bool:
        return order.is_lost(now())

    def get_document(self, order: DocumentOrder) -> str:
        return reverse("api:document", args=[order.document.number, order.document.issue]) if order.document else ""


_ORDERS = DocumentOrder.objects.select_related("batch", "lot", "shipment", "document", "by")


class DocumentOrdersView(ListView):
    @extend_schema(summary="List documents that were asked for", tags=TAGS, responses={200: OrderOut(many=True)})
    def get(self, request: Request) -> Response:
        """Newest first."""
        return self.pages(_ORDERS.all(), OrderOut)

    @extend_schema(summary="Ask for a long document", tags=TAGS, request=OrderIn, responses={201: OrderOut})
    def post(self, request: Request) -> Response:
        """Drawn by the worker; ask for its state until it is issued. A short one is as well issued at once, under documents or trail."""
        body = asked(request, OrderIn)
        of: Ordered
        match body["document_kind"]:
            case Orderable.BATCH_RECORD:
                of = named_in_body(Batch.objects.all(), "number", number=body["number"])
            case Orderable.SHIPMENT_TRACE:
                of = named_in_body(Shipment.objects.all(), "number", number=body["number"])
            case Orderable.AUDIT_TRAIL:
                subject = subject_of(body["about"], body["id"]) if body["about"] and body["id"] else None
                if subject is None:
                    raise ValidationError({"about": "Name a kind of thing and its key, as they stand in the address of its trail."})
                of = TrailAsked(subject.kind, subject.pk, subject.name)
            case _:
                of = named_in_body(HarnessLot.objects.all(), "number", number=body["number"])
        order = order_document(of=of, by=person_of(request), at=now())
        return Response(OrderOut(_ORDERS.get(pk=order.pk)).data, status=201)


class DocumentOrderView(ApiView):
    @extend_schema(summary="Read how far a long document is", tags=TAGS, responses={200: OrderOut})
    def get(self, request: Request, pk: int) -> Response:
        return Response(OrderOut(found(_ORDERS.all(), pk=pk)).data)
