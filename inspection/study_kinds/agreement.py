"""Several people judge the same pieces by eye, more than once: do they agree with themselves, with each other, and with what is right?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from decimal import Decimal
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from inspection.analysis import Analysis, Cell, Column, Fact, Figure, Layout, LayoutRow, Section, Table
from inspection.drawing.groups import Share, bars
from inspection.drawing.primitives import Axis, Level
from inspection.studies.agreement import AgreementStudy, AppraiserAgreement, AppraiserStanding, Proportion, agreement_study
from inspection.studies.kappa import GOOD_ABOVE, POOR_BELOW, Kappa, KappaStanding
from inspection.study_kinds.gauge_words import between, chance, ends, names_of, with_interval
from inspection.study_kinds.kind import Parameter, StudyInput, StudyKind
from inspection.study_kinds.words import exact, percent, refused_as_findings

APPRAISERS = gettext_lazy("Inspectors")
ACCEPT, REJECT = "accept", "reject"
REFERENCE = "reference"

OUTCOMES = {
    AppraiserStanding.ACCEPTABLE: "conforms",
    AppraiserStanding.MARGINAL: "undecided",
    AppraiserStanding.NOT_ACCEPTABLE: "does not conform",
}
STANDINGS: Mapping[AppraiserStanding, Any] = {
    AppraiserStanding.ACCEPTABLE: gettext_lazy("acceptable"),
    AppraiserStanding.MARGINAL: gettext_lazy("marginal"),
    AppraiserStanding.NOT_ACCEPTABLE: gettext_lazy("not acceptable"),
}
KAPPA_OUTCOMES = {KappaStanding.GOOD: "conforms", KappaStanding.FAIR: "undecided", KappaStanding.POOR: "does not conform"}
KAPPA_WORDS: Mapping[KappaStanding, Any] = {
    KappaStanding.GOOD: gettext_lazy("good"),
    KappaStanding.FAIR: gettext_lazy("fair"),
    KappaStanding.POOR: gettext_lazy("poor"),
}


def layout(parameters: Mapping[str, Any], unit: str) -> Layout:
    choices = ((ACCEPT, _("accept")), (REJECT, _("reject")))
    people, trials = names_of(parameters, "appraisers", str(APPRAISERS)), range(1, parameters["trials"] + 1)
    columns = [(person, trial) for person in people for trial in trials]
    rows = []
    for item in range(1, parameters["items"] + 1):
        cells = [Cell(f"{REFERENCE}|{item}", _("right answer"), choices)] if parameters["known"] else []
        cells += [
            Cell(f"{person}|{item}|{trial}", _("{person}, trial {n}").format(person=person, n=trial), choices) for person, trial in columns
        ]
        rows.append(LayoutRow(str(item), tuple(cells)))
    heads = ((_("Right answer"),) if parameters["known"] else ()) + tuple(f"{person} {trial}" for person, trial in columns)
    return Layout(_("Piece"), heads, tuple(rows), by_column=True)


def analyse(study: StudyInput) -> Analysis:
    p, people = study.parameters, list(study.parameters["appraisers"])
    items = range(1, p["items"] + 1)
    calls = [[[study.values[f"{person}|{item}|{trial}"] for trial in range(1, p["trials"] + 1)] for person in people] for item in items]
    reference = [study.values[f"{REFERENCE}|{item}"] for item in items] if p["known"] else None
    with refused_as_findings(_("pieces")):
        answer = agreement_study(calls, reference, accepting=(ACCEPT,))
    outcome, word = _whole(answer, people)
    sections = (_each(answer, people), _together(answer, people), _disputed(answer, people))
    return Analysis(outcome, word, sections, _content(answer, people))


def _whole(answer: AgreementStudy, people: Sequence[str]) -> tuple[str, str]:
    """Against known answers the worst inspector counts; without them, the agreement of all calls."""
    standings = [one.standing for one in answer.by_appraiser if one.standing is not None]
    if standings:
        worst = max(standings, key=list(AppraiserStanding).index)
        if worst is AppraiserStanding.ACCEPTABLE:
            return "conforms", _("every inspector is acceptable")
        who = ", ".join(person for person, one in zip(people, answer.by_appraiser, strict=True) if one.standing is worst)
        return OUTCOMES[worst], _("{standing}: {who}").format(standing=str(STANDINGS[worst]), who=who)
    kappa = answer.between.overall if answer.between else (answer.by_appraiser[0].within.overall if answer.by_appraiser[0].within else None)
    if kappa is None or kappa.standing is None:
        return "undecided", _("cannot be decided: every call is the same, or there is nothing to compare")
    return KAPPA_OUTCOMES[kappa.standing], _("{standing} agreement (kappa {kappa}); right answers are not known").format(
        standing=str(KAPPA_WORDS[kappa.standing]), kappa=_kappa(kappa)
    )


# --- Sections --------------------------------------------------------------------------------------------------------------------


def _kappa(kappa: Kappa | None) -> str:
    if kappa is None:
        return "–"
    return _("not computable") if kappa.kappa is None else f"{kappa.kappa:.3f}"


def _kappa_between(kappa: Kappa | None) -> str:
    return "–" if kappa is None or kappa.interval is None else between(kappa.interval)


def _kappa_word(kappa: Kappa | None) -> str:
    return "–" if kappa is None or kappa.standing is None else str(KAPPA_WORDS[kappa.standing])


def _share(share: Proportion | None) -> str:
    if share is None:
        return "–"
    return _("{percent} % ({count} of {of})").format(percent=percent(100 * share.share), count=share.count, of=share.of)


def _share_between(share: Proportion | None) -> str:
    if share is None:
        return "–"
    return _("{low} to {high} %").format(low=percent(100 * share.interval.low), high=percent(100 * share.interval.high))


def _each(answer: AgreementStudy, people: list[str]) -> Section:
    known = answer.reference is not None
    facts = []
    for person, one in zip(people, answer.by_appraiser, strict=True):
        share = one.effectiveness if known else one.repeat
        if share is None:
            continue
        facts.append(
            Fact(
                person,
                percent(100 * share.share),
                "%",
                outcome=OUTCOMES[one.standing] if one.standing else "",
                word=str(STANDINGS[one.standing]) if one.standing else "",
                note=_("{what}; {interval}").format(
                    what=_("pieces with every call right") if known else _("pieces called alike every time"),
                    interval=with_interval(share.interval, _share_between(share)),
                ),
            )
        )
    tables = list(_rates(answer, people)) if known else []
    if answer.trials > 1:
        tables.append(_repeats(answer, people))
    figures = (_effectiveness_figure(answer, people),) if known or answer.trials > 1 else ()
    notes = [_("Acceptable: effective from 90 %, missed to 2 %, false alarms to 5 %; marginal: 80, 5 and 10 % (AIAG MSA, from memory).")]
    if not known:
        notes = [_("Right answers are not known: agreement is shown, not whether anybody is right.")]
    elif any(one.miss is None or one.false_alarm is None for one in answer.by_appraiser):
        notes.append(_("The pieces are all good or all bad: only one kind of mistake could be made."))
    return Section(_("Each inspector"), facts=tuple(facts), figures=figures, tables=tuple(tables), notes=tuple(notes))


def _rates(answer: AgreementStudy, people: list[str]) -> tuple[Table, Table]:
    columns = [Column(_("Inspector"), figure=False)]
    for name in (_("Effective"), _("Missed"), _("False alarm")):
        columns += [Column(name), Column(_("95 % interval"))]
    rates = Table(
        _("Against the right answers"),
        tuple(columns),
        tuple(
            (
                person,
                _share(one.effectiveness),
                _share_between(one.effectiveness),
                _share(one.miss),
                _share_between(one.miss),
                _share(one.false_alarm),
                _share_between(one.false_alarm),
            )
            for person, one in zip(people, answer.by_appraiser, strict=True)
        ),
    )
    kappas = Table(
        _("Agreement with the right answers"),
        (
            Column(_("Inspector"), figure=False),
            Column(_("Kappa (Cohen)")),
            Column(_("95 % interval")),
            Column(_("Kappa stands")),
            Column(_("Inspector stands")),
        ),
        tuple(
            (
                person,
                _kappa(one.against_reference),
                _kappa_between(one.against_reference),
                _kappa_word(one.against_reference),
                str(STANDINGS[one.standing]) if one.standing else "–",
            )
            for person, one in zip(people, answer.by_appraiser, strict=True)
        ),
    )
    return rates, kappas


def _repeats(answer: AgreementStudy, people: list[str]) -> Table:
    return Table(
        _("With themselves"),
        (
            Column(_("Inspector"), figure=False),
            Column(_("Called alike every time")),
            Column(_("95 % interval")),
            Column(_("Kappa (Fleiss) over the trials")),
            Column(_("95 % interval")),
        ),
        tuple(
            (
                person,
                _share(one.repeat),
                _share_between(one.repeat),
                _kappa(one.within.overall if one.within else None),
                _kappa_between(one.within.overall if one.within else None),
            )
            for person, one in zip(people, answer.by_appraiser, strict=True)
        ),
    )


def _effectiveness_figure(answer: AgreementStudy, people: list[str]) -> Figure:
    known = answer.reference is not None
    what = _("Pieces with every call right") if known else _("Pieces called alike every time")
    shares = []
    for person, one in zip(people, answer.by_appraiser, strict=True):
        share = one.effectiveness if known else one.repeat
        if share is not None:
            ends_of = (100 * share.interval.low, 100 * share.interval.high)
            shares.append(Share(person, 100 * share.share, *ends_of, f"{percent(100 * share.share)} %"))
    levels = (Level(Decimal(80), _("marginal from"), "nominal"), Level(Decimal(90), _("acceptable from"), "limit")) if known else ()
    svg = bars(shares, title=_("{what}, with 95 % intervals").format(what=what), x=Axis("%", high=100.0), levels=levels)
    table = Table(
        what,
        (Column(_("Inspector"), figure=False), Column("%"), Column(_("95 % interval"))),
        tuple(
            (share.name, percent(share.value), _("{low} to {high}").format(low=percent(share.low), high=percent(share.high)))
            for share in shares
        ),
    )
    return Figure(what, svg, data=table)


def _together(answer: AgreementStudy, people: list[str]) -> Section:
    facts = [
        Fact(
            _("All called alike"), percent(100 * answer.all_alike.share), "%",
            note=with_interval(answer.all_alike.interval, _share_between(answer.all_alike)),
        )
    ]  # fmt: skip
    if answer.all_correct is not None:
        facts.append(
            Fact(
                _("All called right"),
                percent(100 * answer.all_correct.share),
                "%",
                note=with_interval(answer.all_correct.interval, _share_between(answer.all_correct)),
            )
        )
    if answer.between is not None:
        overall = answer.between.overall
        facts.append(
            Fact(
                _("Kappa (Fleiss) over all calls"),
                _kappa(overall),
                outcome=KAPPA_OUTCOMES[overall.standing] if overall.standing else "undecided",
                word=_kappa_word(overall) if overall.standing else _("every call is the same"),
                note=with_interval(overall.interval, between(overall.interval)),
            )
        )
    pairs = Table(
        _("Two by two"),
        (
            Column(_("Inspectors"), figure=False),
            *(Column(name) for name in (_("Both accept"), _("First only"), _("Second only"), _("Both reject"))),
            Column(_("Kappa (Cohen)")),
            Column(_("95 % interval")),
            Column("p"),
            Column(_("Standing")),
        ),
        tuple(
            (
                f"{people[pair.first]}, {people[pair.second]}",
                *(str(count) for count in _counts(answer, pair.table)),
                _kappa(pair.kappa),
                _kappa_between(pair.kappa),
                chance(pair.kappa.p),
                _kappa_word(pair.kappa),
            )
            for pair in answer.pairs
        ),
    )
    notes = [_("Kappa above {good} is good, below {poor} poor (AIAG MSA, from memory).").format(good=GOOD_ABOVE, poor=POOR_BELOW)]
    if answer.pairs_repeat_items and answer.pairs:
        notes.append(_("Calls of one piece hang together over the trials, so the intervals of the pairs are a little too narrow."))
    return Section(_("Together"), facts=tuple(facts), tables=(pairs,) if answer.pairs else (), notes=tuple(notes))


def _counts(answer: AgreementStudy, table: tuple[tuple[int, ...], ...]) -> tuple[int, int, int, int]:
    """(both accept, first only accepts, second only accepts, both reject). A category nobody used counts zero."""
    place = {str(category): index for index, category in enumerate(answer.categories)}

    def at(first: str, second: str) -> int:
        return table[place[first]][place[second]] if first in place and second in place else 0

    return at(ACCEPT, ACCEPT), at(ACCEPT, REJECT), at(REJECT, ACCEPT), at(REJECT, REJECT)


def _disputed(answer: AgreementStudy, people: list[str]) -> Section:
    words = {ACCEPT: _("accept"), REJECT: _("reject")}

    def named(code: int) -> str:
        return str(words[str(answer.categories[code])])

    known = answer.reference is not None
    wrong = [
        item
        for item in range(answer.items)
        if answer.reference is not None and any(call != answer.reference[item] for row in answer.calls[item] for call in row)
    ]
    shown = sorted({*answer.disputed_items, *wrong})
    rows = []
    for item in shown:
        right = [named(answer.reference[item])] if answer.reference is not None else []
        rows.append((str(item + 1), *right, *("  ".join(named(call) for call in row) for row in answer.calls[item])))
    columns = [Column(_("Piece")), *([Column(_("Right answer"), figure=False)] if known else [])]
    columns += [Column(person, figure=False) for person in people]
    if not rows:
        return Section(_("Disputed pieces"), _("None: every piece was called alike every time."))
    return Section(
        _("Disputed pieces"),
        _("Not called alike, or not rightly. Look at them together: they show where the criterion needs a better picture."),
        tables=(Table(_("Disputed pieces"), tuple(columns), tuple(rows)),),
    )


# --- Content ---------------------------------------------------------------------------------------------------------------------


def _kappa_content(kappa: Kappa | None) -> dict[str, Any]:
    if kappa is None:
        return {}
    return {
        "kappa": exact(kappa.kappa),
        "standard_error": exact(kappa.standard_error),
        "interval": ends(kappa.interval),
        "z": exact(kappa.z),
        "p": exact(kappa.p),
        "observed": exact(kappa.observed),
        "expected": exact(kappa.expected),
        "n": kappa.n,
    }


def _share_content(share: Proportion | None) -> dict[str, Any]:
    return {} if share is None else {"count": share.count, "of": share.of, "interval": ends(share.interval)}


def _one_content(person: str, one: AppraiserAgreement) -> dict[str, Any]:
    return {
        "name": person,
        "repeat": _share_content(one.repeat),
        "within": _kappa_content(one.within.overall if one.within else None),
        "effectiveness": _share_content(one.effectiveness),
        "correct_calls": _share_content(one.correct_calls),
        "miss": _share_content(one.miss),
        "false_alarm": _share_content(one.false_alarm),
        "against_reference": _kappa_content(one.against_reference),
        "standing": one.standing.value if one.standing else "",
    }


def _content(answer: AgreementStudy, people: list[str]) -> dict[str, Any]:
    names = ("both_accept", "first_accepts", "second_accepts", "both_reject")
    return {
        "inspectors": [_one_content(person, one) for person, one in zip(people, answer.by_appraiser, strict=True)],
        "pairs": [
            {
                "first": people[pair.first],
                "second": people[pair.second],
                **dict(zip(names, _counts(answer, pair.table), strict=True)),
                "kappa": _kappa_content(pair.kappa),
            }
            for pair in answer.pairs
        ],
        "between": _kappa_content(answer.between.overall if answer.between else None),
        "all_alike": _share_content(answer.all_alike),
        "all_correct": _share_content(answer.all_correct),
        "disputed": [item + 1 for item in answer.disputed_items],
    }


AGREEMENT = StudyKind(
    slug="inspectors",
    name=gettext_lazy("Agreement of inspectors"),
    about=gettext_lazy("Several people judge the same pieces by eye: do they agree with themselves, with each other, with what is right?"),
    needs=frozenset(),
    offers=frozenset({"terminal", "gauge"}),
    parameters=(
        Parameter(
            "criterion", gettext_lazy("What is judged"), "text",
            help=gettext_lazy("The visual criterion, as the plan words it."),
        ),
        Parameter(
            "appraisers", APPRAISERS, "lines", least=Decimal(1), most=Decimal(10),
            help=gettext_lazy("Their names, one a line, as they stand in the catalogue."),
        ),
        Parameter(
            "items", gettext_lazy("Pieces"), "count", "30", least=Decimal(2), most=Decimal(200),
            help=gettext_lazy("Good, bad and near the border in about equal numbers; 50 are usual."),
        ),
        Parameter("trials", gettext_lazy("Trials of each piece"), "count", "2", least=Decimal(1), most=Decimal(10)),
        Parameter("known", gettext_lazy("The right answers are known"), "yes", "yes"),
    ),
    layout=layout,
    analyse=analyse,
)  # fmt: skip
