"""What the fit engine says about a termination: asked by the page before saving, by the acts, and again at release and start."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Protocol

from django.db.models import Q

from shop.concessions import Concession
from shop.crib import Press
from shop.facts import Known, circuit_facts, facts_of, known_of, press_facts, press_tool_facts, terminal_facts
from shop.finding import Finding, Verdict, misfit
from shop.fit import CircuitFacts, ToolFit, rating, specification_for, tool_for, wire_in_terminal
from shop.jobs import SetupSheet, Termination
from shop.materials import Terminal, Wire
from shop.press_fit import press_fit
from shop.specifications import CrimpSpecification
from shop.tools import Tool, ToolState
from shop.wording import RULES

# --- Offers: which tools, which presses -------------------------------------------------------------------------------------------


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


def tool_offers(wires: Sequence[Wire], terminal: Terminal, on: date) -> tuple[list[ToolOffer], list[ToolOffer]]:
    """The tools that fit and those that do not, each with the numbers compared. Tools in order of their asset number."""
    facts, terminal_f = facts_of(wires), terminal_facts(terminal)
    known = known_of([terminal.pk], on)
    fitting: list[ToolOffer] = []
    others: list[ToolOffer] = []
    for tool in Tool.objects.exclude(state=ToolState.RETIRED).order_by("asset_number"):
        fit: ToolFit = tool_for(facts, terminal_f, known.rows_of(terminal, tool), tool=tool.asset_number)
        offer = ToolOffer(tool, fit.row.row_id if fit.row else None, fit.row.setting if fit.row else "", fit.findings)
        (fitting if offer.fits else others).append(offer)
    return fitting, others


@dataclass(frozen=True, slots=True)
class PressOffer:
    """One press held against a tool and a terminal by rule 5."""

    press: Press
    findings: tuple[Finding, ...]

    @property
    def fits(self) -> bool:
        return not any(finding.blocks for finding in self.findings)


def press_offers(tool: Tool, terminal: Terminal, on: date) -> tuple[list[PressOffer], list[PressOffer]]:
    """The presses that take this tool, and the others with the reason. Presses in order of their asset number."""
    tool_f = press_tool_facts(tool)
    offers = [
        PressOffer(press, press_fit(press_facts(press), tool_f, terminal.part_number, terminal.crimp_force_n, on))
        for press in Press.objects.exclude(state=ToolState.RETIRED).order_by("asset_number")
    ]
    return [offer for offer in offers if offer.fits], [offer for offer in offers if not offer.fits]


# --- Concessions ------------------------------------------------------------------------------------------------------------------


class Granted(Protocol):
    """What the engine has to know of a concession: the rule it lets through, and its number."""

    @property
    def rule(self) -> str: ...
    @property
    def number(self) -> str: ...


def conceded(findings: Iterable[Finding], concessions: Iterable[Granted]) -> list[Finding]:
    """The findings, those that block and that a concession lets through marked as conceded with its number.

    concessions: live ones that reach what the findings are about. A rule that can never be conceded stays as it is, whatever was written
    down. The verdict it would have had stays in the comparison as "conceded_from".
    """
    numbers: dict[str, str] = {}
    for concession in concessions:
        numbers.setdefault(concession.rule, concession.number)
    return [
        dataclasses.replace(
            finding,
            verdict=Verdict.CONCEDED,
            compared={**finding.compared, "concession": numbers[finding.rule], "conceded_from": finding.verdict.value},
        )
        if finding.blocks and finding.rule in numbers and RULES[finding.rule].concedable
        else finding
        for finding in findings
    ]


def live_concessions(sheets: Iterable[int], on: date) -> dict[tuple[str, int], list[Concession]]:
    """Live concessions that reach these sheets, by ("sheet", key) and ("termination", key); one query."""
    listed = list(sheets)
    reached: dict[tuple[str, int], list[Concession]] = {}
    for concession in Concession.objects.live(on).filter(Q(sheet__in=listed) | Q(termination__sheet__in=listed)).order_by("pk"):
        if concession.sheet_id is not None:
            reached.setdefault(("sheet", concession.sheet_id), []).append(concession)
        elif concession.termination_id is not None:
            reached.setdefault(("termination", concession.termination_id), []).append(concession)
    return reached


def concessions_on(reached: Mapping[tuple[str, int], Sequence[Concession]], termination: Termination) -> list[Concession]:
    """Those that reach one termination, its own first."""
    own = reached.get(("termination", termination.pk), ()) if termination.pk else ()
    return [*own, *reached.get(("sheet", termination.sheet_id), ())]


# --- One termination --------------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Plan:
    """The engine's whole answer for one termination."""

    findings: tuple[Finding, ...]
    row_id: int | None
    specification_id: int | None

    @property
    def blocking(self) -> tuple[Finding, ...]:
        return tuple(f for f in self.findings if f.blocks)


def plan_for(
    wires: Sequence[Wire],
    terminal: Terminal,
    tool: Tool | None,
    on: date,
    circuit: CircuitFacts | None = None,
    *,
    press: Press | None = None,
    dipped_end: bool = False,
    known: Known | None = None,
) -> Plan:
    """Rules 1 to 6 and 11 for wires and terminal, the tool if one is picked, and the press if one is named.

    known: what was read of the catalogue for several terminations at once; left out, it is read for this one.
    """
    if not wires:
        return Plan((misfit("termination.wires", "wires"),), None, None)
    known = known or known_of([terminal.pk], on)
    facts, terminal_f = facts_of(wires, dipped_end=dipped_end), terminal_facts(terminal)
    findings = [*wire_in_terminal(facts, terminal_f)]
    row_id = None
    if tool is not None:
        fit = tool_for(facts, terminal_f, known.rows_of(terminal, tool), tool=tool.asset_number)
        findings += fit.findings
        row_id = fit.row.row_id if fit.row else None
    if press is not None and tool is not None:
        findings += press_fit(press_facts(press), press_tool_facts(tool), terminal.part_number, terminal.crimp_force_n, on)
    spec = specification_for(facts, terminal_f, known.specifications.get(terminal.pk, ()), tool.kind if tool else None)
    findings += spec.findings
    findings += rating(facts, circuit or CircuitFacts())
    return Plan(tuple(findings), row_id, spec.specification.specification_id if spec.specification else None)


def plan_of_termination(termination: Termination, wires: Sequence[Wire], on: date, known: Known | None = None) -> Plan:
    """`plan_for` with everything the termination itself states. wires: given, because a new termination has none saved yet."""
    return plan_for(
        wires,
        termination.terminal,
        termination.tool,
        on,
        circuit_facts(termination),
        press=termination.press,
        dipped_end=termination.dipped_end,
        known=known,
    )


TARGETS = (
    "crimp_height_min_mm",
    "crimp_height_nominal_mm",
    "crimp_height_max_mm",
    "crimp_width_min_mm",
    "crimp_width_nominal_mm",
    "crimp_width_max_mm",
    "insulation_height_min_mm",
    "insulation_height_nominal_mm",
    "insulation_height_max_mm",
    "strip_length_min_mm",
    "strip_length_nominal_mm",
    "strip_length_max_mm",
    "bell_mouth_min_mm",
    "bell_mouth_max_mm",
    "brush_min_mm",
    "brush_max_mm",
    "cut_off_tab_max_mm",
    "resistance_max_mohm",
    "compaction_min_pct",
    "compaction_max_pct",
    "pull_force_min_n",
    "pull_force_source",
)
"""Every target that a specification states and a termination copies; a test compares the two models."""


def copy_targets(termination: Termination, spec: CrimpSpecification) -> None:
    """Fill the targets of a termination from the specification in force."""
    termination.specification = spec
    for name in TARGETS:
        setattr(termination, name, getattr(spec, name))


def termination_findings(
    termination: Termination, on: date, *, known: Known | None = None, concessions: Iterable[Granted] = ()
) -> list[Finding]:
    """Every planning rule of one termination as it stands, the same at submission, release, re-check and start."""
    plan = plan_of_termination(termination, termination.ordered_wires(), on, known)
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
    return conceded(findings, concessions)


@dataclass(frozen=True, slots=True)
class TerminationCheck:
    termination: Termination
    findings: tuple[Finding, ...]

    @property
    def blocking(self) -> tuple[Finding, ...]:
        return tuple(f for f in self.findings if f.blocks)


def checks_of(terminations: Sequence[Termination], on: date, known: Known | None = None) -> list[TerminationCheck]:
    """The findings of many terminations, in a fixed number of queries. They come with what `TO_CHECK` names, and their wires.

    known: of their terminals, where it was read already.
    """
    known = known or known_of({t.terminal_id for t in terminations}, on)
    reached = live_concessions({t.sheet_id for t in terminations}, on)
    return [
        TerminationCheck(t, tuple(termination_findings(t, on, known=known, concessions=concessions_on(reached, t)))) for t in terminations
    ]


TO_CHECK = ("terminal", "tool", "tool_row", "press", "specification__document", "specification__terminal", "sheet")


def sheet_checks(sheet: SetupSheet, on: date) -> list[TerminationCheck]:
    """The findings of every termination of a sheet, in its order."""
    terminations = sheet.terminations.select_related(*TO_CHECK).prefetch_related("termination_wires__wire")
    return checks_of(list(terminations), on)


def blocking_of(checks: Iterable[TerminationCheck]) -> list[Finding]:
    return [finding for check in checks for finding in check.blocking]
