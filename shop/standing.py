"""How a catalogue item stands on a day, in one word with its outcome: what a list shows in its last column."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from django.db import models
from django.db.models import OuterRef, Subquery
from django.utils.translation import gettext as _

from shop.crib import Press
from shop.materials import LotState, MaterialLot, Terminal, Wire
from shop.people import Person, Qualification
from shop.specifications import CrimpSpecification, Document
from shop.stations import Station
from shop.tools import Calibration, CalibrationResult, Gauge, GaugeState, Tool, ToolRow, ToolState


@dataclass(frozen=True, slots=True)
class Standing:
    """outcome: "conforms", "does not conform", "undecided" or "waiting", which choose shape and colour; "" where nothing is judged.
    word: what to read."""

    outcome: str
    word: str


def gauges_with_calibration(gauges: models.QuerySet[Gauge], on: date) -> models.QuerySet[Gauge]:
    """Gauges with their newest calibration up to `on` beside them, so that a list asks once."""
    newest = Calibration.objects.filter(gauge=OuterRef("pk"), calibrated_on__lte=on).order_by("-calibrated_on", "-pk")
    return gauges.annotate(newest_due_on=Subquery(newest.values("due_on")[:1]), newest_result=Subquery(newest.values("result")[:1]))


def gauge_standing(gauge: Gauge, on: date) -> Standing:
    if gauge.state != GaugeState.AVAILABLE:
        return Standing("does not conform", gauge.get_state_display())
    if hasattr(gauge, "newest_due_on"):  # from gauges_with_calibration
        due, result = gauge.newest_due_on, getattr(gauge, "newest_result", "")
    else:
        newest = gauge.newest_calibration(on)
        due, result = (newest.due_on, newest.result) if newest else (None, "")
    if due is None:
        return Standing("does not conform", _("never calibrated"))
    if result == CalibrationResult.OUT_OF_TOLERANCE:
        return Standing("does not conform", _("out of tolerance"))
    if due < on:
        return Standing("does not conform", _("calibration ran out {day}").format(day=due))
    return Standing("conforms", _("in calibration until {day}").format(day=due))


def calibration_standing(calibration: Calibration, on: date) -> Standing:
    if calibration.result == CalibrationResult.OUT_OF_TOLERANCE:
        return Standing("does not conform", _("out of tolerance"))
    if calibration.due_on < on:
        return Standing("waiting", _("ran out {day}").format(day=calibration.due_on))
    return Standing("conforms", _("covers until {day}").format(day=calibration.due_on))


def station_standing(station: Station, on: date) -> Standing:
    return Standing("conforms", _("in use")) if station.is_active else Standing("waiting", _("not in use"))


def tool_standing(tool: Tool, on: date) -> Standing:
    if tool.state != ToolState.AVAILABLE:
        return Standing("does not conform", tool.get_state_display())
    if tool.verification_due_on is None:
        return Standing("undecided", _("no verification planned"))
    if tool.verification_due_on < on:
        return Standing("does not conform", _("verification ran out {day}").format(day=tool.verification_due_on))
    if tool.verification_due_count is not None and tool.crimp_count > tool.verification_due_count:
        return Standing("does not conform", _("verification due at {count} crimps").format(count=tool.verification_due_count))
    if tool.service_due_on is not None and tool.service_due_on < on:
        return Standing("does not conform", _("service ran out {day}").format(day=tool.service_due_on))
    if tool.service_due_count is not None and tool.crimp_count > tool.service_due_count:
        return Standing("does not conform", _("service due at {count} crimps").format(count=tool.service_due_count))
    return Standing("conforms", _("available"))


def press_standing(press: Press, on: date) -> Standing:
    if press.state != ToolState.AVAILABLE:
        return Standing("does not conform", press.get_state_display())
    if press.shut_height_due_on is None:
        return Standing("undecided", _("shut height not verified"))
    if press.shut_height_due_on < on:
        return Standing("does not conform", _("shut height ran out {day}").format(day=press.shut_height_due_on))
    return Standing("conforms", _("verified until {day}").format(day=press.shut_height_due_on))


def row_standing(row: ToolRow, on: date) -> Standing:
    return Standing("", _("approved")) if row.is_active else Standing("does not conform", _("not approved"))


def lot_standing(lot: MaterialLot, on: date) -> Standing:
    if lot.state == LotState.RELEASED:
        if lot.usable_until is not None and lot.usable_until < on:
            return Standing("does not conform", _("past shelf life {day}").format(day=lot.usable_until))
        return Standing("conforms", lot.get_state_display())
    return Standing("does not conform" if lot.state == LotState.ON_HOLD else "waiting", lot.get_state_display())


def document_standing(item: Document | CrimpSpecification, on: date) -> Standing:
    if item.is_in_force(on):
        return Standing("conforms", _("in force"))
    if item.effective_on > on:
        return Standing("waiting", _("in force from {day}").format(day=item.effective_on))
    return Standing("does not conform", _("withdrawn {day}").format(day=item.withdrawn_on))


def qualification_standing(qualification: Qualification, on: date) -> Standing:
    if qualification.is_current(on):
        until = qualification.expires_on
        return Standing("conforms", _("until {day}").format(day=until) if until else _("current"))
    if qualification.granted_on > on:
        return Standing("waiting", _("from {day}").format(day=qualification.granted_on))
    if qualification.withdrawn_on is not None and qualification.withdrawn_on <= on:
        return Standing("does not conform", _("withdrawn {day}").format(day=qualification.withdrawn_on))
    return Standing("does not conform", _("expired {day}").format(day=qualification.expires_on))


def person_standing(person: Person, on: date) -> Standing:
    return Standing("", _("account open") if person.is_active else _("account closed"))


def in_use_standing(item: Wire | Terminal, on: date) -> Standing:
    return Standing("", _("in use") if item.is_active else _("not in use"))
