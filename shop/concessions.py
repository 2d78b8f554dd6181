"""Concessions: quality lets one rule through, for one sheet, termination or material lot, up to a quantity or a day."""

from __future__ import annotations

from datetime import date

from django.db import models
from django.db.models import F, Q, Sum
from django.db.models.functions import Coalesce
from django.utils.translation import gettext_lazy as _

from shop.fields import key_field, positive
from shop.jobs import SetupSheet, Termination
from shop.materials import TerminalLot, WireLot
from shop.people import Person


class ConcessionQuerySet(models.QuerySet["Concession"]):
    def live(self, on: date) -> ConcessionQuerySet:
        """Not withdrawn, not expired, not used up."""
        return (
            self.filter(withdrawn_at__isnull=True)
            .filter(Q(expires_on__isnull=True) | Q(expires_on__gte=on))
            .annotate(used=Coalesce(Sum("uses__quantity"), 0))
            .filter(Q(quantity_limit__isnull=True) | Q(used__lt=F("quantity_limit")))
        )


class Concession(models.Model):
    number = key_field(_("concession"), unique=True)
    rule = models.CharField(_("rule let through"), max_length=60)
    sheet = models.ForeignKey(SetupSheet, on_delete=models.PROTECT, related_name="concessions", null=True, blank=True)
    termination = models.ForeignKey(Termination, on_delete=models.PROTECT, related_name="concessions", null=True, blank=True)
    wire_lot = models.ForeignKey(WireLot, on_delete=models.PROTECT, related_name="concessions", null=True, blank=True)
    terminal_lot = models.ForeignKey(TerminalLot, on_delete=models.PROTECT, related_name="concessions", null=True, blank=True)
    quantity_limit = models.PositiveIntegerField(_("pieces at most"), null=True, blank=True)
    expires_on = models.DateField(_("until"), null=True, blank=True)
    reason = models.CharField(_("reason"), max_length=300)
    granted_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="concessions_granted")
    granted_at = models.DateTimeField()
    withdrawn_at = models.DateTimeField(null=True, blank=True)
    withdrawn_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+", null=True, blank=True)
    withdrawn_because = models.CharField(max_length=300, blank=True)

    objects = ConcessionQuerySet.as_manager()

    class Meta:
        ordering = ["-granted_at", "number"]
        verbose_name = _("concession")
        constraints = [
            positive("quantity_limit", "concession_quantity_positive"),
            models.CheckConstraint(
                condition=Q(quantity_limit__isnull=False) | Q(expires_on__isnull=False),
                name="concession_is_limited",
                violation_error_code="concession.limit",
            ),
            models.CheckConstraint(
                condition=Q(sheet__isnull=False, termination__isnull=True, wire_lot__isnull=True, terminal_lot__isnull=True)
                | Q(sheet__isnull=True, termination__isnull=False, wire_lot__isnull=True, terminal_lot__isnull=True)
                | Q(sheet__isnull=True, termination__isnull=True, wire_lot__isnull=False, terminal_lot__isnull=True)
                | Q(sheet__isnull=True, termination__isnull=True, wire_lot__isnull=True, terminal_lot__isnull=False),
                name="concession_has_one_scope",
                violation_error_code="concession.scope",
            ),
        ]

    def __str__(self) -> str:
        return self.number


class ConcessionUse(models.Model):
    """Pieces made under a concession by one batch. The batch is named, not pointed at: it belongs to the app above."""

    concession = models.ForeignKey(Concession, on_delete=models.PROTECT, related_name="uses")
    batch = models.CharField(max_length=60)
    quantity = models.PositiveIntegerField()
    at = models.DateTimeField()

    class Meta:
        ordering = ["pk"]
        constraints = [models.UniqueConstraint(fields=["concession", "batch"], name="concession_use_once_per_batch")]

    def __str__(self) -> str:
        return f"{self.concession}: {self.quantity} of {self.batch}"
