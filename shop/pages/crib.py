"""The tool crib: what is overdue, due, out and worn; and the acts on a tool's page."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_POST

from shop.acts.crib import fit_wear_part, record_care, set_counter
from shop.clock import now, shop_day
from shop.crib_queries import GROUPS, OUTCOMES, CribLine, Horizon, crib_lines
from shop.finding import Refused
from shop.forms.crib import CareForm, CounterForm, WearPartForm
from shop.pages.acting import Refusal, acting, person_of
from shop.pages.catalogue import Crumb, detail
from shop.pages.csv_answer import csv_answer
from shop.tools import Tool
from shop.validation import findings_from

DAYS, CRIMPS = (7, 14, 30, 60, 90), (1000, 5000, 10_000, 20_000, 50_000)
THINGS = ("tools", "presses", "gauges")


@dataclass(frozen=True, slots=True)
class Asked:
    """What the address asks for. group, thing: empty for all."""

    group: str
    thing: str
    ahead: Horizon


def _asked(query: QueryDict) -> Asked:
    group, thing = query.get("show", ""), query.get("of", "")
    ahead = Horizon(_number(query.get("days", ""), 30), _number(query.get("crimps", ""), 10_000))
    return Asked(group if group in GROUPS else "", thing if thing in THINGS else "", ahead)


def _number(text: str, default: int) -> int:
    return int(text) if text.isascii() and text.isdigit() and len(text) <= 7 else default


def _lines(asked: Asked) -> list[CribLine]:
    lines = crib_lines(shop_day(now()), asked.ahead)
    return [
        line for line in lines if (not asked.group or line.group == asked.group) and (not asked.thing or f"/{asked.thing}/" in line.url)
    ]


@dataclass(frozen=True, slots=True)
class CribGroup:
    name: str
    outcome: str
    lines: list[CribLine]


@dataclass(frozen=True, slots=True)
class CribPage:
    crumbs: list[Crumb]
    groups: list[CribGroup]
    count: int
    asked: Asked
    shows: list[tuple[str, str]]
    things: list[tuple[str, str]]
    days: list[int]
    crimps: list[int]
    csv_url: str
    is_filtered: bool


@require_GET
def crib(request: HttpRequest) -> HttpResponse:
    asked = _asked(request.GET)
    lines = _lines(asked)
    groups = [CribGroup(str(word), OUTCOMES[key], [line for line in lines if line.group == key]) for key, word in GROUPS.items()]
    query = request.GET.urlencode()
    page = CribPage(
        crumbs=[Crumb(_("Shop"), reverse("shop:catalogue"))],
        groups=[group for group in groups if group.lines],
        count=len(lines),
        asked=asked,
        shows=[(key, str(word)) for key, word in GROUPS.items()],
        things=[("tools", _("tools")), ("presses", _("presses")), ("gauges", _("gauges"))],
        days=sorted({*DAYS, asked.ahead.days}),
        crimps=sorted({*CRIMPS, asked.ahead.crimps}),
        csv_url=reverse("shop:crib-csv") + (f"?{query}" if query else ""),
        is_filtered=bool(asked.group or asked.thing),
    )
    return render(request, "catalogue/crib.html", {"page": page, "place": "shop"})


@require_GET
def crib_csv(request: HttpRequest) -> HttpResponse:
    """What the page shows, as a file."""
    heads = ("state", "asset number", "kind", "description", "matter", "due", "left", "note")
    rows = [
        (str(GROUPS[line.group]), line.asset, line.thing, line.description, line.matter, line.due, line.left, line.note)
        for line in _lines(_asked(request.GET))
    ]
    return csv_answer("tool-crib.csv", heads, rows)


# --- Acts on a tool --------------------------------------------------------------------------------------------------------------


def _tool_page(request: HttpRequest, pk: int, *, refusal: Refusal | None = None) -> HttpResponse:
    return detail(request, "tools", pk, refusal=refusal)


def _done(
    request: HttpRequest, pk: int, form: WearPartForm | CareForm | CounterForm, act: Callable[..., object], said: str
) -> HttpResponse:
    """Perform `act` on the tool with what the form states."""
    tool = get_object_or_404(Tool, pk=pk)
    if not form.is_valid():
        raise Refused(findings_from(ValidationError(form.errors.as_data())))
    act(tool=tool, by=person_of(request), at=now(), **form.stated())
    messages.success(request, said)
    return redirect("shop:detail", "tools", pk)


@require_POST
@acting(again=_tool_page)
def fit_part(request: HttpRequest, pk: int) -> HttpResponse:
    return _done(request, pk, WearPartForm(request.POST), fit_wear_part, _("The wear part is fitted."))


@require_POST
@acting(again=_tool_page)
def care(request: HttpRequest, pk: int) -> HttpResponse:
    return _done(request, pk, CareForm(request.POST), record_care, _("It is recorded."))


@require_POST
@acting(again=_tool_page)
def counter(request: HttpRequest, pk: int) -> HttpResponse:
    return _done(request, pk, CounterForm(request.POST), set_counter, _("The counter is set."))
