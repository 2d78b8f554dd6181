"""Control charts in force, what they signalled, and what was done about it."""

from __future__ import annotations

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from inspection.batch_models import Batch, Sample
from shop.characteristics import Characteristic
from shop.fields import SquareMillimetreField
from shop.jobs import ChartKind
from shop.materials import Terminal
from shop.people import Person
from shop.tools import Tool


class ControlLimits(models.Model):
    """Limits of one chart, frozen by a signed act. A chart follows a tool, a terminal on a conductor area, and a characteristic.

    terminal empty: a short-run chart over everything the tool makes, of deviations from nominal.
    limits: `inspection.process.phase` limits as text numbers; rules: codes of the run rules that are switched on; basis: what they were
    computed from.
    """

    tool = models.ForeignKey(Tool, on_delete=models.PROTECT, related_name="control_limits")
    terminal = models.ForeignKey(Terminal, on_delete=models.PROTECT, related_name="control_limits", null=True, blank=True)
    csa_mm2 = SquareMillimetreField(_("conductor area, mm²"), null=True, blank=True)
    characteristic = models.CharField(_("characteristic"), max_length=24, choices=Characteristic)
    chart = models.CharField(_("chart"), max_length=20, choices=ChartKind)
    limits = models.JSONField()
    rules = models.JSONField(default=list, blank=True)
    basis = models.JSONField()
    reason = models.CharField(_("reason"), max_length=300)
    frozen_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    frozen_at = models.DateTimeField()
    ended_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+", null=True, blank=True)
    ended_at = models.DateTimeField(null=True, blank=True)
    ended_because = models.CharField(max_length=300, blank=True)

    class Meta:
        ordering = ["-frozen_at"]
        verbose_name = _("control limits")
        verbose_name_plural = _("control limits")
        constraints = [
            models.UniqueConstraint(
                fields=["tool", "terminal", "csa_mm2", "characteristic"],
                condition=Q(ended_at__isnull=True, terminal__isnull=False),
                name="control_limits_one_in_force",
            ),
            models.UniqueConstraint(
                fields=["tool", "characteristic"],
                condition=Q(ended_at__isnull=True, terminal__isnull=True),
                name="control_limits_one_short_run_in_force",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.tool}, {self.terminal or _('every terminal')}, {self.get_characteristic_display()}"


class ChartSignal(models.Model):
    """A run rule spoke at a sample. It asks for a reaction before the next sample is taken."""

    batch = models.ForeignKey(Batch, on_delete=models.PROTECT, related_name="signals")
    sample = models.ForeignKey(Sample, on_delete=models.PROTECT, related_name="signals")
    limits = models.ForeignKey(ControlLimits, on_delete=models.PROTECT, related_name="signals")
    characteristic = models.CharField(max_length=24, choices=Characteristic)
    panel = models.CharField(max_length=20)  # location or spread
    rule = models.CharField(max_length=40)
    points = models.JSONField()  # the numbers of the samples that made it, the last one completing it
    at = models.DateTimeField()

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.UniqueConstraint(fields=["sample", "limits", "panel", "rule"], name="chart_signal_once"),
        ]

    def __str__(self) -> str:
        return f"{self.sample}: {self.rule}"


class ReactionCause(models.TextChoices):
    TOOL = "tool or wear part", _("tool or wear part")
    SETTING = "setting", _("setting")
    WIRE = "wire or stripping", _("wire or stripping")
    TERMINAL = "terminal", _("terminal")
    GAUGE = "gauge or measuring", _("gauge or measuring")
    PERSON = "way of working", _("way of working")
    NONE = "no cause found", _("no cause found")


class Reaction(models.Model):
    """What was found and done about a signal."""

    signal = models.OneToOneField(ChartSignal, on_delete=models.PROTECT, related_name="reaction")
    cause = models.CharField(_("cause"), max_length=30, choices=ReactionCause)
    text = models.CharField(_("what was done"), max_length=300)
    by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        ordering = ["pk"]

    def __str__(self) -> str:
        return f"{self.signal}: {self.cause}"
