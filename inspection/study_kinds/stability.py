"""The same master measured again and again over weeks: does the gauge stay as it was?"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from decimal import Decimal
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from inspection.analysis import Analysis, Cell, Column, Fact, Figure, Layout, LayoutRow, Section, Table
from inspection.drawing.gauges import Panel, panels
from inspection.drawing.primitives import Axis, Level
from inspection.drawing.scatter import Curve, Spot, scatter
from inspection.studies.stability import GivenLimits, StabilityStudy, stability_study
from inspection.study_kinds.bias import bias_fact, t_content
from inspection.study_kinds.gauge_words import between, chance, with_interval
from inspection.study_kinds.kind import Parameter, StudyInput, StudyKind
from inspection.study_kinds.words import exact, exacts, figure, percent, refused_as_findings
from shop.finding import Refused, misfit

LEAST_CHECKS = 3
USUAL_CHECKS = 20
LIMITS = ("low", "center", "high", "range_high")
FINEST = Decimal("0.000001")


def layout(parameters: Mapping[str, Any], unit: str) -> Layout:
    _given_limits(parameters)
    readings = range(1, parameters["readings"] + 1)
    rows = []
    for check in range(1, parameters["checks"] + 1):
        later = check > LEAST_CHECKS
        cells = [Cell(f"{check}|day", _("day"), is_date=True, optional=later)]
        cells += [Cell(f"{check}|{n}", _("reading {number}").format(number=n), optional=later) for n in readings]
        rows.append(LayoutRow(str(check), tuple(cells)))
    return Layout(_("Check"), (_("Day"), *(str(number) for number in readings)), tuple(rows), unit)


def _given_limits(parameters: Mapping[str, Any]) -> GivenLimits | None:
    given = [parameters[name] for name in LIMITS]
    if all(value is None for value in given):
        return None
    stated = ", ".join("–" if value is None else str(value) for value in given)
    if any(value is None for value in given) or not given[0] < given[1] < given[2] or given[3] <= 0:
        expected = _("all four in order (lower limit, centre, upper limit, limit of the ranges), or none of them")
        raise Refused([misfit("study.parameter", "low", name=_("Limits of an earlier study"), text=stated, expected=expected)])
    return GivenLimits(*(float(value) for value in given))


def analyse(study: StudyInput) -> Analysis:
    p = study.parameters
    days, groups = _checks(study)
    start = days[0]
    reference, tolerance = p["reference"], p["tolerance"]
    with refused_as_findings(_("checks")):
        answer = stability_study(
            [(day - start).days for day in days],
            groups,
            limits=_given_limits(p),
            reference=None if reference is None else float(reference),
            tolerance=None if tolerance is None else float(tolerance),
        )
    outcome = "conforms" if answer.stable else "does not conform"
    word = _("stable over {days} days").format(days=(days[-1] - start).days) if answer.stable else _unstable(answer)
    sections = (_answer(answer, study.unit), _chart(answer, days, study.unit))
    return Analysis(outcome, word, sections, _content(answer, days))


def _checks(study: StudyInput) -> tuple[list[date], list[list[float]]]:
    """The checks made so far, in order. Raises Refused for one that is half entered, stands after a gap, or lies before the one above."""
    days: list[date] = []
    groups: list[list[float]] = []
    gap = 0
    for check in range(1, study.parameters["checks"] + 1):
        places = [f"{check}|day", *(f"{check}|{number}" for number in range(1, study.parameters["readings"] + 1))]
        there = [study.values[place] for place in places if place in study.values]
        if not there:
            gap = gap or check
            continue
        if len(there) < len(places):
            raise _impossible(_("Check {check} is half entered.").format(check=check))
        if gap:
            raise _impossible(_("Check {gap} is empty and check {check} is not.").format(gap=gap, check=check))
        if days and there[0] < days[-1]:
            raise _impossible(_("Check {check} lies before the one above it.").format(check=check))
        days.append(there[0])
        groups.append([float(value) for value in there[1:]])
    return days, groups


def _impossible(why: str) -> Refused:
    return Refused([misfit("study.impossible", "", why=why)])


def _unstable(answer: StabilityStudy) -> str:
    reasons = []
    if answer.beyond:
        reasons.append(_("means beyond the limits"))
    if answer.ranges_beyond:
        reasons.append(_("ranges beyond their limit"))
    if answer.drift is not None and answer.drift.slope.significant:
        reasons.append(_("a drift"))
    return _("not stable: {reasons}").format(reasons=", ".join(reasons))


def _answer(answer: StabilityStudy, unit: str) -> Section:
    beyond, wide = answer.beyond, answer.ranges_beyond
    facts = [
        Fact(_("Checks"), str(len(answer.days)), note=_("{size} readings each").format(size=answer.size)),
        _counted(_("Means beyond the limits"), beyond),
        _counted(_("Ranges beyond the limit") if answer.size > 1 else _("Moving ranges beyond the limit"), wide),
    ]
    if answer.drift is not None:
        slope = answer.drift.slope
        facts.append(
            Fact(
                _("Drift"),
                figure(slope.bias),
                _("{unit} a day").format(unit=unit),
                outcome="does not conform" if slope.significant else "conforms",
                word=_("drifts") if slope.significant else _("no drift shown"),
                note=_("{interval}; p {p}").format(interval=with_interval(slope.interval, between(slope.interval)), p=chance(slope.p)),
            )
        )
        of_tolerance = answer.drift.percent_of_tolerance
        facts.append(
            Fact(
                _("Drift over the study"),
                figure(answer.drift.over_study),
                unit,
                note="" if of_tolerance is None else _("{percent} % of the tolerance").format(percent=percent(of_tolerance)),
            )
        )
    if answer.bias is not None:
        facts.append(bias_fact(answer.bias, unit))
    facts += [
        Fact(_("Standard deviation within a check"), figure(answer.sigma_within), unit),
        Fact(_("Standard deviation of the means"), figure(answer.s_of_means), unit),
    ]
    notes = [_("Limits: those of an earlier study.") if answer.limits_given else _("Limits: computed from these checks.")]
    if len(answer.days) < USUAL_CHECKS and not answer.limits_given:
        notes.append(
            _("Fewer than {usual} checks: limits computed from them are not firm yet (common practice).").format(usual=USUAL_CHECKS)
        )
    if answer.drift is None:
        notes.append(_("All checks are of one day: nothing can be said about a drift."))
    return Section(_("Answer"), facts=tuple(facts), notes=tuple(notes))


def _counted(label: str, which: tuple[int, ...]) -> Fact:
    return Fact(
        label,
        str(len(which)),
        outcome="does not conform" if which else "conforms",
        word=_("check {numbers}").format(numbers=", ".join(str(index + 1) for index in which)) if which else _("none"),
    )


def _chart(answer: StabilityStudy, days: list[date], unit: str) -> Section:
    curves = []
    if answer.drift is not None:
        curves.append(Curve(answer.days, answer.drift.fit, _("drift"), dash="4 3"))
    levels = [
        Level(answer.high, _("upper control"), "control"),
        Level(answer.center, _("centre"), "center"),
        Level(answer.low, _("lower control"), "control"),
    ]
    if answer.reference is not None:
        levels.append(Level(answer.reference, _("reference"), "nominal"))
    svg = scatter(
        [
            Spot(day, mean, str(when), "misfit" if index in answer.beyond else "dot")
            for index, (day, mean, when) in enumerate(zip(answer.days, answer.means, days, strict=True))
        ],
        x=Axis(_("days since {first}").format(first=days[0].isoformat())),
        y=Axis(_("mean") if answer.size > 1 else _("reading"), unit),
        title=_("The master over time"),
        curves=curves,
        levels=levels,
        height=340,
    )
    shift = 0 if answer.size > 1 else 1
    labels = [str(index + 1 + shift) for index in range(len(answer.ranges))]
    ranges = panels(
        [Panel("", labels, answer.ranges, {index - shift for index in answer.ranges_beyond})],
        y=Axis(_("range") if answer.size > 1 else _("moving range"), unit, low=0.0),
        title=_("Ranges of the checks") if answer.size > 1 else _("Moving ranges, check by check"),
        levels=(Level(answer.range_high, _("limit"), "control"), Level(answer.range_center, _("mean"), "center")),
        label_word=_("check"),
    )
    columns = [Column(_("Check")), Column(_("Day")), Column(_("Readings, {unit}").format(unit=unit))]
    columns += [Column(_("Mean")), Column(_("Range") if answer.size > 1 else _("Moving range"))]
    spread = ["–"] * shift + [figure(value) for value in answer.ranges]
    table = Table(
        _("Checks"),
        tuple(columns),
        tuple(
            (str(index), when.isoformat(), "  ".join(figure(value, 7) for value in group), figure(mean, 7), width)
            for index, (when, group, mean, width) in enumerate(zip(days, answer.subgroups, answer.means, spread, strict=True), start=1)
        ),
    )
    return Section(
        _("Over time"),
        figures=(Figure(_("Means"), svg, data=table), Figure(_("Ranges"), ranges, data=table)),
    )


def _content(answer: StabilityStudy, days: list[date]) -> dict[str, Any]:
    return {
        "days": [day.isoformat() for day in days],
        "means": exacts(answer.means),
        "ranges": exacts(answer.ranges),
        "low": exact(answer.low),
        "center": exact(answer.center),
        "high": exact(answer.high),
        "range_center": exact(answer.range_center),
        "range_high": exact(answer.range_high),
        "limits_given": answer.limits_given,
        "beyond": [index + 1 for index in answer.beyond],
        "ranges_beyond": [index + 1 for index in answer.ranges_beyond],
        "sigma_within": exact(answer.sigma_within),
        "s_of_means": exact(answer.s_of_means),
        "drift_per_day": {} if answer.drift is None else t_content(answer.drift.slope),
        "drift_over_study": "" if answer.drift is None else exact(answer.drift.over_study),
        "drift_percent_of_tolerance": "" if answer.drift is None else exact(answer.drift.percent_of_tolerance),
        "bias": {} if answer.bias is None else t_content(answer.bias),
        "stable": answer.stable,
    }


STABILITY = StudyKind(
    slug="stability",
    name=gettext_lazy("Stability over time"),
    about=gettext_lazy("The same master is measured every few days for weeks: does the gauge stay as it was, or drift?"),
    needs=frozenset({"gauge"}),
    parameters=(
        Parameter(
            "checks", gettext_lazy("Checks planned"), "count", "20", least=Decimal(LEAST_CHECKS), most=Decimal(100),
            help=gettext_lazy("There is an answer from the third on; each more makes it firmer."),
        ),
        Parameter("readings", gettext_lazy("Readings at each check"), "count", "3", least=Decimal(1), most=Decimal(10)),
        Parameter("reference", gettext_lazy("Value of the master"), required=False, help=gettext_lazy("As certified, to test the bias.")),
        Parameter("tolerance", gettext_lazy("Tolerance the gauge has to judge, in all"), required=False, least=FINEST),
        Parameter(
            "low", gettext_lazy("Lower limit of the means"), required=False,
            help=gettext_lazy("The four limits of an earlier study, if this one goes on with them."),
        ),
        Parameter("center", gettext_lazy("Centre of the means"), required=False),
        Parameter("high", gettext_lazy("Upper limit of the means"), required=False),
        Parameter("range_high", gettext_lazy("Upper limit of the ranges"), required=False, least=FINEST),
    ),
    layout=layout,
    analyse=analyse,
)  # fmt: skip
