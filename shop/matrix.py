"""The fit matrix read from the catalogue: the wires a terminal takes on each tool, or the terminals a wire goes into on each tool."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from functools import reduce
from operator import or_
from typing import Any

import numpy as np
from django.db import models
from django.db.models import Q

from shop.facts import specification_facts, terminal_facts, wire_facts
from shop.fit import SpecificationFacts, ToolRowFacts
from shop.fit_matrix import FITS, Codes, ToolAxis, terminals_by_tools, wires_by_tools
from shop.materials import Terminal, Wire
from shop.people import ToolKind
from shop.specifications import CrimpSpecification
from shop.tools import Tool, ToolRow, ToolState


@dataclass(frozen=True, slots=True)
class Narrowing:
    """What narrows the two axes. words: each found in number or description of a row. low_mm2, high_mm2: sizes of wires that lie between,
    ranges of terminals that reach in. all_tools: tools too that list nothing of the other axis. only_fits: rows and tools with a fit."""

    words: str = ""
    low_mm2: Decimal | None = None
    high_mm2: Decimal | None = None
    tool_kind: str = ""
    all_tools: bool = False
    only_fits: bool = False


@dataclass(frozen=True, slots=True)
class FitMatrix:
    """items: the rows, wires or terminals; codes: a verdict of `shop.fit_matrix` for each row and tool."""

    items: Sequence[Wire] | Sequence[Terminal]
    tools: Sequence[Tool]
    codes: Codes


def fit_matrix(of: Terminal | Wire, by: Narrowing, on: date) -> FitMatrix:
    """Everything at once, in a handful of queries. One wire in the barrel; items in use, tools not retired."""
    items = _items(of, by)
    terminals = [of] if isinstance(of, Terminal) else [item for item in items if isinstance(item, Terminal)]
    rows, specifications = _rows([t.pk for t in terminals]), _specifications(terminals, on)
    tools = _tools(by, rows)
    axis = ToolAxis([tool.asset_number for tool in tools], [tool.kind for tool in tools])
    if isinstance(of, Terminal):
        wires = [wire_facts(item) for item in items if isinstance(item, Wire)]
        codes = wires_by_tools(wires, terminal_facts(of), axis, rows, specifications)
    else:
        codes = terminals_by_tools(wire_facts(of), [terminal_facts(t) for t in terminals], axis, rows, specifications)
    if by.only_fits:
        kept_rows, kept_tools = np.flatnonzero((codes == FITS).any(axis=1)), np.flatnonzero((codes == FITS).any(axis=0))
        return FitMatrix([items[i] for i in kept_rows], [tools[i] for i in kept_tools], codes[np.ix_(kept_rows, kept_tools)])
    return FitMatrix(items, tools, codes)


def _items(of: Terminal | Wire, by: Narrowing) -> list[Any]:
    """The other axis, in order of size and number."""
    rows: models.QuerySet[Any]
    if isinstance(of, Terminal):
        rows = Wire.objects.filter(is_active=True).order_by("csa_mm2", "part_number")
        low, high = "csa_mm2__gte", "csa_mm2__lte"
    else:
        rows = Terminal.objects.filter(is_active=True).order_by("csa_min_mm2", "part_number")
        low, high = "csa_max_mm2__gte", "csa_min_mm2__lte"
    for word in by.words.split():
        names = ("part_number", "description", *(("size", "colour") if isinstance(of, Terminal) else ("kind",)))
        rows = rows.filter(reduce(or_, (Q(**{f"{name}__icontains": word}) for name in names)))
    if by.low_mm2 is not None:
        rows = rows.filter(**{low: by.low_mm2})
    if by.high_mm2 is not None:
        rows = rows.filter(**{high: by.high_mm2})
    return list(rows)


def _rows(terminals: Sequence[int]) -> list[ToolRowFacts]:
    """The approved rows of these terminals, as plain values: making model instances of thousands would cost more than comparing them."""
    found = ToolRow.objects.filter(is_active=True).exclude(tool__state=ToolState.RETIRED)
    if len(terminals) == 1:
        found = found.filter(terminal=terminals[0])
    wanted = set(terminals)
    columns = ("terminal_id", "tool__asset_number", "terminal__part_number", "csa_min_mm2", "csa_max_mm2", "od_min_mm", "od_max_mm")
    return [ToolRowFacts(*values) for key, *values in found.values_list(*columns) if key in wanted]


def _specifications(terminals: Sequence[Terminal], on: date) -> list[SpecificationFacts]:
    """Withdrawn ones too. Their terminals are at hand; only the documents are read with them."""
    at_hand = {terminal.pk: terminal for terminal in terminals}
    found = CrimpSpecification.objects.select_related("document")
    if len(terminals) == 1:
        found = found.filter(terminal=terminals[0])
    made = []
    for spec in found:
        if spec.terminal_id in at_hand:
            spec.terminal = at_hand[spec.terminal_id]
            made.append(specification_facts(spec, on))
    return made


def _tools(by: Narrowing, rows: Sequence[ToolRowFacts]) -> list[Tool]:
    tools = Tool.objects.exclude(state=ToolState.RETIRED).exclude(kind=ToolKind.STRIPPER).order_by("asset_number")
    if by.tool_kind:
        tools = tools.filter(kind=by.tool_kind)
    listed = {row.tool for row in rows}
    return [tool for tool in tools if by.all_tools or tool.asset_number in listed]
