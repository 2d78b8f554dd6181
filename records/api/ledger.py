"""The ledger: its entries in order, and whether they hold."""

from __future__ import annotations

from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from records.ledger_check import verify_ledger
from records.models import LedgerEntry
from shop.api.fields import AnySerializer, Count
from shop.api.view import ApiView, ListView, asked_in_address

TAGS = ["prove"]


class SignatureOut(AnySerializer):
    """A person's signature."""

    person = serializers.CharField(source="person.username")
    printed_name = serializers.CharField()
    meaning = serializers.CharField()
    signed_at = serializers.DateTimeField()
    how = serializers.CharField()
    content_sha256 = serializers.CharField(help_text="Of the canonical JSON of exactly what was on the screen.")


class EntryOut(AnySerializer):
    """An entry. hash = SHA-256 of the hash before, the number, a line feed and the text; the handbook says it byte by byte."""

    number = serializers.IntegerField()
    kind = serializers.CharField()
    version = serializers.IntegerField()
    at = serializers.DateTimeField()
    by = serializers.CharField(source="by.username")
    subject_kind = serializers.CharField()
    subject_id = serializers.IntegerField()
    subject_name = serializers.CharField()
    text = serializers.CharField(help_text="Canonical JSON, which the hash covers.")
    previous_hash = serializers.CharField()
    hash = serializers.CharField()
    signature = SignatureOut(allow_null=True, default=None)


class AfterAsked(AnySerializer):
    after = Count(required=False, default=0)
    kind = serializers.CharField(max_length=60, required=False, default="")
    about = serializers.CharField(max_length=120, required=False, default="")


class LedgerView(ListView):
    @extend_schema(
        summary="List ledger entries",
        tags=TAGS,
        parameters=[
            OpenApiParameter("after", int, description="Only entries with a higher number: a copy is kept up to date with it."),
            OpenApiParameter("kind", str, description="Only entries of this kind."),
            OpenApiParameter("about", str, description="Only entries about the thing of this name."),
        ],
        responses={200: EntryOut(many=True)},
    )
    def get(self, request: Request) -> Response:
        """In the order in which they were written."""
        asked = asked_in_address(request, AfterAsked)
        rows = LedgerEntry.objects.select_related("by", "signature__person").filter(number__gt=asked["after"]).order_by("number")
        if asked["kind"]:
            rows = rows.filter(kind=asked["kind"])
        if asked["about"]:
            rows = rows.filter(subject_name=asked["about"])
        return self.pages(rows, EntryOut)


class LedgerReportOut(AnySerializer):
    """What a verification found."""

    is_whole = serializers.BooleanField()
    entries = serializers.IntegerField(help_text="How many hold, from the first on.")
    head = serializers.CharField(help_text="Hash of the last of them.")
    first_bad = serializers.IntegerField(allow_null=True, help_text="Number of the first entry that does not hold.")
    reason = serializers.CharField(help_text="Why it does not; empty where all hold.")
    tampering = serializers.CharField(
        help_text="Changed, removed, inserted, swapped, cut off or forged, as it looks; empty where all hold."
    )
    checkpoints = serializers.IntegerField(help_text="Signed checkpoints that it agrees with.")


class LedgerVerifyView(ApiView):
    @extend_schema(summary="Verify the ledger", tags=TAGS, responses={200: LedgerReportOut})
    def get(self, request: Request) -> Response:
        """The whole chain, from the first entry; the first that does not hold is named."""
        return Response(LedgerReportOut(verify_ledger()).data)
