"""How the scatter of a process lies between its limits: from what the shop measured, or from values that are typed in."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date, datetime, time, timedelta
from decimal import Decimal
from typing import Any

from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from inspection.analysis import Analysis, Cell, Layout, LayoutRow
from inspection.models import Batch
from inspection.plan import limits_of
from inspection.process.box_cox import BoxCoxCapability, box_cox_capability
from inspection.process.capability import Specification, capability
from inspection.process.distributions import Family, fits
from inspection.process.normality import normality
from inspection.process.percentiles import PercentileCapability, percentile_capability
from inspection.process.sigma import Estimator
from inspection.streams import Stream, StreamSample, stream_samples
from inspection.study import Study
from inspection.study_kinds.capability_answer import BOX_COX, NORMAL, Found, answer
from inspection.study_kinds.kind import Collected, Parameter, StudyInput, StudyKind
from inspection.study_kinds.words import refused_as_findings
from shop.characteristics import Characteristic
from shop.finding import Refused, misfit

MOST = 2000
"""Samples that are taken over at most: a study signs every one of its values."""

_ESTIMATORS = {
    "usual": None,
    "range": Estimator.RANGE,
    "deviation": Estimator.DEVIATION,
    "pooled": Estimator.POOLED,
}


# --- Taking over ----------------------------------------------------------------------------------------------------------------


def _day(text: str, name: str, label: str, *, end: bool) -> datetime | None:
    if not text:
        return None
    try:
        day = date.fromisoformat(text)
    except ValueError as error:
        raise Refused([misfit("study.parameter", name, name=label, text=text, expected=_("a day such as 2026-03-31"))]) from error
    day += timedelta(days=1 if end else 0)
    return timezone.make_aware(datetime.combine(day, time()), timezone.get_default_timezone())


def layout(parameters: Mapping[str, Any], unit: str) -> Layout:
    """Nothing is typed: everything is taken over."""
    _span(parameters)
    _typed_limits(parameters)
    return Layout("", (), (), unit)


def _span(parameters: Mapping[str, Any]) -> tuple[datetime | None, datetime | None]:
    since = _day(parameters.get("since") or "", "since", _("Since"), end=False)
    return since, _day(parameters.get("until") or "", "until", _("Until"), end=True)


def collect(study: Study, parameters: Mapping[str, Any]) -> Sequence[Collected]:
    """The newest samples of the stream in the span, and the limits of the sheet that the newest was made to."""
    if study.tool is None or study.terminal is None:
        return []
    stream = Stream(study.tool, study.terminal, parameters["csa_mm2"], study.characteristic)
    since, until = _span(parameters)
    samples = stream_samples(stream, since=since, until=until, most=parameters["newest"])
    if not samples:
        return []
    found = [
        Collected(f"{number:05d}|{one.piece}|{order}", _plain(one.text, one.value), f"{sample.label}, {sample.at:%Y-%m-%dT%H:%M:%SZ}")
        for number, sample in enumerate(samples, start=1)
        for order, one in enumerate(sample.values)
    ]
    return [*_sheet_limits(samples, study.characteristic), *found]


def _plain(text: str, value: float) -> str:
    """What was typed where it was typed in the stored unit; else the stored value."""
    try:
        if abs(float(text.replace(",", ".")) - value) < 1e-9:
            return text
    except ValueError:
        pass
    return f"{Decimal(str(value)).normalize():f}"


def _sheet_limits(samples: Sequence[StreamSample], characteristic: str) -> list[Collected]:
    batch = Batch.objects.select_related("termination__sheet").get(number=samples[-1].batch)
    limits = limits_of(batch.termination, characteristic)
    if limits is None:
        return []
    source = _("sheet {sheet}").format(sheet=batch.termination.sheet)
    ends = (("limit|low", limits.low), ("limit|high", limits.high), ("limit|target", limits.nominal))
    return [Collected(place, f"{end:f}", source) for place, end in ends if end is not None]


# --- Analysis --------------------------------------------------------------------------------------------------------------------


def _typed_limits(parameters: Mapping[str, Any]) -> tuple[Decimal | None, Decimal | None]:
    low, high = parameters.get("low"), parameters.get("high")
    if low is not None and high is not None and not low < high:
        raise Refused([misfit("study.impossible", "low", why=_("The lower limit is not below the upper one."))])
    return low, high


def analyse(study: StudyInput) -> Analysis:
    p = study.parameters
    groups: dict[str, list[Decimal]] = {}
    for place in sorted(place for place in study.values if not place.startswith("limit|")):
        groups.setdefault(place.partition("|")[0], []).append(study.values[place])
    low, high = _typed_limits(p)
    source = _("typed")
    if low is None and high is None:
        low, high = study.values.get("limit|low"), study.values.get("limit|high")
        source = _("from the sheet")
    target = p.get("target")
    if target is None and source != _("typed"):
        target = study.values.get("limit|target")
    if low is None and high is None:
        raise Refused([misfit("study.impossible", "low", why=_("There is no limit to hold the values against: type one."))])
    labels = tuple(key.lstrip("0") for key in groups)
    return _computed(study, list(groups.values()), labels, (low, high, target), source)


def _computed(
    study: StudyInput,
    groups: list[list[Decimal]],
    labels: tuple[str, ...],
    limits: tuple[Decimal | None, Decimal | None, Decimal | None],
    source: str,
) -> Analysis:
    p, (low, high, target) = study.parameters, limits
    rows = [[float(value) for value in group] for group in groups]
    flat = [value for row in rows for value in row]
    single = all(len(row) == 1 for row in rows)
    data: list[float] | list[list[float]] = flat if single else rows
    confidence = float(p["confidence"]) / 100
    asked = p["distribution"]
    with refused_as_findings(_("capability")):
        stated = Specification(*(None if end is None else float(end) for end in (low, high, target)))
        within = None if single else _ESTIMATORS[p["sigma"]]
        usual = capability(data, stated, within=within, confidence=confidence)
        other: PercentileCapability | BoxCoxCapability | None = None
        if asked == BOX_COX:
            other = box_cox_capability(data, stated, within=within, confidence=confidence)
        elif asked != NORMAL:
            other = percentile_capability(flat, stated, Family(asked), confidence=confidence)
        ranked = fits(flat, _families(asked))
        tests = normality(flat)
    found = Found(
        characteristic=str(Characteristic(study.characteristic).label) if study.characteristic else "",
        unit=study.unit,
        labels=tuple(_("sample {number}").format(number=label) for label in labels),
        texts=tuple(tuple(f"{value:f}" for value in group) for group in groups),
        values=tuple(flat),
        low=low,
        high=high,
        limits_from=source,
        usual=usual,
        other=other,
        asked=asked,
        tests=tests,
        fits=ranked,
        required=p["required"],
    )
    return answer(found)


_PLAIN = (Family.NORMAL, Family.LOGNORMAL, Family.WEIBULL, Family.GAMMA, Family.FOLDED_NORMAL)


def _families(asked: str) -> tuple[Family, ...]:
    named = tuple(family for family in Family if str(family) == asked and family not in _PLAIN)
    return (*_PLAIN, *named)


# --- Typed in --------------------------------------------------------------------------------------------------------------------


def typed_layout(parameters: Mapping[str, Any], unit: str) -> Layout:
    _low, _high = _typed_limits(parameters)
    if _low is None and _high is None:
        raise Refused([misfit("study.parameter", "low", name=_("Lower limit"), text="", expected=_("at least one limit"))])
    pieces = parameters["pieces"]
    rows = tuple(
        LayoutRow(
            str(number),
            tuple(
                Cell(f"{number:05d}|{piece}", _("sample {number}, piece {piece}").format(number=number, piece=piece))
                for piece in range(1, pieces + 1)
            ),
        )
        for number in range(1, parameters["samples"] + 1)
    )
    return Layout(_("Sample"), tuple(_("Piece {piece}").format(piece=piece) for piece in range(1, pieces + 1)), rows, unit)


_CHOSEN = tuple((str(family), gettext_lazy("fitted: {family}").format(family=family)) for family in Family if family is not Family.NORMAL)

_COMMON = (
    Parameter(
        "sigma", gettext_lazy("Short-term sigma by"), "choice", "usual",
        choices=(
            ("usual", gettext_lazy("pooled s, or moving ranges of single values")),
            ("range", gettext_lazy("mean range over d2")),
            ("deviation", gettext_lazy("mean s over c4")),
            ("pooled", gettext_lazy("pooled s")),
        ),
    ),
    Parameter("target", gettext_lazy("Target"), required=False, help=gettext_lazy("For Cpm. Empty: the sheet's nominal.")),
    Parameter(
        "distribution", gettext_lazy("Distribution"), "choice", NORMAL,
        choices=((NORMAL, gettext_lazy("normal")), *_CHOSEN, (BOX_COX, gettext_lazy("Box-Cox transformation"))),
        help=gettext_lazy("It is never switched by itself. A value bounded on one side (a pull force, a gap) is often not normal."),
    ),
    Parameter("confidence", gettext_lazy("Confidence, %"), "number", "95", least=Decimal(50), most=Decimal("99.99")),
    Parameter(
        "required", gettext_lazy("Least index"), initial="1.33", required=False, least=Decimal("0.1"), most=Decimal(10),
        help=gettext_lazy("Cpk, or Ppk by a fitted distribution; 1.33 is common practice. Empty: nothing is judged."),
    ),
)  # fmt: skip

_LOW = Parameter("low", gettext_lazy("Lower limit"), required=False, help=gettext_lazy("Both empty: the limits of the sheet."))
_HIGH = Parameter("high", gettext_lazy("Upper limit"), required=False)

CAPABILITY = StudyKind(
    slug="capability",
    name=gettext_lazy("Capability of a process"),
    about=gettext_lazy("From what was measured at the press: stability, Cp and Cpk, Pp and Ppk with intervals, the shape of the values."),
    needs=frozenset({"tool", "terminal"}),
    characteristics=tuple(Characteristic.values),
    parameters=(
        Parameter("csa_mm2", gettext_lazy("Conductor area in the barrel, mm²"), least=Decimal("0.0001"), most=Decimal(1000)),
        Parameter("since", gettext_lazy("Since"), "text", required=False, help=gettext_lazy("A day such as 2026-03-31.")),
        Parameter("until", gettext_lazy("Until"), "text", required=False, help=gettext_lazy("That day included. Empty: until now.")),
        Parameter("newest", gettext_lazy("Newest samples, at most"), "count", "100", least=Decimal(2), most=Decimal(MOST)),
        _LOW,
        _HIGH,
        *_COMMON,
    ),
    layout=layout,
    analyse=analyse,
    collect=collect,
)  # fmt: skip

CAPABILITY_TYPED = StudyKind(
    slug="capability-typed",
    name=gettext_lazy("Capability from values typed in"),
    about=gettext_lazy("The same answer for values from elsewhere: a trial, a supplier, another machine."),
    needs=frozenset(),
    offers=frozenset({"tool", "terminal", "gauge"}),
    characteristics=tuple(Characteristic.values),
    parameters=(
        Parameter("samples", gettext_lazy("Samples"), "count", "25", least=Decimal(2), most=Decimal(500)),
        Parameter("pieces", gettext_lazy("Pieces in each"), "count", "5", least=Decimal(1), most=Decimal(25)),
        _LOW,
        _HIGH,
        *_COMMON,
    ),
    layout=typed_layout,
    analyse=analyse,
)
