"""What is asked of the conductor page: one size, a material and a temperature; or several wires in one barrel."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from shop.conductor import Conductor, NotASize, parse_size
from shop.forms.fields import QuantityField
from shop.materials import ConductorMaterial, Wire
from shop.quantity import NotAQuantity, parse_length_mm, parse_temperature_c
from shop.resistance import COLDEST_C, HOTTEST_C

MOST_WIRES = 20


class SizeField(QuantityField):
    """Any size text, kept as the conductor it says."""

    def to_python(self, value: Any) -> Any:
        text = str(value or "").strip()
        if not text:
            return None
        try:
            return parse_size(text)
        except NotASize as error:
            raise ValidationError(str(error), code="invalid") from error


class DegreesField(QuantityField):
    def read(self, text: str) -> Decimal:
        value = parse_temperature_c(text).value
        if not COLDEST_C <= value <= HOTTEST_C:
            raise ValidationError(_("From %(low)s to %(high)s °C.") % {"low": COLDEST_C, "high": HOTTEST_C}, code="invalid")
        return value


@dataclass(frozen=True, slots=True)
class BarrelWire:
    """One wire of several in a barrel; od_mm None where only its size was typed."""

    name: str
    conductor: Conductor
    od_mm: Decimal | None


class ConductorForm(forms.Form):
    size = SizeField(label=gettext_lazy("Size"), required=False, help_text=gettext_lazy("AWG 20 (19/32), 0.5 mm², 19 x 0.2, 1020 cmil"))
    material = forms.ChoiceField(
        label=gettext_lazy("Material"),
        choices=[choice for choice in ConductorMaterial.choices if choice[0] != ConductorMaterial.STEEL_CORED],
        required=False,
    )
    temperature = DegreesField(label=gettext_lazy("Temperature, °C"), required=False)
    wires = forms.CharField(
        label=gettext_lazy("Wires in one barrel"),
        required=False,
        max_length=1000,
        widget=forms.Textarea(attrs={"rows": 4}),
        help_text=gettext_lazy("One a line: a part number of the catalogue, or a size and an insulation diameter: 19 x 0.2; 1.9"),
    )

    def clean_temperature(self) -> Decimal:
        given = self.cleaned_data["temperature"]
        return Decimal(20) if given is None else given

    def clean_material(self) -> str:
        return str(self.cleaned_data["material"] or ConductorMaterial.COPPER)

    def clean_wires(self) -> list[BarrelWire]:
        lines = [line.strip() for line in self.cleaned_data["wires"].splitlines() if line.strip()]
        if len(lines) > MOST_WIRES:
            raise ValidationError(_("At most %(count)d wires.") % {"count": MOST_WIRES})
        known = {wire.part_number: wire for wire in Wire.objects.filter(part_number__in=lines)}
        return [self._wire(line, known.get(line)) for line in lines]

    def _wire(self, line: str, wire: Wire | None) -> BarrelWire:
        if wire is not None:
            conductor = Conductor(wire.size, wire.csa_mm2, wire.strands, wire.strand_diameter_mm, wire.awg or None)
            return BarrelWire(wire.part_number, conductor, wire.insulation_od_mm)
        size, _mark, od = line.partition(";")
        try:
            od_mm = parse_length_mm(od).value if od.strip() else None
            conductor = parse_size(size)
        except (NotASize, NotAQuantity) as error:
            raise ValidationError(str(error), code="invalid") from error
        if od_mm is not None and od_mm <= 0:
            raise ValidationError(_("An insulation diameter is greater than zero."), code="invalid")
        return BarrelWire(size.strip(), conductor, od_mm)
