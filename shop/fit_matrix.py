"""The fit of many wires, terminals and tools at once: the verdict of every cell of a table, and nothing else.

The same rules as `shop.fit` (1 to 4 and 6, one wire in the barrel), worked on whole columns: a property test holds every cell against
the one-by-one functions, which also give the numbers and the sentence when a cell is opened. Sizes are compared as whole
ten-thousandths, so that no float ever decides: a limit is inside, exactly.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal

import numpy as np
from numpy.typing import NDArray

from shop.finding import Finding, Verdict
from shop.fit import SpecificationFacts, TerminalFacts, ToolRowFacts, WireFacts, specification_state

MISFIT, OPEN, FITS = 0, 1, 2
"""Verdict codes, the worst lowest: the verdict of several rules is the least of theirs."""

VERDICTS = (Verdict.MISFIT, Verdict.UNDECIDABLE, Verdict.FITS)

Codes = NDArray[np.int8]
Whole = NDArray[np.int64]
Flags = NDArray[np.bool_]

PLACES = 4
"""Decimals that the catalogue keeps of areas (mm²) and diameters (mm)."""


def worst(findings: Iterable[Finding]) -> int:
    """The code of the worst verdict of some findings; FITS for none. What is conceded fits."""
    codes = {Verdict.MISFIT: MISFIT, Verdict.UNDECIDABLE: OPEN}
    return min((codes.get(finding.verdict, FITS) for finding in findings), default=FITS)


# --- Columns ---------------------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Column:
    """Sizes in ten-thousandths, shape (n,); known is False where none is recorded, and the size beside it means nothing."""

    size: Whole
    known: Flags

    def of(self, index: NDArray[np.intp]) -> Column:
        return Column(self.size[index], self.known[index])


def column(sizes: Sequence[Decimal | None]) -> Column:
    """Raises ValueError for a size with more decimals than the catalogue keeps: it could not be compared exactly."""
    whole = np.zeros(len(sizes), np.int64)
    known = np.zeros(len(sizes), np.bool_)
    for i, size in enumerate(sizes):
        if size is None:
            continue
        scaled = size.scaleb(PLACES)
        if scaled != (number := int(scaled)):
            raise ValueError(f"{size} has more than {PLACES} decimals")
        whole[i], known[i] = number, True
    return Column(whole, known)


_KINDS: dict[str, int] = {}


def _bit(word: str) -> int:
    """The bit of a kind or a material; words are few and get theirs when first met."""
    return _KINDS.setdefault(word, len(_KINDS))


@dataclass(frozen=True, slots=True)
class Words:
    """One word for each item as the number of its bit, -1 where it is not recorded."""

    bit: Whole

    @classmethod
    def of(cls, words: Sequence[str | None]) -> Words:
        return cls(np.array([-1 if word is None else _bit(word) for word in words], np.int64))


@dataclass(frozen=True, slots=True)
class WireColumns:
    csa: Column
    od: Column
    kind: Words
    material: Words
    dipped: Codes


def wire_columns(wires: Sequence[WireFacts]) -> WireColumns:
    return WireColumns(
        csa=column([wire.csa_mm2 for wire in wires]),
        od=column([wire.od_mm for wire in wires]),
        kind=Words.of([wire.kind for wire in wires]),
        material=Words.of([wire.material for wire in wires]),
        dipped=np.array([OPEN if wire.dipped_end is None else MISFIT if wire.dipped_end else FITS for wire in wires], np.int8),
    )


@dataclass(frozen=True, slots=True)
class TerminalColumns:
    """kinds and materials: the bits of the words a terminal accepts, 0 where none is recorded. bare: it has no support."""

    csa_min: Column
    csa_max: Column
    od_min: Column
    od_max: Column
    kinds: Whole
    materials: Whole
    bare: Flags
    support: Codes


def terminal_columns(terminals: Sequence[TerminalFacts]) -> TerminalColumns:
    def bits(words: Iterable[str]) -> int:
        return sum(1 << _bit(word) for word in words)

    return TerminalColumns(
        csa_min=column([t.csa_min_mm2 for t in terminals]),
        csa_max=column([t.csa_max_mm2 for t in terminals]),
        od_min=column([t.od_min_mm for t in terminals]),
        od_max=column([t.od_max_mm for t in terminals]),
        kinds=np.array([bits(t.accepted_kinds) for t in terminals], np.int64),
        materials=np.array([bits(t.accepted_materials) for t in terminals], np.int64),
        bare=np.array([t.has_support is False for t in terminals], np.bool_),
        support=np.array([OPEN if t.has_support is None else FITS for t in terminals], np.int8),
    )


# --- The rules on columns --------------------------------------------------------------------------------------------------------


def _within(value: Column, low: Column, high: Column) -> Codes:
    """`shop.ruling.within` for a value known or not: out beyond a recorded limit, open where something is missing."""
    out = value.known & ((low.known & (value.size < low.size)) | (high.known & (value.size > high.size)))
    sure = value.known & low.known & high.known
    return np.where(out, MISFIT, np.where(sure, FITS, OPEN)).astype(np.int8)


def _accepted(words: Words, bits: Whole) -> Codes:
    unknown = (words.bit < 0) | (bits == 0)
    takes = (bits >> np.maximum(words.bit, 0)) & 1
    return np.where(unknown, OPEN, np.where(takes == 1, FITS, MISFIT)).astype(np.int8)


def wire_in_terminal_codes(wires: WireColumns, terminals: TerminalColumns) -> Codes:
    """Rules 1 to 3 for pairs: as many wires as terminals, or one of either kind with many of the other. Shape (n,)."""
    insulation = np.where(terminals.bare, np.int8(FITS), _within(wires.od, terminals.od_min, terminals.od_max))
    rules = (
        _within(wires.csa, terminals.csa_min, terminals.csa_max),
        insulation,
        _accepted(wires.kind, terminals.kinds),
        _accepted(wires.material, terminals.materials),
        wires.dipped,
        terminals.support,
    )
    codes = rules[0]
    for rule in rules[1:]:
        codes = np.minimum(codes, rule)
    return codes.astype(np.int8)


_OFF_BITS, _ORDER_BITS, _CODE_BITS = 36, 16, 2


def _row_keys(csa: Column, od: Column, low: Column, high: Column, od_min: Column, od_max: Column, bare: Flags, order: Whole) -> Whole:
    """How well a row takes a wire, as one number to be least: misfits and open answers, then how far the area is off, then its place.

    The last bits carry the verdict of the row. The order is that of `shop.fit.tool_for`, which shows the nearest row when none fits.
    """
    by_csa = _within(csa, low, high)
    by_od = np.where(bare, np.int8(FITS), _within(od, od_min, od_max))
    blocks = (by_csa != FITS).astype(np.int64) + (by_od != FITS)
    off = np.maximum(np.maximum(low.size - csa.size, csa.size - high.size), 0)
    off = np.where(csa.known & low.known & high.known, off, 0)
    if off.size and int(off.max()) >= 1 << _OFF_BITS:
        raise ValueError("an area is too large to be compared")
    code = np.minimum(by_csa, by_od).astype(np.int64)
    keys: Whole = (((blocks << _OFF_BITS | off) << _ORDER_BITS | order) << _CODE_BITS) | code
    return keys


@dataclass(frozen=True, slots=True)
class RowColumns:
    """Approved rows, sorted so that the rows of one group (a tool, or a tool and terminal) lie together.

    starts: where each group begins. group: for each of them the caller's number. order: place of a row among those of its group.
    """

    csa_min: Column
    csa_max: Column
    od_min: Column
    od_max: Column
    starts: NDArray[np.intp]
    group: NDArray[np.intp]
    order: Whole
    sorting: NDArray[np.intp]


def row_columns(rows: Sequence[ToolRowFacts], groups: Sequence[int]) -> RowColumns:
    """groups: the group of each row, a number from 0."""
    numbers = np.array(groups, np.intp)
    sorting = np.argsort(numbers, kind="stable")
    sorted_groups = numbers[sorting]
    found, starts = np.unique(sorted_groups, return_index=True)
    order = np.arange(len(rows), dtype=np.int64) - np.repeat(starts, np.diff(np.append(starts, len(rows))))
    if order.size and int(order.max()) >= 1 << _ORDER_BITS:
        raise ValueError("a tool has too many rows for one terminal")
    listed = [rows[i] for i in sorting]
    return RowColumns(
        csa_min=column([row.csa_min_mm2 for row in listed]),
        csa_max=column([row.csa_max_mm2 for row in listed]),
        od_min=column([row.od_min_mm for row in listed]),
        od_max=column([row.od_max_mm for row in listed]),
        starts=starts,
        group=found,
        order=order,
        sorting=sorting,
    )


def _spread(one: Column) -> Column:
    """A column that stands upright, to be compared with every row."""
    return Column(one.size[:, np.newaxis], one.known[:, np.newaxis])


def _tools_for_wires(wires: WireColumns, bare: bool, rows: RowColumns, tools: int) -> Codes:
    """Rule 4 of many wires in one terminal: shape (wires, tools). A tool without a row does not list the terminal."""
    codes = np.full((len(wires.csa.size), tools), MISFIT, np.int8)
    if rows.starts.size and codes.size:
        keys = _row_keys(
            _spread(wires.csa),
            _spread(wires.od),
            rows.csa_min,
            rows.csa_max,
            rows.od_min,
            rows.od_max,
            np.array([bare]),
            rows.order,
        )
        codes[:, rows.group] = np.minimum.reduceat(keys, rows.starts, axis=1) & ((1 << _CODE_BITS) - 1)
    return codes


# --- Specifications --------------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class SpecificationColumns:
    """Specifications in the order in which they are preferred: in force, on a document in force, for this kind of tool, narrow."""

    low: Column
    high: Column
    terminal: NDArray[np.intp]
    kinds: tuple[str, ...]
    good: Codes


def specification_columns(specifications: Sequence[SpecificationFacts], terminals: Sequence[str]) -> SpecificationColumns:
    """terminals: part numbers in the caller's order; a specification of another terminal is left out."""
    places = {name: number for number, name in enumerate(terminals)}
    listed = [spec for spec in specifications if spec.terminal in places]
    # The order of `shop.fit.specification_for`; sorting keeps the place of equals.
    listed.sort(key=lambda s: (not s.in_force, not s.document_in_force, not s.tool_kind, s.csa_max_mm2 - s.csa_min_mm2))
    return SpecificationColumns(
        low=column([spec.csa_min_mm2 for spec in listed]),
        high=column([spec.csa_max_mm2 for spec in listed]),
        terminal=np.array([places[spec.terminal] for spec in listed], np.intp),
        kinds=tuple(spec.tool_kind or "" for spec in listed),
        good=np.array([worst(specification_state(spec)) for spec in listed], np.int8),
    )


def _first(mask: Flags, good: Codes) -> Codes:
    """The verdict of the first specification that covers: mask of shape (n, specifications). None that covers is a misfit."""
    if not good.size:
        return np.full(mask.shape[0], MISFIT, np.int8)
    return np.where(mask.any(axis=1), good[mask.argmax(axis=1)], np.int8(MISFIT)).astype(np.int8)


def _takes_kind(specs: SpecificationColumns, tool_kind: str) -> Flags:
    return np.array([not kind or not tool_kind or kind == tool_kind for kind in specs.kinds], np.bool_)


# --- The two tables --------------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class ToolAxis:
    """The tools of a table in its order, and their kinds."""

    names: Sequence[str]
    kinds: Sequence[str]


def wires_by_tools(
    wires: Sequence[WireFacts],
    terminal: TerminalFacts,
    tools: ToolAxis,
    rows: Sequence[ToolRowFacts],
    specifications: Sequence[SpecificationFacts],
) -> Codes:
    """Verdict codes of every wire in `terminal` on every tool, rules 1 to 4 and 6: shape (wires, tools)."""
    columns, ends = wire_columns(wires), terminal_columns([terminal])
    places = {name: number for number, name in enumerate(tools.names)}
    own = [row for row in rows if row.terminal == terminal.part_number and row.tool in places]
    by_tool = _tools_for_wires(
        columns, terminal.has_support is False, row_columns(own, [places[row.tool] for row in own]), len(tools.names)
    )
    specs = specification_columns(specifications, [terminal.part_number])
    covers = (specs.low.size <= columns.csa.size[:, np.newaxis]) & (columns.csa.size[:, np.newaxis] <= specs.high.size)
    by_spec = np.empty_like(by_tool)
    for kind in set(tools.kinds):
        answers = np.where(columns.csa.known, _first(covers & _takes_kind(specs, kind), specs.good), np.int8(OPEN))
        by_spec[:, [number for number, own_kind in enumerate(tools.kinds) if own_kind == kind]] = answers[:, np.newaxis]
    return np.minimum(np.minimum(by_tool, by_spec), wire_in_terminal_codes(columns, ends)[:, np.newaxis])


def terminals_by_tools(
    wire: WireFacts,
    terminals: Sequence[TerminalFacts],
    tools: ToolAxis,
    rows: Sequence[ToolRowFacts],
    specifications: Sequence[SpecificationFacts],
) -> Codes:
    """Verdict codes of `wire` in every terminal on every tool, rules 1 to 4 and 6: shape (terminals, tools)."""
    columns, ends = wire_columns([wire]), terminal_columns(terminals)
    names = [terminal.part_number for terminal in terminals]
    ends_at = {name: number for number, name in enumerate(names)}
    tools_at = {name: number for number, name in enumerate(tools.names)}
    width = len(tools.names)
    own = [row for row in rows if row.terminal in ends_at and row.tool in tools_at]
    listed = row_columns(own, [ends_at[row.terminal] * width + tools_at[row.tool] for row in own])
    by_tool = np.full((len(terminals), width), MISFIT, np.int8)
    if listed.starts.size:
        bare = ends.bare[np.array([ends_at[row.terminal] for row in own], np.intp)[listed.sorting]]
        keys = _row_keys(columns.csa, columns.od, listed.csa_min, listed.csa_max, listed.od_min, listed.od_max, bare, listed.order)
        by_tool.reshape(-1)[listed.group] = np.minimum.reduceat(keys, listed.starts) & ((1 << _CODE_BITS) - 1)
    specs = specification_columns(specifications, names)
    by_spec = np.full((len(terminals), width), MISFIT if columns.csa.known[0] else OPEN, np.int8)
    covers = columns.csa.known[0] & (specs.low.size <= columns.csa.size[0]) & (columns.csa.size[0] <= specs.high.size)
    for kind in set(tools.kinds):
        taken = np.flatnonzero(covers & _takes_kind(specs, kind))
        found, first = np.unique(specs.terminal[taken], return_index=True)  # the first of each terminal is the preferred one
        at_tools = [number for number, own_kind in enumerate(tools.kinds) if own_kind == kind]
        by_spec[np.ix_(found, np.array(at_tools, np.intp))] = specs.good[taken[first]][:, np.newaxis]
    return np.minimum(np.minimum(by_tool, by_spec), wire_in_terminal_codes(columns, ends)[:, np.newaxis])
