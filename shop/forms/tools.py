"""Forms of tools with their approved rows, of presses, and of gauges with their calibrations."""

from __future__ import annotations

from django import forms
from django.utils.translation import gettext_lazy as _

from shop.crib import Press
from shop.forms.fields import AreaField, CountField, DayField, ForceField, KeyField, LengthField, NumberField, YesNoField
from shop.forms.item import ItemForm
from shop.materials import Terminal
from shop.tools import Calibration, Gauge, Tool, ToolRow


class ToolForm(ItemForm):
    crimp_count = CountField(label=_("Crimp counter"))
    service_every_crimps = CountField(label=_("Service every, crimps"), required=False)
    service_every_days = CountField(label=_("Service every, days"), required=False)
    service_due_count = CountField(label=_("Service due at count"), required=False)
    service_due_on = DayField(label=_("Service due"), required=False)
    verification_every_crimps = CountField(label=_("Verification every, crimps"), required=False)
    verification_every_days = CountField(label=_("Verification every, days"), required=False)
    verification_due_count = CountField(label=_("Verification due at count"), required=False)
    verification_due_on = DayField(label=_("Verification due"), required=False)
    mount = forms.CharField(label=_("Mount"), required=False, max_length=40, help_text=_("Spelled as at the presses that take it."))
    shut_height_mm = LengthField(label=_("Shut height, mm"), required=False)

    # The counter has an act of its own: nobody turns it back without saying why.
    only_new = ("state", "state_reason", "crimp_count")
    groups = (
        (_("Tool"), ("asset_number", "kind", "description", "state", "state_reason", "crimp_count")),
        (_("Service"), ("service_every_crimps", "service_every_days", "service_due_count", "service_due_on")),
        (
            _("Verification"),
            ("verification_every_crimps", "verification_every_days", "verification_due_count", "verification_due_on"),
        ),
        (_("Press it goes into"), ("mount", "feed", "shut_height_mm")),
    )

    class Meta:
        model = Tool
        fields = [
            "asset_number",
            "kind",
            "description",
            "state",
            "state_reason",
            "crimp_count",
            "service_every_crimps",
            "service_every_days",
            "service_due_count",
            "service_due_on",
            "verification_every_crimps",
            "verification_every_days",
            "verification_due_count",
            "verification_due_on",
            "mount",
            "feed",
            "shut_height_mm",
        ]


class PressForm(ItemForm):
    mount = forms.CharField(label=_("Mount"), required=False, max_length=40, help_text=_("Spelled as at the tools that go into it."))
    force_rating_n = ForceField(label=_("Force rating, N"), required=False, help_text=_("In N, or with its unit: 20 kN."))
    shut_height_mm = LengthField(label=_("Shut height, mm"), required=False)
    shut_height_tolerance_mm = LengthField(label=_("Shut height tolerance, ± mm"), required=False)
    shut_height_verified_on = DayField(label=_("Shut height verified"), required=False)
    shut_height_due_on = DayField(label=_("Shut height verification due"), required=False)

    only_new = ("state", "state_reason")
    groups = (
        (_("Press"), ("asset_number", "kind", "description", "state", "state_reason")),
        (_("What it takes"), ("mount", "feed", "force_rating_n")),
        (_("Shut height"), ("shut_height_mm", "shut_height_tolerance_mm", "shut_height_verified_on", "shut_height_due_on")),
    )

    class Meta:
        model = Press
        fields = [
            "asset_number",
            "kind",
            "description",
            "state",
            "state_reason",
            "mount",
            "feed",
            "force_rating_n",
            "shut_height_mm",
            "shut_height_tolerance_mm",
            "shut_height_verified_on",
            "shut_height_due_on",
        ]


class ToolRowForm(ItemForm):
    tool = KeyField(Tool, "asset_number", label=_("Tool"))
    terminal = KeyField(Terminal, "part_number", only={"is_active": True}, label=_("Terminal"))
    csa_min_mm2 = AreaField(label=_("Smallest conductor area, mm²"), help_text=_("In mm², or as a gauge: AWG 20."))
    csa_max_mm2 = AreaField(label=_("Largest conductor area, mm²"))
    od_min_mm = LengthField(label=_("Smallest insulation diameter, mm"), required=False)
    od_max_mm = LengthField(label=_("Largest insulation diameter, mm"), required=False)
    is_active = YesNoField(label=_("Approved"), required=False)

    groups = (
        (_("Tool and terminal"), ("tool", "terminal", "cavity", "setting", "conductor_setting", "insulation_setting")),
        (_("What the row takes"), ("csa_min_mm2", "csa_max_mm2", "od_min_mm", "od_max_mm")),
        (_("Approval"), ("approved_by_document", "is_active")),
    )

    class Meta:
        model = ToolRow
        fields = [
            "tool",
            "terminal",
            "cavity",
            "setting",
            "conductor_setting",
            "insulation_setting",
            "csa_min_mm2",
            "csa_max_mm2",
            "od_min_mm",
            "od_max_mm",
            "approved_by_document",
            "is_active",
        ]


class GaugeForm(ItemForm):
    resolution = NumberField(label=_("Resolution"), help_text=_("In the unit of the gauge: 0.001 for a micrometer that shows thousandths."))

    only_new = ("state", "state_reason")

    class Meta:
        model = Gauge
        fields = ["asset_number", "kind", "description", "unit", "resolution", "state", "state_reason"]


class CalibrationForm(ItemForm):
    gauge = KeyField(Gauge, "asset_number", label=_("Gauge"))
    calibrated_on = DayField(label=_("Calibrated"))
    due_on = DayField(label=_("Due"))
    expanded_uncertainty = NumberField(label=_("Expanded uncertainty (k = 2)"), required=False, help_text=_("In the unit of the gauge."))

    class Meta:
        model = Calibration
        fields = ["gauge", "calibrated_on", "due_on", "certificate", "laboratory", "result", "expanded_uncertainty"]
