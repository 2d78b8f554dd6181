"""Turns catalogue rows into the plain facts the fit engine compares."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from shop.conductor import Conductor
from shop.crib import Press
from shop.current import Carrier, CurrentAdvice, current_advice, wire_current
from shop.fit import CircuitFacts, SpecificationFacts, TerminalFacts, ToolRowFacts, WireFacts
from shop.jobs import Termination
from shop.materials import ConductorKind, ConductorMaterial, Terminal, Wire
from shop.press_fit import PressFacts, PressToolFacts
from shop.specifications import CrimpSpecification
from shop.tools import Tool, ToolRow, ToolState

COPPERS = frozenset(
    {
        ConductorMaterial.COPPER.value,
        ConductorMaterial.TINNED_COPPER.value,
        ConductorMaterial.SILVERED_COPPER.value,
        ConductorMaterial.NICKELLED_COPPER.value,
        ConductorMaterial.COPPER_ALLOY.value,
    }
)


def wire_facts(wire: Wire, *, dipped_end: bool = False) -> WireFacts:
    """dipped_end: the plan says that this end is dipped in solder; the catalogue knows wires, not their ends."""
    return WireFacts(
        part_number=wire.part_number,
        csa_mm2=wire.csa_mm2,
        od_mm=wire.insulation_od_mm,
        strands=wire.strands,
        kind=wire.conductor_kind,
        material=wire.material,
        dipped_end=dipped_end,
        temperature_c=wire.temperature_rating_c,
        voltage_v=wire.voltage_rating_v,
    )


def terminal_facts(terminal: Terminal) -> TerminalFacts:
    kinds = {ConductorKind.STRANDED.value}
    if terminal.accepts_solid:
        kinds.add(ConductorKind.SOLID.value)
    if terminal.accepts_fine_stranded:
        kinds.add(ConductorKind.FINE_STRANDED.value)
    materials = COPPERS | ({ConductorMaterial.ALUMINIUM.value} if terminal.accepts_aluminium else set())
    return TerminalFacts(
        part_number=terminal.part_number,
        csa_min_mm2=terminal.csa_min_mm2,
        csa_max_mm2=terminal.csa_max_mm2,
        wires_max=terminal.wires_max,
        has_support=terminal.has_support,
        od_min_mm=terminal.od_min_mm,
        od_max_mm=terminal.od_max_mm,
        accepted_kinds=frozenset(kinds),
        accepted_materials=frozenset(materials),
        crimp_force_n=terminal.crimp_force_n,
    )


def press_facts(press: Press) -> PressFacts:
    return PressFacts(
        press=press.asset_number,
        mount=press.mount,
        feed=press.feed,
        force_rating_n=press.force_rating_n,
        shut_height_mm=press.shut_height_mm,
        shut_height_tolerance_mm=press.shut_height_tolerance_mm,
        shut_height_verified_on=press.shut_height_verified_on,
        shut_height_due_on=press.shut_height_due_on,
    )


def press_tool_facts(tool: Tool) -> PressToolFacts:
    return PressToolFacts(tool.asset_number, tool.kind, tool.mount, tool.feed, tool.shut_height_mm)


def tool_row_facts(row: ToolRow) -> ToolRowFacts:
    setting = " ".join(part for part in (row.cavity and f"cavity {row.cavity}", row.setting) if part)
    return ToolRowFacts(
        tool=row.tool.asset_number,
        terminal=row.terminal.part_number,
        csa_min_mm2=row.csa_min_mm2,
        csa_max_mm2=row.csa_max_mm2,
        od_min_mm=row.od_min_mm,
        od_max_mm=row.od_max_mm,
        setting=setting,
        row_id=row.pk,
    )


def specification_facts(spec: CrimpSpecification, on: date) -> SpecificationFacts:
    return SpecificationFacts(
        number=spec.number,
        revision=spec.revision,
        terminal=spec.terminal.part_number,
        csa_min_mm2=spec.csa_min_mm2,
        csa_max_mm2=spec.csa_max_mm2,
        in_force=spec.is_in_force(on),
        document=spec.document.number,
        document_revision=spec.document.revision,
        document_in_force=spec.document.is_in_force(on),
        tool_kind=spec.tool_kind or None,
        crimp_height_min_mm=spec.crimp_height_min_mm,
        crimp_height_nominal_mm=spec.crimp_height_nominal_mm,
        crimp_height_max_mm=spec.crimp_height_max_mm,
        strip_length_min_mm=spec.strip_length_min_mm,
        strip_length_max_mm=spec.strip_length_max_mm,
        pull_force_min_n=spec.pull_force_min_n,
        specification_id=spec.pk,
    )


@dataclass(frozen=True, slots=True)
class Known:
    """What the catalogue says about some terminals, by their primary key: approved tool rows, and specifications, withdrawn ones too.

    Withdrawn specifications are there so that a refusal can say which one no longer holds.
    """

    on: date
    rows: Mapping[int, Sequence[ToolRowFacts]]
    specifications: Mapping[int, Sequence[SpecificationFacts]]

    def rows_of(self, terminal: Terminal, tool: Tool) -> list[ToolRowFacts]:
        return [row for row in self.rows.get(terminal.pk, ()) if row.tool == tool.asset_number]


def known_of(terminals: Iterable[int], on: date) -> Known:
    """Read what is known of these terminals: two queries, whatever their number."""
    wanted = set(terminals)
    rows: dict[int, list[ToolRowFacts]] = {}
    active = ToolRow.objects.filter(terminal__in=wanted, is_active=True).exclude(tool__state=ToolState.RETIRED)
    for row in active.select_related("tool", "terminal"):
        rows.setdefault(row.terminal_id, []).append(tool_row_facts(row))
    specifications: dict[int, list[SpecificationFacts]] = {}
    for spec in CrimpSpecification.objects.filter(terminal__in=wanted).select_related("terminal", "document"):
        specifications.setdefault(spec.terminal_id, []).append(specification_facts(spec, on))
    return Known(on, rows, specifications)


def circuit_facts(termination: Termination) -> CircuitFacts:
    return CircuitFacts(temperature_c=termination.required_temperature_c, voltage_v=termination.required_voltage_v)


def advice_on(current_a: Decimal, wires: Sequence[Wire], terminal: Terminal) -> CurrentAdvice:
    """What a current does in each wire at its temperature rating (20 °C where none is recorded), and whether ratings are recorded."""
    carried = []
    for wire in wires:
        conductor = Conductor(wire.size, wire.csa_mm2, wire.strands, wire.strand_diameter_mm, wire.awg or None)
        at_c = Decimal(20) if wire.temperature_rating_c is None else Decimal(wire.temperature_rating_c)
        carrier = Carrier(wire.part_number, wire.current_rating_a, wire.current_source)
        carried.append(wire_current(current_a, conductor, wire.material, carrier, at_c))
    return current_advice(current_a, carried, Carrier(terminal.part_number, terminal.current_rating_a, terminal.current_source))


def facts_of(wires: Sequence[Wire], *, dipped_end: bool = False) -> list[WireFacts]:
    return [wire_facts(wire, dipped_end=dipped_end) for wire in wires]
