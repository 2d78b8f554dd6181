"""Who looked at what."""

from __future__ import annotations

from datetime import date

from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from records.pages.looks import looks_asked, looks_found
from shop.api.fields import AnySerializer
from shop.api.view import ListView, person_of
from shop.desk_looks import LookedAs
from shop.finding import refuse_if
from shop.permissions import Deed, permission_findings


class LookOut(AnySerializer):
    """One look. thing: its key, 0 for a whole list; through: page or API."""

    at = serializers.DateTimeField()
    person = serializers.CharField(source="person.username")
    kind = serializers.CharField()
    thing = serializers.IntegerField(source="subject_id")
    name = serializers.CharField()
    looked_as = serializers.CharField(source="what")
    through = serializers.CharField(source="door")


class LooksView(ListView):
    @extend_schema(
        summary="Who looked at what",
        tags=["prove"],
        parameters=[
            OpenApiParameter("kind", str, description="Kind of a thing, as in the address of its audit trail; with thing."),
            OpenApiParameter("thing", int, description="Key of the thing."),
            OpenApiParameter("by", str, description="User name."),
            OpenApiParameter("what", str, enum=[way.value for way in LookedAs], description="In which way it was looked at."),
            OpenApiParameter("about", str, description="A part of the thing's name."),
            OpenApiParameter("from", date, description="First day."),
            OpenApiParameter("to", date, description="Last day."),
        ],
        responses={200: LookOut(many=True)},
    )
    def get(self, request: Request) -> Response:
        """The newest first. For auditors, quality and administrators."""
        refuse_if(permission_findings(person_of(request), Deed.SEE_LOOKS))
        return self.pages(looks_found(looks_asked(request.query_params)), LookOut)
