"""The shape of a setup sheet's content, for the schema: exactly what a signature covers, every figure as text."""

from __future__ import annotations

from typing import Any, TypedDict


class LimitsShape(TypedDict, total=False):
    low: str
    high: str
    nominal: str


class WireShape(TypedDict):
    part_number: str
    description: str
    size: str
    csa_mm2: str
    od_mm: str
    colour: str


class TerminalShape(TypedDict):
    part_number: str
    description: str
    barrel: str
    has_support: bool


class ToolShape(TypedDict):
    asset_number: str
    kind: str
    setting: str


class SpecificationShape(TypedDict):
    number: str
    revision: str
    document: str
    document_revision: str


class _TargetsAlways(TypedDict):
    crimp_height_mm: LimitsShape | None
    crimp_width_mm: LimitsShape | None
    insulation_height_mm: LimitsShape | None
    strip_length_mm: LimitsShape | None
    pull_force_min_n: str
    pull_force_source: str


class TargetsShape(_TargetsAlways, total=False):
    bell_mouth_mm: LimitsShape
    brush_mm: LimitsShape
    cut_off_tab_max_mm: str
    resistance_max_mohm: str
    compaction_pct: LimitsShape


class _PlanAlways(TypedDict):
    first_piece_heights: int
    first_piece_pulls: int
    sample_every: int
    sample_size: int
    last_piece_pulls: int
    inspector_signs: bool


class PlanLineShape(TypedDict):
    """The plan of one characteristic: pieces in each kind of sample, gauge and chart."""

    characteristic: str
    gauge: str
    first_piece: int
    in_process: int
    last_piece: int
    every_nth_sample: int
    chart: str


class PlanShape(_PlanAlways, total=False):
    sample_every_minutes: int
    cross_sections: int
    rework_allowed: bool
    lines: list[PlanLineShape]
    criteria_left_out: list[str]
    criteria_added: list[str]


class _TerminationAlways(TypedDict):
    position: int
    lead: str
    end: str
    circuit: str
    quantity: int
    wires: list[WireShape]
    csa_mm2: str
    wire_length_mm: str
    terminal: TerminalShape
    tool: ToolShape | None
    specification: SpecificationShape | None
    targets: TargetsShape
    plan: PlanShape


class TerminationShape(_TerminationAlways, total=False):
    press: str
    required_current_a: str
    dipped_end: bool


class JobShape(TypedDict):
    number: str
    customer: str
    part_number: str
    part_name: str
    drawing: str
    drawing_revision: str
    quantity: int


class SheetShape(TypedDict):
    sheet: str
    revision: int
    change_reason: str
    author: str
    job: JobShape
    terminations: list[TerminationShape]


class EntryShape(TypedDict):
    """The canonical text of a ledger entry, read. content: what happened, or what was signed."""

    kind: str
    version: int
    at: str
    by: dict[str, Any]
    subject: dict[str, Any]
    content: dict[str, Any]
    signature: dict[str, Any] | None
