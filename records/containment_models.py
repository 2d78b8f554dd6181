"""Containment cases: what was asked, what is suspect, and what became of each suspect."""

from __future__ import annotations

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from inspection.models import Batch, BatchStatus
from records.models import HarnessLot, Shipment
from shop.concessions import Concession
from shop.fields import key_field
from shop.people import Person


class Question(models.TextChoices):
    """What made everything after it suspect."""

    GAUGE = "gauge", _("gauge out of tolerance")
    WIRE_LOT = "wire lot", _("wire lot not fit for use")
    TERMINAL_LOT = "terminal lot", _("terminal lot not fit for use")
    TOOL = "tool", _("tool out of order")
    PERSON = "person", _("person not qualified")
    DOCUMENT = "document", _("document revision withdrawn")


class Containment(models.Model):
    """A containment case. It is opened with everything that is suspect and closed when nothing is open."""

    number = key_field(_("case"), unique=True)
    question = models.CharField(_("question"), max_length=16, choices=Question)
    subject_id = models.BigIntegerField()
    subject_name = models.CharField(max_length=120)
    since = models.DateTimeField(_("from"), null=True, blank=True)
    until = models.DateTimeField(_("to"), null=True, blank=True)
    since_count = models.PositiveIntegerField(_("since count"), null=True, blank=True)
    reason = models.CharField(_("what was found"), max_length=500)
    opened_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="containments_opened")
    opened_at = models.DateTimeField()
    conclusion = models.CharField(_("conclusion"), max_length=500, blank=True)
    closed_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="containments_closed", null=True, blank=True)
    closed_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["-opened_at", "-pk"]
        verbose_name = _("containment case")
        constraints = [
            models.CheckConstraint(
                condition=Q(closed_at__isnull=True, closed_by__isnull=True) | Q(closed_at__isnull=False, closed_by__isnull=False),
                name="containment_closed_by_somebody",
            )
        ]

    def __str__(self) -> str:
        return self.number


class SuspectPlace(models.TextChoices):
    """Where suspect pieces or harnesses were when the case was opened."""

    IN_PROCESS = "in process", _("in process")
    PIECES = "pieces in stock", _("pieces in stock")
    STOCK = "lot in stock", _("lot in stock")
    SHIPPED = "shipped", _("shipped")


class Suspect(models.Model):
    """One line of the list to work through. Never changed: what became of it are decisions.

    quantity: pieces of a batch, or harnesses of a lot, that were suspect when the case was opened.
    """

    case = models.ForeignKey(Containment, on_delete=models.PROTECT, related_name="suspects")
    place = models.CharField(_("where"), max_length=16, choices=SuspectPlace)
    batch = models.ForeignKey(Batch, on_delete=models.PROTECT, related_name="suspected", null=True)
    lot = models.ForeignKey(HarnessLot, on_delete=models.PROTECT, related_name="suspected", null=True)
    shipment = models.ForeignKey(Shipment, on_delete=models.PROTECT, related_name="suspected", null=True)
    quantity = models.PositiveIntegerField(_("quantity"))

    class Meta:
        ordering = ["pk"]
        verbose_name = _("suspect")
        constraints = [
            models.CheckConstraint(
                condition=Q(place__in=["in process", "pieces in stock"], batch__isnull=False, lot__isnull=True, shipment__isnull=True)
                | Q(place="lot in stock", batch__isnull=True, lot__isnull=False, shipment__isnull=True)
                | Q(place="shipped", batch__isnull=True, lot__isnull=False, shipment__isnull=False),
                name="suspect_is_somewhere",
            ),
            models.UniqueConstraint(fields=["case", "batch"], condition=Q(batch__isnull=False), name="suspect_batch_once"),
            models.UniqueConstraint(fields=["case", "lot"], condition=Q(place="lot in stock"), name="suspect_lot_once"),
            models.UniqueConstraint(fields=["case", "lot", "shipment"], condition=Q(place="shipped"), name="suspect_shipped_once"),
        ]

    def __str__(self) -> str:
        return f"{self.case}: {self.quantity} {self.thing}, {self.place}"

    @property
    def thing(self) -> str:
        """What it is, by its number."""
        if self.batch is not None:
            return self.batch.number
        if self.lot is None:
            raise AssertionError("the database lets no such row in")
        return self.lot.number

    @property
    def due(self) -> int:
        """How many have to be decided on: of a batch that was running, everything it had made when it was closed."""
        if self.place != SuspectPlace.IN_PROCESS or self.batch is None:
            return self.quantity
        made = self.batch.made if self.batch.status == BatchStatus.CLOSED else self.batch.last_count
        return max(made or 0, self.quantity)


class SuspectDecisionKind(models.TextChoices):
    FOUND_GOOD = "found good", _("looked at and found good")
    SCRAP = "scrap", _("scrap")
    REWORK = "rework", _("rework")
    USE_AS_IS = "use as is", _("use as is, by concession")
    COUNTED_OUT = "counted out", _("scrapped, destroyed or held when the batch was closed")
    NOTIFIED = "customer notified", _("customer notified")
    RETURNED = "returned", _("returned by the customer")
    ACCEPTED = "accepted by customer", _("accepted by the customer")
    SCRAPPED_THERE = "scrapped at customer", _("scrapped at the customer's")


class SuspectDecision(models.Model):
    """What quality decided about some of a suspect. Never changed. A notice to the customer settles nothing and has no quantity."""

    suspect = models.ForeignKey(Suspect, on_delete=models.PROTECT, related_name="decisions")
    kind = models.CharField(_("what becomes of them"), max_length=24, choices=SuspectDecisionKind)
    quantity = models.PositiveIntegerField(_("quantity"), default=0)
    note = models.CharField(_("why, and how it was proven"), max_length=300)
    concession = models.ForeignKey(Concession, on_delete=models.PROTECT, related_name="+", null=True, blank=True)
    by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        ordering = ["pk"]
        verbose_name = _("decision on a suspect")
        constraints = [
            models.CheckConstraint(
                condition=Q(kind="customer notified", quantity=0) | (~Q(kind="customer notified") & Q(quantity__gt=0)),
                name="suspect_decision_quantity",
            ),
            models.CheckConstraint(
                condition=Q(kind="use as is", concession__isnull=False) | (~Q(kind="use as is") & Q(concession__isnull=True)),
                name="suspect_as_is_by_concession",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.suspect}: {self.quantity} {self.kind}"
