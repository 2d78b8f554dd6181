"""What a sample has to contain: characteristics with limits and pieces, pull tests, visual criteria."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from inspection.models import Sample, SampleKind
from inspection.verdict import Limits
from shop.characteristics import MEASURED, Characteristic, Quantity
from shop.criteria import VisualCriterion, cross_sections
from shop.jobs import Termination
from shop.plan_lines import Line, plan_criteria, plan_lines, stated_limits
from shop.sheet_content import PLACES
from shop.templatetags.shop import figure


@dataclass(frozen=True, slots=True)
class Planned:
    """One characteristic of a sample, measured on that many pieces with a gauge of this kind."""

    characteristic: str
    pieces: int
    limits: Limits
    gauge_kind: str

    @property
    def quantity(self) -> Quantity:
        return MEASURED[self.characteristic].quantity

    @property
    def unit(self) -> str:
        return MEASURED[self.characteristic].unit


@dataclass(frozen=True, slots=True)
class SamplePlan:
    """readings: in the order of measuring, without pull forces. pulls: how many pieces are pulled."""

    readings: tuple[Planned, ...]
    pulls: int
    pull_minimum_n: Decimal | None
    criteria: Sequence[VisualCriterion]

    def planned(self, characteristic: str) -> Planned | None:
        return next((p for p in self.readings if p.characteristic == characteristic), None)


def limits_of(t: Termination, characteristic: str) -> Limits | None:
    """The limits of a characteristic in its stored unit, or None where the sheet states none."""
    low, nominal, high = stated_limits(t, characteristic)
    return _limits(characteristic, low, nominal, high)


def _limits(characteristic: str, low: Decimal | None, nominal: Decimal | None, high: Decimal | None) -> Limits | None:
    if low is None and high is None:
        return None
    # Without the zeros of the column: a chart and a verdict show 1.40, not 1.4000.
    places = PLACES[MEASURED[characteristic].quantity]
    low, high, nominal = (None if value is None else Decimal(figure(value, places)) for value in (low, high, nominal))
    return Limits(low, high, nominal)


def _pieces(line: Line, kind: str, nth: int) -> int:
    if kind == SampleKind.IN_PROCESS:
        return line.sample if nth % line.every_nth == 0 else 0
    return line.last if kind == SampleKind.LAST_PIECE else line.first


def sample_plan(termination: Termination, kind: str, nth: int = 0) -> SamplePlan:
    """The plan of one sample of this kind.

    nth: which sample in process of its set-up it is, from 0: a line that asks for every fourth sample asks for 0, 4, 8.
    Cross-sections belong to the first piece and to the one after a change.
    """
    t = termination
    readings, pulls = [], 0
    for line in plan_lines(t):
        pieces = _pieces(line, kind, nth)
        if line.characteristic == Characteristic.PULL_FORCE:
            pulls = pieces
            continue
        limits = _limits(line.characteristic, line.low, line.nominal, line.high)
        if pieces and limits is not None:
            readings.append(Planned(line.characteristic, pieces, limits, line.gauge_kind))
    full = kind in (SampleKind.FIRST_PIECE, SampleKind.AFTER_CHANGE)
    return SamplePlan(
        readings=tuple(readings),
        pulls=pulls,
        pull_minimum_n=t.pull_force_min_n,
        criteria=(*plan_criteria(t), *cross_sections(t.cross_sections if full else 0)),
    )


def plan_of(sample: Sample) -> SamplePlan:
    """The plan of a sample that is being measured, or of one about to begin."""
    if sample.kind != SampleKind.IN_PROCESS:
        return sample_plan(sample.batch.termination, sample.kind)
    earlier = sample.batch.samples.filter(kind=SampleKind.IN_PROCESS, setup_number=sample.setup_number or sample.batch.setup_number)
    if sample.pk:
        earlier = earlier.filter(number__lt=sample.number)
    return sample_plan(sample.batch.termination, sample.kind, earlier.count())
