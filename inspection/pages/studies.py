"""Studies: the list, opening one, its values and its answer, signing it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from django import forms
from django.contrib import messages
from django.db.models import Q, QuerySet
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.safestring import SafeString
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_GET, require_POST

from inspection.acts.studies import (
    SIGNED_MEANING,
    Opened,
    abandon_study,
    analysis_of,
    open_study,
    opened,
    record_values,
    sign_study,
    study_content,
    take_over,
)
from inspection.analysis import Analysis, Figure
from inspection.forms.studies import StudyForm
from inspection.study import Study, StudyState
from inspection.study_kinds.kind import FollowUp, StudyKind
from inspection.study_kinds.registry import KINDS
from shop.beside import beside
from shop.canonical import content_sha256
from shop.characteristics import Characteristic
from shop.clock import now, shop_day
from shop.figures import spoken_drawing
from shop.finding import Refused
from shop.forms.termination import SignForm
from shop.pages.acting import Refusal, acting, person_of, refusal_of, require
from shop.pages.catalogue import Crumb
from shop.pages.csv_answer import csv_answer, xlsx_answer
from shop.pages.paging import LongPaginator
from shop.people import Person
from shop.permissions import Deed, may
from shop.sign_on import sign
from shop.wording import Worded

PLACE = "studies"


def crumbs(*further: Crumb) -> list[Crumb]:
    return [Crumb(_("Studies"), reverse("studies:list")), *further]


def study_or_404(number: str) -> Study:
    return get_object_or_404(Study.objects.select_related("gauge", "tool", "terminal", "opened_by", "closed_by"), number=number)


# --- The list --------------------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class StudyLine:
    number: str
    url: str
    title: str
    kind: str
    about: str
    opened: Any
    by: str
    outcome: str
    state: str


@dataclass(frozen=True, slots=True)
class KindCard:
    slug: str
    name: str
    about: str
    url: str  # empty where the person may not open one


@dataclass(frozen=True, slots=True)
class StudiesPage:
    lines: list[StudyLine]
    rows: Any
    count: str
    kinds: list[KindCard]
    kind: str
    state: str
    words: str
    may_open: bool


def study_line(study: Study) -> StudyLine:
    about = [str(thing) for thing in (study.gauge, study.tool, study.terminal) if thing]
    if study.characteristic:
        about.append(str(Characteristic(study.characteristic).label))
    outcome = {StudyState.OPEN: "waiting", StudyState.ABANDONED: "conceded"}.get(StudyState(study.state), study.outcome or "undecided")
    return StudyLine(
        number=study.number,
        url=reverse("studies:study", args=[study.number]),
        title=study.title,
        kind=str(KINDS[study.kind].name) if study.kind in KINDS else study.kind,
        about=", ".join(about),
        opened=study.opened_at,
        by=study.opened_by.name,
        outcome=outcome,
        state=study.get_state_display(),
    )


def studies_for(query: Mapping[str, str]) -> QuerySet[Study]:
    rows = Study.objects.select_related("gauge", "tool", "terminal", "opened_by").order_by("-opened_at", "-pk")
    if query.get("kind") in KINDS:
        rows = rows.filter(kind=query["kind"])
    if query.get("state") in StudyState.values:
        rows = rows.filter(state=query["state"])
    words = query.get("q", "").strip()
    for word in words.split():
        rows = rows.filter(
            Q(number__icontains=word)
            | Q(title__icontains=word)
            | Q(gauge__asset_number__icontains=word)
            | Q(tool__asset_number__icontains=word)
            | Q(terminal__part_number__icontains=word)
        )
    return rows


@require_GET
def studies(request: HttpRequest) -> HttpResponse:
    may_open = may(person_of(request), Deed.RUN_STUDY)
    pages = LongPaginator(studies_for(request.GET.dict()), 50)
    rows = pages.get_page(request.GET.get("page"))
    page = StudiesPage(
        lines=[study_line(study) for study in rows],
        rows=rows,
        count=pages.counted(_("%(count)s study"), _("%(count)s studies")),
        kinds=[
            KindCard(kind.slug, str(kind.name), str(kind.about), reverse("studies:new", args=[kind.slug]) if may_open else "")
            for kind in KINDS.values()
        ],
        kind=request.GET.get("kind", ""),
        state=request.GET.get("state", ""),
        words=request.GET.get("q", ""),
        may_open=may_open,
    )
    return render(request, "studies/list.html", {"page": page, "place": PLACE})


# --- Opening one -----------------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class NewPage:
    kind: StudyKind
    crumbs: list[Crumb]
    form: StudyForm
    leave_url: str


def _new_page(request: HttpRequest, slug: str, *, refusal: Refusal | None = None, form: StudyForm | None = None) -> HttpResponse:
    kind = KINDS.get(slug)
    if kind is None:
        raise Http404
    if refusal is None:
        require(request, Deed.RUN_STUDY)
    form = form or StudyForm(request.POST if refusal else None, kind=kind, initial=None if refusal else request.GET.dict())
    if refusal:
        refusal.tell(form)
    page = NewPage(kind, crumbs(Crumb(str(kind.name))), form, reverse("studies:list"))
    context = {"page": page, "refusal": refusal, "place": PLACE}
    return render(request, "studies/new.html", context, status=422 if form.errors else 200)


@acting
def new(request: HttpRequest, slug: str) -> HttpResponse:
    return _open(request, slug) if request.method == "POST" else _new_page(request, slug)


@acting(again=_new_page)
def _open(request: HttpRequest, slug: str) -> HttpResponse:
    kind = KINDS.get(slug)
    if kind is None:
        raise Http404
    form = StudyForm(request.POST, kind=kind)
    if not form.is_valid():
        return _new_page(request, slug, form=form)
    by, at = person_of(request), now()
    study = open_study(kind=slug, title=form.cleaned_data["title"], set_up=form.set_up(), by=by, at=at, **form.subjects())
    return redirect("studies:study", study.number)


# --- One study -------------------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class EntryCell:
    """A place of the layout as an input: name, what it is, the text in it, whether it stands already, was refused, or is a day."""

    name: str
    label: str
    text: str
    choices: tuple[tuple[str, str, bool], ...]
    stands: bool
    error: str
    order: int
    is_date: bool


@dataclass(frozen=True, slots=True)
class EntryRow:
    label: str
    cells: list[EntryCell]


@dataclass(frozen=True, slots=True)
class Drawn:
    """A figure ready to be shown."""

    figure: Figure
    svg: SafeString


@dataclass(frozen=True, slots=True)
class DrawnSection:
    section: Any
    figures: list[Drawn]


@dataclass(frozen=True, slots=True)
class ParameterLine:
    label: str
    value: str


@dataclass(frozen=True, slots=True)
class StudyPage:
    study: Study
    kind: StudyKind
    line: StudyLine
    crumbs: list[Crumb]
    subjects: list[ParameterLine]
    parameters: list[ParameterLine]
    heads: tuple[str, ...]
    rows_label: str
    unit: str
    rows: list[EntryRow]
    entered: int
    wanted: int
    analysis: Analysis | None
    sections: list[DrawnSection]
    why_not: tuple[Worded, ...]
    may_enter: bool
    may_take_over: bool
    may_sign: bool
    may_abandon: bool
    reason: str
    has_values: bool
    is_signed: bool
    follow_up: FollowUp | None


def drawn_sections(analysis: Analysis) -> list[DrawnSection]:
    return [
        DrawnSection(
            section,
            [Drawn(figure, spoken_drawing(figure.svg)) for figure in section.figures],
        )
        for section in analysis.sections
    ]


def _study_page(request: HttpRequest, number: str, *, refusal: Refusal | None = None) -> HttpResponse:
    study = study_or_404(number)
    person, read = person_of(request), opened(study)
    typed = request.POST if refusal else {}
    errors = _cell_errors(refusal, read)
    analysis, why_not = _answer(read)
    is_open, collects = study.state == StudyState.OPEN, read.kind.collect is not None
    runs = may(person, Deed.RUN_STUDY)
    page = StudyPage(
        study=study,
        kind=read.kind,
        line=study_line(study),
        crumbs=crumbs(Crumb(study.number)),
        subjects=_subjects(study),
        parameters=[ParameterLine(str(p.label), _shown(study.set_up.get(p.name, ""), dict(p.choices))) for p in read.kind.parameters],
        heads=read.layout.heads,
        rows_label=read.layout.rows_label,
        unit=read.layout.unit,
        rows=_entry_rows(read, typed, errors),
        entered=len(read.standing),
        wanted=len(read.layout.places),
        analysis=analysis,
        sections=drawn_sections(analysis) if analysis else [],
        why_not=why_not,
        may_enter=is_open and runs and not collects,
        may_take_over=is_open and runs and collects and not read.standing,
        may_sign=is_open and analysis is not None and may(person, Deed.SIGN_STUDY),
        may_abandon=is_open and runs,
        reason=typed.get("reason", ""),
        has_values=bool(read.standing),
        is_signed=study.state == StudyState.SIGNED,
        follow_up=_follow_up(study, read.kind, person),
    )
    sections = beside("study", study, person)
    return render(request, "studies/study.html", {"page": page, "refusal": refusal, "place": PLACE, "sections": sections})


def _follow_up(study: Study, kind: StudyKind, person: Person) -> FollowUp | None:
    if kind.follow_up is None or study.state != StudyState.SIGNED:
        return None
    offered = kind.follow_up(study, shop_day(now()))
    return offered if offered and may(person, offered.deed) else None


def _shown(text: str, choices: Mapping[str, Any]) -> str:
    return str(choices.get(text, text)) or "–"


def _subjects(study: Study) -> list[ParameterLine]:
    named = [(_("Gauge"), study.gauge), (_("Tool"), study.tool), (_("Terminal"), study.terminal)]
    lines = [ParameterLine(label, str(thing)) for label, thing in named if thing]
    if study.characteristic:
        lines.append(ParameterLine(_("Characteristic"), str(Characteristic(study.characteristic).label)))
    return lines


def _answer(read: Opened) -> tuple[Analysis | None, tuple[Worded, ...]]:
    if not read.standing:
        return None, ()
    try:
        return analysis_of(read), ()
    except Refused as refused:
        return None, refusal_of(refused.findings).findings


def _cell_errors(refusal: Refusal | None, read: Opened) -> dict[str, str]:
    """What was refused at a place goes to its cell; the rest stays at the top."""
    if refusal is None:
        return {}
    places = set(read.layout.places)
    told = {finding.field: finding.sentence for finding in refusal.rest if finding.field in places}
    refusal.rest = [finding for finding in refusal.rest if finding.field not in places]
    return told


def _entry_rows(read: Opened, typed: Mapping[str, Any], errors: Mapping[str, str]) -> list[EntryRow]:
    layout, rows = read.layout, []
    for index, row in enumerate(layout.rows):
        cells = []
        for column, cell in enumerate(row.cells):
            standing = read.standing.get(cell.place)
            text = typed.get(f"at-{cell.place}", standing.text if standing else "")
            order = column * len(layout.rows) + index + 1 if layout.by_column else 0
            choices = tuple((value, label, value == text) for value, label in cell.choices)
            name = f"at-{cell.place}"
            cells.append(
                EntryCell(
                    name=name,
                    label=f"{row.label}, {cell.label}",
                    text=text,
                    choices=choices,
                    stands=standing is not None,
                    error=errors.get(cell.place, ""),
                    order=order,
                    is_date=cell.is_date,
                )
            )
        rows.append(EntryRow(row.label, cells))
    return rows


@acting
def study(request: HttpRequest, number: str) -> HttpResponse:
    return _record(request, number) if request.method == "POST" else _study_page(request, number)


@acting(again=_study_page)
def _record(request: HttpRequest, number: str) -> HttpResponse:
    """Values from the table, or a column of them pasted, in the order of the layout from its first empty place on."""
    found = study_or_404(number)
    values = {name.removeprefix("at-"): str(text) for name, text in request.POST.items() if name.startswith("at-")}
    pasted = request.POST.get("pasted", "").split()
    if pasted:
        values |= dict(zip(_empty_places(opened(found)), pasted, strict=False))
    by, at, reason = person_of(request), now(), request.POST.get("reason", "")
    written = record_values(study=found, values=values, by=by, at=at, reason=reason)
    messages.success(request, _("{count} values are recorded.").format(count=written))
    return redirect("studies:study", number)


def _empty_places(read: Opened) -> list[str]:
    rows = read.layout.rows
    if read.layout.by_column and rows:
        places = [row.cells[column].place for column in range(len(rows[0].cells)) for row in rows]
    else:
        places = list(read.layout.places)
    return [place for place in places if place not in read.standing]


@require_POST
@acting(again=_study_page)
def collect(request: HttpRequest, number: str) -> HttpResponse:
    count = take_over(study=study_or_404(number), by=person_of(request), at=now())
    messages.success(request, _("{count} measurements are taken over.").format(count=count))
    return redirect("studies:study", number)


@require_POST
@acting(again=_study_page)
def abandon(request: HttpRequest, number: str) -> HttpResponse:
    abandon_study(study=study_or_404(number), reason=request.POST.get("why", ""), by=person_of(request), at=now())
    messages.success(request, _("The study is abandoned. Its values stay on record."))
    return redirect("studies:study", number)


@require_GET
def values(request: HttpRequest, number: str, form: str) -> HttpResponse:
    """The values as a table to take along: CSV or XLSX."""
    read = opened(study_or_404(number))
    labels = {cell.place: (row.label, cell.label) for row in read.layout.rows for cell in row.cells}
    heads = [read.layout.rows_label or "row", "place", f"value {read.layout.unit}".strip(), "by", "at", "source"]
    places = read.layout.places or tuple(read.standing)
    rows = [
        [labels.get(p, ("", ""))[0], labels.get(p, ("", p))[1], v.text, v.by.name, v.at.isoformat(), v.source]
        for p in places
        if (v := read.standing.get(p)) is not None
    ]
    if form == "csv":
        return csv_answer(f"{number}.csv", heads, rows)
    return xlsx_answer(f"{number}.xlsx", number, heads, rows)


# --- Signing ---------------------------------------------------------------------------------------------------------------------


class ConcludeForm(SignForm):
    conclusion = forms.CharField(
        label=gettext_lazy("What follows from it"), max_length=500, widget=forms.Textarea(attrs={"rows": 3}), strip=True
    )

    field_order = ("conclusion", "secret")


@dataclass(frozen=True, slots=True)
class SignPage:
    study: Study
    crumbs: list[Crumb]
    analysis: Analysis
    sections: list[DrawnSection]
    sha256: str
    meaning: str
    form: ConcludeForm
    leave_url: str
    values: int


def _sign_page(request: HttpRequest, number: str, *, refusal: Refusal | None = None) -> HttpResponse:
    if refusal is None:
        require(request, Deed.SIGN_STUDY)
    found = study_or_404(number)
    read = opened(found)
    if found.state != StudyState.OPEN:
        return redirect("studies:study", number)
    analysis = analysis_of(read)
    form = ConcludeForm(request.POST if refusal else None)
    if refusal:
        refusal.tell(form)
    page = SignPage(
        study=found,
        crumbs=crumbs(Crumb(number, reverse("studies:study", args=[number])), Crumb(_("Conclude"))),
        analysis=analysis,
        sections=drawn_sections(analysis),
        sha256=content_sha256(study_content(read, analysis)),
        meaning=SIGNED_MEANING,
        form=form,
        leave_url=reverse("studies:study", args=[number]),
        values=len(read.standing),
    )
    return render(request, "studies/sign.html", {"page": page, "refusal": refusal, "place": PLACE})


@sensitive_post_parameters("secret")
@acting
def conclude(request: HttpRequest, number: str) -> HttpResponse:
    return _conclude(request, number) if request.method == "POST" else _sign_page(request, number)


@acting(again=_sign_page)
def _conclude(request: HttpRequest, number: str) -> HttpResponse:
    by, at = person_of(request), now()
    signing = sign(identifier=by.username, secret=request.POST.get("secret", ""), meaning=SIGNED_MEANING, at=at)
    sign_study(
        study=study_or_404(number),
        conclusion=request.POST.get("conclusion", ""),
        by=by,
        at=at,
        signing=signing,
        seen_sha256=request.POST.get("seen_sha256", ""),
    )
    messages.success(request, _("The study is concluded and signed."))
    return redirect("studies:study", number)
