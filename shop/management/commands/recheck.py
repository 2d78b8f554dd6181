"""`manage.py recheck`: have the worker hold every released sheet against the rules again. For every night: days pass, documents end."""

from __future__ import annotations

from typing import Any

from django.core.management.base import BaseCommand
from django.db import DatabaseError

from shop.acts.rechecks import ask_recheck
from shop.clock import now
from shop.command import Stopped
from shop.people import Person


class Command(BaseCommand):
    help = (
        "Ask for a re-check of every released sheet, which `manage.py db_worker` does. For a nightly run: a change of the catalogue asks "
        "by itself, but a document or a verification also ends with the day. Exit 0: asked for, or no sheet is in force. 2: refused."
    )

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            asked = ask_recheck(reason="asked for by manage.py recheck", by=Person.system(), at=now())
        except DatabaseError as error:
            raise Stopped(f"The database does not answer: {error}") from error
        self.stdout.write("No sheet is in force: nothing to check." if asked is None else f"Re-check {asked.pk} is asked for.")
