"""Several people measure the same parts several times: how much of what the readings vary comes from the measuring."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from inspection.analysis import Analysis, Cell, Column, Figure, Layout, LayoutRow, Section, Table
from inspection.drawing.gauges import Panel, panels
from inspection.drawing.groups import Column as Dots
from inspection.drawing.groups import Group, dots
from inspection.drawing.primitives import SHAPES, Axis, Level
from inspection.drawing.scatter import Curve, Spot, curves_chart
from inspection.studies.gauge_rr import AnovaStudy, AverageRangeStudy, analysis_of_variance, average_and_range
from inspection.study_kinds.gauge_words import (
    LIMITS_NOTE,
    YARDSTICK,
    anova_content,
    anova_table,
    answer_facts,
    chance,
    component_tables,
    names_of,
    share_figures,
    variation_content,
    whole_answer,
    yardstick_of,
    zero_notes,
)
from inspection.study_kinds.kind import Parameter, StudyInput, StudyKind
from inspection.study_kinds.words import exact, exacts, figure, refused_as_findings

Answer = AnovaStudy | AverageRangeStudy
APPRAISERS = gettext_lazy("Appraisers")


def layout(parameters: Mapping[str, Any], unit: str) -> Layout:
    yardstick_of(parameters)
    people, trials = names_of(parameters, "appraisers", str(APPRAISERS)), range(1, parameters["trials"] + 1)
    columns = [(person, trial) for person in people for trial in trials]
    rows = tuple(
        LayoutRow(
            str(part),
            tuple(Cell(f"{person}|{part}|{trial}", _("{person}, trial {n}").format(person=person, n=trial)) for person, trial in columns),
        )
        for part in range(1, parameters["parts"] + 1)
    )
    return Layout(_("Part"), tuple(f"{person} {trial}" for person, trial in columns), rows, unit, by_column=True)


def analyse(study: StudyInput) -> Analysis:
    p, people = study.parameters, list(study.parameters["appraisers"])
    readings = [
        [[float(study.values[f"{person}|{part}|{trial}"]) for trial in range(1, p["trials"] + 1)] for person in people]
        for part in range(1, p["parts"] + 1)
    ]
    yardstick = yardstick_of(p)
    answer: Answer
    with refused_as_findings(_("parts, appraisers and trials")):
        if p["method"] == "anova":
            answer = analysis_of_variance(readings, yardstick, alpha=float(p["alpha"]))
        else:
            answer = average_and_range(readings, yardstick)
    outcome, word = whole_answer(answer)
    sections = (_standing(answer), _sources(answer, study.unit), _by_part(answer, people, study.unit), _by_person(answer, people, study))
    return Analysis(outcome, word, sections, _content(answer, people))


# --- Sections --------------------------------------------------------------------------------------------------------------------


def _standing(answer: Answer) -> Section:
    intro = _("How much of each width repeatability and reproducibility together take.")
    return Section(_("Answer"), intro, answer_facts(answer), notes=(str(LIMITS_NOTE),))


def _sources(answer: Answer, unit: str) -> Section:
    tables, notes = list(component_tables(answer, unit)), list(zero_notes(answer))
    if isinstance(answer, AnovaStudy):
        tables.append(anova_table(_("Analysis of variance"), answer.rows))
        if answer.pooled:
            tables.append(anova_table(_("Analysis of variance, interaction pooled with equipment"), answer.pooled_rows))
        notes += _interaction_words(answer)
        if answer.few_appraiser_df:
            notes.append(_("Two appraisers leave one degree of freedom to the appraiser: its interval says hardly anything."))
    else:
        notes.append(
            _("By average and range, with K1 {k1}, K2 {k2}, K3 {k3} (AIAG MSA, 4th ed.). This method keeps no interaction apart.").format(
                k1=figure(answer.k1), k2=figure(answer.k2), k3=figure(answer.k3)
            )
        )
    if not answer.reproducibility_defined:
        notes.append(_("One appraiser: the study says nothing about reproducibility."))
    return Section(
        _("Where the variation comes from"),
        _("Each bar is a share of the standard deviation of the whole study, or of the tolerance. Shares add up in squares."),
        figures=share_figures(answer),
        tables=tuple(tables),
        notes=tuple(notes),
    )


def _interaction_words(answer: AnovaStudy) -> list[str]:
    if answer.interaction_p is None:
        return [_("The interaction of part and appraiser cannot be tested in this study.")] if answer.appraisers > 1 else []
    words = (
        _("The interaction of part and appraiser is not significant (p {p}, above {alpha}): it is pooled with equipment.")
        if answer.pooled
        else _("The interaction of part and appraiser is significant (p {p}, not above {alpha}): it counts on its own.")
    )
    return [words.format(p=chance(answer.interaction_p), alpha=figure(answer.alpha))]


def _by_part(answer: Answer, people: list[str], unit: str) -> Section:
    drawn = answer.picture
    parts = [str(part) for part in range(1, answer.parts + 1)]
    values = Table(
        _("Readings"),
        (Column(_("Part")), *(Column(person) for person in people)),
        tuple(
            (part, *("  ".join(figure(value, 7) for value in cell) for cell in row))
            for part, row in zip(parts, drawn.readings, strict=True)
        ),
    )
    means = Table(
        _("Means"),
        (Column(_("Part")), *(Column(person) for person in people), Column(_("All"))),
        tuple(
            (part, *(figure(mean, 5) for mean in row), figure(all_of_it, 5))
            for part, row, all_of_it in zip(parts, drawn.cell_means, drawn.part_means, strict=True)
        ),
    )
    groups = [
        Group(part, [Dots(person, cell) for person, cell in zip(people, row, strict=True)])
        for part, row in zip(parts, drawn.readings, strict=True)
    ]
    spread = dots(
        groups,
        y=Axis(_("reading"), unit),
        title=_("Readings of each part, a column of dots for each appraiser"),
        group_word=_("part"),
        mean_word=_("mean"),
    )
    xs = [float(number) for number in range(1, answer.parts + 1)]
    explained = _("measuring alone")
    lines = curves_chart(
        [Curve(xs, [row[a] for row in drawn.cell_means], person) for a, person in enumerate(people)],
        x=Axis(_("part")),
        y=Axis(_("mean"), unit),
        title=_("Mean of each part, a line for each appraiser"),
        levels=(Level(drawn.mean_high, explained, "control"), Level(drawn.mean_low, explained, "control")),
        spots=[
            Spot(x, row[a], person, SHAPES[a % len(SHAPES)])
            for a, person in enumerate(people)
            for x, row in zip(xs, drawn.cell_means, strict=True)
        ],
    )
    outside, cells = drawn.means_outside, answer.parts * answer.appraisers
    notes = [
        _("{outside} of {cells} means lie outside what measuring alone explains; {judged}.").format(
            outside=outside,
            cells=cells,
            judged=_("at least half should, and do")
            if 2 * outside >= cells
            else _("at least half should, or the gauge does not tell these parts apart"),
        )
    ]
    return Section(
        _("By part"),
        _("Lines that run together show appraisers who agree; lines that cross show an interaction."),
        figures=(Figure(_("Readings"), spread, data=values), Figure(_("Means"), lines, data=means)),
        notes=tuple(notes),
    )


def _by_person(answer: Answer, people: list[str], study: StudyInput) -> Section:
    drawn, unit = answer.picture, study.unit
    parts = [str(part) for part in range(1, answer.parts + 1)]
    ranges = Table(
        _("Ranges"),
        (Column(_("Part")), *(Column(person) for person in people)),
        tuple((part, *(figure(value, 5) for value in row)) for part, row in zip(parts, drawn.cell_ranges, strict=True)),
    )
    svg = panels(
        [
            Panel(person, parts, [row[a] for row in drawn.cell_ranges], {part for part, who in drawn.ranges_beyond if who == a})
            for a, person in enumerate(people)
        ],
        y=Axis(_("range"), unit, low=0.0),
        title=_("Range of each part, appraiser by appraiser"),
        levels=(Level(drawn.range_high, _("limit"), "control"), Level(drawn.mean_range, _("mean"), "center")),
        label_word=_("part"),
    )
    table = Table(
        _("Appraisers"),
        (
            Column(_("Appraiser"), figure=False),
            Column(_("Mean, {unit}").format(unit=unit)),
            Column(_("Mean range, {unit}").format(unit=unit)),
            Column(_("Ranges above the limit")),
        ),
        tuple(
            (person, figure(mean, 5), figure(spread, 4), str(sum(1 for _part, a in drawn.ranges_beyond if a == index)))
            for index, (person, mean, spread) in enumerate(zip(people, drawn.appraiser_means, drawn.appraiser_ranges, strict=True))
        ),
    )
    notes = []
    if drawn.ranges_beyond:
        named = ", ".join(_("{person} at part {part}").format(person=people[a], part=part + 1) for part, a in drawn.ranges_beyond)
        notes.append(_("Above the limit of the ranges: {named}. Find the reason before the figures are used.").format(named=named))
    if 4 * drawn.zero_ranges > answer.parts * answer.appraisers:
        notes.append(
            _("{count} ranges are zero: the resolution may be too coarse to show how the gauge repeats.").format(count=drawn.zero_ranges)
        )
    if study.resolution is not None and drawn.mean_range > 0 and float(study.resolution) > 1.0001 * drawn.mean_range:
        notes.append(_("The gauge's step of {step} {unit} is larger than the mean range.").format(step=study.resolution, unit=unit))
    return Section(_("By appraiser"), figures=(Figure(_("Ranges"), svg, data=ranges),), tables=(table,), notes=tuple(notes))


def _content(answer: Answer, people: list[str]) -> dict[str, Any]:
    drawn = answer.picture
    content: dict[str, Any] = {
        "method": answer.method,
        **variation_content(answer),
        "appraisers": people,
        "appraiser_means": exacts(drawn.appraiser_means),
        "appraiser_ranges": exacts(drawn.appraiser_ranges),
        "part_means": exacts(drawn.part_means),
        "mean_range": exact(drawn.mean_range),
        "range_limit": exact(drawn.range_high),
        "ranges_beyond": [{"part": part + 1, "appraiser": people[a]} for part, a in drawn.ranges_beyond],
        "means_outside": drawn.means_outside,
    }
    if isinstance(answer, AnovaStudy):
        content |= {
            "anova": anova_content(answer.rows),
            "alpha": exact(answer.alpha),
            "interaction_p": exact(answer.interaction_p),
            "interaction_pooled": answer.pooled,
            "anova_pooled": anova_content(answer.pooled_rows),
        }
    else:
        content |= {"k1": exact(answer.k1), "k2": exact(answer.k2), "k3": exact(answer.k3), "x_diff": exact(answer.mean_difference)}
        content |= {"r_p": exact(answer.part_range), "ev_df": exact(answer.ev_df)}
    return content


GAUGE_RR = StudyKind(
    slug="repeatability",
    name=gettext_lazy("Repeatability and reproducibility"),
    about=gettext_lazy("Several people measure the same parts several times: how much of the variation is the measuring, and whose."),
    needs=frozenset({"gauge"}),
    offers=frozenset({"terminal", "tool"}),
    parameters=(
        Parameter(
            "appraisers", APPRAISERS, "lines", least=Decimal(1), most=Decimal(10),
            help=gettext_lazy("Their names, one a line. Three are usual; with one there is no reproducibility."),
        ),
        Parameter("parts", gettext_lazy("Parts"), "count", "10", least=Decimal(2), most=Decimal(50),
                  help=gettext_lazy("Picked over the whole spread of the process; ten are usual.")),
        Parameter("trials", gettext_lazy("Trials of each part"), "count", "3", least=Decimal(2), most=Decimal(10)),
        Parameter(
            "method", gettext_lazy("Method"), "choice", "anova",
            choices=(("anova", gettext_lazy("analysis of variance")), ("range", gettext_lazy("average and range"))),
        ),
        Parameter(
            "alpha", gettext_lazy("Level of the interaction"), initial="0.05", least=Decimal("0.001"), most=Decimal("0.5"),
            help=gettext_lazy("With p above it the interaction is pooled with equipment: 0.05, some take 0.25. Analysis of variance only."),
        ),
        *YARDSTICK,
    ),
    layout=layout,
    analyse=analyse,
)  # fmt: skip
