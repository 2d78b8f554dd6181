"""The shut height of a press: what it has to be, every verification of it, and recording the next."""

from __future__ import annotations

from dataclasses import dataclass

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _

from shop.acts.presses import verify_shut_height
from shop.catalogue import KINDS
from shop.clock import now
from shop.crib import CareResult, Press, PressCheck
from shop.figures import show_length
from shop.finding import Refused
from shop.forms.crib import ShutHeightForm
from shop.pages.acting import Refusal, acting, person_of
from shop.pages.catalogue import Crumb
from shop.pages.showing import system_of
from shop.permissions import Deed, may
from shop.validation import findings_from

SHOWN = 100


@dataclass(frozen=True, slots=True)
class CheckLine:
    day: str
    measured: str
    asked: str
    outcome: str
    word: str
    gauge: str
    note: str
    by: str


@dataclass(frozen=True, slots=True)
class ShutHeightPage:
    press: Press
    crumbs: list[Crumb]
    asked: str
    due: str
    lines: list[CheckLine]
    form: ShutHeightForm | None
    leave_url: str


def _page(request: HttpRequest, pk: int, *, refusal: Refusal | None = None) -> HttpResponse:
    press, person = get_object_or_404(Press, pk=pk), person_of(request)
    system = system_of(person)
    form = None
    if may(person, Deed.CHANGE_TOOLS):
        form = ShutHeightForm(request.POST if refusal else None)
        if refusal:
            refusal.tell(form)
    leave = reverse("shop:detail", args=["presses", pk])
    height, tolerance = press.shut_height_mm, press.shut_height_tolerance_mm
    checks = PressCheck.objects.filter(press=press).select_related("gauge", "by")[:SHOWN]
    page = ShutHeightPage(
        press=press,
        crumbs=[
            Crumb(_("Shop"), reverse("shop:catalogue")),
            Crumb(str(KINDS["presses"].title), reverse("shop:list", args=["presses"])),
            Crumb(press.asset_number, leave),
            Crumb(_("Shut height")),
        ],
        asked=f"{show_length(height, system)} ± {show_length(tolerance, system)}" if height is not None and tolerance is not None else "",
        due=press.shut_height_due_on.isoformat() if press.shut_height_due_on else "",
        lines=[
            CheckLine(
                day=check.done_on.isoformat(),
                measured=show_length(check.measured_mm, system),
                asked=f"{show_length(check.nominal_mm, system)} ± {show_length(check.tolerance_mm, system)}",
                outcome="conforms" if check.result == CareResult.PASSED else "does not conform",
                word=check.get_result_display(),
                gauge=check.gauge.asset_number,
                note=check.note,
                by=check.by.name,
            )
            for check in checks
        ],
        form=form,
        leave_url=leave,
    )
    return render(request, "catalogue/shut_height.html", {"page": page, "refusal": refusal, "place": "shop"})


@acting(again=_page)
def shut_height(request: HttpRequest, pk: int) -> HttpResponse:
    if request.method != "POST":
        return _page(request, pk)
    form = ShutHeightForm(request.POST)
    if not form.is_valid():
        raise Refused(findings_from(ValidationError(form.errors.as_data())))
    check = verify_shut_height(press=get_object_or_404(Press, pk=pk), by=person_of(request), at=now(), **form.stated())
    if check.result == CareResult.PASSED:
        messages.success(request, _("The shut height is verified."))
    else:
        messages.warning(request, _("The shut height is beyond its tolerance: the press is in verification."))
    return redirect("shop:shut-height", pk)
