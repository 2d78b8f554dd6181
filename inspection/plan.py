"""What a sample has to contain: characteristics with limits and pieces, pull tests, visual criteria."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from inspection.criteria import VisualCriterion, criteria_for, cross_sections
from inspection.models import Characteristic, Sample, SampleKind
from inspection.verdict import Limits
from shop.jobs import Termination
from shop.sheet_content import MM_PLACES
from shop.templatetags.shop import figure
from shop.tools import GaugeKind


@dataclass(frozen=True, slots=True)
class Planned:
    """One characteristic of a sample, measured on that many pieces with a gauge of this kind."""

    characteristic: str
    pieces: int
    limits: Limits
    gauge_kind: str


@dataclass(frozen=True, slots=True)
class SamplePlan:
    readings: tuple[Planned, ...]
    pulls: int
    pull_minimum_n: Decimal | None
    criteria: Sequence[VisualCriterion]

    def planned(self, characteristic: str) -> Planned | None:
        return next((p for p in self.readings if p.characteristic == characteristic), None)


def limits_of(t: Termination, characteristic: str) -> Limits | None:
    low, high, nominal = {
        Characteristic.CRIMP_HEIGHT.value: (t.crimp_height_min_mm, t.crimp_height_max_mm, t.crimp_height_nominal_mm),
        Characteristic.CRIMP_WIDTH.value: (t.crimp_width_min_mm, t.crimp_width_max_mm, t.crimp_width_nominal_mm),
        Characteristic.INSULATION_HEIGHT.value: (
            t.insulation_height_min_mm,
            t.insulation_height_max_mm,
            t.insulation_height_nominal_mm,
        ),
        Characteristic.STRIP_LENGTH.value: (t.strip_length_min_mm, t.strip_length_max_mm, t.strip_length_nominal_mm),
    }[characteristic]
    if low is None and high is None:
        return None
    # Without the zeros of the column: a chart and a verdict show 1.40, not 1.4000.
    low, high, nominal = (None if value is None else Decimal(figure(value, MM_PLACES)) for value in (low, high, nominal))
    return Limits(low, high, nominal)


def gauge_kind_for(characteristic: str) -> str:
    return GaugeKind.CRIMP_HEIGHT.value if characteristic == Characteristic.CRIMP_HEIGHT else GaugeKind.CALIPER.value


def sample_plan(termination: Termination, kind: str) -> SamplePlan:
    """The plan of one sample of this kind.

    First piece and after a change: everything, cross-sections too. In process: crimp height and visual. Last piece: crimp height,
    pull tests and visual.
    """
    t = termination
    full = kind in (SampleKind.FIRST_PIECE, SampleKind.AFTER_CHANGE)
    readings = []
    for characteristic in Characteristic.values:
        limits = limits_of(t, characteristic)
        is_height = characteristic == Characteristic.CRIMP_HEIGHT
        if limits is None or not (full or is_height):
            continue
        pieces = (t.first_piece_heights if full else t.sample_size) if is_height else 1
        readings.append(Planned(characteristic, pieces, limits, gauge_kind_for(characteristic)))
    pulls = t.first_piece_pulls if full else t.last_piece_pulls if kind == SampleKind.LAST_PIECE else 0
    return SamplePlan(
        readings=tuple(readings),
        pulls=pulls if t.pull_force_min_n is not None else 0,
        pull_minimum_n=t.pull_force_min_n,
        criteria=(*criteria_for(t.terminal.barrel, t.terminal.has_support), *cross_sections(t.cross_sections if full else 0)),
    )


def plan_of(sample: Sample) -> SamplePlan:
    return sample_plan(sample.batch.termination, sample.kind)
