"""Workbooks (XLSX) as rows of text, and back. Cells are kept as text: what a shop wrote as 1.80 or 007 comes back the same."""

from __future__ import annotations

import csv
import io
import itertools
import re
import warnings
import zipfile
import zlib
from collections.abc import Iterable, Iterator, Sequence
from datetime import date, datetime
from decimal import Decimal
from typing import Any

XLSX_MAGIC = b"PK\x03\x04"
MOST_UNPACKED_BYTES = 400 * 1024 * 1024


class NotAWorkbook(ValueError):  # noqa: N818  # reads as what happened
    """The bytes are no workbook that can be read. reason: the end of a sentence that begins with "the file cannot be read:"."""

    def __init__(self, reason: str) -> None:
        self.reason = reason
        super().__init__(reason)


def cell_text(value: Any) -> str:
    """A cell as text: 450.0 reads 450, a day reads 2026-03-02, yes and no are words. White space is folded."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        text = format(Decimal(repr(value)), "f")
        return text.rstrip("0").rstrip(".") if "." in text else text
    if isinstance(value, datetime):
        return value.date().isoformat() if (value.hour, value.minute, value.second) == (0, 0, 0) else value.isoformat()
    if isinstance(value, date):
        return value.isoformat()
    return re.sub(r"\s+", " ", str(value).replace("\x00", "")).strip()


def read_workbook(data: bytes, *, most_rows: int, most_columns: int = 200) -> list[tuple[int, list[str]]]:
    """(line, cells) of the first sheet that holds anything; line counts from 1. Raises NotAWorkbook.

    most_rows, most_columns: more is refused, not cut off. A file that unpacks to far more than it should is refused before it is read.
    """
    import openpyxl  # noqa: PLC0415  # slow to import, and CSV does without

    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            if sum(part.file_size for part in archive.infolist()) > MOST_UNPACKED_BYTES:
                raise NotAWorkbook("it unpacks to far more than a table holds")
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # about styles and extensions that no cell of ours depends on
            book = openpyxl.load_workbook(io.BytesIO(data), read_only=True, data_only=True)
            for sheet in book.worksheets:
                lines = _sheet_lines(sheet.iter_rows(values_only=True), most_rows, most_columns)
                if any(texts for _line, texts in lines):
                    return lines
    except NotAWorkbook:
        raise
    except Exception as error:
        # A damaged workbook can break the reader in any place and with any type; for the person it is all one answer.
        raise NotAWorkbook("it is not a workbook that can be read") from error
    return []


def rows_about(data: bytes) -> int:
    """About how many rows a CSV or XLSX file has, told without reading its cells; 0 for a workbook that cannot be opened."""
    if not data.startswith(XLSX_MAGIC):
        return data.count(b"\n")
    count = 0
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            if sum(part.file_size for part in archive.infolist()) > MOST_UNPACKED_BYTES:
                return 0
            for name in archive.namelist():
                if name.startswith("xl/worksheets/") and name.endswith(".xml"):
                    with archive.open(name) as sheet:
                        while piece := sheet.read(1024 * 1024):
                            count += piece.count(b"<row")  # one cut in two by the end of a piece does not matter here
    except (zipfile.BadZipFile, OSError, EOFError, zlib.error, NotImplementedError, RuntimeError):
        return 0  # the reader says what is wrong with it
    return count


def _sheet_lines(rows: Iterable[Sequence[Any]], most_rows: int, most_columns: int) -> list[tuple[int, list[str]]]:
    lines = []
    for line, cells in enumerate(rows, start=1):
        texts = [cell_text(cell) for cell in cells]
        while texts and not texts[-1]:
            texts.pop()
        if len(texts) > most_columns:
            raise NotAWorkbook(f"it has more than {most_columns} columns")
        if line > most_rows + 1:
            raise NotAWorkbook(f"it has more than {most_rows} rows")
        lines.append((line, texts))
    return lines


def write_workbook(title: str, header: Sequence[str], rows: Iterable[Sequence[str]]) -> bytes:
    """A workbook with one sheet of text cells. A cell that begins with = stays text, never a formula."""
    import openpyxl  # noqa: PLC0415
    from openpyxl.cell import WriteOnlyCell  # noqa: PLC0415

    book = openpyxl.Workbook(write_only=True)
    sheet = book.create_sheet(re.sub(r"[\\/*?:\[\]]", " ", title)[:31])
    sheet.append(list(header))
    for row in rows:
        cells = []
        for text in row:
            cell = WriteOnlyCell(sheet, value=text or None)
            if text:
                cell.data_type = "s"  # otherwise "=1+1" would be taken for a formula
            cells.append(cell)
        sheet.append(cells)
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


class _Line:
    """Where the CSV writer puts its text: the last line only."""

    text = ""

    def write(self, text: str) -> None:
        self.text = text


def csv_lines(header: Sequence[str], rows: Iterable[Sequence[str]]) -> Iterator[str]:
    """The lines of a CSV file (RFC 4180), one at a time, so that a long list streams."""
    line = _Line()
    writer = csv.writer(line, lineterminator="\r\n")
    for row in itertools.chain([header], rows):
        writer.writerow(row)
        yield line.text
