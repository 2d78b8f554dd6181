"""Parts of known value over the range of a gauge, each read several times: is it as true at one end as at the other?"""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from inspection.analysis import Analysis, Cell, Column, Fact, Figure, Layout, LayoutRow, Section, Table
from inspection.drawing.primitives import Axis, Level
from inspection.drawing.scatter import Curve, Spot, scatter
from inspection.studies.linearity import REFERENCES_WANTED, Coefficient, LinearityStudy, linearity_study
from inspection.study_kinds.bias import t_content
from inspection.study_kinds.gauge_words import between, chance, ends, with_interval
from inspection.study_kinds.kind import Parameter, StudyInput, StudyKind
from inspection.study_kinds.words import exact, figure, percent, refused_as_findings
from shop.finding import Refused, misfit
from shop.quantity import NotAQuantity, parse_number

REFERENCES = gettext_lazy("Reference values")
FINEST = Decimal("0.000001")


def references_of(parameters: Mapping[str, Any]) -> list[Decimal]:
    """The reference values in the order given. Raises Refused for each line that is no number or stands there already."""
    found: list[Decimal] = []
    findings = []
    for text in parameters["references"]:
        try:
            value = parse_number(text)
        except NotAQuantity as error:
            findings.append(misfit("study.parameter", "references", name=str(REFERENCES), text=text, expected=error.expected))
            continue
        if value in found:
            expected = _("each value once")
            findings.append(misfit("study.parameter", "references", name=str(REFERENCES), text=text, expected=expected))
        found.append(value)
    if findings:
        raise Refused(findings)
    return found


def layout(parameters: Mapping[str, Any], unit: str) -> Layout:
    columns = range(1, parameters["readings"] + 1)
    rows = tuple(
        LayoutRow(
            str(value), tuple(Cell(f"{part}|{number}", _("reading {number}").format(number=number)) for number in columns)
        )
        for part, value in enumerate(references_of(parameters), start=1)
    )  # fmt: skip
    return Layout(_("Reference, {unit}").format(unit=unit), tuple(str(number) for number in columns), rows, unit)


def analyse(study: StudyInput) -> Analysis:
    p = study.parameters
    references = [float(value) for value in references_of(p)]
    readings = [
        [float(study.values[f"{part}|{number}"]) for number in range(1, p["readings"] + 1)] for part in range(1, len(references) + 1)
    ]
    with refused_as_findings(_("readings")):
        answer = linearity_study(references, readings, spread=None if p["spread"] is None else float(p["spread"]))
    if answer.zero_inside_band:
        outcome, word = "conforms", _("no bias and no linearity problem is shown")
    elif _slopes(answer):
        outcome, word = "does not conform", _("the bias changes over the range: a linearity problem")
    else:
        outcome, word = "does not conform", _("a bias is shown, much the same over the range")
    return Analysis(outcome, word, (_answer(answer, study.unit), _along(answer, study.unit)), _content(answer))


def _slopes(answer: LinearityStudy) -> bool:
    return not answer.slope.interval.holds(0.0)


def _answer(answer: LinearityStudy, unit: str) -> Section:
    inside = answer.zero_inside_band
    facts = [
        Fact(
            _("Zero line in the band"),
            _("yes") if inside else _("no"),
            outcome="conforms" if inside else "does not conform",
            word=_("over the whole range") if inside else _("not over the whole range"),
        ),
        Fact(
            _("Slope of the bias"),
            figure(answer.slope.value),
            outcome="does not conform" if _slopes(answer) else "conforms",
            word=_("differs from zero") if _slopes(answer) else _("zero is possible"),
            note=with_interval(answer.slope.interval, between(answer.slope.interval, 4)),
        ),
        Fact(
            _("Bias at reference zero"),
            figure(answer.intercept.value),
            unit,
            note=with_interval(answer.intercept.interval, between(answer.intercept.interval, 4)),
        ),
        Fact(_("Mean bias"), figure(answer.mean_bias), unit),
        Fact(_("Explained by the line"), percent(None if answer.r_squared is None else 100 * answer.r_squared), "%", note="R²"),
        Fact(_("Scatter about the line"), figure(answer.s), unit, note=_("{df} degrees of freedom").format(df=answer.df)),
    ]
    if answer.spread is not None:
        facts += [
            Fact(
                _("Linearity"),
                figure(answer.linearity),
                unit,
                note=_("{percent} % of the spread {spread}").format(
                    percent=percent(answer.linearity_percent), spread=figure(answer.spread)
                ),
            ),
            Fact(_("Mean bias of the spread"), percent(answer.bias_percent), "%"),
        ]
    coefficients = Table(
        _("The line: bias = intercept + slope × reference"),
        (
            Column("", figure=False),
            Column(_("Value")),
            Column(_("Standard error")),
            Column("t"),
            Column(_("Critical t")),
            Column("p"),
            Column(_("95 % interval")),
        ),
        tuple(
            (
                name,
                figure(c.value, 6),
                figure(c.standard_error),
                figure(c.t),
                figure(answer.t_critical, 5),
                chance(c.p),
                between(c.interval, 4),
            )
            for name, c in ((_("slope"), answer.slope), (_("intercept"), answer.intercept))
        ),
    )
    notes = []
    if answer.lack_of_fit_p is not None:
        if answer.lack_of_fit_p < 1 - answer.confidence:
            notes.append(
                _("The means leave the straight line by more than the repeats explain (F {f}, p {p}): the bias is bent.")
                .format(f=figure(answer.lack_of_fit_f), p=chance(answer.lack_of_fit_p))
            )  # fmt: skip
        else:
            notes.append(_("A straight line fits the means (lack of fit: p {p}).").format(p=chance(answer.lack_of_fit_p)))
    if answer.few_references:
        notes.append(_("Fewer than {wanted} reference parts: the range is thinly covered.").format(wanted=REFERENCES_WANTED))
    return Section(_("Answer"), facts=tuple(facts), tables=(coefficients,), notes=tuple(notes))


def _along(answer: LinearityStudy, unit: str) -> Section:
    spots = [
        Spot(part.reference, bias, _("reading {number}").format(number=number))
        for part in answer.references
        for number, bias in enumerate(part.biases, start=1)
    ]
    spots += [Spot(part.reference, part.mean_bias, _("mean"), "diamond") for part in answer.references]
    band = Curve(
        [point.x for point in answer.band],
        [point.fit for point in answer.band],
        _("line and 95 % band"),
        [point.low for point in answer.band],
        [point.high for point in answer.band],
    )
    svg = scatter(
        spots,
        x=Axis(_("reference"), unit),
        y=Axis(_("bias"), unit),
        title=_("Bias over reference, with the fitted line and its band"),
        curves=(band,),
        levels=(Level(Decimal(0), _("no bias"), "limit"),),
        height=360,
    )
    table = Table(
        _("By reference part"),
        (
            Column(_("Reference, {unit}").format(unit=unit)),
            Column(_("Readings")),
            Column(_("Mean bias")),
            Column(_("Standard deviation")),
            Column("t"),
            Column("p"),
            Column(_("Line")),
            Column(_("Band of the line")),
        ),
        tuple(
            (
                figure(part.reference, 7),
                str(len(part.biases)),
                figure(part.mean_bias),
                figure(part.s),
                figure(None if part.test is None else part.test.t),
                chance(None if part.test is None else part.test.p),
                figure(part.fit),
                between(part.band, 4),
            )
            for part in answer.references
        ),
    )
    data = Table(
        _("Biases"),
        (Column(_("Reference, {unit}").format(unit=unit)), Column(_("Reading less reference"))),
        tuple((figure(part.reference, 7), "  ".join(figure(bias, 6) for bias in part.biases)) for part in answer.references),
    )
    note = _("Dots are single readings, diamonds their means.")
    return Section(_("Over the range"), figures=(Figure(_("Bias over reference"), svg, note, data),), tables=(table,))


def _coefficient(c: Coefficient) -> dict[str, Any]:
    return {
        "value": exact(c.value),
        "standard_error": exact(c.standard_error),
        "t": exact(c.t),
        "p": exact(c.p),
        "interval": ends(c.interval),
    }


def _content(answer: LinearityStudy) -> dict[str, Any]:
    return {
        "slope": _coefficient(answer.slope),
        "intercept": _coefficient(answer.intercept),
        "s": exact(answer.s),
        "df": answer.df,
        "r_squared": exact(answer.r_squared),
        "t_critical": exact(answer.t_critical),
        "lack_of_fit_f": exact(answer.lack_of_fit_f),
        "lack_of_fit_p": exact(answer.lack_of_fit_p),
        "zero_inside_band": answer.zero_inside_band,
        "mean_bias": exact(answer.mean_bias),
        "spread": exact(answer.spread),
        "linearity": exact(answer.linearity),
        "linearity_percent": exact(answer.linearity_percent),
        "bias_percent": exact(answer.bias_percent),
        "references": [
            {
                "reference": exact(part.reference),
                "mean_bias": exact(part.mean_bias),
                "s": exact(part.s),
                "test": {} if part.test is None else t_content(part.test),
                "fit": exact(part.fit),
                "band": ends(part.band),
            }
            for part in answer.references
        ],
    }


LINEARITY = StudyKind(
    slug="linearity",
    name=gettext_lazy("Linearity and bias"),
    about=gettext_lazy("Parts of known value over the gauge's range, each read several times: is it as true at one end as at the other?"),
    needs=frozenset({"gauge"}),
    parameters=(
        Parameter(
            "references", REFERENCES, "lines", least=Decimal(2), most=Decimal(20),
            help=gettext_lazy("One a line, in the gauge's unit. Five over the range are usual."),
        ),
        Parameter("readings", gettext_lazy("Readings of each part"), "count", "12", least=Decimal(2), most=Decimal(50)),
        Parameter(
            "spread", gettext_lazy("Spread to hold it against"), required=False, least=FINEST,
            help=gettext_lazy("Six standard deviations of the process, or the tolerance, in the gauge's unit."),
        ),
    ),
    layout=layout,
    analyse=analyse,
)  # fmt: skip
