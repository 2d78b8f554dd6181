"""What pull force nearly all crimps hold, judged from some that were pulled: a tolerance bound beside the minimum."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from decimal import Decimal
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from inspection.analysis import Analysis, Column, Figure, Layout, Section, Table
from inspection.drawing.groups import Column as Dots
from inspection.drawing.groups import Group, dots
from inspection.drawing.primitives import Axis, Level
from inspection.pull_bound_sections import bound_content, bound_sections, bound_verdict, factor_section
from inspection.sampling.tolerance import LowerBound, lower_bound_of, rank_bound
from inspection.streams import Stream, stream_samples
from inspection.study import Study
from inspection.study_kinds.kind import Collected, Parameter, StudyInput, StudyKind
from inspection.study_kinds.words import refused_as_findings
from shop.characteristics import Characteristic

UNIT = "N"
MOST = 500
"""Values taken over at most, the newest."""


def layout(parameters: Mapping[str, Any], unit: str) -> Layout:
    return Layout(_("Pull force"), (_("Value"),), (), UNIT)


def collect(study: Study, parameters: Mapping[str, Any]) -> Sequence[Collected]:
    """The newest pull forces of the tool and terminal on this conductor area. The converted value is taken, in N."""
    assert study.tool is not None  # noqa: S101  # the kind needs one
    assert study.terminal is not None  # noqa: S101  # the kind needs one
    stream = Stream(study.tool, study.terminal, parameters["csa_mm2"], Characteristic.PULL_FORCE.value)
    most = parameters["most"]
    found = [
        Collected(f"{sample.batch}|{sample.number}|{one.piece}", f"{Decimal(str(one.value)).normalize():f}", f"{sample.label}, {one.text}")
        for sample in stream_samples(stream, most=most)
        for one in sample.values
    ]
    return found[-most:]


def analyse(study: StudyInput) -> Analysis:
    p, places = study.parameters, list(study.values)
    values = [float(study.values[place]) for place in places]
    share, confidence, minimum = float(p["share"] / 100), float(p["confidence"] / 100), p["minimum"]
    with refused_as_findings(_("pull force")):
        answer = lower_bound_of(values, p=share, gamma=confidence, minimum=minimum)
        ranked = rank_bound(values, p=share, gamma=confidence)
        sections = bound_sections(values, p=share, gamma=confidence, minimum=minimum, unit=UNIT)
        factors = factor_section(len(values), share, confidence)
    outcome, word = bound_verdict(answer)
    return Analysis(
        outcome, word, (sections[0], _forces(answer, places, study), *sections[1:], factors), bound_content(answer, ranked, UNIT)
    )


def _forces(answer: LowerBound, places: Sequence[str], study: StudyInput) -> Section:
    levels = [Level(answer.bound, _("bound"), "control")]
    if answer.minimum is not None:
        levels.append(Level(answer.minimum, _("at least"), "limit"))
    svg = dots(
        [Group(study.terminal, [Dots(_("pulled"), [float(study.values[place]) for place in places])])],
        y=Axis(_("pull force"), UNIT),
        title=_("Pull forces, the bound and the minimum"),
        levels=levels,
        mean_word=_("mean"),
        height=300,
    )
    table = Table(
        _("Pull forces"),
        (Column(_("Batch, sample, piece"), figure=False), Column(_("Pull force, {unit}").format(unit=UNIT))),
        tuple((place.replace("|", " "), f"{study.values[place]}") for place in places),
    )
    return Section(_("Pull forces"), figures=(Figure(_("Pull forces"), svg, "", table),))


PULL_BOUND = StudyKind(
    slug="pull-bound",
    name=gettext_lazy("Pull force bound"),
    about=gettext_lazy("What pull force nearly all crimps of a tool and terminal hold, with confidence, beside the minimum."),
    needs=frozenset({"tool", "terminal"}),
    parameters=(
        Parameter(
            "csa_mm2", gettext_lazy("Conductor area, mm²"), least=Decimal("0.001"),
            help=gettext_lazy("As on the setup sheets, all wires in the barrel together."),
        ),
        Parameter("minimum", gettext_lazy("Least pull force, N"), least=Decimal(0)),
        Parameter("share", gettext_lazy("Share that holds the bound, %"), initial="95", least=Decimal(50), most=Decimal("99.99")),
        Parameter("confidence", gettext_lazy("Confidence, %"), initial="95", least=Decimal(50), most=Decimal("99.9")),
        Parameter("most", gettext_lazy("Newest values, at most"), "count", "100", least=Decimal(2), most=Decimal(MOST)),
    ),
    layout=layout,
    analyse=analyse,
    collect=collect,
    notes=(gettext_lazy("Values are taken over from production. The planning page takes pasted ones."),),
)  # fmt: skip
