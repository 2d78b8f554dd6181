"""What happens to lots after they were built: used in others, split, merged, reworked, returned, written off; and serial numbers."""

from __future__ import annotations

from django.db import models
from django.utils.translation import gettext_lazy as _

from records.models import HarnessLot, Shipment, ShipmentLot
from shop.fields import key_field, positive
from shop.people import Person


class PartOf(models.TextChoices):
    """How one lot came out of another."""

    BUILT_IN = "built in", _("built in")
    SPLIT = "split off", _("split off")
    MERGED = "merged", _("merged")
    REWORKED = "reworked", _("reworked")
    RETURNED = "returned", _("returned")


class LotPart(models.Model):
    """A quantity of the lot `used` is now in the lot `lot`. Never changed.

    A lot only ever takes from lots that existed before it, so no lot can be behind itself. What was returned had been shipped: it takes
    nothing from what is left of `used`, and names the shipment it came back from.
    """

    lot = models.ForeignKey(HarnessLot, on_delete=models.PROTECT, related_name="parts")
    used = models.ForeignKey(HarnessLot, on_delete=models.PROTECT, related_name="gone_into")
    kind = models.CharField(max_length=12, choices=PartOf)
    quantity = models.PositiveIntegerField(_("quantity"))
    shipment = models.ForeignKey(Shipment, on_delete=models.PROTECT, related_name="returns", null=True, blank=True)
    reason = models.CharField(_("reason"), max_length=300, blank=True)

    class Meta:
        ordering = ["used__number", "pk"]
        constraints = [
            models.UniqueConstraint(fields=["lot", "used"], name="lot_once_in_a_lot"),
            positive("quantity", "lot_part_quantity_positive"),
            models.CheckConstraint(condition=models.Q(used__lt=models.F("lot")), name="lot_part_from_an_older_lot"),
            models.CheckConstraint(
                condition=models.Q(kind="returned", shipment__isnull=False)
                | (~models.Q(kind="returned") & models.Q(shipment__isnull=True)),
                name="lot_part_returned_from_a_shipment",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.lot}: {self.quantity} of {self.used}, {self.kind}"


class LotLoss(models.Model):
    """Harnesses of a lot that were scrapped. Never changed."""

    lot = models.ForeignKey(HarnessLot, on_delete=models.PROTECT, related_name="losses")
    quantity = models.PositiveIntegerField(_("quantity"))
    reason = models.CharField(_("reason"), max_length=300)
    by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        ordering = ["pk"]
        constraints = [positive("quantity", "lot_loss_quantity_positive")]

    def __str__(self) -> str:
        return f"{self.lot}: {self.quantity} scrapped"


class HarnessSerial(models.Model):
    """A harness with a serial number, in a lot. It has a row in every lot it was in; the newest says where it is."""

    lot = models.ForeignKey(HarnessLot, on_delete=models.PROTECT, related_name="serials")
    serial = key_field(_("serial number"))

    class Meta:
        ordering = ["serial", "lot"]
        verbose_name = _("serial number")
        constraints = [models.UniqueConstraint(fields=["lot", "serial"], name="serial_once_in_a_lot")]
        indexes = [models.Index(fields=["serial"], name="serial_number")]

    def __str__(self) -> str:
        return self.serial


class ShippedSerial(models.Model):
    """A serial number that went with a shipment. Never changed."""

    line = models.ForeignKey(ShipmentLot, on_delete=models.PROTECT, related_name="serials")
    serial = models.ForeignKey(HarnessSerial, on_delete=models.PROTECT, related_name="shipped")

    class Meta:
        ordering = ["serial__serial"]
        constraints = [models.UniqueConstraint(fields=["line", "serial"], name="serial_once_in_a_shipment")]

    def __str__(self) -> str:
        return f"{self.line}: {self.serial}"
