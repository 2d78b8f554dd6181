"""What the gauge studies share: their yardstick, the words of origins and standings, and the tables of components and of variance."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from decimal import Decimal
from typing import Any, Protocol

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from inspection.analysis import Column, Fact, Figure, Table
from inspection.drawing.groups import Share, bars
from inspection.drawing.primitives import Axis, Level
from inspection.studies.components import AnovaRow, Component, Decomposition, Origin, Standing, Yardstick
from inspection.studies.confidence import Interval
from inspection.studies.gauge_rr import NDC_WANTED
from inspection.study_kinds.kind import Parameter
from inspection.study_kinds.words import exact, figure, percent
from shop.finding import Refused, misfit

ORIGINS: Mapping[Origin, Any] = {
    Origin.EQUIPMENT: gettext_lazy("Repeatability (equipment)"),
    Origin.APPRAISER: gettext_lazy("Appraiser"),
    Origin.INTERACTION: gettext_lazy("Part by appraiser"),
    Origin.REPRODUCIBILITY: gettext_lazy("Reproducibility"),
    Origin.GAUGE: gettext_lazy("Repeatability and reproducibility"),
    Origin.PART: gettext_lazy("Part"),
    Origin.TOTAL: gettext_lazy("Total"),
}

OUTCOMES = {Standing.GOOD: "conforms", Standing.CONDITIONAL: "undecided", Standing.NOT_ACCEPTABLE: "does not conform"}
STANDINGS: Mapping[Standing, Any] = {
    Standing.GOOD: gettext_lazy("good"),
    Standing.CONDITIONAL: gettext_lazy("conditional"),
    Standing.NOT_ACCEPTABLE: gettext_lazy("not acceptable"),
}
LONGEST_NAME = 40

YARDSTICK: tuple[Parameter, ...] = (
    Parameter(
        "tolerance",
        gettext_lazy("Tolerance it has to judge, in all"),
        required=False,
        least=Decimal("0.000001"),
        help=gettext_lazy("Upper limit less lower limit. Empty where there is one limit only, or none."),
    ),
    Parameter("one_limit", gettext_lazy("The limit, where there is one only"), required=False),
    Parameter(
        "process_sigma",
        gettext_lazy("Standard deviation of the process"),
        required=False,
        least=Decimal("0.000001"),
        help=gettext_lazy("Long-term, from a capability study. The parts of a study seldom spread as the process does."),
    ),
    Parameter(
        "sigmas",
        gettext_lazy("Width of a spread"),
        "choice",
        "6",
        choices=(("6", gettext_lazy("6 standard deviations")), ("5.15", gettext_lazy("5.15 standard deviations (older reports)"))),
    ),
)


def yardstick_of(parameters: Mapping[str, Any]) -> Yardstick:
    """What the variation is held against. Raises Refused where a tolerance and a single limit are both given."""
    tolerance, one_limit, process = (parameters[name] for name in ("tolerance", "one_limit", "process_sigma"))
    if tolerance is not None and one_limit is not None:
        expected = _("either the tolerance or the one limit")
        raise Refused(
            [misfit("study.parameter", "one_limit", name=_("The limit, where there is one only"), text=str(one_limit), expected=expected)]
        )
    return Yardstick(
        tolerance=None if tolerance is None else float(tolerance),
        one_limit=None if one_limit is None else float(one_limit),
        process_sigma=None if process is None else float(process),
        sigmas=float(parameters["sigmas"]),
    )


def names_of(parameters: Mapping[str, Any], name: str, label: str) -> Sequence[str]:
    """Names given one a line, which become part of places. Raises Refused for one that is too long or holds the sign that parts them."""
    names: Sequence[str] = parameters[name]
    bad = [text for text in names if len(text) > LONGEST_NAME or "|" in text]
    if bad:
        expected = _("names of {most} signs at most, without “|”").format(most=LONGEST_NAME)
        raise Refused([misfit("study.parameter", name, name=label, text=text, expected=expected) for text in bad])
    return names


class Studied(Protocol):
    """What a crossed and a nested study have in common."""

    @property
    def variation(self) -> Decomposition: ...
    @property
    def yardstick(self) -> Yardstick: ...
    @property
    def standing_study(self) -> Standing | None: ...
    @property
    def standing_tolerance(self) -> Standing | None: ...
    @property
    def standing_one_limit(self) -> Standing | None: ...
    @property
    def standing_process(self) -> Standing | None: ...
    @property
    def ndc_enough(self) -> bool | None: ...
    @property
    def reproducibility_defined(self) -> bool: ...


def between(interval: Interval | None, digits: int = 3) -> str:
    """ "0.18 to 0.26", "–" for None."""
    if interval is None:
        return "–"
    return _("{low} to {high}").format(low=figure(interval.low, digits), high=figure(interval.high, digits))


def percents_between(interval: Interval | None) -> str:
    return "–" if interval is None else _("{low} to {high}").format(low=percent(interval.low), high=percent(interval.high))


def with_interval(interval: Interval | None, text: str) -> str:
    """The interval named with its confidence; empty where there is none."""
    return "" if interval is None else _("{share} % interval {ends}").format(share=figure(100 * interval.confidence), ends=text)


# --- The answer ------------------------------------------------------------------------------------------------------------------


def answer_facts(study: Studied) -> tuple[Fact, ...]:
    """Repeatability and reproducibility against everything that was given, and the number of categories it tells apart."""
    gauge, variation = study.variation[Origin.GAUGE], study.variation
    facts = [
        _share_fact(
            _("Of the study variation"),
            gauge.percent_study,
            study.standing_study,
            with_interval(gauge.percent_study_interval, percents_between(gauge.percent_study_interval)),
        )
    ]
    if study.yardstick.tolerance is not None:
        note = _("of {tolerance}").format(tolerance=figure(study.yardstick.tolerance))
        facts.append(_share_fact(_("Of the tolerance"), gauge.percent_tolerance, study.standing_tolerance, note))
    if study.yardstick.one_limit is not None:
        note = _("half the spread over the distance of the mean from {limit} (common practice)").format(
            limit=figure(study.yardstick.one_limit)
        )
        facts.append(_share_fact(_("Of the way to the limit"), gauge.percent_one_limit, study.standing_one_limit, note))
    if study.yardstick.process_sigma is not None:
        note = _("of {sigma}").format(sigma=figure(study.yardstick.process_sigma))
        facts.append(_share_fact(_("Of the process"), gauge.percent_process, study.standing_process, note))
    facts.append(_categories(study))
    if variation.ndc_process is not None:
        facts.append(Fact(_("Categories in the process"), str(variation.ndc_process), note=_("with the process spread given")))
    return tuple(facts)


def _share_fact(label: str, value: float | None, standing: Standing | None, note: str) -> Fact:
    if standing is None:
        return Fact(label, "–", outcome="undecided", word=_("not computable: nothing varies"))
    return Fact(label, percent(value), "%", outcome=OUTCOMES[standing], word=str(STANDINGS[standing]), note=note)


def _categories(study: Studied) -> Fact:
    variation, label = study.variation, _("Categories told apart")
    if variation.ndc is None:
        return Fact(label, "–", outcome="undecided", word=_("not computable: the gauge shows no variation"))
    return Fact(
        label,
        str(variation.ndc),
        outcome="conforms" if study.ndc_enough else "does not conform",
        word=(_("at least {wanted}") if study.ndc_enough else _("below {wanted}")).format(wanted=NDC_WANTED),
        note=_("1.41 PV/GRR = {exact}; {interval}")
        .format(exact=figure(variation.ndc_exact), interval=with_interval(variation.ndc_interval, between(variation.ndc_interval)))
        .removesuffix("; "),
    )


def whole_answer(study: Studied) -> tuple[str, str]:
    """The outcome and its words: the worst standing counts, too few categories with it."""
    named = [
        (study.standing_study, _("of the study variation")),
        (study.standing_tolerance, _("of the tolerance")),
        (study.standing_one_limit, _("of the way to the limit")),
        (study.standing_process, _("of the process")),
    ]
    found = [(standing, words) for standing, words in named if standing is not None]
    if not found:
        return "undecided", _("cannot be decided: nothing varies")
    order = list(Standing)
    worst = max((standing for standing, _words in found), key=order.index)
    where = ", ".join(words for standing, words in found if standing is worst)
    word = _("{standing}: measured by its share {where}").format(standing=str(STANDINGS[worst]), where=where)
    outcome = OUTCOMES[worst]
    if study.ndc_enough is False:
        outcome = "undecided" if outcome == "conforms" else outcome
        word = _("{word}; tells fewer than {wanted} categories apart").format(word=word, wanted=NDC_WANTED)
    return outcome, word


LIMITS_NOTE = gettext_lazy(
    "Below 10 % good, 10 to 30 % conditional, above 30 % not acceptable, and at least 5 categories (AIAG MSA, 4th ed., from memory)."
)


# --- Tables ----------------------------------------------------------------------------------------------------------------------


def component_tables(study: Studied, unit: str, part: str = "") -> tuple[Table, Table]:
    """Variances and standard deviations with intervals, then every share that was asked for. part: what a part is called here."""
    yardstick, lines = study.yardstick, study.variation.components
    sizes = Table(
        _("Components of variation"),
        (
            Column(_("From"), figure=False),
            Column(_("Variance, {unit}²").format(unit=unit)),
            Column(_("Standard deviation, {unit}").format(unit=unit)),
            Column(_("95 % interval")),
            Column(_("{sigmas} standard deviations").format(sigmas=figure(yardstick.sigmas))),
        ),
        tuple(
            (origin_name(line, part), figure(line.variance), figure(line.sigma), between(line.sigma_interval), figure(line.spread))
            for line in lines
        ),
    )
    extra = [
        (yardstick.tolerance, _("% of tolerance"), "percent_tolerance"),
        (yardstick.one_limit, _("% of way to limit"), "percent_one_limit"),
        (yardstick.process_sigma, _("% of process"), "percent_process"),
    ]
    asked = [(label, name) for given, label, name in extra if given is not None]
    shares = Table(
        _("Shares"),
        (
            Column(_("From"), figure=False),
            Column(_("% of variance")),
            Column(_("% of study")),
            Column(_("95 % interval")),
            *(Column(label) for label, _name in asked),
        ),
        tuple(
            (
                origin_name(line, part),
                percent(line.percent_contribution),
                percent(line.percent_study),
                percents_between(line.percent_study_interval),
                *(percent(getattr(line, name)) for _label, name in asked),
            )
            for line in lines
        ),
    )
    return sizes, shares


def origin_name(line: Component, part: str = "") -> str:
    name = part if part and line.origin is Origin.PART else str(ORIGINS[line.origin])
    return _("{name} (set to 0)").format(name=name) if line.set_to_zero else name


def zero_notes(study: Studied, part: str = "") -> tuple[str, ...]:
    """Every estimate that came out negative and counts as zero, with what it was."""
    return tuple(
        _("{name}: the variance was estimated as {estimate}, below zero. It counts as zero.").format(
            name=part if part and line.origin is Origin.PART else str(ORIGINS[line.origin]), estimate=figure(line.estimate)
        )
        for line in study.variation.components
        if line.set_to_zero
    )


def share_figure(study: Studied, part: str = "") -> Figure:
    """Each component's share of the study's standard deviation as a bar with its interval, with the trade's limits across."""
    lines = [line for line in study.variation.components if line.origin is not Origin.TOTAL and line.percent_study is not None]
    table = Table(
        _("Shares of the standard deviation of the study"),
        (Column(_("From"), figure=False), Column("%"), Column(_("Interval"))),
        tuple((origin_name(line, part), percent(line.percent_study), percents_between(line.percent_study_interval)) for line in lines),
    )
    svg = bars(
        [
            Share(
                origin_name(line, part),
                line.percent_study or 0.0,
                None if line.percent_study_interval is None else line.percent_study_interval.low,
                None if line.percent_study_interval is None else line.percent_study_interval.high,
                f"{percent(line.percent_study)} %",
            )
            for line in lines
        ],
        title=_("Share of the study's standard deviation, with intervals"),
        x=Axis(_("% of the study"), high=100.0),
        levels=(
            Level(study.yardstick.good_below, _("good below"), "nominal"),
            Level(study.yardstick.accepted_to, _("not acceptable above"), "limit"),
        ),
    )
    return Figure(_("Shares of the whole"), svg, _("The two lines are meant for repeatability and reproducibility together."), table)


def tolerance_figure(study: Studied, part: str = "") -> Figure | None:
    """The same of the tolerance; None where none was given."""
    if study.yardstick.tolerance is None:
        return None
    yardstick = study.yardstick
    wanted = [line for line in study.variation.components if line.origin not in (Origin.TOTAL, Origin.PART)]
    scale = 100 * yardstick.sigmas / (yardstick.tolerance or 1.0)
    shares = [
        Share(
            origin_name(line, part),
            line.percent_tolerance or 0.0,
            None if line.sigma_interval is None else scale * line.sigma_interval.low,
            None if line.sigma_interval is None else scale * line.sigma_interval.high,
            f"{percent(line.percent_tolerance)} %",
        )
        for line in wanted
    ]
    table = Table(
        _("Shares of the tolerance"),
        (Column(_("From"), figure=False), Column("%"), Column(_("Interval"))),
        tuple(
            (share.name, percent(share.value), "–" if share.low is None else f"{percent(share.low)} – {percent(share.high)}")
            for share in shares
        ),
    )
    # An interval from two appraisers may reach a thousand times the tolerance: the bars have to stay readable.
    most = max([*(float(share.value) for share in shares), float(yardstick.accepted_to)])
    svg = bars(
        shares,
        title=_("Share of the tolerance, with intervals"),
        x=Axis(_("% of the tolerance"), high=1.6 * most),
        levels=(
            Level(yardstick.good_below, _("good below"), "nominal"),
            Level(yardstick.accepted_to, _("not acceptable above"), "limit"),
        ),
    )
    return Figure(_("Shares of the tolerance"), svg, _("Intervals that run further are cut at the edge."), table)


def share_figures(study: Studied, part: str = "") -> tuple[Figure, ...]:
    of_tolerance = tolerance_figure(study, part)
    return (share_figure(study, part),) if of_tolerance is None else (share_figure(study, part), of_tolerance)


def anova_table(caption: str, rows: Sequence[AnovaRow], part: str = "") -> Table:
    columns = (
        Column(_("From"), figure=False),
        Column(_("Degrees of freedom")),
        Column(_("Sum of squares")),
        Column(_("Mean square")),
        Column("F"),
        Column("p"),
    )
    return Table(
        caption,
        columns,
        tuple(
            (
                part if part and row.origin is Origin.PART else str(ORIGINS[row.origin]),
                str(row.df),
                figure(row.ss, 5),
                figure(row.ms, 5),
                figure(row.f),
                chance(row.p),
            )
            for row in rows
        ),
    )


def chance(p: float | None) -> str:
    """A p value as it is read: "0.0312", "below 0.0001", "–" for None."""
    if p is None:
        return "–"
    return _("below 0.0001") if p < 0.0001 else f"{p:.4f}"


# --- Content ---------------------------------------------------------------------------------------------------------------------


def ends(interval: Interval | None) -> list[str]:
    return [] if interval is None else [exact(interval.low), exact(interval.high)]


def variation_content(study: Studied) -> dict[str, Any]:
    """Every component under its name, with the yardstick it was held against."""
    yardstick, variation = study.yardstick, study.variation
    return {
        "components": {
            line.origin.value: {
                "estimate": exact(line.estimate),
                "variance": exact(line.variance),
                "set_to_zero": line.set_to_zero,
                "sigma": exact(line.sigma),
                "sigma_interval": ends(line.sigma_interval),
                "spread": exact(line.spread),
                "percent_contribution": exact(line.percent_contribution),
                "percent_study": exact(line.percent_study),
                "percent_study_interval": ends(line.percent_study_interval),
                "percent_tolerance": exact(line.percent_tolerance),
                "percent_one_limit": exact(line.percent_one_limit),
                "percent_process": exact(line.percent_process),
            }
            for line in variation.components
        },
        "ndc": exact(variation.ndc),
        "ndc_exact": exact(variation.ndc_exact),
        "ndc_interval": ends(variation.ndc_interval),
        "ndc_process": exact(variation.ndc_process),
        "tolerance": exact(yardstick.tolerance),
        "one_limit": exact(yardstick.one_limit),
        "process_sigma": exact(yardstick.process_sigma),
        "sigmas": exact(yardstick.sigmas),
    }


def anova_content(rows: Sequence[AnovaRow]) -> list[dict[str, Any]]:
    return [
        {"from": row.origin.value, "df": row.df, "ss": exact(row.ss), "ms": exact(row.ms), "f": exact(row.f), "p": exact(row.p)}
        for row in rows
    ]
