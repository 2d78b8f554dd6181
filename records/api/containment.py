"""Containment: what is suspect, cases, decisions on suspects, closing."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

from django.db.models import QuerySet
from drf_spectacular.utils import OpenApiParameter, extend_schema, extend_schema_field
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from records.acts.containment import (
    CLOSED_MEANING,
    DECIDED_MEANING,
    OPENED_MEANING,
    DecisionInput,
    close_case,
    decide_suspect,
    open_case,
)
from records.containment import Line, Questioned, question_about, suspects
from records.models import Containment, Question, Suspect, SuspectDecisionKind
from shop.api.fields import AnySerializer, Asked, SignatureIn
from shop.api.view import ApiView, ListView, asked, asked_in_address, found, signed
from shop.clock import midnight, now

TAGS = ["containment"]


class SuspectLineOut(AnySerializer):
    """Something suspect, before a case is opened."""

    place = serializers.CharField(help_text="in process, pieces in stock, lot in stock or shipped.")
    batch = serializers.CharField(source="batch.number", default="")
    lot = serializers.CharField(source="lot.number", default="")
    shipment = serializers.CharField(source="shipment.number", default="")
    customer = serializers.CharField(source="shipment.customer.code", default="")
    quantity = serializers.IntegerField(help_text="Pieces of a batch, harnesses of a lot.")


class SuspectDecisionOut(AnySerializer):
    kind = serializers.CharField()
    quantity = serializers.IntegerField()
    note = serializers.CharField()
    concession = serializers.CharField(source="concession.number", default="")
    by = serializers.CharField(source="by.username")
    at = serializers.DateTimeField()


class SuspectOut(SuspectLineOut):
    """A line of a case's list."""

    def get_fields(self) -> dict[str, Any]:
        return super().get_fields() | {
            "id": serializers.IntegerField(),
            "due": serializers.IntegerField(help_text="How many have to be decided on."),
            "decisions": SuspectDecisionOut(many=True),
        }


class CaseOut(AnySerializer):
    number = serializers.CharField()
    question = serializers.CharField()
    subject = serializers.CharField(source="subject_name")
    since = serializers.DateTimeField(allow_null=True)
    until = serializers.DateTimeField(allow_null=True)
    since_count = serializers.IntegerField(allow_null=True)
    reason = serializers.CharField()
    opened_by = serializers.CharField(source="opened_by.username")
    opened_at = serializers.DateTimeField()
    closed_by = serializers.CharField(source="closed_by.username", default=None, allow_null=True)
    closed_at = serializers.DateTimeField(allow_null=True)
    conclusion = serializers.CharField()
    suspects = serializers.SerializerMethodField()

    @extend_schema_field(SuspectOut(many=True))
    def get_suspects(self, case: Containment) -> Any:
        return SuspectOut(case.suspects.all(), many=True).data


def cases() -> QuerySet[Containment]:
    rows = ("batch", "lot", "shipment__customer", "decisions__by", "decisions__concession")
    return Containment.objects.select_related("opened_by", "closed_by").prefetch_related(*(f"suspects__{path}" for path in rows))


class QuestionAsked(AnySerializer):
    """The question: about what, and from when to when."""

    def get_fields(self) -> dict[str, Any]:
        # "from" is a word of the language and cannot name an attribute.
        return {
            "question": serializers.ChoiceField(Question.values),
            "subject": serializers.CharField(max_length=120, help_text="Its number, asset number, badge or user name."),
            "from": serializers.DateField(required=False, allow_null=True),
            "to": serializers.DateField(required=False, allow_null=True),
            "since_count": serializers.IntegerField(required=False, allow_null=True, min_value=0, max_value=2_000_000_000),
        }


class CaseIn(Asked):
    def get_fields(self) -> dict[str, Any]:
        own = {
            "reason": serializers.CharField(max_length=500, help_text="What was found; stands in the notice to customers."),
            "shown": serializers.IntegerField(min_value=0, max_value=100_000, help_text="How many suspects the person saw."),
            "signature": SignatureIn(),
        }
        return super().get_fields() | QuestionAsked().get_fields() | own


def _question(given: dict[str, Any]) -> Questioned:
    since, until = given.get("from"), given.get("to")
    return question_about(
        given["question"],
        given["subject"],
        since=midnight(since) if since else None,
        until=midnight(until + timedelta(days=1)) if until and until < date.max else None,
        since_count=given.get("since_count"),
    )


class SuspectsView(ApiView):
    @extend_schema(
        summary="What is suspect",
        tags=TAGS,
        parameters=[
            OpenApiParameter("question", str, required=True, enum=Question.values),
            OpenApiParameter("subject", str, required=True, description="Its number, asset number, badge or user name."),
            OpenApiParameter("from", date, description="First day; for a gauge the day of its last good calibration."),
            OpenApiParameter("to", date, description="Last day."),
            OpenApiParameter("since_count", int, description="For a tool: its counter."),
        ],
        responses={200: SuspectLineOut(many=True)},
    )
    def get(self, request: Request) -> Response:
        """By the trace, and where each is now. Holds nothing: open a case for that."""
        lines: list[Line] = suspects(_question(asked_in_address(request, QuestionAsked)))
        return Response(SuspectLineOut(lines, many=True).data)


class CasesView(ListView):
    @extend_schema(
        summary="List containment cases",
        tags=TAGS,
        parameters=[OpenApiParameter("open", bool, description="true: open ones only.")],
        responses={200: CaseOut(many=True)},
    )
    def get(self, request: Request) -> Response:
        """Newest first."""
        rows = cases().filter(closed_at=None) if request.query_params.get("open") == "true" else cases()
        return self.pages(rows, CaseOut)

    @extend_schema(summary="Open a containment case", tags=TAGS, request=CaseIn, responses={201: CaseOut})
    def post(self, request: Request) -> Response:
        """Signed by quality. Holds every suspect; running batches stop."""
        body, at = asked(request, CaseIn), now()
        question = _question(body)
        signing = signed(request, body["signature"], OPENED_MEANING, at)
        case = open_case(asked=question, reason=body["reason"], shown=body["shown"], by=signing.person, at=at, signing=signing)
        return Response(CaseOut(found(cases(), pk=case.pk)).data, status=201)


class CaseView(ApiView):
    @extend_schema(summary="Read a containment case", tags=TAGS, responses={200: CaseOut})
    def get(self, request: Request, number: str) -> Response:
        """With its list and every decision."""
        return Response(CaseOut(found(cases(), number=number)).data)


class SuspectDecisionIn(Asked):
    kind = serializers.ChoiceField(SuspectDecisionKind.values)
    quantity = serializers.IntegerField(min_value=0, max_value=2_000_000_000)
    note = serializers.CharField(max_length=300)
    concession = serializers.CharField(max_length=60, required=False, allow_blank=True, default="")
    signature = SignatureIn()


class SuspectDecisionsView(ApiView):
    @extend_schema(summary="Decide on a suspect", tags=TAGS, request=SuspectDecisionIn, responses={201: SuspectOut})
    def post(self, request: Request, number: str, pk: int) -> Response:
        """Signed by quality. Telling the customer is a decision with quantity 0."""
        body, at = asked(request, SuspectDecisionIn), now()
        suspect = found(Suspect.objects.select_related("batch", "lot", "shipment__customer"), pk=pk, case__number=number)
        stated = DecisionInput(body["kind"], body["quantity"], body["note"], body["concession"])
        signing = signed(request, body["signature"], DECIDED_MEANING, at)
        decide_suspect(suspect=suspect, stated=stated, by=signing.person, at=at, signing=signing)
        return Response(SuspectOut(found(Suspect.objects.prefetch_related("decisions__by"), pk=pk)).data, status=201)


class ClosureIn(Asked):
    conclusion = serializers.CharField(max_length=500)
    signature = SignatureIn()


class ClosureView(ApiView):
    @extend_schema(summary="Close a containment case", tags=TAGS, request=ClosureIn, responses={200: CaseOut})
    def post(self, request: Request, number: str) -> Response:
        """Signed by quality, when nothing is open."""
        body, at = asked(request, ClosureIn), now()
        case = found(Containment.objects.all(), number=number)
        signing = signed(request, body["signature"], CLOSED_MEANING, at)
        close_case(case=case, conclusion=body["conclusion"], by=signing.person, at=at, signing=signing)
        return Response(CaseOut(found(cases(), pk=case.pk)).data)
