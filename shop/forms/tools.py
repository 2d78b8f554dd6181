"""Forms of tools with their approved rows, and of gauges with their calibrations."""

from __future__ import annotations

from django.utils.translation import gettext_lazy as _

from shop.forms.fields import AreaField, CountField, DayField, KeyField, LengthField, NumberField, YesNoField
from shop.forms.item import ItemForm
from shop.materials import Terminal
from shop.tools import Calibration, Gauge, Tool, ToolRow


class ToolForm(ItemForm):
    crimp_count = CountField(label=_("Crimp counter"))
    service_due_count = CountField(label=_("Service due at count"), required=False)
    service_due_on = DayField(label=_("Service due"), required=False)
    verification_due_on = DayField(label=_("Verification due"), required=False)

    only_new = ("state", "state_reason")
    groups = (
        (_("Tool"), ("asset_number", "kind", "description", "state", "state_reason")),
        (_("Service and verification"), ("crimp_count", "service_due_count", "service_due_on", "verification_due_on")),
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
            "service_due_count",
            "service_due_on",
            "verification_due_on",
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
        (_("Tool and terminal"), ("tool", "terminal", "cavity", "setting")),
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
