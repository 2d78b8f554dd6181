"""Measuring system and measuring process after ISO 22514-7: uncertainties held against a tolerance. Beside Cg and Cgk, never blended."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from inspection.analysis import Analysis, Cell, Column, Fact, Figure, Layout, LayoutRow, Section, Table
from inspection.drawing.groups import Share, bars
from inspection.drawing.primitives import Axis
from inspection.spc import mean
from inspection.studies.gauge_type1 import LEAST_READINGS, deviation, difference
from inspection.studies.measurement_system import (
    Capability22514,
    Influence,
    MeasurementCapability,
    ProcessInfluences,
    SystemInfluences,
    measurement_capability,
)
from inspection.study_kinds.kind import Parameter, StudyInput, StudyKind
from inspection.study_kinds.words import exact, figure, percent, refused_as_findings

INFLUENCES: Mapping[Influence, Any] = {
    Influence.CALIBRATION: gettext_lazy("calibration of the reference"),
    Influence.RESOLUTION: gettext_lazy("resolution"),
    Influence.REPEATABILITY_ON_REFERENCE: gettext_lazy("repeatability on the reference"),
    Influence.REPEATABILITY_ON_PARTS: gettext_lazy("repeatability on parts"),
    Influence.BIAS: gettext_lazy("bias"),
    Influence.LINEARITY: gettext_lazy("linearity"),
    Influence.OTHER_OF_SYSTEM: gettext_lazy("other of the system"),
    Influence.REPRODUCIBILITY: gettext_lazy("reproducibility"),
    Influence.INTERACTION: gettext_lazy("part by appraiser"),
    Influence.STABILITY: gettext_lazy("stability"),
    Influence.PARTS: gettext_lazy("form of the parts"),
    Influence.TEMPERATURE: gettext_lazy("temperature"),
    Influence.GAUGES: gettext_lazy("between gauges"),
    Influence.OTHER_OF_PROCESS: gettext_lazy("other of the process"),
}
OF_PROCESS = ("repeatability", "reproducibility", "interaction", "stability", "parts", "temperature", "gauges", "other")
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
    process = {name: p[f"process_{name}"] for name in OF_PROCESS}
    with refused_as_findings(_("readings")):
        s = deviation(readings)
        bias = difference(mean(readings), float(p["reference"]))
        answer = measurement_capability(
            p["tolerance"],
            SystemInfluences(
                calibration=float(p["calibration"]) / 2,
                resolution=float(study.resolution or 0),
                repeatability=s,
                bias=bias,
                linearity=float(p["linearity"] or 0),
                other=float(p["other"] or 0),
            ),
            ProcessInfluences(**{name: float(value or 0) for name, value in process.items()})
            if any(value is not None for value in process.values())
            else None,
            q_ms_limit=p["q_ms_limit"],
            q_mp_limit=p["q_mp_limit"],
        )
    outcome, word = _whole(answer)
    sections = [_section(answer, answer.system, study, s, bias)]
    if answer.process is not None:
        sections.append(_process(answer.process, study))
    return Analysis(outcome, word, tuple(sections), _content(answer, s, bias))


def _whole(answer: MeasurementCapability) -> tuple[str, str]:
    if not answer.system.capable or answer.resolution_fine is False:
        return "does not conform", _("the measuring system is not capable of this tolerance")
    if answer.process is None:
        return "conforms", _("the measuring system is capable of this tolerance; the process was not asked about")
    if not answer.process.capable:
        return "does not conform", _("the measuring system is capable of this tolerance, the measuring process is not")
    return "conforms", _("measuring system and process are capable of this tolerance")


def _facts(found: Capability22514, unit: str, *, of_system: bool) -> list[Fact]:
    q, c = ("Q_MS", "C_MS") if of_system else ("Q_MP", "C_MP")
    words = _("at most {limit} %") if found.capable else _("above {limit} %")
    return [
        Fact(
            q, percent(found.q_percent), "%", outcome="conforms" if found.capable else "does not conform",
            word=words.format(limit=found.q_limit), note=_("twice U over the tolerance"),
        ),
        Fact(c, figure(found.c)),
        Fact("U", figure(found.expanded), unit, note=_("k = {k}").format(k=figure(found.k))),
        Fact("u", figure(found.u), unit),
        Fact(_("Tolerance it would do for"), figure(found.least_tolerance), unit),
    ]  # fmt: skip


def _lines(found: Capability22514, unit: str, title: str) -> tuple[Figure, Table]:
    table = Table(
        title,
        (
            Column(_("Influence"), figure=False),
            Column(_("Standard uncertainty, {unit}").format(unit=unit)),
            Column(_("% of variance")),
            Column("", figure=False),
        ),
        tuple(
            (
                str(INFLUENCES[line.influence]),
                figure(line.u),
                percent(None if line.share is None else 100 * line.share),
                "" if line.counted else _("not counted: a larger one stands for the same scatter"),
            )
            for line in found.lines
        ),
    )
    svg = bars(
        [
            Share(str(INFLUENCES[line.influence]), 100 * (line.share or 0.0), shown=f"{percent(100 * (line.share or 0.0))} %")
            for line in found.lines
            if line.counted
        ],
        title=title,
        x=Axis(_("% of the variance"), high=100.0),
    )
    return Figure(title, svg, data=table), table


def _section(answer: MeasurementCapability, system: Capability22514, study: StudyInput, s: float, bias: float) -> Section:
    drawn, table = _lines(system, study.unit, _("What the system's uncertainty is made of"))
    facts = _facts(system, study.unit, of_system=True)
    facts += [Fact(_("Standard deviation"), figure(s), study.unit), Fact(_("Bias"), figure(bias), study.unit)]
    if answer.resolution_percent is not None:
        facts.append(
            Fact(
                _("Resolution"),
                percent(answer.resolution_percent),
                _("% of the tolerance"),
                outcome="conforms" if answer.resolution_fine else "does not conform",
                word=_("at most 5 %") if answer.resolution_fine else _("above 5 %"),
            )
        )
    note = _("ISO 22514-7:2012, from memory. These figures are not Cg and Cgk and are not mixed with them.")
    return Section(_("Measuring system"), facts=tuple(facts), figures=(drawn,), tables=(table,), notes=(note,))


def _process(found: Capability22514, study: StudyInput) -> Section:
    drawn, table = _lines(found, study.unit, _("What the process's uncertainty is made of"))
    intro = _("The system together with the people, the parts and the surroundings.")
    return Section(_("Measuring process"), intro, tuple(_facts(found, study.unit, of_system=False)), (drawn,), (table,))


def _capability(found: Capability22514) -> dict[str, Any]:
    return {
        "influences": [
            {"influence": line.influence.value, "u": exact(line.u), "counted": line.counted, "share": exact(line.share)}
            for line in found.lines
        ],
        "u": exact(found.u),
        "k": exact(found.k),
        "expanded": exact(found.expanded),
        "q_percent": exact(found.q_percent),
        "q_limit": exact(found.q_limit),
        "c": exact(found.c),
        "capable": found.capable,
        "least_tolerance": exact(found.least_tolerance),
    }


def _content(answer: MeasurementCapability, s: float, bias: float) -> dict[str, Any]:
    return {
        "tolerance": exact(answer.tolerance),
        "s": exact(s),
        "bias": exact(bias),
        "resolution_percent": exact(answer.resolution_percent),
        "system": _capability(answer.system),
        "process": {} if answer.process is None else _capability(answer.process),
    }


def _optional(name: str, label: Any, help_text: Any = "") -> Parameter:
    return Parameter(name, label, required=False, least=Decimal(0), help=help_text)


MEASURING_SYSTEM = StudyKind(
    slug="measuring-system",
    name=gettext_lazy("Measuring system and process"),
    about=gettext_lazy("The uncertainty of gauge and measuring held against the tolerance (ISO 22514-7); not mixed with Cg and Cgk."),
    needs=frozenset({"gauge"}),
    parameters=(
        Parameter("reference", gettext_lazy("Reference value of the part"), help=gettext_lazy("In the gauge's unit, as certified.")),
        Parameter("tolerance", gettext_lazy("Tolerance it has to judge, in all"), least=FINEST),
        Parameter("readings", gettext_lazy("Readings"), "count", "50", least=Decimal(LEAST_READINGS), most=Decimal(200)),
        Parameter(
            "calibration", gettext_lazy("Uncertainty U of the reference (k = 2)"), least=Decimal(0),
            help=gettext_lazy("From its certificate, in the gauge's unit."),
        ),
        _optional("linearity", gettext_lazy("Linearity, standard uncertainty")),
        _optional("other", gettext_lazy("Other of the system, standard uncertainty")),
        _optional(
            "process_repeatability", gettext_lazy("Process: repeatability on parts"),
            gettext_lazy("Standard deviations from a gauge study. With any figure of the process, the process is judged too."),
        ),
        _optional("process_reproducibility", gettext_lazy("Process: reproducibility")),
        _optional("process_interaction", gettext_lazy("Process: part by appraiser")),
        _optional("process_stability", gettext_lazy("Process: stability")),
        _optional("process_parts", gettext_lazy("Process: form of the parts")),
        _optional("process_temperature", gettext_lazy("Process: temperature")),
        _optional("process_gauges", gettext_lazy("Process: between gauges")),
        _optional("process_other", gettext_lazy("Process: other")),
        Parameter("q_ms_limit", gettext_lazy("Largest Q_MS, %"), initial="15", least=Decimal(1), most=Decimal(100)),
        Parameter("q_mp_limit", gettext_lazy("Largest Q_MP, %"), initial="30", least=Decimal(1), most=Decimal(100)),
    ),
    layout=layout,
    analyse=analyse,
)  # fmt: skip
