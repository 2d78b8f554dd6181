"""Notes who looked at what, after the answer is made: one look into an index, and one row where the last one is some minutes old.

Which addresses are records is registered by the apps that own them. A list is not noted at each click: what it shows is a line of many.
"""

from __future__ import annotations

import logging
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from django.conf import settings
from django.db import DatabaseError, connection, transaction
from django.db.models import CharField, DateTimeField, Model
from django.http import HttpRequest
from django.http.response import HttpResponseBase

from shop.clock import now
from shop.composed import Composed, Given
from shop.desk_looks import Door, Look, LookedAs
from shop.people import Person

logger = logging.getLogger(__name__)

SAME_FOR = timedelta(minutes=5)
"""A page that is opened again within that time is the same look: people reload, go back and forth."""
MOST_WAIT_MS = 1000
"""How long a page waits for another writer on SQLite to note a look."""


@dataclass(frozen=True, slots=True)
class Thing:
    """What was looked at, as the ledger names it. pk: 0 for a whole list."""

    kind: str
    pk: int
    name: str


Finder = Callable[[Mapping[str, Any]], Thing | None]

LOOKED_AT: dict[str, tuple[LookedAs, Finder]] = {}
"""Name of an address -> how a thing is looked at there, and which, by the address's variables."""


def register(views: str, what: LookedAs, thing: Finder) -> None:
    """views: names of addresses, with spaces between."""
    for view in views.split():
        LOOKED_AT[view] = (what, thing)


def one(kind: str, model: type[Model], field: str = "pk", variable: str = "") -> Finder:
    """The thing of this model that a variable of the address names; the variable is called as the field unless said."""

    column = model._meta.pk if field == "pk" else model._meta.get_field(field)
    asked: Composed[Any] = Composed(lambda: model._default_manager.order_by().filter(**{field: Given("value", column)}))  # type: ignore[arg-type]

    def find(given: Mapping[str, Any]) -> Thing | None:
        rows = asked(value=given[variable or field])
        return Thing(kind, int(rows[0].pk), str(rows[0])[:160]) if rows else None

    return find


def whole(name: str) -> Finder:
    """A list as a whole, such as one that is exported."""
    return lambda given: Thing("list", 0, name)


_SEEN = "_seen_thing"


def seen(request: HttpRequest, thing: Thing) -> None:
    """A page that has its thing at hand says so, and it is not asked for again."""
    setattr(request, _SEEN, thing)


class NoteLooks:
    """Middleware: after an answer with something in it went out to a person who is signed in."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponseBase]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        response = self.get_response(request)
        match = request.resolver_match
        if match is None or response.status_code != 200 or match.view_name not in LOOKED_AT:
            return response
        person = getattr(request, "user", None)
        if isinstance(person, Person) and person.is_authenticated:
            what, find = LOOKED_AT[match.view_name]
            if request.method == "GET" or what is LookedAs.EVIDENCE:
                door = Door.API if match.namespaces[:1] == ["api"] else Door.PAGE
                note(person, what, door, lambda: getattr(request, _SEEN, None) or find(match.kwargs), at=now())
        return response


_LOOKED = Composed(
    lambda: (
        Look.objects.filter(
            at__gt=Given("since", DateTimeField()),
            person=Given("person"),
            kind=Given("kind", CharField()),
            subject_id=Given("subject_id"),
            what=Given("what", CharField()),
            door=Given("door", CharField()),
        )
        .order_by()
        .values_list("name", flat=True)
    )
)
"""The names under which a person looked at a thing in the last minutes."""


def note(person: Person, what: LookedAs, door: Door, find: Callable[[], Thing | None], *, at: datetime) -> None:
    """Write that the person looked, unless they did a moment ago. Never raises for the database: the page was already made."""
    try:
        thing = find()
        if thing is None:
            return
        name, of = thing.name[:160], {"kind": thing.kind, "subject_id": thing.pk, "what": what.value, "door": door.value}
        before = _LOOKED(since=at - SAME_FOR, person=person.pk, **of)
        # Whole lists share the key 0: their name tells which.
        if name in before or (before and thing.pk):
            return
        with _not_long(), transaction.atomic():
            Look.objects.create(at=at, person=person, name=name, **of)
    except DatabaseError:
        logger.warning("a look of %s could not be noted", person.username, exc_info=True)


@contextmanager
def _not_long() -> Iterator[None]:
    """On SQLite a long import holds the one place of the writer: a page does not wait for it as long as an act would."""
    if connection.vendor != "sqlite" or connection.in_atomic_block:
        yield
        return
    usual = int(settings.DATABASES["default"]["OPTIONS"]["timeout"]) * 1000
    with connection.cursor() as cursor:
        cursor.execute(f"PRAGMA busy_timeout = {MOST_WAIT_MS}")
        try:
            yield
        finally:
            cursor.execute(f"PRAGMA busy_timeout = {usual}")
