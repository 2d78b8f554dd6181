"""Which tablet a request comes from, by the cookie it got when it was enrolled; and at which tablet the present act is done.

The cookie is signed with the shop's secret key and holds the tablet's number and a token of 256 bits, whose hash the database knows. No
script can read it, and no other site can make a browser send it with a form.
"""

from __future__ import annotations

import hmac
import logging
from collections.abc import Callable
from contextvars import ContextVar
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.conf import settings
from django.core.signing import BadSignature
from django.db import DatabaseError, transaction
from django.http import HttpRequest
from django.http.response import HttpResponseBase

from shop.clock import now
from shop.stations import Tablet, hash_of_token

logger = logging.getLogger(__name__)

COOKIE, SALT = "tablet", "shop.tablets"
KEPT_FOR = timedelta(days=400)
"""Browsers keep no cookie longer; it is given anew while the tablet is used."""
SEEN_EVERY = timedelta(minutes=10)


@dataclass(frozen=True, slots=True)
class Carried:
    """What a browser says it is. tablet: None for a browser that was never enrolled, or whose token another enrolment made void."""

    tablet: Tablet | None = None
    has_cookie: bool = False

    @property
    def in_use(self) -> Tablet | None:
        return self.tablet if self.tablet is not None and self.tablet.is_in_use else None


def carried(request: HttpRequest) -> Carried:
    """What the request's cookie says, looked up once a request."""
    known: Carried | None = getattr(request, "_carried", None)
    if known is None:
        known = _look(request)
        request._carried = known  # type: ignore[attr-defined]  # kept with the request, as Django keeps its user
    return known


def tablet_of(request: HttpRequest) -> Tablet | None:
    """The enrolled tablet that asks, with its station; None for any other browser and for a revoked tablet."""
    return carried(request).in_use


def _look(request: HttpRequest) -> Carried:
    if COOKIE not in request.COOKIES:
        return Carried()
    try:
        number, _dot, token = (request.get_signed_cookie(COOKIE, salt=SALT) or "").partition(".")
    except BadSignature:
        return Carried(has_cookie=True)
    tablet = Tablet.objects.select_related("station__press").filter(pk=int(number)).first() if number.isdigit() else None
    if tablet is None or not hmac.compare_digest(tablet.token_hash, hash_of_token(token)):
        return Carried(has_cookie=True)
    return Carried(tablet, has_cookie=True)


def give_cookie(response: HttpResponseBase, tablet: Tablet, token: str) -> None:
    """The cookie of an enrolled tablet: for all addresses, so that the API knows it too."""
    response.set_signed_cookie(
        COOKIE,
        f"{tablet.pk}.{token}",
        salt=SALT,
        max_age=int(KEPT_FOR.total_seconds()),
        httponly=True,
        samesite="Lax",
        secure=settings.SERVED_OVER_TLS,
    )


def take_cookie(response: HttpResponseBase) -> None:
    response.delete_cookie(COOKIE, samesite="Lax")


_request: ContextVar[HttpRequest | None] = ContextVar("request", default=None)


def present_tablet() -> Tablet | None:
    """The enrolled tablet at which what happens now is done; None at a desk, in a command and in the background."""
    request = _request.get()
    return tablet_of(request) if request is not None else None


class AtTablet:
    """Middleware: remembers from which tablet a request came while it is answered, and notes that the tablet was seen."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponseBase]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        if COOKIE not in request.COOKIES:
            return self.get_response(request)
        mark = _request.set(request)
        try:
            response = self.get_response(request)
        finally:
            _request.reset(mark)
        known: Carried | None = getattr(request, "_carried", None)
        tablet = known.in_use if known is not None else None
        if tablet is not None and COOKIE not in response.cookies and _note_seen(tablet, now()):
            # While it is used its cookie never runs out.
            token = (request.get_signed_cookie(COOKIE, salt=SALT) or "").partition(".")[2]
            give_cookie(response, tablet, token)
        return response


def _note_seen(tablet: Tablet, at: datetime) -> bool:
    """Whether it was time to note it. Never raises for the database: the page was already made."""
    if tablet.last_seen_at is not None and at - tablet.last_seen_at < SEEN_EVERY:
        return False
    try:
        with transaction.atomic():
            Tablet.objects.filter(pk=tablet.pk).update(last_seen_at=at)
    except DatabaseError:
        logger.warning("that tablet %s was seen could not be noted", tablet.name, exc_info=True)
        return False
    return True
