"""The catalogue's pages: its kinds, and one item of any kind. Lists, forms and imports have modules of their own."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.contrib import messages
from django.db import models
from django.http import Http404, HttpRequest, HttpResponse, QueryDict
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_GET, require_POST

from shop.acts.catalogue import set_gauge_state, set_lot_state, set_press_state, set_tool_state
from shop.beside import Beside, beside
from shop.catalogue import KINDS, Kind, Related
from shop.clock import now, shop_day
from shop.crib import Press
from shop.jobs import Job
from shop.materials import MaterialLot
from shop.pages.acting import Refusal, acting, person_of
from shop.pages.relied_on import PaperPart, paper_part
from shop.pages.showing import Fact, Head, Row, facts_of, heads, model_field, row_of, system_of
from shop.pages.tool_care import ToolCarePart, tool_care_part
from shop.people import Person
from shop.permissions import Deed, may
from shop.specifications import CrimpSpecification, Document
from shop.standing import Standing
from shop.tools import Gauge, Tool
from shop.waiting import Waiting, waiting_for

RELATED_SHOWN = 100


@dataclass(frozen=True, slots=True)
class Crumb:
    label: str
    url: str = ""


def crumbs(kind: Kind | None = None, *further: Crumb) -> list[Crumb]:
    crumbs = [Crumb(_("Shop"), reverse("shop:catalogue"))]
    if kind:
        crumbs.append(Crumb(str(kind.title), reverse("shop:list", args=[kind.slug])))
    return [*crumbs, *further]


def kind_or_404(slug: str) -> Kind:
    if slug not in KINDS:
        raise Http404
    return KINDS[slug]


def item_or_404(kind: Kind, pk: int, on: date | None = None) -> Any:
    return get_object_or_404(kind.items(on or shop_day(now())), pk=pk)


# --- Index -----------------------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class KindLine:
    title: str
    url: str
    count: int
    new_url: str  # empty where the person may not add one


@dataclass(frozen=True, slots=True)
class PartCard:
    icon: str
    title: str
    kinds: list[KindLine]


@dataclass(frozen=True, slots=True)
class IndexPage:
    """waiting: what is for the reader to do, whatever app it belongs to."""

    cards: list[PartCard]
    others: list[KindLine]
    waiting: list[Waiting]


PARTS = (
    ("people", gettext_lazy("People")),
    ("wire", gettext_lazy("Wire")),
    ("terminal", gettext_lazy("Terminal")),
    ("tool", gettext_lazy("Tool")),
    ("documents", gettext_lazy("Documents")),
    ("inspection", gettext_lazy("Inspection")),
)


@require_GET
def index(request: HttpRequest) -> HttpResponse:
    """Every kind with its count, under the part of the proof it belongs to."""
    person, on = person_of(request), shop_day(now())

    def line(kind: Kind) -> KindLine:
        new = reverse("shop:new", args=[kind.slug]) if may(person, kind.deed) else ""
        return KindLine(str(kind.title), reverse("shop:list", args=[kind.slug]), kind.items(on).order_by().count(), new)

    cards = [PartCard(part, str(title), [line(kind) for kind in KINDS.values() if kind.part == part]) for part, title in PARTS]
    others = [line(kind) for kind in KINDS.values() if not kind.part]
    return render(request, "catalogue/index.html", {"page": IndexPage(cards, others, waiting_for(person, on)), "place": "shop"})


# --- One item --------------------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class RelatedTable:
    slug: str
    title: str
    heads: list[Head]
    lines: list[Row]
    more_url: str  # where the rest is listed, when not everything is shown
    add_url: str
    has_standing: bool


@dataclass(frozen=True, slots=True)
class StateChoice:
    """The state of a tool, press, gauge or lot, and what it can become."""

    url: str
    options: list[tuple[str, str]]
    chosen: str
    reason: str


@dataclass(frozen=True, slots=True)
class DetailPage:
    kind: Kind
    key: str
    name: str
    crumbs: list[Crumb]
    facts: list[Fact]
    standing: Standing | None
    related: list[RelatedTable]
    state: StateChoice | None
    edit_url: str
    unlock_url: str
    password_url: str
    jobs: list[Job]
    care: ToolCarePart | None
    paper: PaperPart | None
    beside: list[Beside]
    shut_height_url: str  # of a press


def detail(request: HttpRequest, slug: str, pk: int, *, refusal: Refusal | None = None) -> HttpResponse:
    kind, person, on = kind_or_404(slug), person_of(request), shop_day(now())
    item = item_or_404(kind, pk, on)
    system = system_of(person)
    page = DetailPage(
        kind=kind,
        key=kind.key_of(item),
        name=str(getattr(item, "description", "") or getattr(item, "title", "") or (item.name if hasattr(item, "username") else "")),
        crumbs=crumbs(kind),
        facts=facts_of(kind, item, system),
        standing=kind.standing(item, on) if kind.standing else None,
        related=[_related(related, item, person, on) for related in kind.related],
        state=_state_choice(kind, item, person, request.POST if refusal else {}),
        edit_url=reverse("shop:edit", args=[slug, pk]) if may(person, kind.deed) else "",
        unlock_url=_unlock_url(item, person),
        password_url=reverse("shop:hand-out", args=[pk]) if isinstance(item, Person) and may(person, Deed.CHANGE_PEOPLE) else "",
        jobs=list(item.jobs.all()[:RELATED_SHOWN]) if hasattr(item, "jobs") else [],
        care=tool_care_part(item, person, refusal, request.POST) if isinstance(item, Tool) else None,
        paper=paper_part(item, person, on) if isinstance(item, Document | CrimpSpecification) else None,
        beside=beside(slug, item, person),
        shut_height_url=reverse("shop:shut-height", args=[pk]) if isinstance(item, Press) else "",
    )
    return render(request, "catalogue/detail.html", {"page": page, "refusal": refusal, "place": "shop"})


def _related(related: Related, item: models.Model, person: Person, on: date) -> RelatedTable:
    kind, system = KINDS[related.slug], system_of(person)
    columns = [column for column in kind.columns if column.names[0].partition("__")[0] != related.field]
    rows = list(kind.items(on).filter(**{related.field: item})[: RELATED_SHOWN + 1])
    key_field: Any = kind.form.base_fields[related.field]
    key = key_field.key_of(item)
    return RelatedTable(
        slug=kind.slug,
        title=str(related.title),
        heads=heads(kind, columns, system),
        lines=[row_of(kind, columns, row, system, on) for row in rows[:RELATED_SHOWN]],
        more_url=f"{reverse('shop:list', args=[kind.slug])}?{_query(q=key)}" if len(rows) > RELATED_SHOWN else "",
        add_url=f"{reverse('shop:new', args=[kind.slug])}?{_query(**{related.field: key})}" if may(person, kind.deed) else "",
        has_standing=kind.standing is not None,
    )


def _query(**values: str) -> str:
    query = QueryDict(mutable=True)
    query.update(values)
    return query.urlencode()


def _state_choice(kind: Kind, item: Any, person: Person, typed: Mapping[str, Any]) -> StateChoice | None:
    if not isinstance(item, MaterialLot | Tool | Press | Gauge) or not (may(person, kind.deed) or may(person, Deed.DECIDE_HOLD)):
        return None
    field = model_field(kind.model, "state")
    options = [(str(value), str(label)) for value, label in (field.choices if field else None) or []]
    url = reverse("shop:state", args=[kind.slug, item.pk])
    return StateChoice(url, options, str(typed.get("state", item.state)), str(typed.get("state_reason", "")))


def _unlock_url(item: Any, person: Person) -> str:
    if isinstance(item, Person) and item.failed_tries and item.pk != person.pk and may(person, Deed.UNLOCK_PEOPLE):
        return reverse("shop:unlock", args=[item.pk])
    return ""


@require_POST
@acting(again=detail)
def change_state(request: HttpRequest, slug: str, pk: int) -> HttpResponse:
    item = item_or_404(kind_or_404(slug), pk)
    by, at, state, reason = person_of(request), now(), request.POST.get("state", ""), request.POST.get("state_reason", "")
    if isinstance(item, Tool):
        set_tool_state(tool=item, state=state, reason=reason, by=by, at=at)
    elif isinstance(item, Press):
        set_press_state(press=item, state=state, reason=reason, by=by, at=at)
    elif isinstance(item, Gauge):
        set_gauge_state(gauge=item, state=state, reason=reason, by=by, at=at)
    elif isinstance(item, MaterialLot):
        set_lot_state(lot=item, state=state, reason=reason, by=by, at=at)
    else:
        raise Http404
    messages.success(request, _("The state is changed."))
    return redirect("shop:detail", slug, pk)
