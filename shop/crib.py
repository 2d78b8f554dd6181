"""The tool crib: presses, wear parts with their history, and what was done to a tool."""

from __future__ import annotations

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from shop.fields import MillimetreField, NewtonField, key_field, ordered, positive
from shop.people import Person
from shop.tools import Feed, Gauge, Tool, ToolState


class PressKind(models.TextChoices):
    BENCH = "bench press", _("bench press")
    LEAD_MAKER = "lead-making machine", _("lead-making machine")


class Press(models.Model):
    """A terminating machine that takes applicators or die sets; a lead-making machine is one with a stripper and a cutter before it."""

    asset_number = key_field(_("asset number"), unique=True)
    kind = models.CharField(_("kind"), max_length=24, choices=PressKind, default=PressKind.BENCH)
    description = models.CharField(_("description"), max_length=200, blank=True)
    mount = models.CharField(_("mount"), max_length=40, blank=True)
    feed = models.CharField(_("feed"), max_length=20, choices=Feed, blank=True, help_text=_("Empty: any."))
    force_rating_n = NewtonField(_("force rating, N"), null=True, blank=True)
    shut_height_mm = MillimetreField(_("shut height, mm"), null=True, blank=True)
    shut_height_tolerance_mm = MillimetreField(_("shut height tolerance, ± mm"), null=True, blank=True)
    shut_height_verified_on = models.DateField(_("shut height verified"), null=True, blank=True)
    shut_height_due_on = models.DateField(_("shut height verification due"), null=True, blank=True)
    state = models.CharField(_("state"), max_length=20, choices=ToolState, default=ToolState.AVAILABLE)
    state_reason = models.CharField(_("reason"), max_length=200, blank=True)

    class Meta:
        ordering = ["asset_number"]
        verbose_name = _("press")
        verbose_name_plural = _("presses")
        constraints = [
            positive("force_rating_n", "press_force_positive"),
            ordered("shut_height_verified_on", "shut_height_due_on", "press_verification_ordered"),
        ]

    def __str__(self) -> str:
        return self.asset_number


class WearKind(models.TextChoices):
    CONDUCTOR_CRIMPER = "conductor crimper", _("conductor crimper")
    INSULATION_CRIMPER = "insulation crimper", _("insulation crimper")
    ANVIL = "anvil", _("anvil")
    CUT_OFF = "cut-off", _("cut-off")
    FEED = "feed finger", _("feed finger")
    BLADE = "blade", _("blade")
    DIE = "die", _("die")


class WearPart(models.Model):
    """One wear part from the count at which it went into a tool to the count at which it came out."""

    tool = models.ForeignKey(Tool, on_delete=models.PROTECT, related_name="wear_parts", verbose_name=_("tool"))
    kind = models.CharField(_("kind"), max_length=24, choices=WearKind)
    part_number = models.CharField(_("part number"), max_length=60)
    serial = models.CharField(_("serial or lot"), max_length=60, blank=True)
    life_crimps = models.PositiveIntegerField(_("expected life, crimps"), null=True, blank=True)
    fitted_on = models.DateField(_("fitted"))
    fitted_at_count = models.PositiveIntegerField(_("fitted at count"))
    fitted_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    removed_on = models.DateField(_("removed"), null=True, blank=True)
    removed_at_count = models.PositiveIntegerField(_("removed at count"), null=True, blank=True)
    removed_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+", null=True, blank=True)
    removed_because = models.CharField(_("removed because"), max_length=200, blank=True)

    class Meta:
        ordering = ["tool__asset_number", "kind", "-fitted_on", "-pk"]
        verbose_name = _("wear part")
        constraints = [
            models.UniqueConstraint(
                fields=["tool", "kind"],
                condition=Q(removed_on__isnull=True),
                name="wear_part_one_fitted",
                violation_error_code="crib.wear.fitted",
            ),
            ordered("fitted_at_count", "removed_at_count", "wear_part_counts_ordered"),
            ordered("fitted_on", "removed_on", "wear_part_dates_ordered"),
        ]

    def __str__(self) -> str:
        return f"{self.tool}: {self.kind} {self.part_number}"

    @property
    def crimps(self) -> int:
        """Crimps made with it so far, or in its whole life."""
        end = self.removed_at_count if self.removed_at_count is not None else self.tool.crimp_count
        return max(end - self.fitted_at_count, 0)


class CareKind(models.TextChoices):
    SERVICE = "service", _("service")
    VERIFICATION = "verification", _("verification")
    REPAIR = "repair", _("repair")


class CareResult(models.TextChoices):
    PASSED = "passed", _("passed")
    FAILED = "failed", _("failed")


class ToolCare(models.Model):
    """A service, verification or repair of a tool: never changed afterwards."""

    tool = models.ForeignKey(Tool, on_delete=models.PROTECT, related_name="cares", verbose_name=_("tool"))
    kind = models.CharField(_("kind"), max_length=20, choices=CareKind)
    done_on = models.DateField(_("done"))
    at_count = models.PositiveIntegerField(_("at count"))
    result = models.CharField(_("result"), max_length=10, choices=CareResult)
    note = models.CharField(_("what was done"), max_length=300)
    by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        ordering = ["-done_on", "-pk"]
        verbose_name = _("tool care")

    def __str__(self) -> str:
        return f"{self.tool}: {self.kind} {self.done_on}"


class PressCheck(models.Model):
    """A verification of a press's shut height, as measured: never changed afterwards."""

    press = models.ForeignKey(Press, on_delete=models.PROTECT, related_name="checks", verbose_name=_("press"))
    done_on = models.DateField(_("done"))
    measured_mm = MillimetreField(_("shut height measured, mm"))
    nominal_mm = MillimetreField(_("asked, mm"))
    tolerance_mm = MillimetreField(_("tolerance, ± mm"))
    result = models.CharField(_("result"), max_length=10, choices=CareResult)
    gauge = models.ForeignKey(Gauge, on_delete=models.PROTECT, related_name="press_checks", verbose_name=_("gauge"))
    note = models.CharField(_("note"), max_length=300, blank=True)
    by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        ordering = ["-done_on", "-pk"]
        verbose_name = _("press verification")
        constraints = [positive("measured_mm", "press_check_positive")]

    def __str__(self) -> str:
        return f"{self.press}: {self.measured_mm} mm on {self.done_on}"
