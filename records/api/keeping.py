"""Keeping records: retention rules, legal holds, what is due, disposal."""

from __future__ import annotations

from typing import Any

from django.db.models import QuerySet
from drf_spectacular.utils import OpenApiParameter, extend_schema, extend_schema_field
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from records.acts.keeping import (
    DISPOSED_MEANING,
    HOLD_MEANING,
    LIFT_MEANING,
    RULE_MEANING,
    HoldInput,
    dispose,
    finish_disposals,
    lift_hold,
    place_hold,
    set_rule,
)
from records.acts.reports import issue_disposal_certificate
from records.api.documents import DocumentWhole
from records.keeping_models import After, Disposal, HoldScope, LegalHold, RecordKind, RetentionRule
from records.legal_holds import covering
from records.pages.sealing import sealing
from records.retention import MOST, Assessed, proposal, rules_in_force
from shop.api.fields import AnySerializer, Asked, Count, FindingSerializer, SignatureIn, Word
from shop.api.problems import finding_out
from shop.api.view import ApiView, ListView, asked, asked_in_address, found, person_of, signed
from shop.clock import now

TAGS = ["keeping"]


class RetentionRuleOut(AnySerializer):
    """How long records of a kind are kept. The newest of a kind is in force."""

    rule = serializers.CharField(source="*")
    kind = Word(RecordKind)
    years = serializers.IntegerField(allow_null=True, help_text="Full calendar years after the year of the event; null: for good.")
    after = Word(After)
    reason = serializers.CharField()
    by = serializers.CharField(source="by.username")
    at = serializers.DateTimeField()


class RetentionRuleIn(Asked):
    kind = Word(RecordKind)
    years = Count(least=1, allow_null=True, help_text="null: for good.")
    after = Word(After)
    reason = serializers.CharField(max_length=300, help_text="With its source.")
    signature = SignatureIn()


class RetentionRulesView(ListView):
    @extend_schema(summary="List retention rules", tags=TAGS, responses={200: RetentionRuleOut(many=True)})
    def get(self, request: Request) -> Response:
        """Newest first. A kind without a rule disposes of nothing."""
        return self.pages(RetentionRule.objects.select_related("by"), RetentionRuleOut)

    @extend_schema(summary="Set a retention rule", tags=TAGS, request=RetentionRuleIn, responses={201: RetentionRuleOut})
    def post(self, request: Request) -> Response:
        """Signed by quality."""
        body, at = asked(request, RetentionRuleIn), now()
        signing = signed(request, body.pop("signature"), RULE_MEANING, at)
        return Response(RetentionRuleOut(set_rule(**body, by=signing.person, at=at, signing=signing)).data, status=201)


class LegalHoldOut(AnySerializer):
    number = serializers.CharField()
    scope = Word(HoldScope)
    name = serializers.CharField()
    since = serializers.DateField(allow_null=True)
    until = serializers.DateField(allow_null=True)
    reason = serializers.CharField()
    reference = serializers.CharField()
    placed_by = serializers.CharField(source="placed_by.username")
    placed_at = serializers.DateTimeField()
    lifted_because = serializers.CharField()
    lifted_by = serializers.CharField(source="lifted_by.username", default=None, allow_null=True)
    lifted_at = serializers.DateTimeField(allow_null=True)


class LegalHoldIn(Asked):
    scope = Word(HoldScope)
    name = serializers.CharField(max_length=60, required=False, allow_blank=True, default="", help_text="Number or code; not of a period.")
    since = serializers.DateField(required=False, allow_null=True, default=None)
    until = serializers.DateField(required=False, allow_null=True, default=None)
    reason = serializers.CharField(max_length=500)
    reference = serializers.CharField(max_length=120)
    signature = SignatureIn()


def holds() -> QuerySet[LegalHold]:
    return LegalHold.objects.select_related("placed_by", "lifted_by")


class LegalHoldsView(ListView):
    @extend_schema(summary="List legal holds", tags=TAGS, responses={200: LegalHoldOut(many=True)})
    def get(self, request: Request) -> Response:
        """Newest first, lifted ones too."""
        return self.pages(holds(), LegalHoldOut)

    @extend_schema(summary="Place a legal hold", tags=TAGS, request=LegalHoldIn, responses={201: LegalHoldOut})
    def post(self, request: Request) -> Response:
        """Signed by quality or the administrator. Nothing inside is disposed of until it is lifted."""
        body, at = asked(request, LegalHoldIn), now()
        signing = signed(request, body["signature"], HOLD_MEANING, at)
        stated = HoldInput(body["scope"], body["name"], body["since"], body["until"])
        hold = place_hold(stated=stated, reason=body["reason"], reference=body["reference"], by=signing.person, at=at, signing=signing)
        return Response(LegalHoldOut(hold).data, status=201)


class LegalHoldView(ApiView):
    @extend_schema(summary="Read a legal hold", tags=TAGS, responses={200: LegalHoldOut})
    def get(self, request: Request, number: str) -> Response:
        """What it holds, and whether it was lifted."""
        return Response(LegalHoldOut(found(holds(), number=number)).data)


class LiftHoldIn(Asked):
    reason = serializers.CharField(max_length=500)
    signature = SignatureIn()


class LiftHoldView(ApiView):
    @extend_schema(summary="Lift a legal hold", tags=TAGS, request=LiftHoldIn, responses={200: LegalHoldOut})
    def post(self, request: Request, number: str) -> Response:
        """Signed by quality or the administrator; it stays on record."""
        body, at = asked(request, LiftHoldIn), now()
        hold = found(LegalHold, number=number)
        signing = signed(request, body["signature"], LIFT_MEANING, at)
        return Response(LegalHoldOut(lift_hold(hold=hold, reason=body["reason"], by=signing.person, at=at, signing=signing)).data)


class DueRecordOut(AnySerializer):
    """A record whose time is over."""

    record = serializers.CharField(source="kept.key", help_text="As a disposal names it.")
    name = serializers.CharField(source="kept.name")
    made_at = serializers.DateTimeField(source="kept.made_at")
    due_on = serializers.DateField()
    sha256 = serializers.SerializerMethodField(help_text="Of its file, as it was made.")
    forbidden_by = serializers.SerializerMethodField(help_text="Why it stays; empty where it may go.")

    def get_sha256(self, one: Assessed) -> str:
        return one.kept.files[0].sha256

    @extend_schema_field(FindingSerializer(many=True))
    def get_forbidden_by(self, one: Assessed) -> Any:
        return [finding_out(finding) for finding in one.findings]


class DueOut(AnySerializer):
    """What is due of one kind, the oldest first."""

    kind = Word(RecordKind)
    rule = serializers.CharField(help_text="The rule in force; empty: none is, and nothing is due.")
    records = DueRecordOut(many=True)
    more = serializers.BooleanField(help_text="More may be due than was looked at.")


class DueAsked(AnySerializer):
    kind = serializers.ChoiceField(RecordKind.values)


class DueView(ApiView):
    @extend_schema(
        summary="What is due for disposal",
        tags=TAGS,
        parameters=[OpenApiParameter("kind", str, required=True, enum=RecordKind.values)],
        responses={200: DueOut},
    )
    def get(self, request: Request) -> Response:
        """Those that may go, then those that a hold or a need keeps."""
        kind = asked_in_address(request, DueAsked)["kind"]
        rule = rules_in_force().get(kind)
        there = proposal(kind, now(), rule=rule, holds=covering())
        records = [*there.due, *there.held, *there.others]
        return Response(DueOut({"kind": kind, "rule": str(rule or ""), "records": records, "more": there.is_cut}).data)


class DisposedFileOut(AnySerializer):
    """What stays of a file."""

    record = serializers.CharField(source="name")
    kept_as = serializers.CharField()
    id = serializers.IntegerField(source="row_id")
    sha256 = serializers.CharField()
    size = serializers.IntegerField()
    made_at = serializers.DateTimeField()
    due_on = serializers.DateField()


class DisposalOut(AnySerializer):
    """An act of disposal. finished_at: when its files were seen to."""

    number = serializers.CharField()
    kind = Word(RecordKind)
    rule = serializers.CharField()
    note = serializers.CharField(source="reason")
    by = serializers.CharField(source="by.username")
    at = serializers.DateTimeField()
    finished_at = serializers.DateTimeField(allow_null=True)
    files = DisposedFileOut(many=True, source="files.all")


class DisposalIn(Asked):
    kind = Word(RecordKind)
    records = serializers.ListField(child=serializers.CharField(max_length=60), max_length=MOST, help_text="As the due list names them.")
    rule = serializers.CharField(max_length=20, help_text="The rule under which they were shown as due.")
    note = serializers.CharField(max_length=500, required=False, allow_blank=True, default="")
    signature = SignatureIn()


def disposals() -> QuerySet[Disposal]:
    return Disposal.objects.select_related("by", "rule").prefetch_related("files")


class DisposalsView(ListView):
    @extend_schema(summary="List disposals", tags=TAGS, responses={200: DisposalOut(many=True)})
    def get(self, request: Request) -> Response:
        """Newest first, with what stays of each file."""
        return self.pages(disposals(), DisposalOut)

    @extend_schema(summary="Dispose of records", tags=TAGS, request=DisposalIn, responses={201: DisposalOut})
    def post(self, request: Request) -> Response:
        """Signed by quality. Their files go; numbers, hashes, sizes and dates stay."""
        body, at = asked(request, DisposalIn), now()
        signing = signed(request, body["signature"], DISPOSED_MEANING, at)
        act = dispose(
            kind=body["kind"],
            keys=body["records"],
            rule_seen=body["rule"],
            note=body["note"],
            by=signing.person,
            at=at,
            signing=signing,
        )
        return Response(DisposalOut(found(disposals(), pk=act.pk)).data, status=201)


class DisposalView(ApiView):
    @extend_schema(summary="Read a disposal", tags=TAGS, responses={200: DisposalOut})
    def get(self, request: Request, number: str) -> Response:
        """With what stays of each file."""
        return Response(DisposalOut(found(disposals(), number=number)).data)


class FinishDisposalView(ApiView):
    @extend_schema(summary="Take away what a worker left", tags=TAGS, request=None, responses={200: DisposalOut})
    def post(self, request: Request, number: str) -> Response:
        """Of every act that is not finished; safe to repeat."""
        act = found(Disposal, number=number)
        finish_disposals(by=person_of(request), at=now())
        return Response(DisposalOut(found(disposals(), pk=act.pk)).data)


class DisposalCertificateView(ApiView):
    @extend_schema(summary="Issue a certificate of disposal", tags=TAGS, request=None, responses={201: DocumentWhole})
    @sealing
    def post(self, request: Request, number: str) -> Response:
        """Sealed, with what went and its hashes."""
        act = found(Disposal, number=number)
        return Response(DocumentWhole(issue_disposal_certificate(act=act, by=person_of(request), at=now())).data, status=201)
