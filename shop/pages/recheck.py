"""Re-checking released sheets: how far it is, what it found, and the sheets that would not be released today."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal

from django.contrib import messages
from django.core.paginator import Page, Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_POST

from shop.acts.rechecks import order_recheck
from shop.clock import now
from shop.finding import Finding, Verdict
from shop.jobs import SetupSheet, SheetStatus
from shop.pages.acting import acting, person_of
from shop.pages.catalogue import Crumb
from shop.pages.plan import crumbs_to
from shop.permissions import Deed, may
from shop.rechecks import Recheck, SheetFlag
from shop.wording import Worded, worded

PER_PAGE, RUNS_SHOWN = 50, 10
PATIENCE = timedelta(seconds=30)
"""After this long without a start somebody should look whether the worker runs."""


@dataclass(frozen=True, slots=True)
class Run:
    """One re-check. outcome and word: as a verdict; running: it waits or goes on."""

    reason: str
    asked_by: str
    asked_at: datetime
    running: bool
    outcome: str
    word: str
    done: int
    total: int
    raised: int
    cleared: int
    error: str
    is_stuck: bool


@dataclass(frozen=True, slots=True)
class Flagged:
    """A flag with the sentence of its rule."""

    sheet: str
    url: str
    place: str
    words: Worded
    since: datetime


@dataclass(frozen=True, slots=True)
class RecheckPage:
    crumbs: list[Crumb]
    runs: list[Run]
    is_running: bool
    rows: Page[SheetFlag]
    flagged: list[Flagged]
    may_order: bool


def run_of(row: Recheck, at: datetime) -> Run:
    running = row.finished_at is None
    if row.error:
        outcome, word = "does not conform", _("failed")
    elif row.started_at is None:
        outcome, word = "waiting", _("waits for the worker")
    elif running:
        outcome, word = "waiting", _("is running")
    else:
        outcome, word = ("undecided", _("flags raised")) if row.raised else ("conforms", _("nothing new"))
    return Run(
        reason=row.reason,
        asked_by=row.asked_by.name,
        asked_at=row.asked_at,
        running=running,
        outcome=outcome,
        word=word,
        done=row.done,
        total=max(row.total, row.done, 1),
        raised=row.raised,
        cleared=row.cleared,
        error=row.error,
        is_stuck=row.started_at is None and running and at - row.asked_at > PATIENCE,
    )


def words_of_flag(flag: SheetFlag) -> Worded:
    """The finding as it was kept, worded again."""
    compared: dict[str, Decimal | int | str] = dict(flag.compared)
    return worded(Finding(flag.rule, Verdict(flag.verdict), "", compared))


def flagged_of(flag: SheetFlag) -> Flagged:
    t = flag.termination
    return Flagged(str(flag.sheet), reverse("plan:sheet", args=[flag.sheet_id]), f"{t.lead} {t.end}", words_of_flag(flag), flag.raised_at)


def flags_on(sheet: SetupSheet) -> list[Flagged]:
    """What the last re-checks hold against a sheet in force."""
    if not sheet.is_released:
        return []
    flags = SheetFlag.objects.filter(sheet=sheet, cleared_at__isnull=True).select_related("sheet", "termination")
    return [flagged_of(flag) for flag in flags.order_by("termination__position", "rule")]


@require_GET
def rechecks(request: HttpRequest) -> HttpResponse:
    """The whole page; asked by htmx while one runs, the moving part alone."""
    at = now()
    runs = [run_of(row, at) for row in Recheck.objects.select_related("asked_by")[:RUNS_SHOWN]]
    flags = SheetFlag.objects.filter(cleared_at__isnull=True, sheet__status=SheetStatus.RELEASED)
    ordered = flags.select_related("sheet", "termination").order_by("sheet__number", "termination__position", "rule")
    rows = Paginator(ordered, PER_PAGE).get_page(request.GET.get("page"))
    page = RecheckPage(
        crumbs=crumbs_to(),
        runs=runs,
        is_running=any(run.running for run in runs),
        rows=rows,
        flagged=[flagged_of(flag) for flag in rows],
        may_order=may(person_of(request), Deed.RELEASE_SHEET),
    )
    template = "plan/_recheck.html" if request.headers.get("HX-Request") else "plan/recheck.html"
    return render(request, template, {"page": page, "place": "plan"})


@require_POST
@acting
def order(request: HttpRequest) -> HttpResponse:
    if order_recheck(by=person_of(request), at=now()) is None:
        messages.info(request, _("No sheet is in force: there is nothing to check."))
    return redirect("plan:recheck")
