"""Wires and terminals, and the lots in which they arrive."""

from __future__ import annotations

from datetime import date
from typing import Any

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from shop.fields import AmpereField, MillimetreField, NewtonField, SquareMillimetreField, item_number_field, key_field, ordered, positive


class ConductorKind(models.TextChoices):
    STRANDED = "stranded", _("stranded")
    FINE_STRANDED = "fine stranded", _("fine stranded")
    SOLID = "solid", _("solid")


class ConductorMaterial(models.TextChoices):
    COPPER = "copper", _("copper")
    TINNED_COPPER = "tinned copper", _("tin-plated copper")
    SILVERED_COPPER = "silver-plated copper", _("silver-plated copper")
    NICKELLED_COPPER = "nickel-plated copper", _("nickel-plated copper")
    COPPER_ALLOY = "copper alloy", _("copper alloy")
    ALUMINIUM = "aluminium", _("aluminium")
    STEEL_CORED = "steel-cored", _("steel-cored")


class Wire(models.Model):
    part_number = key_field(_("part number"), unique=True)
    description = models.CharField(_("description"), max_length=200, blank=True)
    gtin = item_number_field()
    size = models.CharField(_("size"), max_length=40, help_text=_("AWG 20, 0.5 mm², 19x0.2, AWG 20 (19/32)"))  # as typed
    csa_mm2 = SquareMillimetreField(_("conductor area, mm²"))
    strands = models.PositiveIntegerField(_("strands"), null=True, blank=True)
    strand_diameter_mm = MillimetreField(_("strand diameter, mm"), null=True, blank=True)
    awg = models.CharField(_("AWG"), max_length=6, blank=True)
    conductor_kind = models.CharField(_("conductor"), max_length=20, choices=ConductorKind, default=ConductorKind.STRANDED)
    material = models.CharField(_("material"), max_length=24, choices=ConductorMaterial, default=ConductorMaterial.COPPER)
    insulation_od_mm = MillimetreField(_("insulation diameter, mm"))
    colour = models.CharField(_("colour"), max_length=40, blank=True)
    temperature_rating_c = models.IntegerField(_("temperature rating, °C"), null=True, blank=True)
    voltage_rating_v = models.PositiveIntegerField(_("voltage rating, V"), null=True, blank=True)
    current_rating_a = AmpereField(_("current rating, A"), null=True, blank=True)
    current_source = models.CharField(_("source of the current rating"), max_length=200, blank=True)
    is_active = models.BooleanField(_("in use"), default=True)

    class Meta:
        ordering = ["part_number"]
        verbose_name = _("wire")
        constraints = [
            positive("csa_mm2", "wire_csa_positive"),
            positive("insulation_od_mm", "wire_od_positive"),
            positive("current_rating_a", "wire_current_positive"),
        ]

    def __str__(self) -> str:
        return self.part_number


class Barrel(models.TextChoices):
    OPEN = "open", _("open barrel")
    CLOSED = "closed", _("closed barrel")


class TerminalKind(models.TextChoices):
    RING = "ring tongue", _("ring tongue")
    FORK = "fork tongue", _("fork tongue")
    RECEPTACLE = "receptacle", _("receptacle")
    TAB = "tab", _("tab")
    PIN = "pin", _("pin")
    SOCKET = "socket", _("socket")
    SPLICE = "splice", _("splice")
    FERRULE = "ferrule", _("ferrule")


class SupplyForm(models.TextChoices):
    REEL = "strip on reel", _("strip form on reel")
    LOOSE = "loose piece", _("loose piece")


class Terminal(models.Model):
    part_number = key_field(_("part number"), unique=True)
    description = models.CharField(_("description"), max_length=200, blank=True)
    gtin = item_number_field()
    kind = models.CharField(_("kind"), max_length=20, choices=TerminalKind)
    barrel = models.CharField(_("conductor barrel"), max_length=10, choices=Barrel, default=Barrel.OPEN)
    form = models.CharField(_("supplied as"), max_length=20, choices=SupplyForm, default=SupplyForm.REEL)
    csa_min_mm2 = SquareMillimetreField(_("smallest conductor area, mm²"))
    csa_max_mm2 = SquareMillimetreField(_("largest conductor area, mm²"))
    wires_max = models.PositiveSmallIntegerField(_("wires in the barrel, at most"), default=1)
    has_support = models.BooleanField(_("insulation support"), default=True)
    od_min_mm = MillimetreField(_("smallest insulation diameter, mm"), null=True, blank=True)
    od_max_mm = MillimetreField(_("largest insulation diameter, mm"), null=True, blank=True)
    accepts_solid = models.BooleanField(_("takes solid wire"), default=False)
    accepts_fine_stranded = models.BooleanField(_("takes fine strands"), default=True)
    accepts_aluminium = models.BooleanField(_("takes aluminium"), default=False)
    current_rating_a = AmpereField(_("current rating, A"), null=True, blank=True)
    current_source = models.CharField(_("source of the current rating"), max_length=200, blank=True)
    plating = models.CharField(_("plating"), max_length=40, blank=True)
    crimp_force_n = NewtonField(_("crimp force needed, N"), null=True, blank=True)
    is_active = models.BooleanField(_("in use"), default=True)

    class Meta:
        ordering = ["part_number"]
        verbose_name = _("terminal")
        constraints = [
            positive("csa_min_mm2", "terminal_csa_positive"),
            ordered("csa_min_mm2", "csa_max_mm2", "terminal_csa_ordered"),
            ordered("od_min_mm", "od_max_mm", "terminal_od_ordered"),
            positive("wires_max", "terminal_takes_a_wire"),
            positive("current_rating_a", "terminal_current_positive"),
        ]

    def __str__(self) -> str:
        return self.part_number


class LotState(models.TextChoices):
    RECEIVED = "received", _("received, not released")
    RELEASED = "released", _("released")
    ON_HOLD = "on hold", _("on hold")
    USED_UP = "used up", _("used up")
    RETURNED = "returned", _("returned")


class LotQuerySet(models.QuerySet[Any]):
    def in_the_shop(self) -> LotQuerySet:
        """What may still be scanned: neither used up nor returned."""
        return self.exclude(state__in=[LotState.USED_UP, LotState.RETURNED])

    def usable(self, on: date) -> LotQuerySet:
        return self.filter(state=LotState.RELEASED).filter(Q(usable_until__isnull=True) | Q(usable_until__gte=on))


class MaterialLot(models.Model):
    """What wire lots and terminal lots have in common: a spool or a reel with a label that can be scanned."""

    lot_number = key_field(_("lot number"), unique=True)
    supplier = models.CharField(_("supplier"), max_length=120, blank=True)
    # What the supplier's own label carries, so that it can be scanned as it came.
    supplier_lot = models.CharField(_("supplier's lot"), max_length=40, blank=True, db_index=True)
    supplier_serial = models.CharField(_("serial number on the supplier's label"), max_length=40, blank=True, db_index=True)
    certificate = models.CharField(_("certificate of conformity"), max_length=80, blank=True)
    received_on = models.DateField(_("received"))
    usable_until = models.DateField(_("shelf life until"), null=True, blank=True)
    quantity = models.DecimalField(_("quantity received"), max_digits=12, decimal_places=2)
    state = models.CharField(_("state"), max_length=10, choices=LotState, default=LotState.RECEIVED)
    state_reason = models.CharField(_("reason"), max_length=200, blank=True)

    objects = LotQuerySet.as_manager()

    class Meta:
        abstract = True
        ordering = ["-received_on", "lot_number"]

    def __str__(self) -> str:
        return self.lot_number


class WireLot(MaterialLot):
    """A spool; its quantity is in metres."""

    wire = models.ForeignKey(Wire, on_delete=models.PROTECT, related_name="lots", verbose_name=_("wire"))
    quantity_unit = "m"

    class Meta(MaterialLot.Meta):
        verbose_name = _("wire lot")
        constraints = [positive("quantity", "wire_lot_quantity_positive")]

    @property
    def part(self) -> Wire:
        return self.wire


class TerminalLot(MaterialLot):
    """A reel or bag; its quantity is in pieces."""

    terminal = models.ForeignKey(Terminal, on_delete=models.PROTECT, related_name="lots", verbose_name=_("terminal"))
    quantity_unit = "pcs"

    class Meta(MaterialLot.Meta):
        verbose_name = _("terminal lot")
        constraints = [positive("quantity", "terminal_lot_quantity_positive")]

    @property
    def part(self) -> Terminal:
        return self.terminal
