"""The sentence above the fit matrix."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from shop.forms.fields import AreaField, CheckboxInput
from shop.materials import Terminal, Wire
from shop.people import ToolKind

OFFERED = 500


class FitTableForm(forms.Form):
    """What is held against what. of and number name the one terminal or wire; the rest narrows both axes."""

    of = forms.ChoiceField(choices=[("terminal", _("terminal")), ("wire", _("wire"))], required=False)
    number = forms.CharField(max_length=60, required=False)
    q = forms.CharField(max_length=60, required=False)
    low = AreaField(required=False)
    high = AreaField(required=False)
    kind = forms.ChoiceField(
        choices=[("", _("any tool")), *((kind.value, kind.label) for kind in ToolKind if kind != ToolKind.STRIPPER)], required=False
    )
    tools = forms.ChoiceField(choices=[("", _("listing it")), ("all", _("listing it or not"))], required=False)
    fits = forms.BooleanField(required=False, widget=CheckboxInput)

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        number = cleaned.get("number", "").strip()
        cleaned["of"] = cleaned.get("of") or "terminal"
        cleaned["item"] = None
        if number:
            model: type[Terminal] | type[Wire] = Terminal if cleaned["of"] == "terminal" else Wire
            cleaned["item"] = model._default_manager.filter(part_number=number).first()
            if cleaned["item"] is None:
                thing = str(model._meta.verbose_name)
                self.add_error("number", _("There is no %(thing)s %(number)s.") % {"thing": thing, "number": number})
        return cleaned

    def offers(self) -> list[str]:
        """Numbers offered while typing."""
        model: type[Terminal] | type[Wire] = Wire if self["of"].value() == "wire" else Terminal
        rows = model._default_manager.filter(is_active=True).order_by("part_number")
        return list(rows.values_list("part_number", flat=True)[:OFFERED])
