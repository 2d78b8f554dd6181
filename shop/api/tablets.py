"""Tablets of the shop. Enrolling itself happens at the tablet, whose browser gets the cookie."""

from __future__ import annotations

from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from shop.acts.tablets import move_tablet, offer_tablet, revoke_tablet
from shop.api.fields import AnySerializer, Asked
from shop.api.view import ApiView, asked, found, named_in_body, person_of
from shop.clock import now
from shop.stations import Station, Tablet

TAGS = ["tablets"]


class TabletOfferIn(Asked):
    name = serializers.CharField(max_length=60, help_text="As written on the tablet.")
    station = serializers.CharField(max_length=60, help_text="Code of the station.")


class TabletMoveIn(Asked):
    station = serializers.CharField(max_length=60, help_text="Code of the station.")
    reason = serializers.CharField(max_length=200, allow_blank=True)


class TabletRevokeIn(Asked):
    reason = serializers.CharField(max_length=200, allow_blank=True)


class TabletOut(AnySerializer):
    """A tablet and the station it belongs to."""

    id = serializers.IntegerField(source="pk")
    name = serializers.CharField()
    station = serializers.CharField(source="station.code")
    enrolled_at = serializers.DateTimeField(allow_null=True)
    revoked_at = serializers.DateTimeField(allow_null=True)
    revoked_because = serializers.CharField()
    last_seen_at = serializers.DateTimeField(allow_null=True)


class TabletOfferOut(AnySerializer):
    """A one-time code, told this once."""

    tablet = TabletOut()
    code = serializers.CharField(help_text="To be typed or scanned at the tablet, on the page /make/enrol/.")
    until = serializers.DateTimeField()


def _rows() -> Any:
    return Tablet.objects.select_related("station").order_by("name")


def _station(body: dict[str, Any]) -> Station:
    station: Station = named_in_body(Station.objects.all(), "station", code=body["station"])
    return station


class TabletsView(ApiView):
    @extend_schema(summary="List tablets", tags=TAGS, responses={200: TabletOut(many=True)})
    def get(self, request: Request) -> Response:
        """With those that were revoked."""
        return Response(TabletOut(_rows()[:500], many=True).data)

    @extend_schema(summary="Make a code for a tablet", tags=TAGS, request=TabletOfferIn, responses={201: TabletOfferOut})
    def post(self, request: Request) -> Response:
        """It holds for minutes and for one tablet. For administrators."""
        body = asked(request, TabletOfferIn)
        offer = offer_tablet(name=body["name"], station=_station(body), by=person_of(request), at=now())
        return Response(TabletOfferOut(offer).data, status=201)


class TabletMoveView(ApiView):
    @extend_schema(summary="Move a tablet to another station", tags=TAGS, request=TabletMoveIn, responses={200: TabletOut})
    def post(self, request: Request, pk: int) -> Response:
        """It need not be enrolled anew."""
        body = asked(request, TabletMoveIn)
        moved = move_tablet(tablet=found(_rows(), pk=pk), station=_station(body), reason=body["reason"], by=person_of(request), at=now())
        return Response(TabletOut(moved).data)


class TabletRevokeView(ApiView):
    @extend_schema(summary="Revoke a tablet", tags=TAGS, request=TabletRevokeIn, responses={200: TabletOut})
    def post(self, request: Request, pk: int) -> Response:
        """It counts as none of ours until it is enrolled again; what was made at it stays."""
        body = asked(request, TabletRevokeIn)
        revoked = revoke_tablet(tablet=found(_rows(), pk=pk), reason=body["reason"], by=person_of(request), at=now())
        return Response(TabletOut(revoked).data)
