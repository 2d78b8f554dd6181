"""What the tool crib does with a tool: fit a wear part, record a service, verification or repair, and set the counter."""

from __future__ import annotations

from datetime import date, datetime, timedelta
from typing import Any

from django.db import transaction

from shop.acts.catalogue import HELD, subject_of
from shop.catalogue import kind_named
from shop.clock import shop_day
from shop.crib import CareKind, CareResult, ToolCare, WearPart
from shop.events import CounterSet, ToolCared, WearPartFitted, publish
from shop.finding import Finding, misfit, refuse_if
from shop.people import Person
from shop.permissions import Deed, permission_findings
from shop.tools import Tool, ToolState
from shop.validation import clean

AFTER_FAILED_VERIFICATION = (ToolState.IN_VERIFICATION, ToolState.ON_HOLD)
"""Where a tool may go that failed its verification; on hold only quality or an inspector takes it off again."""


def fit_wear_part(
    *,
    tool: Tool,
    kind: str,
    part_number: str,
    by: Person,
    at: datetime,
    serial: str = "",
    life_crimps: int | None = None,
    fitted_on: date | None = None,
    at_count: int | None = None,
    reason: str = "",
) -> WearPart:
    """Fit a wear part; the one of that kind fitted so far comes out on the same day, at the same count, for `reason`. Raises Refused.

    fitted_on, at_count: left out, today and the counter as it stands.
    """
    with transaction.atomic():
        tool = Tool.objects.select_for_update().get(pk=tool.pk)
        day = fitted_on or shop_day(at)
        count = tool.crimp_count if at_count is None else at_count
        worn = WearPart.objects.select_for_update().filter(tool=tool, kind=kind, removed_on__isnull=True).first()
        findings = _of_the_tool(tool, by) + _of_the_moment(tool, day, count, "fitted_on", at)
        if not part_number.strip():
            findings.append(misfit("data.required", "part_number"))
        if worn is not None:
            if not reason.strip():
                findings.append(misfit("crib.wear.reason", "reason", part=worn.part_number, kind=worn.get_kind_display()))
            if day < worn.fitted_on or count < worn.fitted_at_count:
                went_in, at_then = worn.fitted_on.isoformat(), worn.fitted_at_count
                findings.append(misfit("crib.wear.before", "fitted_on", part=worn.part_number, day=went_in, count=at_then))
        refuse_if(findings)
        if worn is not None:
            worn.removed_on, worn.removed_at_count, worn.removed_by, worn.removed_because = day, count, by, reason.strip()
            clean(worn)
            worn.save(update_fields=["removed_on", "removed_at_count", "removed_by", "removed_because"])
        part = WearPart(
            tool=tool,
            kind=kind,
            part_number=part_number.strip(),
            serial=serial.strip(),
            life_crimps=life_crimps,
            fitted_on=day,
            fitted_at_count=count,
            fitted_by=by,
        )
        clean(part)
        part.save(force_insert=True)
        content: dict[str, Any] = {
            "tool": tool.asset_number,
            "kind": part.kind,
            "part_number": part.part_number,
            "serial": part.serial,
            "life_crimps": part.life_crimps,
            "fitted_on": day.isoformat(),
            "at_count": count,
            "replaced": worn.part_number if worn else "",
            "replaced_after_crimps": worn.crimps if worn else None,
            "reason": reason.strip(),
        }
        publish(WearPartFitted(by=by, at=at, subject=_subject(tool), content=content))
    return part


def record_care(
    *,
    tool: Tool,
    kind: str,
    result: str,
    note: str,
    by: Person,
    at: datetime,
    done_on: date | None = None,
    at_count: int | None = None,
    failed_state: str = ToolState.IN_VERIFICATION,
) -> ToolCare:
    """Write down a service, verification or repair. Raises Refused.

    A passed service or verification sets when the next one is due, by the tool's plan in crimps and days; a repair does not. What was
    recorded late does not set back a due that a newer one made. A failed verification takes the tool out of use (`failed_state`), a
    failed service or repair sends it out for service, with the note as the reason; a tool on hold stays on hold. A passed one does not
    put a tool back into use: that is a decision of its own.
    """
    with transaction.atomic():
        tool = Tool.objects.select_for_update().get(pk=tool.pk)
        day = done_on or shop_day(at)
        count = tool.crimp_count if at_count is None else at_count
        failed = result == CareResult.FAILED
        findings = _of_the_tool(tool, by) + _of_the_moment(tool, day, count, "done_on", at)
        if not note.strip():
            findings.append(misfit("data.required", "note"))
        if failed and kind == CareKind.VERIFICATION and failed_state not in AFTER_FAILED_VERIFICATION:
            findings.append(misfit("crib.care.state", "failed_state", states=", ".join(AFTER_FAILED_VERIFICATION)))
        if result == CareResult.PASSED:
            findings += _plan_findings(tool, kind)
        refuse_if(findings)
        before = _care_state(tool)
        passed = ToolCare.objects.filter(tool=tool, kind=kind, result=CareResult.PASSED)
        last_passed = passed.filter(done_on__lte=day).first()
        care = ToolCare(tool=tool, kind=kind, done_on=day, at_count=count, result=result, note=note.strip(), by=by, at=at)
        clean(care)
        if failed:
            _take_out(tool, kind, failed_state, note)
        elif not passed.filter(done_on__gt=day).exists():
            _set_next_due(tool, kind, day, count)
        care.save(force_insert=True)
        clean(tool)
        tool.save(update_fields=list(before))
        content: dict[str, Any] = {
            "tool": tool.asset_number,
            "kind": care.kind,
            "result": care.result,
            "done_on": day.isoformat(),
            "at_count": count,
            "note": care.note,
            # What a failed verification puts in doubt: everything crimped since it last passed.
            "crimps_since_last_passed": count - last_passed.at_count if last_passed and last_passed.at_count <= count else None,
            "before": before,
            "after": _care_state(tool),
        }
        publish(ToolCared(by=by, at=at, subject=_subject(tool), content=content))
    return care


def set_counter(*, tool: Tool, count: int, by: Person, at: datetime, reason: str = "") -> Tool:
    """Set the counter to what the tool itself shows. Below what was counted so far only for a reason. Raises Refused."""
    with transaction.atomic():
        tool = Tool.objects.select_for_update().get(pk=tool.pk)
        findings = _of_the_tool(tool, by)
        if count < tool.crimp_count and not reason.strip():
            findings.append(misfit("crib.counter.back", "reason", tool=tool.asset_number, count=count, counted=tool.crimp_count))
        refuse_if(findings)
        if count == tool.crimp_count:
            return tool
        before, tool.crimp_count = tool.crimp_count, count
        clean(tool)
        tool.save(update_fields=["crimp_count"])
        content = {"tool": tool.asset_number, "before": before, "after": count, "reason": reason.strip()}
        publish(CounterSet(by=by, at=at, subject=_subject(tool), content=content))
    return tool


def _of_the_tool(tool: Tool, by: Person) -> list[Finding]:
    findings = permission_findings(by, Deed.CHANGE_TOOLS)
    if tool.state == ToolState.RETIRED:
        findings.append(misfit("crib.tool.retired", tool=tool.asset_number))
    return findings


def _of_the_moment(tool: Tool, day: date, count: int, field: str, at: datetime) -> list[Finding]:
    findings = []
    if day > shop_day(at):
        findings.append(misfit("crib.day.future", field, day=day.isoformat()))
    if count > tool.crimp_count:
        findings.append(misfit("crib.count.ahead", "at_count", tool=tool.asset_number, count=count, counted=tool.crimp_count))
    return findings


def _plan_findings(tool: Tool, kind: str) -> list[Finding]:
    """Whether the plan says when the next one is due. Verification needs a plan in days: it has a last good day."""
    if kind == CareKind.VERIFICATION and not tool.verification_every_days:
        return [misfit("crib.care.plan", "kind", tool=tool.asset_number, kind=kind, measures="days")]
    if kind == CareKind.SERVICE and not (tool.service_every_days or tool.service_every_crimps):
        return [misfit("crib.care.plan", "kind", tool=tool.asset_number, kind=kind, measures="crimps or days")]
    return []


def _set_next_due(tool: Tool, kind: str, day: date, count: int) -> None:
    """The next due by each measure the plan has; what was due by another measure is done with."""
    if kind == CareKind.SERVICE:
        tool.service_due_count = count + tool.service_every_crimps if tool.service_every_crimps else None
        tool.service_due_on = day + timedelta(days=tool.service_every_days) if tool.service_every_days else None
    elif kind == CareKind.VERIFICATION:
        tool.verification_due_count = count + tool.verification_every_crimps if tool.verification_every_crimps else None
        tool.verification_due_on = day + timedelta(days=tool.verification_every_days) if tool.verification_every_days else None


def _take_out(tool: Tool, kind: str, failed_state: str, note: str) -> None:
    if tool.state == HELD:
        return
    tool.state = failed_state if kind == CareKind.VERIFICATION else ToolState.OUT_FOR_SERVICE
    tool.state_reason = f"{kind} failed: {note.strip()}"[:200]


def _care_state(tool: Tool) -> dict[str, Any]:
    names = ("state", "state_reason", "service_due_count", "service_due_on", "verification_due_count", "verification_due_on")
    values = {name: getattr(tool, name) for name in names}
    return {name: value.isoformat() if isinstance(value, date) else value for name, value in values.items()}


def _subject(tool: Tool) -> tuple[str, int, str]:
    return subject_of(kind_named("tools"), tool)
