"""A table of a page as a file for a spreadsheet. What comes back in again is exported by the catalogue, not here."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterable, Sequence

from django.http import HttpResponse

from shop.spreadsheet import write_workbook

XLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"

_STARTS_A_FORMULA = ("=", "+", "-", "@", "\t", "\r")
_NUMBER = re.compile(r"[+-]?[0-9]+(?:[.,][0-9]+)?(?:[eE][+-]?[0-9]+)?")


def csv_answer(name: str, heads: Sequence[str], rows: Iterable[Sequence[str]]) -> HttpResponse:
    """The rows as a CSV file in UTF-8. A cell that a spreadsheet would run as a formula gets an apostrophe; a number does not."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(heads)
    writer.writerows([_kept(cell) for cell in row] for row in rows)
    # The mark at the front lets spreadsheets read the letters right.
    return HttpResponse(
        "﻿" + out.getvalue(),
        content_type="text/csv; charset=utf-8",
        headers={"Content-Disposition": f'attachment; filename="{name}"'},
    )


def _kept(cell: str) -> str:
    return f"'{cell}" if cell.startswith(_STARTS_A_FORMULA) and not _NUMBER.fullmatch(cell) else cell


def xlsx_answer(name: str, title: str, heads: Sequence[str], rows: Iterable[Sequence[str]]) -> HttpResponse:
    """The rows as a workbook with one sheet of text cells: every digit stays as it was typed."""
    return HttpResponse(
        write_workbook(title, heads, rows), content_type=XLSX, headers={"Content-Disposition": f'attachment; filename="{name}"'}
    )
