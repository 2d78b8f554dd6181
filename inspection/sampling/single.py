"""Single sampling plans by attributes, looked up by lot size, inspection level and AQL.

Source: MIL-STD-105E (10 May 1989, public domain), Tables I, II-A, II-B, II-C; how each row was checked stands in its `status`
(`tables/README.md`). The normal and tightened plans are those of ISO 2859-1 in this range (from memory); the reduced ones are not.
"""

from __future__ import annotations

import csv
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal, InvalidOperation
from enum import StrEnum
from functools import cache
from pathlib import Path

TABLES = Path(__file__).parent / "tables"


class Severity(StrEnum):
    NORMAL = "normal"
    TIGHTENED = "tightened"
    REDUCED = "reduced"


class Level(StrEnum):
    """Inspection levels: how the sample grows with the lot. II is the usual one; the special levels are for small samples."""

    S1 = "S-1"
    S2 = "S-2"
    S3 = "S-3"
    S4 = "S-4"
    I = "I"  # noqa: E741  # the name of the level
    II = "II"
    III = "III"


class Cell(StrEnum):
    """What the table shows where letter and AQL meet."""

    PLAN = "plan"
    DOWN = "arrow_down"
    UP = "arrow_up"


TABLE_OF: Mapping[Severity, str] = {
    Severity.NORMAL: "MIL-STD-105E Table II-A",
    Severity.TIGHTENED: "MIL-STD-105E Table II-B",
    Severity.REDUCED: "MIL-STD-105E Table II-C",
}

LARGEST_PERCENT = Decimal(10)
"""An AQL above it counts nonconformities per 100 units only."""

LEAST_LOT = 2
"""Where Table I begins."""


class NotInTable(ValueError):  # noqa: N818  # reads as what happened
    """What was asked for is not in the tables. asked: its name; value: what was given; known: what the table has."""

    def __init__(self, asked: str, value: object, known: str) -> None:
        self.asked, self.value, self.known = asked, value, known
        super().__init__(asked, value, known)

    def __str__(self) -> str:
        return f"{self.asked} {self.value} is not in the table, which has {self.known}"


@dataclass(frozen=True, slots=True)
class TableRow:
    """One cell of a master table, arrows followed. letter: that of the plan used; status: how the row was checked."""

    cell: Cell
    letter: str
    n: int
    ac: int
    re: int
    status: str


@dataclass(frozen=True, slots=True)
class Plan:
    """What is inspected of a lot and when it is accepted.

    code_letter: from the lot size; plan_letter: of the plan used, another one where the table shows an arrow.
    table_n: the table's sample size; n: what is looked at, the whole lot where the sample would be as large.
    ac, re: accepted with up to `ac` nonconforming, not accepted from `re` on. In reduced inspection a lot between them is accepted and
    inspection goes back to normal.
    """

    lot_size: int
    level: Level
    aql: Decimal
    severity: Severity
    code_letter: str
    cell: Cell
    plan_letter: str
    table_n: int
    n: int
    ac: int
    re: int
    status: str
    source: str

    @property
    def whole_lot(self) -> bool:
        return self.table_n >= self.lot_size

    @property
    def most_accepted(self) -> int:
        """The largest number of nonconforming pieces with which a lot is still accepted."""
        return self.re - 1

    @property
    def percent(self) -> bool:
        """Whether the AQL may be read as percent nonconforming; above 10 it is nonconformities per 100 units only."""
        return self.aql <= LARGEST_PERCENT


def _rows(name: str) -> list[dict[str, str]]:
    with (TABLES / f"{name}.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


@cache
def _letters() -> tuple[tuple[int, int | None, dict[str, str]], ...]:
    return tuple((int(row["lot_from"]), int(row["lot_to"]) if row["lot_to"] else None, row) for row in _rows("code_letters"))


@cache
def master_table(severity: Severity) -> Mapping[tuple[str, Decimal], TableRow]:
    """The whole table by code letter and AQL."""
    return {
        (row["code_letter"], Decimal(row["aql"])): TableRow(
            Cell(row["table_cell"]), row["plan_letter_used"], int(row["n"]), int(row["ac"]), int(row["re"]), row["status"]
        )
        for row in _rows(f"single_{Severity(severity).value}")
    }


@cache
def aqls() -> tuple[Decimal, ...]:
    """The AQLs of the tables, the tightest first."""
    return tuple(sorted({aql for _letter, aql in master_table(Severity.NORMAL)}))


@cache
def lot_ranges() -> tuple[tuple[int, int | None], ...]:
    """The lot sizes of Table I, from and to; None where there is no upper end."""
    return tuple((low, high) for low, high, _row in _letters())


def read_aql(aql: Decimal | str | float) -> Decimal:
    """The AQL as the tables have it. Raises NotInTable."""
    known = ", ".join(f"{one:f}" for one in aqls())
    try:
        value = Decimal(str(aql))
    except InvalidOperation as error:
        raise NotInTable("AQL", aql, known) from error
    found = next((one for one in aqls() if one == value), None) if value.is_finite() else None
    if found is None:
        raise NotInTable("AQL", aql, known)
    return found


def code_letter(lot_size: int, level: Level | str = Level.II) -> str:
    """Table I. Raises NotInTable for a lot below 2 pieces, or a level nobody knows."""
    level = _level(level)
    _size(lot_size)
    return next(row[level.value] for low, high, row in _letters() if low <= lot_size and (high is None or lot_size <= high))


def _level(level: Level | str) -> Level:
    try:
        return Level(level)
    except ValueError as error:
        raise NotInTable("level", level, ", ".join(Level)) from error


def _size(lot_size: int) -> None:
    if isinstance(lot_size, bool) or lot_size != int(lot_size) or lot_size < LEAST_LOT:
        raise NotInTable("lot size", lot_size, f"whole numbers from {LEAST_LOT}")


def plan_for(
    lot_size: int, level: Level | str, aql: Decimal | str | float, severity: Severity | str = Severity.NORMAL
) -> Plan:  # fmt: skip
    """The plan for a lot. Raises NotInTable.

    >>> plan = plan_for(1000, "II", "2.5")
    >>> plan.code_letter, plan.n, plan.ac, plan.re
    ('J', 80, 5, 6)
    """
    letter, value = code_letter(lot_size, level), read_aql(aql)
    try:
        severity = Severity(severity)
    except ValueError as error:
        raise NotInTable("severity", severity, ", ".join(Severity)) from error
    row = master_table(severity)[letter, value]
    return Plan(
        lot_size=int(lot_size),
        level=_level(level),
        aql=value,
        severity=severity,
        code_letter=letter,
        cell=row.cell,
        plan_letter=row.letter,
        table_n=row.n,
        n=min(row.n, int(lot_size)),
        ac=row.ac,
        re=row.re,
        status=row.status,
        source=f"MIL-STD-105E Table I, {TABLE_OF[severity].removeprefix('MIL-STD-105E ')}",
    )


def ac_one_step_tighter(plan: Plan) -> int | None:
    """Ac of the same sample at the next tighter AQL, for the switching score; None below Ac 2, where it is not asked."""
    if plan.ac < 2:  # the score asks from 2 on
        return None
    place = aqls().index(plan.aql)
    row = master_table(plan.severity)[plan.plan_letter, aqls()[place - 1]]
    return row.ac if row.n == plan.table_n else None
