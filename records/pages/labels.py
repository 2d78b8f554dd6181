"""Travellers and bag tags of a released sheet, to be printed at a desk."""

from __future__ import annotations

from dataclasses import dataclass

from django import forms
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_GET

from records.labels import (
    MOST_IN_A_FILE,
    MOST_TAGS,
    Symbol,
    bag_tags,
    bag_tags_pdf,
    bags_needed,
    travellers,
    travellers_pdf,
)
from records.pages.sealing import sealing
from shop.clock import now, shop_day
from shop.finding import Refused, misfit
from shop.forms.fields import CountField
from shop.jobs import SetupSheet, SheetStatus
from shop.pages.acting import acting, person_of
from shop.pages.catalogue import Crumb
from shop.pages.plan import crumbs_to
from shop.pages.showing import system_of
from shop.planning import sheet_checks

SYMBOLS = [(Symbol.QR.value, gettext_lazy("QR code")), (Symbol.DATA_MATRIX.value, gettext_lazy("Data Matrix, smaller modules"))]


class TravellersForm(forms.Form):
    symbol = forms.ChoiceField(label=gettext_lazy("Symbol"), choices=SYMBOLS, initial=Symbol.QR.value)
    part = forms.ChoiceField(label=gettext_lazy("Terminations"))

    def __init__(self, *args: object, parts: list[tuple[str, str]], **kwargs: object) -> None:
        super().__init__(*args, **kwargs)  # type: ignore[arg-type]  # passed through as they came
        self.fields["part"] = forms.ChoiceField(label=gettext_lazy("Terminations"), choices=parts)


class TagsForm(forms.Form):
    symbol = forms.ChoiceField(label=gettext_lazy("Symbol"), choices=SYMBOLS, initial=Symbol.DATA_MATRIX.value)
    per_bag = CountField(
        label=gettext_lazy("Leads in a bag"), required=False, help_text=gettext_lazy("Left empty: all of a lead in one bag.")
    )


@dataclass(frozen=True, slots=True)
class LabelsPage:
    sheet: SetupSheet
    crumbs: list[Crumb]
    travellers: TravellersForm
    tags: TagsForm
    travellers_url: str
    tags_url: str


def _released(pk: int) -> SetupSheet:
    """A sheet whose working papers may lie about: only one in force. Raises Refused."""
    sheet = get_object_or_404(SetupSheet.objects.select_related("job__customer", "author"), pk=pk)
    if sheet.status != SheetStatus.RELEASED:
        raise Refused([misfit("sheet.status", sheet=str(sheet), status=sheet.status, needed=SheetStatus.RELEASED.value)])
    return sheet


def _parts(count: int) -> list[tuple[str, str]]:
    starts = range(0, count, MOST_IN_A_FILE)
    return [(str(start), _("{first} to {last}").format(first=start + 1, last=min(start + MOST_IN_A_FILE, count))) for start in starts]


def _page(request: HttpRequest, sheet: SetupSheet, *, wrong: forms.Form | None = None) -> HttpResponse:
    parts = _parts(sheet.terminations.count())
    page = LabelsPage(
        sheet=sheet,
        crumbs=crumbs_to(sheet.job, sheet),
        travellers=wrong if isinstance(wrong, TravellersForm) else TravellersForm(parts=parts, auto_id="travellers_%s"),
        tags=wrong if isinstance(wrong, TagsForm) else TagsForm(auto_id="tags_%s"),
        travellers_url=reverse("prove:travellers", args=[sheet.pk]),
        tags_url=reverse("prove:bag-tags", args=[sheet.pk]),
    )
    return render(request, "prove/labels.html", {"page": page, "place": "plan"}, status=422 if wrong else 200)


@require_GET
@acting
def labels(request: HttpRequest, pk: int) -> HttpResponse:
    return _page(request, _released(pk))


@require_GET
@acting
@sealing
def travellers_file(request: HttpRequest, pk: int) -> HttpResponse:
    sheet = _released(pk)
    form = TravellersForm(request.GET, auto_id="travellers_%s", parts=_parts(sheet.terminations.count()))
    if not form.is_valid():
        return _page(request, sheet, wrong=form)
    start = int(form.cleaned_data["part"])
    checks = sheet_checks(sheet, shop_day(now()))[start : start + MOST_IN_A_FILE]
    made = travellers(checks, system_of(person_of(request)), Symbol(form.cleaned_data["symbol"]))
    return _pdf(travellers_pdf(sheet, made), f"{sheet.number}-{sheet.revision}-travellers-{start + 1}")


@require_GET
@acting
@sealing
def bag_tags_file(request: HttpRequest, pk: int) -> HttpResponse:
    sheet = _released(pk)
    form = TagsForm(request.GET, auto_id="tags_%s")
    if not form.is_valid():
        return _page(request, sheet, wrong=form)
    per_bag = int(form.cleaned_data["per_bag"] or 0)
    terminations = list(sheet.terminations.select_related("terminal").prefetch_related("termination_wires__wire"))
    needed = bags_needed(terminations, per_bag)
    if needed > MOST_TAGS:
        form.add_error("per_bag", _("That makes {count} tags; a file holds {most}.").format(count=needed, most=MOST_TAGS))
        return _page(request, sheet, wrong=form)
    made = bag_tags(sheet, terminations, system_of(person_of(request)), Symbol(form.cleaned_data["symbol"]), per_bag=per_bag)
    return _pdf(bag_tags_pdf(sheet, made), f"{sheet.number}-{sheet.revision}-bag-tags")


def _pdf(data: bytes, name: str) -> HttpResponse:
    response = HttpResponse(data, content_type="application/pdf")
    response["Content-Disposition"] = f'inline; filename="{name}.pdf"'
    return response
