"""What an import says when it is done, or refused."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from shop.finding import Finding, Refused
from shop.wording import worded

Progress = Callable[[str, int, int], None]
"""Told of the phase ("checking" or "writing"), the rows done and the rows there are; called every few hundred rows."""


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


def row_errors(line: int, findings: Sequence[Finding]) -> list[RowError]:
    """The findings of one row, in words."""
    return [RowError(line, finding.field, worded(finding).sentence, finding.rule) for finding in findings]
