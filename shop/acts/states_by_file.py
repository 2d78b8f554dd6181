"""The state of many items by a file of their numbers, or the withdrawal of many papers: the same acts as on their pages, all or none."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db import transaction

from shop.acts.catalogue import set_states
from shop.acts.catalogue_file import FileRow, read_rows
from shop.acts.documents import sheets_relying_on, specifications_relying_on, withdraw
from shop.acts.import_report import RowError, row_errors
from shop.catalogue import Kind
from shop.clock import shop_day
from shop.crib import Press
from shop.finding import Finding, Refused, misfit, refuse_if
from shop.materials import MaterialLot
from shop.people import Person
from shop.permissions import Deed, may, permission_findings
from shop.specifications import CrimpSpecification, Document
from shop.tools import Gauge, Tool

MOST_ROWS = 1000
"""More are refused: each is an act of its own with its entry in the ledger, and all of them are one transaction."""

STATEFUL = (Tool, Press, Gauge, MaterialLot)
PAPERS = (Document, CrimpSpecification)


@dataclass(frozen=True, slots=True)
class StateLine:
    """What a row does, or would do. before, after: states as they are kept; a paper's are "" and "withdrawn".

    relied_on: how many sheets and specifications rely on a paper. errors: why the row is refused; empty where it is not.
    """

    line: int
    key: str
    pk: int | None
    before: str
    after: str
    reason: str
    relied_on: int
    errors: tuple[RowError, ...]


@dataclass(frozen=True, slots=True)
class StatesReport:
    """Every row of the file in its order. errors: what is wrong with the shape of rows, which are in no line."""

    file_name: str
    lines: tuple[StateLine, ...]
    errors: tuple[RowError, ...]
    dry_run: bool

    @property
    def relied_on(self) -> int:
        return sum(line.relied_on for line in self.lines)

    @property
    def refused(self) -> int:
        return sum(bool(line.errors) for line in self.lines) + len(self.errors)


class StatesRefused(Refused):
    """Nothing was changed; the report says what is wrong with which row."""

    def __init__(self, findings: Sequence[Finding], report: StatesReport) -> None:
        super().__init__(findings)
        self.report = report


def by_file_of(kind: Kind) -> str:
    """What a file can do to the items of a kind: "state", "withdraw", or "" for nothing."""
    return "state" if issubclass(kind.model, STATEFUL) else "withdraw" if issubclass(kind.model, PAPERS) else ""


def columns_of(kind: Kind) -> tuple[str, ...]:
    """The columns of the file: what names the item, and a reason of its own where it has one."""
    return (*kind.key, "reason")


def permission_by_file(kind: Kind, by: Person) -> list[Finding]:
    if by_file_of(kind) == "state" and may(by, Deed.DECIDE_HOLD):
        return []
    return permission_findings(by, kind.deed)


def change_states_by_file(
    *,
    kind: Kind,
    file_name: str,
    data: bytes,
    state: str,
    reason: str,
    by: Person,
    at: datetime,
    knowing: int | None = None,
    dry_run: bool = False,
) -> StatesReport:
    """Put every item that the file names into `state`, or withdraw every paper. Raises Refused or StatesRefused.

    reason: for rows without one of their own. knowing: how many sheets and specifications rely on all the papers together, as the
    person saw them; not asked of a dry run, which does the same and takes it back.
    """
    what = by_file_of(kind)
    refuse_if(permission_by_file(kind, by))
    rows, errors = read_rows(kind, data, columns=columns_of(kind), required=kind.key, most_rows=MOST_ROWS)
    with transaction.atomic():
        items = _named(kind, rows)
        seen: dict[tuple[str, ...], int] = {}
        lines = [_one(kind, row, items, seen, state if what == "state" else "", reason, by, at) for row in rows]
        report = StatesReport(file_name, tuple(lines), tuple(errors), dry_run)
        findings = []
        if report.refused:
            findings.append(misfit("states.rows", "file", bad=report.refused, rows=len(lines) + len(errors)))
        elif what == "withdraw" and not dry_run and knowing != report.relied_on:
            findings.append(misfit("document.relied_on", "knowing", document=file_name, count=report.relied_on))
        if findings:
            raise StatesRefused(findings, report)
        if dry_run:
            transaction.set_rollback(True)
    return report


Keyed = dict[tuple[str, ...], Any]


def _named(kind: Kind, rows: Sequence[FileRow]) -> Keyed:
    """The items that the rows name, in one question."""
    first = kind.key[0]
    found = kind.model._default_manager.filter(**{f"{first}__in": {row.cells[first] for row in rows}})
    return {tuple(str(getattr(item, name)) for name in kind.key): item for item in found}


def _one(
    kind: Kind, row: FileRow, items: Keyed, seen: dict[tuple[str, ...], int], state: str, reason: str, by: Person, at: datetime
) -> StateLine:
    key = tuple(row.cells[name] for name in kind.key)
    why = row.cells.get("reason") or reason.strip()
    item, name, relied_on, findings = items.get(key), " rev ".join(key), 0, []
    before = str(getattr(item, "state", ""))
    if item is None:
        findings = [misfit("data.unknown", kind.key[0], thing=str(kind.singular), name=name)]
    elif seen.setdefault(key, row.line) != row.line:
        findings = [misfit("data.invalid", kind.key[0], message=f"The same key stands in line {seen[key]} already.")]
    else:
        try:
            with transaction.atomic():
                if state:
                    set_states(items=[item], state=state, reason=why, by=by, at=at)
                else:
                    relied_on = sheets_relying_on(item).count() + specifications_relying_on(item, shop_day(at)).count()
                    withdraw(item=item, reason=why, knowing=relied_on, by=by, at=at)
        except Refused as refused:
            findings = list(refused.findings)
    errors = tuple(row_errors(row.line, findings))
    return StateLine(row.line, name, item.pk if item else None, before, state or "withdrawn", why, relied_on, errors)
