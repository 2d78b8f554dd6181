"""A file of catalogue items as rows of text: CSV or workbook, with a first line that names the columns."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from django.conf import settings

from shop.acts.import_report import RowError
from shop.catalogue import Kind
from shop.finding import Refused, misfit, refuse_if
from shop.spreadsheet import XLSX_MAGIC, NotAWorkbook, read_workbook

MOST_ROWS = 200_000


@dataclass(frozen=True, slots=True)
class FileRow:
    """One row: the line on which it begins, counted from 1, and its cells by column."""

    line: int
    cells: dict[str, str]


def read_rows(
    kind: Kind, data: bytes, *, columns: Sequence[str] = (), required: Sequence[str] = (), most_rows: int = MOST_ROWS
) -> tuple[list[FileRow], list[RowError]]:
    """The rows of the file and what is wrong with their shape. Raises Refused where the file or its first line is wrong.

    columns, required: those a file may and must have; left out, those of the kind's import.
    """
    known, needed = (columns, required) if columns else (kind.import_columns, kind.required_columns)
    refuse_size(data)
    lines = _workbook(data) if data.startswith(XLSX_MAGIC) else _lines(_decoded(data))
    try:
        _first, header = next(lines, (0, []))
        names = _columns(known, needed, header)
        rows, errors = [], []
        for line, cells in lines:
            if not any(cell.strip() for cell in cells):
                continue
            if len(cells) > len(names) or len(cells) < len(names):
                message = f"The row has {len(cells)} cells, the first line {len(names)}."
                errors.append(RowError(line, "", message, "import.rows"))
                continue
            rows.append(FileRow(line, {name: cell.strip() for name, cell in zip(names, cells, strict=True)}))
    except csv.Error as error:
        raise unreadable(str(error)) from error
    if len(rows) > most_rows:
        raise unreadable(f"it has more than {most_rows} rows")
    if not rows and not errors:
        raise unreadable("it has no rows")
    return rows, errors


def refuse_size(data: bytes) -> None:
    """Raises Refused for a file above the limit of an upload."""
    if len(data) > settings.UPLOAD_LIMIT_BYTES:
        raise unreadable("it is too large")


def _decoded(data: bytes) -> str:
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise unreadable(f"byte {error.start + 1} is not UTF-8") from error
    if "\0" in text:
        raise unreadable("it holds zero bytes")
    return text


def _workbook(data: bytes) -> Iterator[tuple[int, list[str]]]:
    """The rows of an XLSX file, each as long as the first: a workbook leaves out empty cells at the end."""
    try:
        lines = read_workbook(data, most_rows=MOST_ROWS)
    except NotAWorkbook as error:
        raise unreadable(error.reason) from error
    width = len(lines[0][1]) if lines else 0
    return iter([(line, cells + [""] * (width - len(cells))) for line, cells in lines])


def _lines(text: str) -> Iterator[tuple[int, list[str]]]:
    """(line on which the row begins, its cells). Comma or semicolon, whichever the first line holds more of."""
    first = text.partition("\n")[0]
    delimiter = ";" if first.count(";") > first.count(",") else ","
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    begins = 1
    for cells in reader:
        yield begins, cells
        begins = reader.line_num + 1


def _columns(known: Sequence[str], required: Sequence[str], header: Sequence[str]) -> list[str]:
    names = [name.strip().lower().replace(" ", "_") for name in header]
    columns = ", ".join(known)
    findings = [misfit("import.column", "file", column=name or "without a name", columns=columns) for name in names if name not in known]
    findings += [misfit("import.header", "file", column=name, columns=columns) for name in required if name not in names]
    if not findings:
        doubled = next((name for name in names if names.count(name) > 1), None)
        if doubled:
            raise unreadable(f"column {doubled} stands in it twice")
    refuse_if(findings)
    return names


def unreadable(reason: str) -> Refused:
    return Refused([misfit("import.file", "file", reason=reason, limit=settings.UPLOAD_LIMIT_BYTES // (1024 * 1024))])


def template_csv(kind: Kind) -> str:
    """The first line of a file of this kind."""
    out = io.StringIO()
    csv.writer(out, lineterminator="\r\n").writerow(kind.import_columns)
    return out.getvalue()
