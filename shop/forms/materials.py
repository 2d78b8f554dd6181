"""Forms of wires, terminals and their lots."""

from __future__ import annotations

from decimal import ROUND_HALF_UP
from functools import lru_cache
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext_lazy as _

from shop.conductor import NotASize, parse_size
from shop.forms.fields import (
    LENGTH_PLACES,
    AreaField,
    CountField,
    CurrentField,
    DayField,
    ForceField,
    ItemNumberField,
    KeyField,
    LengthField,
    NumberField,
    TemperatureField,
    VoltageField,
    YesNoField,
)
from shop.forms.item import ItemForm
from shop.materials import ConductorKind, Terminal, TerminalLot, Wire, WireLot

# A catalogue has many wires of few sizes, and reading one takes exact powers.
_size = lru_cache(maxsize=1000)(parse_size)


CURRENT_HELP = _("As its source states it, for the conditions of that source. Advice only: the wiring code and a licensed person decide.")


def _with_source(form: ItemForm, cleaned: dict[str, Any]) -> dict[str, Any]:
    """A current rating says where it comes from: the program knows none of its own."""
    if cleaned.get("current_rating_a") is not None and not str(cleaned.get("current_source") or "").strip():
        form.add_error("current_source", _("Say which source states this current rating, and for which conditions."))
    return cleaned


class WireForm(ItemForm):
    gtin = ItemNumberField()
    insulation_od_mm = LengthField(label=_("Insulation diameter, mm"), help_text=_("In mm, or with its unit: 0.075 in."))
    temperature_rating_c = TemperatureField(label=_("Temperature rating, °C"), required=False)
    voltage_rating_v = VoltageField(label=_("Voltage rating, V"), required=False)
    current_rating_a = CurrentField(label=_("Current rating, A"), required=False, help_text=CURRENT_HELP)
    is_active = YesNoField(label=_("In use"), required=False)

    groups = (
        (_("Wire"), ("part_number", "description", "colour", "gtin", "is_active")),
        (_("Conductor"), ("size", "conductor_kind", "material")),
        (
            _("Insulation and rating"),
            ("insulation_od_mm", "temperature_rating_c", "voltage_rating_v", "current_rating_a", "current_source"),
        ),
    )

    class Meta:
        model = Wire
        fields = [
            "part_number",
            "description",
            "size",
            "conductor_kind",
            "material",
            "insulation_od_mm",
            "colour",
            "temperature_rating_c",
            "voltage_rating_v",
            "current_rating_a",
            "current_source",
            "is_active",
            "gtin",
        ]

    def clean_size(self) -> str:
        text = str(self.cleaned_data["size"])
        try:
            size = _size(text)
        except NotASize as error:
            raise ValidationError(str(error), code="invalid") from error
        wire = self.instance
        wire.csa_mm2, wire.strands, wire.strand_diameter_mm, wire.awg = size.csa_mm2, size.strands, size.strand_diameter_mm, size.awg or ""
        if wire.strand_diameter_mm is not None:
            wire.strand_diameter_mm = wire.strand_diameter_mm.quantize(LENGTH_PLACES, ROUND_HALF_UP)
        return text

    def clean(self) -> dict[str, Any]:
        cleaned: dict[str, Any] = super().clean() or self.cleaned_data
        if cleaned.get("size") and self.instance.strands == 1 and cleaned.get("conductor_kind") != ConductorKind.SOLID:
            self.add_error("conductor_kind", _("The size says one strand: that is a solid conductor."))
        return _with_source(self, cleaned)


class TerminalForm(ItemForm):
    gtin = ItemNumberField()
    csa_min_mm2 = AreaField(label=_("Smallest conductor area, mm²"), help_text=_("In mm², or as a gauge: AWG 20."))
    csa_max_mm2 = AreaField(label=_("Largest conductor area, mm²"))
    wires_max = CountField(label=_("Wires in the barrel, at most"))
    od_min_mm = LengthField(label=_("Smallest insulation diameter, mm"), required=False)
    od_max_mm = LengthField(label=_("Largest insulation diameter, mm"), required=False)
    has_support = YesNoField(label=_("Has an insulation support"), required=False)
    accepts_solid = YesNoField(label=_("Takes solid wire"), required=False)
    accepts_fine_stranded = YesNoField(label=_("Takes fine strands"), required=False)
    accepts_aluminium = YesNoField(label=_("Takes aluminium"), required=False)
    current_rating_a = CurrentField(label=_("Current rating, A"), required=False, help_text=CURRENT_HELP)
    crimp_force_n = ForceField(label=_("Crimp force needed, N"), required=False, help_text=_("In N, or with its unit: 12 kN."))
    is_active = YesNoField(label=_("In use"), required=False)

    groups = (
        (_("Terminal"), ("part_number", "description", "kind", "barrel", "form", "plating", "gtin", "is_active")),
        (
            _("Conductor barrel"),
            ("csa_min_mm2", "csa_max_mm2", "wires_max", "accepts_solid", "accepts_fine_stranded", "accepts_aluminium", "crimp_force_n"),
        ),
        (_("Insulation support"), ("has_support", "od_min_mm", "od_max_mm")),
        (_("Rating"), ("current_rating_a", "current_source")),
    )

    class Meta:
        model = Terminal
        fields = [
            "part_number",
            "description",
            "kind",
            "barrel",
            "form",
            "csa_min_mm2",
            "csa_max_mm2",
            "wires_max",
            "has_support",
            "od_min_mm",
            "od_max_mm",
            "accepts_solid",
            "accepts_fine_stranded",
            "accepts_aluminium",
            "crimp_force_n",
            "current_rating_a",
            "current_source",
            "plating",
            "is_active",
            "gtin",
        ]

    def clean(self) -> dict[str, Any]:
        return _with_source(self, super().clean() or self.cleaned_data)


class _LotForm(ItemForm):
    supplier_lot = forms.CharField(
        label=_("Supplier's lot"),
        required=False,
        max_length=40,
        help_text=_("As its label carries it (batch or lot, 10): it can be scanned then."),
    )
    supplier_serial = forms.CharField(
        label=_("Serial number on the supplier's label"),
        required=False,
        max_length=40,
        help_text=_("Of this very spool or reel (21), or the code of its carton (00)."),
    )
    received_on = DayField(label=_("Received"))
    usable_until = DayField(label=_("Shelf life until"), required=False)
    quantity = NumberField(label=_("Quantity received"))

    only_new = ("state", "state_reason")


_LOT_FIELDS = [
    "lot_number",
    "supplier",
    "certificate",
    "received_on",
    "usable_until",
    "quantity",
    "state",
    "state_reason",
    "supplier_lot",
    "supplier_serial",
]


class WireLotForm(_LotForm):
    wire = KeyField(Wire, "part_number", only={"is_active": True}, label=_("Wire"))
    quantity = NumberField(label=_("Quantity received, m"))

    class Meta:
        model = WireLot
        fields = ["wire", *_LOT_FIELDS]


class TerminalLotForm(_LotForm):
    terminal = KeyField(Terminal, "part_number", only={"is_active": True}, label=_("Terminal"))
    quantity = NumberField(label=_("Quantity received, pieces"))

    class Meta:
        model = TerminalLot
        fields = ["terminal", *_LOT_FIELDS]
