"""What recurs: kinds of defects by what they were found at."""

from __future__ import annotations

from typing import Any

from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from inspection.defects import asked
from inspection.occurrences import By, recurring
from inspection.pages.recurring import by_of
from shop.api.fields import AnySerializer
from shop.api.view import ListView, Pages, person_of
from shop.clock import now, shop_day
from shop.finding import refuse_if
from shop.permissions import Deed, permission_findings


class RecurringOut(AnySerializer):
    """A kind of defect at one thing."""

    kind = serializers.CharField(source="of.kind")
    name = serializers.CharField(
        source="number", help_text="Number of the tool, terminal, wire, press, sheet or job; user name of a person."
    )
    findings = serializers.IntegerField(source="of.count")
    most = serializers.IntegerField(source="of.most", help_text="Within the shop's number of days.")
    recurs = serializers.BooleanField(source="of.recurs")
    pieces = serializers.IntegerField(allow_null=True, help_text="Made in the time; null where nobody counted.")
    per_thousand = serializers.FloatField(allow_null=True)
    first = serializers.DateTimeField(source="of.first")
    last = serializers.DateTimeField(source="of.last")
    nonconformances = serializers.SerializerMethodField()

    def get_nonconformances(self, line: Any) -> list[str]:
        return [record.number for record in line.records]


class RecurringView(ListView):
    @extend_schema(
        summary="List what recurs",
        tags=["nonconformance"],
        parameters=[
            OpenApiParameter(
                "by", str, enum=[by.value for by in By], description="Left out, by tool. By person: quality and administrator only."
            ),
            OpenApiParameter("tool", str, description="Asset number."),
            OpenApiParameter("terminal", str, description="Part number."),
            OpenApiParameter("job", str, description="Its number."),
            OpenApiParameter("since", OpenApiTypes.DATE, description="Left out, ninety days back."),
            OpenApiParameter("until", OpenApiTypes.DATE),
        ],
        responses={200: RecurringOut(many=True)},
    )
    def get(self, request: Request) -> Response:
        """What recurs by the shop's rule first, then by number of findings."""
        by = by_of(request.query_params.get("by", ""))
        if by is By.PERSON:
            refuse_if(permission_findings(person_of(request), Deed.SEE_FINDINGS_BY_PERSON))
        lines = recurring(asked(request.query_params.dict(), shop_day(now())), by)
        pages = Pages()
        shown = pages.paginate_queryset(lines, request, view=self) or []
        return pages.get_paginated_response(RecurringOut(shown, many=True).data)
