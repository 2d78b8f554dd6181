"""What fits and what may be used: one small function per rule, each answering with a finding that carries the numbers it compared.

Facts come in as frozen dataclasses, so the same rule answers a planner's page, the API, a release and the press. Limits are inside: a value
equal to a limit fits. Where a fact is missing (None) the answer is "cannot be decided", never a guess. The sentences are in
`shop.fit_rules`; "?" in a comparison stands for what is not recorded.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Literal

from shop.conductor import combined_csa_mm2, enclosing_diameter_mm
from shop.finding import Finding
from shop.ruling import UNKNOWN, all_of, answer, within

Number = Decimal | int
OdRule = Literal["circle", "each", "sum"]

# --- Facts -----------------------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class WireFacts:
    """A wire as the catalogue knows it. dipped_end: whether this end was dipped in solder (tin-plated strands are not dipped)."""

    part_number: str
    csa_mm2: Decimal | None
    od_mm: Decimal | None
    strands: int | None = None
    kind: str | None = "stranded"  # "stranded", "fine stranded" or "solid"
    material: str | None = "copper"
    dipped_end: bool | None = False
    temperature_c: Number | None = None
    voltage_v: Number | None = None


@dataclass(frozen=True, slots=True)
class TerminalFacts:
    """A terminal. several_wires_od_rule: how its maker judges several wires in the support; None where nothing is stated."""

    part_number: str
    csa_min_mm2: Decimal | None
    csa_max_mm2: Decimal | None
    wires_max: int | None = 1
    has_support: bool | None = True
    od_min_mm: Decimal | None = None
    od_max_mm: Decimal | None = None
    several_wires_od_rule: OdRule | None = None
    accepted_kinds: frozenset[str] = frozenset({"stranded"})
    accepted_materials: frozenset[str] = frozenset({"copper"})
    crimp_force_n: Decimal | None = None


@dataclass(frozen=True, slots=True)
class ToolRowFacts:
    """One approved row of a tool: this terminal, these areas and insulation diameters, at this setting (a hand tool's cavity too)."""

    tool: str
    terminal: str
    csa_min_mm2: Decimal | None
    csa_max_mm2: Decimal | None
    od_min_mm: Decimal | None = None
    od_max_mm: Decimal | None = None
    setting: str = ""
    row_id: int | None = None  # the caller's own key, handed back untouched


@dataclass(frozen=True, slots=True)
class SpecificationFacts:
    """A crimp specification and the document it came from, on the day the caller asks about. tool_kind empty: any kind of tool."""

    number: str
    revision: str
    terminal: str
    csa_min_mm2: Decimal
    csa_max_mm2: Decimal
    in_force: bool
    document: str
    document_revision: str
    document_in_force: bool
    tool_kind: str | None = None
    crimp_height_min_mm: Decimal | None = None
    crimp_height_nominal_mm: Decimal | None = None
    crimp_height_max_mm: Decimal | None = None
    strip_length_min_mm: Decimal | None = None
    strip_length_max_mm: Decimal | None = None
    pull_force_min_n: Decimal | None = None
    specification_id: int | None = None  # the caller's own key, handed back untouched


@dataclass(frozen=True, slots=True)
class CircuitFacts:
    """What the circuit asks of its wire; None where it asks nothing."""

    temperature_c: Number | None = None
    voltage_v: Number | None = None


@dataclass(frozen=True, slots=True)
class ToolFit:
    """row: the approved row that fits, or None. findings: of that row, or of the row that comes nearest. others: further rows that fit."""

    row: ToolRowFacts | None
    findings: tuple[Finding, ...]
    others: tuple[ToolRowFacts, ...] = ()


@dataclass(frozen=True, slots=True)
class SpecificationFit:
    """specification: the one that covers the combination, in force where there is one; None where none does."""

    specification: SpecificationFacts | None
    findings: tuple[Finding, ...]


# --- Wires together --------------------------------------------------------------------------------------------------------------


def _names(wires: Iterable[WireFacts]) -> str:
    return ", ".join(wire.part_number for wire in wires)


def _some(wires: Sequence[WireFacts]) -> None:
    if not wires:
        raise ValueError("a barrel holds at least one wire")


def _csa(wires: Sequence[WireFacts]) -> Decimal | None:
    areas = [wire.csa_mm2 for wire in wires if wire.csa_mm2 is not None]
    return combined_csa_mm2(areas) if len(areas) == len(wires) else None


# --- Rules 1 to 3: wires in a terminal -------------------------------------------------------------------------------------------


def conductor_csa(wires: Sequence[WireFacts], terminal: TerminalFacts) -> Finding:
    """Rule 1: the area of all wires together lies in the terminal's conductor range."""
    csa, low, high = _csa(wires), terminal.csa_min_mm2, terminal.csa_max_mm2
    compared = {"wires": _names(wires), "wires_mm2": csa, "low_mm2": low, "high_mm2": high, "terminal": terminal.part_number}
    return answer("fit.conductor.csa", within(csa, csa, low, high), "wires", **compared)


def conductor_count(wires: Sequence[WireFacts], terminal: TerminalFacts) -> Finding:
    """Rule 1: no more wires in the barrel than the terminal permits. One wire always may."""
    fits = True if len(wires) == 1 else None if terminal.wires_max is None else len(wires) <= terminal.wires_max
    return answer("fit.conductor.count", fits, "wires", count=len(wires), at_most=terminal.wires_max, terminal=terminal.part_number)


def _insulation(wires: Sequence[WireFacts], rule: OdRule | None) -> tuple[Decimal | None, Decimal | None, str]:
    """The smallest and largest diameter the support may meet, and what was taken."""
    ods = [wire.od_mm for wire in wires if wire.od_mm is not None]
    if len(ods) < len(wires):
        return None, None, "not recorded"
    if len(wires) == 1:
        return ods[0], ods[0], "one wire"
    if rule == "sum":
        return sum(ods, Decimal(0)), sum(ods, Decimal(0)), "sum of the wires"
    if rule == "each":
        return min(ods), max(ods), "each wire"
    circle = enclosing_diameter_mm(ods)
    stated = rule == "circle" and not circle.estimate
    return circle.at_least_mm, circle.diameter_mm, "circle around the wires" if stated else "circle around the wires, an estimate"


def _od_answer(
    rule: str, wires: Sequence[WireFacts], terminal: TerminalFacts, low: Decimal | None, high: Decimal | None, at: str, **more: str
) -> Finding:
    od_rule = terminal.several_wires_od_rule
    least, most, taken = _insulation(wires, od_rule)
    if len(wires) > 1 and od_rule == "each":  # each wire on its own: one that is out decides, whatever the others are
        fits = all_of(within(wire.od_mm, wire.od_mm, low, high) for wire in wires)
        od = least if least is not None and low is not None and least < low else most
    else:
        fits, od = within(least, most, low, high), most
    compared = {"wires": _names(wires), "od_mm": od, "od_of": taken, "low_mm": low, "high_mm": high, "terminal": terminal.part_number}
    return answer(rule, fits, at, **compared, **more)


def insulation_od(wires: Sequence[WireFacts], terminal: TerminalFacts) -> Finding:
    """Rule 2: the insulation lies in the support's range.

    Several wires follow the terminal's stated rule, otherwise the circle around them, marked as an estimate. Where the estimate is only
    known to lie between two diameters and the range ends between them, the answer stays open.
    """
    return _od_answer("fit.insulation.od", wires, terminal, terminal.od_min_mm, terminal.od_max_mm, "wires")


def insulation_support(terminal: TerminalFacts, *, support_open: bool = False) -> Finding:
    """Rule 2: insulation stays without support only where the terminal has none. support_open: the plan leaves the support uncrimped."""
    fits = None if terminal.has_support is None else not (terminal.has_support and support_open)
    return answer("fit.insulation.support", fits, "terminal", terminal=terminal.part_number)


def _accepted(
    rule: str, wires: Sequence[WireFacts], terminal: TerminalFacts, found: Sequence[str | None], accepted: frozenset[str]
) -> Finding:
    def accepts(value: str | None) -> bool | None:
        return None if value is None or not accepted else value in accepted

    out = [(wire, value) for wire, value in zip(wires, found, strict=True) if accepts(value) is False]
    named = out or list(zip(wires, found, strict=True))
    kinds = ", ".join(dict.fromkeys(value or UNKNOWN for _, value in named))
    return answer(
        rule,
        all_of(accepts(value) for value in found),
        "wires",
        wires=_names(wire for wire, _ in named),
        found=kinds,
        accepted=", ".join(sorted(accepted)),
        terminal=terminal.part_number,
    )


def conductor_kind(wires: Sequence[WireFacts], terminal: TerminalFacts) -> Finding:
    """Rule 3: solid wire and very fine strands only where the terminal says so."""
    return _accepted("fit.conductor.kind", wires, terminal, [wire.kind for wire in wires], terminal.accepted_kinds)


def conductor_material(wires: Sequence[WireFacts], terminal: TerminalFacts) -> Finding:
    """Rule 3: aluminium, steel-cored and other materials only where the terminal says so."""
    return _accepted("fit.conductor.material", wires, terminal, [wire.material for wire in wires], terminal.accepted_materials)


def conductor_dipped(wires: Sequence[WireFacts]) -> Finding:
    """Rule 3: an end dipped in solder is never crimped. Source: NASA-STD-8739.4 clause 4.3 (4)."""
    dipped = [wire for wire in wires if wire.dipped_end] or [wire for wire in wires if wire.dipped_end is None]
    fits = all_of(None if wire.dipped_end is None else not wire.dipped_end for wire in wires)
    return answer("fit.conductor.dipped", fits, "wires", wires=_names(dipped or wires))


def wire_in_terminal(wires: Sequence[WireFacts], terminal: TerminalFacts, *, support_open: bool = False) -> tuple[Finding, ...]:
    """Rules 1 to 3 for all wires that go into one barrel. Raises ValueError for no wire."""
    _some(wires)
    found = [conductor_csa(wires, terminal), conductor_count(wires, terminal), insulation_support(terminal, support_open=support_open)]
    if terminal.has_support is not False:
        found.append(insulation_od(wires, terminal))
    return (*found, conductor_kind(wires, terminal), conductor_material(wires, terminal), conductor_dipped(wires))


# --- Rule 4: the tool ------------------------------------------------------------------------------------------------------------


def tool_row(wires: Sequence[WireFacts], terminal: TerminalFacts, row: ToolRowFacts) -> tuple[Finding, ...]:
    """Rule 4 for one approved row: its terminal, its areas and, where the terminal has a support, its insulation diameters."""
    csa, low, high = _csa(wires), row.csa_min_mm2, row.csa_max_mm2
    names: dict[str, str] = {"tool": row.tool, "setting": row.setting}
    found = [
        answer("fit.tool.terminal", row.terminal == terminal.part_number, "tool", tool=row.tool, terminal=terminal.part_number),
        answer("fit.tool.csa", within(csa, csa, low, high), "tool", wires_mm2=csa, low_mm2=low, high_mm2=high, **names),
    ]
    if terminal.has_support is not False:
        found.append(_od_answer("fit.tool.od", wires, terminal, row.od_min_mm, row.od_max_mm, "tool", **names))
    return tuple(found)


def tool_for(wires: Sequence[WireFacts], terminal: TerminalFacts, rows_of_tool: Sequence[ToolRowFacts], *, tool: str = "") -> ToolFit:
    """Rule 4 for a whole tool: the row that fits, the narrowest in area first; else the findings of the row with the fewest misfits.

    tool: its name, for the answer of a tool without any row.
    """
    _some(wires)
    listed = [(row, tool_row(wires, terminal, row)) for row in rows_of_tool if row.terminal == terminal.part_number]
    if not listed:
        name = tool or (rows_of_tool[0].tool if rows_of_tool else "")
        return ToolFit(None, (answer("fit.tool.terminal", False, "tool", tool=name, terminal=terminal.part_number),))
    fitting = [(row, found) for row, found in listed if not any(f.blocks for f in found)]
    if fitting:
        fitting.sort(key=lambda pair: _width(pair[0].csa_min_mm2, pair[0].csa_max_mm2))
        return ToolFit(fitting[0][0], fitting[0][1], tuple(row for row, _ in fitting[1:]))
    csa = _csa(wires)

    def how_far(pair: tuple[ToolRowFacts, tuple[Finding, ...]]) -> tuple[int, Decimal]:
        row, found = pair
        low, high = row.csa_min_mm2, row.csa_max_mm2
        off = max(low - csa, csa - high, Decimal(0)) if csa is not None and low is not None and high is not None else Decimal(0)
        return sum(f.blocks for f in found), off

    return ToolFit(None, min(listed, key=how_far)[1])


def _width(low: Decimal | None, high: Decimal | None) -> Decimal:
    return high - low if low is not None and high is not None else Decimal("Infinity")


# --- Rule 6: the crimp specification ---------------------------------------------------------------------------------------------


def specification_for(
    wires: Sequence[WireFacts],
    terminal: TerminalFacts,
    specifications: Sequence[SpecificationFacts],
    tool_kind: str | None = None,
) -> SpecificationFit:
    """Rule 6: a complete specification in force covers terminal, conductor area and kind of tool, and its document is in force.

    Of several the one in force comes first, then the one for this kind of tool, then the narrowest in area.
    """
    _some(wires)
    csa = _csa(wires)
    missing = {"terminal": terminal.part_number, "wires_mm2": csa, "tool_kind": tool_kind or "any"}
    if csa is None:
        return SpecificationFit(None, (answer("fit.spec.missing", None, "specification", **missing),))
    covering = [
        spec
        for spec in specifications
        if spec.terminal == terminal.part_number
        and spec.csa_min_mm2 <= csa <= spec.csa_max_mm2
        and (not spec.tool_kind or not tool_kind or spec.tool_kind == tool_kind)
    ]
    if not covering:
        return SpecificationFit(None, (answer("fit.spec.missing", False, "specification", **missing),))
    best = min(
        covering,
        key=lambda s: (not s.in_force, not s.document_in_force, not s.tool_kind, _width(s.csa_min_mm2, s.csa_max_mm2)),
    )
    return SpecificationFit(best, (answer("fit.spec.missing", True, "specification", **missing), *specification_state(best)))


def specification_state(spec: SpecificationFacts) -> tuple[Finding, ...]:
    """Rule 6 for one specification: in force, on a document in force, and complete."""
    named = {"specification": spec.number, "revision": spec.revision}
    lacking = [
        name
        for name, value in (
            ("crimp height", spec.crimp_height_nominal_mm),
            ("crimp height from", spec.crimp_height_min_mm),
            ("crimp height to", spec.crimp_height_max_mm),
            ("strip length from", spec.strip_length_min_mm),
            ("strip length to", spec.strip_length_max_mm),
            ("pull force", spec.pull_force_min_n),
            ("document", spec.document or None),
        )
        if value is None
    ]
    document = {"document": spec.document, "document_revision": spec.document_revision}
    return (
        answer("fit.spec.not_in_force", spec.in_force, "specification", **named),
        answer("fit.spec.document_withdrawn", spec.document_in_force, "specification", **named, **document),
        answer("fit.spec.incomplete", not lacking, "specification", **named, lacking=", ".join(lacking)),
    )


# --- Rule 11: rating, and everything together ------------------------------------------------------------------------------------


def rating(wires: Sequence[WireFacts], circuit: CircuitFacts) -> tuple[Finding, ...]:
    """Rule 11: no wire is rated below what the circuit asks. What the circuit does not ask for is not judged."""
    asked_for = (
        ("fit.rating.temperature", circuit.temperature_c, [wire.temperature_c for wire in wires], "c"),
        ("fit.rating.voltage", circuit.voltage_v, [wire.voltage_v for wire in wires], "v"),
    )
    found = []
    for rule, asked, rated, unit in asked_for:
        if asked is None:
            continue
        # The weakest wire answers; a wire without a rating is weaker than any that proves itself, but not than one that fails.
        order = sorted(
            zip(wires, rated, strict=True), key=lambda pair: (pair[1] is None or pair[1] >= asked, pair[1] is not None, pair[1] or 0)
        )
        wire, value = order[0]
        fits = all_of(None if one is None else one >= asked for one in rated)
        found.append(answer(rule, fits, "wires", wire=wire.part_number, **{f"wire_{unit}": value, f"circuit_{unit}": asked}))
    return tuple(found)


def termination_findings(
    wires: Sequence[WireFacts],
    terminal: TerminalFacts,
    *,
    rows_of_tool: Sequence[ToolRowFacts],
    specifications: Sequence[SpecificationFacts],
    tool: str = "",
    tool_kind: str | None = None,
    circuit: CircuitFacts | None = None,
    support_open: bool = False,
) -> tuple[Finding, ...]:
    """All planning rules (1 to 4, 6, 11) of one termination. Raises ValueError for no wire."""
    return (
        *wire_in_terminal(wires, terminal, support_open=support_open),
        *tool_for(wires, terminal, rows_of_tool, tool=tool).findings,
        *specification_for(wires, terminal, specifications, tool_kind).findings,
        *rating(wires, circuit or CircuitFacts()),
    )
