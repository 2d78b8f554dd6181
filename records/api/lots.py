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
from records.models import HarnessLot, LotKind, PartOf, Shipment
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


class LotPartOut(AnySerializer):
    """A lot that went into another, and how."""

    lot = serializers.CharField(source="used.number")
    kind = serializers.CharField(help_text="built in, split off, merged, reworked or returned.")
    quantity = serializers.IntegerField()
    shipment = serializers.CharField(source="shipment.number", default="", help_text="It came back from; empty for the others.")
    reason = serializers.CharField()


class HarnessLotOut(AnySerializer):
    """Harnesses built together, and what went in."""

    id = serializers.IntegerField()
    number = serializers.CharField()
    job = serializers.CharField(source="job.number")
    kind = serializers.CharField(help_text="harness, sub-assembly or leads.")
    quantity = serializers.IntegerField(help_text="Harnesses.")
    left = serializers.SerializerMethodField(help_text="Neither shipped, scrapped nor in another lot.")
    kept_back = serializers.CharField(help_text="Why it may not be shipped or used until quality releases it; empty: it may.")
    serials = serializers.SerializerMethodField()
    parts = LotPartOut(many=True, help_text="Lots that went in.")
    built_at = serializers.DateTimeField()
    built_by = serializers.CharField(source="built_by.username")
    batches = LotBatchOut(many=True, source="lot_batches")

    def get_left(self, lot: HarnessLot) -> int:
        # Read along with the list, so that a lot costs no question of its own.
        gone = sum(part.quantity for part in lot.gone_into.all() if part.kind != PartOf.RETURNED)
        return lot.quantity - gone - sum(row.quantity for row in lot.shipment_lots.all()) - sum(row.quantity for row in lot.losses.all())

    def get_serials(self, lot: HarnessLot) -> list[str]:
        return [row.serial for row in lot.serials.all()]


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
    parts = ("lot_batches__batch", "parts__used", "parts__shipment", "serials", "shipment_lots", "gone_into", "losses")
    return HarnessLot.objects.select_related("job", "built_by").prefetch_related(*parts)


def shipments() -> QuerySet[Shipment]:
    return Shipment.objects.select_related("customer", "shipped_by").prefetch_related("shipment_lots__lot")


# --- What is asked ---------------------------------------------------------------------------------------------------------------


class LotBatchIn(Asked):
    batch = serializers.CharField(max_length=60, help_text="Number of a closed batch.")
    quantity = Count(help_text="Good pieces taken from it.")


def serials_field(help_text: str) -> Any:
    """A list of serial numbers, empty where none is sent."""
    return serializers.ListField(
        child=serializers.CharField(max_length=60), required=False, default=list, max_length=10000, help_text=help_text
    )


class LotLineIn(Asked):
    lot = serializers.CharField(max_length=60, help_text="Number of a harness lot.")
    quantity = Count(help_text="Taken from it.")


class ShipmentLotIn(LotLineIn):
    serials = serials_field("Where a part of a lot with serial numbers is taken.")


class HarnessLotIn(Asked):
    number = serializers.CharField(max_length=60)
    job = serializers.CharField(max_length=60, help_text="The job's number.")
    quantity = Count(help_text="Harnesses.")
    batches = LotBatchIn(many=True)
    lots = LotLineIn(many=True, required=False, help_text="Lots of leads or sub-assemblies that go in.")
    kind = serializers.ChoiceField(LotKind.values, required=False, default=LotKind.HARNESS)
    serials = serials_field("One for each harness, or none.")
    signature = SignatureIn()


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
            number=body["number"],
            job=job,
            quantity=body["quantity"],
            batches=batches,
            lots=taken(HarnessLot.objects.all(), body.get("lots", []), "lots", "lot"),
            kind=body["kind"],
            serials=body["serials"],
            by=signing.person,
            at=at,
            signing=signing,
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
            serials={pk: line["serials"] for pk, line in zip(amounts, body["lots"], strict=True)},
        )
        return Response(ShipmentOut(found(shipments(), pk=sent.pk)).data, status=201)


class ShipmentView(ApiView):
    @extend_schema(summary="Read a shipment", tags=TAGS, responses={200: ShipmentOut})
    def get(self, request: Request, number: str) -> Response:
        """By its number."""
        return Response(ShipmentOut(found(shipments(), number=number)).data)
