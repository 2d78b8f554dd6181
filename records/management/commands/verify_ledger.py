"""`manage.py verify_ledger`: walks the chain from the first entry. Exit 0 whole, 1 names the first bad entry, 2 wrong use."""

from __future__ import annotations

import json
from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand
from django.db import DatabaseError

from records.ledger_check import verify_ledger
from shop.command import Stopped


class Command(BaseCommand):
    help = "Walk the ledger from its first entry. Exit 0: it is whole. 1: names the first bad entry. 2: wrong use."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--json", action="store_true", help="the report for machines")

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            report = verify_ledger()
        except DatabaseError as error:
            raise Stopped(f"The ledger cannot be read: {error}") from error
        if options["json"]:
            self.stdout.write(
                json.dumps(
                    {
                        "whole": report.is_whole,
                        "entries": report.entries,
                        "head": report.head,
                        "first_bad": report.first_bad,
                        "reason": report.reason,
                    }
                )
            )
        elif report.is_whole:
            self.stdout.write(f"The ledger is whole: {report.entries} entries, last hash {report.head}.")
        else:
            self.stdout.write(f"The ledger is NOT whole: {report.reason}. The {report.entries} entries before it hold.")
        if not report.is_whole:
            raise SystemExit(1)
