"""Sampling schemes and the lots inspected by them. The severity of a lot follows from the history."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from django.db.models import QuerySet
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from inspection.acceptance import ROUTES, LotInspection, PlanBasis, SampledThing, SamplingScheme
from inspection.acts.acceptance import (
    INSPECTED_MEANING,
    LotInput,
    SchemeInput,
    end_scheme,
    history_of,
    inspect_lot,
    lot_named,
    open_scheme,
    plan_of,
    plan_sha256,
    release_inspected_lot,
    standing_of,
)
from inspection.sampling.single import Level, Severity
from inspection.sampling.switching import State
from shop.api.fields import AnySerializer, Count, FigureIn, FigureOut, Word
from shop.api.view import KEY_HEADER, ActKeyed, ApiView, ListView, SignedAct, asked, done_once, found, named_in_body, signed
from shop.clock import now
from shop.finding import Refused, misfit
from shop.materials import Terminal, Wire
from shop.people import Person
from shop.quantity import NotAQuantity, parse_number

TAGS = ["sampling"]

# --- What is asked ---------------------------------------------------------------------------------------------------------------


class SamplingSchemeIn(ActKeyed):
    name = serializers.CharField(max_length=120, allow_blank=True)
    thing = serializers.CharField(max_length=20, help_text=f"One of: {', '.join(SampledThing.values)}.")
    terminal = serializers.CharField(max_length=60, required=False, default="", allow_blank=True, help_text="Its part number.")
    wire = serializers.CharField(max_length=60, required=False, default="", allow_blank=True, help_text="Its part number.")
    criterion = serializers.CharField(max_length=300, allow_blank=True)
    basis = serializers.CharField(max_length=20, help_text=f"One of: {', '.join(PlanBasis.values)}.")
    level = serializers.CharField(max_length=4, required=False, default="", allow_blank=True, help_text=f"One of: {', '.join(Level)}.")
    aql = FigureIn(required=False, allow_null=True, default=None, help_text="As the tables have it.")
    start = serializers.CharField(max_length=12, required=False, default="normal", help_text=f"One of: {', '.join(Severity)}.")
    reduced_by = serializers.CharField(
        max_length=20, required=False, default="never", help_text=f"One of: {', '.join(value for value, _label in ROUTES)}."
    )
    quality = FigureIn(required=False, allow_null=True, default=None, help_text="Percent nonconforming that is to be refused.")
    risk = FigureIn(required=False, allow_null=True, default=None, help_text="Percent of such lots that may be accepted.")
    n = Count(required=False, allow_null=True, default=None)
    ac = Count(required=False, allow_null=True, default=None)
    reason = serializers.CharField(max_length=300, allow_blank=True)


class SamplingSchemeEnd(ActKeyed):
    reason = serializers.CharField(max_length=300, allow_blank=True)


class LotInspectionIn(SignedAct):
    lot = serializers.CharField(max_length=60, help_text="Number of the lot or batch.")
    lot_size = Count(help_text="Pieces in the lot.")
    found = Count(help_text="Nonconforming pieces; above AQL 10 nonconformities.")
    defects = serializers.CharField(
        max_length=500, required=False, default="", allow_blank=True, help_text="Needed where something was found."
    )
    resubmitted = serializers.BooleanField(required=False, default=False)
    irregular = serializers.CharField(max_length=200, required=False, default="", allow_blank=True)
    seen_sha256 = serializers.CharField(max_length=64, help_text="sha256 of the plan as shown by the scheme's plan.")


# --- What is shown ---------------------------------------------------------------------------------------------------------------


class SamplingSchemeOut(AnySerializer):
    """A sampling scheme, in short."""

    number = serializers.CharField()
    name = serializers.CharField()
    thing = Word(SampledThing)
    terminal = serializers.CharField(source="terminal.part_number", allow_null=True, default=None)
    wire = serializers.CharField(source="wire.part_number", allow_null=True, default=None)
    criterion = serializers.CharField()
    basis = Word(PlanBasis)
    level = serializers.CharField()
    aql = FigureOut(allow_null=True)
    start = serializers.CharField()
    reduced_by = serializers.CharField()
    quality = FigureOut(allow_null=True)
    risk = FigureOut(allow_null=True)
    n = serializers.IntegerField(source="own_n", allow_null=True)
    ac = serializers.IntegerField(source="own_ac", allow_null=True)
    reason = serializers.CharField()
    opened_by = serializers.CharField(source="opened_by.username")
    opened_at = serializers.DateTimeField()
    ended_by = serializers.CharField(source="ended_by.username", allow_null=True, default=None)
    ended_at = serializers.DateTimeField(allow_null=True)
    ended_because = serializers.CharField()


class LotInspectionOut(AnySerializer):
    """One inspected lot."""

    number = serializers.IntegerField()
    lot = serializers.CharField(help_text="Number of the lot or batch.")
    lot_size = serializers.IntegerField()
    severity = serializers.CharField()
    code_letter = serializers.CharField()
    n = serializers.IntegerField()
    ac = serializers.IntegerField()
    re = serializers.IntegerField()
    found = serializers.IntegerField()
    defects = serializers.CharField()
    resubmitted = serializers.BooleanField()
    irregular = serializers.CharField()
    accepted = serializers.BooleanField()
    severity_after = serializers.CharField()
    by = serializers.CharField(source="by.username")
    at = serializers.DateTimeField()


class SamplingSchemeWhole(SamplingSchemeOut):
    """A scheme with what its next lot is inspected under and, the oldest first, its lots."""

    severity = serializers.CharField(help_text=f"Of the next lot: {', '.join(State)}.")
    why = serializers.CharField(help_text="What led to it; empty where it is as the scheme began.")
    inspections = LotInspectionOut(many=True)


class LotPlanOut(AnySerializer):
    """What to look at of one lot. Send `sha256` back as seen_sha256 with what was found."""

    severity = serializers.CharField()
    code_letter = serializers.CharField()
    n = serializers.IntegerField()
    ac = serializers.IntegerField()
    re = serializers.IntegerField()
    whole_lot = serializers.BooleanField()
    table = serializers.CharField()
    status = serializers.CharField(help_text="How the row of the table was checked.")
    sha256 = serializers.CharField()


def schemes() -> QuerySet[SamplingScheme]:
    return SamplingScheme.objects.select_related("terminal", "wire", "opened_by", "ended_by")


def scheme_shown(number: str) -> dict[str, Any]:
    scheme = schemes().get(number=number)
    history = history_of(scheme)
    standing = standing_of(scheme, history)
    shown: dict[str, Any] = dict(SamplingSchemeOut(scheme).data)
    shown |= {"severity": standing.state.value, "why": standing.why.value if standing.why else ""}
    shown["inspections"] = LotInspectionOut(history, many=True).data
    return shown


def _figure(body: dict[str, Any], name: str) -> Any:
    if body[name] is None:
        return None
    try:
        return parse_number(body[name])
    except NotAQuantity as error:
        raise Refused([misfit("data.invalid", name, message=str(error))]) from error


# --- Views -----------------------------------------------------------------------------------------------------------------------


class SchemesView(ListView):
    @extend_schema(
        summary="List sampling schemes",
        tags=TAGS,
        parameters=[
            OpenApiParameter("in_force", bool, description="true: only those in force."),
            OpenApiParameter("terminal", str, description="Part number."),
            OpenApiParameter("wire", str, description="Part number."),
        ],
        responses={200: SamplingSchemeOut(many=True)},
    )
    def get(self, request: Request) -> Response:
        """Newest first."""
        rows = schemes().order_by("-pk")
        if request.query_params.get("in_force", "") in ("1", "true"):
            rows = rows.filter(ended_at__isnull=True)
        for name in ("terminal", "wire"):
            value = request.query_params.get(name, "").replace("\0", "")
            rows = rows.filter(**{f"{name}__part_number": value}) if value else rows
        return self.pages(rows, SamplingSchemeOut)

    @extend_schema(
        summary="Open a sampling scheme", tags=TAGS, parameters=[KEY_HEADER], request=SamplingSchemeIn, responses={201: SamplingSchemeWhole}
    )
    def post(self, request: Request) -> Response:
        """By quality. A scheme is not changed later: another one takes its place."""
        body = asked(request, SamplingSchemeIn)
        terminal = named_in_body(Terminal.objects.all(), "terminal", part_number=body["terminal"]) if body["terminal"] else None
        wire = named_in_body(Wire.objects.all(), "wire", part_number=body["wire"]) if body["wire"] else None
        same = {name: body[name] for name in ("name", "thing", "criterion", "basis", "level", "start", "reduced_by", "n", "ac", "reason")}
        figures = {name: _figure(body, name) for name in ("aql", "quality", "risk")}
        stated = SchemeInput(**same, **figures, terminal=terminal, wire=wire)

        def do(by: Person, at: datetime) -> str:
            return open_scheme(stated=stated, by=by, at=at).number

        return Response(scheme_shown(done_once(request, "open sampling scheme", body, do)), status=201)


class SchemeView(ApiView):
    @extend_schema(summary="Read a sampling scheme", tags=TAGS, responses={200: SamplingSchemeWhole})
    def get(self, request: Request, number: str) -> Response:
        """With the severity of its next lot and its history."""
        return Response(scheme_shown(found(SamplingScheme, number=number).number))


class EndView(ApiView):
    @extend_schema(
        summary="End a sampling scheme", tags=TAGS, parameters=[KEY_HEADER], request=SamplingSchemeEnd, responses={200: SamplingSchemeWhole}
    )
    def post(self, request: Request, number: str) -> Response:
        """By quality, with a reason. Its lots stay on record."""
        scheme, body = found(SamplingScheme, number=number), asked(request, SamplingSchemeEnd)

        def do(by: Person, at: datetime) -> str:
            return end_scheme(scheme=scheme, reason=body["reason"], by=by, at=at).number

        return Response(scheme_shown(done_once(request, "end sampling scheme", body, do)))


class PlanView(ApiView):
    @extend_schema(
        summary="Read the plan for a lot",
        tags=TAGS,
        parameters=[OpenApiParameter("lot", str, required=True), OpenApiParameter("lot_size", int, required=True)],
        responses={200: LotPlanOut},
    )
    def get(self, request: Request, number: str) -> Response:
        """As its next lot is inspected."""
        scheme = found(schemes(), number=number)
        lot = lot_named(scheme, request.query_params.get("lot", "").replace("\0", ""))
        text = request.query_params.get("lot_size", "")
        size = int(text) if text.isascii() and text.isdigit() and len(text) < 10 else 0
        plan = plan_of(scheme, size, standing_of(scheme, history_of(scheme)).state)
        shown = {name: getattr(plan, name) for name in ("code_letter", "n", "ac", "re", "whole_lot", "status")}
        shown |= {"severity": plan.severity.value, "table": plan.source, "sha256": plan_sha256(scheme, lot, size, plan)}
        return Response(shown)


class InspectionsView(ApiView):
    @extend_schema(summary="Inspect a lot", tags=TAGS, parameters=[KEY_HEADER], request=LotInspectionIn, responses={201: LotInspectionOut})
    def post(self, request: Request, number: str) -> Response:
        """Signed, by an inspector or quality. A lot of material that is not accepted is put on hold."""
        scheme, body = found(schemes(), number=number), asked(request, LotInspectionIn)
        signing = signed(request, body["signature"], INSPECTED_MEANING, now())
        stated = LotInput(**{name: body[name] for name in ("lot_size", "found", "defects", "resubmitted", "irregular")})

        def do(by: Person, at: datetime) -> int:
            lot = lot_named(scheme, body["lot"])
            return inspect_lot(scheme=scheme, lot=lot, stated=stated, by=by, at=at, signing=signing, seen_sha256=body["seen_sha256"]).pk

        pk = int(done_once(request, "inspect lot", body, do, signing=signing))
        return Response(LotInspectionOut(LotInspection.objects.get(pk=pk)).data, status=201)


class ReleaseView(ApiView):
    @extend_schema(
        summary="Release an inspected lot", tags=TAGS, parameters=[KEY_HEADER], request=ActKeyed, responses={200: LotInspectionOut}
    )
    def post(self, request: Request, number: str, inspection: int) -> Response:
        """A material lot that the inspection accepted and that still waits."""
        row, body = found(LotInspection, scheme__number=number, number=inspection), asked(request, ActKeyed)

        def do(by: Person, at: datetime) -> int:
            release_inspected_lot(inspection=row, by=by, at=at)
            return row.pk

        done_once(request, "release inspected lot", body, do)
        return Response(LotInspectionOut(row).data)
