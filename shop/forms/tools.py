"""Forms of tools with their approved rows, of presses, and of gauges with their calibrations."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext_lazy as _

from shop.crib import Press
from shop.finding import Finding, Verdict
from shop.forms.fields import AreaField, CountField, DayField, ForceField, KeyField, LengthField, NumberField, YesNoField
from shop.forms.item import ItemForm
from shop.gauge_line import LONGEST_PATTERN, BadLine, compiled
from shop.materials import Terminal
from shop.people import ToolKind
from shop.stations import Station
from shop.tools import Calibration, Gauge, GaugeOutput, Tool, ToolRow
from shop.wording import worded


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


def words_in(text: str) -> list[str]:
    return list(dict.fromkeys(word.strip() for word in re.split(r"[,;|]", text) if word.strip()))


class ToolKindsField(forms.CharField):
    def clean(self, value: Any) -> str:
        words = words_in(super().clean(value))
        unknown = [word for word in words if word not in ToolKind.values]
        if unknown:
            told = _("“{word}” is none of: {words}.").format(word=unknown[0], words=", ".join(ToolKind.values))
            raise forms.ValidationError(told, code="data.invalid")
        return ", ".join(kind for kind in ToolKind.values if kind in words)


class ToolsField(forms.CharField):
    def clean(self, value: Any) -> list[Tool]:
        words = words_in(super().clean(value))
        tools = {tool.asset_number: tool for tool in Tool.objects.filter(asset_number__in=words)}
        unknown = [word for word in words if word not in tools]
        if unknown:
            raise forms.ValidationError(_("There is no tool {name}.").format(name=unknown[0]), code="data.invalid")
        return [tools[word] for word in words]


class StationForm(ItemForm):
    press = KeyField(Press, "asset_number", label=_("Press"), required=False)
    tool_kinds = ToolKindsField(
        label=_("Tool kinds worked here"),
        required=False,
        help_text=_("With commas between: applicator, hand tool. Empty, with neither press nor tools: everything is worked here."),
    )
    tools = ToolsField(label=_("Tools worked here"), required=False, help_text=_("Asset numbers, with commas between."))
    idle_minutes = CountField(label=_("Locks after minutes"), required=False, help_text=_("Empty: as the shop's setting says."))
    is_active = YesNoField(label=_("In use"), required=False)

    groups = (
        (_("Station"), ("code", "name", "area", "is_active")),
        (_("What is worked here"), ("press", "tool_kinds", "tools")),
        (_("Its tablets"), ("idle_minutes",)),
    )

    class Meta:
        model = Station
        fields = ["code", "name", "area", "press", "tool_kinds", "idle_minutes", "is_active"]

    def __init__(self, *args: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        if self.instance.pk:
            self.initial["tools"] = ", ".join(self._tools())

    def _tools(self) -> list[str]:
        return list(self.instance.own_tools.values_list("asset_number", flat=True)) if self.instance.pk else []

    def extra_values(self) -> Mapping[str, Any]:
        return {"tools": self._tools()}

    def save_extra(self) -> None:
        self.instance.own_tools.set(self.cleaned_data["tools"])


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


class GaugeOutputForm(ItemForm):
    pattern = forms.CharField(
        label=_("Line"),
        max_length=LONGEST_PATTERN,
        strip=True,
        help_text=_("As the gauge sends it, with {value}, {sign}, {unit}, {text} or {skip} for what changes: ST,{sign}{value} {unit}"),
    )
    baud = CountField(label=_("Baud"))
    request = forms.CharField(
        label=_("Asked for a value by"),
        required=False,
        max_length=20,
        help_text=_("What makes the gauge send, where it waits for it; \\r and \\n end it. Empty where it sends by its own key."),
    )

    groups = (
        (_("Gauge output"), ("name", "description", "way")),
        (_("What it sends"), ("pattern", "decimal", "unit")),
        (_("Serial port"), ("baud", "data_bits", "parity", "stop_bits", "line_end", "request")),
    )

    class Meta:
        model = GaugeOutput
        fields = [
            "name",
            "description",
            "way",
            "pattern",
            "decimal",
            "unit",
            "baud",
            "data_bits",
            "parity",
            "stop_bits",
            "line_end",
            "request",
        ]

    def clean_pattern(self) -> str:
        pattern = str(self.cleaned_data["pattern"])
        try:
            compiled(pattern)
        except BadLine as error:
            said = worded(Finding(error.rule, Verdict.MISFIT, "pattern", error.compared))
            raise ValidationError(said.sentence, code="invalid") from error
        return pattern

    def clean(self) -> dict[str, Any]:
        cleaned: dict[str, Any] = super().clean() or self.cleaned_data
        if "pattern" in cleaned and "{unit}" not in cleaned["pattern"] and not cleaned.get("unit"):
            self.add_error("unit", _("The line carries no unit: choose the one that the gauge shows."))
        return cleaned


class GaugeForm(ItemForm):
    output = KeyField(
        GaugeOutput, "name", label=_("Output"), required=False, help_text=_("How it sends its values to a tablet, if it does.")
    )
    resolution = NumberField(label=_("Resolution"), help_text=_("In the unit of the gauge: 0.001 for a micrometer that shows thousandths."))

    only_new = ("state", "state_reason")

    class Meta:
        model = Gauge
        fields = ["asset_number", "kind", "description", "unit", "resolution", "state", "state_reason", "output"]


class CalibrationForm(ItemForm):
    gauge = KeyField(Gauge, "asset_number", label=_("Gauge"))
    calibrated_on = DayField(label=_("Calibrated"))
    due_on = DayField(label=_("Due"))
    expanded_uncertainty = NumberField(label=_("Expanded uncertainty (k = 2)"), required=False, help_text=_("In the unit of the gauge."))

    class Meta:
        model = Calibration
        fields = ["gauge", "calibrated_on", "due_on", "certificate", "laboratory", "result", "expanded_uncertainty"]
