"""Least pull-out force of a crimped connection by standard and wire size, as listed; nothing is interpolated.

The rows are in reference/crimp_tensile.csv with the status of every value: a value "from memory" may fill in a default, and whoever shows
it shows the status too. A row that says it must not be an acceptance limit is not offered at all. The shop's own specification, the
customer's drawing and the issued standard outrank these figures.
"""

from __future__ import annotations

import csv
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from functools import cache
from pathlib import Path

from shop.conductor import NotASize, awg_area_mm2, awg_name, awg_number


@dataclass(frozen=True, slots=True)
class PullForceStandard:
    """A standard that lists forces. size_system: "AWG" or "mm2". interpolation_allowed: whether it lets one read between its rows."""

    code: str
    title: str
    size_system: str
    interpolation_allowed: bool = False


@dataclass(frozen=True, slots=True)
class PullForceMinimum:
    """One row. force_n and force_lbf as listed; size as written there; csa_mm2 of that size; status: how far the value was checked."""

    force_n: Decimal
    force_lbf: Decimal
    standard: PullForceStandard
    table: str
    size: str
    csa_mm2: Decimal
    status: str
    material: str
    source: str
    note: str

    @property
    def named_size(self) -> str:
        """The size with its system: "AWG 20" or "0.5 mm²"."""
        return f"AWG {self.size}" if self.standard.size_system == "AWG" else f"{self.size} mm²"

    @property
    def is_confirmed(self) -> bool:
        """Whether the figure was read in a copy of the document itself or a reproduction, without a conflict."""
        return self.status.startswith("confirmed") and "conflict" not in self.status


class NoRow(LookupError):  # noqa: N818  # reads as what happened
    """The standard has no row of exactly this size. below, above: the neighbouring rows, for a person to decide on; None at an end.

    size: what was asked for. The next smaller row is no substitute: it would pass a crimp the standard may refuse, and the next larger one
    would refuse good ones.
    """

    def __init__(self, standard: PullForceStandard, size: str, below: PullForceMinimum | None, above: PullForceMinimum | None) -> None:
        self.standard, self.size, self.below, self.above = standard, size, below, above
        super().__init__(standard.code, size)

    def __str__(self) -> str:
        neighbours = " and ".join(f"{row.named_size} ({row.force_n} N)" for row in (self.below, self.above) if row is not None)
        return f"{self.standard.title} lists no {self.size}; next to it stands {neighbours}. Nothing is interpolated: state the force."


# Our short code -> the name in the table. The sixth family in the table, contact crimps from memory with low confidence, is left out on
# purpose: its rows say not to use them as limits.
_NAMES = {
    "mil-t-7928": "MIL-T-7928E / MIL-DTL-7928 / SAE AS7928 class 2",
    "ul-486a": "UL 486A-1991 (now UL 486A-486B)",
    "nasa-8739.4": "NASA-STD-8739.4 Change 6",
    "as39029-20": "SAE AS39029 / MIL-C-39029 (size 20 contact)",
    "iec-60352-2": "IEC 60352-2 (EN 60352-2)",
    "qct-29106": "QC/T 29106-2004 (road-vehicle low-voltage harness)",
}


def standards() -> Sequence[PullForceStandard]:
    """The standards on offer, in a fixed order."""
    return [rows[0].standard for rows in _tables().values()]


def rows_of(standard_code: str) -> Sequence[PullForceMinimum]:
    """All rows of a standard, smallest size first. Raises KeyError for an unknown code."""
    return _tables()[standard_code]


def minimum_pull_force(standard_code: str, *, awg: str | None = None, csa_mm2: Decimal | None = None) -> PullForceMinimum:
    """The row of exactly this size: by the named gauge where the standard lists gauges, by the nominal area where it lists mm².

    Both may be given (a conductor with its gauge); the standard's own system decides which counts. A stranded AWG wire is read by its
    gauge, not by the area of its stranding. Raises NoRow with the neighbours where no row matches, KeyError for an unknown standard,
    ValueError where neither size is given.
    """
    if not awg and csa_mm2 is None:
        raise ValueError("a gauge or an area is needed")
    rows = _tables()[standard_code]
    standard = rows[0].standard
    if standard.size_system == "AWG" and awg:
        name = _gauge(awg)
        for row in rows:
            if row.size == name:
                return row
        place = -awg_number(name)
        below = [row for row in rows if -awg_number(row.size) < place]
        above = [row for row in rows if -awg_number(row.size) > place]
        raise NoRow(standard, f"AWG {name}", below[-1] if below else None, above[0] if above else None)
    if standard.size_system == "mm2" and csa_mm2 is not None:
        for row in rows:
            if row.csa_mm2 == csa_mm2:
                return row
    asked = f"AWG {awg}" if csa_mm2 is None else f"{csa_mm2.normalize():f} mm²"
    if csa_mm2 is None:
        csa_mm2 = awg_area_mm2(awg_number(_gauge(awg or "")))
    below = [row for row in rows if row.csa_mm2 <= csa_mm2]
    above = [row for row in rows if row.csa_mm2 > csa_mm2]
    raise NoRow(standard, asked, below[-1] if below else None, above[0] if above else None)


CHECKED = "checked against the issued standard"
"""Ends a source once a person has compared the figure with the standard itself."""


def source_of(row: PullForceMinimum) -> str:
    """A row as the source of a limit: standard, table, size, and how far the value was checked, in its first words."""
    status = row.status.partition(";")[0].partition(" (")[0]
    return f"{row.standard.title}, {row.table}, {row.named_size}: {status}"


def row_of_source(text: str) -> PullForceMinimum | None:
    """The row that a source names, as `source_of` wrote it, with or without `CHECKED` behind it; None for a source of somebody's own."""
    return _rows_by_source().get(text.strip().removesuffix(CHECKED).rstrip("; "))


@cache
def _rows_by_source() -> dict[str, PullForceMinimum]:
    # A standard that lists a size twice answers with its first row, as minimum_pull_force does.
    return {source_of(row): row for rows in _tables().values() for row in reversed(rows)}


def _gauge(awg: str) -> str:
    try:
        return awg_name(awg_number(awg))
    except NotASize as error:
        raise ValueError(str(error)) from None


@cache
def _tables() -> dict[str, tuple[PullForceMinimum, ...]]:
    with (Path(__file__).parent / "reference" / "crimp_tensile.csv").open(encoding="utf-8", newline="") as file:
        listed = [row for row in csv.DictReader(file) if not row["note"].startswith("do not use")]
    tables = {}
    for code, name in _NAMES.items():
        mine = [row for row in listed if row["standard"] == name]
        standard = PullForceStandard(code, name, mine[0]["size_system"])
        tables[code] = tuple(
            sorted(
                (
                    PullForceMinimum(
                        force_n=Decimal(row["min_force_N"]),
                        force_lbf=Decimal(row["min_force_lbf"]),
                        standard=standard,
                        table=row["table"],
                        size=row["size"],
                        csa_mm2=Decimal(row["csa_mm2"]),
                        status=row["status"],
                        material=row["material"],
                        source=row["source"],
                        note=row["note"],
                    )
                    for row in mine
                ),
                key=lambda row: row.csa_mm2,
            )
        )
    return tables
