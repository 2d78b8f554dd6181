"""Many catalogue items from one CSV file: every bad row is reported, and all rows come in or none."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.conf import settings
from django.core.exceptions import ValidationError
from django.db import models, transaction

from shop.acts.catalogue import write_item
from shop.canonical import sha256_hex
from shop.catalogue import Kind, kind_named
from shop.events import CatalogueImported, publish
from shop.finding import Finding, Refused, misfit, refuse_if
from shop.forms.item import has_default
from shop.people import Person
from shop.permissions import permission_findings
from shop.spreadsheet import XLSX_MAGIC, NotAWorkbook, read_workbook
from shop.wording import worded

MOST_ROWS = 200_000


@dataclass(frozen=True, slots=True)
class RowError:
    """What is wrong with one row. line: in the file, counted from 1. column: empty for the whole row."""

    line: int
    column: str
    reason: str
    rule: str

    def __str__(self) -> str:
        return f"line {self.line}, column {self.column}: {self.reason}" if self.column else f"line {self.line}: {self.reason}"


@dataclass(frozen=True, slots=True)
class ImportReport:
    """What an import did, or would do. `errors` is empty unless the import was refused."""

    kind: str
    file_name: str
    sha256: str
    rows: int = 0
    added: int = 0
    changed: int = 0
    unchanged: int = 0
    errors: tuple[RowError, ...] = ()
    dry_run: bool = False


class ImportRefused(Refused):
    """The file was refused; `report.errors` names every bad row."""

    def __init__(self, findings: Sequence[Finding], report: ImportReport) -> None:
        super().__init__(findings)
        self.report = report


Known = frozenset[tuple[Any, ...]]


@dataclass(frozen=True, slots=True)
class _Row:
    line: int
    cells: dict[str, str]


def import_rows(
    *, kind: Kind | str, file_name: str, data: bytes, by: Person, at: datetime, dry_run: bool = False, trusted: bool = False
) -> ImportReport:
    """Bring the rows of a CSV file into the catalogue: an existing key is changed, a new one added. Raises Refused or ImportRefused.

    A column that the file does not have is left as it is; an empty cell empties the field, or gives it its default.
    trusted: only the command line sets it. Whoever can run a command there holds the database itself, and the first people of an
    empty shop have to come from somewhere; a page or the API never sets it.
    """
    kind = kind_named(kind) if isinstance(kind, str) else kind
    refuse_if([] if trusted else permission_findings(by, kind.deed))
    digest = sha256_hex(data)
    rows, errors = _read(kind, data)
    counts = {"added": 0, "changed": 0, "unchanged": 0}
    added: list[str] = []
    changes: list[dict[str, Any]] = []
    with transaction.atomic():
        lines: dict[tuple[Any, ...], int] = {}
        defaults = kind.stated(kind.model())
        # All keys in one question: most rows of a large file are new, and need no question of their own.
        known = frozenset(kind.model._default_manager.values_list(*kind.key))
        for row in rows:
            try:
                item, before = _write(kind, row, lines, defaults, known)
            except Refused as refused:
                errors += _row_errors(kind, row.line, refused.findings)
                continue
            after = kind.recorded(item)
            word = "added" if before is None else "unchanged" if before == after else "changed"
            counts[word] += 1
            if before is None:
                added.append(kind.key_of(item))
            elif before != after:
                differ = [name for name in after if before[name] != after[name]]
                changes.append({
                    "key": kind.key_of(item),
                    "before": {name: before[name] for name in differ},
                    "after": {name: after[name] for name in differ},
                })  # fmt: skip
        report = ImportReport(
            kind.slug, file_name, digest, len(rows), **counts, errors=tuple(sorted(errors, key=lambda e: e.line)), dry_run=dry_run
        )
        if errors:
            bad = len({error.line for error in errors})
            raise ImportRefused([misfit("import.rows", "file", bad=bad, rows=max(len(rows), bad))], report)
        if dry_run:
            transaction.set_rollback(True)
        elif added or changes:
            content = {"kind": kind.slug, "file": file_name, "sha256": digest, "rows": len(rows), **counts}
            content |= {"keys": added, "changes": changes}
            publish(CatalogueImported(by=by, at=at, subject=("import", 0, f"{kind.slug}: {file_name}"[:120]), content=content))
    return report


def _write(
    kind: Kind, row: _Row, lines: dict[tuple[Any, ...], int], defaults: Mapping[str, str], known: Known
) -> tuple[Any, dict[str, str] | None]:
    found, key = _existing(kind, row.cells, known)
    if key is not None:
        earlier = lines.setdefault(key, row.line)
        if earlier != row.line:
            raise Refused([misfit("data.invalid", kind.key[0], message=f"The same key stands in line {earlier} already.")])
    stated = kind.stated(found) if found is not None else defaults
    cells = {name: cell if cell or not has_default(kind.model, name) else defaults[name] for name, cell in row.cells.items()}
    if found is not None:
        changed = [name for name in kind.form.only_new if name in cells and cells[name] != stated[name]]
        if changed:
            message = "It is changed on the item's own page, with a reason; leave the column out or as it is."
            raise Refused([misfit("data.invalid", name, message=message) for name in changed])
    return write_item(kind, {**stated, **cells}, found, ask_database=True)


def _existing(kind: Kind, cells: dict[str, str], known: Known) -> tuple[models.Model | None, tuple[Any, ...] | None]:
    """The item with the key of this row, and the key as parsed; (None, None) where the key itself is wrong: the form says how."""
    fields = kind.form.base_fields
    try:
        key = {name: fields[name].clean(cells.get(name, "")) for name in kind.key}
    except ValidationError:
        return None, None
    plain = tuple(value.pk if isinstance(value, models.Model) else value for value in key.values())
    if plain not in known:
        return None, plain
    return kind.model._default_manager.select_for_update().filter(**key).order_by("pk").first(), plain


def _row_errors(kind: Kind, line: int, findings: Sequence[Finding]) -> list[RowError]:
    return [RowError(line, finding.field, worded(finding).sentence, finding.rule) for finding in findings]


# --- Reading ---------------------------------------------------------------------------------------------------------------------


def _read(kind: Kind, data: bytes) -> tuple[list[_Row], list[RowError]]:
    """The rows of the file and what is wrong with their shape. Raises Refused where the file or its first line is wrong."""
    if len(data) > settings.UPLOAD_LIMIT_BYTES:
        raise _unreadable("it is too large")
    lines = _workbook(data) if data.startswith(XLSX_MAGIC) else _lines(_decoded(data))
    try:
        _first, header = next(lines, (0, []))
        names = _columns(kind, header)
        rows, errors = [], []
        for line, cells in lines:
            if not any(cell.strip() for cell in cells):
                continue
            if len(cells) > len(names) or len(cells) < len(names):
                message = f"The row has {len(cells)} cells, the first line {len(names)}."
                errors.append(RowError(line, "", message, "import.rows"))
                continue
            rows.append(_Row(line, {name: cell.strip() for name, cell in zip(names, cells, strict=True)}))
    except csv.Error as error:
        raise _unreadable(str(error)) from error
    if not rows and not errors:
        raise _unreadable("it has no rows")
    return rows, errors


def _decoded(data: bytes) -> str:
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise _unreadable(f"byte {error.start + 1} is not UTF-8") from error
    if "\0" in text:
        raise _unreadable("it holds zero bytes")
    return text


def _workbook(data: bytes) -> Iterator[tuple[int, list[str]]]:
    """The rows of an XLSX file, each as long as the first: a workbook leaves out empty cells at the end."""
    try:
        lines = read_workbook(data, most_rows=MOST_ROWS)
    except NotAWorkbook as error:
        raise _unreadable(error.reason) from error
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


def _columns(kind: Kind, header: Sequence[str]) -> list[str]:
    names = [name.strip().lower().replace(" ", "_") for name in header]
    known = kind.import_columns
    columns = ", ".join(known)
    findings = [misfit("import.column", "file", column=name or "without a name", columns=columns) for name in names if name not in known]
    findings += [misfit("import.header", "file", column=name, columns=columns) for name in kind.required_columns if name not in names]
    if not findings:
        doubled = next((name for name in names if names.count(name) > 1), None)
        if doubled:
            raise _unreadable(f"column {doubled} stands in it twice")
    refuse_if(findings)
    return names


def _unreadable(reason: str) -> Refused:
    return Refused([misfit("import.file", "file", reason=reason, limit=settings.UPLOAD_LIMIT_BYTES // (1024 * 1024))])


def template_csv(kind: Kind) -> str:
    """The first line of a file of this kind."""
    out = io.StringIO()
    csv.writer(out, lineterminator="\r\n").writerow(kind.import_columns)
    return out.getvalue()
