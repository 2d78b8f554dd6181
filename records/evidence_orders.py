"""Evidence packages that were asked for: each waits for the worker, says how far it is, and names the file it became."""

from __future__ import annotations

from datetime import datetime, timedelta

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from shop.people import Person

PATIENCE = timedelta(minutes=5)
"""After this long without news an order is taken for lost: its worker was stopped, or none runs."""


class EvidenceOf(models.TextChoices):
    SHIPMENT = "shipment", _("a shipment")
    LOT = "lot", _("a harness lot")
    PERIOD = "period", _("a period")


class EvidenceState(models.TextChoices):
    WAITING = "waiting", _("waits for the worker")
    PACKING = "packing", _("is being packed")
    DONE = "done", _("done")
    BROKEN = "broken", _("broke off")


class EvidenceOrder(models.Model):
    """One question to be answered by a package. `since` and `until` are days of the shop, both included."""

    of = models.CharField(_("about"), max_length=10, choices=EvidenceOf)
    number = models.CharField(_("number"), max_length=60, blank=True)
    since = models.DateField(_("from"), null=True, blank=True)
    until = models.DateField(_("to"), null=True, blank=True)
    state = models.CharField(_("state"), max_length=10, choices=EvidenceState, default=EvidenceState.WAITING)
    done = models.PositiveIntegerField(default=0)
    total = models.PositiveIntegerField(default=0)
    sha256 = models.CharField(max_length=64, blank=True)
    size = models.PositiveBigIntegerField(null=True, blank=True)
    fault = models.CharField(max_length=500, blank=True)
    by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()
    heard_at = models.DateTimeField()

    class Meta:
        ordering = ["-pk"]
        verbose_name = _("evidence package")
        constraints = [
            models.CheckConstraint(
                condition=Q(of="period", since__isnull=False, until__isnull=False, until__gte=models.F("since"))
                | (~Q(of="period") & ~Q(number="")),
                name="evidence_order_says_of_what",
            ),
            models.CheckConstraint(condition=~Q(state="done") | ~Q(sha256=""), name="evidence_order_done_has_file"),
        ]

    def __str__(self) -> str:
        return f"{self.since} to {self.until}" if self.of == EvidenceOf.PERIOD else f"{self.of} {self.number}"

    @property
    def is_over(self) -> bool:
        return self.state in (EvidenceState.DONE, EvidenceState.BROKEN)

    def is_lost(self, at: datetime) -> bool:
        return not self.is_over and at - self.heard_at > PATIENCE

    @property
    def file_name(self) -> str:
        what = f"{self.since}-to-{self.until}" if self.of == EvidenceOf.PERIOD else self.number
        return f"evidence-{what}.zip".replace(" ", "_").replace("/", "_")
