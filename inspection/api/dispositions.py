"""Held pieces of closed batches: what waits, and what quality decides about it."""

from __future__ import annotations

from datetime import datetime

from django.db.models import QuerySet
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from inspection.acts.dispositions import DISPOSED_MEANING, DispositionInput, batches_with_held_pieces, dispose
from inspection.models import Batch, Disposition, DispositionKind
from shop.api.fields import AnySerializer, Count, SignatureIn, Word
from shop.api.view import KEY_HEADER, ActKeyed, ApiView, ListView, asked, done_once, found, signed
from shop.clock import now
from shop.people import Person

TAGS = ["make"]


class HeldOut(AnySerializer):
    """A closed batch with held pieces that nobody has decided on."""

    batch = serializers.IntegerField(source="pk")
    number = serializers.CharField()
    held = serializers.IntegerField()
    decided = serializers.IntegerField()
    closed_at = serializers.DateTimeField()


class DispositionOut(AnySerializer):
    """What became of held pieces. Never changed."""

    id = serializers.IntegerField()
    batch = serializers.IntegerField(source="batch_id")
    number = serializers.IntegerField()
    kind = Word(DispositionKind)
    quantity = serializers.IntegerField()
    note = serializers.CharField()
    concession = serializers.CharField(source="concession.number", allow_null=True, default=None)
    by = serializers.CharField(source="by.username")
    at = serializers.DateTimeField()


class DisposeIn(ActKeyed):
    kind = Word(DispositionKind, max_length=20)
    quantity = Count(least=1)
    note = serializers.CharField(max_length=300, allow_blank=True)
    concession = serializers.CharField(max_length=40, required=False, allow_blank=True, default="", help_text="To use pieces as is.")
    signature = SignatureIn()


class HeldView(ListView):
    @extend_schema(summary="List batches with held pieces", tags=TAGS, responses={200: HeldOut(many=True)})
    def get(self, request: Request) -> Response:
        """Those that wait for a decision, the oldest first."""
        return self.pages(batches_with_held_pieces(), HeldOut)


class DispositionsView(ApiView):
    @extend_schema(summary="List the dispositions of a batch", tags=TAGS, responses={200: DispositionOut(many=True)})
    def get(self, request: Request, pk: int) -> Response:
        """In the order in which they were decided."""
        return Response(DispositionOut(_rows().filter(batch=found(Batch, pk=pk)), many=True).data)

    @extend_schema(summary="Decide on held pieces", tags=TAGS, parameters=[KEY_HEADER], request=DisposeIn, responses={201: DispositionOut})
    def post(self, request: Request, pk: int) -> Response:
        """Of a closed batch, signed by quality or an inspector. Rework only where the sheet allows it; use as is under a concession."""
        batch, body = found(Batch, pk=pk), asked(request, DisposeIn)
        signing = signed(request, body["signature"], DISPOSED_MEANING, now())
        stated = DispositionInput(**{name: body[name] for name in ("kind", "quantity", "note", "concession")})

        def do(by: Person, at: datetime) -> int:
            return dispose(batch=batch, stated=stated, by=by, at=at, signing=signing).pk

        made = int(done_once(request, "dispose", body, do, signing=signing))
        return Response(DispositionOut(_rows().get(pk=made)).data, status=201)


def _rows() -> QuerySet[Disposition]:
    return Disposition.objects.select_related("by", "concession").order_by("number")
