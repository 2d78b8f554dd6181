"""Who stands in for whom."""

from __future__ import annotations

from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from shop.acts.stand_ins import LENDABLE, NAMED_MEANING, end_stand_in, name_stand_in
from shop.api.fields import AnySerializer, Asked, SignatureIn
from shop.api.view import ApiView, asked, found, named_in_body, person_of, signed
from shop.clock import now
from shop.people import Person, PersonRole

TAGS = ["signing on"]


class StandInIn(Asked):
    deputy = serializers.CharField(max_length=60, help_text="User name of who stands in.")
    role = serializers.CharField(max_length=20, help_text=f"One of: {', '.join(role.value for role in LENDABLE)}.")
    since = serializers.DateField()
    until = serializers.DateField(help_text="That day included.")
    reason = serializers.CharField(max_length=200, allow_blank=True)
    signature = SignatureIn()


class StandInEndIn(Asked):
    reason = serializers.CharField(max_length=200, allow_blank=True)


class StandInOut(AnySerializer):
    """A colleague who acts with one of a person's roles, from a day until a day."""

    id = serializers.IntegerField()
    person = serializers.CharField(source="stands_in_for.username")
    deputy = serializers.CharField(source="person.username")
    role = serializers.CharField()
    since = serializers.DateField()
    until = serializers.DateField()


def _rows(username: str) -> Any:
    person = found(Person.objects.exclude(username="system"), username=username)
    return person, PersonRole.objects.filter(stands_in_for=person).select_related("person", "stands_in_for").order_by("-until", "-pk")


class StandInsView(ApiView):
    @extend_schema(summary="List who stands in for a person", tags=TAGS, responses={200: StandInOut(many=True)})
    def get(self, request: Request, username: str) -> Response:
        """The latest first, with those that are over."""
        return Response(StandInOut(_rows(username)[1][:100], many=True).data)

    @extend_schema(summary="Name who stands in", tags=TAGS, request=StandInIn, responses={201: StandInOut})
    def post(self, request: Request, username: str) -> Response:
        """Signed by the person, or by quality or an administrator for somebody who cannot."""
        body, at = asked(request, StandInIn), now()
        person, _list = _rows(username)
        deputy = named_in_body(Person.objects.exclude(username="system"), "deputy", username=body["deputy"])
        signing = signed(request, body["signature"], NAMED_MEANING, at)
        given = {name: body[name] for name in ("role", "since", "until", "reason")}
        row = name_stand_in(person=person, deputy=deputy, by=signing.person, at=at, signing=signing, **given)
        return Response(StandInOut(row).data, status=201)


class StandInEndView(ApiView):
    @extend_schema(summary="End a stand-in", tags=TAGS, request=StandInEndIn, responses={204: None})
    def post(self, request: Request, username: str, pk: int) -> Response:
        """From this moment on; what was signed meanwhile stays."""
        body = asked(request, StandInEndIn)
        end_stand_in(stand_in=found(_rows(username)[1], pk=pk), reason=body["reason"], by=person_of(request), at=now())
        return Response(status=204)
