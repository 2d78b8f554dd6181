"""The inspection plan of a termination, characteristic by characteristic: what its own lines say, else the usual plan.

The usual plan (common practice): everything that has limits is measured on the first piece and after a change; crimp height also in
process and on the last piece; pull tests on the first and the last piece.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal

from shop.characteristics import MEASURED, Characteristic
from shop.criteria import VisualCriterion, criteria_for, own_criterion
from shop.jobs import ChartKind, PlanLine, Termination

MEAN_RANGE_MOST = 10
"""Above this many pieces in a sample the standard deviation uses more of what was measured than the range (common practice)."""


@dataclass(frozen=True, slots=True)
class Line:
    """One characteristic as it is inspected. first, sample, last: pieces in each kind of sample, 0 for none; every_nth: of the samples
    in process. low, nominal, high: limits in its stored unit."""

    characteristic: str
    gauge_kind: str
    first: int
    sample: int
    last: int
    every_nth: int
    chart: str
    low: Decimal | None
    nominal: Decimal | None
    high: Decimal | None

    @property
    def unit(self) -> str:
        return MEASURED[self.characteristic].unit


def stated_limits(t: Termination, characteristic: str) -> tuple[Decimal | None, Decimal | None, Decimal | None]:
    """Low, nominal and high of a characteristic as the termination states them."""
    measured = MEASURED[characteristic]
    low, nominal, high = (
        getattr(t, field) if field else None
        for field in (measured.limit_field("min"), measured.limit_field("nominal"), measured.limit_field("max"))
    )
    return low, nominal, high


def own_counts(t: Termination, characteristic: str) -> Mapping[str, int]:
    """The counts that the termination states itself, by their name in `Line`."""
    if characteristic == Characteristic.CRIMP_HEIGHT:
        return {"first": t.first_piece_heights, "sample": t.sample_size}
    if characteristic == Characteristic.PULL_FORCE:
        return {"first": t.first_piece_pulls, "last": t.last_piece_pulls}
    return {}


def usual_chart(characteristic: str, pieces: int) -> str:
    """The chart of a characteristic when nobody picked one: crimp height has one, by the size of its samples."""
    if characteristic != Characteristic.CRIMP_HEIGHT:
        return ChartKind.NONE.value
    if pieces <= 1:
        return ChartKind.INDIVIDUALS.value
    return ChartKind.MEAN_RANGE.value if pieces <= MEAN_RANGE_MOST else ChartKind.MEAN_S.value


def plan_lines(t: Termination) -> tuple[Line, ...]:
    """Every characteristic with limits, in the order of measuring (prefetch `plan_lines` for many terminations)."""
    stated = {line.characteristic: line for line in t.plan_lines.all()} if t.pk else {}
    lines = []
    for characteristic in Characteristic.values:
        low, nominal, high = stated_limits(t, characteristic)
        if low is not None or high is not None:
            lines.append(_line(t, characteristic, stated.get(characteristic), low, nominal, high))
    return tuple(lines)


def _line(
    t: Termination, characteristic: str, own: PlanLine | None, low: Decimal | None, nominal: Decimal | None, high: Decimal | None
) -> Line:
    usual = {"first": 1, "sample": 0, "last": 0, **own_counts(t, characteristic)}
    if characteristic == Characteristic.CRIMP_HEIGHT:
        usual["last"] = t.sample_size
    if own is not None:
        counts = {"first": own.first_pieces, "sample": own.sample_pieces, "last": own.last_pieces}
        usual |= {name: count for name, count in counts.items() if count is not None}
    return Line(
        characteristic=characteristic,
        gauge_kind=(own.gauge_kind if own else "") or MEASURED[characteristic].gauge_kind,
        **usual,
        every_nth=own.every_nth if own else 1,
        chart=(own.chart if own else "") or usual_chart(characteristic, usual["sample"]),
        low=low,
        nominal=nominal,
        high=high,
    )


def plan_criteria(t: Termination) -> tuple[VisualCriterion, ...]:
    """What is looked at: the usual criteria of the terminal without those left out, and the planner's own."""
    usual = criteria_for(t.terminal.barrel, t.terminal.has_support)
    return (*(c for c in usual if c.code not in t.criteria_left_out), *map(own_criterion, t.criteria_added))
