"""From a number to everything behind it, and from a reel, a spool, a tool or a gauge to everything it went into."""

from __future__ import annotations

from datetime import date, datetime, time, timedelta
from typing import Any

from django.http import Http404
from django.urls import reverse
from django.utils import timezone
from drf_spectacular.utils import OpenApiParameter, OpenApiResponse, extend_schema, extend_schema_field
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from records.content import TraceRecord
from records.gather.trace import lot_trace, shipment_trace
from records.models import HarnessLot, Shipment
from records.queries import where_page
from records.trace import BACKWARD, Found, Reach, find
from shop.api.fields import AnySerializer, shape_of
from shop.api.view import ApiView, asked_in_address, found, person_of
from shop.clock import now

TAGS = ["prove"]
RECORD = OpenApiResponse(response=shape_of(TraceRecord), description="The trace record, every value as text.")


class FoundOut(AnySerializer):
    """What a number belongs to, and where the API traces it."""

    kind = serializers.CharField()
    id = serializers.IntegerField(source="pk")
    name = serializers.CharField()
    address = serializers.SerializerMethodField()

    def get_address(self, thing: Found) -> str:
        match thing.kind:
            case "shipment":
                return reverse("api:trace-shipment", args=[thing.name])
            case "harness lot":
                return reverse("api:trace-lot", args=[thing.name])
            case "batch":
                return reverse("api:batch", args=[thing.pk])
        return reverse("api:trace-where", args=[thing.kind.replace(" ", "-"), thing.name])


class FindView(ApiView):
    @extend_schema(
        summary="What is this number",
        tags=TAGS,
        parameters=[OpenApiParameter("number", str, required=True, description="Of a shipment, lot, batch, reel, spool, tool or gauge.")],
        responses={200: FoundOut(many=True)},
    )
    def get(self, request: Request) -> Response:
        """Everything that carries exactly this number, shipments first; an empty list where nothing does."""
        asked = asked_in_address(request, NumberAsked)
        return Response(FoundOut(find(asked["number"]), many=True).data)


class NumberAsked(AnySerializer):
    number = serializers.CharField(max_length=80)


class ShipmentTraceView(ApiView):
    @extend_schema(summary="Everything behind a shipment", tags=TAGS, responses={200: RECORD})
    def get(self, request: Request, number: str) -> Response:
        """As of now. To prove it, issue the trace report."""
        shipment = found(Shipment.objects.select_related("customer", "shipped_by"), number=number)
        return Response(shipment_trace(shipment, by=person_of(request), at=now()))


class LotTraceView(ApiView):
    @extend_schema(summary="Everything behind a harness lot", tags=TAGS, responses={200: RECORD})
    def get(self, request: Request, number: str) -> Response:
        """As of now. To prove it, issue the trace report."""
        lot = found(HarnessLot.objects.select_related("job__customer", "built_by"), number=number)
        return Response(lot_trace(lot, by=person_of(request), at=now()))


# --- Where it went ---------------------------------------------------------------------------------------------------------------


class SpanAsked(AnySerializer):
    """Days, both inside."""

    def get_fields(self) -> dict[str, Any]:
        # "from" is a word of the language and cannot name an attribute.
        return {"from": serializers.DateField(required=False), "to": serializers.DateField(required=False)}


class ReachedLot(AnySerializer):
    lot = serializers.CharField()
    pieces = serializers.IntegerField()


class ReachedShipment(AnySerializer):
    shipment = serializers.CharField()
    lot = serializers.CharField()
    customer = serializers.CharField()
    harnesses = serializers.IntegerField()


class ReachOut(AnySerializer):
    """Where one batch went."""

    batch = serializers.CharField(source="batch.number")
    batch_id = serializers.IntegerField(source="batch.pk")
    status = serializers.CharField(source="batch.status")
    opened_at = serializers.DateTimeField(source="batch.opened_at")
    closed_at = serializers.DateTimeField(source="batch.closed_at", allow_null=True)
    pieces = serializers.SerializerMethodField(help_text="Pieces made, or made so far.")
    lots = serializers.SerializerMethodField()
    shipments = serializers.SerializerMethodField()

    def get_pieces(self, reach: Reach) -> int:
        return reach.batch.made or reach.batch.last_count

    @extend_schema_field(ReachedLot(many=True))
    def get_lots(self, reach: Reach) -> list[Any]:
        return [{"lot": lot.number, "pieces": pieces} for lot, pieces in reach.in_lots]

    @extend_schema_field(ReachedShipment(many=True))
    def get_shipments(self, reach: Reach) -> list[Any]:
        return [
            {"shipment": shipment.number, "lot": lot.number, "customer": shipment.customer.name, "harnesses": harnesses}
            for shipment, lot, harnesses in reach.shipped
        ]


class WhereOut(AnySerializer):
    """Everything that a reel, a spool, a tool or a gauge went into, in the span of days asked about."""

    kind = serializers.CharField(source="found.kind")
    number = serializers.CharField(source="found.name")
    since = serializers.DateField(allow_null=True)
    until = serializers.DateField(allow_null=True)
    pieces = serializers.IntegerField()
    lots = serializers.IntegerField()
    shipments = serializers.IntegerField()
    customers = serializers.ListField(child=serializers.CharField())
    batches = ReachOut(many=True, source="rows")


class WhereView(ApiView):
    @extend_schema(
        summary="Where it went",
        tags=TAGS,
        parameters=[
            OpenApiParameter("kind", str, OpenApiParameter.PATH, enum=[kind.replace(" ", "-") for kind in BACKWARD]),
            OpenApiParameter("from", date, description="First day; a batch counts when it was open at any moment of the span."),
            OpenApiParameter("to", date, description="Last day."),
        ],
        responses={200: WhereOut},
    )
    def get(self, request: Request, kind: str, number: str) -> Response:
        """Batches, harness lots, shipments and customers reached."""
        thing = next((one for one in find(number) if one.kind == kind.replace("-", " ") and one.kind in BACKWARD), None)
        if thing is None:
            raise Http404
        span = asked_in_address(request, SpanAsked)
        since, until = span.get("from"), span.get("to")
        end = _midnight(until + timedelta(days=1)) if until else None
        return Response(WhereOut(where_page(thing, since=since, until=until, begin=_midnight(since), end=end)).data)


def _midnight(day: date | None) -> datetime | None:
    """The beginning of a day in the shop's zone."""
    return timezone.make_aware(datetime.combine(day, time.min), timezone.get_default_timezone()) if day else None
