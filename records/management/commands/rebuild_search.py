"""`manage.py rebuild_search`: makes what the search knows anew from the rows of the shop. Safe at any time, also while people work."""

from __future__ import annotations

import json
from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand
from django.db import DatabaseError

from records.search_index import rebuild
from shop.command import Stopped


class Command(BaseCommand):
    help = "Make what the search knows anew from the shop's own rows. Safe to run at any time. Exit 2: the database cannot be read."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--json", action="store_true", help="the counts for machines")
        parser.add_argument("--quiet", action="store_true", help="no progress on standard error")

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            counts = rebuild(progress=None if options["quiet"] else self._news)
        except DatabaseError as error:
            raise Stopped(f"The search could not be made anew: {error}") from error
        if options["json"]:
            self.stdout.write(json.dumps(counts))
            return
        for kind, count in counts.items():
            self.stdout.write(f"{count:>10,} {kind}")

    def _news(self, kind: str, done: int) -> None:
        if done % 10_000 == 0:
            self.stderr.write(f"{done:,} {kind}")
