"""What was rejected: scrap per batch, rejected visual findings per sample, and the causes in order of their number."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any

from django.db.models import Count, F, Q, QuerySet
from django.db.models.functions import TruncDate
from django.utils import timezone
from django.utils.translation import gettext as _

from inspection.models import Batch, BatchStatus, Hold, PullTest, Reading, Sample, SampleState, VisualFinding
from inspection.process.attributes import p_chart, u_chart
from inspection.process.chart import Chart
from inspection.process.run_rules import Rule, chart_signals, nelson
from inspection.spc import TooFew
from shop.characteristics import Characteristic

MOST = 300
"""Batches or days on a chart, the newest."""

RULES: tuple[Rule, ...] = nelson(1, 2)
"""Rules on these charts: beyond a limit, and nine on one side."""

FAILED = "does not conform"


@dataclass(frozen=True, slots=True)
class Asked:
    """Which part of production is looked at; empty texts for all of it. since, until: a stretch of time, until exclusive."""

    tool: str
    terminal: str
    job: str
    since: datetime
    until: datetime

    def within(self, to_batch: str) -> Q:
        """The filter, from a row whose way to its batch is `to_batch` ("sample__batch__")."""
        of = f"{to_batch}termination__"
        told = Q()
        for name, column in (("tool", "tool__asset_number"), ("terminal", "terminal__part_number"), ("job", "sheet__job__number")):
            if text := getattr(self, name):
                told &= Q(**{f"{of}{column}": text})
        return told


def asked(query: Mapping[str, str], today: date) -> Asked:
    """Read from an address; ninety days back where no time is named."""

    def day(name: str, usual: date) -> date:
        try:
            return date.fromisoformat(query.get(name, ""))
        except ValueError:
            return usual

    since, until = day("since", today - timedelta(days=90)), day("until", today) + timedelta(days=1)
    zone = timezone.get_default_timezone()
    begin, end = (timezone.make_aware(datetime(d.year, d.month, d.day), zone) for d in (since, until))  # noqa: DTZ001  # made aware here
    named = {name: query.get(name, "").replace("\0", "").strip() for name in ("tool", "terminal", "job")}
    return Asked(named["tool"], named["terminal"], named["job"], begin, end)


@dataclass(frozen=True, slots=True)
class Counted:
    """A chart of counts. labels: of its points; found, of: how many of how many; signals: (point, code of the rule).

    chart: None where there are too few points, or nothing to count.
    """

    labels: tuple[str, ...]
    found: tuple[int, ...]
    of: tuple[int, ...]
    chart: Chart | None
    signals: tuple[tuple[int, str], ...]


def _counted(labels: Sequence[str], found: Sequence[int], of: Sequence[int], kind: Any) -> Counted:
    chart = None
    if len(found) >= 2:
        try:
            chart = kind([float(n) for n in found], [float(n) for n in of])
        except TooFew:
            chart = None
    signals = () if chart is None else tuple((int(p), s.rule.code) for s in chart_signals(chart, RULES)[0] for p in s.at)
    return Counted(tuple(labels), tuple(found), tuple(of), chart, signals)


def scrap(ask: Asked) -> Counted:
    """Scrapped pieces of each closed batch, in the order of closing: the newest `MOST`."""
    rows = Batch.objects.filter(ask.within(""), status=BatchStatus.CLOSED, closed_at__gte=ask.since, closed_at__lt=ask.until, made__gt=0)
    newest = list(rows.order_by("-closed_at", "-pk").values_list("number", "scrap", "made")[:MOST])
    newest.reverse()
    return _counted([n for n, _s, _m in newest], [s or 0 for _n, s, _m in newest], [m or 0 for _n, _s, m in newest], p_chart)


def findings(ask: Asked) -> Counted:
    """Rejected visual findings a sample, day by day: the newest `MOST` days with samples."""
    zone = timezone.get_default_timezone()
    of = Sample.objects.filter(ask.within("batch__"), taken_at__gte=ask.since, taken_at__lt=ask.until).exclude(state=SampleState.OPEN)
    samples = dict(_by_day(of, "taken_at", zone))
    rejected = VisualFinding.objects.standing().filter(ask.within("sample__batch__"), accepted=False)
    rejected = rejected.filter(sample__taken_at__gte=ask.since, sample__taken_at__lt=ask.until).exclude(sample__state=SampleState.OPEN)
    found = dict(_by_day(rejected, "sample__taken_at", zone))
    days = sorted(samples)[-MOST:]
    return _counted([f"{day:%Y-%m-%d}" for day in days], [found.get(day, 0) for day in days], [samples[day] for day in days], u_chart)


def _by_day(rows: QuerySet[Any], column: str, zone: Any) -> list[tuple[date, int]]:
    return list(rows.order_by().annotate(day=TruncDate(column, tzinfo=zone)).values("day").annotate(n=Count("pk")).values_list("day", "n"))


@dataclass(frozen=True, slots=True)
class Cause:
    """What was rejected, how often. share, cumulative: of all, in percent, in the order of the list."""

    kind: str
    name: str
    count: int
    share: float
    cumulative: float


def causes(ask: Asked) -> tuple[Cause, ...]:
    """Everything that was rejected, the most frequent first. Four questions to the database."""
    taken = Q(sample__taken_at__gte=ask.since, sample__taken_at__lt=ask.until) & ask.within("sample__batch__")
    counted: list[tuple[str, str, int]] = []
    for name, n in _grouped(VisualFinding.objects.standing().filter(taken, accepted=False), "criterion"):
        counted.append((_("visual"), name, n))
    for name, n in _grouped(Reading.objects.standing().filter(taken, outcome=FAILED), "characteristic"):
        label = str(Characteristic(name).label) if name in Characteristic.values else name
        counted.append((_("out of limits"), label, n))
    for name, n in _grouped(PullTest.objects.standing().filter(taken, outcome=FAILED), "mode"):
        counted.append((_("pull test"), name, n))
    held = Hold.objects.filter(ask.within("batch__"), raised_at__gte=ask.since, raised_at__lt=ask.until)
    for name, n in _grouped(held, "reason"):
        counted.append((_("hold"), name, n))
    counted.sort(key=lambda each: (-each[2], each[0], each[1]))
    total, running, listed = sum(n for _k, _n, n in counted), 0, []
    for kind, name, n in counted:
        running += n
        listed.append(Cause(kind, name, n, 100 * n / total, 100 * running / total))
    return tuple(listed)


def _grouped(rows: QuerySet[Any], column: str) -> list[tuple[str, int]]:
    return list(rows.order_by().values(of=F(column)).annotate(n=Count("pk")).values_list("of", "n"))
