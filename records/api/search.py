"""Find whatever carries a number or a name."""

from __future__ import annotations

from typing import Any

from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from records.search import Hit, of_kind, overview
from records.search_kinds import KINDS, kinds_for
from shop.api.fields import AnySerializer
from shop.api.view import ApiView, Pages, asked_in_address, person_of
from shop.long_lists import COUNTED

TAGS = ["prove"]


class SearchAsked(AnySerializer):
    text = serializers.CharField(max_length=200)
    kind = serializers.ChoiceField([*KINDS, ""], required=False, default="")


class HitOut(AnySerializer):
    """A thing that was found, and its pages. found_by: its number, the beginning of its number, or words."""

    kind = serializers.CharField(source="kind.slug")
    id = serializers.IntegerField(source="pk")
    name = serializers.CharField()
    note = serializers.CharField()
    found_by = serializers.CharField(source="how")
    page = serializers.CharField(source="url")
    trace = serializers.CharField(source="trace_url", help_text="Empty where it is not traced.")
    trail = serializers.CharField(source="trail_url", help_text="Empty where nothing is recorded of it.")


class SearchView(ApiView):
    pagination_class = Pages

    @extend_schema(
        summary="Find by number, name or words",
        tags=TAGS,
        parameters=[
            OpenApiParameter("text", str, required=True, description="Separators, case, zeros in front and marks do not count."),
            OpenApiParameter("kind", str, enum=list(KINDS), description="One kind only; without it the best few of every kind."),
        ],
        responses={200: HitOut(many=True)},
    )
    def get(self, request: Request) -> Response:
        """Exact numbers first, then numbers that begin so, then whatever has all the words; at most a thousand of a kind."""
        asked = asked_in_address(request, SearchAsked)
        kinds = kinds_for(person_of(request))
        hits: list[Hit]
        if asked["kind"]:
            hits = [hit for kind in kinds if kind.slug == asked["kind"] for hit in of_kind(asked["text"], kind, COUNTED)]
        else:
            hits = [hit for group in overview(asked["text"], kinds) for hit in group.hits]
        pages: Any = Pages()
        shown = pages.paginate_queryset(hits, request, view=self)
        answer: Response = pages.get_paginated_response(HitOut(shown, many=True).data)
        return answer
