"""One part of known value, measured again and again: does the gauge read true there?"""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from inspection.analysis import Analysis, Cell, Column, Fact, Figure, Layout, LayoutRow, Section, Table
from inspection.drawing.primitives import Axis, Level
from inspection.drawing.scatter import Spot, scatter
from inspection.studies.bias import BiasStudy, bias_study
from inspection.studies.gauge_type1 import BiasTest
from inspection.study_kinds.gauge_words import between, chance, ends, with_interval
from inspection.study_kinds.kind import Parameter, StudyInput, StudyKind
from inspection.study_kinds.words import exact, figure, percent, refused_as_findings

FINEST = Decimal("0.000001")


def layout(parameters: Mapping[str, Any], unit: str) -> Layout:
    rows = tuple(
        LayoutRow(str(number), (Cell(str(number), _("reading {number}").format(number=number)),))
        for number in range(1, parameters["readings"] + 1)
    )
    return Layout(_("Reading"), (_("Value"),), rows, unit)


def analyse(study: StudyInput) -> Analysis:
    p = study.parameters
    readings = [float(study.values[str(number)]) for number in range(1, p["readings"] + 1)]
    sigma = p["process_sigma"]
    with refused_as_findings(_("readings")):
        answer = bias_study(readings, float(p["reference"]), process_sigma=None if sigma is None else float(sigma))
    test = answer.by_deviation
    outcome = "does not conform" if test.significant else "conforms"
    word = _("a bias is shown") if test.significant else _("no bias is shown")
    return Analysis(outcome, word, (_answer(answer, study.unit), _readings(answer, study)), _content(answer))


def bias_fact(test: BiasTest, unit: str) -> Fact:
    """A bias with its verdict and interval."""
    return Fact(
        _("Bias"),
        figure(test.bias),
        unit,
        outcome="does not conform" if test.significant else "conforms",
        word=_("differs from zero") if test.significant else _("zero is possible"),
        note=with_interval(test.interval, between(test.interval, 4)),
    )


def _answer(answer: BiasStudy, unit: str) -> Section:
    facts = [
        bias_fact(answer.by_deviation, unit),
        Fact(_("Mean"), figure(answer.mean, 7), unit),
        Fact(_("Reference"), figure(answer.reference, 7), unit),
        Fact(_("Standard deviation"), figure(answer.s), unit),
    ]
    if answer.repeatability_percent is not None:
        facts.append(Fact(_("Repeatability of the process"), percent(answer.repeatability_percent), _("% of its standard deviation")))
    tests = [(_("by standard deviation"), answer.s, answer.by_deviation), (_("by range"), answer.sigma_by_range, answer.by_range)]
    table = Table(
        _("The bias against zero, by both estimates of the scatter"),
        (
            Column(_("Scatter"), figure=False),
            Column(_("Sigma, {unit}").format(unit=unit)),
            Column(_("Standard error")),
            Column(_("Degrees of freedom")),
            Column("t"),
            Column(_("Critical t")),
            Column("p"),
            Column(_("95 % interval of the bias")),
        ),
        tuple(
            (
                name,
                figure(sigma),
                figure(test.standard_error),
                figure(test.df, 3),
                figure(test.t),
                figure(test.t_critical),
                chance(test.p),
                between(test.interval, 4),
            )
            for name, sigma, test in tests
        ),
    )
    notes = [
        _(
            "The answer goes by the standard deviation. By range: range {spread} over d2* {divisor} (AIAG MSA, 4th ed., from memory)."
        ).format(spread=figure(answer.spread), divisor=figure(answer.d2_star, 5)),
        _("An earlier edition multiplies that interval by d2/d2*: {interval}.").format(interval=between(answer.range_interval_d2_ratio, 4)),
    ]
    if answer.by_deviation.significant != answer.by_range.significant:
        notes.append(_("The two estimates disagree on whether a bias is shown: take more readings."))
    if answer.by_deviation.t is None:
        notes.append(_("The readings do not spread at all: the resolution hides what the gauge does."))
    return Section(_("Answer"), facts=tuple(facts), tables=(table,), notes=tuple(notes))


def _readings(answer: BiasStudy, study: StudyInput) -> Section:
    texts = [str(study.values[str(number)]) for number in range(1, len(answer.readings) + 1)]
    svg = scatter(
        [Spot(number, value, _("reading")) for number, value in enumerate(answer.readings, start=1)],
        x=Axis(_("reading")),
        y=Axis(_("value"), study.unit),
        title=_("Readings in order, with the reference and the mean"),
        levels=(Level(study.parameters["reference"], _("reference"), "limit"), Level(answer.mean, _("mean"), "center")),
        height=280,
    )
    table = Table(
        _("Readings"),
        (Column(_("Reading")), Column(_("Value, {unit}").format(unit=study.unit))),
        tuple((str(number), text) for number, text in enumerate(texts, start=1)),
    )
    return Section(_("Readings"), figures=(Figure(_("Readings in order"), svg, data=table),))


def t_content(test: BiasTest) -> dict[str, Any]:
    """A t test with everything it was made of."""
    return {
        "value": exact(test.bias),
        "standard_error": exact(test.standard_error),
        "df": exact(test.df),
        "t": exact(test.t),
        "p": exact(test.p),
        "t_critical": exact(test.t_critical),
        "interval": ends(test.interval),
        "significant": test.significant,
    }


def _content(answer: BiasStudy) -> dict[str, Any]:
    return {
        "mean": exact(answer.mean),
        "reference": exact(answer.reference),
        "s": exact(answer.s),
        "range": exact(answer.spread),
        "d2_star": exact(answer.d2_star),
        "sigma_by_range": exact(answer.sigma_by_range),
        "by_deviation": t_content(answer.by_deviation),
        "by_range": t_content(answer.by_range),
        "range_interval_d2_ratio": ends(answer.range_interval_d2_ratio),
        "process_sigma": exact(answer.process_sigma),
        "repeatability_percent": exact(answer.repeatability_percent),
    }


BIAS = StudyKind(
    slug="bias",
    name=gettext_lazy("Bias at one reference"),
    about=gettext_lazy("A part of known value is measured again and again (independent samples): does the gauge read true there?"),
    needs=frozenset({"gauge"}),
    parameters=(
        Parameter("reference", gettext_lazy("Reference value of the part"), help=gettext_lazy("In the gauge's unit, as certified.")),
        Parameter("readings", gettext_lazy("Readings"), "count", "15", least=Decimal(10), most=Decimal(200)),
        Parameter(
            "process_sigma", gettext_lazy("Standard deviation of the process"), required=False, least=FINEST,
            help=gettext_lazy("To say how much of it the gauge's repeatability is."),
        ),
    ),
    layout=layout,
    analyse=analyse,
)  # fmt: skip
