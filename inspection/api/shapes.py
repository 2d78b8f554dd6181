"""The shape of a sample's content, for the schema: exactly what a signature covers."""

from __future__ import annotations

from typing import TypedDict

from shop.api.shapes import LimitsShape


class _RuleOfReading(TypedDict, total=False):
    """Where measurement uncertainty moved the limits of acceptance; and how the value came in, where that was said."""

    decision_rule: str
    guard_band: str
    source: str


class _LimitsOfReading(_RuleOfReading, total=False):
    """One of them, by the unit of what was measured."""

    limits_mm: LimitsShape | None
    limits_mohm: LimitsShape | None
    limits_pct: LimitsShape | None


class ReadingShape(_LimitsOfReading):
    characteristic: str
    piece: int
    value: str
    unit: str
    outcome: str
    gauge: str
    certificate: str
    by: str
    at: str


class PullShape(_RuleOfReading):
    piece: int
    value: str
    unit: str
    minimum_n: str
    mode: str
    outcome: str
    gauge: str
    certificate: str
    by: str
    at: str


class VisualShape(TypedDict):
    criterion: str
    accepted: bool
    note: str
    by: str
    at: str


class SampleShape(TypedDict):
    batch: str
    sheet: str
    revision: int
    lead: str
    end: str
    sample: int
    sample_kind: str
    set_up: int
    at_count: int
    readings: list[ReadingShape]
    pull_tests: list[PullShape]
    visual: list[VisualShape]
    outcome: str
