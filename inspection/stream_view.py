"""One stream as a page, a file and the API show it: its samples, the chart on frozen or provisional limits, what signals, the drawings."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from decimal import Decimal, InvalidOperation
from typing import Protocol

import numpy as np
from django.utils import timezone
from django.utils.translation import gettext as _

from inspection.acts.control import RULES, USUAL_RULES, in_force
from inspection.control import ChartSignal, ControlLimits
from inspection.models import Batch
from inspection.plan import limits_of
from inspection.process.chart import ChartLimits, NotControlLimits
from inspection.process.run_rules import Pattern, Rule, chart_signals, rules_from_text
from inspection.process.short_run import UnknownPart
from inspection.run_rule_words import rule_name, rule_words
from inspection.spc import NotFinite, TooFew
from inspection.streams import KIND_OF, SHORT_RUN_CHARTS, Stream, StreamChart, StreamSample, stream_chart, stream_samples
from inspection.verdict import Limits
from shop.characteristics import Characteristic
from shop.clock import shop_day
from shop.crib import WearPart
from shop.finding import Finding, misfit
from shop.jobs import ChartKind, Termination
from shop.materials import Terminal
from shop.plan_lines import plan_lines
from shop.tools import Tool

COUNTS = (25, 50, 100, 250, 1000, 5000)
"""How many of the newest samples a page offers to show."""

USUAL_COUNT = 100

MEMORY = (ChartKind.EWMA.value, ChartKind.CUSUM.value)
"""Charts whose points carry the past: on frozen limits they begin when those came into force."""


class Query(Protocol):
    """The part of a request's query that is asked for here."""

    def get(self, key: str, default: str, /) -> str | None: ...
    def getlist(self, key: str, /) -> list[str]: ...


@dataclass(frozen=True, slots=True)
class Asked:
    """What an address asks to see. kind: empty for the usual one; rules: codes, empty for the usual four; most: newest samples."""

    stream: Stream
    kind: str
    rules: tuple[str, ...]
    most: int
    since: datetime | None
    until: datetime | None
    batch: Batch | None


def stream_asked(query: Mapping[str, str]) -> Stream | None:
    """The stream that tool, terminal, csa and characteristic name; None where there is no such thing."""
    tool = Tool.objects.filter(asset_number=query.get("tool", "").replace("\0", "")).first()
    characteristic = query.get("characteristic") or Characteristic.CRIMP_HEIGHT.value
    if tool is None or characteristic not in Characteristic.values:
        return None
    part = query.get("terminal", "").replace("\0", "")
    if not part:
        return Stream(tool, None, None, characteristic)
    terminal = Terminal.objects.filter(part_number=part).first()
    try:
        csa = Decimal(query.get("csa", ""))
    except InvalidOperation:
        return None
    if terminal is None or not csa.is_finite() or not 0 < csa < 10000:
        return None
    return Stream(tool, terminal, csa, characteristic)


def asked(query: Query) -> Asked | None:
    """What the query of an address asks for; None where it names no stream. What cannot be read is left at the usual."""
    plain = {name: query.get(name, "") or "" for name in ("tool", "terminal", "csa", "characteristic")}
    stream = stream_asked(plain)
    if stream is None:
        return None
    batch = Batch.objects.filter(number=query.get("batch", "")).first() if query.get("batch", "") else None
    kind = query.get("chart", "") or ""
    known = SHORT_RUN_CHARTS if stream.is_short_run else tuple(KIND_OF)
    text = query.get("last", "") or ""
    most = int(text) if text.isascii() and text.isdigit() and len(text) < 6 else 0
    return Asked(
        stream=stream,
        kind=kind if kind in known else "",
        rules=tuple(code for code in RULES if code in query.getlist("rule")),
        most=min(max(most, 0), COUNTS[-1]) or (COUNTS[-1] if batch else USUAL_COUNT),
        since=_time(query.get("since", ""), end=False),
        until=_time(query.get("until", ""), end=True),
        batch=batch,
    )


def _time(text: str | None, *, end: bool) -> datetime | None:
    """A day of the shop, from its beginning or to its end, or a moment with its zone."""
    if not text:
        return None
    try:
        at = datetime.fromisoformat(text)
    except ValueError:
        return None
    if len(text) == 10:
        day = date.fromisoformat(text) + timedelta(days=1 if end else 0)
        return timezone.make_aware(datetime.combine(day, time()), timezone.get_default_timezone())
    return at if at.tzinfo else timezone.make_aware(at, timezone.get_default_timezone())


# --- Reading it ------------------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Shown:
    """A signal as it is listed. place: of the chart's shared axis; number: of the rule. recorded: its row, None on provisional limits."""

    panel: int
    point: int
    place: int
    sample: str
    at: datetime
    code: str
    name: str
    words: str
    of: str
    recorded: ChartSignal | None


@dataclass(frozen=True, slots=True)
class StreamView:
    """limits: in force for this stream, whether the chart stands on them or not (`frozen`). drawn: None with the reason in `why_not`.

    specification: of the newest sheet; changed: whether an older sample among those shown was made to other limits.
    left_out: samples of parts that the frozen short-run limits do not know.
    """

    asked: Asked
    kind: str
    limits: ControlLimits | None
    frozen: bool
    rules: tuple[Rule, ...]
    samples: tuple[StreamSample, ...]
    drawn: StreamChart | None
    why_not: Finding | None
    signals: tuple[Shown, ...]
    specification: Limits | None
    left_out: int
    wear: tuple[tuple[date, str], ...]

    @property
    def stream(self) -> Stream:
        return self.asked.stream

    @property
    def values(self) -> list[float]:
        return [one.value for sample in self.samples for one in sample.values]


def stream_view(ask: Asked) -> StreamView:
    """Everything about one stream. A fixed number of questions to the database, however many samples."""
    stream = ask.stream
    limits = in_force(stream)
    newest = _newest_termination(stream, ask.batch)
    kind = ask.kind or (limits.chart if limits else _planned_kind(stream, newest))
    frozen = limits is not None and limits.chart == kind
    since = ask.since
    if frozen and limits and kind in MEMORY:
        since = max(since, limits.frozen_at) if since else limits.frozen_at
    samples = stream_samples(stream, since=since, until=ask.until, most=ask.most, batch=ask.batch)
    of_limits = ChartLimits.from_text(limits.limits) if frozen and limits else None
    left_out = 0
    if of_limits and stream.is_short_run:
        known = {part.part for part in of_limits.parts}
        kept = [sample for sample in samples if sample.part in known]
        left_out, samples = len(samples) - len(kept), kept
    rules = rules_from_text(limits.rules) if frozen and limits else tuple(RULES[code] for code in ask.rules or USUAL_RULES)
    drawn, why_not = _chart(samples, kind, of_limits, short_run=stream.is_short_run)
    if drawn is None:
        signals: list[Shown] = []
    else:
        signals = _recorded(drawn, limits, rules) if frozen and limits else _computed(drawn, rules)
    return StreamView(
        asked=ask,
        kind=kind,
        limits=limits,
        frozen=frozen,
        rules=rules,
        samples=tuple(samples),
        drawn=drawn,
        why_not=why_not,
        signals=tuple(signals),
        specification=limits_of(newest, stream.characteristic) if newest and not stream.is_short_run else None,
        left_out=left_out,
        wear=_wear(stream, samples),
    )


def _newest_termination(stream: Stream, batch: Batch | None) -> Termination | None:
    if batch is not None:
        return Termination.objects.prefetch_related("plan_lines").filter(pk=batch.termination_id).first()
    rows = Batch.objects.filter(termination__tool=stream.tool)
    if stream.terminal is not None and stream.csa_mm2 is not None:
        rows = rows.filter(termination__terminal=stream.terminal, termination__csa_mm2=stream.csa_mm2)
    newest = rows.order_by("-opened_at", "-pk").values_list("termination", flat=True).first()
    return Termination.objects.prefetch_related("plan_lines").filter(pk=newest).first() if newest else None


def _planned_kind(stream: Stream, t: Termination | None) -> str:
    """The chart that the inspection plan asks for, single values where it asks for none."""
    planned = next((line.chart for line in plan_lines(t) if line.characteristic == stream.characteristic), "") if t else ""
    known = SHORT_RUN_CHARTS if stream.is_short_run else tuple(KIND_OF)
    return planned if planned in known else ChartKind.INDIVIDUALS.value


def _chart(
    samples: Sequence[StreamSample], kind: str, limits: ChartLimits | None, *, short_run: bool
) -> tuple[StreamChart | None, Finding | None]:
    if not samples:
        return None, None
    try:
        return stream_chart(samples, kind, limits, short_run=short_run), None
    except TooFew as error:
        return None, misfit("control.too_few", "", given=error.given, needed=error.needed)
    except (NotFinite, NotControlLimits, UnknownPart, ValueError) as error:
        return None, misfit("study.impossible", "", why=str(error))


def _wear(stream: Stream, samples: Sequence[StreamSample]) -> tuple[tuple[date, str], ...]:
    """Wear parts that went into the tool while these samples were taken."""
    if not samples:
        return ()
    first, last = shop_day(samples[0].at), shop_day(samples[-1].at)
    rows = WearPart.objects.filter(tool=stream.tool, fitted_on__gt=first, fitted_on__lte=last).order_by("fitted_on", "pk")
    return tuple((row.fitted_on, str(row.get_kind_display())) for row in rows[:50])


# --- Signals ---------------------------------------------------------------------------------------------------------------------


def _computed(drawn: StreamChart, rules: Sequence[Rule]) -> list[Shown]:
    found = []
    for panel, by_rule in enumerate(chart_signals(drawn.chart, rules)):
        of = drawn.chart.panels[panel]
        for signals in by_rule:
            for point in signals.at.tolist():
                found.append(_shown(drawn, panel, point, of.name, signals.rule, None))
    return sorted(found, key=lambda each: (each.place, each.panel, each.code))


def _recorded(drawn: StreamChart, limits: ControlLimits, rules: Sequence[Rule]) -> list[Shown]:
    """The signals that were raised, each at the point of its sample that completed it."""
    by_code = {rule.code: rule for rule in rules}
    first = drawn.samples[0]
    rows = ChartSignal.objects.filter(limits=limits, sample__taken_at__gte=first.at).select_related("reaction__by", "sample__batch")
    index = {sample.pk: number for number, sample in enumerate(drawn.samples)}
    points: dict[int, list[int]] = {}
    for place, number in enumerate(drawn.places):
        points.setdefault(number, []).append(place)
    found = []
    for row in rows:
        rule = by_code.get(row.rule)
        if row.sample_id not in index or rule is None:
            continue
        panel, point = _point_of(drawn, row.panel, rule, points.get(index[row.sample_id], []))
        if panel >= 0:
            found.append(_shown(drawn, panel, point, drawn.chart.panels[panel].name, rule, row))
    return sorted(found, key=lambda each: (each.place, each.panel, each.code))


def _point_of(drawn: StreamChart, place: str, rule: Rule, own: Sequence[int]) -> tuple[int, int]:
    """Panel and point of a recorded signal: the point of its sample beyond a limit, or its last one."""
    last = (-1, -1)
    for number, panel in enumerate(drawn.chart.panels):
        if str(panel.place) != place or not own:
            continue
        mine = np.flatnonzero((panel.samples >= own[0]) & (panel.samples <= own[-1]))
        if not mine.size:
            continue
        if rule.pattern is Pattern.LIMIT:
            beyond = np.zeros(mine.size, dtype=np.bool_)
            if panel.low is not None:
                beyond |= panel.points[mine] < panel.low[mine]
            if panel.high is not None:
                beyond |= panel.points[mine] > panel.high[mine]
            if beyond.any():
                return number, int(mine[beyond][-1])
        last = (number, int(mine[-1]))
    return last


PANELS = (
    "mean",
    "range",
    "standard deviation",
    "value",
    "moving range",
    "weighted mean",
    "upper sum",
    "lower sum",
    "deviation",
    "share",
    "rate",
)
"""The names that the computation gives to panels."""


def panel_name(name: str) -> str:
    """What a panel shows, in the page's language."""
    return {
        "mean": _("mean"),
        "range": _("range"),
        "standard deviation": _("standard deviation"),
        "value": _("value"),
        "moving range": _("moving range"),
        "weighted mean": _("weighted mean"),
        "upper sum": _("upper sum"),
        "lower sum": _("lower sum"),
        "deviation": _("deviation from nominal"),
        "share": _("share"),
        "rate": _("findings per sample"),
    }.get(name, name)


def _shown(drawn: StreamChart, panel: int, point: int, of: str, rule: Rule, row: ChartSignal | None) -> Shown:
    place = int(drawn.chart.panels[panel].samples[point])
    sample = drawn.samples[drawn.places[place]]
    return Shown(panel, point, place, sample.label, sample.at, rule.code, rule_name(rule.code), rule_words(rule), panel_name(of), row)
