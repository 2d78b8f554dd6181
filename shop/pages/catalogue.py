"""The catalogue's pages: kinds, lists, one item, its form, and import from a file. One view serves all kinds."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

from django import forms
from django.conf import settings
from django.contrib import messages
from django.core.paginator import Page, Paginator
from django.db import models
from django.http import Http404, HttpRequest, HttpResponse, QueryDict
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext
from django.views.decorators.http import require_GET, require_POST

from shop.acts.catalogue import save_item, seen, set_gauge_state, set_lot_state, set_press_state, set_states, set_tool_state
from shop.acts.catalogue_import import ImportRefused, ImportReport, import_rows, template_csv
from shop.catalogue import KINDS, Kind, Related
from shop.clock import now, shop_day
from shop.crib import Press
from shop.finding import Refused, misfit
from shop.forms.item import ItemForm, has_default
from shop.jobs import Job
from shop.materials import MaterialLot
from shop.pages.acting import Refusal, acting, person_of, refusal_of, require
from shop.pages.proposing import picker_for, proposed
from shop.pages.relied_on import PaperPart, paper_part
from shop.pages.showing import Fact, Head, Row, Sorting, facts_of, heads, model_field, row_of, system_of
from shop.pages.tool_care import ToolCarePart, tool_care_part
from shop.people import Person
from shop.permissions import Deed, may
from shop.sign_on import hand_out_password, unlock
from shop.specifications import CrimpSpecification, Document
from shop.standing import Standing
from shop.tools import Gauge, Tool

PER_PAGE = 50
RELATED_SHOWN = 100


@dataclass(frozen=True, slots=True)
class Crumb:
    label: str
    url: str = ""


def _crumbs(kind: Kind | None = None, *further: Crumb) -> list[Crumb]:
    crumbs = [Crumb(_("Shop"), reverse("shop:catalogue"))]
    if kind:
        crumbs.append(Crumb(str(kind.title), reverse("shop:list", args=[kind.slug])))
    return [*crumbs, *further]


def kind_or_404(slug: str) -> Kind:
    if slug not in KINDS:
        raise Http404
    return KINDS[slug]


def _item(kind: Kind, pk: int, on: date | None = None) -> Any:
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
    cards: list[PartCard]
    others: list[KindLine]


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
    return render(request, "catalogue/index.html", {"page": IndexPage(cards, others), "place": "shop"})


# --- List ------------------------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Filter:
    """A choice in the sentence above the list."""

    name: str
    label: str
    any_word: str
    options: list[tuple[str, str]]
    chosen: str


@dataclass(frozen=True, slots=True)
class ListPage:
    kind: Kind
    crumbs: list[Crumb]
    heads: list[Head]
    rows: Page[Any]
    lines: list[Row]
    filters: list[Filter]
    words: str
    sort: str
    count: str
    has_standing: bool
    is_filtered: bool
    new_url: str
    import_url: str
    export_query: str
    states: list[tuple[str, str]]  # what may be done with many rows at once; empty: nothing
    chosen: frozenset[int]
    state: str
    reason: str


@require_GET
def listing(request: HttpRequest, slug: str) -> HttpResponse:
    return _listing(request, slug)


def _listing(request: HttpRequest, slug: str, *, refusal: Refusal | None = None) -> HttpResponse:
    kind, person, on = kind_or_404(slug), person_of(request), shop_day(now())
    system = system_of(person)
    words = request.GET.get("q", "").strip()
    rows, filters = chosen_rows(kind, request.GET, on)
    sorting = _sorting(kind, request.GET)
    if sorting.by:
        rows = rows.order_by(("-" if sorting.descending else "") + sorting.by, "pk")
    page_rows = Paginator(rows, PER_PAGE).get_page(request.GET.get("page"))
    total = page_rows.paginator.count
    permitted = may(person, kind.deed)
    page = ListPage(
        kind=kind,
        crumbs=_crumbs(),
        heads=heads(kind, kind.columns, system, sorting),
        rows=page_rows,
        lines=[row_of(kind, kind.columns, item, system, on) for item in page_rows],
        filters=filters,
        words=words,
        sort=request.GET.get("sort", "") if sorting.by else "",
        count=ngettext("%(count)s entry", "%(count)s entries", total) % {"count": total},
        has_standing=kind.standing is not None,
        is_filtered=bool(words or any(made.chosen for made in filters)),
        new_url=reverse("shop:new", args=[slug]) if permitted else "",
        import_url=reverse("shop:import", args=[slug]) if permitted else "",
        export_query=_export_query(request.GET),
        states=_states_of(kind) if permitted or may(person, Deed.DECIDE_HOLD) else [],
        chosen=frozenset(_ticked(request)),
        state=request.POST.get("state", ""),
        reason=request.POST.get("state_reason", ""),
    )
    return render(request, "catalogue/list.html", {"page": page, "place": "shop", "refusal": refusal})


def _states_of(kind: Kind) -> list[tuple[str, str]]:
    """The states of a kind that is put on hold, released or taken out of use; empty for any other."""
    if not issubclass(kind.model, Tool | Press | Gauge | MaterialLot):
        return []
    return [(str(value), str(label)) for value, label in kind.model._meta.get_field("state").choices or []]


def _ticked(request: HttpRequest) -> list[int]:
    return [int(pk) for pk in request.POST.getlist("pk") if pk.isdigit()]


@require_POST
@acting(again=lambda request, slug, refusal=None: _listing(request, slug, refusal=refusal))
def change_states(request: HttpRequest, slug: str) -> HttpResponse:
    """One state and one reason for every ticked row: all of them or none."""
    kind = kind_or_404(slug)
    if not _states_of(kind):
        raise Http404
    items = list(kind.model._default_manager.filter(pk__in=_ticked(request)))
    changed = set_states(
        items=items, state=request.POST.get("state", ""), reason=request.POST.get("state_reason", ""), by=person_of(request), at=now()
    )
    messages.success(request, ngettext("%(count)s state is changed.", "%(count)s states are changed.", changed) % {"count": changed})
    return redirect(f"{reverse('shop:list', args=[slug])}{_export_query(request.GET)}")


def chosen_rows(kind: Kind, query: QueryDict, on: date) -> tuple[models.QuerySet[Any], list[Filter]]:
    """The items that a list's address asks for, and its filters."""
    rows = kind.items(on)
    words = query.get("q", "").strip()
    if words:
        rows = kind.matching(rows, words)
    filters = [_filter(kind, name, query.get(_short(name), "")) for name in kind.filters]
    for name, made in zip(kind.filters, filters, strict=True):
        if made.chosen:
            rows = rows.filter(**{name: made.chosen})
    return rows, filters


def _short(name: str) -> str:
    """The filter's name in the address: the last part of its path."""
    return name.rpartition("__")[2]


def _filter(kind: Kind, name: str, chosen: str) -> Filter:
    field = model_field(kind.model, name)
    assert field is not None  # noqa: S101  # filters are columns
    options = [(str(value), str(label)) for value, label in field.choices or [] if value]
    label = str(field.verbose_name)
    known = chosen if chosen in dict(options) else ""
    return Filter(_short(name), label, _("any {label}").format(label=label), options, known)


def _export_query(query: QueryDict) -> str:
    """The list's filters as they stand, for the address of its file."""
    kept = query.copy()
    kept.pop("page", None)
    return f"?{kept.urlencode()}" if kept else ""


def _sorting(kind: Kind, query: QueryDict) -> Sorting:
    wanted = query.get("sort", "")
    kept = query.copy()
    for name in ("sort", "page"):
        kept.pop(name, None)
    sortable = {column.names[0] for column in kind.columns if model_field(kind.model, column.names[0]) is not None}
    by = wanted.removeprefix("-")
    return Sorting(by if by in sortable else "", wanted.startswith("-"), kept.urlencode())


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


def detail(request: HttpRequest, slug: str, pk: int, *, refusal: Refusal | None = None) -> HttpResponse:
    kind, person, on = kind_or_404(slug), person_of(request), shop_day(now())
    item = _item(kind, pk, on)
    system = system_of(person)
    page = DetailPage(
        kind=kind,
        key=kind.key_of(item),
        name=str(getattr(item, "description", "") or getattr(item, "title", "") or (item.name if hasattr(item, "username") else "")),
        crumbs=_crumbs(kind),
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
    item = _item(kind_or_404(slug), pk)
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


# --- Form ------------------------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class FormPage:
    kind: Kind
    title: str
    crumbs: list[Crumb]
    form: ItemForm
    groups: list[tuple[str, list[list[Any]]]]
    seen: str
    reason: str
    is_new: bool
    leave_url: str
    picker: forms.Form | None  # proposes a figure for the form from a table


@acting
def new(request: HttpRequest, slug: str, *, refusal: Refusal | None = None) -> HttpResponse:
    return _form_page(request, kind_or_404(slug), None, refusal)


@acting
def edit(request: HttpRequest, slug: str, pk: int, *, refusal: Refusal | None = None) -> HttpResponse:
    kind = kind_or_404(slug)
    return _form_page(request, kind, _item(kind, pk), refusal)


@acting
def propose(request: HttpRequest, slug: str, pk: int | None = None) -> HttpResponse:
    """The form again, with what was typed and what a table proposes for it. Nothing is saved."""
    kind = kind_or_404(slug)
    require(request, kind.deed)
    return _form_page(request, kind, _item(kind, pk) if pk else None, None, proposed(request))


def _form_page(
    request: HttpRequest, kind: Kind, item: Any, refusal: Refusal | None, typed: Mapping[str, str] | None = None
) -> HttpResponse:
    if refusal is None:
        require(request, kind.deed)
    key = kind.key_of(item) if item else ""
    stamp = request.POST.get("seen", "") if refusal or typed else (seen(kind, item) if item else "")
    given = {name: value for name, value in request.GET.items() if name in kind.form.base_fields}
    form = kind.form(request.POST if refusal else None, instance=item, initial=None if item else given)
    form.initial.update({name: value for name, value in (typed or {}).items() if name in form.fields})
    if refusal:
        refusal.tell(form)
    leave = reverse("shop:detail", args=[kind.slug, item.pk]) if item else reverse("shop:list", args=[kind.slug])
    page = FormPage(
        kind=kind,
        title=_("Change {key}").format(key=key) if item else _("New {kind}").format(kind=kind.singular),
        crumbs=_crumbs(kind, *([Crumb(key, leave)] if item else [])),
        form=form,
        groups=form.groups_shown(),
        seen=stamp,
        reason=request.POST.get("reason", ""),
        is_new=item is None,
        leave_url=leave,
        picker=picker_for(kind, request),
    )
    return render(request, "catalogue/form.html", {"page": page, "refusal": refusal, "place": "shop"})


@acting(again=new)
def add(request: HttpRequest, slug: str) -> HttpResponse:
    kind, by = kind_or_404(slug), person_of(request)
    item = save_item(kind=kind, values=request.POST, by=by, at=now())
    if isinstance(item, Person):
        return _password_page(request, item, hand_out_password(person=item, by=by, at=now()))
    messages.success(request, _("{key} is added.").format(key=kind.key_of(item)))
    return redirect("shop:detail", slug, item.pk)


@acting(again=edit)
def change(request: HttpRequest, slug: str, pk: int) -> HttpResponse:
    kind = kind_or_404(slug)
    item = save_item(
        kind=kind,
        values=request.POST,
        by=person_of(request),
        at=now(),
        instance=_item(kind, pk),
        reason=request.POST.get("reason", ""),
        seen_sha256=request.POST.get("seen", ""),
    )
    messages.success(request, _("{key} is saved.").format(key=kind.key_of(item)))
    return redirect("shop:detail", slug, item.pk)


def new_or_add(request: HttpRequest, slug: str) -> HttpResponse:
    if "propose" in request.POST:
        return propose(request, slug)
    return add(request, slug) if request.method == "POST" else new(request, slug)


def edit_or_change(request: HttpRequest, slug: str, pk: int) -> HttpResponse:
    if "propose" in request.POST:
        return propose(request, slug, pk)
    return change(request, slug, pk) if request.method == "POST" else edit(request, slug, pk)


# --- People ----------------------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class PasswordPage:
    person: Person
    password: str
    crumbs: list[Crumb]


def _password_page(request: HttpRequest, person: Person, password: str) -> HttpResponse:
    """The handed-out password, shown this once: it is kept nowhere in clear."""
    page = PasswordPage(person, password, _crumbs(KINDS["people"]))
    response = render(request, "catalogue/password.html", {"page": page, "place": "shop"})
    response["Cache-Control"] = "no-store"
    return response


@require_POST
@acting
def hand_out(request: HttpRequest, pk: int) -> HttpResponse:
    person = _item(KINDS["people"], pk)
    return _password_page(request, person, hand_out_password(person=person, by=person_of(request), at=now()))


@require_POST
@acting
def unlock_person(request: HttpRequest, pk: int) -> HttpResponse:
    person = _item(KINDS["people"], pk)
    unlock(person=person, by=person_of(request), at=now())
    messages.success(request, _("The account of {name} is open again.").format(name=person.name))
    return redirect("shop:detail", "people", pk)


# --- Import ----------------------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class ColumnHelp:
    name: str
    is_required: bool
    label: str
    help: str


@dataclass(frozen=True, slots=True)
class ImportPage:
    kind: Kind
    crumbs: list[Crumb]
    columns: list[ColumnHelp]
    report: ImportReport | None
    template_url: str
    list_url: str


def _import_page(request: HttpRequest, slug: str, *, refusal: Refusal | None = None, report: ImportReport | None = None) -> HttpResponse:
    kind = kind_or_404(slug)
    columns = [
        ColumnHelp(name, name in kind.required_columns, str(field.label or ""), _column_help(kind, name))
        for name, field in kind.form.base_fields.items()
    ]
    page = ImportPage(kind, _crumbs(kind), columns, report, reverse("shop:import-template", args=[slug]), reverse("shop:list", args=[slug]))
    template = "catalogue/_import_report.html" if request.headers.get("HX-Request") else "catalogue/import.html"
    return render(request, template, {"page": page, "refusal": refusal, "place": "shop"})


def _column_help(kind: Kind, name: str) -> str:
    field = kind.form.base_fields[name]
    parts = []
    choices = getattr(field, "choices", None)
    if choices:
        parts.append(_("One of: {words}.").format(words=", ".join(str(value) for value, _label in choices if value)))
    if field.help_text:
        parts.append(str(field.help_text))
    if has_default(kind.model, name):
        parts.append(_("Empty: {value}.").format(value=kind.stated(kind.model())[name] or "–"))
    return " ".join(parts)


@acting
def import_file(request: HttpRequest, slug: str) -> HttpResponse:
    kind = kind_or_404(slug)
    require(request, kind.deed)
    if request.method != "POST":
        return _import_page(request, slug)
    return _bring_in(request, slug)


@acting(again=_import_page)
def _bring_in(request: HttpRequest, slug: str) -> HttpResponse:
    kind = kind_or_404(slug)
    upload: Any = request.FILES.get("file")
    if upload is None:
        raise Refused([misfit("data.required", "file")])
    name, data = upload.name, upload.read(settings.UPLOAD_LIMIT_BYTES + 1)
    dry_run = "check" in request.POST
    try:
        report = import_rows(kind=kind, file_name=name, data=data, by=person_of(request), at=now(), dry_run=dry_run)
    except ImportRefused as refused:
        response = _import_page(request, slug, refusal=refusal_of(refused.findings), report=refused.report)
        response.status_code = 422
        return response
    if dry_run or request.headers.get("HX-Request"):
        return _import_page(request, slug, report=report)
    messages.success(
        request,
        _("{name}: {added} added, {changed} changed, {unchanged} unchanged.").format(
            name=name, added=report.added, changed=report.changed, unchanged=report.unchanged
        ),
    )
    return redirect("shop:list", slug)


@require_GET
def import_template(request: HttpRequest, slug: str) -> HttpResponse:
    kind = kind_or_404(slug)
    headers = {"Content-Disposition": f'attachment; filename="{kind.slug}.csv"'}
    return HttpResponse(template_csv(kind), content_type="text/csv; charset=utf-8", headers=headers)
