"""Many catalogue items from one file: every bad row is reported, and all rows come in or none.

The rows are checked first, without a lock: a press that writes meanwhile never waits for a large file. Then one short transaction looks
whether anything the check stood on has changed, writes in bulk and publishes the event.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from django.db import IntegrityError, models, transaction

from shop.acts.catalogue import write_item
from shop.acts.catalogue_check import CHUNK, Check, Checked
from shop.acts.catalogue_file import FileRow, read_rows, template_csv
from shop.acts.import_report import ImportRefused, ImportReport, Progress, RowError, row_errors
from shop.acts.ready_rows import ReadyRows
from shop.canonical import sha256_hex
from shop.catalogue import Kind, kind_named
from shop.events import CatalogueImported, publish
from shop.finding import Refused, misfit, refuse_if
from shop.people import Person
from shop.permissions import permission_findings

__all__ = ["ImportRefused", "ImportReport", "RowError", "import_rows", "template_csv"]


@dataclass(slots=True)
class _Tally:
    """What came of the rows so far; added and changes go into the ledger."""

    unchanged: int = 0
    added: list[str] = field(default_factory=list)
    changes: list[dict[str, Any]] = field(default_factory=list)

    def add(self, kind: Kind, item: models.Model, before: dict[str, str] | None, after: dict[str, str] | None) -> None:
        if before is None:
            self.added.append(kind.key_of(item))
        elif after is None or before == after:
            self.unchanged += 1
        else:
            differ = [name for name in after if before[name] != after[name]]
            self.changes.append({
                "key": kind.key_of(item),
                "before": {name: before[name] for name in differ},
                "after": {name: after[name] for name in differ},
            })  # fmt: skip

    @property
    def counts(self) -> dict[str, int]:
        return {"added": len(self.added), "changed": len(self.changes), "unchanged": self.unchanged}


@dataclass(frozen=True, slots=True)
class _File:
    kind: Kind
    name: str
    sha256: str
    rows: list[FileRow]
    dry_run: bool
    progress: Progress

    def report(self, tally: _Tally, errors: Sequence[RowError] = ()) -> ImportReport:
        ordered = tuple(sorted(errors, key=lambda error: error.line))
        rows = len(self.rows)
        return ImportReport(self.kind.slug, self.name, self.sha256, rows, **tally.counts, errors=ordered, dry_run=self.dry_run)

    def refuse_if(self, errors: Sequence[RowError], tally: _Tally) -> None:
        if errors:
            bad = len({error.line for error in errors})
            raise ImportRefused([misfit("import.rows", "file", bad=bad, rows=max(len(self.rows), bad))], self.report(tally, errors))


def _silent(phase: str, done: int, total: int) -> None:
    """Nobody watches."""


def import_rows(
    *,
    kind: Kind | str,
    file_name: str,
    data: bytes,
    by: Person,
    at: datetime,
    dry_run: bool = False,
    trusted: bool = False,
    progress: Progress = _silent,
) -> ImportReport:
    """Bring the rows of a CSV or XLSX file in: an existing key is changed, a new one added. Raises Refused or ImportRefused.

    A column that the file does not have is left as it is; an empty cell empties the field, or gives it its default.
    trusted: only the command line sets it. Whoever can run a command there holds the database itself, and the first people of an
    empty shop have to come from somewhere; a page or the API never sets it.
    """
    kind = kind_named(kind) if isinstance(kind, str) else kind
    refuse_if([] if trusted else permission_findings(by, kind.deed))
    rows, errors = read_rows(kind, data)
    file = _File(kind, file_name, sha256_hex(data), rows, dry_run, progress)
    check = Check(kind)
    checked, wrong = check.rows(rows, progress)
    tally = _tally_of(kind, checked)
    file.refuse_if(errors + wrong, tally)
    if dry_run and not kind.has_extras:
        return file.report(tally)
    ready = _ready(kind, checked)
    progress("writing", 0, len(rows))
    with transaction.atomic():
        tally = _written(file, check, checked, ready, tally)
        if dry_run:
            transaction.set_rollback(True)
        elif tally.added or tally.changes:
            content = {"kind": kind.slug, "file": file_name, "sha256": file.sha256, "rows": len(rows), **tally.counts}
            content |= {"keys": tally.added, "changes": tally.changes}
            publish(CatalogueImported(by=by, at=at, subject=("import", 0, f"{kind.slug}: {file_name}"[:120]), content=content))
    progress("writing", len(rows), len(rows))
    return file.report(tally)


def _tally_of(kind: Kind, checked: Sequence[Checked]) -> _Tally:
    tally = _Tally()
    for one in checked:
        if one.is_new:
            tally.add(kind, one.item, None, None)
        elif one.before is None or one.after is None:
            tally.unchanged += 1
        else:
            tally.add(kind, one.item, one.before, one.after)
    return tally


def _written(file: _File, check: Check, checked: list[Checked], ready: ReadyRows, tally: _Tally) -> _Tally:
    """Write what was checked, inside the caller's transaction. Raises ImportRefused where the database, or a change meanwhile, objects."""
    kind = file.kind
    if kind.has_extras:
        return _one_by_one(file)
    moved = {id(one) for one in check.moved(checked)}
    if moved:
        again, wrong = Check(kind).rows([one.row for one in checked if id(one) in moved], _silent)
        by_line = {one.row.line: one for one in again}
        checked = [by_line.get(one.row.line, one) for one in checked]
        tally = _tally_of(kind, checked)
        file.refuse_if(wrong, tally)
        ready = _ready(kind, checked)
    try:
        with transaction.atomic():
            ready.write()
    except IntegrityError:
        return _one_by_one(file)  # names the row, or finds an order in which they do come in
    return tally


def _ready(kind: Kind, checked: Sequence[Checked]) -> ReadyRows:
    """What is to be written. Rows that change in the same fields go together."""
    ready = ReadyRows(kind.model)
    ready.add([one.item for one in checked if one.is_new])
    alike: dict[tuple[str, ...], list[models.Model]] = {}
    for one in checked:
        if one.after is not None:
            alike.setdefault(tuple(one.after), []).append(one.item)
    for names, items in alike.items():
        ready.change(items, names)
    return ready


def _one_by_one(file: _File) -> _Tally:
    """Row after row, so that the database's objection belongs to one row; also for kinds with more to an item than its columns."""
    kind, check, tally = file.kind, Check(file.kind), _Tally()
    errors: list[RowError] = []
    for number, row in enumerate(file.rows):
        if number % CHUNK == 0:
            file.progress("writing", number, len(file.rows))
        try:
            found = check.existing(row)
            values = check.values_for(row, kind.stated(found) if found is not None else None)
            item, before = write_item(kind, values, found, ask_database=True)
        except Refused as refused:
            errors += row_errors(row.line, refused.findings)
        else:
            tally.add(kind, item, before, kind.recorded(item))
    file.refuse_if(errors, tally)
    return tally
