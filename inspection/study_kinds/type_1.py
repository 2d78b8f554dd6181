"""One person measures one reference part many times: is the gauge good enough for the tolerance at all?"""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from inspection.analysis import Analysis, Cell, Column, Fact, Figure, Layout, LayoutRow, Section, Table
from inspection.chart_svg import ChartPoint, run_chart
from inspection.studies.gauge_type1 import Type1Settings, Type1Study, type_1
from inspection.study_kinds.kind import Parameter, StudyInput, StudyKind
from inspection.study_kinds.words import exact, figure, percent, refused_as_findings
from inspection.verdict import Limits


def layout(parameters: Mapping[str, Any], unit: str) -> Layout:
    rows = tuple(
        LayoutRow(str(number), (Cell(str(number), _("reading {number}").format(number=number)),))
        for number in range(1, parameters["readings"] + 1)
    )
    return Layout(_("Reading"), (_("Value"),), rows, unit)


def analyse(study: StudyInput) -> Analysis:
    p = study.parameters
    settings = Type1Settings(float(p["fraction"]), float(p["sigmas"]), p["required"])
    readings = [float(study.values[str(number)]) for number in range(1, p["readings"] + 1)]
    with refused_as_findings(_("one reference part")):
        answer = type_1(readings, p["reference"], p["tolerance"], resolution=study.resolution, settings=settings)
    capable = _capable(answer)
    outcome = {True: "conforms", False: "does not conform", None: "undecided"}[capable]
    word = {
        True: _("capable of this tolerance"),
        False: _("not capable of this tolerance"),
        None: _("cannot be decided: the readings do not spread, the resolution hides it"),
    }[capable]
    return Analysis(outcome, word, (_answer(answer, study.unit), _readings(answer, study)), _content(answer))


def _capable(answer: Type1Study) -> bool | None:
    if answer.cg_capable is None or answer.cgk_capable is None:
        return None
    return answer.cg_capable and answer.cgk_capable and answer.resolution_fine is not False


def _judged(met: bool | None, required: Decimal) -> dict[str, str]:
    words = {
        True: _("at least {required}").format(required=required),
        False: _("below {required}").format(required=required),
        None: _("no spread"),
    }
    return {"outcome": {True: "conforms", False: "does not conform", None: "undecided"}[met], "word": words[met]}


def _answer(answer: Type1Study, unit: str) -> Section:
    test, settings = answer.test, answer.settings
    facts = [
        Fact("Cg", figure(answer.cg), **_judged(answer.cg_capable, settings.required)),
        Fact("Cgk", figure(answer.cgk), **_judged(answer.cgk_capable, settings.required)),
        Fact(_("Mean"), figure(answer.mean, 7), unit),
        Fact(_("Standard deviation"), figure(answer.s), unit),
        Fact(
            _("Bias"),
            figure(test.bias),
            unit,
            outcome="does not conform" if test.significant else "conforms",
            word=_("differs from the reference") if test.significant else _("no bias shown"),
            note=_("95 % interval {low} to {high}").format(low=figure(test.interval.low), high=figure(test.interval.high)),
        ),
        Fact(_("Tolerance it would do for"), figure(max(answer.tolerance_for_cg, answer.tolerance_for_cgk)), unit),
    ]
    if answer.resolution_percent is not None:
        fine = answer.resolution_fine
        facts.append(
            Fact(
                _("Resolution"),
                percent(answer.resolution_percent),
                _("% of the tolerance"),
                outcome="conforms" if fine else "does not conform",
                word=_("fine enough") if fine else _("too coarse"),
            )
        )
    note = _("Cg = {fraction} T / ({sigmas} s). No standard defines it: customers differ in both figures (common practice).").format(
        fraction=figure(settings.fraction), sigmas=figure(settings.sigmas)
    )
    return Section(_("Answer"), facts=tuple(facts), notes=(note,))


def _readings(answer: Type1Study, study: StudyInput) -> Section:
    points = [ChartPoint(str(number), value) for number, value in enumerate(answer.readings, start=1)]
    band = Limits(Decimal(repr(answer.band_low)), Decimal(repr(answer.band_high)), Decimal(repr(answer.reference)))
    svg = run_chart(points, limits=band, unit=study.unit, title=_("Readings in order, with the band allowed to the gauge"))
    places = [str(study.values[str(number)]) for number in range(1, len(answer.readings) + 1)]
    table = Table(
        _("Readings"),
        (Column(_("Reading")), Column(_("Value, {unit}").format(unit=study.unit))),
        tuple((str(number), text) for number, text in enumerate(places, start=1)),
    )
    note = _("The band is {share} % of the tolerance about the reference; {count} readings lie outside.").format(
        share=figure(100 * answer.settings.fraction), count=len(answer.outside_band)
    )
    return Section(_("Readings"), figures=(Figure(_("Readings in order"), svg, note, table),))


def _content(answer: Type1Study) -> dict[str, Any]:
    return {
        "cg": exact(answer.cg),
        "cgk": exact(answer.cgk),
        "mean": exact(answer.mean),
        "s": exact(answer.s),
        "bias": exact(answer.test.bias),
        "bias_t": exact(answer.test.t),
        "bias_interval": [exact(answer.test.interval.low), exact(answer.test.interval.high)],
        "readings": len(answer.readings),
    }


TYPE_1 = StudyKind(
    slug="one-part",
    name=gettext_lazy("One reference part"),
    about=gettext_lazy("One person measures one reference part many times (a type 1 study): spread and bias beside the tolerance."),
    needs=frozenset({"gauge"}),
    parameters=(
        Parameter("reference", gettext_lazy("Reference value of the part"), help=gettext_lazy("In the gauge's unit, as certified.")),
        Parameter("tolerance", gettext_lazy("Tolerance it has to judge, in all"), least=Decimal("0.000001")),
        Parameter("readings", gettext_lazy("Readings"), "count", "50", least=Decimal(25), most=Decimal(200)),
        Parameter(
            "fraction", gettext_lazy("Share of the tolerance allowed"), initial="0.2", least=Decimal("0.01"), most=Decimal("0.99"),
            help=gettext_lazy("0.2 is usual; some customers ask for 0.15 or 0.1."),
        ),
        Parameter("sigmas", gettext_lazy("Width of the spread in standard deviations"), initial="6", least=Decimal(1), most=Decimal(10)),
        Parameter("required", gettext_lazy("Least Cg and Cgk"), initial="1.33", least=Decimal("0.1"), most=Decimal(10)),
    ),
    layout=layout,
    analyse=analyse,
)  # fmt: skip
