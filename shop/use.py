"""Whether a tool, a material lot, a gauge and a person may be used on a day (rules 7 to 10). Kin of `shop.fit`, worded in the same place.

A due date is the last good day. The day is a date of the shop's own zone, handed in by the caller who reads the clock.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from shop.finding import Finding
from shop.ruling import all_of, answer

RESOLUTION_SHARE = 10
"""A gauge resolves at most a tenth of the total tolerance (common practice)."""


@dataclass(frozen=True, slots=True)
class ToolStateFacts:
    """A tool at the moment of use. crimp_count and the due counts are readings of its counter; None: no plan by that measure."""

    tool: str
    state: str
    crimp_count: int | None
    service_due_count: int | None
    service_due_on: date | None
    verification_due_on: date | None
    verification_due_count: int | None = None


@dataclass(frozen=True, slots=True)
class LotStateFacts:
    """A material lot at the moment of use. usable_until None: the material does not age."""

    lot: str
    part_number: str
    state: str
    usable_until: date | None = None


@dataclass(frozen=True, slots=True)
class GaugeStateFacts:
    """A gauge with its newest calibration up to the day of use. resolution is in the unit of the tolerance it is compared with."""

    gauge: str
    kind: str
    state: str
    resolution: Decimal | None
    calibrated_on: date | None
    due_on: date | None
    in_tolerance: bool | None


@dataclass(frozen=True, slots=True)
class QualificationFacts:
    """A qualification of one person. tool_kind empty: any kind of tool. expires_on None: it does not expire."""

    process: str
    tool_kind: str | None
    granted_on: date
    expires_on: date | None
    withdrawn_on: date | None = None


def tool_use(tool: ToolStateFacts, on: date) -> tuple[Finding, ...]:
    """Rule 7: available, service and verification overdue neither by crimps nor by days.

    A service plan by crimps or by days alone is a plan; without either nobody can say whether service is due. Verification always has a
    day: a tool that lies in a drawer ages too. A due count is the last good count.
    """
    found = [
        answer("use.tool.state", tool.state == "available", "tool", tool=tool.tool, state=tool.state),
        answer(
            "use.tool.verification",
            None if tool.verification_due_on is None else on <= tool.verification_due_on,
            "tool",
            tool=tool.tool,
            due=tool.verification_due_on,
            day=on,
        ),
    ]
    if tool.verification_due_count is not None:
        count, due = tool.crimp_count, tool.verification_due_count
        fits = None if count is None else count <= due
        found.append(answer("use.tool.verification_count", fits, "tool", tool=tool.tool, count=count, due_count=due))
    if tool.service_due_count is not None:
        count, due = tool.crimp_count, tool.service_due_count
        fits = None if count is None else count <= due
        found.append(answer("use.tool.service_count", fits, "tool", tool=tool.tool, count=count, due_count=due))
    if tool.service_due_on is not None or tool.service_due_count is None:
        fits = None if tool.service_due_on is None else on <= tool.service_due_on
        found.append(answer("use.tool.service_date", fits, "tool", tool=tool.tool, due=tool.service_due_on, day=on))
    return tuple(found)


def press_use(press: str, state: str) -> Finding:
    """Rule 7 for a press: available. Its verified shut height belongs to rule 5."""
    return answer("use.press.state", state == "available", "press", press=press, state=state)


def lot_use(lot: LotStateFacts, expected_part: str, on: date) -> tuple[Finding, ...]:
    """Rule 8: released, of the part the sheet asks for, not past its shelf life."""
    found = [
        answer("use.lot.state", lot.state == "released", "lot", lot=lot.lot, state=lot.state),
        answer("use.lot.part", lot.part_number == expected_part, "lot", lot=lot.lot, part=lot.part_number, expected=expected_part),
    ]
    if lot.usable_until is not None:
        found.append(answer("use.lot.shelf_life", on <= lot.usable_until, "lot", lot=lot.lot, until=lot.usable_until, day=on))
    return tuple(found)


def gauge_use(gauge: GaugeStateFacts, tolerance: Decimal | None, on: date, *, expected_kind: str | None = None) -> tuple[Finding, ...]:
    """Rule 9: available, in calibration on that day, of the kind asked for, and fine enough.

    tolerance: the total tolerance to be judged, in the gauge's unit; None where the characteristic has one limit only (a pull force).
    expected_kind: left out, the kind is not judged.
    """
    found = [answer("use.gauge.state", gauge.state == "available", "gauge", gauge=gauge.gauge, state=gauge.state)]
    if expected_kind is not None:
        fits = gauge.kind == expected_kind
        found.append(answer("use.gauge.kind", fits, "gauge", gauge=gauge.gauge, kind=gauge.kind, expected=expected_kind))
    calibrated, due = gauge.calibrated_on, gauge.due_on
    in_calibration = all_of(
        (
            None if calibrated is None else calibrated <= on,
            None if due is None else on <= due,
            gauge.in_tolerance,
        )
    )
    result = None if gauge.in_tolerance is None else "in tolerance" if gauge.in_tolerance else "out of tolerance"
    compared = {"gauge": gauge.gauge, "calibrated": calibrated, "due": due, "day": on, "result": result}
    found.append(answer("use.gauge.calibration", in_calibration, "gauge", **compared))
    if tolerance is not None:
        fine = None if gauge.resolution is None else gauge.resolution * RESOLUTION_SHARE <= tolerance
        numbers = {"resolution": gauge.resolution, "tolerance": tolerance}
        found.append(answer("use.gauge.resolution", fine, "gauge", gauge=gauge.gauge, **numbers))
    return tuple(found)


def person_use(
    qualifications: Iterable[QualificationFacts], process: str, tool_kind: str | None, on: date, *, person: str = ""
) -> tuple[Finding, ...]:
    """Rule 10: a qualification for this process, and for this kind of tool where one is used, is current on that day.

    tool_kind empty: the process needs no tool. The answer names the last day of the qualification that comes nearest.
    """
    fitting = [q for q in qualifications if q.process == process and (not q.tool_kind or not tool_kind or q.tool_kind == tool_kind)]
    current = any(
        q.granted_on <= on and (q.expires_on is None or on <= q.expires_on) and (q.withdrawn_on is None or on < q.withdrawn_on)
        for q in fitting
    )
    ended = max((q.expires_on for q in fitting if q.expires_on is not None), default=None)
    compared = {"person": person, "process": process, "tool_kind": tool_kind or "any tool", "expired": ended, "day": on}
    return (answer("use.person.qualification", current, "person", **compared),)
