"""The plan's lists and forms of jobs and terminations. What is done with a whole sheet stands in `sheet.py`."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django.contrib import messages
from django.core.paginator import Page
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_POST

from shop.acts.sheets import draft_sheet, open_job, plan_termination, remove_termination
from shop.beside import beside
from shop.clock import now, shop_day
from shop.fit import CircuitFacts
from shop.forms.jobs import JobForm
from shop.forms.termination import PLAN, WIRES, TerminationForm
from shop.jobs import Job, SetupSheet, SheetStatus, Termination
from shop.pages.acting import Refusal, acting, person_of, require
from shop.pages.catalogue import Crumb
from shop.pages.paging import LongPaginator
from shop.pages.showing import system_of
from shop.people import Person
from shop.permissions import Deed, may
from shop.queries import Fit, JobLine, SheetLine, fit_of, job_line, jobs_for, sheet_line, sheets_for

PER_PAGE = 50


def crumbs_to(job: Job | None = None, sheet: SetupSheet | None = None) -> list[Crumb]:
    crumbs = [Crumb(_("Plan"), reverse("plan:jobs"))]
    if job:
        crumbs.append(Crumb(_("Job {number}").format(number=job.number), reverse("plan:job", args=[job.pk])))
    if sheet:
        crumbs.append(Crumb(_("Sheet {sheet}").format(sheet=sheet), reverse("plan:sheet", args=[sheet.pk])))
    return crumbs


# --- Lists -----------------------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class JobsPage:
    rows: Page[Job]
    lines: list[JobLine]
    states: list[tuple[str, str]]
    state: str
    words: str
    count: str
    new_url: str
    waiting: int


@require_GET
def jobs(request: HttpRequest) -> HttpResponse:
    person = person_of(request)
    words, state = request.GET.get("q", "").strip(), request.GET.get("sheet", "")
    states = [("none", _("no sheet")), *((str(value), _("a sheet {state}").format(state=label)) for value, label in SheetStatus.choices)]
    if state not in dict(states):
        state = ""
    paginator = LongPaginator(jobs_for(words, state), PER_PAGE)
    rows = paginator.get_page(request.GET.get("page"))
    page = JobsPage(
        rows=rows,
        lines=[job_line(job) for job in rows],
        states=states,
        state=state,
        words=words,
        count=paginator.counted(_("%(count)s job"), _("%(count)s jobs")),
        new_url=reverse("plan:new-job") if may(person, Deed.OPEN_JOB) else "",
        waiting=SetupSheet.objects.filter(status=SheetStatus.IN_REVIEW).count(),
    )
    return render(request, "plan/jobs.html", {"page": page, "place": "plan"})


@dataclass(frozen=True, slots=True)
class SheetsPage:
    crumbs: list[Crumb]
    rows: Page[SetupSheet]
    lines: list[tuple[SheetLine, SetupSheet]]
    states: list[tuple[str, str]]
    state: str
    authors: list[Person]
    author: str
    words: str
    count: str


@require_GET
def sheets(request: HttpRequest) -> HttpResponse:
    states = [(str(value), str(label)) for value, label in SheetStatus.choices]
    state, words, author = (request.GET.get(name, "").strip() for name in ("state", "q", "by"))
    if state not in dict(states):
        state = ""
    paginator = LongPaginator(sheets_for(words, state, author), PER_PAGE)
    rows = paginator.get_page(request.GET.get("page"))
    page = SheetsPage(
        crumbs=crumbs_to(),
        rows=rows,
        lines=[(sheet_line(sheet), sheet) for sheet in rows],
        states=states,
        state=state,
        authors=list(Person.objects.filter(sheets_drafted__isnull=False).distinct()),
        author=author,
        words=words,
        count=paginator.counted(_("%(count)s sheet"), _("%(count)s sheets")),
    )
    return render(request, "plan/sheets.html", {"page": page, "place": "plan"})


# --- Jobs ------------------------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class JobFormPage:
    crumbs: list[Crumb]
    form: JobForm
    groups: list[tuple[str, list[list[Any]]]]


@acting
def new_job(request: HttpRequest) -> HttpResponse:
    return _open(request) if request.method == "POST" else _job_form(request)


def _job_form(request: HttpRequest, *, refusal: Refusal | None = None, form: JobForm | None = None) -> HttpResponse:
    if refusal is None:
        require(request, Deed.OPEN_JOB)
    form = form or JobForm(request.POST if refusal else None)
    if refusal:
        refusal.tell(form)
    page = JobFormPage(crumbs_to(), form, form.groups_shown())
    return render(request, "plan/job_form.html", {"page": page, "refusal": refusal, "place": "plan"}, status=422 if form.errors else 200)


@acting(again=_job_form)
def _open(request: HttpRequest) -> HttpResponse:
    form = JobForm(request.POST)
    if not form.is_valid():
        return _job_form(request, form=form)
    names = ("number", "customer", "purchase_order", "part_number", "part_name", "drawing", "drawing_revision", "quantity", "due_on")
    job = open_job(by=person_of(request), at=now(), **{name: form.cleaned_data[name] for name in names})
    messages.success(request, _("Job {number} is open.").format(number=job.number))
    return redirect("plan:job", job.pk)


@dataclass(frozen=True, slots=True)
class JobPage:
    job: Job
    crumbs: list[Crumb]
    lines: list[tuple[SheetLine, SetupSheet]]
    may_draft: bool


@require_GET
def job(request: HttpRequest, pk: int) -> HttpResponse:
    found = get_object_or_404(Job.objects.select_related("customer"), pk=pk)
    rows = found.sheets.select_related("author", "released_by").order_by("number", "-revision")
    lines = [(sheet_line(sheet), sheet) for sheet in rows]
    page = JobPage(found, crumbs_to(), lines, may(person_of(request), Deed.DRAFT_SHEET))
    return render(request, "plan/job.html", {"page": page, "place": "plan", "sections": beside("job", found, person_of(request))})


@require_POST
@acting
def new_sheet(request: HttpRequest, pk: int) -> HttpResponse:
    sheet = draft_sheet(job=get_object_or_404(Job, pk=pk), by=person_of(request), at=now())
    return redirect("plan:sheet", sheet.pk)


# --- Terminations ----------------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class TerminationPage:
    sheet: SetupSheet
    title: str
    crumbs: list[Crumb]
    form: TerminationForm
    lead_fields: list[Any]
    barrel_fields: list[Any]
    further_wires: list[Any]
    circuit_fields: list[Any]
    plan_fields: list[Any]
    fit: Fit
    remove_url: str  # empty for a new one
    inspection_url: str
    leave_url: str


def _sheet(pk: int) -> SetupSheet:
    return get_object_or_404(SetupSheet.objects.select_related("job__customer", "author", "released_by"), pk=pk)


def _termination(sheet_pk: int, pk: int | None) -> Termination | None:
    if pk is None:
        return None
    rows = Termination.objects.select_related("terminal", "tool", "press", "sheet").prefetch_related("termination_wires__wire")
    return get_object_or_404(rows, sheet=sheet_pk, pk=pk)


def _termination_form(
    request: HttpRequest,
    sheet_pk: int,
    pk: int | None = None,
    *,
    refusal: Refusal | None = None,
    form: TerminationForm | None = None,
) -> HttpResponse:
    """The editor, with the fit of what is picked so far. Asked by htmx, the fit alone."""
    if refusal is None:
        require(request, Deed.DRAFT_SHEET)
    sheet, termination, system = _sheet(sheet_pk), _termination(sheet_pk, pk), system_of(person_of(request))
    form = form or TerminationForm(request.POST or None, termination=termination, quantity=sheet.job.quantity)
    circuit = CircuitFacts(form.chosen("required_temperature_c"), form.chosen("required_voltage_v"))
    fit = fit_of(
        form.wires(),
        form.chosen("terminal"),
        form.chosen("tool"),
        circuit,
        shop_day(now()),
        system,
        press=form.chosen("press"),
        dipped_end=bool(form.chosen("dipped_end")),
        current_a=form.chosen("required_current_a"),
    )
    checking = "check" in request.POST
    if checking and not refusal:
        # Half-filled is no mistake while one is still picking; what is filled in wrongly is told.
        for name in [name for name in form.errors if not str(form[name].value() or "").strip()]:
            del form.errors[name]
    if refusal:
        refusal.tell(form, brief=True)  # the fit below says it in full
    page = TerminationPage(
        sheet=sheet,
        title=_("Termination {lead} {end}").format(lead=termination.lead, end=termination.end) if termination else _("New termination"),
        crumbs=crumbs_to(sheet.job, sheet),
        form=form,
        lead_fields=[form[name] for name in ("lead", "end", "circuit", "quantity", "wire_length_mm")],
        barrel_fields=[form[name] for name in (WIRES[0], "terminal")],
        further_wires=[form[name] for name in WIRES[1:]],
        circuit_fields=[form[name] for name in ("required_temperature_c", "required_voltage_v", "required_current_a", "dipped_end")],
        plan_fields=[form[name] for name in PLAN],
        fit=fit,
        remove_url=reverse("plan:remove-termination", args=[sheet.pk, termination.pk]) if termination else "",
        inspection_url=reverse("plan:inspection-plan", args=[sheet.pk, termination.pk]) if termination else "",
        leave_url=reverse("plan:sheet", args=[sheet.pk]),
    )
    partly = checking and bool(request.headers.get("HX-Request"))
    status = 422 if form.errors and not partly else 200
    template = "plan/_fit.html" if partly else "plan/termination.html"
    return render(request, template, {"page": page, "refusal": refusal, "place": "plan"}, status=status)


@acting
def termination(request: HttpRequest, sheet_pk: int, pk: int | None = None) -> HttpResponse:
    if request.method == "POST" and "check" not in request.POST:
        return _plan(request, sheet_pk, pk)
    return _termination_form(request, sheet_pk, pk)


@acting(again=_termination_form)
def _plan(request: HttpRequest, sheet_pk: int, pk: int | None = None) -> HttpResponse:
    sheet, earlier = _sheet(sheet_pk), _termination(sheet_pk, pk)
    form = TerminationForm(request.POST, termination=earlier)
    if not form.is_valid():
        return _termination_form(request, sheet_pk, pk, form=form)
    planned = plan_termination(sheet=sheet, stated=form.stated(), by=person_of(request), at=now(), termination=earlier)
    messages.success(request, _("{lead} {end} is planned.").format(lead=planned.lead, end=planned.end))
    return redirect("plan:sheet", sheet.pk)


@require_POST
@acting
def remove(request: HttpRequest, sheet_pk: int, pk: int) -> HttpResponse:
    found = get_object_or_404(Termination, sheet=sheet_pk, pk=pk)
    name = f"{found.lead} {found.end}"
    remove_termination(termination=found, by=person_of(request), at=now())
    messages.success(request, _("{name} is removed.").format(name=name))
    return redirect("plan:sheet", sheet_pk)
