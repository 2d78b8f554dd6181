"""What the tool crib has to look after on a day: overdue, due soon, out, worn, and what nobody planned. Read in one go for the page."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date

from django.db.models import Prefetch
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from shop.crib import Press, WearPart
from shop.standing import gauges_with_calibration
from shop.tools import CalibrationResult, Gauge, GaugeState, Tool, ToolState

GROUPS = {
    "overdue": gettext_lazy("overdue"),
    "unplanned": gettext_lazy("planned by nobody"),
    "out": gettext_lazy("out"),
    "worn": gettext_lazy("worn past its life"),
    "due": gettext_lazy("due"),
}
"""In the order of the page."""

OUTCOMES = {"overdue": "does not conform", "unplanned": "undecided", "out": "waiting", "worn": "does not conform", "due": "waiting"}


@dataclass(frozen=True, slots=True)
class Horizon:
    """How far ahead "due" looks: days of the calendar and crimps of a counter."""

    days: int
    crimps: int


@dataclass(frozen=True, slots=True)
class CribLine:
    """One matter of one tool, press or gauge. due: a day or a count; left: how far it is; rank: the most urgent first."""

    group: str
    thing: str
    asset: str
    url: str
    description: str
    matter: str
    due: str = ""
    left: str = ""
    note: str = ""
    rank: float = 0.0


@dataclass(frozen=True, slots=True)
class _Due:
    group: str
    due: str
    left: str
    rank: float


def crib_lines(on: date, ahead: Horizon) -> list[CribLine]:
    """Everything to look after, by group and urgency. What is retired is nobody's concern."""
    lines = [*_of_tools(on, ahead), *_of_presses(on, ahead), *_of_gauges(on, ahead)]
    order = list(GROUPS)
    return sorted(lines, key=lambda line: (order.index(line.group), line.rank, line.asset, line.matter))


def _by_day(due: date | None, on: date, ahead: Horizon) -> _Due | None:
    """A due date is the last good day."""
    if due is None or (due - on).days > ahead.days:
        return None
    days = (due - on).days
    if days < 0:
        left = ngettext("%(n)s day over", "%(n)s days over", -days) % {"n": -days}
    else:
        left = ngettext("%(n)s day left", "%(n)s days left", days) % {"n": days} if days else _("last day")
    return _Due("overdue" if days < 0 else "due", due.isoformat(), left, days)


def _by_count(due: int | None, count: int, ahead: Horizon) -> _Due | None:
    """A due count is the last good count."""
    if due is None or due - count > ahead.crimps:
        return None
    over = count - due
    left = _("{n} crimps over").format(n=over) if over > 0 else _("{n} crimps left").format(n=-over)
    # A thousand crimps weigh as a day, to stand in one order with the dates.
    return _Due("overdue" if over > 0 else "due", _("at {n}").format(n=due), left, -over / 1000)


def _of_tools(on: date, ahead: Horizon) -> Iterator[CribLine]:
    fitted = Prefetch("wear_parts", WearPart.objects.filter(removed_on__isnull=True), to_attr="fitted_parts")
    for tool in Tool.objects.exclude(state=ToolState.RETIRED).prefetch_related(fitted):
        url = reverse("shop:detail", args=["tools", tool.pk])
        found = [
            (_("verification"), _by_day(tool.verification_due_on, on, ahead)),
            (_("verification"), _by_count(tool.verification_due_count, tool.crimp_count, ahead)),
            (_("service"), _by_day(tool.service_due_on, on, ahead)),
            (_("service"), _by_count(tool.service_due_count, tool.crimp_count, ahead)),
        ]
        overdue = list(dict.fromkeys(matter for matter, due in found if due and due.group == "overdue"))
        thing = tool.get_kind_display()
        if tool.state != ToolState.AVAILABLE:
            also = _("also overdue: {matters}").format(matters=", ".join(overdue)) if overdue else ""
            note = "; ".join(part for part in (tool.state_reason, also) if part)
            yield CribLine("out", thing, tool.asset_number, url, tool.description, tool.get_state_display(), note=note)
        else:
            for matter, due in found:
                if due:
                    yield CribLine(due.group, thing, tool.asset_number, url, tool.description, matter, due.due, due.left, rank=due.rank)
            drift = _by_count(tool.drift_due_count, tool.crimp_count, ahead) or _by_day(tool.drift_due_on, on, ahead)
            if drift:
                # A forecast, no plan: it is due, and never overdue of its own.
                about = _("about {day}").format(day=tool.drift_due_on.isoformat()) if tool.drift_due_on else ""
                due_at = _("at {n}").format(n=tool.drift_due_count)
                matter = _("crimp height drifts to a limit")
                yield CribLine("due", thing, tool.asset_number, url, tool.description, matter, due_at, about, tool.drift_matter, drift.rank)
            if tool.verification_due_on is None:
                yield CribLine("unplanned", thing, tool.asset_number, url, tool.description, _("verification"))
            if tool.service_due_on is None and tool.service_due_count is None:
                yield CribLine("unplanned", thing, tool.asset_number, url, tool.description, _("service"))
        parts: list[WearPart] = tool.__dict__["fitted_parts"]
        yield from (_of_part(tool, part, url, due) for part in parts if (due := _wear(part, tool.crimp_count, ahead)))


def _wear(part: WearPart, counted: int, ahead: Horizon) -> _Due | None:
    return _by_count(part.fitted_at_count + part.life_crimps, counted, ahead) if part.life_crimps else None


def _of_part(tool: Tool, part: WearPart, url: str, due: _Due) -> CribLine:
    group = "worn" if due.group == "overdue" else due.group
    matter = f"{part.get_kind_display()} {part.part_number}"
    return CribLine(group, tool.get_kind_display(), tool.asset_number, url, tool.description, matter, due.due, due.left, rank=due.rank)


def _of_presses(on: date, ahead: Horizon) -> Iterator[CribLine]:
    for press in Press.objects.exclude(state=ToolState.RETIRED):
        url, thing = reverse("shop:detail", args=["presses", press.pk]), press.get_kind_display()
        due = _by_day(press.shut_height_due_on, on, ahead)
        if press.state != ToolState.AVAILABLE:
            also = _("also overdue: {matters}").format(matters=_("shut height")) if due and due.group == "overdue" else ""
            note = "; ".join(part for part in (press.state_reason, also) if part)
            yield CribLine("out", thing, press.asset_number, url, press.description, press.get_state_display(), note=note)
        elif due:
            yield CribLine(due.group, thing, press.asset_number, url, press.description, _("shut height"), due.due, due.left, rank=due.rank)
        elif press.shut_height_due_on is None:
            yield CribLine("unplanned", thing, press.asset_number, url, press.description, _("shut height"))


def _of_gauges(on: date, ahead: Horizon) -> Iterator[CribLine]:
    for gauge in gauges_with_calibration(Gauge.objects.exclude(state=GaugeState.RETIRED), on):
        url, thing = reverse("shop:detail", args=["gauges", gauge.pk]), gauge.get_kind_display()
        newest: date | None = gauge.__dict__["newest_due_on"]
        due = _by_day(newest, on, ahead)
        if gauge.state != GaugeState.AVAILABLE:
            note = gauge.state_reason
            yield CribLine("out", thing, gauge.asset_number, url, gauge.description, gauge.get_state_display(), note=note)
        elif gauge.__dict__["newest_result"] == CalibrationResult.OUT_OF_TOLERANCE:
            yield CribLine("out", thing, gauge.asset_number, url, gauge.description, _("out of tolerance"))
        elif due:
            yield CribLine(due.group, thing, gauge.asset_number, url, gauge.description, _("calibration"), due.due, due.left, rank=due.rank)
        elif newest is None:
            yield CribLine("unplanned", thing, gauge.asset_number, url, gauge.description, _("calibration"))
