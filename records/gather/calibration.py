"""How the gauges stand on a day: last calibration, its result, when the next is due."""

from __future__ import annotations

from collections import Counter
from datetime import date, datetime

from records.content import Outcome
from records.gather.common import day, shop_content
from records.report_content import CalibrationStatusRecord, GaugeStatus
from shop.people import Person
from shop.templatetags.shop import figure, moment
from shop.tools import Calibration, CalibrationResult, Gauge, GaugeState

SOON_DAYS = 30
"""A gauge due within so many days is marked; common practice, so that it can be sent away in time."""

STANDINGS = ("overdue", "out of tolerance", "never calibrated", "due soon", "in calibration")
"""In the order in which they are told: what needs somebody first."""


def standing_of(newest: Calibration | None, on: date) -> tuple[str, Outcome]:
    """How a gauge with this newest calibration stands on a day: one of `STANDINGS`, and the shape that goes with it."""
    if newest is None:
        return "never calibrated", "cannot be decided"
    if newest.result == CalibrationResult.OUT_OF_TOLERANCE:
        return "out of tolerance", "does not conform"
    if newest.due_on < on:
        return "overdue", "does not conform"
    if (newest.due_on - on).days <= SOON_DAYS:
        return "due soon", "waiting"
    return "in calibration", "conforms"


def gauge_statuses(on: date, kind: str = "") -> list[GaugeStatus]:
    """Every gauge that is not retired, by asset number. kind: of gauge, "" for all."""
    gauges = Gauge.objects.exclude(state=GaugeState.RETIRED).order_by("asset_number")
    gauges = gauges.filter(kind=kind) if kind else gauges
    newest: dict[int, Calibration] = {}
    for one in Calibration.objects.filter(gauge__in=gauges, calibrated_on__lte=on).order_by("calibrated_on", "pk"):
        newest[one.gauge_id] = one
    return [_status(gauge, newest.get(gauge.pk), on) for gauge in gauges]


def _status(gauge: Gauge, last: Calibration | None, on: date) -> GaugeStatus:
    standing, outcome = standing_of(last, on)
    return {
        "asset_number": gauge.asset_number,
        "kind": gauge.kind,
        "description": gauge.description,
        "state": gauge.state,
        "resolution": f"{figure(gauge.resolution)} {gauge.unit}",
        "calibrated": day(last.calibrated_on) if last else "",
        "result": last.result if last else "",
        "due": day(last.due_on) if last else "",
        "days_left": str((last.due_on - on).days) if last else "",
        "certificate": last.certificate if last else "",
        "laboratory": last.laboratory if last else "",
        "uncertainty": f"{figure(last.expanded_uncertainty)} {gauge.unit}" if last and last.expanded_uncertainty is not None else "",
        "standing": standing,
        "outcome": outcome,
    }


def counted(gauges: list[GaugeStatus]) -> list[str]:
    """ "2 overdue", "9 in calibration": nothing for what no gauge is."""
    counts = Counter(gauge["standing"] for gauge in gauges)
    return [f"{counts[word]} {word}" for word in STANDINGS if counts[word]]


def calibration_status(on: date, kind: str, *, number: str, by: Person, at: datetime) -> CalibrationStatusRecord:
    gauges = gauge_statuses(on, kind)
    return {
        "kind": "calibration status",
        "version": "1",
        "number": number,
        "as_of": day(on),
        "only": kind,
        "asked_by": by.name,
        "asked_at": moment(at),
        "shop": shop_content(),
        "counts": counted(gauges),
        "gauges": gauges,
        "signatures": [],
    }
