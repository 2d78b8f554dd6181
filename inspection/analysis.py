"""The answer of a study, as a page and a document show it: sections of facts, tables and figures. Plain data, no Django."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any


@dataclass(frozen=True, slots=True)
class Fact:
    """One figure of the answer. outcome: "conforms", "does not conform" or "undecided" where it is judged, with `word` saying so."""

    label: str
    value: str
    unit: str = ""
    outcome: str = ""
    word: str = ""
    note: str = ""


@dataclass(frozen=True, slots=True)
class Column:
    """figure: aligned on the right."""

    label: str
    figure: bool = True


@dataclass(frozen=True, slots=True)
class Table:
    """rows: as many texts as columns; the first of each heads its row."""

    caption: str
    columns: tuple[Column, ...]
    rows: tuple[tuple[str, ...], ...]

    @property
    def aligned(self) -> tuple[tuple[tuple[str, bool], ...], ...]:
        """The rows as (text, whether it is a figure)."""
        return tuple(tuple((text, column.figure) for text, column in zip(row, self.columns, strict=True)) for row in self.rows)


@dataclass(frozen=True, slots=True)
class Figure:
    """A drawing. svg: our own, every text in it escaped. data: the same as a table, one key away on the page."""

    title: str
    svg: str
    note: str = ""
    data: Table | None = None


@dataclass(frozen=True, slots=True)
class Section:
    title: str
    intro: str = ""
    facts: tuple[Fact, ...] = ()
    figures: tuple[Figure, ...] = ()
    tables: tuple[Table, ...] = ()
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Analysis:
    """outcome, word: the whole answer in a shape and a word; undecided where the study judges nothing.

    content: every figure of the answer as text under a name that carries its unit. It is signed and attached to the document, so that
    somebody else can compute it again.
    """

    outcome: str
    word: str
    sections: tuple[Section, ...]
    content: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Cell:
    """One place of a study's layout where a value belongs. place: "A|3|2"; label: what it is, read out; choices: empty for a number.

    unit: of this number where it is not that of the layout, empty for a bare one. is_date: a day, written year-month-day. optional: the
    study is analysed without it.
    """

    place: str
    label: str
    choices: tuple[tuple[str, str], ...] = ()
    unit: str | None = None
    is_date: bool = False
    optional: bool = False


@dataclass(frozen=True, slots=True)
class LayoutRow:
    label: str
    cells: tuple[Cell, ...]


@dataclass(frozen=True, slots=True)
class Layout:
    """Where values are entered: a table with heads. rows_label: what a row is ("Part"); unit: of numbers, empty for choices.

    by_column: values are entered down the columns (one appraiser after the other) rather than along the rows.
    """

    rows_label: str
    heads: tuple[str, ...]
    rows: tuple[LayoutRow, ...]
    unit: str = ""
    by_column: bool = False

    @property
    def cells(self) -> tuple[Cell, ...]:
        return tuple(cell for row in self.rows for cell in row.cells)

    @property
    def places(self) -> tuple[str, ...]:
        return tuple(cell.place for cell in self.cells)
