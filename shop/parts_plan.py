"""A parts list held against the catalogue: every lead with its two ends, the tool picked, the specification, and each misfit in place."""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import TypeVar

from shop.facts import Known, known_of
from shop.finding import Finding, misfit
from shop.fit import SpecificationFacts
from shop.materials import Terminal, Wire
from shop.parts_list import TERMINAL_OF, TOOL_OF, Lead, LeadEnd, Reading, Row, close_to, read_leads
from shop.planning import Plan, plan_for
from shop.rechecks import PartsList
from shop.tools import Tool, ToolState

MOST_PIECES = 2_147_483_647
CLOSE_ENOUGH = 0.75
"""Likeness (difflib's ratio) from which another part number is named as what was perhaps meant. Our own choice."""


@dataclass(frozen=True, slots=True)
class EndPlan:
    """One end of a lead, planned. fitting: the tools that fit, the picked one first among equals. findings: only what blocks.

    Each finding's field is a column of ours ("wire", "left_terminal"), "tool_a" or "tool_b", or "specification".
    """

    end: LeadEnd
    wires: tuple[Wire, ...]
    terminal: Terminal | None
    tool: Tool | None
    setting: str
    specification: SpecificationFacts | None
    plan: Plan | None
    fitting: tuple[Tool, ...]
    findings: tuple[Finding, ...]


@dataclass(frozen=True, slots=True)
class LeadPlan:
    """One line of the list. findings: of the line itself. ends: "A" and "B", where there is a terminal of its own."""

    lead: Lead
    findings: tuple[Finding, ...]
    ends: Mapping[str, EndPlan]

    @property
    def blocking(self) -> tuple[Finding, ...]:
        return (*self.findings, *(finding for end in self.ends.values() for finding in end.findings))


@dataclass(frozen=True, slots=True)
class PartsPlan:
    leads: tuple[LeadPlan, ...]

    @property
    def ends(self) -> list[EndPlan]:
        return [end for lead in self.leads for end in lead.ends.values()]

    @property
    def broken(self) -> list[LeadPlan]:
        return [lead for lead in self.leads if lead.blocking]


def reading_of(parts: PartsList) -> Reading:
    """The list as it is read with its mapping and corrections."""
    rows = [Row(line, tuple(cells)) for line, cells in parts.rows]
    mapping = {name: position for name, position in parts.mapping.items() if isinstance(position, int)}
    return read_leads(rows, mapping, parts.corrections, str(parts.mapping.get("length_unit", "")))


def plan_parts_list(parts: PartsList, on: date) -> PartsPlan:
    """Every lead of the list held against the catalogue, in a fixed number of queries."""
    reading = reading_of(parts)
    catalogue = _catalogue(reading, on)
    used: dict[int, None] = {}
    made: dict[int, dict[str, EndPlan]] = {}
    for end in reading.ends:
        planned = _end(end, catalogue, used, parts.job.quantity)
        if planned.tool is not None and not planned.findings:
            used.setdefault(planned.tool.pk)
        made.setdefault(end.row, {})[end.end] = planned
    leads = (LeadPlan(lead, _lead_findings(lead, reading, catalogue), made.get(lead.row, {})) for lead in reading.leads)
    return PartsPlan(tuple(leads))


# --- The catalogue, read once -------------------------------------------------------------------------------------------------------


@dataclass(slots=True)
class _Catalogue:
    wires: dict[str, Wire]
    terminals: dict[str, Terminal]
    tools: dict[str, Tool]
    known: Known
    unknown: dict[tuple[str, str], Finding]
    answers: dict[tuple[tuple[int, ...], int, int], Plan] = field(default_factory=dict)


Part = TypeVar("Part", Wire, Terminal, Tool)


def _catalogue(reading: Reading, on: date) -> _Catalogue:
    wire_names = {lead.texts["wire"] for lead in reading.leads} - {""}
    terminal_names = {end.terminal for end in reading.ends}
    wires = {wire.part_number: wire for wire in Wire.objects.filter(part_number__in=wire_names, is_active=True)}
    terminals = {t.part_number: t for t in Terminal.objects.filter(part_number__in=terminal_names, is_active=True)}
    known = known_of([terminal.pk for terminal in terminals.values()], on)
    tool_names = {row.tool for rows in known.rows.values() for row in rows} | {end.tool for end in reading.ends}
    tools = {tool.asset_number: tool for tool in Tool.objects.filter(asset_number__in=tool_names).exclude(state=ToolState.RETIRED)}
    unknown = _unknown("wire", wire_names - wires.keys(), Wire.objects.filter(is_active=True).values_list("part_number", flat=True))
    unknown |= _unknown(
        "terminal", terminal_names - terminals.keys(), Terminal.objects.filter(is_active=True).values_list("part_number", flat=True)
    )
    return _Catalogue(wires, terminals, tools, known, unknown)


def _unknown(thing: str, names: set[str], listed: Iterable[str]) -> dict[tuple[str, str], Finding]:
    """A finding for each name that is not in the catalogue, with the one that was perhaps meant."""
    if not names:
        return {}
    catalogue = list(listed)
    found = {}
    for name in names:
        near = close_to(name, catalogue) or next(iter(difflib.get_close_matches(name, catalogue, 1, CLOSE_ENOUGH)), "")
        rule = "parts.unknown.close" if near else "parts.unknown"
        found[thing, name] = misfit(rule, "", thing=thing, name=name, **({"close": near} if near else {}))
    return found


# --- One end ------------------------------------------------------------------------------------------------------------------------


def _lead_findings(lead: Lead, reading: Reading, catalogue: _Catalogue) -> tuple[Finding, ...]:
    found = list(reading.findings.get(lead.row, ()))
    unknown = catalogue.unknown.get(("wire", lead.texts["wire"]))
    return (*found, *([_at(unknown, "wire")] if unknown else []))


def _end(end: LeadEnd, catalogue: _Catalogue, used: Mapping[int, None], harnesses: int) -> EndPlan:
    terminal = catalogue.terminals.get(end.terminal)
    wires = tuple(catalogue.wires[name] for name in end.wires if name in catalogue.wires)
    found: list[Finding] = []
    if terminal is None:
        found.append(_at(catalogue.unknown["terminal", end.terminal], TERMINAL_OF[end.end]))
    if end.quantity * harnesses > MOST_PIECES:
        found.append(misfit("parts.quantity", "quantity", text=str(end.quantity), reason=f"{harnesses} times as many are too many."))
    chosen = catalogue.tools.get(end.tool) if end.tool else None
    if end.tool and chosen is None:
        found.append(misfit("parts.unknown", TOOL_OF[end.end], thing="tool", name=end.tool))
    if terminal is None or len(wires) < len(end.wires):  # an unknown wire is said at its own lead
        return EndPlan(end, wires, terminal, chosen, "", None, None, (), tuple(found))
    offered = [tool for tool in catalogue.tools.values() if catalogue.known.rows_of(terminal, tool)]
    answers = {tool.pk: _answer(wires, terminal, tool, catalogue) for tool in offered}
    offered.sort(
        key=lambda tool: (len(answers[tool.pk].blocking), tool.pk not in used, tool.state != ToolState.AVAILABLE, tool.asset_number)
    )
    tool = chosen or next(iter(offered), None)
    plan = _answer(wires, terminal, tool, catalogue)
    if tool is None:
        found.append(misfit("parts.tool.none", TOOL_OF[end.end], terminal=terminal.part_number))
    found += [_at(finding, _place(finding.field, end.end)) for finding in plan.blocking]
    row = next((row for row in catalogue.known.rows.get(terminal.pk, ()) if row.row_id == plan.row_id), None) if plan.row_id else None
    specification = next(
        (spec for spec in catalogue.known.specifications.get(terminal.pk, ()) if spec.specification_id == plan.specification_id), None
    )
    fitting = tuple(tool for tool in offered if not any(finding.field == "tool" for finding in answers[tool.pk].blocking))
    return EndPlan(end, wires, terminal, tool, row.setting if row else "", specification, plan, fitting, tuple(found))


def _answer(wires: Sequence[Wire], terminal: Terminal, tool: Tool | None, catalogue: _Catalogue) -> Plan:
    """The engine's answer, asked once for each combination: a list repeats a few of them many times."""
    key = (tuple(wire.pk for wire in wires), terminal.pk, tool.pk if tool else 0)
    if key not in catalogue.answers:
        catalogue.answers[key] = plan_for(wires, terminal, tool, catalogue.known.on, known=catalogue.known)
    return catalogue.answers[key]


def _place(name: str, end: str) -> str:
    """The column at which a finding of the engine is shown."""
    return {"wires": "wire", "terminal": TERMINAL_OF[end], "tool": TOOL_OF[end]}.get(name, name)


def _at(finding: Finding, column: str) -> Finding:
    return Finding(finding.rule, finding.verdict, column, finding.compared)
