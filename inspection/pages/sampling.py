"""Acceptance by sampling: schemes, their histories, and inspecting a lot. Pages of the desk."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

from django.contrib import messages
from django.db.models import Prefetch, Q
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_GET, require_POST

from inspection.acceptance import LotInspection, PlanBasis, SamplingScheme
from inspection.acts.acceptance import (
    INSPECTED_MEANING,
    Lot,
    LotInput,
    LotPlan,
    SchemeInput,
    end_scheme,
    history_of,
    inspect_lot,
    lot_named,
    lots_of,
    open_scheme,
    plan_of,
    plan_sha256,
    release_inspected_lot,
    standing_of,
    waits,
)
from inspection.analysis import Analysis
from inspection.forms.sampling import LotForm, SchemeForm
from inspection.models import Batch, LinkKind, NonconformanceLink
from inspection.pages.studies import DrawnSection, crumbs, drawn_sections
from inspection.sampling.single import lot_ranges, read_aql
from inspection.sampling.switching import Standing, State
from inspection.sampling_sections import outlook, plan_sections, state_word, why_word
from shop.clock import now
from shop.finding import Refused
from shop.pages.acting import Refusal, acting, person_of, refusal_of, require
from shop.pages.catalogue import Crumb
from shop.pages.csv_answer import csv_answer, xlsx_answer
from shop.pages.paging import LongPaginator
from shop.permissions import Deed, may
from shop.sign_on import sign
from shop.wording import Worded

PLACE = "studies"
OUTCOME = {State.NORMAL: "conforms", State.REDUCED: "conforms", State.TIGHTENED: "undecided", State.DISCONTINUED: "does not conform"}


def sampling_crumbs(*further: Crumb) -> list[Crumb]:
    return crumbs(Crumb(_("Acceptance by sampling"), reverse("studies:sampling")), *further)


def scheme_or_404(number: str) -> SamplingScheme:
    return get_object_or_404(SamplingScheme.objects.select_related("terminal", "wire", "opened_by", "ended_by"), number=number)


def plan_words(scheme: SamplingScheme) -> str:
    if scheme.basis == PlanBasis.TABLE and scheme.aql is not None:
        return _("level {level}, AQL {aql}").format(level=scheme.level, aql=f"{read_aql(scheme.aql):f}")
    if scheme.basis == PlanBasis.ZERO and scheme.quality is not None and scheme.risk is not None:
        return _("none allowed: {quality} % accepted at most {risk} times in 100").format(
            quality=f"{scheme.quality.normalize():f}", risk=f"{scheme.risk.normalize():f}"
        )
    return _("n {n}, Ac {ac}").format(n=scheme.own_n, ac=scheme.own_ac)


# --- Schemes -----------------------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class SchemeLine:
    scheme: SamplingScheme
    url: str
    part: str
    plan: str
    lots: int
    last: LotInspection | None
    outcome: str
    word: str
    why: str


@dataclass(frozen=True, slots=True)
class SchemesPage:
    lines: list[SchemeLine]
    rows: Any
    state: str
    words: str
    may_open: bool
    crumbs: list[Crumb]

    @property
    def is_filtered(self) -> bool:
        return bool(self.state or self.words)


def _line(scheme: SamplingScheme) -> SchemeLine:
    history = list(scheme.inspections.all())
    standing = standing_of(scheme, history)
    why = why_word(standing.why, scheme.start)
    word, outcome = state_word(standing.state), OUTCOME[standing.state]
    if scheme.ended_at is not None:
        word, outcome, why = _("ended"), "conceded", scheme.ended_because
    elif not scheme.switches:
        word, why = _("in force"), _("this kind of plan has one severity")
    return SchemeLine(
        scheme=scheme,
        url=reverse("studies:sampling-scheme", args=[scheme.number]),
        part=scheme.part.part_number,
        plan=plan_words(scheme),
        lots=len(history),
        last=history[-1] if history else None,
        outcome=outcome,
        word=word,
        why=why,
    )


@require_GET
def schemes(request: HttpRequest) -> HttpResponse:
    rows = SamplingScheme.objects.select_related("terminal", "wire").order_by("-pk")
    state, words = request.GET.get("state", ""), request.GET.get("q", "").strip()
    if state in ("in force", "ended"):
        rows = rows.filter(ended_at__isnull=state == "in force")
    for word in words.replace("\0", "").split():
        rows = rows.filter(name__icontains=word) | rows.filter(number__icontains=word) | rows.filter(
            terminal__part_number__icontains=word
        ) | rows.filter(wire__part_number__icontains=word)  # fmt: skip
    shown = LongPaginator(rows.prefetch_related(Prefetch("inspections", LotInspection.objects.order_by("number"))), 30).get_page(
        request.GET.get("page")
    )
    page = SchemesPage(
        lines=[_line(scheme) for scheme in shown],
        rows=shown,
        state=state,
        words=words,
        may_open=may(person_of(request), Deed.PLAN_SAMPLING),
        crumbs=crumbs(Crumb(_("Acceptance by sampling"))),
    )
    return render(request, "studies/sampling/list.html", {"page": page, "place": PLACE})


@dataclass(frozen=True, slots=True)
class NewSchemePage:
    form: SchemeForm
    crumbs: list[Crumb]
    leave_url: str


def _new_page(request: HttpRequest, *, refusal: Refusal | None = None, form: SchemeForm | None = None) -> HttpResponse:
    if refusal is None:
        require(request, Deed.PLAN_SAMPLING)
    form = form or SchemeForm(request.POST if refusal else None, initial=None if refusal else request.GET.dict())
    if refusal:
        refusal.tell(form)
    page = NewSchemePage(form, sampling_crumbs(Crumb(_("New scheme"))), reverse("studies:sampling"))
    context = {"page": page, "refusal": refusal, "place": PLACE}
    return render(request, "studies/sampling/new.html", context, status=422 if form.errors else 200)


@acting
def new_scheme(request: HttpRequest) -> HttpResponse:
    return _open(request) if request.method == "POST" else _new_page(request)


@acting(again=_new_page)
def _open(request: HttpRequest) -> HttpResponse:
    form = SchemeForm(request.POST)
    if not form.is_valid():
        return _new_page(request, form=form)
    given = form.cleaned_data
    names = ("name", "thing", "criterion", "basis", "reason", "terminal", "wire", "quality", "risk", "n", "ac")
    on_tables = {"level": given["level"], "start": given["start"] or "normal", "reduced_by": given["reduced_by"] or "never"}
    stated = SchemeInput(**{name: given[name] for name in names}, **on_tables, aql=read_aql(given["aql"]) if given["aql"] else None)
    scheme = open_scheme(stated=stated, by=person_of(request), at=now())
    messages.success(request, _("Scheme {number} is in force.").format(number=scheme.number))
    return redirect("studies:sampling-scheme", scheme.number)


@dataclass(frozen=True, slots=True)
class LotLine:
    """switched: the severity where it changed with this lot, to be shown between the lines. record: number of the nonconformance that a
    rejected lot is in; record_url leads there, or to opening one."""

    row: LotInspection
    severity: str
    outcome: str
    word: str
    switched: str
    release_url: str
    record: str = ""
    record_url: str = ""


@dataclass(frozen=True, slots=True)
class RangeLine:
    lots: str
    letter: str
    n: str
    ac: str
    re: str
    status: str


@dataclass(frozen=True, slots=True)
class SchemePage:
    line: SchemeLine
    scheme: SamplingScheme
    crumbs: list[Crumb]
    standing: Standing
    next: list[str]
    lots: list[LotLine]
    older: int
    ranges: list[RangeLine]
    source: str
    sections: list[DrawnSection]
    size: int | None
    may_inspect: bool
    may_end: bool


SHOWN_LOTS = 60


def _scheme_page(request: HttpRequest, number: str, *, refusal: Refusal | None = None) -> HttpResponse:
    scheme, person = scheme_or_404(number), person_of(request)
    history = history_of(scheme)
    standing = standing_of(scheme, history)
    switched = {switch.index: switch for switch in standing.switches}
    in_force = scheme.ended_at is None
    may_inspect = in_force and may(person, Deed.INSPECT_LOT)
    lots = [
        LotLine(
            row=row,
            severity=state_word(row.severity),
            outcome="conforms" if row.accepted else "does not conform",
            word=_("accepted") if row.accepted else _("not accepted"),
            switched=_("from here on {severity}: {why}").format(
                severity=state_word(switched[index].after), why=why_word(switched[index].why, "")
            )
            if index in switched
            else "",
            release_url="",
        )
        for index, row in enumerate(history)
    ]
    size = history[-1].lot_size if history else None
    plan = _plan_or_none(scheme, size or 1000, standing.state)
    sections = (
        plan_sections(plan.n, plan.most_accepted, lot_size=size or 1000, pieces=scheme.counts_pieces, marks=_marks(scheme)) if plan else []
    )
    ranges, source = _ranges(scheme, standing)
    page = SchemePage(
        line=_line_of(scheme, history),
        scheme=scheme,
        crumbs=sampling_crumbs(Crumb(scheme.number)),
        standing=standing,
        next=outlook(standing, scheme.reduced_by) if scheme.switches and in_force else [],
        lots=_with_records(_offered(lots[-SHOWN_LOTS:][::-1], may_inspect), may(person, Deed.OPEN_NONCONFORMANCE)),
        older=max(len(lots) - SHOWN_LOTS, 0),
        ranges=ranges,
        source=source,
        sections=drawn_sections(Analysis("undecided", "", tuple(sections))),
        size=size or 1000,
        may_inspect=may_inspect and standing.state is not State.DISCONTINUED,
        may_end=in_force and may(person, Deed.PLAN_SAMPLING),
    )
    return render(request, "studies/sampling/scheme.html", {"page": page, "refusal": refusal, "place": PLACE})


def _offered(lines: list[LotLine], may_release: bool) -> list[LotLine]:
    """The lines, with a way to release where a lot was accepted and still waits. One query at most."""
    waiting = [line.row for line in lines if may_release and line.row.accepted and waits(line.row)]
    if not waiting:
        return lines
    terminals, wires = ({getattr(row, name) for row in waiting} - {None} for name in ("terminal_lot_id", "wire_lot_id"))
    refused = LotInspection.objects.filter(Q(terminal_lot__in=terminals) | Q(wire_lot__in=wires), accepted=False)
    latest: dict[tuple[int | None, int | None], datetime] = {}
    for terminal, wire, at in refused.order_by("at").values_list("terminal_lot", "wire_lot", "at"):
        latest[terminal, wire] = at
    shown = []
    for line in lines:
        row = line.row
        later = latest.get((row.terminal_lot_id, row.wire_lot_id))
        offered = row in waiting and (later is None or later <= row.at)
        url = reverse("studies:sampling-release", args=[row.scheme.number, row.number]) if offered else ""
        shown.append(replace(line, release_url=url))
    return shown


def _with_records(lines: list[LotLine], may_open: bool) -> list[LotLine]:
    """The lines, with the nonconformance of each lot that was not accepted, or a way to open one. One query."""
    rejected = [line.row.pk for line in lines if not line.row.accepted]
    links = NonconformanceLink.objects.filter(kind=LinkKind.INSPECTION, subject_id__in=rejected).select_related("nonconformance")
    kept = {link.subject_id: link.nonconformance.number for link in links} if rejected else {}
    shown = []
    for line in lines:
        number = kept.get(line.row.pk, "")
        if number:
            url = reverse("prove:nonconformance", args=[number])
        else:
            url = f"{reverse('prove:nonconformance-new')}?inspection={line.row.pk}" if may_open and not line.row.accepted else ""
        shown.append(replace(line, record=number, record_url=url))
    return shown


def _line_of(scheme: SamplingScheme, history: list[LotInspection]) -> SchemeLine:
    scheme._prefetched_objects_cache = {"inspections": history}  # type: ignore[attr-defined]  # read already
    return _line(scheme)


def _marks(scheme: SamplingScheme) -> list[tuple[float, str]]:
    return [(float(scheme.aql) / 100, _("AQL"))] if scheme.aql is not None else []


def _plan_or_none(scheme: SamplingScheme, size: int, state: State) -> LotPlan | None:
    try:
        return plan_of(scheme, size, state)
    except Refused:
        return None


def _ranges(scheme: SamplingScheme, standing: Standing) -> tuple[list[RangeLine], str]:
    """The plan of every range of lot sizes, under the severity of the next lot."""
    if not scheme.switches or standing.state is State.DISCONTINUED:
        return [], ""
    lines, source = [], ""
    for low, high in lot_ranges():
        plan = plan_of(scheme, high or low, standing.state)
        source = plan.source
        lots = f"{low} – {high}" if high else _("{low} and more").format(low=low)
        n = str(plan.n) if not plan.whole_lot else _("all")
        lines.append(RangeLine(lots, plan.code_letter, n, str(plan.ac), str(plan.re), plan.status))
    return lines, source


@acting
def scheme(request: HttpRequest, number: str) -> HttpResponse:
    return _scheme_page(request, number)


@require_POST
@acting(again=_scheme_page)
def end(request: HttpRequest, number: str) -> HttpResponse:
    end_scheme(scheme=scheme_or_404(number), reason=request.POST.get("reason", ""), by=person_of(request), at=now())
    messages.success(request, _("The scheme is ended."))
    return redirect("studies:sampling-scheme", number)


@require_POST
@acting(again=lambda request, number, lot, refusal: _scheme_page(request, number, refusal=refusal))
def release(request: HttpRequest, number: str, lot: int) -> HttpResponse:
    row = get_object_or_404(LotInspection, scheme__number=number, number=lot)
    released = release_inspected_lot(inspection=row, by=person_of(request), at=now())
    messages.success(request, _("Lot {lot} is released.").format(lot=released))
    return redirect("studies:sampling-scheme", number)


# --- Inspecting a lot --------------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class InspectPage:
    """plan: None until a lot and its size are named."""

    scheme: SamplingScheme
    part: str
    crumbs: list[Crumb]
    lot: str
    size: str
    offers: list[str]
    plan: LotPlan | None
    severity: str
    why: str
    seen_sha256: str
    form: LotForm
    refused: tuple[Worded, ...]
    meaning: str


def _lot_size(text: str) -> int:
    return int(text) if text.isascii() and text.isdigit() and len(text) < 10 else 0


def _suggested(scheme: SamplingScheme, lot: Lot | None) -> str:
    if lot is None:
        return ""
    return str(lot.quantity if isinstance(lot, Batch) else int(lot.quantity))


def _inspect_page(request: HttpRequest, number: str, *, refusal: Refusal | None = None) -> HttpResponse:
    scheme, asked = scheme_or_404(number), request.POST if refusal else request.GET
    if refusal is None:
        require(request, Deed.INSPECT_LOT)
    name, size = asked.get("lot", "").strip(), asked.get("lot_size", "").strip()
    standing = standing_of(scheme, history_of(scheme))
    plan, sha256 = None, ""
    why_not: tuple[Worded, ...] = ()
    if name or standing.state is State.DISCONTINUED:
        try:
            lot = lot_named(scheme, name) if name else None
            size = size or _suggested(scheme, lot)
            plan = plan_of(scheme, _lot_size(size), standing.state)
            sha256 = plan_sha256(scheme, lot, _lot_size(size), plan) if lot else ""
        except Refused as refused:
            why_not = refusal_of(refused.findings).findings
    form = LotForm(request.POST if refusal else None)
    if refusal:
        refusal.tell(form)
    key = "number" if scheme.thing == "batches" else "lot_number"
    page = InspectPage(
        scheme=scheme,
        part=scheme.part.part_number,
        crumbs=sampling_crumbs(Crumb(scheme.number, reverse("studies:sampling-scheme", args=[number])), Crumb(_("Inspect a lot"))),
        lot=name,
        size=size,
        offers=list(lots_of(scheme).values_list(key, flat=True)[:200]),
        plan=plan,
        severity=state_word(standing.state),
        why=why_word(standing.why, scheme.start),
        seen_sha256=sha256,
        form=form,
        refused=why_not,
        meaning=INSPECTED_MEANING,
    )
    context = {"page": page, "refusal": refusal, "place": PLACE}
    return render(request, "studies/sampling/inspect.html", context, status=422 if why_not else 200)


@sensitive_post_parameters("secret")
@acting
def inspecting(request: HttpRequest, number: str) -> HttpResponse:
    return _inspect(request, number) if request.method == "POST" else _inspect_page(request, number)


@acting(again=_inspect_page)
def _inspect(request: HttpRequest, number: str) -> HttpResponse:
    scheme, typed, by, at = scheme_or_404(number), request.POST, person_of(request), now()
    lot = lot_named(scheme, typed.get("lot", ""))
    signing = sign(identifier=by.username, secret=typed.get("secret", ""), meaning=INSPECTED_MEANING, at=at)
    row = inspect_lot(
        scheme=scheme, lot=lot, stated=_stated(typed), by=by, at=at, signing=signing, seen_sha256=typed.get("seen_sha256", "")
    )
    told = _("Lot {lot} is accepted.") if row.accepted else _("Lot {lot} is not accepted.")
    (messages.success if row.accepted else messages.warning)(request, told.format(lot=lot))
    return redirect("studies:sampling-scheme", number)


def _stated(typed: Mapping[str, str]) -> LotInput:
    found = typed.get("found", "").strip()
    return LotInput(
        lot_size=_lot_size(typed.get("lot_size", "").strip()),
        found=_lot_size(found) if found.isdigit() else -1,
        defects=typed.get("defects", ""),
        resubmitted=bool(typed.get("resubmitted")),
        irregular=typed.get("irregular", ""),
    )


# --- Export ------------------------------------------------------------------------------------------------------------------------

HEADS = (
    "number", "lot", "lot_size", "severity", "code_letter", "n", "ac", "re", "found", "defects", "presented_again", "irregular",
    "accepted", "severity_after", "by", "at",
)  # fmt: skip


@require_GET
def history(request: HttpRequest, number: str, form: str) -> HttpResponse:
    scheme = scheme_or_404(number)
    rows = [_cells(row) for row in history_of(scheme)]
    if form == "csv":
        return csv_answer(f"{number}.csv", HEADS, rows)
    return xlsx_answer(f"{number}.xlsx", number, HEADS, rows)


def _cells(row: LotInspection) -> list[str]:
    at: datetime = row.at
    return [
        str(row.number), str(row.lot), str(row.lot_size), row.severity, row.code_letter, str(row.n), str(row.ac), str(row.re),
        str(row.found), row.defects, "yes" if row.resubmitted else "no", row.irregular, "yes" if row.accepted else "no",
        row.severity_after, row.by.username, at.isoformat(),
    ]  # fmt: skip
