"""A table of a page as a file for a spreadsheet. What comes back in again is exported by the catalogue, not here."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Sequence

from django.http import HttpResponse

_STARTS_A_FORMULA = ("=", "+", "-", "@", "\t", "\r")


def csv_answer(name: str, heads: Sequence[str], rows: Iterable[Sequence[str]]) -> HttpResponse:
    """The rows as a CSV file in UTF-8. A cell that a spreadsheet would run as a formula is kept as text by an apostrophe."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(heads)
    writer.writerows([f"'{cell}" if cell.startswith(_STARTS_A_FORMULA) else cell for cell in row] for row in rows)
    # The mark at the front lets spreadsheets read the letters right.
    return HttpResponse(
        "﻿" + out.getvalue(),
        content_type="text/csv; charset=utf-8",
        headers={"Content-Disposition": f'attachment; filename="{name}"'},
    )
