"""What the fit engine says about a termination: asked by the page before saving, by the acts, and again at release and start."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date

from shop.facts import circuit_facts, facts_of, rows_for, specifications_for, terminal_facts, tool_row_facts
from shop.finding import Finding, misfit
from shop.fit import CircuitFacts, ToolFit, rating, specification_for, tool_for, wire_in_terminal
from shop.jobs import SetupSheet, Termination
from shop.materials import Terminal, Wire
from shop.specifications import CrimpSpecification
from shop.tools import Tool, ToolRow


@dataclass(frozen=True, slots=True)
class ToolOffer:
    """One tool held against the wires and the terminal: the row that fits, or why none does."""

    tool: Tool
    row_id: int | None
    setting: str
    findings: tuple[Finding, ...]

    @property
    def fits(self) -> bool:
        return self.row_id is not None


def tool_offers(wires: Sequence[Wire], terminal: Terminal) -> tuple[list[ToolOffer], list[ToolOffer]]:
    """The tools that fit and those that do not, each with the numbers compared. Tools in order of their asset number."""
    facts, terminal_f = facts_of(wires), terminal_facts(terminal)
    rows: dict[str, list[ToolRow]] = {}
    for row in ToolRow.objects.filter(is_active=True, terminal=terminal).select_related("tool", "terminal"):
        rows.setdefault(row.tool.asset_number, []).append(row)
    fitting: list[ToolOffer] = []
    others: list[ToolOffer] = []
    for tool in Tool.objects.exclude(state="retired").order_by("asset_number"):
        fit: ToolFit = tool_for(facts, terminal_f, [tool_row_facts(r) for r in rows.get(tool.asset_number, [])], tool=tool.asset_number)
        offer = ToolOffer(tool, fit.row.row_id if fit.row else None, fit.row.setting if fit.row else "", fit.findings)
        (fitting if offer.fits else others).append(offer)
    return fitting, others


@dataclass(frozen=True, slots=True)
class Plan:
    """The engine's whole answer for one termination."""

    findings: tuple[Finding, ...]
    row_id: int | None
    specification_id: int | None

    @property
    def blocking(self) -> tuple[Finding, ...]:
        return tuple(f for f in self.findings if f.blocks)


def plan_for(wires: Sequence[Wire], terminal: Terminal, tool: Tool | None, on: date, circuit: CircuitFacts | None = None) -> Plan:
    """Rules 1 to 4, 6 and 11 for wires + terminal, and the tool if one is picked."""
    if not wires:
        return Plan((misfit("termination.wires", "wires"),), None, None)
    facts, terminal_f = facts_of(wires), terminal_facts(terminal)
    findings = [*wire_in_terminal(facts, terminal_f)]
    row_id = None
    if tool is not None:
        own = [row for row in rows_for(terminal) if row.tool == tool.asset_number]
        fit = tool_for(facts, terminal_f, own, tool=tool.asset_number)
        findings += fit.findings
        row_id = fit.row.row_id if fit.row else None
    spec = specification_for(facts, terminal_f, specifications_for(terminal, on), tool.kind if tool else None)
    findings += spec.findings
    findings += rating(facts, circuit or CircuitFacts())
    return Plan(tuple(findings), row_id, spec.specification.specification_id if spec.specification else None)


TARGETS = (
    "crimp_height_min_mm",
    "crimp_height_nominal_mm",
    "crimp_height_max_mm",
    "crimp_width_min_mm",
    "crimp_width_max_mm",
    "insulation_height_min_mm",
    "insulation_height_max_mm",
    "strip_length_min_mm",
    "strip_length_max_mm",
    "pull_force_min_n",
    "pull_force_source",
)


def copy_targets(termination: Termination, spec: CrimpSpecification) -> None:
    """Fill the targets of a termination from the specification in force."""
    termination.specification = spec
    for name in TARGETS:
        setattr(termination, name, getattr(spec, name))


def termination_findings(termination: Termination, on: date) -> list[Finding]:
    """Every planning rule of one termination as it stands, the same at submission, release and start."""
    plan = plan_for(termination.ordered_wires(), termination.terminal, termination.tool, on, circuit_facts(termination))
    findings = list(plan.findings)
    if termination.tool is None:
        findings.append(misfit("termination.tool", "tool", lead=termination.lead, end=termination.end))
    if plan.specification_id is not None and plan.specification_id != termination.specification_id and termination.specification:
        # Another revision came into force since the targets were copied: what the sheet says no longer holds.
        findings.append(
            misfit(
                "fit.spec.not_in_force",
                "specification",
                specification=termination.specification.number,
                revision=termination.specification.revision,
            )
        )
    return findings


@dataclass(frozen=True, slots=True)
class TerminationCheck:
    termination: Termination
    findings: tuple[Finding, ...]

    @property
    def blocking(self) -> tuple[Finding, ...]:
        return tuple(f for f in self.findings if f.blocks)


def sheet_checks(sheet: SetupSheet, on: date) -> list[TerminationCheck]:
    """The findings of every termination of a sheet, in its order."""
    terminations = sheet.terminations.select_related(
        "terminal", "tool", "tool_row", "specification__document", "specification__terminal", "sheet"
    ).prefetch_related("termination_wires__wire")
    return [TerminationCheck(t, tuple(termination_findings(t, on))) for t in terminations]


def blocking_of(checks: Iterable[TerminationCheck]) -> list[Finding]:
    return [finding for check in checks for finding in check.blocking]
