"""A gauge study of a destructive test: no piece can be pulled twice, so pieces of one batch stand in for repeats (nested)."""

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
from inspection.drawing.primitives import Axis, Level
from inspection.studies.pull_study import PullStudy, pull_study
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

APPRAISERS = gettext_lazy("Appraisers")
SIGNIFICANT = 0.05


def layout(parameters: Mapping[str, Any], unit: str) -> Layout:
    yardstick_of(parameters)
    people, pieces = names_of(parameters, "appraisers", str(APPRAISERS)), range(1, parameters["pieces"] + 1)
    rows = tuple(
        LayoutRow(
            _("{person}, batch {batch}").format(person=person, batch=batch),
            tuple(Cell(f"{person}|{batch}|{piece}", _("piece {number}").format(number=piece)) for piece in pieces),
        )
        for person in people
        for batch in range(1, parameters["batches"] + 1)
    )
    return Layout(_("Batch"), tuple(_("Piece {number}").format(number=piece) for piece in pieces), rows, unit)


def analyse(study: StudyInput) -> Analysis:
    p, people = study.parameters, list(study.parameters["appraisers"])
    readings = [
        [[float(study.values[f"{person}|{batch}|{piece}"]) for piece in range(1, p["pieces"] + 1)] for batch in range(1, p["batches"] + 1)]
        for person in people
    ]
    with refused_as_findings(_("appraisers, batches and pieces")):
        answer = pull_study(readings, yardstick_of(p))
    outcome, word = whole_answer(answer)
    return Analysis(
        outcome, word, (_standing(answer), _sources(answer, study.unit), _by_batch(answer, people, study)), _content(answer, people)
    )


def _standing(answer: PullStudy) -> Section:
    notes = [str(LIMITS_NOTE)]
    if answer.batches_differ_p is not None and answer.batches_differ_p > SIGNIFICANT:
        notes.append(
            _("The batches do not differ more than their pieces do (p {p}): the number of categories says nothing here.").format(
                p=chance(answer.batches_differ_p)
            )
        )
    return Section(
        _("Answer"),
        _("Assumed: the pieces of a batch are alike. What they differ counts against the gauge, so the truth is no worse than this."),
        answer_facts(answer),
        notes=tuple(notes),
    )


def _sources(answer: PullStudy, unit: str) -> Section:
    batch = _("Batch")
    notes = list(zero_notes(answer, batch))
    if not answer.reproducibility_defined:
        notes.append(_("One appraiser: the study says nothing about reproducibility."))
    elif answer.appraisers == 2:
        notes.append(_("Two appraisers leave one degree of freedom to the appraiser: its interval says hardly anything."))
    return Section(
        _("Where the variation comes from"),
        _("Each appraiser has batches of their own: an interaction of batch and appraiser cannot be told apart in a destructive test."),
        figures=share_figures(answer, batch),
        tables=(*component_tables(answer, unit, batch), anova_table(_("Nested analysis of variance"), answer.rows, batch)),
        notes=tuple(notes),
    )


def _by_batch(answer: PullStudy, people: list[str], study: StudyInput) -> Section:
    batches = [str(batch) for batch in range(1, answer.batches + 1)]
    named = [(a, b, f"{person} {batch}") for a, person in enumerate(people) for b, batch in enumerate(batches)]
    data = Table(
        _("Batches"),
        (
            Column(_("Batch"), figure=False),
            Column(_("Pieces, {unit}").format(unit=study.unit)),
            Column(_("Mean")),
            Column(_("Range")),
        ),
        tuple(
            (
                name,
                "  ".join(figure(value, 6) for value in answer.readings[a][b]),
                figure(answer.batch_means[a][b], 5),
                figure(answer.batch_ranges[a][b]),
            )
            for a, b, name in named
        ),
    )
    limit = study.parameters["one_limit"]
    spread = dots(
        [
            Group(person, [Dots(_("batch {number}").format(number=batch), answer.readings[a][b]) for b, batch in enumerate(batches)])
            for a, person in enumerate(people)
        ],
        y=Axis(_("reading"), study.unit),
        title=_("Pieces of each batch, appraiser by appraiser"),
        levels=() if limit is None else (Level(limit, _("limit"), "limit"),),
        group_word=_("appraiser"),
        mean_word=_("mean"),
        height=340,
    )
    ranges = panels(
        [
            Panel(person, batches, answer.batch_ranges[a], {b for who, b in answer.ranges_beyond if who == a})
            for a, person in enumerate(people)
        ],
        y=Axis(_("range"), study.unit, low=0.0),
        title=_("Range of each batch, appraiser by appraiser"),
        levels=(Level(answer.range_high, _("limit"), "control"), Level(answer.mean_range, _("mean"), "center")),
        label_word=_("batch"),
    )
    means = Table(
        _("Appraisers"),
        (Column(_("Appraiser"), figure=False), Column(_("Mean, {unit}").format(unit=study.unit))),
        tuple((person, figure(mean, 5)) for person, mean in zip(people, answer.appraiser_means, strict=True)),
    )
    notes = []
    if answer.ranges_beyond:
        which = ", ".join(f"{people[a]} {batches[b]}" for a, b in answer.ranges_beyond)
        notes.append(_("Above the limit of the ranges: {which}. Such a batch is hardly homogeneous.").format(which=which))
    return Section(
        _("By batch"),
        figures=(Figure(_("Pieces"), spread, data=data), Figure(_("Ranges"), ranges, data=data)),
        tables=(means,),
        notes=tuple(notes),
    )


def _content(answer: PullStudy, people: list[str]) -> dict[str, Any]:
    return {
        "method": answer.method,
        "assumption": answer.assumption.value,
        **variation_content(answer),
        "anova": anova_content(answer.rows),
        "batches_differ_p": exact(answer.batches_differ_p),
        "appraisers": people,
        "appraiser_means": exacts(answer.appraiser_means),
        "batch_means": [exacts(row) for row in answer.batch_means],
        "batch_ranges": [exacts(row) for row in answer.batch_ranges],
        "mean_range": exact(answer.mean_range),
        "range_limit": exact(answer.range_high),
        "ranges_beyond": [{"appraiser": people[a], "batch": b + 1} for a, b in answer.ranges_beyond],
    }


PULL_GAUGE = StudyKind(
    slug="pull-tester",
    name=gettext_lazy("Pull tester, destructive"),
    about=gettext_lazy("No piece can be pulled twice: pieces of one batch stand in for repeats, each appraiser has batches of their own."),
    needs=frozenset({"gauge"}),
    offers=frozenset({"terminal", "tool"}),
    parameters=(
        Parameter(
            "appraisers", APPRAISERS, "lines", least=Decimal(1), most=Decimal(10),
            help=gettext_lazy("Their names, one a line."),
        ),
        Parameter("batches", gettext_lazy("Batches of each appraiser"), "count", "5", least=Decimal(2), most=Decimal(30)),
        Parameter(
            "pieces", gettext_lazy("Pieces of each batch"), "count", "4", least=Decimal(2), most=Decimal(20),
            help=gettext_lazy("Crimped in a row with one set-up, of one reel and one spool: as alike as can be."),
        ),
        *YARDSTICK,
    ),
    layout=layout,
    analyse=analyse,
)  # fmt: skip
