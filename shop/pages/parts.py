"""From a customer's parts list to a draft sheet: the file, its columns, and a preview in which every misfit is corrected in place."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from django.conf import settings
from django.contrib import messages
from django.core.paginator import Page, Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.http import urlencode
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_POST

from shop.acts.parts_lists import CORRECTABLE, correct_parts_list, map_parts_list, sheet_from_parts_list, take_parts_list
from shop.clock import now, shop_day
from shop.figures import show_length
from shop.finding import Finding, Refused, misfit
from shop.forms.parts import LABELS, ColumnsForm, PartsFileForm, as_initial
from shop.jobs import Job
from shop.pages.acting import Refusal, acting, person_of, require
from shop.pages.catalogue import Crumb
from shop.pages.plan import crumbs_to
from shop.pages.showing import system_of
from shop.parts_list import COLUMNS, TERMINAL_OF, TOOL_OF, key_of, mapping_findings
from shop.parts_plan import EndPlan, LeadPlan, plan_parts_list
from shop.permissions import Deed
from shop.quantity import System
from shop.rechecks import PartsList
from shop.wording import Worded, worded

PER_PAGE = 50
ROWS_SHOWN = 5


def _parts(pk: int) -> PartsList:
    return get_object_or_404(PartsList.objects.select_related("job__customer", "by", "sheet"), pk=pk)


def _crumbs(parts: PartsList) -> list[Crumb]:
    return [*crumbs_to(parts.job), Crumb(_("Parts list {name}").format(name=parts.file_name), reverse("plan:parts-list", args=[parts.pk]))]


# --- The file ---------------------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class NewPartsPage:
    job: Job
    crumbs: list[Crumb]
    form: PartsFileForm
    earlier: list[PartsList]
    leave_url: str


def _new_page(request: HttpRequest, pk: int, *, refusal: Refusal | None = None) -> HttpResponse:
    if refusal is None:
        require(request, Deed.DRAFT_SHEET)
    job = get_object_or_404(Job.objects.select_related("customer"), pk=pk)
    form = PartsFileForm(request.POST, request.FILES) if refusal else PartsFileForm()
    if refusal:
        refusal.tell(form)
    page = NewPartsPage(
        job=job,
        crumbs=crumbs_to(job),
        form=form,
        earlier=list(job.parts_lists.defer("rows").select_related("by", "sheet")),
        leave_url=reverse("plan:job", args=[pk]),
    )
    return render(request, "plan/new_parts_list.html", {"page": page, "refusal": refusal, "place": "plan"})


@acting
def new_parts_list(request: HttpRequest, pk: int) -> HttpResponse:
    return _take(request, pk) if request.method == "POST" else _new_page(request, pk)


@acting(again=_new_page)
def _take(request: HttpRequest, pk: int) -> HttpResponse:
    job = get_object_or_404(Job, pk=pk)
    upload: Any = request.FILES.get("file")
    if upload is None:
        raise Refused([misfit("data.required", "file")])
    data = upload.read(settings.UPLOAD_LIMIT_BYTES + 1)
    parts = take_parts_list(job=job, file_name=upload.name or _("parts list"), data=data, by=person_of(request), at=now())
    return redirect("plan:parts-columns", parts.pk)


# --- The columns ------------------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class ColumnsPage:
    parts: PartsList
    crumbs: list[Crumb]
    form: ColumnsForm
    sample: list[tuple[int, list[str]]]
    count: str
    leave_url: str


def _columns_page(request: HttpRequest, pk: int, *, refusal: Refusal | None = None, form: ColumnsForm | None = None) -> HttpResponse:
    if refusal is None:
        require(request, Deed.DRAFT_SHEET)
    parts = _parts(pk)
    form = form or _columns_form(request, parts, typed=refusal is not None)
    if refusal:
        refusal.tell(form)
    page = ColumnsPage(
        parts=parts,
        crumbs=_crumbs(parts),
        form=form,
        sample=[(line, cells) for line, cells in parts.rows[:ROWS_SHOWN]],
        count=ngettext("%(count)s lead", "%(count)s leads", len(parts.rows)) % {"count": len(parts.rows)},
        leave_url=reverse("plan:job", args=[parts.job_id]),
    )
    status = 422 if form.errors else 200
    return render(request, "plan/parts_columns.html", {"page": page, "refusal": refusal, "place": "plan"}, status=status)


def _columns_form(request: HttpRequest, parts: PartsList, *, typed: bool) -> ColumnsForm:
    rows = [cells for _line, cells in parts.rows]
    return ColumnsForm(request.POST if typed else None, header=parts.header, rows=rows, initial=as_initial(parts.mapping))


@acting
def columns(request: HttpRequest, pk: int) -> HttpResponse:
    return _map(request, pk) if request.method == "POST" else _columns_page(request, pk)


@acting(again=_columns_page)
def _map(request: HttpRequest, pk: int) -> HttpResponse:
    parts = _parts(pk)
    form = _columns_form(request, parts, typed=True)
    if not form.is_valid():
        return _columns_page(request, pk, form=form)
    map_parts_list(parts=parts, mapping=form.mapping(), length_unit=form.cleaned_data["length_unit"], by=person_of(request), at=now())
    return redirect("plan:parts-list", pk)


# --- The preview ------------------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class EndView:
    """One end of a lead as a cell. note: what is said instead of a terminal."""

    terminal: str
    tool: str
    setting: str
    specification: str
    height: str
    note: str
    is_broken: bool


@dataclass(frozen=True, slots=True)
class CellField:
    """One cell that can be corrected. in_file: what the file says, where that was corrected."""

    name: str
    label: str
    value: str
    in_file: str
    is_wrong: bool


@dataclass(frozen=True, slots=True)
class ToolField:
    name: str
    label: str
    offers: list[str]
    chosen: str


@dataclass(frozen=True, slots=True)
class Misfit:
    """What is wrong in one cell, and what to do."""

    column: str
    what: str
    next_step: str


@dataclass(frozen=True, slots=True)
class PartsRow:
    row: int
    line: int
    lead: str
    note: str
    wire: str
    wire_note: str
    length: str
    quantity: str
    ends: list[EndView]
    findings: list[Misfit]
    is_open: bool  # whether the cells stand below, to be corrected
    fields: list[CellField]
    further: list[CellField]
    tools: list[ToolField]
    is_corrected: bool
    open_url: str
    correct_url: str


@dataclass(frozen=True, slots=True)
class PartsPage:
    parts: PartsList
    crumbs: list[Crumb]
    rows: Page[LeadPlan]
    lines: list[PartsRow]
    count: str
    broken: int
    broken_words: str
    only_broken: bool
    terminations: int
    can_make: bool
    is_made: bool


def _preview(request: HttpRequest, pk: int, row: int | None = None, *, refusal: Refusal | None = None) -> HttpResponse:
    """row: of the correction that was refused; the page shows all of them again."""
    if refusal is None:
        require(request, Deed.DRAFT_SHEET)
    parts, system = _parts(pk), system_of(person_of(request))
    if mapping_findings({name: parts.mapping[name] for name in COLUMNS if name in parts.mapping}, parts.header):
        return redirect("plan:parts-columns", pk)
    plan = plan_parts_list(parts, shop_day(now()))
    broken, only_broken = plan.broken, request.GET.get("show") == "broken"
    rows = Paginator(broken if only_broken else plan.leads, PER_PAGE).get_page(request.GET.get("page"))
    query = _query(request)
    opened = row if row is not None else _number(request.GET.get("open", ""))
    page = PartsPage(
        parts=parts,
        crumbs=_crumbs(parts),
        rows=rows,
        lines=[_row(lead, parts, system, query, opened) for lead in rows],
        count=ngettext("%(count)s lead", "%(count)s leads", len(plan.leads)) % {"count": len(plan.leads)},
        broken=len(broken),
        broken_words=ngettext("%(count)s lead does not fit yet", "%(count)s leads do not fit yet", len(broken)) % {"count": len(broken)},
        only_broken=only_broken,
        terminations=len(plan.ends),
        can_make=parts.sheet_id is None and not broken and bool(plan.ends),
        is_made=parts.sheet_id is not None,
    )
    return render(request, "plan/parts_list.html", {"page": page, "refusal": refusal, "place": "plan"})


@acting
def parts_list(request: HttpRequest, pk: int) -> HttpResponse:
    return _preview(request, pk)


def _query(request: HttpRequest) -> str:
    """Where in the list the planner is, kept in every address of the page."""
    return urlencode([(name, request.GET[name]) for name in ("show", "page") if name in request.GET])


def _number(text: str) -> int | None:
    return int(text) if text.isascii() and text.isdigit() else None


ALWAYS = ("wire", *TERMINAL_OF.values())
"""Cells that most corrections are about; the others stand one step away unless something is wrong with them."""


def _row(lead: LeadPlan, parts: PartsList, system: System, query: str, opened: int | None) -> PartsRow:
    texts, row = lead.lead.texts, lead.lead.row
    wire = next((end.wires[0] for end in lead.ends.values() if end.wires and end.wires[0].part_number == texts["wire"]), None)
    wrong = {finding.field for finding in lead.blocking}
    cells = [_cell(parts, row, name, texts[name], name in wrong) for name in COLUMNS if name in parts.mapping or name in wrong]
    points = " → ".join(point for point in (texts["from"], texts["to"]) if point)
    return PartsRow(
        row=row,
        line=lead.lead.line,
        lead=lead.lead.number or "–",
        note=", ".join(part for part in (texts["circuit"], points) if part),
        wire=texts["wire"],
        wire_note=", ".join(part for part in (wire.size, wire.colour) if part) if wire else "",
        length=show_length(lead.lead.length_mm, system) if lead.lead.length_mm is not None else texts["length"],
        quantity=str(lead.lead.quantity * parts.job.quantity) if lead.lead.quantity else texts["quantity"],
        ends=[_end(lead, end, wrong, system) for end in TERMINAL_OF],
        findings=[_misfit(worded(finding)) for finding in _once(lead.blocking)],
        is_open=parts.sheet_id is None and (bool(lead.blocking) or opened == row),
        fields=[cell for cell in cells if cell.name in ALWAYS or cell.is_wrong],
        further=[cell for cell in cells if cell.name not in ALWAYS and not cell.is_wrong],
        tools=[_tools(end) for end in lead.ends.values() if end.fitting],
        is_corrected=any(key_of(row, name) in parts.corrections for name in CORRECTABLE),
        open_url=f"?{query}{'&' if query else ''}open={row}#row-{row}" if parts.sheet_id is None and not lead.blocking else "",
        correct_url=reverse("plan:parts-correct", args=[parts.pk, row]) + (f"?{query}" if query else ""),
    )


def _misfit(finding: Worded) -> Misfit:
    """What the list itself got wrong is said with what was expected; the fit rules name both numbers already."""
    what = f"{finding.what} {finding.expected}".strip() if finding.rule.startswith("parts.") else finding.what
    return Misfit(str(LABELS.get(finding.field, "")), what, finding.next_step)


def _once(findings: Sequence[Finding]) -> list[Finding]:
    """The same thing said of both ends is said once."""
    seen: dict[tuple[str, str, tuple[tuple[str, object], ...]], Finding] = {}
    for finding in findings:
        seen.setdefault((finding.rule, finding.field, tuple(sorted(finding.compared.items()))), finding)
    return list(seen.values())


def _end(lead: LeadPlan, end: str, wrong: set[str], system: System) -> EndView:
    planned = lead.ends.get(end)
    if planned is None:
        own = lead.lead.texts["with"]
        note = _("with {leads}").format(leads=own) if own and end in own.upper() else _("no terminal")
        return EndView("", "", "", "", "", note, TERMINAL_OF[end] in wrong)
    spec = planned.specification
    return EndView(
        terminal=planned.end.terminal,
        tool=planned.tool.asset_number if planned.tool else "",
        setting=planned.setting,
        specification=_("{number} rev {revision}").format(number=spec.number, revision=spec.revision) if spec else "",
        height=show_length(spec.crimp_height_nominal_mm, system) if spec and spec.crimp_height_nominal_mm is not None else "",
        note=_("barrel of {leads}").format(leads=planned.end.lead) if len(planned.end.wires) > 1 else "",
        is_broken=bool(planned.findings),
    )


def _cell(parts: PartsList, row: int, name: str, value: str, wrong: bool) -> CellField:
    corrected = key_of(row, name) in parts.corrections
    in_file = str(parts.rows[row][1][parts.mapping[name]]) if corrected and name in parts.mapping else ""
    return CellField(name, str(LABELS[name]), value, in_file or (_("empty") if corrected else ""), wrong)


def _tools(end: EndPlan) -> ToolField:
    name = TOOL_OF[end.end.end]
    return ToolField(name, str(LABELS[name]), [tool.asset_number for tool in end.fitting], end.tool.asset_number if end.tool else "")


@require_POST
@acting(again=_preview)
def correct(request: HttpRequest, pk: int, row: int) -> HttpResponse:
    """Correct the cells of one row; what was not changed is left alone, so that a tool that the program picked stays its pick."""
    changes = {
        name: request.POST[name]
        for name in CORRECTABLE
        if name in request.POST and request.POST[name].strip() != request.POST.get(f"was_{name}", "").strip()
    }
    if changes:
        everywhere = "everywhere" in request.POST
        correct_parts_list(parts=_parts(pk), row=row, changes=changes, everywhere=everywhere, by=person_of(request), at=now())
    query = _query(request)
    return redirect(f"{reverse('plan:parts-list', args=[pk])}{f'?{query}' if query else ''}#row-{row}")


@require_POST
@acting(again=_preview)
def make_sheet(request: HttpRequest, pk: int) -> HttpResponse:
    sheet = sheet_from_parts_list(parts=_parts(pk), by=person_of(request), at=now())
    messages.success(request, _("{sheet} is drafted from the parts list.").format(sheet=sheet))
    return redirect("plan:sheet", sheet.pk)
