"""Tokens for programs, and sessions for pages. A token is bound to the password it was given for, as a session is."""

from __future__ import annotations

import secrets
from typing import Any

from django.db import transaction
from django.utils.crypto import constant_time_compare, salted_hmac
from rest_framework.authentication import TokenAuthentication
from rest_framework.authtoken.models import Token
from rest_framework.exceptions import AuthenticationFailed

from shop.people import Person

CHANCE = 24  # hex digits of a token that are drawn; the other 16 bind it to the password


def _bound(chance: str, person: Person) -> str:
    return chance + salted_hmac("shop.api.token", chance + person.password).hexdigest()[: 40 - CHANCE]


def token_for(person: Person) -> str:
    """The person's token: the one in use, or a new one where there is none or the password has changed since."""
    with transaction.atomic():
        token: Any = Token.objects.filter(user=person).first()
        if token is not None and constant_time_compare(token.key, _bound(token.key[:CHANCE], person)):
            return str(token.key)
        end_token(person)
        return str(Token.objects.create(user=person, key=_bound(secrets.token_hex(CHANCE // 2), person)).key)


def end_token(person: Person) -> None:
    Token.objects.filter(user=person).delete()


class PersonToken(TokenAuthentication):
    """`Authorization: Token …`. Ends when the password changes, one is handed out, or the account is closed."""

    def authenticate_credentials(self, key: str) -> tuple[Any, Any]:
        person, token = super().authenticate_credentials(key)
        if not constant_time_compare(token.key, _bound(token.key[:CHANCE], person)):
            raise AuthenticationFailed
        return person, token
