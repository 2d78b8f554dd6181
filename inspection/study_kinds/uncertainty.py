"""An uncertainty budget: what makes a reading of this gauge uncertain, and by how much in all."""

from __future__ import annotations

import math
from collections.abc import Mapping
from datetime import date
from decimal import ROUND_UP, Decimal
from typing import Any
from urllib.parse import urlencode

from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from inspection.analysis import Analysis, Cell, Column, Fact, Figure, Layout, LayoutRow, Section, Table
from inspection.drawing.groups import Share, bars
from inspection.drawing.primitives import Axis
from inspection.studies.uncertainty import Budget, CoverageRule, Distribution, Evaluation, Source, budget
from inspection.study import Study
from inspection.study_kinds.kind import FollowUp, Parameter, StudyInput, StudyKind
from inspection.study_kinds.words import exact, figure, percent, refused_as_findings
from shop.finding import Refused, misfit
from shop.permissions import Deed

STATED_AT_2 = "normal, k = 2"
DISTRIBUTIONS: Mapping[str, tuple[Any, Distribution, float | None]] = {
    Distribution.NORMAL.value: (gettext_lazy("normal, standard uncertainty"), Distribution.NORMAL, None),
    STATED_AT_2: (gettext_lazy("normal, stated with k = 2"), Distribution.NORMAL, 2.0),
    Distribution.RECTANGULAR.value: (gettext_lazy("rectangular, half width"), Distribution.RECTANGULAR, None),
    Distribution.TRIANGULAR.value: (gettext_lazy("triangular, half width"), Distribution.TRIANGULAR, None),
    Distribution.U_SHAPED.value: (gettext_lazy("U-shaped, half width"), Distribution.U_SHAPED, None),
}
STORED_STEP = Decimal("0.00001")
"""What a calibration keeps of an uncertainty."""


def layout(parameters: Mapping[str, Any], unit: str) -> Layout:
    evaluations = (("A", _("A, from readings")), ("B", _("B, from anything else")))
    shapes = tuple((value, str(label)) for value, (label, _distribution, _divisor) in DISTRIBUTIONS.items())

    def cells(number: int) -> tuple[Cell, ...]:
        return (
            Cell(f"{number}|type", _("type"), evaluations),
            Cell(f"{number}|distribution", _("distribution"), shapes),
            Cell(f"{number}|value", _("value"), unit=""),
            Cell(f"{number}|divisor", _("divisor"), unit="", optional=True),
            Cell(f"{number}|sensitivity", _("sensitivity"), unit="", optional=True),
            Cell(f"{number}|df", _("degrees of freedom"), unit="", optional=True),
        )

    rows = tuple(LayoutRow(name, cells(number)) for number, name in enumerate(parameters["sources"], start=1))
    heads = (_("Type"), _("Distribution"), _("Value"), _("Divisor"), _("Sensitivity"), _("Degrees of freedom"))
    return Layout(_("Source"), heads, rows, unit)


def analyse(study: StudyInput) -> Analysis:
    p = study.parameters
    sources = _sources(study)
    with refused_as_findings(_("sources")):
        answer = budget(sources, k=2.0 if p["coverage"] == "2" else None)
    word = _("U = {expanded} {unit} (k = {k})").format(expanded=answer.expanded_stated, unit=study.unit, k=figure(answer.k, 3))
    sections = (_answer(answer, study, p["tolerance"]), _lines(answer, study.unit))
    return Analysis("undecided", word, sections, _content(answer))


def _sources(study: StudyInput) -> list[Source]:
    """Every source as read. Raises Refused with what is wrong at each."""
    found, findings = [], []
    for number, name in enumerate(study.parameters["sources"], start=1):
        value: Decimal = study.values[f"{number}|value"]
        given = {field: study.values.get(f"{number}|{field}") for field in ("divisor", "sensitivity", "df")}
        of_readings = study.values[f"{number}|type"] == "A"
        wrong = [
            (value < 0, _("its value is below zero")),
            (given["divisor"] is not None and given["divisor"] <= 0, _("its divisor is not above zero")),
            (given["df"] is not None and given["df"] < 1, _("its degrees of freedom are below 1")),
            (of_readings and given["df"] is None, _("it comes from readings: its degrees of freedom are missing")),
        ]
        reasons = [reason for is_wrong, reason in wrong if is_wrong]
        findings += [misfit("study.impossible", "", why=_("{source}: {reason}.").format(source=name, reason=reason)) for reason in reasons]
        if reasons:
            continue
        _label, distribution, divisor = DISTRIBUTIONS[study.values[f"{number}|distribution"]]
        found.append(
            Source(
                name=name,
                evaluation=Evaluation.A if of_readings else Evaluation.B,
                value=float(value),
                distribution=distribution,
                divisor=divisor if given["divisor"] is None else float(given["divisor"]),
                sensitivity=1.0 if given["sensitivity"] is None else float(given["sensitivity"]),
                df=math.inf if given["df"] is None else float(given["df"]),
            )
        )
    if findings:
        raise Refused(findings)
    return found


def _df(value: float | None) -> str:
    return "–" if value is None else "∞" if math.isinf(value) else figure(value)


def _answer(answer: Budget, study: StudyInput, tolerance: Decimal | None) -> Section:
    fixed = answer.rule is CoverageRule.FIXED
    facts = [
        Fact(_("Expanded uncertainty U"), str(answer.expanded_stated), study.unit, note=_("two digits, rounded up; exactly {exact}").format(
            exact=figure(answer.expanded, 6))),
        Fact(_("Standard uncertainty u"), figure(answer.u), study.unit),
        Fact(
            _("Coverage factor k"),
            figure(answer.k, 3),
            note=_("fixed") if fixed else _("t at {share} %").format(share=figure(100 * (answer.coverage or 0.0))),
        ),
        Fact(
            _("Effective degrees of freedom"),
            _df(answer.effective_df),
            note="" if fixed else _("used: {df}").format(df=_df(answer.df_used)),
        ),
    ]  # fmt: skip
    notes = [
        _("Combined after the GUM (JCGM 100:2008); the sources are taken as independent of each other."),
        _("The shop's decision rule uses U with the gauge's calibration. It counts there only once it is recorded with the calibration."),
    ]
    if tolerance is not None:
        share = 100 * answer.expanded / float(tolerance)
        facts.append(Fact(_("U of the tolerance"), percent(share), "%", note=_("of {tolerance}").format(tolerance=tolerance)))
        if share > 12.5:  # a quarter of half the tolerance
            notes.append(
                _("U is more than a quarter of half the tolerance: 4:1 simple acceptance does not apply (ASME B89.7.3.1, from memory).")
            )
    return Section(_("Answer"), facts=tuple(facts), notes=tuple(notes))


def _lines(answer: Budget, unit: str) -> Section:
    shares = [Share(line.source.name, 100 * line.share, shown=f"{percent(100 * line.share)} %") for line in answer.lines]
    svg = bars(
        sorted(shares, key=lambda share: -float(share.value)),
        title=_("Share of each source in the combined variance"),
        x=Axis(_("% of the variance"), high=100.0),
    )
    table = Table(
        _("Budget"),
        (
            Column(_("Source"), figure=False),
            Column(_("Type"), figure=False),
            Column(_("Distribution"), figure=False),
            Column(_("Value")),
            Column(_("Divisor")),
            Column("u"),
            Column(_("Sensitivity")),
            Column(_("Contribution, {unit}").format(unit=unit)),
            Column(_("Degrees of freedom")),
            Column(_("% of variance")),
        ),
        tuple(
            (
                line.source.name,
                line.source.evaluation.value,
                line.source.distribution.value,
                figure(line.source.value),
                figure(line.divisor),
                figure(line.u),
                figure(line.source.sensitivity),
                figure(line.contribution),
                _df(line.source.df),
                percent(100 * line.share),
            )
            for line in answer.lines
        ),
    )
    return Section(_("Sources"), figures=(Figure(_("Shares"), svg, data=table),), tables=(table,))


def _content(answer: Budget) -> dict[str, Any]:
    return {
        "sources": [
            {
                "name": line.source.name,
                "type": line.source.evaluation.value,
                "distribution": line.source.distribution.value,
                "value": exact(line.source.value),
                "divisor": exact(line.divisor),
                "u": exact(line.u),
                "sensitivity": exact(line.source.sensitivity),
                "contribution": exact(line.contribution),
                "df": _endless(line.source.df),
                "share": exact(line.share),
            }
            for line in answer.lines
        ],
        "u": exact(answer.u),
        "effective_df": "" if answer.effective_df is None else _endless(answer.effective_df),
        "df_used": _endless(answer.df_used),
        "k": exact(answer.k),
        "coverage": exact(answer.coverage),
        "expanded": exact(answer.expanded),
        "expanded_stated": exact(answer.expanded_stated),
    }


def _endless(df: float) -> str:
    return "infinite" if math.isinf(df) else exact(df)


def follow_up(study: Study, on: date) -> FollowUp | None:
    """Recording U with the calibration in force, on its own form, which the person sends. None without a calibration."""
    calibration = study.gauge.calibration_in_force(on) if study.gauge else None
    if calibration is None or study.result is None:
        return None
    expanded = Decimal(study.result["expanded_stated"])
    # Rounded up where the calibration keeps fewer decimals: less would claim too much.
    stored = max(expanded.quantize(STORED_STEP, ROUND_UP), STORED_STEP) if expanded != expanded.quantize(STORED_STEP) else expanded
    address = reverse("shop:edit", args=["calibrations", calibration.pk])
    stands = calibration.expanded_uncertainty
    return FollowUp(
        text=_("Certificate {certificate} of {gauge} states {stands}. This study found U = {expanded} {unit}.").format(
            certificate=calibration.certificate,
            gauge=study.gauge,
            stands=_("no uncertainty") if stands is None else f"U = {stands.normalize():f}",
            expanded=expanded,
            unit=study.gauge.unit if study.gauge else "",
        ),
        label=_("Record it with the calibration"),
        url=f"{address}?{urlencode({'expanded_uncertainty': f'{stored:f}', 'reason': _('Study {number}').format(number=study.number)})}",
        deed=Deed.CHANGE_TOOLS,
    )


UNCERTAINTY = StudyKind(
    slug="uncertainty",
    name=gettext_lazy("Uncertainty budget"),
    about=gettext_lazy("What makes a reading of this gauge uncertain, source by source, and the expanded uncertainty in all."),
    needs=frozenset({"gauge"}),
    parameters=(
        Parameter(
            "sources", gettext_lazy("Sources"), "lines", "", least=Decimal(1), most=Decimal(20),
            help=gettext_lazy("One a line: calibration, resolution, repeatability, temperature. Their values come next."),
        ),
        Parameter(
            "coverage", gettext_lazy("Coverage"), "choice", "t",
            choices=(("t", gettext_lazy("95.45 %, k from the degrees of freedom")), ("2", gettext_lazy("k = 2, fixed"))),
        ),
        Parameter(
            "tolerance", gettext_lazy("Tolerance it has to judge, in all"), required=False, least=Decimal("0.000001"),
        ),
    ),
    layout=layout,
    analyse=analyse,
    follow_up=follow_up,
)  # fmt: skip
