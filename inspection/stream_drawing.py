"""The drawings of a stream: its control chart and its histogram, with words, and what stands in front of which point."""

from __future__ import annotations

from collections.abc import Sequence
from statistics import NormalDist
from typing import overload

import numpy as np
from django.utils.text import capfirst
from django.utils.translation import gettext as _

from inspection.drawing.control import ControlWords, Signalled, control_chart
from inspection.drawing.distribution import histogram_chart
from inspection.drawing.primitives import Axis, Level
from inspection.drawing.scatter import Curve
from inspection.models import SampleKind
from inspection.process.histogram import histogram
from inspection.process.readings import mean_and_deviation
from inspection.process.runs import RunsTest, runs_test
from inspection.spc import NotFinite, TooFew
from inspection.stream_view import PANELS, StreamView, panel_name
from inspection.streams import Stream, StreamChart, StreamSample
from inspection.verdict import Limits
from shop.characteristics import Characteristic
from shop.clock import shop_day
from shop.jobs import ChartKind
from shop.templatetags.shop import moment


def words() -> ControlWords:
    return ControlWords(
        high=_("upper control"),
        low=_("lower control"),
        center=_("centre"),
        empty=_("No samples yet"),
        signal=_("signals rule {number}:"),
        outside=_("outside the specification"),
        described=_("{count} points, {signals} of them signal."),
        names={name: panel_name(name) for name in PANELS},
    )


def title_of(stream: Stream) -> str:
    """ "crimp height, AP-031, T-250-F on 0.75 mm²"."""
    of = str(Characteristic(stream.characteristic).label)
    if stream.terminal is None:
        return _("{characteristic}, {tool}, every terminal").format(characteristic=of, tool=stream.tool.asset_number)
    csa = "" if stream.csa_mm2 is None else f"{stream.csa_mm2.normalize():f}"
    return f"{of}, {stream.tool.asset_number}, {stream.terminal.part_number}, {csa} mm²"


class Tips(Sequence[str]):
    """What each place of the axis is: its sample, what kind, at which piece, and when. Worded when asked for: a long chart draws few."""

    def __init__(self, drawn: StreamChart) -> None:
        self.drawn = drawn
        self.kinds = {str(value): str(label) for value, label in SampleKind.choices}

    def __len__(self) -> int:
        return len(self.drawn.places)

    @overload
    def __getitem__(self, place: int) -> str: ...
    @overload
    def __getitem__(self, place: slice) -> Sequence[str]: ...
    def __getitem__(self, place: int | slice) -> str | Sequence[str]:
        if isinstance(place, slice):
            return [self[one] for one in range(*place.indices(len(self)))]
        s = self.drawn.samples[self.drawn.places[place]]
        return f"{s.label}, {self.kinds.get(s.kind, s.kind)}, {_('at piece')} {s.at_count}, {moment(s.at)}"


def labels_of(view: StreamView, drawn: StreamChart) -> list[str]:
    """Under the axis: pieces made within one batch, days across batches."""
    if view.asked.batch is not None:
        return [str(drawn.samples[number].at_count) for number in drawn.places]
    days = [f"{shop_day(sample.at):%m-%d}" for sample in drawn.samples]
    return [days[number] for number in drawn.places]


def changes_of(view: StreamView, drawn: StreamChart) -> list[tuple[int, str]]:
    """Set-ups, batches, wear parts and the moment from which limits are in force, in front of the first sample after them."""
    found: dict[int, list[str]] = {}
    first_place: dict[int, int] = {}
    for place, number in enumerate(drawn.places):
        first_place.setdefault(number, place)
    before: StreamSample | None = None
    wear = list(view.wear)
    frozen_at = view.limits.frozen_at if view.frozen and view.limits else None
    for number, sample in enumerate(drawn.samples):
        if number not in first_place:
            continue
        place = first_place[number]
        if before is not None:
            if sample.batch != before.batch:
                found.setdefault(place, []).append(sample.batch)
            elif sample.setup_number != before.setup_number:
                found.setdefault(place, []).append(_("set-up {number}").format(number=sample.setup_number))
            if frozen_at is not None and before.at <= frozen_at < sample.at:
                found.setdefault(place, []).append(_("limits in force"))
        while wear and wear[0][0] <= shop_day(sample.at):
            found.setdefault(place, []).append(_("new {part}").format(part=wear.pop(0)[1]))
        before = sample
    return [(place, ", ".join(told)) for place, told in sorted(found.items())]


def specification_levels(limits: Limits | None) -> list[Level]:
    if limits is None:
        return []
    ends = ((limits.high, _("upper limit")), (limits.low, _("lower limit")))
    return [Level(value, word, "limit") for value, word in ends if value is not None]


def drawn_chart(view: StreamView, *, focusable: bool = True, width: int = 960, with_specification: bool | None = None) -> str:
    """The control chart of a view. The specification is drawn where points are single values: means are not held against it."""
    drawn = view.drawn
    singles = view.kind == ChartKind.INDIVIDUALS.value and not view.stream.is_short_run
    limits = view.specification if (singles if with_specification is None else with_specification) else None
    outside: frozenset[int] = frozenset()
    if drawn and singles:
        flat = [one.outcome for sample in drawn.samples for one in sample.values]
        outside = frozenset(place for place, outcome in enumerate(flat) if outcome == "does not conform")
    return control_chart(
        drawn.chart if drawn else None,
        title=capfirst(title_of(view.stream)),
        unit=view.stream.unit,
        labels=labels_of(view, drawn) if drawn else (),
        tips=Tips(drawn) if drawn else (),
        signals=[Signalled(s.panel, s.point, s.code.partition(".")[2], s.words, s.code.startswith("western")) for s in view.signals],
        specification=specification_levels(limits),
        outside=outside,
        changes=changes_of(view, drawn) if drawn else (),
        focusable=focusable,
        words=words(),
        width=width,
    )


def resolution_of(texts: Sequence[str]) -> float | None:
    """The step of the readings as they were typed: the most decimals among them. None where they are not plain digits."""
    places = 0
    for text in texts:
        whole, _dot, decimals = text.replace(",", ".").partition(".")
        if not (whole.lstrip("+-") + decimals).isdigit():
            return None
        places = max(places, len(decimals))
    return float(10.0**-places) if texts else None


def drawn_histogram(view: StreamView) -> str:
    """All single values with the limits of the sheet and the normal curve of their mean and standard deviation."""
    stream, values = view.stream, view.values
    axis, title = Axis(str(Characteristic(stream.characteristic).label), stream.unit), _("How the values lie")
    if len(values) < 2:
        return histogram_chart(None, x=axis, title=title, empty=_("Too few values"))
    step = resolution_of([one.text for sample in view.samples for one in sample.values])
    center, sigma = mean_and_deviation(np.array(values))
    fits = []
    if sigma > 0:
        law = NormalDist(center, sigma)
        at = np.linspace(center - 4 * sigma, center + 4 * sigma, 81).tolist()
        fits.append(Curve(at, [law.pdf(x) for x in at], _("normal")))
    levels = specification_levels(view.specification)
    return histogram_chart(
        histogram(values, resolution=step), x=axis, title=title, count_word=_("values"), uprights=levels, fits=fits, width=620, height=290
    )


def runs_of(view: StreamView) -> RunsTest | None:
    """The runs test of the values in time order; None for fewer than ten, or where all lie on one side."""
    if len(view.values) < 10:
        return None
    try:
        return runs_test(view.values)
    except (TooFew, NotFinite):
        return None
