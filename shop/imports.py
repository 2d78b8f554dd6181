"""Imports of large files: each waits for the worker, says how far it is, and keeps how it ended."""

from __future__ import annotations

from datetime import datetime, timedelta

from django.db import models
from django.utils.translation import gettext_lazy as _

from shop.people import Person

PATIENCE = timedelta(minutes=5)
"""After this long without news a run is taken for lost: its worker was stopped, or none runs."""


class ImportState(models.TextChoices):
    WAITING = "waiting", _("waits for the worker")
    CHECKING = "checking", _("checks the rows")
    WRITING = "writing", _("writes the rows")
    DONE = "done", _("done")
    REFUSED = "refused", _("refused")


class ImportRun(models.Model):
    """One file on its way into the catalogue. The file lies under its hash, as documents' files do."""

    kind = models.CharField(max_length=40)  # slug of a catalogue kind
    file_name = models.CharField(_("file"), max_length=200)
    sha256 = models.CharField(max_length=64)
    dry_run = models.BooleanField(default=False)
    state = models.CharField(_("state"), max_length=10, choices=ImportState, default=ImportState.WAITING)
    done = models.PositiveIntegerField(default=0)
    total = models.PositiveIntegerField(default=0)
    added = models.PositiveIntegerField(default=0)
    changed = models.PositiveIntegerField(default=0)
    unchanged = models.PositiveIntegerField(default=0)
    findings = models.JSONField(default=list)  # why it was refused: rule, field and what was compared, as text
    errors = models.JSONField(default=list)  # the first rows that are wrong: line, column, reason, rule
    errors_count = models.PositiveIntegerField(default=0)  # all of them
    fault = models.CharField(max_length=300, blank=True)  # what broke, where it was no refusal
    by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()
    heard_at = models.DateTimeField()  # when it last said how far it is

    class Meta:
        ordering = ["-pk"]
        verbose_name = _("import")
        constraints = [models.CheckConstraint(condition=models.Q(state__in=ImportState.values), name="import_run_state_known")]

    def __str__(self) -> str:
        return f"{self.kind}: {self.file_name}"

    @property
    def is_over(self) -> bool:
        return self.state in (ImportState.DONE, ImportState.REFUSED)

    def is_lost(self, at: datetime) -> bool:
        """Whether nothing was heard of it for so long that nobody should wait for it any more."""
        return not self.is_over and at - self.heard_at > PATIENCE
