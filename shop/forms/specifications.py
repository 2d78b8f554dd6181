"""Forms of controlled documents and crimp specifications."""

from __future__ import annotations

from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext_lazy as _

from shop.forms.fields import AreaField, CountField, DayField, DocumentField, ForceField, KeyField, LengthField
from shop.forms.item import ItemForm
from shop.materials import Terminal
from shop.quantity import NotAQuantity
from shop.specifications import CrimpSpecification, Document
from shop.tolerance import Limits, parse_limits_mm


class DocumentForm(ItemForm):
    effective_on = DayField(label=_("In force from"))
    withdrawn_on = DayField(label=_("Withdrawn"), required=False, help_text=_("The first day on which it no longer holds."))

    only_new = ("withdrawn_on",)

    class Meta:
        model = Document
        fields = ["number", "revision", "title", "kind", "effective_on", "withdrawn_on"]


class SpecificationForm(ItemForm):
    terminal = KeyField(Terminal, "part_number", only={"is_active": True}, label=_("Terminal"))
    document = DocumentField(label=_("Document"))
    csa_min_mm2 = AreaField(label=_("From conductor area, mm²"), help_text=_("In mm², or as a gauge: AWG 20."))
    csa_max_mm2 = AreaField(label=_("To conductor area, mm²"))
    crimp_height = forms.CharField(
        label=_("Crimp height with limits"),
        required=False,
        max_length=60,
        help_text=_("1.40 ±0.05, 1.40 +0.05 -0.03 or 1.35..1.45; fills the three fields below."),
    )
    crimp_height_min_mm = LengthField(label=_("Crimp height from, mm"), required=False)
    crimp_height_nominal_mm = LengthField(label=_("Crimp height nominal, mm"), required=False)
    crimp_height_max_mm = LengthField(label=_("Crimp height to, mm"), required=False)
    crimp_width_min_mm = LengthField(label=_("Crimp width from, mm"), required=False)
    crimp_width_max_mm = LengthField(label=_("Crimp width to, mm"), required=False)
    insulation_height_min_mm = LengthField(label=_("Insulation crimp height from, mm"), required=False)
    insulation_height_max_mm = LengthField(label=_("Insulation crimp height to, mm"), required=False)
    strip_length_min_mm = LengthField(label=_("Strip length from, mm"), required=False)
    strip_length_max_mm = LengthField(label=_("Strip length to, mm"), required=False)
    pull_force_min_n = ForceField(label=_("Pull force at least, N"), required=False, help_text=_("In N, or with its unit: 20 lbf."))
    effective_on = DayField(label=_("In force from"))
    withdrawn_on = DayField(label=_("Withdrawn"), required=False, help_text=_("The first day on which it no longer holds."))

    only_new = ("withdrawn_on",)
    groups = (
        (_("Specification"), ("number", "revision", "document", "effective_on", "withdrawn_on")),
        (_("What it covers"), ("terminal", "csa_min_mm2", "csa_max_mm2", "tool_kind")),
        (_("Crimp height"), ("crimp_height", "crimp_height_min_mm", "crimp_height_nominal_mm", "crimp_height_max_mm")),
        (
            _("Further dimensions"),
            (
                "strip_length_min_mm",
                "strip_length_max_mm",
                "crimp_width_min_mm",
                "crimp_width_max_mm",
                "insulation_height_min_mm",
                "insulation_height_max_mm",
            ),
        ),
        (_("Pull force"), ("pull_force_min_n", "pull_force_source")),
    )

    class Meta:
        model = CrimpSpecification
        fields = [
            "number",
            "revision",
            "terminal",
            "csa_min_mm2",
            "csa_max_mm2",
            "tool_kind",
            "document",
            "crimp_height_min_mm",
            "crimp_height_nominal_mm",
            "crimp_height_max_mm",
            "crimp_width_min_mm",
            "crimp_width_max_mm",
            "insulation_height_min_mm",
            "insulation_height_max_mm",
            "strip_length_min_mm",
            "strip_length_max_mm",
            "pull_force_min_n",
            "pull_force_source",
            "effective_on",
            "withdrawn_on",
        ]

    def clean_crimp_height(self) -> Limits | None:
        text = self.cleaned_data["crimp_height"]
        try:
            return parse_limits_mm(text) if text else None
        except NotAQuantity as error:
            raise ValidationError(str(error), code="invalid") from error

    def clean(self) -> dict[str, Any]:
        cleaned: dict[str, Any] = super().clean() or self.cleaned_data
        limits = cleaned.get("crimp_height")
        if not isinstance(limits, Limits):
            return cleaned
        written = {
            "crimp_height_min_mm": limits.low_mm,
            "crimp_height_nominal_mm": limits.nominal_mm,
            "crimp_height_max_mm": limits.high_mm,
        }
        for name, value in written.items():
            typed = cleaned.get(name)
            # What stood there before may be overwritten; two different figures typed now may not.
            if value is not None and typed is not None and typed != value and name in self.changed_data:
                self.add_error(name, _("This differs from the crimp height with limits above: write one of the two."))
            elif value is not None:
                cleaned[name] = value
        return cleaned


class WithdrawForm(forms.Form):
    on = DayField(label=_("From"), required=False, help_text=_("The first day on which it no longer holds. Empty: today."))
    reason = forms.CharField(label=_("Why it ends"), max_length=200)
    knowing = CountField(
        label=_("How many sheets and specifications rely on it"), help_text=_("The number above: you know what you are ending.")
    )
