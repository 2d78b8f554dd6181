"""Turns catalogue rows into the plain facts the fit engine compares."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from shop.fit import CircuitFacts, SpecificationFacts, TerminalFacts, ToolRowFacts, WireFacts
from shop.jobs import Termination
from shop.materials import ConductorKind, ConductorMaterial, Terminal, Wire
from shop.specifications import CrimpSpecification
from shop.tools import ToolRow

COPPERS = frozenset(
    {
        ConductorMaterial.COPPER.value,
        ConductorMaterial.TINNED_COPPER.value,
        ConductorMaterial.SILVERED_COPPER.value,
        ConductorMaterial.NICKELLED_COPPER.value,
        ConductorMaterial.COPPER_ALLOY.value,
    }
)


def wire_facts(wire: Wire) -> WireFacts:
    return WireFacts(
        part_number=wire.part_number,
        csa_mm2=wire.csa_mm2,
        od_mm=wire.insulation_od_mm,
        strands=wire.strands,
        kind=wire.conductor_kind,
        material=wire.material,
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
    )


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


def specifications_for(terminal: Terminal, on: date) -> list[SpecificationFacts]:
    """Every specification of the terminal, withdrawn ones too, so that a refusal can say which one no longer holds."""
    specs = CrimpSpecification.objects.filter(terminal=terminal).select_related("terminal", "document")
    return [specification_facts(spec, on) for spec in specs]


def rows_for(terminal: Terminal) -> list[ToolRowFacts]:
    rows = ToolRow.objects.filter(terminal=terminal, is_active=True).exclude(tool__state="retired").select_related("tool", "terminal")
    return [tool_row_facts(row) for row in rows]


def circuit_facts(termination: Termination) -> CircuitFacts:
    return CircuitFacts(temperature_c=termination.required_temperature_c, voltage_v=termination.required_voltage_v)


def facts_of(wires: Sequence[Wire]) -> list[WireFacts]:
    return [wire_facts(wire) for wire in wires]
