"""The page on which a file of numbers changes the state of lots, tools, presses and gauges, or withdraws papers."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django.conf import settings
from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from shop.acts.states_by_file import (
    MOST_ROWS,
    StatesRefused,
    StatesReport,
    by_file_of,
    change_states_by_file,
    columns_of,
    permission_by_file,
)
from shop.catalogue import Kind
from shop.clock import now
from shop.finding import Refused, misfit, refuse_if
from shop.pages.acting import Refusal, acting, person_of, refusal_of
from shop.pages.catalogue import Crumb, crumbs, kind_or_404
from shop.pages.catalogue_list import states_of
from shop.wording import Worded


@dataclass(frozen=True, slots=True)
class Line:
    """A row of the preview. url: the item's page, where there is one. outcome, word: what the row does."""

    line: int
    key: str
    url: str
    before: str
    after: str
    reason: str
    relied_on: int
    outcome: str
    word: str
    errors: list[str]


@dataclass(frozen=True, slots=True)
class Shape:
    """A row that cannot be read."""

    line: int
    reason: str


@dataclass(frozen=True, slots=True)
class StatesFilePage:
    kind: Kind
    crumbs: list[Crumb]
    title: str
    withdraws: bool
    states: list[tuple[str, str]]
    state: str
    reason: str
    knowing: str
    columns: tuple[str, ...]
    most_rows: int
    lines: list[Line]
    shapes: list[Shape]
    would: bool  # the lines say what would happen
    refused: int
    relied_on: int
    findings: list[Worded]
    leave_url: str


def _page(request: HttpRequest, slug: str, *, refusal: Refusal | None = None, report: StatesReport | None = None) -> HttpResponse:
    kind = _kind(slug)
    withdraws, states = by_file_of(kind) == "withdraw", states_of(kind)
    title = _("Withdraw {kind} by a file") if withdraws else _("Set states of {kind} by a file")
    page = StatesFilePage(
        kind=kind,
        crumbs=crumbs(kind),
        title=title.format(kind=str(kind.title).lower()),
        withdraws=withdraws,
        states=states,
        state=request.POST.get("state", ""),
        reason=request.POST.get("state_reason", ""),
        knowing=request.POST.get("knowing", ""),
        columns=columns_of(kind),
        most_rows=MOST_ROWS,
        lines=_lines(kind, report, dict(states)) if report else [],
        shapes=[Shape(error.line, error.reason) for error in report.errors] if report else [],
        would=refusal is None,
        refused=report.refused if report else 0,
        relied_on=report.relied_on if report else 0,
        findings=list(refusal.findings) if refusal else [],
        leave_url=reverse("shop:list", args=[slug]),
    )
    template = "catalogue/_states_report.html" if request.headers.get("HX-Request") else "catalogue/states_file.html"
    return render(request, template, {"page": page, "place": "shop"})


def _lines(kind: Kind, report: StatesReport, labels: dict[str, str]) -> list[Line]:
    made = []
    for line in report.lines:
        outcome, word = ("does not conform", _("refused")) if line.errors else ("conforms", _("can be done"))
        made.append(
            Line(
                line=line.line,
                key=line.key,
                url=reverse("shop:detail", args=[kind.slug, line.pk]) if line.pk else "",
                before=labels.get(line.before, line.before),
                after=labels.get(line.after, _("withdrawn") if line.after == "withdrawn" else line.after),
                reason=line.reason,
                relied_on=line.relied_on,
                outcome=outcome,
                word=word,
                errors=[error.reason for error in line.errors],
            )
        )
    return made


def _kind(slug: str) -> Kind:
    kind = kind_or_404(slug)
    if not by_file_of(kind):
        raise Http404
    return kind


@acting
def states_file(request: HttpRequest, slug: str) -> HttpResponse:
    kind = _kind(slug)
    refuse_if(permission_by_file(kind, person_of(request)))
    return _take(request, slug) if request.method == "POST" else _page(request, slug)


@acting(again=_page)
def _take(request: HttpRequest, slug: str) -> HttpResponse:
    kind, upload, knowing = _kind(slug), _upload(request), request.POST.get("knowing", "").strip()
    dry_run = "check" in request.POST
    try:
        report = change_states_by_file(
            kind=kind,
            file_name=upload.name,
            data=upload.read(settings.UPLOAD_LIMIT_BYTES + 1),
            state=request.POST.get("state", ""),
            reason=request.POST.get("state_reason", ""),
            by=person_of(request),
            at=now(),
            knowing=int(knowing) if knowing.isdecimal() and len(knowing) < 10 else None,
            dry_run=dry_run,
        )
    except StatesRefused as refused:
        response = _page(request, slug, refusal=refusal_of(refused.findings), report=refused.report)
        response.status_code = 422
        return response
    if dry_run:
        return _page(request, slug, report=report)
    count = len(report.lines)
    if by_file_of(kind) == "withdraw":
        said = ngettext("%(count)s is withdrawn.", "%(count)s are withdrawn.", count)
    else:
        said = ngettext("%(count)s state is changed.", "%(count)s states are changed.", count)
    messages.success(request, said % {"count": count})
    return redirect("shop:list", slug)


def _upload(request: HttpRequest) -> Any:
    upload: Any = request.FILES.get("file")
    if upload is None:
        raise Refused([misfit("data.required", "file")])
    return upload
