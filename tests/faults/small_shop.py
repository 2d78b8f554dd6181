"""A small shop on data of its own, made by the tests' factories: `python -m tests.faults.small_shop` in an environment with DATA_DIR.

Prints as JSON what the browser needs: sessions of people, and batches whose set-up is proven.
"""

from __future__ import annotations

import json
import os
from typing import Any

import django

BATCHES = 9
FAST = ["django.contrib.auth.hashers.MD5PasswordHasher"]
"""A slow hash is the point in the shop and a minute of waiting here."""
CODES = ("AP-031", "TL-2001", "WL-1001", "MIC-01", "CAL-01", "PULL-01")


def make() -> dict[str, Any]:
    from django.conf import settings  # noqa: PLC0415
    from django.contrib.auth import BACKEND_SESSION_KEY, HASH_SESSION_KEY, SESSION_KEY  # noqa: PLC0415  # after django.setup()
    from django.contrib.sessions.backends.db import SessionStore  # noqa: PLC0415
    from django.core.management import call_command  # noqa: PLC0415

    from records.demo.walk import Hand, set_up  # noqa: PLC0415
    from shop.clock import now  # noqa: PLC0415
    from tests import factories  # noqa: PLC0415

    settings.PASSWORD_HASHERS = FAST
    call_command("migrate", verbosity=0)
    call_command("collectstatic", interactive=False, verbosity=0)
    cast, catalogue = factories.make_cast(), factories.make_catalogue()
    small = {"inspector_signs": True, "sample_every": 50, "first_piece_heights": 2, "first_piece_pulls": 1, "sample_size": 1}
    sheet = factories.released(cast, catalogue, terminations=BATCHES + 1, **small)
    other = factories.released(cast, catalogue, **small)  # to be superseded
    hand = Hand(cast.operator, cast.operator.badge or "", factories.PIN)
    # The last termination stays in the queue.
    batches = [set_up(t, CODES, 100, hand, now).number for t in sheet.terminations.order_by("position")[:BATCHES]]
    superseded = set_up(other.terminations.get(), CODES, 100, hand, now).number

    def session(person: Any) -> str:
        store = SessionStore()
        store[SESSION_KEY], store[BACKEND_SESSION_KEY] = str(person.pk), "shop.sign_on.PasswordBackend"
        store[HASH_SESSION_KEY] = person.get_session_auth_hash()
        store.create()
        return str(store.session_key)

    people = {name: session(getattr(cast, name)) for name in ("operator", "inspector", "quality")}
    return {"superseded": superseded, "batches": batches, "sessions": people, "sheet": sheet.number}


if __name__ == "__main__":
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "shop.settings")
    django.setup()
    print(json.dumps(make()))  # noqa: T201  # read by the test that runs it
