"""The inspection plan of a termination in a draft, characteristic by characteristic."""

from __future__ import annotations

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from shop.acts.inspection_plans import InspectionInput, LineInput, plan_inspection
from shop.api.fields import AnySerializer, Asked, Count, FigureOut, Word
from shop.api.sheets import TAGS, SheetWhole, whole
from shop.api.view import ApiView, asked, found, person_of
from shop.characteristics import Characteristic
from shop.clock import now
from shop.jobs import ChartKind, Termination
from shop.plan_lines import plan_criteria, plan_lines
from shop.tools import GaugeKind


class LineOut(AnySerializer):
    """One characteristic as it is inspected: limits in its unit, pieces in each kind of sample."""

    characteristic = Word(Characteristic)
    unit = serializers.CharField()
    low = FigureOut(allow_null=True)
    nominal = FigureOut(allow_null=True)
    high = FigureOut(allow_null=True)
    gauge_kind = Word(GaugeKind)
    first = serializers.IntegerField()
    sample = serializers.IntegerField()
    last = serializers.IntegerField()
    every_nth = serializers.IntegerField()
    chart = Word(ChartKind)


class PlanOut(AnySerializer):
    """The whole plan. criteria: what is looked at, by code."""

    lines = LineOut(many=True)
    criteria = serializers.ListField(child=serializers.CharField())
    left_out = serializers.ListField(child=serializers.CharField())
    added = serializers.ListField(child=serializers.CharField())


class LineIn(Asked):
    characteristic = Word(Characteristic, max_length=24)
    first = Count()
    sample = Count()
    last = Count()
    every_nth = Count(least=1, required=False, default=1, help_text="In every how many-th sample in process.")
    gauge_kind = Word(GaugeKind, max_length=30)
    chart = Word(ChartKind, max_length=20)


class InspectionPlanIn(Asked):
    lines = LineIn(many=True)
    left_out = serializers.ListField(child=serializers.CharField(max_length=80), required=False, default=list, max_length=50)
    added = serializers.ListField(child=serializers.CharField(max_length=200), required=False, default=list, max_length=20)


class InspectionPlanView(ApiView):
    @extend_schema(summary="Read the inspection plan of a termination", tags=TAGS, responses={200: PlanOut})
    def get(self, request: Request, pk: int, termination_pk: int) -> Response:
        """Every characteristic with limits: what its own line says, else the usual plan."""
        t = _termination(pk, termination_pk)
        shown = {
            "lines": plan_lines(t),
            "criteria": [c.code for c in plan_criteria(t)],
            "left_out": t.criteria_left_out,
            "added": t.criteria_added,
        }
        return Response(PlanOut(shown).data)

    @extend_schema(summary="State the inspection plan of a termination", tags=TAGS, request=InspectionPlanIn, responses={200: SheetWhole})
    def put(self, request: Request, pk: int, termination_pk: int) -> Response:
        """In a draft: stated as a whole, a line for each characteristic with limits."""
        termination, body = _termination(pk, termination_pk), asked(request, InspectionPlanIn)
        stated = InspectionInput([LineInput(**line) for line in body["lines"]], body["left_out"], body["added"])
        plan_inspection(termination=termination, stated=stated, by=person_of(request), at=now())
        return Response(whole(pk))


def _termination(sheet_pk: int, pk: int) -> Termination:
    return found(Termination.objects.select_related("terminal", "sheet").prefetch_related("plan_lines"), sheet=sheet_pk, pk=pk)
