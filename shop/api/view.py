"""What every view of the API does: who asks, what was asked, a signature, an act done once, a page of a list."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from datetime import datetime
from typing import Any, TypeVar

from django.db.models import Model, QuerySet
from django.http import Http404
from django.shortcuts import get_object_or_404
from drf_spectacular.utils import OpenApiParameter
from rest_framework import serializers
from rest_framework.authentication import SessionAuthentication
from rest_framework.exceptions import NotFound, ValidationError
from rest_framework.pagination import LimitOffsetPagination
from rest_framework.permissions import IsAuthenticated
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from shop.api.authentication import PersonToken
from shop.api.bodies import ExactJSONParser
from shop.api.fields import AnySerializer, Asked, SignatureIn
from shop.api.schema import ProblemSchema
from shop.canonical import content_sha256
from shop.clock import now
from shop.events import Signing
from shop.finding import Refused, misfit, refuse_if
from shop.once import once
from shop.people import Person
from shop.permissions import Deed, permission_findings
from shop.sign_on import sign

M = TypeVar("M", bound=Model)


class Pages(LimitOffsetPagination):
    """Pages by limit and offset. A limit that is no number is refused rather than replaced."""

    default_limit = 50
    max_limit = 200

    def get_limit(self, request: Request) -> int:
        return self._number(request, "limit", 1, self.max_limit, self.default_limit)

    def get_offset(self, request: Request) -> int:
        return self._number(request, "offset", 0, 10**9, 0)

    def _number(self, request: Request, name: str, least: int, most: int, otherwise: int) -> int:
        text = request.query_params.get(name, "")
        if not text:
            return otherwise
        if not (text.isascii() and text.isdigit() and len(text) < 11 and least <= int(text) <= most):
            raise ValidationError({name: f"Write a whole number from {least} to {most}."})
        return int(text)


class ApiView(APIView):
    """The base of every view."""

    schema = ProblemSchema()
    authentication_classes = [PersonToken, SessionAuthentication]
    permission_classes = [IsAuthenticated]
    parser_classes = [ExactJSONParser]

    def initial(self, request: Request, *args: Any, **kwargs: Any) -> None:
        super().initial(request, *args, **kwargs)
        if any("\0" in value for value in kwargs.values() if isinstance(value, str)):
            raise Http404  # a database may refuse to look for it at all
        if request.user.is_authenticated:
            refuse_if(permission_findings(person_of(request), Deed.READ))


class ListView(ApiView):
    """A list in pages."""

    pagination_class = Pages

    def pages(self, rows: QuerySet[M], serializer: type[AnySerializer], **context: Any) -> Response:
        pages = Pages()
        shown = pages.paginate_queryset(rows, self.request, view=self) or []
        return pages.get_paginated_response(serializer(shown, many=True, context=context).data)


class Nothing(ApiView):
    """Any address under the API that is none: told like any other error, instead of a page."""

    authentication_classes = []
    permission_classes = []
    schema = None  # type: ignore[assignment]  # it is in no schema

    def initial(self, request: Request, *args: Any, **kwargs: Any) -> None:
        raise NotFound


def person_of(request: Request) -> Person:
    """The person who asks."""
    person = request.user
    if not isinstance(person, Person):
        raise TypeError("the view lets nobody in who is not signed in")
    return person


def asked(request: Request, serializer: type[AnySerializer], *, of_form: bool = False) -> dict[str, Any]:
    """The body as read by its serializer. Raises the framework's ValidationError.

    of_form: a form reads the values afterwards and says itself what is missing, together with everything else that is wrong.
    """
    read = serializer(data=request.data, partial=of_form)
    read.is_valid(raise_exception=True)
    data: dict[str, Any] = read.validated_data
    return data


def asked_in_address(request: Request, serializer: type[AnySerializer]) -> dict[str, Any]:
    """The query of the address as read by its serializer. What it does not know belongs to others, such as the pages."""
    known = serializer()
    read = serializer(data={name: value for name, value in request.query_params.items() if name in known.fields})
    read.is_valid(raise_exception=True)
    data: dict[str, Any] = read.validated_data
    return data


def found(rows: type[M] | QuerySet[M], **named: Any) -> M:
    thing: M = get_object_or_404(rows, **named)
    return thing


def named_in_body(rows: QuerySet[M], field: str, **named: Any) -> M:
    """Something that a body names. Where there is none, the body is wrong, not the address."""
    thing = rows.filter(**named).first()
    if thing is None:
        name = str(next(iter(named.values())))
        raise Refused([misfit("data.unknown", field, thing=str(rows.model._meta.verbose_name), name=name)])
    return thing


def signed(request: Request, signature: Mapping[str, str], meaning: str, at: datetime) -> Signing:
    """The signature in a body. It stands before the act: a wrong try stays counted."""
    identifier = signature["identifier"] or person_of(request).username
    return sign(identifier=identifier, secret=signature["secret"], meaning=meaning, at=at)


# --- Acts done once --------------------------------------------------------------------------------------------------------------


class ActKeyed(Asked):
    """A write from a tablet or a machine."""

    act_key = serializers.CharField(
        max_length=64,
        required=False,
        default="",
        allow_blank=True,
        help_text="Key of this act, in place of the header Idempotency-Key. The same key with the same body is answered, not doubled.",
    )


class SignedAct(ActKeyed):
    """A write that needs a signature."""

    signature = SignatureIn()


KEY_HEADER = OpenApiParameter(
    "Idempotency-Key",
    str,
    OpenApiParameter.HEADER,
    description="Key of this act, at most 64 characters, here or as act_key in the body. The same key again is answered, not doubled.",
)

NOT_CONTENT = {"act_key", "signature"}


def done_once(
    request: Request,
    act: str,
    body: Mapping[str, Any],
    do: Callable[[Person, datetime], object],
    *,
    signing: Signing | None = None,
) -> str:
    """Do the act with the key of the header Idempotency-Key or of the body; a retry gets the first answer and doubles nothing.

    The address and what was sent are part of the act's name: an old key with another body is refused. Secrets stay out of it.
    signing: who signed does the act, at the moment of the signature; else the caller, now.
    """
    key = request.headers.get("Idempotency-Key", "") or body["act_key"]
    person, at = (signing.person, signing.at) if signing else (person_of(request), now())
    content = {name: value for name, value in body.items() if name not in NOT_CONTENT}
    digest = content_sha256([request.path, json.dumps(content, sort_keys=True, default=str)])[:12]
    return once(key=key, act=f"{act} {digest}", by=person, at=at, do=lambda: do(person, at))
