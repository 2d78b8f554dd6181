"""A token for a program, and who one is."""

from __future__ import annotations

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from shop.api.authentication import end_token, token_for
from shop.api.fields import AnySerializer, Asked
from shop.api.view import ApiView, asked, person_of
from shop.clock import now
from shop.finding import misfit, refuse_if
from shop.permissions import Deed, may
from shop.sign_on import check_secret


class TokenIn(Asked):
    identifier = serializers.CharField(max_length=60, help_text="Badge or user name.")
    secret = serializers.CharField(max_length=200, trim_whitespace=False, write_only=True, help_text="PIN or password.")


class TokenOut(AnySerializer):
    token = serializers.CharField(help_text="To be sent as “Authorization: Token …”. It ends when the password changes.")
    person = serializers.CharField(help_text="The name as printed on records.")


class MeOut(AnySerializer):
    """Who asks, and what they may do."""

    username = serializers.CharField()
    name = serializers.CharField()
    badge = serializers.CharField(allow_null=True)
    roles = serializers.ListField(child=serializers.CharField())
    may = serializers.ListField(child=serializers.CharField(), help_text="What the roles permit, in words.")


class TokenView(ApiView):
    authentication_classes = []
    permission_classes = []

    @extend_schema(summary="Get a token", tags=["signing on"], request=TokenIn, responses={200: TokenOut}, auth=[])
    def post(self, request: Request) -> Response:
        """Badge or user name with PIN or password. Wrong tries are counted and make the account wait, as everywhere."""
        body = asked(request, TokenIn)
        person = check_secret(body["identifier"], body["secret"], now())
        refuse_if([misfit("sign.change_first", "secret")] if person.must_change_secret else [])
        return Response({"token": token_for(person), "person": person.name})


class MeView(ApiView):
    @extend_schema(summary="Who asks", tags=["signing on"], responses={200: MeOut})
    def get(self, request: Request) -> Response:
        """The person behind the token or the session."""
        person = person_of(request)
        deeds = [deed.value for deed in Deed if may(person, deed)]
        shown = {"username": person.username, "name": person.name, "badge": person.badge, "roles": sorted(person.roles), "may": deeds}
        return Response(MeOut(shown).data)


class OwnTokenView(ApiView):
    @extend_schema(summary="End one's own token", tags=["signing on"], responses={204: None})
    def delete(self, request: Request) -> Response:
        """The token in use ends at once; sessions go on."""
        end_token(person_of(request))
        return Response(status=204)
