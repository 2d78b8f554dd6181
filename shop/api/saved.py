"""Questions that a person keeps."""

from __future__ import annotations

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from shop.acts.saved_searches import change_search, delete_search, save_search
from shop.api.fields import AnySerializer, Asked
from shop.api.view import ApiView, asked, found, person_of
from shop.clock import now
from shop.saved_searches import SavedSearch

TAGS = ["prove"]


class SavedSearchIn(Asked):
    name = serializers.CharField(max_length=60)
    address = serializers.CharField(max_length=500, help_text="Of a page of this program, with its query: /prove/?number=J-1")
    is_shared = serializers.BooleanField(default=False, help_text="Quality and auditors may show it to everybody.")


class SavedSearchChangeIn(Asked):
    name = serializers.CharField(max_length=60)
    is_shared = serializers.BooleanField(default=False)
    position = serializers.IntegerField(min_value=1, required=False, allow_null=True, default=None, help_text="Place among your own.")


class SavedSearchOut(AnySerializer):
    id = serializers.IntegerField(source="pk")
    name = serializers.CharField()
    address = serializers.CharField()
    owner = serializers.CharField(source="owner.username")
    is_shared = serializers.BooleanField()
    position = serializers.IntegerField()


class SavedSearchesView(ApiView):
    @extend_schema(summary="List saved questions", tags=TAGS, responses={200: SavedSearchOut(many=True)})
    def get(self, request: Request) -> Response:
        """Your own in your order, then what others show to everybody."""
        return Response(SavedSearchOut(SavedSearch.objects.for_person(person_of(request))[:500], many=True).data)

    @extend_schema(summary="Save a question", tags=TAGS, request=SavedSearchIn, responses={201: SavedSearchOut})
    def post(self, request: Request) -> Response:
        """Under a name of your own. It is no record."""
        body = asked(request, SavedSearchIn)
        row = save_search(**{name: body[name] for name in ("name", "address", "is_shared")}, by=person_of(request), at=now())
        return Response(SavedSearchOut(row).data, status=201)


class SavedSearchView(ApiView):
    @extend_schema(summary="Change a saved question", tags=TAGS, request=SavedSearchChangeIn, responses={200: SavedSearchOut})
    def put(self, request: Request, pk: int) -> Response:
        """Its name, its place and who sees it."""
        body, person = asked(request, SavedSearchChangeIn), person_of(request)
        row = found(SavedSearch.objects.for_person(person), pk=pk)
        given = {name: body[name] for name in ("name", "is_shared", "position")}
        return Response(SavedSearchOut(change_search(search=row, **given, by=person)).data)

    @extend_schema(summary="Delete a saved question", tags=TAGS, request=None, responses={204: None})
    def delete(self, request: Request, pk: int) -> Response:
        """It is gone."""
        person = person_of(request)
        delete_search(search=found(SavedSearch.objects.for_person(person), pk=pk), by=person)
        return Response(status=204)
