"""`manage.py export KIND FILE`: a catalogue kind as CSV or XLSX, in the columns of the import. Exit 0 done, 2 wrong use."""

from __future__ import annotations

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand
from django.db import DatabaseError

from shop.catalogue import KINDS
from shop.catalogue_export import export_columns, export_rows
from shop.clock import now, shop_day
from shop.command import Stopped
from shop.spreadsheet import csv_lines, write_workbook


class Command(BaseCommand):
    help = (
        "Write every item of a catalogue kind into a file, in the columns that import takes: CSV in UTF-8, or XLSX where FILE ends "
        f"in .xlsx. KIND is one of: {', '.join(KINDS)}. Exit 0: done. 2: wrong use."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("kind", metavar="KIND", help="kind of the items, such as wires or tool-rows")
        parser.add_argument("file", metavar="FILE", type=Path, help="the file to write; it is overwritten")

    def handle(self, *args: Any, kind: str, file: Path, **options: Any) -> None:
        if kind not in KINDS:
            raise Stopped(f"There is no kind {kind} to export. Kinds: {', '.join(KINDS)}.")
        chosen = KINDS[kind]
        try:
            items = chosen.items(shop_day(now()))
            header, table = export_columns(chosen), export_rows(chosen, items)
            if file.suffix.lower() == ".xlsx":
                file.write_bytes(write_workbook(str(chosen.title), header, table))
            else:
                with file.open("w", encoding="utf-8", newline="") as out:
                    out.writelines(csv_lines(header, table))
            count = items.count()
        except OSError as error:
            raise Stopped(f"{file} cannot be written: {error.strerror}") from error
        except DatabaseError as error:
            raise Stopped(f"The database does not answer: {error}") from error
        self.stdout.write(f"{file}: {count} {kind}")
