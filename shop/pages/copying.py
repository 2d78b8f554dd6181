"""What stands beside the path of a sheet: copy it to another job, arrange it by set-ups, comment on it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_POST

from shop.acts.sheets import arrange_sheet, comment_on_sheet, copy_sheet
from shop.clock import now
from shop.forms.fields import KeyField
from shop.jobs import Job, SetupSheet
from shop.pages.acting import Refusal, acting, person_of, require
from shop.pages.catalogue import Crumb
from shop.pages.plan import crumbs_to
from shop.permissions import Deed


class CopyForm(forms.Form):
    job = KeyField(Job, "number", label=gettext_lazy("Job"), help_text=gettext_lazy("Its number; the job is open already."))


@dataclass(frozen=True, slots=True)
class CopyPage:
    """Drawn by the template that asks every question about a sheet."""

    title: str
    explanation: str
    action: str
    crumbs: list[Crumb]
    form: CopyForm
    leave_url: str


def _sheet(pk: int) -> SetupSheet:
    return get_object_or_404(SetupSheet.objects.select_related("job__customer", "author"), pk=pk)


def _copy_page(request: HttpRequest, pk: int, *, refusal: Refusal | None = None, form: CopyForm | None = None) -> HttpResponse:
    if refusal is None:
        require(request, Deed.DRAFT_SHEET)
    found = _sheet(pk)
    form = form or CopyForm(request.POST if refusal else None)
    if refusal:
        refusal.tell(form)
    page = CopyPage(
        title=_("Copy {sheet} to another job").format(sheet=found),
        explanation=_(
            "A draft with the same terminations: pieces for the harnesses of the other job, targets of the specifications in force now. "
            "What does not fit any more comes along and is named on the sheet."
        ),
        action=_("Copy the sheet"),
        crumbs=crumbs_to(found.job, found),
        form=form,
        leave_url=reverse("plan:sheet", args=[pk]),
    )
    return render(request, "plan/ask.html", {"page": page, "refusal": refusal, "place": "plan"}, status=422 if form.errors else 200)


@acting
def copy(request: HttpRequest, pk: int) -> HttpResponse:
    return _copy(request, pk) if request.method == "POST" else _copy_page(request, pk)


@acting(again=_copy_page)
def _copy(request: HttpRequest, pk: int) -> HttpResponse:
    form = CopyForm(request.POST)
    if not form.is_valid():
        return _copy_page(request, pk, form=form)
    job: Any = form.cleaned_data["job"]
    draft = copy_sheet(sheet=_sheet(pk), job=job, by=person_of(request), at=now())
    messages.success(request, _("{sheet} is drafted as a copy.").format(sheet=draft))
    return redirect("plan:sheet", draft.pk)


@require_POST
@acting
def arrange(request: HttpRequest, pk: int) -> HttpResponse:
    arrange_sheet(sheet=_sheet(pk), by=person_of(request), at=now())
    messages.success(request, _("The terminations stand in the order of their set-ups."))
    return redirect("plan:sheet", pk)


@require_POST
@acting
def comment(request: HttpRequest, pk: int) -> HttpResponse:
    comment_on_sheet(sheet=_sheet(pk), text=request.POST.get("text", ""), by=person_of(request), at=now())
    return redirect(f"{reverse('plan:sheet', args=[pk])}#h-comments")
