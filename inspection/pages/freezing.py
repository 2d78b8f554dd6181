"""Freezing the limits of a chart, and ending them: what is signed stands on the page."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.safestring import SafeString
from django.utils.text import capfirst
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.debug import sensitive_post_parameters

from inspection.acts.control import ENDED_MEANING, FROZEN_MEANING, Proposal, end_limits, freeze_limits, propose_limits
from inspection.control import ControlLimits
from inspection.drawing.control import Signalled, control_chart
from inspection.models import Sample
from inspection.pages.charts import FactLine, asked_or_404, chart_crumbs
from inspection.pages.studies import PLACE
from inspection.process.run_rules import chart_signals, rules_from_text
from inspection.run_rule_words import rule_name, rule_words
from inspection.stream_drawing import title_of, words
from inspection.stream_lists import query_of
from inspection.stream_view import panel_name
from inspection.streams import stream_of
from inspection.study_kinds.words import figure
from shop.canonical import content_sha256
from shop.clock import now, shop_day
from shop.figures import spoken_drawing
from shop.forms.termination import SignForm
from shop.jobs import ChartKind
from shop.pages.acting import Refusal, acting, person_of, require
from shop.pages.catalogue import Crumb
from shop.permissions import Deed
from shop.sign_on import sign


class ReasonForm(SignForm):
    reason = forms.CharField(label=gettext_lazy("Reason"), max_length=300, widget=forms.Textarea(attrs={"rows": 2}), strip=True)

    field_order = ("reason", "secret")


@dataclass(frozen=True, slots=True)
class FreezePage:
    title: str
    crumbs: list[Crumb]
    kind: str
    chart: SafeString
    limits: list[FactLine]
    rules: list[tuple[str, str]]
    signals: int
    samples: int
    first: str
    last: str
    sha256: str
    meaning: str
    form: ReasonForm
    leave_url: str


def proposal_asked(request: HttpRequest) -> Proposal:
    """What the address proposes to freeze: from the sample it names on, or since a time. Raises Refused."""
    ask = asked_or_404(request)
    since, text = ask.since, request.GET.get("from", "")
    if text.isascii() and text.isdigit() and len(text) < 18 and (first := Sample.objects.filter(pk=int(text)).first()):
        since = first.taken_at - timedelta(microseconds=1)  # the act takes what was taken after a moment
    return propose_limits(ask.stream, ask.kind or ChartKind.INDIVIDUALS.value, ask.rules, since=since, until=ask.until)


def _freeze_page(request: HttpRequest, *, refusal: Refusal | None = None) -> HttpResponse:
    if refusal is None:
        require(request, Deed.FREEZE_LIMITS)
    proposal = proposal_asked(request)
    stream, drawn = proposal.stream, proposal.drawn
    rules = rules_from_text(proposal.rules)
    marked = [
        Signalled(panel, int(point), found.rule.code.partition(".")[2], rule_words(found.rule), found.rule.code.startswith("western"))
        for panel, by_rule in enumerate(chart_signals(drawn.chart, rules))
        for found in by_rule
        for point in found.at
    ]
    days = [f"{shop_day(sample.at):%m-%d}" for sample in drawn.samples]
    svg = control_chart(
        drawn.chart,
        title=capfirst(title_of(stream)),
        unit=stream.unit,
        labels=[days[number] for number in drawn.places],
        tips=[drawn.samples[number].label for number in drawn.places],
        signals=marked,
        words=words(),
    )
    limits = []
    for panel in drawn.chart.panels:
        of = panel_name(panel.name)
        ends = ((panel.high, _("upper control")), (panel.center, _("centre")), (panel.low if panel.has_low else None, _("lower control")))
        limits += [FactLine(f"{of}: {word}", figure(float(line[-1]), 6), stream.unit) for line, word in ends if line is not None]
    form = ReasonForm(request.POST if refusal else None)
    if refusal:
        refusal.tell(form)
    back = f"{reverse('studies:stream')}?{query_of(stream)}"
    page = FreezePage(
        title=title_of(stream),
        crumbs=chart_crumbs(Crumb(stream.tool.asset_number, back), Crumb(_("Freeze limits"))),
        kind=str(ChartKind(proposal.kind).label),
        chart=spoken_drawing(svg),
        limits=limits,
        rules=[(rule_name(rule.code), rule_words(rule)) for rule in rules],
        signals=len({(one.panel, one.point) for one in marked}),
        samples=len(drawn.samples),
        first=drawn.samples[0].label,
        last=drawn.samples[-1].label,
        sha256=content_sha256(proposal.content),
        meaning=FROZEN_MEANING,
        form=form,
        leave_url=back,
    )
    return render(request, "studies/chart_freeze.html", {"page": page, "refusal": refusal, "place": PLACE})


@sensitive_post_parameters("secret")
@acting
def freeze(request: HttpRequest) -> HttpResponse:
    return _freeze(request) if request.method == "POST" else _freeze_page(request)


@acting(again=_freeze_page)
def _freeze(request: HttpRequest) -> HttpResponse:
    by, at, proposal = person_of(request), now(), proposal_asked(request)
    signing = sign(identifier=by.username, secret=request.POST.get("secret", ""), meaning=FROZEN_MEANING, at=at)
    reason, seen = request.POST.get("reason", ""), request.POST.get("seen_sha256", "")
    freeze_limits(proposal=proposal, reason=reason, by=by, at=at, signing=signing, seen_sha256=seen)
    messages.success(request, _("The limits are in force. From now on each sample is held against them."))
    return redirect(f"{reverse('studies:stream')}?{query_of(proposal.stream)}")


@dataclass(frozen=True, slots=True)
class EndPage:
    title: str
    crumbs: list[Crumb]
    limits: ControlLimits
    rules: list[tuple[str, str]]
    meaning: str
    form: ReasonForm
    leave_url: str


def _end_page(request: HttpRequest, pk: int, *, refusal: Refusal | None = None) -> HttpResponse:
    if refusal is None:
        require(request, Deed.FREEZE_LIMITS)
    limits = get_object_or_404(ControlLimits.objects.select_related("tool", "terminal", "frozen_by"), pk=pk)
    stream = stream_of(limits)
    form = ReasonForm(request.POST if refusal else None)
    if refusal:
        refusal.tell(form)
    back = f"{reverse('studies:stream')}?{query_of(stream)}"
    page = EndPage(
        title=title_of(stream),
        crumbs=chart_crumbs(Crumb(stream.tool.asset_number, back), Crumb(_("End limits"))),
        limits=limits,
        rules=[(rule_name(rule.code), rule_words(rule)) for rule in rules_from_text(limits.rules)],
        meaning=ENDED_MEANING,
        form=form,
        leave_url=back,
    )
    return render(request, "studies/chart_end.html", {"page": page, "refusal": refusal, "place": PLACE})


@sensitive_post_parameters("secret")
@acting
def end(request: HttpRequest, pk: int) -> HttpResponse:
    return _end(request, pk) if request.method == "POST" else _end_page(request, pk)


@acting(again=_end_page)
def _end(request: HttpRequest, pk: int) -> HttpResponse:
    by, at = person_of(request), now()
    limits = get_object_or_404(ControlLimits.objects.select_related("tool", "terminal"), pk=pk)
    signing = sign(identifier=by.username, secret=request.POST.get("secret", ""), meaning=ENDED_MEANING, at=at)
    end_limits(limits=limits, reason=request.POST.get("reason", ""), by=by, at=at, signing=signing)
    messages.success(request, _("The limits are ended. What they signalled stays on record."))
    return redirect(f"{reverse('studies:stream')}?{query_of(stream_of(limits))}")
