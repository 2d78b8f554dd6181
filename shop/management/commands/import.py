"""`manage.py import KIND FILE`: catalogue items from a CSV file. Exit 0 done, 1 rows are wrong, 2 refused or wrong use."""  # noqa: N999  # Django names a command by its module

from __future__ import annotations

import json
from argparse import ArgumentParser
from dataclasses import asdict
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand
from django.db import DatabaseError

from shop.acts.catalogue_import import ImportRefused, ImportReport, import_rows
from shop.catalogue import KINDS
from shop.clock import now
from shop.command import Stopped
from shop.finding import Refused
from shop.people import Person
from shop.wording import worded


class Command(BaseCommand):
    help = (
        "Bring catalogue items in from a CSV file (UTF-8, comma or semicolon, first line: column names): all rows or none. "
        f"KIND is one of: {', '.join(KINDS)}. Exit 0: done. 1: rows are wrong, each is named. 2: refused or wrong use."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("kind", metavar="KIND", help="kind of the items, such as wires or tool-rows")
        parser.add_argument("file", metavar="FILE", type=Path, help="the CSV file")
        parser.add_argument("--dry-run", action="store_true", help="check every row and write nothing")
        parser.add_argument("--as", dest="username", metavar="USERNAME", help="act as this person; their role decides what is permitted")
        parser.add_argument("--json", action="store_true", help="the report for machines")

    def handle(self, *args: Any, kind: str, file: Path, username: str | None, **options: Any) -> None:
        try:
            data = file.read_bytes()
        except OSError as error:
            raise Stopped(f"{file} cannot be read: {error.strerror}") from error
        try:
            by = Person.objects.active().get(username=username) if username else Person.system()
        except Person.DoesNotExist:
            raise Stopped(f"There is no person {username} with an open account.") from None
        except DatabaseError as error:
            raise Stopped(f"The database does not answer: {error}") from error
        try:
            report = import_rows(
                kind=kind, file_name=file.name, data=data, by=by, at=now(), dry_run=options["dry_run"], trusted=username is None
            )
        except ImportRefused as refused:
            self._tell(refused.report, options["json"])
            if not options["json"]:
                self.stderr.write(" ".join(worded(finding).sentence for finding in refused.findings))
            raise SystemExit(1) from None
        except Refused as refused:
            raise Stopped(" ".join(worded(finding).sentence for finding in refused.findings)) from refused
        except DatabaseError as error:
            raise Stopped(f"The database does not answer: {error}") from error
        self._tell(report, options["json"])

    def _tell(self, report: ImportReport, as_json: bool) -> None:
        if as_json:
            self.stdout.write(json.dumps(asdict(report)))
            return
        for error in report.errors:
            self.stdout.write(str(error))
        if not report.errors:
            would = "would be " if report.dry_run else ""
            self.stdout.write(
                f"{report.file_name}: {report.rows} rows; {report.added} {would}added, {report.changed} {would}changed, "
                f"{report.unchanged} unchanged"
            )
