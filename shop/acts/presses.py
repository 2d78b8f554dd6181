"""The verification of a press's shut height: measured, judged, and the next one due."""

from __future__ import annotations

from datetime import date, datetime
from decimal import Decimal
from typing import Any

from django.db import transaction

from shop.acts.catalogue import HELD, subject_of
from shop.catalogue import kind_named
from shop.clock import shop_day
from shop.crib import CareResult, Press, PressCheck
from shop.events import ShutHeightVerified, publish
from shop.finding import Finding, misfit, refuse_if
from shop.people import Person
from shop.permissions import Deed, permission_findings
from shop.templatetags.shop import figure
from shop.tools import Gauge, ToolState
from shop.validation import clean


def verify_shut_height(
    *,
    press: Press,
    measured_mm: Decimal,
    gauge: Gauge,
    due_on: date,
    by: Person,
    at: datetime,
    done_on: date | None = None,
    note: str = "",
) -> PressCheck:
    """Write down a measured shut height. Raises Refused.

    Within the press's own tolerance it passes, and rule 5 counts on it until `due_on`. Beyond it the press goes into verification, and
    what was verified before is void; a press on hold stays on hold.
    """
    with transaction.atomic():
        press = Press.objects.select_for_update().get(pk=press.pk)
        day = done_on or shop_day(at)
        refuse_if(permission_findings(by, Deed.CHANGE_TOOLS) + _findings(press, gauge, measured_mm, day, due_on, at))
        height, tolerance = press.shut_height_mm, press.shut_height_tolerance_mm
        if height is None or tolerance is None:
            raise AssertionError("refused above")
        passed = abs(measured_mm - height) <= tolerance
        before = _state(press)
        check = PressCheck(
            press=press,
            done_on=day,
            measured_mm=measured_mm,
            nominal_mm=height,
            tolerance_mm=tolerance,
            result=CareResult.PASSED if passed else CareResult.FAILED,
            gauge=gauge,
            note=note.strip(),
            by=by,
            at=at,
        )
        clean(check)
        check.save(force_insert=True)
        if passed:
            press.shut_height_verified_on, press.shut_height_due_on = day, due_on
        else:
            press.shut_height_verified_on = press.shut_height_due_on = None
            if press.state != HELD:
                press.state = ToolState.IN_VERIFICATION
                press.state_reason = f"shut height {figure(measured_mm, 2)} mm, asked {figure(height, 2)} ± {figure(tolerance, 2)} mm"
        clean(press)
        press.save(update_fields=list(before))
        content = {
            "press": press.asset_number,
            "measured_mm": figure(measured_mm, 2),
            "nominal_mm": figure(height, 2),
            "tolerance_mm": figure(tolerance, 2),
            "result": check.result,
            "gauge": gauge.asset_number,
            "done_on": day.isoformat(),
            "note": check.note,
            "before": before,
            "after": _state(press),
        }
        publish(ShutHeightVerified(by=by, at=at, subject=subject_of(kind_named("presses"), press), content=content))
    return check


def _findings(press: Press, gauge: Gauge, measured_mm: Decimal, day: date, due_on: date, at: datetime) -> list[Finding]:
    found = []
    if press.state == ToolState.RETIRED:
        found.append(misfit("crib.tool.retired", tool=press.asset_number))
    if press.shut_height_mm is None or press.shut_height_tolerance_mm is None:
        found.append(misfit("crib.press.height", press=press.asset_number))
    if not measured_mm.is_finite() or measured_mm <= 0:
        found.append(misfit("data.positive", "measured_mm", message="The value must be greater than zero."))
    if day > shop_day(at):
        found.append(misfit("crib.day.future", "done_on", day=day.isoformat()))
    if due_on <= day:
        found.append(misfit("crib.press.due", "due_on", due=due_on.isoformat(), day=day.isoformat()))
    if gauge.calibration_in_force(day) is None:
        found.append(misfit("crib.press.gauge", "gauge", gauge=gauge.asset_number, day=day.isoformat()))
    return found


def _state(press: Press) -> dict[str, Any]:
    names = ("state", "state_reason", "shut_height_verified_on", "shut_height_due_on")
    values = {name: getattr(press, name) for name in names}
    return {name: value.isoformat() if isinstance(value, date) else value for name, value in values.items()}
