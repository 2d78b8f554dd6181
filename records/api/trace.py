"""From a number to everything behind it, and from a reel, a spool, a tool or a gauge to everything it went into."""

from __future__ import annotations

from datetime import date
from typing import Any

from django.http import Http404
from django.urls import reverse
from drf_spectacular.utils import OpenApiParameter, OpenApiResponse, extend_schema, extend_schema_field
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from records.content import TraceRecord
from records.gather.trace import lot_trace, shipment_trace
from records.models import HarnessLot, Shipment
from records.pages.trace import direction_asked, thing_found
from records.trace import BACKWARD, MOST_BATCHES, Found, Reach, batches_with, find, totals
from records.trace_graph import KINDS, Edge
from records.trace_pages import Span, graph_of, where_page
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
            case "serial" | "customer":
                return reverse("api:trace-graph", args=[thing.kind, thing.pk])
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
    total_batches = serializers.IntegerField(source="batches", help_text="However many stand on this page.")
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
            OpenApiParameter("page", int, description="A hundred batches a page; the sums are of all of them."),
        ],
        responses={200: WhereOut},
    )
    def get(self, request: Request, kind: str, number: str) -> Response:
        """Batches, harness lots, shipments and customers reached."""
        thing = next((one for one in find(number, {kind.replace("-", " ")} & set(BACKWARD))), None)
        if thing is None:
            raise Http404
        return Response(WhereOut(where_page(thing, _span(request), page=request.query_params.get("page"))).data)


def _span(request: Request) -> Span:
    span = asked_in_address(request, SpanAsked)
    return Span(span.get("from"), span.get("to"))


# --- The graph -------------------------------------------------------------------------------------------------------------------


class NodeOut(AnySerializer):
    """A thing of a trace."""

    kind = serializers.CharField()
    id = serializers.IntegerField(source="pk")
    name = serializers.CharField()
    note = serializers.CharField()
    at = serializers.DateTimeField(allow_null=True)


class EdgeOut(AnySerializer):
    """`quantity` of one thing went into another; null where it was used there and not used up."""

    from_kind = serializers.SerializerMethodField()
    from_id = serializers.SerializerMethodField()
    to_kind = serializers.SerializerMethodField()
    to_id = serializers.SerializerMethodField()
    quantity = serializers.IntegerField(allow_null=True)
    unit = serializers.CharField()
    note = serializers.CharField()

    def get_from_kind(self, edge: Edge) -> str:
        return edge.source[0]

    def get_from_id(self, edge: Edge) -> int:
        return edge.source[1]

    def get_to_kind(self, edge: Edge) -> str:
        return edge.target[0]

    def get_to_id(self, edge: Edge) -> int:
        return edge.target[1]


class GraphOut(AnySerializer):
    """A trace as nodes and edges. batches: how many there are in all, however many are given here."""

    direction = serializers.CharField()
    batches = serializers.IntegerField(allow_null=True)
    most_batches = serializers.IntegerField()
    nodes = NodeOut(many=True)
    edges = EdgeOut(many=True)


class GraphAsked(SpanAsked):
    def get_fields(self) -> dict[str, Any]:
        return super().get_fields() | {"direction": serializers.ChoiceField(["behind", "ahead"], required=False)}


class GraphView(ApiView):
    @extend_schema(
        summary="The trace of anything",
        tags=TAGS,
        parameters=[
            OpenApiParameter("kind", str, OpenApiParameter.PATH, enum=[kind.replace(" ", "-") for kind in KINDS]),
            OpenApiParameter("direction", str, enum=["behind", "ahead"], description="What is behind it, or what it went into."),
            OpenApiParameter("from", date, description="First day."),
            OpenApiParameter("to", date, description="Last day."),
        ],
        responses={200: GraphOut},
    )
    def get(self, request: Request, kind: str, pk: int) -> Response:
        """Forward and backward through any depth, at most two hundred batches in one answer."""
        thing = thing_found(kind, pk)
        asked = asked_in_address(request, GraphAsked)
        direction = direction_asked(thing, asked.get("direction", ""))
        span = Span(asked.get("from"), asked.get("to"))
        graph = graph_of(thing, direction, span)
        counted = thing.kind in BACKWARD or direction == "behind"
        answer = {
            "direction": direction,
            "batches": totals(batches_with(thing, span.begin, span.end)).batches if counted else None,
            "most_batches": MOST_BATCHES,
            "nodes": list(graph.nodes.values()),
            "edges": list(graph.edges.values()),
        }
        return Response(GraphOut(answer).data)
