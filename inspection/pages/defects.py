"""Defects at the desk: scrap by batch, visual findings by day, and what was rejected most."""

from __future__ import annotations

from dataclasses import dataclass

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.safestring import SafeString
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET

from inspection.defects import RULES, Asked, Cause, Counted, asked, causes, findings, scrap
from inspection.drawing.control import Signalled, control_chart
from inspection.drawing.pareto import pareto
from inspection.pages.charts import chart_crumbs
from inspection.pages.studies import PLACE
from inspection.run_rule_words import rule_words
from inspection.stream_drawing import words
from inspection.study_kinds.words import figure, percent
from shop.clock import now, shop_day
from shop.figures import spoken_drawing
from shop.pages.catalogue import Crumb
from shop.pages.csv_answer import csv_answer


@dataclass(frozen=True, slots=True)
class CountRow:
    label: str
    found: int
    of: int
    share: str


@dataclass(frozen=True, slots=True)
class CauseRow:
    kind: str
    name: str
    count: int
    share: str
    cumulative: str


@dataclass(frozen=True, slots=True)
class DefectsPage:
    crumbs: list[Crumb]
    tool: str
    terminal: str
    job: str
    since: str
    until: str
    scrap: SafeString
    scrap_rows: list[CountRow]
    findings: SafeString
    finding_rows: list[CountRow]
    pareto: SafeString
    causes: list[CauseRow]
    files: str


def _asked(request: HttpRequest) -> Asked:
    return asked(request.GET.dict(), shop_day(now()))


@require_GET
def defects(request: HttpRequest) -> HttpResponse:
    ask = _asked(request)
    scrapped, found, listed = scrap(ask), findings(ask), causes(ask)
    bars = [(f"{cause.name} ({cause.kind})", cause.count) for cause in listed[:20]]
    drawn = pareto(
        bars,
        title=_("What was rejected, by number"),
        count_word=_("rejected"),
        share_word=_("cumulative share, %"),
        empty=_("Nothing was rejected"),
    )
    page = DefectsPage(
        crumbs=chart_crumbs(Crumb(_("Defects"))),
        tool=ask.tool,
        terminal=ask.terminal,
        job=ask.job,
        since=f"{shop_day(ask.since):%Y-%m-%d}",
        until=request.GET.get("until", "")[:10],
        scrap=spoken_drawing(_chart(scrapped, _("Share of scrapped pieces, batch by batch (p chart)"), "")),
        scrap_rows=_rows(scrapped),
        findings=spoken_drawing(_chart(found, _("Rejected visual findings a sample, day by day (u chart)"), "")),
        finding_rows=_rows(found),
        pareto=spoken_drawing(drawn),
        causes=[CauseRow(c.kind, c.name, c.count, percent(c.share), percent(c.cumulative)) for c in listed],
        files=request.GET.urlencode(),
    )
    return render(request, "studies/defects.html", {"page": page, "place": PLACE})


def _chart(counted: Counted, title: str, unit: str) -> str:
    """The drawing, or nothing where there is no chart yet: the page says so in a sentence."""
    if counted.chart is None:
        return ""
    by_code = {rule.code: rule for rule in RULES}
    return control_chart(
        counted.chart,
        title=title,
        unit=unit,
        labels=counted.labels,
        tips=[f"{label}: {n} / {of}" for label, n, of in zip(counted.labels, counted.found, counted.of, strict=True)],
        signals=[Signalled(0, point, code.partition(".")[2], rule_words(by_code[code])) for point, code in counted.signals],
        words=words(),
        zones=False,
    )


def _rows(counted: Counted) -> list[CountRow]:
    each = zip(counted.labels, counted.found, counted.of, strict=True)
    rows = [CountRow(label, n, of, figure(n / of if of else None)) for label, n, of in each]
    return rows[::-1]


@require_GET
def data(request: HttpRequest) -> HttpResponse:
    """What was rejected, as a file."""
    rows = [[c.kind, c.name, str(c.count), percent(c.share), percent(c.cumulative)] for c in _cause_list(request)]
    return csv_answer("defects.csv", ["kind", "what", "count", "share %", "cumulative %"], rows)


def _cause_list(request: HttpRequest) -> tuple[Cause, ...]:
    return causes(_asked(request))
