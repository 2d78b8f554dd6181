"""Studies of gauges, tools and processes: what was asked, every value as typed, and what was signed."""

from __future__ import annotations

from typing import Any

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from shop.characteristics import Characteristic
from shop.fields import key_field
from shop.materials import Terminal
from shop.people import Person
from shop.tools import Gauge, Tool


class StudyState(models.TextChoices):
    OPEN = "open", _("open")
    SIGNED = "signed", _("signed")
    ABANDONED = "abandoned", _("abandoned")


class Study(models.Model):
    """One study. kind: a slug of `inspection.study_kinds`. set_up: its parameters as typed, by name; result: what was signed."""

    number = key_field(_("study"), unique=True)
    kind = models.CharField(_("kind"), max_length=40)
    title = models.CharField(_("title"), max_length=120)
    gauge = models.ForeignKey(Gauge, on_delete=models.PROTECT, related_name="studies", null=True, blank=True, verbose_name=_("gauge"))
    tool = models.ForeignKey(Tool, on_delete=models.PROTECT, related_name="studies", null=True, blank=True, verbose_name=_("tool"))
    terminal = models.ForeignKey(
        Terminal, on_delete=models.PROTECT, related_name="studies", null=True, blank=True, verbose_name=_("terminal")
    )
    characteristic = models.CharField(_("characteristic"), max_length=24, choices=Characteristic, blank=True)
    set_up = models.JSONField(default=dict, blank=True)
    state = models.CharField(_("state"), max_length=12, choices=StudyState, default=StudyState.OPEN)
    opened_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    opened_at = models.DateTimeField()
    closed_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+", null=True, blank=True)
    closed_at = models.DateTimeField(null=True, blank=True)
    conclusion = models.CharField(_("conclusion"), max_length=500, blank=True)
    result = models.JSONField(null=True, blank=True)
    outcome = models.CharField(max_length=20, blank=True)

    class Meta:
        ordering = ["-opened_at", "number"]
        verbose_name = _("study")
        verbose_name_plural = _("studies")
        constraints = [
            models.CheckConstraint(
                condition=Q(state="open") | Q(closed_at__isnull=False, closed_by__isnull=False), name="study_closed_by_somebody"
            ),
            models.CheckConstraint(condition=~Q(state="signed") | Q(result__isnull=False), name="study_signed_with_result"),
        ]

    def __str__(self) -> str:
        return self.number


class StudyValueQuerySet(models.QuerySet[Any]):
    def standing(self) -> StudyValueQuerySet:
        """What counts: rows that no later row corrects."""
        return self.filter(corrected_by__isnull=True)


class StudyValue(models.Model):
    """One value of a study at its place in the layout: "A|3|2" is appraiser A, part 3, trial 2. Never changed: a correction is a new row.

    source: where the value was taken over from the shop's own measurements, in words ("J-2045-S1-B01 sample 3").
    """

    study = models.ForeignKey(Study, on_delete=models.PROTECT, related_name="values")
    place = models.CharField(max_length=80)
    text = models.CharField(max_length=40)
    by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()
    source = models.CharField(max_length=120, blank=True)
    corrects = models.OneToOneField("self", on_delete=models.PROTECT, related_name="corrected_by", null=True)
    correction_reason = models.CharField(max_length=200, blank=True)

    objects = StudyValueQuerySet.as_manager()

    class Meta:
        ordering = ["pk"]
        indexes = [models.Index(fields=["study", "place"], name="study_value_place")]

    def __str__(self) -> str:
        return f"{self.study} {self.place}: {self.text}"
