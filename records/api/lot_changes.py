"""What happens to lots after they were built: split, merged, reworked, returned, released, scrapped. All signed."""

from __future__ import annotations

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from inspection.models import Batch
from records.acts.lot_changes import (
    MERGED_MEANING,
    RELEASED_MEANING,
    RETURNED_MEANING,
    REWORKED_MEANING,
    SCRAPPED_MEANING,
    SPLIT_MEANING,
    SplitPart,
    merge_lots,
    receive_return,
    release_lot,
    rework_lot,
    scrap_harnesses,
    split_lot,
)
from records.api.lots import TAGS, HarnessLotOut, LotBatchIn, LotLineIn, lots, serials_field, taken
from records.models import HarnessLot, Shipment
from shop.api.fields import Asked, Count, SignatureIn
from shop.api.view import ApiView, asked, found, named_in_body, signed
from shop.clock import now


def _lot(number: str) -> HarnessLot:
    return found(HarnessLot.objects.select_related("job__customer"), number=number)


def _answer(pk: int, status: int = 201) -> Response:
    return Response(HarnessLotOut(found(lots(), pk=pk)).data, status=status)


class SplitPartIn(Asked):
    number = serializers.CharField(max_length=60, help_text="Of the new lot.")
    quantity = Count()
    serials = serials_field("Where the lot has serial numbers.")


class SplitIn(Asked):
    parts = SplitPartIn(many=True)
    signature = SignatureIn()


class SplitView(ApiView):
    @extend_schema(summary="Split a lot", tags=TAGS, request=SplitIn, responses={201: HarnessLotOut(many=True)})
    def post(self, request: Request, number: str) -> Response:
        """Signed. What is not named stays in the lot."""
        body, at = asked(request, SplitIn), now()
        lot = _lot(number)
        parts = [SplitPart(part["number"], part["quantity"], tuple(part["serials"])) for part in body["parts"]]
        signing = signed(request, body["signature"], SPLIT_MEANING, at)
        made = split_lot(lot=lot, parts=parts, by=signing.person, at=at, signing=signing)
        return Response(HarnessLotOut(lots().filter(pk__in=[one.pk for one in made]).order_by("pk"), many=True).data, status=201)


class MergeIn(Asked):
    number = serializers.CharField(max_length=60, help_text="Of the new lot.")
    lots = LotLineIn(many=True)
    signature = SignatureIn()


class MergeView(ApiView):
    @extend_schema(summary="Merge lots", tags=TAGS, request=MergeIn, responses={201: HarnessLotOut})
    def post(self, request: Request) -> Response:
        """Signed. Lots of one job and kind."""
        body, at = asked(request, MergeIn), now()
        amounts = taken(HarnessLot.objects.all(), body["lots"], "lots", "lot")
        signing = signed(request, body["signature"], MERGED_MEANING, at)
        return _answer(merge_lots(number=body["number"], lots=amounts, by=signing.person, at=at, signing=signing).pk)


class ReworkIn(Asked):
    number = serializers.CharField(max_length=60, help_text="Of the reworked lot.")
    quantity = Count()
    reason = serializers.CharField(max_length=300)
    batches = LotBatchIn(many=True, required=False, help_text="Whose terminations replaced others.")
    serials = serials_field("Where the lot has serial numbers.")
    signature = SignatureIn()


class ReworkView(ApiView):
    @extend_schema(summary="Record a rework", tags=TAGS, request=ReworkIn, responses={201: HarnessLotOut})
    def post(self, request: Request, number: str) -> Response:
        """Signed by quality. The reworked lot is kept back until it is released."""
        body, at = asked(request, ReworkIn), now()
        lot = _lot(number)
        batches = taken(Batch.objects.all(), body.get("batches", []), "batches", "batch")
        signing = signed(request, body["signature"], REWORKED_MEANING, at)
        new = rework_lot(
            lot=lot,
            number=body["number"],
            quantity=body["quantity"],
            reason=body["reason"],
            batches=batches,
            serials=body["serials"],
            by=signing.person,
            at=at,
            signing=signing,
        )
        return _answer(new.pk)


class WhyIn(Asked):
    reason = serializers.CharField(max_length=300)
    signature = SignatureIn()


class ReleaseLotView(ApiView):
    @extend_schema(summary="Release a lot that was kept back", tags=TAGS, request=WhyIn, responses={200: HarnessLotOut})
    def post(self, request: Request, number: str) -> Response:
        """Signed by quality."""
        body, at = asked(request, WhyIn), now()
        lot = _lot(number)
        signing = signed(request, body["signature"], RELEASED_MEANING, at)
        return _answer(release_lot(lot=lot, reason=body["reason"], by=signing.person, at=at, signing=signing).pk, 200)


class ScrapIn(WhyIn):
    quantity = Count()


class ScrapView(ApiView):
    @extend_schema(summary="Scrap harnesses of a lot", tags=TAGS, request=ScrapIn, responses={200: HarnessLotOut})
    def post(self, request: Request, number: str) -> Response:
        """Signed by quality."""
        body, at = asked(request, ScrapIn), now()
        lot = _lot(number)
        signing = signed(request, body["signature"], SCRAPPED_MEANING, at)
        scrap_harnesses(lot=lot, quantity=body["quantity"], reason=body["reason"], by=signing.person, at=at, signing=signing)
        return _answer(lot.pk, 200)


class ReturnIn(Asked):
    number = serializers.CharField(max_length=60, help_text="Of the lot the harnesses wait in.")
    lot = serializers.CharField(max_length=60, help_text="Number of the lot they were shipped from.")
    quantity = Count()
    reason = serializers.CharField(max_length=300)
    serials = serials_field("Where serial numbers were shipped.")
    signature = SignatureIn()


class ReturnsView(ApiView):
    @extend_schema(summary="Receive a return", tags=TAGS, request=ReturnIn, responses={201: HarnessLotOut})
    def post(self, request: Request, number: str) -> Response:
        """Signed. What came back is kept back until quality decides."""
        body, at = asked(request, ReturnIn), now()
        shipment = found(Shipment.objects.select_related("customer"), number=number)
        lot = named_in_body(HarnessLot.objects.all(), "lot", number=body["lot"])
        signing = signed(request, body["signature"], RETURNED_MEANING, at)
        new = receive_return(
            shipment=shipment,
            lot=lot,
            number=body["number"],
            quantity=body["quantity"],
            reason=body["reason"],
            serials=body["serials"],
            by=signing.person,
            at=at,
            signing=signing,
        )
        return _answer(new.pk)
