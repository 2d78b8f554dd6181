"""What a tool's page shows beside its facts: wear parts with their history, care, and the forms for both. Decided before the template."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from django import forms
from django.urls import reverse
from django.utils.translation import gettext as _

from shop.crib import CareResult, ToolCare, WearPart
from shop.forms.crib import CareForm, CounterForm, WearPartForm
from shop.pages.acting import Refusal
from shop.people import Person
from shop.permissions import Deed, may
from shop.standing import Standing
from shop.tools import Tool, ToolState

SHOWN = 100


@dataclass(frozen=True, slots=True)
class WearLine:
    """A wear part. until and because: empty while it is fitted."""

    kind: str
    part_number: str
    serial: str
    since: str
    since_count: int
    crimps: int
    life: str
    standing: Standing | None
    until: str
    because: str
    by: str


@dataclass(frozen=True, slots=True)
class CareLine:
    day: str
    kind: str
    at_count: int
    standing: Standing
    note: str
    by: str


@dataclass(frozen=True, slots=True)
class ActForm:
    """A form of one act. is_open: it was refused, or is the only way on."""

    name: str
    title: str
    button: str
    url: str
    form: forms.Form
    is_open: bool


@dataclass(frozen=True, slots=True)
class ToolCarePart:
    fitted: list[WearLine]
    removed: list[WearLine]
    cares: list[CareLine]
    acts: list[ActForm]


def tool_care_part(tool: Tool, person: Person, refusal: Refusal | None, typed: Mapping[str, Any]) -> ToolCarePart:
    rows = list(WearPart.objects.filter(tool=tool).select_related("fitted_by", "removed_by").order_by("kind", "-fitted_on", "-pk"))
    for row in rows:
        row.tool = tool  # its counter is read for every part
    cares = ToolCare.objects.filter(tool=tool).select_related("by")[:SHOWN]
    return ToolCarePart(
        fitted=[_wear(row) for row in rows if row.removed_on is None],
        removed=[_wear(row) for row in sorted(rows, key=lambda r: (r.removed_on or r.fitted_on, r.pk), reverse=True) if row.removed_on],
        cares=[_care(care) for care in cares],
        acts=_acts(tool, refusal, typed) if may(person, Deed.CHANGE_TOOLS) and tool.state != ToolState.RETIRED else [],
    )


def _wear(part: WearPart) -> WearLine:
    life, standing = part.life_crimps, None
    if life and part.removed_on is None:
        left = life - part.crimps
        worn = Standing("does not conform", _("{n} crimps past its life").format(n=-left))
        standing = Standing("conforms", _("{n} crimps left").format(n=left)) if left >= 0 else worn
    return WearLine(
        kind=part.get_kind_display(),
        part_number=part.part_number,
        serial=part.serial,
        since=part.fitted_on.isoformat(),
        since_count=part.fitted_at_count,
        crimps=part.crimps,
        life=str(life) if life else "",
        standing=standing,
        until=part.removed_on.isoformat() if part.removed_on else "",
        because=part.removed_because,
        by=(part.removed_by or part.fitted_by).name,
    )


def _care(care: ToolCare) -> CareLine:
    outcome = "conforms" if care.result == CareResult.PASSED else "does not conform"
    standing = Standing(outcome, care.get_result_display())
    return CareLine(care.done_on.isoformat(), care.get_kind_display(), care.at_count, standing, care.note, care.by.name)


def _acts(tool: Tool, refusal: Refusal | None, typed: Mapping[str, Any]) -> list[ActForm]:
    made = []
    for name, title, button, form_class in (
        ("care", _("Record a service, verification or repair"), _("Record it"), CareForm),
        ("wear-part", _("Fit a wear part"), _("Fit it"), WearPartForm),
        ("counter", _("Set the counter"), _("Set it"), CounterForm),
    ):
        refused = refusal is not None and typed.get("act") == name
        form = form_class(typed if refused else None, auto_id=f"{name}_%s")
        if refusal is not None and refused:
            refusal.tell(form)
        made.append(ActForm(name, title, button, reverse(f"shop:{name}", args=[tool.pk]), form, refused))
    return made
