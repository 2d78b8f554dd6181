"""`manage.py import KIND FILE`: catalogue items from a CSV or XLSX file. Exit 0 done, 1 rows are wrong, 2 refused or wrong use."""  # noqa: N999  # Django names a command by its module

from __future__ import annotations

import json
from argparse import ArgumentParser
from dataclasses import asdict
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, OutputWrapper
from django.db import DatabaseError

from shop.acts.catalogue_import import ImportRefused, ImportReport, import_rows
from shop.catalogue import KINDS
from shop.clock import now
from shop.command import Stopped
from shop.finding import Refused
from shop.people import Person
from shop.wording import worded


class _ProgressLine:
    """How far it is, in one line that is written over; only where a person looks on."""

    def __init__(self, out: OutputWrapper, *, shown: bool) -> None:
        self.out, self.shown = out, shown

    def __call__(self, phase: str, done: int, total: int) -> None:
        self._write(f"{phase}: {done} of {total} rows")

    def clear(self) -> None:
        self._write("")

    def _write(self, text: str) -> None:
        if self.shown:
            self.out.write(f"\r\x1b[K{text}", lambda plain: plain, ending="")  # plain: errors are red
            self.out.flush()


class Command(BaseCommand):
    help = (
        "Bring catalogue items in from a CSV file (UTF-8, comma or semicolon) or an XLSX workbook, the first line naming the columns: "
        "all rows or none. On a terminal it says how far it is. "
        f"KIND is one of: {', '.join(KINDS)}. Exit 0: done. 1: rows are wrong, each is named. 2: refused or wrong use."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("kind", metavar="KIND", help="kind of the items, such as wires or tool-rows")
        parser.add_argument("file", metavar="FILE", type=Path, help="the CSV or XLSX file")
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
        line = _ProgressLine(self.stderr, shown=self.stderr.isatty() and not options["json"])
        try:
            report = import_rows(
                kind=kind,
                file_name=file.name,
                data=data,
                by=by,
                at=now(),
                dry_run=options["dry_run"],
                trusted=username is None,
                progress=line,
            )
            line.clear()
        except ImportRefused as refused:
            line.clear()
            self._tell(refused.report, options["json"])
            if not options["json"]:
                self.stderr.write(" ".join(worded(finding).sentence for finding in refused.findings))
            raise SystemExit(1) from None
        except Refused as refused:
            line.clear()
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
