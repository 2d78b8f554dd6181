"""Harness lots and shipments: listed, built, sent."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, TypeVar

from django.db.models import Model, QuerySet
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from inspection.models import Batch
from records.acts.lots import BUILT_MEANING, SHIPPED_MEANING, build_lot, ship
from records.models import HarnessLot, Shipment
from shop.api.fields import AnySerializer, Asked, Count, SignatureIn
from shop.api.view import ApiView, ListView, asked, found, named_in_body, signed
from shop.clock import now
from shop.finding import Refused, misfit
from shop.jobs import Customer, Job

TAGS = ["prove"]
M = TypeVar("M", bound=Model)

# --- What they look like ---------------------------------------------------------------------------------------------------------


class LotBatchOut(AnySerializer):
    batch = serializers.CharField(source="batch.number")
    quantity = serializers.IntegerField(help_text="Pieces.")


class HarnessLotOut(AnySerializer):
    """Harnesses built together, and what went in."""

    id = serializers.IntegerField()
    number = serializers.CharField()
    job = serializers.CharField(source="job.number")
    quantity = serializers.IntegerField(help_text="Harnesses.")
    built_at = serializers.DateTimeField()
    built_by = serializers.CharField(source="built_by.username")
    batches = LotBatchOut(many=True, source="lot_batches")


class ShipmentLotOut(AnySerializer):
    lot = serializers.CharField(source="lot.number")
    quantity = serializers.IntegerField(help_text="Harnesses.")


class ShipmentOut(AnySerializer):
    """What was sent to whom."""

    id = serializers.IntegerField()
    number = serializers.CharField()
    customer = serializers.CharField(source="customer.code")
    delivery_note = serializers.CharField()
    shipped_at = serializers.DateTimeField()
    shipped_by = serializers.CharField(source="shipped_by.username")
    lots = ShipmentLotOut(many=True, source="shipment_lots")


def lots() -> QuerySet[HarnessLot]:
    return HarnessLot.objects.select_related("job", "built_by").prefetch_related("lot_batches__batch")


def shipments() -> QuerySet[Shipment]:
    return Shipment.objects.select_related("customer", "shipped_by").prefetch_related("shipment_lots__lot")


# --- What is asked ---------------------------------------------------------------------------------------------------------------


class LotBatchIn(Asked):
    batch = serializers.CharField(max_length=60, help_text="Number of a closed batch.")
    quantity = Count(help_text="Good pieces taken from it.")


class HarnessLotIn(Asked):
    number = serializers.CharField(max_length=60)
    job = serializers.CharField(max_length=60, help_text="The job's number.")
    quantity = Count(help_text="Harnesses.")
    batches = LotBatchIn(many=True)
    signature = SignatureIn()


class ShipmentLotIn(Asked):
    lot = serializers.CharField(max_length=60, help_text="Number of a harness lot.")
    quantity = Count(help_text="Harnesses.")


class ShipmentIn(Asked):
    number = serializers.CharField(max_length=60)
    customer = serializers.CharField(max_length=60, help_text="The customer's code.")
    delivery_note = serializers.CharField(max_length=60, required=False, allow_blank=True, default="")
    lots = ShipmentLotIn(many=True)
    signature = SignatureIn()


def taken(rows: QuerySet[M], lines: Sequence[dict[str, Any]], field: str, one: str) -> dict[int, int]:
    """Primary key -> quantity of the lines of a body, each naming a thing by its number, each thing once. Raises Refused."""
    amounts: dict[int, int] = {}
    for index, line in enumerate(lines):
        here = f"{field}.{index}.{one}"
        pk = int(named_in_body(rows, here, number=line[one]).pk)
        if pk in amounts:
            raise Refused([misfit("data.invalid", here, message=f"{line[one]} stands in the list twice.")])
        amounts[pk] = line["quantity"]
    return amounts


# --- Views -----------------------------------------------------------------------------------------------------------------------


class HarnessLotsView(ListView):
    @extend_schema(
        summary="List harness lots",
        tags=TAGS,
        parameters=[OpenApiParameter("job", str, description="Number of the job.")],
        responses={200: HarnessLotOut(many=True)},
    )
    def get(self, request: Request) -> Response:
        """Newest first."""
        job = request.query_params.get("job", "").replace("\0", "")
        return self.pages(lots().filter(job__number=job) if job else lots(), HarnessLotOut)

    @extend_schema(summary="Build a harness lot", tags=TAGS, request=HarnessLotIn, responses={201: HarnessLotOut})
    def post(self, request: Request) -> Response:
        """Signed. Closed batches of the job, good pieces only and each once, enough of every termination."""
        body, at = asked(request, HarnessLotIn), now()
        job = named_in_body(Job.objects.all(), "job", number=body["job"])
        batches = taken(Batch.objects.all(), body["batches"], "batches", "batch")
        signing = signed(request, body["signature"], BUILT_MEANING, at)
        lot = build_lot(
            number=body["number"], job=job, quantity=body["quantity"], batches=batches, by=signing.person, at=at, signing=signing
        )
        return Response(HarnessLotOut(found(lots(), pk=lot.pk)).data, status=201)


class HarnessLotView(ApiView):
    @extend_schema(summary="Read a harness lot", tags=TAGS, responses={200: HarnessLotOut})
    def get(self, request: Request, number: str) -> Response:
        """By its number."""
        return Response(HarnessLotOut(found(lots(), number=number)).data)


class ShipmentsView(ListView):
    @extend_schema(
        summary="List shipments",
        tags=TAGS,
        parameters=[OpenApiParameter("customer", str, description="Code of the customer.")],
        responses={200: ShipmentOut(many=True)},
    )
    def get(self, request: Request) -> Response:
        """Newest first."""
        customer = request.query_params.get("customer", "").replace("\0", "")
        return self.pages(shipments().filter(customer__code=customer) if customer else shipments(), ShipmentOut)

    @extend_schema(summary="Ship", tags=TAGS, request=ShipmentIn, responses={201: ShipmentOut})
    def post(self, request: Request) -> Response:
        """Signed. Lots of this customer, no more harnesses than are left."""
        body, at = asked(request, ShipmentIn), now()
        customer = named_in_body(Customer.objects.all(), "customer", code=body["customer"])
        amounts = taken(HarnessLot.objects.all(), body["lots"], "lots", "lot")
        signing = signed(request, body["signature"], SHIPPED_MEANING, at)
        sent = ship(
            number=body["number"],
            customer=customer,
            lots=amounts,
            by=signing.person,
            at=at,
            signing=signing,
            delivery_note=body["delivery_note"],
        )
        return Response(ShipmentOut(found(shipments(), pk=sent.pk)).data, status=201)


class ShipmentView(ApiView):
    @extend_schema(summary="Read a shipment", tags=TAGS, responses={200: ShipmentOut})
    def get(self, request: Request, number: str) -> Response:
        """By its number."""
        return Response(ShipmentOut(found(shipments(), number=number)).data)
