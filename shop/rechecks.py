"""Re-checking released sheets after the catalogue changed, and the flags that it raises; parts lists on their way to a sheet."""

from __future__ import annotations

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from shop.jobs import Job, SetupSheet, Termination
from shop.people import Person


class Recheck(models.Model):
    """One pass over all released sheets: why, how far it is, what it found."""

    reason = models.CharField(max_length=200)
    asked_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    asked_at = models.DateTimeField()
    started_at = models.DateTimeField(null=True, blank=True)
    finished_at = models.DateTimeField(null=True, blank=True)
    total = models.PositiveIntegerField(default=0)
    done = models.PositiveIntegerField(default=0)
    raised = models.PositiveIntegerField(default=0)
    cleared = models.PositiveIntegerField(default=0)
    error = models.CharField(max_length=300, blank=True)

    class Meta:
        ordering = ["-pk"]

    def __str__(self) -> str:
        return f"{self.reason}: {self.done} of {self.total}"


class SheetFlag(models.Model):
    """A released sheet that would not be released today: which rule, for which termination, since when."""

    sheet = models.ForeignKey(SetupSheet, on_delete=models.PROTECT, related_name="flags")
    termination = models.ForeignKey(Termination, on_delete=models.PROTECT, related_name="flags")
    rule = models.CharField(max_length=60)
    compared = models.JSONField(default=dict)  # as text, so that the finding can be worded again
    verdict = models.CharField(max_length=20)
    raised_at = models.DateTimeField()
    cleared_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["sheet", "termination", "rule"]
        constraints = [
            models.UniqueConstraint(fields=["termination", "rule"], condition=Q(cleared_at__isnull=True), name="sheet_flag_once_while_open")
        ]

    def __str__(self) -> str:
        return f"{self.sheet}: {self.rule}"


class PartsList(models.Model):
    """A customer's parts list as it came, how its columns are read, and what the planner corrected; until a sheet is made of it."""

    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="parts_lists")
    file_name = models.CharField(_("file"), max_length=200)
    sha256 = models.CharField(max_length=64)
    header = models.JSONField(default=list)  # column names as in the file
    rows = models.JSONField(default=list)  # cells as text, row by row
    mapping = models.JSONField(default=dict)  # our column -> position in the file
    corrections = models.JSONField(default=dict)  # "row/column" -> text
    by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()
    sheet = models.ForeignKey(SetupSheet, on_delete=models.PROTECT, related_name="parts_lists", null=True, blank=True)

    class Meta:
        ordering = ["-pk"]
        verbose_name = _("parts list")

    def __str__(self) -> str:
        return self.file_name
