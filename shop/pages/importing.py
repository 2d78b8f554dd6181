"""Items from a file: a small file at once, a large one in the background with a page that says how far it is."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from typing import Any

from django.conf import settings
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_POST

from shop.acts.catalogue_import import ImportRefused, ImportReport, RowError, import_rows, template_csv
from shop.acts.import_runs import order_import, start_again
from shop.catalogue import Kind
from shop.clock import now
from shop.finding import Finding, Refused, Verdict, misfit
from shop.forms.item import has_default
from shop.imports import PATIENCE, ImportRun, ImportState
from shop.pages.acting import Refusal, acting, person_of, refusal_of, require
from shop.pages.catalogue import Crumb, crumbs, kind_or_404
from shop.spreadsheet import rows_about

AT_ONCE = 2000
"""Rows that are imported while the person waits; a larger file goes to the worker."""

RUNS_SHOWN = 5


@dataclass(frozen=True, slots=True)
class ColumnHelp:
    name: str
    is_required: bool
    label: str
    help: str


@dataclass(frozen=True, slots=True)
class RunLine:
    """A large file of this kind, on its way or done."""

    url: str
    file_name: str
    by: str
    at: datetime
    outcome: str
    word: str


@dataclass(frozen=True, slots=True)
class ImportPage:
    kind: Kind
    crumbs: list[Crumb]
    columns: list[ColumnHelp]
    report: ImportReport | None
    more_errors: int  # wrong rows that are not shown
    template_url: str
    list_url: str
    runs: list[RunLine]


def _import_page(request: HttpRequest, slug: str, *, refusal: Refusal | None = None, report: ImportReport | None = None) -> HttpResponse:
    kind = kind_or_404(slug)
    columns = [
        ColumnHelp(name, name in kind.required_columns, str(field.label or ""), _column_help(kind, name))
        for name, field in kind.form.base_fields.items()
    ]
    at = now()
    runs = ImportRun.objects.filter(kind=slug).select_related("by")[:RUNS_SHOWN]
    page = ImportPage(
        kind=kind,
        crumbs=crumbs(kind),
        columns=columns,
        report=report,
        more_errors=0,
        template_url=reverse("shop:import-template", args=[slug]),
        list_url=reverse("shop:list", args=[slug]),
        runs=[RunLine(_run_url(run), run.file_name, run.by.name, run.at, *_outcome(run, at)) for run in runs],
    )
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
    if rows_about(data) > AT_ONCE:
        run = order_import(kind=slug, file_name=name, data=data, by=person_of(request), at=now(), dry_run=dry_run)
        if request.headers.get("HX-Request"):
            return HttpResponse(status=204, headers={"HX-Redirect": _run_url(run)})
        return redirect(_run_url(run))
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


# --- A large file ----------------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class RunPage:
    """A run on its page. report: once it is over and was not broken. progress: rows done, None while it cannot be said."""

    kind: Kind
    crumbs: list[Crumb]
    file_name: str
    by: str
    at: datetime
    dry_run: bool
    outcome: str
    word: str
    is_over: bool
    is_lost: bool
    heard_at: datetime
    progress: int | None
    total: int
    fault: str
    report: ImportReport | None
    more_errors: int
    run_url: str
    again_url: str
    offer_writing: bool  # a check that found nothing wrong leads to the import
    import_url: str
    list_url: str


def _run_url(run: ImportRun) -> str:
    return reverse("shop:import-run", args=[run.kind, run.pk])


def _outcome(run: ImportRun, at: datetime) -> tuple[str, str]:
    if run.is_lost(at):
        return "undecided", _("no news")
    if run.fault:
        return "does not conform", _("broken off")
    if run.state == ImportState.DONE:
        return "conforms", _("checked, nothing written") if run.dry_run else _("imported")
    return "does not conform" if run.state == ImportState.REFUSED else "waiting", str(run.get_state_display())


def _finding(kept: Mapping[str, Any]) -> Finding:
    """A finding as it was kept, to be worded again."""
    compared: dict[str, Decimal | int | str] = dict(kept["compared"])
    return Finding(kept["rule"], Verdict(kept["verdict"]), kept["field"], compared)


def _report_of(run: ImportRun) -> ImportReport:
    return ImportReport(
        kind=run.kind,
        file_name=run.file_name,
        sha256=run.sha256,
        rows=run.total,
        added=run.added,
        changed=run.changed,
        unchanged=run.unchanged,
        errors=tuple(RowError(*error) for error in run.errors),
        dry_run=run.dry_run,
    )


@require_GET
@acting
def import_run(request: HttpRequest, slug: str, pk: int) -> HttpResponse:
    """The whole page; asked by htmx while it goes on, the moving part alone."""
    return _run_page(request, slug, pk)


def _run_page(request: HttpRequest, slug: str, pk: int, *, refusal: Refusal | None = None) -> HttpResponse:
    kind, at = kind_or_404(slug), now()
    if refusal is None:
        require(request, kind.deed)
    run = get_object_or_404(ImportRun.objects.select_related("by"), pk=pk, kind=slug)
    outcome, word = _outcome(run, at)
    has_report = run.is_over and not run.fault and (run.state == ImportState.DONE or bool(run.errors))
    import_url = reverse("shop:import", args=[slug])
    page = RunPage(
        kind=kind,
        crumbs=crumbs(kind, Crumb(_("Import"), import_url)),
        file_name=run.file_name,
        by=run.by.name,
        at=run.at,
        dry_run=run.dry_run,
        outcome=outcome,
        word=word,
        is_over=run.is_over,
        is_lost=run.is_lost(at),
        heard_at=run.heard_at,
        progress=run.done if run.state == ImportState.CHECKING and run.total else None,
        total=run.total,
        fault=run.fault,
        report=_report_of(run) if has_report else None,
        more_errors=run.errors_count - len(run.errors),
        run_url=_run_url(run),
        again_url=reverse("shop:import-again", args=[slug, run.pk]),
        offer_writing=run.state == ImportState.DONE and run.dry_run,
        import_url=import_url,
        list_url=reverse("shop:list", args=[slug]),
    )
    if refusal is None and run.findings:
        refusal = refusal_of([_finding(kept) for kept in run.findings])
    template = "catalogue/_import_run.html" if request.headers.get("HX-Request") else "catalogue/import_run.html"
    return render(request, template, {"page": page, "refusal": refusal, "place": "shop", "patience": int(PATIENCE.total_seconds() // 60)})


@require_POST
@acting(again=_run_page)
def import_again(request: HttpRequest, slug: str, pk: int) -> HttpResponse:
    """The same file once more, as it lies in the store: to write what was only checked, or because its run was lost."""
    run = get_object_or_404(ImportRun, pk=pk, kind=kind_or_404(slug).slug)
    dry_run = run.dry_run and "write" not in request.POST
    return redirect(_run_url(start_again(run=run, by=person_of(request), at=now(), dry_run=dry_run)))
