"""A write with a key is done once, however often a tablet with bad Wi-Fi sends it."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterable
from datetime import datetime

from django.db import IntegrityError, transaction

from shop.finding import Refused, misfit
from shop.jobs import Performed
from shop.people import Person


def form_digest(path: str, typed: Iterable[tuple[str, str]]) -> str:
    """What was typed where, in twelve figures: part of an act's name, so that an old key never stands for another value."""
    return hashlib.sha256(repr((path, sorted(typed))).encode()).hexdigest()[:12]


def performed(key: str, act: str) -> str | None:
    """The result of the act that was done with this key, or None. The same key for another act is refused."""
    done = Performed.objects.filter(key=key).first() if key else None
    if done is None:
        return None
    if done.act != act:
        raise Refused([misfit("once.other", "act_key", act=done.act)])
    return done.result


def once(*, key: str, act: str, by: Person, at: datetime, do: Callable[[], object]) -> str:
    """Do the act and remember the key in the same transaction, or answer with what was done before.

    do: performs the act and returns something that names its result (a primary key). An empty key is no protection and is refused.
    """
    if not key or len(key) > 64:
        raise Refused([misfit("once.key", "act_key")])
    earlier = performed(key, act)
    if earlier is not None:
        return earlier
    try:
        with transaction.atomic():
            # The key first: a second sender waits here on the unique row until the first has finished.
            row = Performed.objects.create(key=key, act=act, by=by, at=at, result="")
            row.result = str(do())
            row.save(update_fields=["result"])
            return row.result
    except IntegrityError:
        earlier = performed(key, act)
        if earlier is None:
            raise
        return earlier
