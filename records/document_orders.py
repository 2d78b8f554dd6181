"""Documents that were asked for and take a while: each waits for the worker, says how many pages are laid out, and names what it became."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import TYPE_CHECKING

from django.db import models
from django.utils.translation import gettext_lazy as _

from shop.people import Person

if TYPE_CHECKING:
    from inspection.models import Batch
    from records.models import HarnessLot, Shipment

PATIENCE = timedelta(minutes=5)
"""After this long without news an order is taken for lost: its worker was stopped, or none runs."""


class OrderState(models.TextChoices):
    WAITING = "waiting", _("waits for the worker")
    DRAWING = "drawing", _("is being drawn")
    DONE = "done", _("issued")
    BROKEN = "broken", _("was not issued")


@dataclass(frozen=True, slots=True)
class TrailAsked:
    """The audit trail of one thing, as the ledger names it, of a time or of one person's acts where that is told."""

    kind: str
    pk: int
    number: str
    begin: datetime | None = None
    end: datetime | None = None
    about_person: str = ""


class DocumentOrder(models.Model):
    """The record of a batch, the trace report of a lot or a shipment, or the audit trail of a thing, asked for by a person.

    pages: laid out so far; how many there will be is known when it is done.
    """

    batch = models.ForeignKey("inspection.Batch", on_delete=models.PROTECT, related_name="document_orders", null=True, blank=True)
    lot = models.ForeignKey("records.HarnessLot", on_delete=models.PROTECT, related_name="document_orders", null=True, blank=True)
    shipment = models.ForeignKey("records.Shipment", on_delete=models.PROTECT, related_name="document_orders", null=True, blank=True)
    trail_kind = models.CharField(max_length=40, blank=True)
    trail_id = models.BigIntegerField(null=True, blank=True)
    trail_name = models.CharField(max_length=120, blank=True)
    trail_begin = models.DateTimeField(null=True, blank=True)
    trail_end = models.DateTimeField(null=True, blank=True)
    trail_person = models.CharField(max_length=150, blank=True)
    state = models.CharField(_("state"), max_length=10, choices=OrderState, default=OrderState.WAITING)
    pages = models.PositiveIntegerField(default=0)
    document = models.ForeignKey("records.IssuedDocument", on_delete=models.PROTECT, related_name="+", null=True, blank=True)
    fault = models.CharField(max_length=500, blank=True)
    by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()
    heard_at = models.DateTimeField()

    class Meta:
        ordering = ["-pk"]
        verbose_name = _("ordered document")
        constraints = [
            models.CheckConstraint(
                condition=~models.Q(state="done") | models.Q(document__isnull=False), name="document_order_done_has_document"
            ),
            models.CheckConstraint(
                condition=models.Q(batch__isnull=False, lot__isnull=True, shipment__isnull=True, trail_id__isnull=True)
                | models.Q(batch__isnull=True, lot__isnull=False, shipment__isnull=True, trail_id__isnull=True)
                | models.Q(batch__isnull=True, lot__isnull=True, shipment__isnull=False, trail_id__isnull=True)
                | models.Q(batch__isnull=True, lot__isnull=True, shipment__isnull=True, trail_id__isnull=False),
                name="document_order_about_one_thing",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.of.number}: {self.state}"

    @property
    def of(self) -> Batch | HarnessLot | Shipment | TrailAsked:
        if self.trail_id is not None:
            return TrailAsked(self.trail_kind, self.trail_id, self.trail_name, self.trail_begin, self.trail_end, self.trail_person)
        of = self.batch or self.lot or self.shipment
        if of is None:
            raise ValueError("an order is about one thing; the database says so too")
        return of

    @property
    def is_over(self) -> bool:
        return self.state in (OrderState.DONE, OrderState.BROKEN)

    def is_lost(self, at: datetime) -> bool:
        return not self.is_over and at - self.heard_at > PATIENCE
