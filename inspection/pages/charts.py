"""Charts at the desk: the streams of the shop, one stream with its chart and signals, its data to take along, answering signals."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import groupby
from typing import Any
from urllib.parse import urlencode

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.safestring import SafeString
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET

from inspection.acts.control import LEAST_SAMPLES, RULES, answer_signals
from inspection.control import ChartSignal, ReactionCause
from inspection.pages.studies import PLACE, crumbs
from inspection.pages.values import Choice
from inspection.run_rule_words import rule_name, rule_words
from inspection.stream_drawing import drawn_chart, drawn_histogram, runs_of, title_of
from inspection.stream_lists import STATES, ProcessPage, processes, query_of
from inspection.stream_view import COUNTS, Asked, Shown, StreamView, asked, panel_name, stream_view
from inspection.streams import KIND_OF, SHORT_RUN_CHARTS, StreamSample
from inspection.study_kinds.words import figure
from shop.characteristics import Characteristic
from shop.clock import now
from shop.figures import spoken_drawing
from shop.jobs import ChartKind
from shop.pages.acting import Refusal, acting, person_of, refusal_of
from shop.pages.catalogue import Crumb
from shop.pages.csv_answer import csv_answer, xlsx_answer
from shop.permissions import Deed, may
from shop.templatetags.shop import moment
from shop.wording import Worded

ROWS = 200
"""Samples in the page's own table; the files have all of them."""


def chart_crumbs(*further: Crumb) -> list[Crumb]:
    return crumbs(Crumb(_("Charts"), reverse("studies:charts")), *further)


# --- The list --------------------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class ChartsPage:
    crumbs: list[Crumb]
    found: ProcessPage
    words: str
    characteristics: list[Choice]
    states: list[Choice]
    by_tool: bool
    is_filtered: bool
    before: str
    after: str


@require_GET
def charts(request: HttpRequest) -> HttpResponse:
    query = request.GET.dict()
    text = query.get("page", "")
    found = processes(query, int(text) if text.isascii() and text.isdigit() and len(text) < 6 else 1)
    named = {"frozen": _("with frozen limits"), "none": _("without frozen limits"), "signals": _("with open signals")}
    asked_for = {name: query[name] for name in ("q", "characteristic", "state", "by") if query.get(name)}
    page = ChartsPage(
        crumbs=crumbs(Crumb(_("Charts"))),
        found=found,
        words=query.get("q", ""),
        characteristics=[Choice(value, str(label), value == query.get("characteristic")) for value, label in Characteristic.choices],
        states=[Choice(state, named[state], state == query.get("state")) for state in STATES],
        by_tool=query.get("by") == "tool",
        is_filtered=bool(asked_for),
        before="?" + urlencode(asked_for | {"page": found.number - 1}) if found.number > 1 else "",
        after="?" + urlencode(asked_for | {"page": found.number + 1}) if found.more else "",
    )
    return render(request, "studies/charts.html", {"page": page, "place": PLACE})


# --- One stream ------------------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class FactLine:
    label: str
    value: str
    unit: str = ""


@dataclass(frozen=True, slots=True)
class SignalLine:
    sample: str
    at: Any
    rule: str
    words: str
    of: str
    cause: str
    answer: str
    by: str
    is_open: bool


@dataclass(frozen=True, slots=True)
class OpenBatch:
    """Signals of one batch that wait for an answer: one answer may serve them all."""

    batch: str
    keys: str
    signals: list[str]


@dataclass(frozen=True, slots=True)
class DataRow:
    sample: str
    at: Any
    at_count: int
    set_up: int
    part: str
    values: str
    points: list[str]


@dataclass(frozen=True, slots=True)
class StreamPage:
    title: str
    crumbs: list[Crumb]
    view: StreamView
    hidden: list[tuple[str, str]]
    kinds: list[Choice]
    counts: list[Choice]
    rules: list[tuple[str, str, bool]]
    since: str
    until: str
    state: str
    reason: str
    chart: SafeString
    histogram: SafeString
    why_not: tuple[Worded, ...]
    limits: list[FactLine]
    runs: list[FactLine]
    runs_word: str
    signals: list[SignalLine]
    open_batches: list[OpenBatch]
    causes: tuple[Choice, ...]
    point_heads: list[str]
    rows: list[DataRow]
    shown: int
    files: str
    freeze_url: str
    end_url: str
    study_url: str
    batch: str
    whole_url: str
    may_answer: bool
    text: str


def asked_or_404(request: HttpRequest) -> Asked:
    ask = asked(request.GET)
    if ask is None:
        raise Http404
    return ask


def _stream_page(request: HttpRequest, *, refusal: Refusal | None = None) -> HttpResponse:
    ask = asked_or_404(request)
    view, person = stream_view(ask), person_of(request)
    limits, drawn, stream = view.limits, view.drawn, ask.stream
    may_freeze = may(person, Deed.FREEZE_LIMITS)
    own = query_of(stream)
    query = request.GET.urlencode()
    used = {rule.code for rule in view.rules}
    page = StreamPage(
        title=title_of(stream),
        crumbs=chart_crumbs(Crumb(stream.tool.asset_number)),
        view=view,
        hidden=[(name, request.GET[name]) for name in ("tool", "terminal", "csa", "characteristic", "batch") if request.GET.get(name)],
        kinds=[
            Choice(kind, str(ChartKind(kind).label), kind == view.kind) for kind in (SHORT_RUN_CHARTS if stream.is_short_run else KIND_OF)
        ],
        counts=[Choice(str(count), str(count), count == ask.most) for count in sorted({*COUNTS, ask.most})],
        rules=[(code, f"{rule_name(code)}: {rule_words(rule)}", code in used) for code, rule in RULES.items()],
        since=request.GET.get("since", "")[:10],
        until=request.GET.get("until", "")[:10],
        state=_state(view),
        reason=limits.reason if limits and view.frozen else "",
        chart=spoken_drawing(drawn_chart(view)),
        histogram=spoken_drawing(drawn_histogram(view)),
        why_not=refusal_of([view.why_not]).findings if view.why_not else (),
        limits=_limit_facts(view),
        **_runs(view),
        signals=[_signal_line(signal) for signal in reversed(view.signals)],
        open_batches=_open(view),
        causes=tuple(Choice(value, str(label), value == request.POST.get("cause", "")) for value, label in ReactionCause.choices),
        point_heads=[panel_name(panel.name) for panel in drawn.chart.panels] if drawn else [],
        rows=list(_rows(view, ROWS)),
        shown=min(len(view.samples), ROWS),
        files=query,
        freeze_url=f"{reverse('studies:freeze')}?{_freeze_query(view)}"
        if may_freeze and limits is None and ask.batch is None and len(view.samples) >= LEAST_SAMPLES and drawn is not None
        else "",
        end_url=f"{reverse('studies:end-limits', args=[limits.pk])}" if may_freeze and limits is not None else "",
        study_url=_study_url(view) if may(person, Deed.RUN_STUDY) else "",
        batch=ask.batch.number if ask.batch else "",
        whole_url=f"{reverse('studies:stream')}?{own}",
        may_answer=may(person, Deed.COUNTERSIGN) or may(person, Deed.RUN_BATCH),
        text=request.POST.get("text", "") if refusal else "",
    )
    return render(request, "studies/chart.html", {"page": page, "refusal": refusal, "place": PLACE})


def _state(view: StreamView) -> str:
    if view.frozen and view.limits:
        return _("limits in force since {at}").format(at=moment(view.limits.frozen_at))
    if view.limits:
        return _("provisional: the limits in force belong to another kind of chart ({kind})").format(kind=view.limits.get_chart_display())
    return _("provisional limits, computed from the samples shown")


def _limit_facts(view: StreamView) -> list[FactLine]:
    if view.drawn is None:
        return []
    unit, limits, facts = view.stream.unit, view.drawn.chart.limits, []
    for panel in view.drawn.chart.panels:
        of = panel_name(panel.name)
        ends = ((panel.high, _("upper control")), (panel.center, _("centre")), (panel.low if panel.has_low else None, _("lower control")))
        facts += [FactLine(f"{of}: {word}", figure(float(line[-1]), 6), unit) for line, word in ends if line is not None and line.size]
    facts.append(FactLine(_("sigma by {method}").format(method=limits.estimated_by), figure(limits.sigma, 6), unit))
    if view.frozen and view.limits:
        facts.append(FactLine(_("frozen by"), view.limits.frozen_by.name))
        facts.append(FactLine(_("from samples"), str(view.limits.basis.get("samples", ""))))
    return facts


def _runs(view: StreamView) -> dict[str, Any]:
    test = runs_of(view)
    if test is None:
        return {"runs": [], "runs_word": ""}
    facts = [
        FactLine(_("above and below the median"), f"{test.above}, {test.below}"),
        FactLine(_("runs about the median"), str(test.runs)),
        FactLine(_("expected in random order"), figure(test.expected, 4)),
        FactLine(_("chance of so few"), figure(test.p_few, 3)),
        FactLine(_("chance of so many"), figure(test.p_many, 3)),
        FactLine(_("longest run"), str(test.longest)),
        FactLine(_("chance of one as long"), figure(test.p_longest, 3)),
    ]
    few = min(test.p_few, test.p_longest) < 0.05
    many = test.p_many < 0.05
    word = _("Too few or too long runs for random order: a shift or a drift.") if few else _("No sign against random order.")
    return {"runs": facts, "runs_word": _("Too many runs: two sources mixed, or adjusted too often.") if many and not few else word}


def _signal_line(signal: Shown) -> SignalLine:
    row = signal.recorded
    reaction = getattr(row, "reaction", None) if row else None
    return SignalLine(
        sample=signal.sample,
        at=signal.at,
        rule=signal.name,
        words=signal.words,
        of=signal.of,
        cause=str(reaction.get_cause_display()) if reaction else "",
        answer=reaction.text if reaction else "",
        by=f"{reaction.by.name}, {moment(reaction.at)}" if reaction else "",
        is_open=row is not None and reaction is None,
    )


def _open(view: StreamView) -> list[OpenBatch]:
    """All signals on the limits in force that wait, whether their sample is among those shown or not."""
    if view.limits is None:
        return []
    rows = (
        ChartSignal.objects.filter(limits=view.limits, reaction__isnull=True).select_related("sample__batch").order_by("batch", "pk")[:100]
    )
    found = []
    for batch, group in groupby(rows, key=lambda row: row.sample.batch.number):
        signals = list(group)
        told = [f"{signal.sample}: {rule_name(signal.rule)}" for signal in signals]
        found.append(OpenBatch(batch, ",".join(str(signal.pk) for signal in signals), told))
    return found


def _freeze_query(view: StreamView) -> str:
    """The same samples, chart and rules for the page that freezes them: everything after the sample before the first one shown."""
    pairs = [("chart", view.kind), *(("rule", rule.code) for rule in view.rules)]
    if view.asked.since is not None or len(view.samples) >= view.asked.most:
        pairs.append(("from", str(view.samples[0].pk)))
    if view.asked.until is not None:
        pairs.append(("until", view.asked.until.isoformat()))
    return f"{query_of(view.stream)}&{urlencode(pairs)}"


def _study_url(view: StreamView) -> str:
    stream = view.stream
    if stream.terminal is None:
        return ""
    given = {
        "tool": stream.tool.asset_number,
        "terminal": stream.terminal.part_number,
        "characteristic": stream.characteristic,
        "csa_mm2": f"{stream.csa_mm2.normalize():f}" if stream.csa_mm2 is not None else "",
    }
    return f"{reverse('studies:new', args=['capability'])}?{urlencode(given)}"


def points_of(view: StreamView) -> dict[int, list[list[str]]]:
    """For each sample its points, a list for each panel."""
    found: dict[int, list[list[str]]] = {}
    if view.drawn is None:
        return found
    panels = view.drawn.chart.panels
    for order, panel in enumerate(panels):
        for place, value in zip(panel.samples.tolist(), panel.points.tolist(), strict=True):
            found.setdefault(view.drawn.places[place], [[] for _panel in panels])[order].append(figure(value, 6))
    return found


def _rows(view: StreamView, most: int) -> Iterator[DataRow]:
    """The newest samples first."""
    points, none = points_of(view), [[""]] * (len(view.drawn.chart.panels) if view.drawn else 0)
    for index in range(len(view.samples) - 1, max(len(view.samples) - most, 0) - 1, -1):
        sample = view.samples[index]
        told = [" ".join(each) for each in points.get(index, none)]
        texts = " ".join(one.text for one in sample.values)
        yield DataRow(sample.label, sample.at, sample.at_count, sample.setup_number, sample.part, texts, told)


@acting
def stream(request: HttpRequest) -> HttpResponse:
    return _answer(request) if request.method == "POST" else _stream_page(request)


@acting(again=_stream_page)
def _answer(request: HttpRequest) -> HttpResponse:
    keys = [int(key) for key in request.POST.get("signals", "").split(",") if key.isascii() and key.isdigit() and len(key) < 18]
    signals = list(ChartSignal.objects.filter(pk__in=keys))
    cause, text = request.POST.get("cause", ""), request.POST.get("text", "")
    answer_signals(signals=signals, cause=cause, text=text, by=person_of(request), at=now())
    messages.success(request, _("The reaction is recorded."))
    return redirect(request.get_full_path())


# --- Data to take along ----------------------------------------------------------------------------------------------------------


def data_table(view: StreamView) -> tuple[list[str], list[list[str]]]:
    """Every value of the samples shown, one a row, with the points of the chart beside the first value of a sample."""
    unit, drawn = view.stream.unit, view.drawn
    names = [panel.name for panel in drawn.chart.panels] if drawn else []
    heads = ["batch", "sample", "kind", "taken at", "at piece", "set-up", "part", "piece", f"value {unit}", "verdict", *names, "signals"]
    points = points_of(view)
    signals: dict[int, list[str]] = {}
    for signal in view.signals:
        if drawn:
            signals.setdefault(drawn.places[signal.place], []).append(signal.code)
    rows = []
    for index, sample in enumerate(view.samples):
        told = points.get(index, [[] for _name in names])
        for order, one in enumerate(sample.values):
            at = [each[order] if len(each) > order else "" for each in _aligned(told, len(sample.values))]
            marked = " ".join(signals.get(index, [])) if not order else ""
            rows.append([*_sample_cells(sample), str(one.piece), one.text, one.outcome, *at, marked])
    return heads, rows


def _aligned(told: list[list[str]], values: int) -> list[list[str]]:
    """Points of single values stand beside them; the first value of the stream has no moving range before it."""
    return [["", *each] if 1 < values == len(each) + 1 else each for each in told]


def _sample_cells(sample: StreamSample) -> list[str]:
    return [
        sample.batch,
        str(sample.number),
        sample.kind,
        sample.at.isoformat(),
        str(sample.at_count),
        str(sample.setup_number),
        sample.part,
    ]


@require_GET
def data(request: HttpRequest, form: str) -> HttpResponse:
    view = stream_view(asked_or_404(request))
    heads, rows = data_table(view)
    name = "-".join(part for part in (view.stream.tool.asset_number, view.stream.characteristic.replace(" ", "-")) if part)
    if form == "csv":
        return csv_answer(f"{name}.csv", heads, rows)
    return xlsx_answer(f"{name}.xlsx", view.stream.characteristic, heads, rows)
