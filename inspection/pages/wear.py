"""Tool wear: crimp height over the counter of one tool, terminal by terminal."""

from __future__ import annotations

from dataclasses import dataclass

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.utils.safestring import SafeString
from django.utils.translation import gettext as _

from inspection.analysis import Column, Fact, Table
from inspection.drawing.primitives import Axis, Level
from inspection.drawing.scatter import Curve, Spot, scatter
from inspection.pages.studies import PLACE, crumbs
from inspection.plan import limits_of
from inspection.process.wear import LEAST_VALUES, Wear
from inspection.study_kinds.words import figure
from inspection.wearing import (
    CHARACTERISTIC,
    LOWER,
    RULE_HIGH,
    RULE_LOW,
    UPPER,
    ToolForecast,
    WornStream,
    first_forecast,
    replacements,
    wear_of,
)
from shop.clock import now
from shop.figures import spoken_drawing
from shop.pages.catalogue import Crumb
from shop.tools import Tool


@dataclass(frozen=True, slots=True)
class WearSection:
    title: str
    chart_url: str
    facts: list[Fact]
    svg: SafeString
    table: Table | None
    why_not: str


@dataclass(frozen=True, slots=True)
class WearPage:
    tool: Tool
    crumbs: list[Crumb]
    sections: list[WearSection]
    first: str
    replaced: str


def limit_words() -> dict[str, str]:
    return {
        UPPER: _("upper limit"),
        LOWER: _("lower limit"),
        RULE_HIGH: _("upper control limit"),
        RULE_LOW: _("lower control limit"),
    }


def wear_page(request: HttpRequest, asset: str) -> HttpResponse:
    tool = get_object_or_404(Tool, asset_number=asset)
    streams, at = wear_of(tool), now()
    counts = replacements(tool)
    page = WearPage(
        tool=tool,
        crumbs=crumbs(Crumb(_("Tool wear")), Crumb(asset)),
        sections=[_section(one) for one in streams],
        first=_first(first_forecast(tool, streams, at)),
        replaced=", ".join(str(count) for count in counts),
    )
    return render(request, "studies/wear.html", {"page": page, "place": PLACE})


def _first(found: ToolForecast | None) -> str:
    if found is None:
        return ""
    forecast, name = found.forecast, limit_words()[found.forecast.what]
    terminal = str(found.worn.stream.terminal)
    if forecast.passed:
        return _("By the line the crimp height of {terminal} has reached the {limit} already.").format(terminal=terminal, limit=name)
    day = found.day.date().isoformat() if found.day else ""
    text = _("The crimp height of {terminal} reaches the {limit} at about {count} crimps").format(
        terminal=terminal, limit=name, count=f"{forecast.at_count:.0f}"
    )
    return text + (_(", at the pace of the last weeks about {day}.").format(day=day) if day else ".")


def _section(one: WornStream) -> WearSection:
    stream = one.stream
    area = f"{stream.csa_mm2.normalize():f}" if stream.csa_mm2 is not None else ""
    title = _("{terminal} on {area} mm²").format(terminal=stream.terminal, area=area)
    if one.answer is None:
        why = _("{given} crimp heights with a count are on record; a drift is looked for from {needed} on, at different counts.").format(
            given=one.readings, needed=LEAST_VALUES
        )
        return WearSection(title, "", [], SafeString(""), None, why)
    answer = one.answer
    table = Table(
        _("Crimp heights by count"),
        (Column(_("Crimps")), Column(_("Crimp height, mm"))),
        tuple((f"{count:.0f}", f"{value:.3f}") for count, value in zip(answer.counts, answer.values, strict=True)),
    )
    svg = spoken_drawing(_drawn(one, answer))
    return WearSection(title, "", _facts(answer), svg, table, "")


def _facts(answer: Wear) -> list[Fact]:
    per = 10_000
    facts = [
        Fact(
            _("Drift"),
            figure(1000 * per * answer.slope),
            _("µm in 10,000 crimps"),
            outcome="undecided" if answer.drifts else "conforms",
            word=_("drifts") if answer.drifts else _("no drift shown"),
            note=_("{confidence} % interval {low} to {high}").format(
                confidence=figure(100 * answer.confidence),
                low=figure(1000 * per * answer.slope_low),
                high=figure(1000 * per * answer.slope_high),
            ),
        ),
        Fact(_("Spread about the line"), figure(1000 * answer.s), "µm"),
    ]
    if answer.jump is not None and answer.jump_interval is not None:
        low, high = (figure(1000 * end) for end in answer.jump_interval)
        facts.append(
            Fact(
                _("Step at the last replacement"),
                figure(1000 * answer.jump),
                "µm",
                note=_("interval {low} to {high}").format(low=low, high=high),
            )
        )
    for forecast in answer.forecasts:
        end = f"{forecast.high:.0f}" if forecast.high is not None else "…"
        facts.append(
            Fact(
                _("Reaches the {limit}").format(limit=limit_words()[forecast.what]),
                f"{forecast.at_count:.0f}",
                _("crimps"),
                outcome="does not conform" if forecast.passed else "",
                word=_("reached already") if forecast.passed else "",
                note=_("interval {low} to {high}").format(low=f"{forecast.low:.0f}", high=end),
            )
        )
    return facts


def _drawn(one: WornStream, answer: Wear) -> str:
    limits = limits_of(one.termination, CHARACTERISTIC)
    ends = ((limits.low, _("lower limit")), (limits.high, _("upper limit"))) if limits else ()
    levels = [Level(value, word) for value, word in ends if value is not None]
    curves = [
        Curve(
            answer.counts[stretch.first : stretch.last + 1],
            answer.line[stretch.first : stretch.last + 1],
            _("drift") if stretch is answer.stretches[-1] else "",
        )
        for stretch in answer.stretches
    ]
    uprights = [Level(stretch.after_count, _("replaced"), "control") for stretch in answer.stretches[1:]]
    spots = [
        Spot(count, value, _("{count} crimps").format(count=f"{count:.0f}"))
        for count, value in zip(answer.counts, answer.values, strict=True)
    ]
    return scatter(
        spots,
        x=Axis(_("Crimps on the counter")),
        y=Axis(_("Crimp height"), "mm"),
        title=_("Crimp height over the counter"),
        curves=curves,
        levels=levels,
        uprights=uprights,
    )
