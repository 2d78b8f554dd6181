"""Crimp tools with their approved rows, and gauges with their calibrations."""

from __future__ import annotations

from datetime import date

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from shop.fields import MillimetreField, SquareMillimetreField, key_field, ordered, positive
from shop.materials import Terminal
from shop.people import ToolKind


class ToolState(models.TextChoices):
    AVAILABLE = "available", _("available")
    IN_VERIFICATION = "in verification", _("in verification")
    OUT_FOR_SERVICE = "out for service", _("out for service")
    ON_HOLD = "on hold", _("on hold")
    RETIRED = "retired", _("retired")


class Feed(models.TextChoices):
    """How strip form runs into the tool."""

    SIDE = "side feed", _("side feed")
    END = "end feed", _("end feed")
    NONE = "loose piece", _("loose piece, no feed")


class Tool(models.Model):
    asset_number = key_field(_("asset number"), unique=True)
    kind = models.CharField(_("kind"), max_length=20, choices=ToolKind)
    description = models.CharField(_("description"), max_length=200, blank=True)
    state = models.CharField(_("state"), max_length=20, choices=ToolState, default=ToolState.AVAILABLE)
    state_reason = models.CharField(_("reason"), max_length=200, blank=True)
    crimp_count = models.PositiveIntegerField(_("crimp counter"), default=0)
    service_due_count = models.PositiveIntegerField(_("service due at count"), null=True, blank=True)
    service_due_on = models.DateField(_("service due"), null=True, blank=True)
    verification_due_on = models.DateField(_("verification due"), null=True, blank=True)
    verification_due_count = models.PositiveIntegerField(_("verification due at count"), null=True, blank=True)
    service_every_crimps = models.PositiveIntegerField(_("service every, crimps"), null=True, blank=True)
    service_every_days = models.PositiveIntegerField(_("service every, days"), null=True, blank=True)
    verification_every_crimps = models.PositiveIntegerField(_("verification every, crimps"), null=True, blank=True)
    verification_every_days = models.PositiveIntegerField(_("verification every, days"), null=True, blank=True)
    # What an applicator or die set asks of the press it goes into.
    mount = models.CharField(_("mount"), max_length=40, blank=True)
    feed = models.CharField(_("feed"), max_length=20, choices=Feed, blank=True)
    shut_height_mm = MillimetreField(_("shut height, mm"), null=True, blank=True)

    # What the drift of its crimp heights forecasts, computed after each batch (by the app above); shown in the tool crib.
    drift_due_count = models.PositiveIntegerField(null=True, blank=True, editable=False)
    drift_due_on = models.DateField(null=True, blank=True, editable=False)
    drift_matter = models.CharField(max_length=120, blank=True, editable=False)

    class Meta:
        ordering = ["asset_number"]
        verbose_name = _("tool")

    def __str__(self) -> str:
        return self.asset_number


class ToolRow(models.Model):
    """One approved row of a tool: this terminal, these conductor areas and insulation diameters, at this setting."""

    tool = models.ForeignKey(Tool, on_delete=models.PROTECT, related_name="rows", verbose_name=_("tool"))
    terminal = models.ForeignKey(Terminal, on_delete=models.PROTECT, related_name="tool_rows", verbose_name=_("terminal"))
    cavity = models.CharField(_("cavity"), max_length=20, blank=True)
    setting = models.CharField(_("setting"), max_length=60, blank=True)
    conductor_setting = models.CharField(_("conductor setting"), max_length=20, blank=True)
    insulation_setting = models.CharField(_("insulation setting"), max_length=20, blank=True)
    csa_min_mm2 = SquareMillimetreField(_("smallest conductor area, mm²"))
    csa_max_mm2 = SquareMillimetreField(_("largest conductor area, mm²"))
    od_min_mm = MillimetreField(_("smallest insulation diameter, mm"), null=True, blank=True)
    od_max_mm = MillimetreField(_("largest insulation diameter, mm"), null=True, blank=True)
    approved_by_document = models.CharField(_("approved by document"), max_length=120, blank=True)
    is_active = models.BooleanField(_("approved"), default=True)

    class Meta:
        ordering = ["tool__asset_number", "terminal__part_number", "csa_min_mm2"]
        verbose_name = _("approved row")
        constraints = [
            models.UniqueConstraint(fields=["tool", "terminal", "cavity", "csa_min_mm2"], name="tool_row_once"),
            positive("csa_min_mm2", "tool_row_csa_positive"),
            ordered("csa_min_mm2", "csa_max_mm2", "tool_row_csa_ordered"),
            ordered("od_min_mm", "od_max_mm", "tool_row_od_ordered"),
        ]

    def __str__(self) -> str:
        return f"{self.tool} / {self.terminal} {self.cavity}".strip()


class GaugeKind(models.TextChoices):
    CRIMP_HEIGHT = "crimp-height micrometer", _("crimp-height micrometer")
    CALIPER = "caliper", _("caliper")
    PULL_TESTER = "pull tester", _("pull tester")
    GO_NO_GO = "go/no-go gauge", _("go/no-go gauge")
    MILLIOHM_METER = "milliohm meter", _("milliohm meter")
    MICROSCOPE = "measuring microscope", _("measuring microscope")


class GaugeUnit(models.TextChoices):
    MM = "mm", "mm"
    NEWTON = "N", "N"
    MILLIOHM = "mΩ", "mΩ"


class GaugeState(models.TextChoices):
    AVAILABLE = "available", _("available")
    IN_CALIBRATION = "in calibration", _("in calibration")
    ON_HOLD = "on hold", _("on hold")
    RETIRED = "retired", _("retired")


class OutputWay(models.TextChoices):
    KEYBOARD = "keyboard", _("types like a keyboard")
    SERIAL = "serial", _("serial port")


class DecimalSign(models.TextChoices):
    EITHER = "either", _("point or comma")
    POINT = "point", _("point")
    COMMA = "comma", _("comma")


class Parity(models.TextChoices):
    NONE = "none", _("none")
    EVEN = "even", _("even")
    ODD = "odd", _("odd")


class LineEnd(models.TextChoices):
    CR_LF = "CR LF", "CR LF"
    CR = "CR", "CR"
    LF = "LF", "LF"


class SentUnit(models.TextChoices):
    """Units that a gauge may send; a subset of `gauge_line.QUANTITY_OF`, which a test compares."""

    MM = "mm", "mm"
    INCH = "in", "in"
    MICROMETRE = "µm", "µm"
    NEWTON = "N", "N"
    KILONEWTON = "kN", "kN"
    POUND_FORCE = "lbf", "lbf"
    KILOGRAM_FORCE = "kgf", "kgf"
    MILLIOHM = "mΩ", "mΩ"
    MICROOHM = "µΩ", "µΩ"
    OHM = "Ω", "Ω"
    PERCENT = "%", "%"


class GaugeOutput(models.Model):
    """How a model of gauge sends its values to a tablet."""

    name = key_field(_("name"), unique=True)
    description = models.CharField(_("description"), max_length=200, blank=True)
    way = models.CharField(_("how it sends"), max_length=10, choices=OutputWay, default=OutputWay.KEYBOARD)
    pattern = models.CharField(_("line"), max_length=80, default="{value} {unit}")
    decimal = models.CharField(_("decimal sign"), max_length=8, choices=DecimalSign, default=DecimalSign.EITHER)
    unit = models.CharField(_("unit where it sends none"), max_length=4, choices=SentUnit, blank=True)
    baud = models.PositiveIntegerField(_("baud"), default=9600)
    data_bits = models.PositiveSmallIntegerField(_("data bits"), choices=[(7, "7"), (8, "8")], default=8)
    parity = models.CharField(_("parity"), max_length=4, choices=Parity, default=Parity.NONE)
    stop_bits = models.PositiveSmallIntegerField(_("stop bits"), choices=[(1, "1"), (2, "2")], default=1)
    line_end = models.CharField(_("end of a line"), max_length=5, choices=LineEnd, default=LineEnd.CR_LF)
    request = models.CharField(_("asked for a value by"), max_length=20, blank=True)

    class Meta:
        ordering = ["name"]
        verbose_name = _("gauge output")
        constraints = [positive("baud", "gauge_output_baud_positive")]

    def __str__(self) -> str:
        return self.name


class Gauge(models.Model):
    asset_number = key_field(_("asset number"), unique=True)
    kind = models.CharField(_("kind"), max_length=30, choices=GaugeKind)
    description = models.CharField(_("description"), max_length=200, blank=True)
    unit = models.CharField(_("unit"), max_length=4, choices=GaugeUnit, default=GaugeUnit.MM)
    resolution = models.DecimalField(_("resolution"), max_digits=10, decimal_places=5)
    state = models.CharField(_("state"), max_length=20, choices=GaugeState, default=GaugeState.AVAILABLE)
    state_reason = models.CharField(_("reason"), max_length=200, blank=True)
    output = models.ForeignKey(
        GaugeOutput, on_delete=models.PROTECT, related_name="gauges", verbose_name=_("output"), null=True, blank=True
    )

    class Meta:
        ordering = ["asset_number"]
        verbose_name = _("gauge")
        constraints = [positive("resolution", "gauge_resolution_positive")]

    def __str__(self) -> str:
        return self.asset_number

    def calibration_in_force(self, on: date) -> Calibration | None:
        """The calibration that covers `on`: the newest one made up to that day. An older, longer one does not count any more."""
        newest = self.calibrations.filter(calibrated_on__lte=on).order_by("-calibrated_on", "-pk").first()
        return newest if newest and newest.covers(on) else None

    def newest_calibration(self, on: date) -> Calibration | None:
        return self.calibrations.filter(calibrated_on__lte=on).order_by("-calibrated_on", "-pk").first()


class CalibrationResult(models.TextChoices):
    IN_TOLERANCE = "in tolerance", _("in tolerance")
    ADJUSTED = "adjusted, then in tolerance", _("adjusted, then in tolerance")
    OUT_OF_TOLERANCE = "out of tolerance", _("out of tolerance")


class Calibration(models.Model):
    gauge = models.ForeignKey(Gauge, on_delete=models.PROTECT, related_name="calibrations", verbose_name=_("gauge"))
    calibrated_on = models.DateField(_("calibrated"))
    due_on = models.DateField(_("due"))
    certificate = models.CharField(_("certificate"), max_length=80)
    laboratory = models.CharField(_("laboratory"), max_length=120, blank=True)
    result = models.CharField(_("result"), max_length=30, choices=CalibrationResult)
    expanded_uncertainty = models.DecimalField(_("expanded uncertainty (k = 2)"), max_digits=10, decimal_places=5, null=True, blank=True)

    class Meta:
        ordering = ["gauge__asset_number", "-calibrated_on"]
        verbose_name = _("calibration")
        constraints = [
            models.UniqueConstraint(fields=["gauge", "certificate"], name="calibration_certificate_once"),
            models.CheckConstraint(
                condition=Q(due_on__gte=models.F("calibrated_on")),
                name="calibration_due_after_made",
                violation_error_code="data.dates.order",
                violation_error_message=_("The due date lies before the date of calibration."),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.gauge}: {self.certificate}"

    def covers(self, on: date) -> bool:
        return self.result != CalibrationResult.OUT_OF_TOLERANCE and self.calibrated_on <= on <= self.due_on
