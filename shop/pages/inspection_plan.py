"""The inspection plan of a termination, characteristic by characteristic."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _

from shop.acts.inspection_plans import plan_inspection
from shop.clock import now
from shop.figures import show_force, show_length
from shop.finding import misfit, refuse_if
from shop.forms.inspection_plan import InspectionPlanForm, PlanRow
from shop.jobs import SetupSheet, SheetStatus, Termination
from shop.pages.acting import Refusal, acting, person_of, require
from shop.pages.catalogue import Crumb
from shop.pages.plan import crumbs_to
from shop.pages.showing import system_of
from shop.permissions import Deed
from shop.plan_lines import Line
from shop.quantity import System
from shop.templatetags.shop import figure


@dataclass(frozen=True, slots=True)
class ShownRow:
    """A row of the plan with its limits in words."""

    row: PlanRow
    limits: str
    has_errors: bool


@dataclass(frozen=True, slots=True)
class InspectionPlanPage:
    sheet: SetupSheet
    title: str
    crumbs: list[Crumb]
    form: InspectionPlanForm
    rows: list[ShownRow]
    criteria: Any
    added: Any
    every: str
    leave_url: str


def _termination(sheet_pk: int, pk: int) -> Termination:
    rows = Termination.objects.select_related("terminal", "sheet__job__customer", "sheet__author").prefetch_related("plan_lines")
    return get_object_or_404(rows, sheet=sheet_pk, pk=pk)


def _limits(line: Line, system: System) -> str:
    def shown(value: Decimal | None) -> str:
        if value is None:
            return ""
        if line.unit == "mm":
            return show_length(value, system)
        return show_force(value, system) if line.unit == "N" else f"{figure(value)} {line.unit}"

    low, high = shown(line.low), shown(line.high)
    if low and high:
        return _("{low} to {high}").format(low=low.partition(" ")[0], high=high)
    return _("at least {value}").format(value=low) if low else _("at most {value}").format(value=high)


def _page(
    request: HttpRequest, sheet_pk: int, pk: int, *, refusal: Refusal | None = None, form: InspectionPlanForm | None = None
) -> HttpResponse:
    if refusal is None:
        require(request, Deed.DRAFT_SHEET)
    t, system = _termination(sheet_pk, pk), system_of(person_of(request))
    if refusal is None and t.sheet.status != SheetStatus.DRAFT:
        refuse_if([misfit("sheet.status", sheet=str(t.sheet), status=t.sheet.status, needed=SheetStatus.DRAFT.value)])
    form = form or InspectionPlanForm(request.POST if refusal else None, termination=t)
    if refusal:
        refusal.tell(form)
    minutes = _(", and at the latest after {minutes} minutes").format(minutes=t.sample_every_minutes) if t.sample_every_minutes else ""
    page = InspectionPlanPage(
        sheet=t.sheet,
        title=_("Inspection of {lead} {end}").format(lead=t.lead, end=t.end),
        crumbs=crumbs_to(t.sheet.job, t.sheet),
        form=form,
        rows=[ShownRow(row, _limits(row.line, system), any(cell.errors for cell in row.cells)) for row in form.rows()],
        criteria=form["criteria"],
        added=form["added"],
        every=_("A sample in process is due every {pieces} pieces{minutes}.").format(pieces=t.sample_every, minutes=minutes),
        leave_url=reverse("plan:termination", args=[sheet_pk, pk]),
    )
    status = 422 if form.errors else 200
    return render(request, "plan/inspection_plan.html", {"page": page, "refusal": refusal, "place": "plan"}, status=status)


@acting
def inspection_plan(request: HttpRequest, sheet_pk: int, pk: int) -> HttpResponse:
    return _state(request, sheet_pk, pk) if request.method == "POST" else _page(request, sheet_pk, pk)


@acting(again=_page)
def _state(request: HttpRequest, sheet_pk: int, pk: int) -> HttpResponse:
    t = _termination(sheet_pk, pk)
    form = InspectionPlanForm(request.POST, termination=t)
    if not form.is_valid():
        return _page(request, sheet_pk, pk, form=form)
    plan_inspection(termination=t, stated=form.stated(), by=person_of(request), at=now())
    messages.success(request, _("The inspection of {lead} {end} is planned.").format(lead=t.lead, end=t.end))
    return redirect("plan:sheet", sheet_pk)
