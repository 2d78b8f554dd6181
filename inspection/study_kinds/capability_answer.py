"""The answer of a capability study: stability first, then the indices with their intervals, the shape of the values, what lies outside."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

import numpy as np
from django.utils.translation import gettext as _

from inspection.analysis import Analysis, Column, Fact, Figure, Section, Table
from inspection.drawing.control import Signalled, control_chart
from inspection.drawing.distribution import histogram_chart, probability_chart
from inspection.drawing.primitives import Axis, Level
from inspection.drawing.scatter import Curve
from inspection.process.box_cox import BoxCoxCapability
from inspection.process.capability import Capability, Index, Outside
from inspection.process.distributions import Family, Fit, Fits
from inspection.process.histogram import histogram
from inspection.process.normality import NormalityTest, probability_plot
from inspection.process.percentiles import PercentileCapability
from inspection.run_rule_words import rule_name, rule_words
from inspection.stream_drawing import words as chart_words
from inspection.study_kinds.words import exact, figure, percent

NORMAL, BOX_COX = "normal", "Box-Cox"


@dataclass(frozen=True, slots=True)
class Found:
    """What was computed. labels: of the samples in time order; texts: values as typed, sample by sample.

    usual: by the normal model, with the chart that judges stability. other: by the distribution that was asked for, None for normal.
    """

    characteristic: str
    unit: str
    labels: tuple[str, ...]
    texts: tuple[tuple[str, ...], ...]
    values: tuple[float, ...]
    low: Decimal | None
    high: Decimal | None
    limits_from: str
    usual: Capability
    other: PercentileCapability | BoxCoxCapability | None
    asked: str
    tests: tuple[NormalityTest, ...]
    fits: Fits
    required: Decimal | None
    alpha: float = 0.05

    @property
    def normal_doubtful(self) -> bool:
        return any(test.p_value < self.alpha for test in self.tests)


def answer(found: Found) -> Analysis:
    judged = _judged_index(found)
    met = None if found.required is None else judged.value >= float(found.required)
    outcome = {True: "conforms", False: "does not conform", None: "undecided"}[met]
    told = _("{name} {value}").format(name=judged.name, value=figure(judged.value))
    word = {
        True: _("{told}, at least {required}").format(told=told, required=found.required),
        False: _("{told}, below {required}").format(told=told, required=found.required),
        None: told,
    }[met]
    if found.usual.stable is False:
        outcome, word = "undecided", _("the process was not stable; {told} describes the past only").format(told=told)
    elif found.asked == NORMAL and found.normal_doubtful and met:
        outcome, word = "undecided", _("{told}, but the values are hardly normal: say which distribution fits").format(told=told)
    return Analysis(outcome, word, (_stability(found), _indices(found), _shape(found), _outside(found)), _content(found))


def _judged_index(found: Found) -> Index:
    """The smaller one of the model asked for: Ppk by a fitted distribution, Cpk where the short-term scatter is known, else Ppk."""
    if isinstance(found.other, PercentileCapability):
        return found.other.ppk
    usual = found.other.transformed if isinstance(found.other, BoxCoxCapability) else found.usual
    index = usual.cpk or usual.ppk
    if index is None:
        raise ValueError("there is no limit to hold an index against")
    return index


# --- Stability -------------------------------------------------------------------------------------------------------------------


def _stability(found: Found) -> Section:
    usual = found.usual
    marked = [
        Signalled(panel, int(point), signals.rule.code.partition(".")[2], rule_words(signals.rule))
        for panel, row in enumerate(usual.signals)
        for signals in row
        for point in signals.at
    ]
    stable = usual.stable
    points = len({(one.panel, one.point) for one in marked})
    facts = [
        Fact(
            _("Stability"),
            _("{count} points signal").format(count=points) if stable is not None else "–",
            outcome={True: "conforms", False: "does not conform", None: "undecided"}[stable],
            word={True: _("stable"), False: _("not stable"), None: _("order not known")}[stable],
        ),
        Fact(_("Samples"), str(len(found.texts))),
        Fact(_("Values"), str(usual.n)),
    ]
    intro = {
        True: _("No point of the values' own chart signals by Nelson's rules 1 to 4."),
        False: _("The process was not stable: the indices below describe these values, they promise nothing. Look for the causes first."),
        None: _("There are too few samples for a chart: whether the process was stable is not known."),
    }[stable]
    figures: tuple[Figure, ...] = ()
    if usual.chart is not None:
        per_sample = usual.chart.count == len(found.labels)
        labels = found.labels if per_sample else tuple(str(number + 1) for number in range(usual.chart.count))
        svg = control_chart(
            usual.chart,
            title=_("In time order, on limits from the values themselves"),
            unit=found.unit,
            labels=tuple(str(n + 1) for n in range(usual.chart.count)),
            tips=labels,
            signals=marked,
            words=chart_words(),
            width=860,
        )
        told = tuple((label, " ".join(texts)) for label, texts in zip(found.labels, found.texts, strict=True))
        data = Table(_("Values in time order"), (Column(_("Sample"), figure=False), Column(f"{_('Values')}, {found.unit}")), told)
        figures = (Figure(_("Control chart"), svg, "", data),)
    tables: tuple[Table, ...] = ()
    if marked:
        rules = {signals.rule.code: signals.rule for row in usual.signals for signals in row if len(signals)}
        counts = {code: sum(len(s) for row in usual.signals for s in row if s.rule.code == code) for code in rules}
        rows = tuple((rule_name(code), rule_words(rule), str(counts[code])) for code, rule in rules.items())
        tables = (
            Table(_("What signals"), (Column(_("Rule"), figure=False), Column(_("Looks for"), figure=False), Column(_("Points"))), rows),
        )
    return Section(_("Stability"), intro, facts=tuple(facts), figures=figures, tables=tables)


# --- Indices ---------------------------------------------------------------------------------------------------------------------


def _index(index: Index, sigma: str, required: Decimal | None = None) -> Fact:
    notes = [sigma] if sigma else []
    if index.interval and index.interval.low is not None and index.interval.high is not None:
        notes.append(
            _("{confidence} % interval {low} to {high} ({method})").format(
                confidence=figure(100 * index.interval.confidence),
                low=figure(index.interval.low),
                high=figure(index.interval.high),
                method=index.interval.method,
            )
        )
    if index.bound and index.bound.low is not None:
        kind = _("exact") if index.bound.exact else index.bound.method
        notes.append(_("at least {low} ({kind})").format(low=figure(index.bound.low), kind=kind))
    judged = {}
    if required is not None:
        met = index.value >= float(required)
        word = (_("at least {required}") if met else _("below {required}")).format(required=required)
        judged = {"outcome": "conforms" if met else "does not conform", "word": word}
    return Fact(index.name, figure(index.value), note="; ".join(notes), **judged)


def _indices(found: Found) -> Section:
    judged, facts, notes = _judged_index(found).name, [], []
    required = found.required if found.usual.stable is not False else None
    if isinstance(found.other, PercentileCapability):
        other = found.other
        facts = [
            _index(index, _("percentiles of the fitted distribution"), required if index.name == judged else None)
            for index in (other.pp, other.ppl, other.ppu, other.ppk)
            if index is not None
        ]
        facts += [
            Fact(_("0.135 % point"), figure(other.low, 6), found.unit),
            Fact(_("Median"), figure(other.middle, 6), found.unit),
            Fact(_("99.865 % point"), figure(other.high, 6), found.unit),
        ]
        name = str(other.fit.family) if other.fit else _("the values themselves")
        notes.append(_("By percentiles of: {name} (ISO 22514-2, from memory). It was named when the study was opened.").format(name=name))
    else:
        usual = found.usual
        if isinstance(found.other, BoxCoxCapability):
            usual, box = found.other.transformed, found.other
            facts.append(
                Fact(
                    _("Power of the transformation"),
                    figure(box.used),
                    note=_("interval {low} to {high}").format(low=figure(box.power.low), high=figure(box.power.high)),
                )
            )
            notes.append(_("Values and limits transformed by Box and Cox; the indices are those of the transformed values."))
        within = _("sigma by {method}").format(method=usual.within.by) if usual.within else ""
        overall = _("overall standard deviation")
        short = {"Cp", "Cpl", "Cpu", "Cpk"}
        facts += [
            _index(index, within if index.name in short else overall, required if index.name == judged else None) for index in usual.indices
        ]
    usual = found.usual
    facts += [
        Fact(_("Mean"), figure(usual.mean, 7), found.unit),
        Fact(_("Overall standard deviation"), figure(usual.overall.value), found.unit),
    ]
    if usual.within is not None:
        facts.append(Fact(_("Short-term standard deviation"), figure(usual.within.value), found.unit, note=str(usual.within.by)))
    ends = ((found.low, _("Lower limit")), (found.high, _("Upper limit")))
    facts += [Fact(word, f"{end:f}", found.unit, note=found.limits_from) for end, word in ends if end is not None]
    if usual.thin:
        notes.append(_("Fewer than 30 values: an index stands only with its interval (common practice)."))
    return Section(_("Indices"), facts=tuple(facts), notes=tuple(notes))


# --- Shape and what lies outside -------------------------------------------------------------------------------------------------


def _model(found: Found) -> Fit | None:
    if isinstance(found.other, PercentileCapability):
        return found.other.fit
    return next((fit for fit in found.fits.fitted if fit.family is Family.NORMAL), None)


def _levels(found: Found) -> list[Level]:
    ends = ((found.low, _("lower limit")), (found.high, _("upper limit")))
    return [Level(end, word) for end, word in ends if end is not None]


def _step(texts: Sequence[str]) -> float | None:
    decimals = [len(text.partition(".")[2]) for text in texts]
    return float(10.0 ** -max(decimals)) if decimals and max(decimals) < 9 else None


def _shape(found: Found) -> Section:
    facts = []
    for test in found.tests:
        met = test.p_value >= found.alpha
        facts.append(
            Fact(
                test.name,
                figure(test.statistic),
                outcome="conforms" if met else "does not conform",
                word=_("no sign against normal") if met else _("hardly normal"),
                note=_("p = {p}").format(p=figure(test.p_value, 3)),
            )
        )
    axis, values = Axis(found.characteristic, found.unit), np.array(found.values)
    model, fits = _model(found), []
    if model is not None:
        reach = float(values.max() - values.min()) * 0.25
        at = np.linspace(float(values.min()) - reach, float(values.max()) + reach, 121)
        density = np.nan_to_num(model.density(at), nan=0.0, posinf=0.0)
        fits = [Curve(at.tolist(), density.tolist(), str(model.family))]
    bins = histogram(values, resolution=_step([text for texts in found.texts for text in texts]))
    drawn = histogram_chart(bins, x=axis, title=_("How the values lie"), count_word=_("values"), uprights=_levels(found), fits=fits)
    counts = tuple(
        (f"{figure(low, 6)} – {figure(high, 6)}", str(count))
        for low, high, count in zip(bins.edges.tolist(), bins.edges.tolist()[1:], bins.counts.tolist(), strict=False)
    )
    data = Table(_("Values by class"), (Column(f"{_('Class')}, {found.unit}", figure=False), Column(_("Values"))), counts)
    plot = probability_chart(
        probability_plot(values),
        x=axis,
        title=_("Normal probability plot"),
        share_word=_("share below, %"),
        line_word=_("normal"),
        band_word=_("95 % of the values of a normal sample lie in the band"),
        uprights=_levels(found),
    )
    ranked = tuple(
        (str(fit.family), figure(fit.a_squared), "–" if fit.p_value is None else figure(fit.p_value, 3), figure(fit.aic, 5))
        for fit in found.fits.fitted
    )
    heads = (Column(_("Distribution"), figure=False), Column("A²"), Column("p"), Column("AIC"))
    tables = (Table(_("Distributions, the best fit first"), heads, ranked),) if ranked else ()
    notes = [f"{why.family}: {why.reason}" for why in found.fits.refused]
    notes.append(_("None is chosen by itself: a distribution follows from how the value comes about, not from the fit alone."))
    note = _("Points outside the band speak against the normal distribution; each has 5 % of doing so by chance.")
    return Section(
        _("Shape of the values"),
        facts=tuple(facts),
        figures=(Figure(_("Histogram with limits and fit"), drawn, "", data), Figure(_("Probability plot"), plot, note)),
        tables=tables,
        notes=tuple(notes),
    )


def _outside(found: Found) -> Section:
    other = found.other
    expected = other.expected_ppm if isinstance(other, PercentileCapability) else found.usual.expected_ppm
    if isinstance(other, BoxCoxCapability):
        expected = other.transformed.expected_ppm
    rows = [(_("counted among {n}").format(n=found.usual.n), *_ends(found.usual.observed, 0))]
    if expected is not None:
        rows.append((_("expected, ppm, overall"), *_ends(expected, 1)))
    if other is None and found.usual.expected_within_ppm is not None:
        rows.append((_("expected, ppm, short-term"), *_ends(found.usual.expected_within_ppm, 1)))
    heads = (Column(_("Pieces"), figure=False), Column(_("below")), Column(_("above")), Column(_("in all")))
    note = _("ppm: pieces in a million, by the distribution named above; far beyond what these values can show.")
    return Section(_("Outside the limits"), tables=(Table(_("Pieces outside the limits"), heads, tuple(rows)),), notes=(note,))


def _ends(outside: Outside, places: int) -> tuple[str, str, str]:
    def told(value: float | None) -> str:
        return "–" if value is None else f"{value:.{places}f}" if value >= 0.05 or value == 0 else figure(value, 2)

    return told(outside.below), told(outside.above), told(outside.total)


def _content(found: Found) -> dict[str, Any]:
    usual, other = found.usual, found.other
    content: dict[str, Any] = {
        "values": usual.n,
        "samples": len(found.texts),
        "mean": exact(usual.mean),
        "s_overall": exact(usual.overall.value),
        "s_within": exact(usual.within.value) if usual.within else "",
        "s_within_by": str(usual.within.by) if usual.within else "",
        "low": exact(found.low),
        "high": exact(found.high),
        "limits_from": found.limits_from,
        "distribution": found.asked,
        "stable": {True: "yes", False: "no", None: "not known"}[usual.stable],
        "signals": usual.signal_count,
        "indices_normal": [_index_text(index) for index in usual.indices],
        "normality": [{"test": t.name, "statistic": exact(t.statistic), "p": exact(t.p_value)} for t in found.tests],
        "fits": [{"distribution": str(f.family), "a_squared": exact(f.a_squared), "aic": exact(f.aic)} for f in found.fits.fitted],
        "expected_ppm": exact(usual.expected_ppm.total),
        "counted_outside": percent(usual.observed.total),
    }
    if isinstance(other, PercentileCapability):
        content["indices"] = [_index_text(i) for i in (other.pp, other.ppl, other.ppu, other.ppk) if i is not None]
        content["percentiles"] = [exact(other.low), exact(other.middle), exact(other.high)]
        content["parameters"] = {name: exact(value) for name, value in other.fit.parameters} if other.fit else {}
    if isinstance(other, BoxCoxCapability):
        content["power"] = exact(other.used)
        content["indices"] = [_index_text(index) for index in other.transformed.indices]
    return content


def _index_text(index: Index) -> dict[str, str]:
    around = index.interval
    return {
        "name": index.name,
        "value": exact(index.value),
        "low": exact(around.low) if around else "",
        "high": exact(around.high) if around else "",
    }
