"""The form that opens a study: built from what its kind asks for."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from inspection.study_kinds.kind import Parameter, StudyKind
from shop.characteristics import Characteristic
from shop.forms.fields import KeyField
from shop.materials import Terminal
from shop.tools import Gauge, Tool

SUBJECTS: dict[str, tuple[type[Any], str, Any]] = {
    "gauge": (Gauge, "asset_number", _("Gauge")),
    "tool": (Tool, "asset_number", _("Tool")),
    "terminal": (Terminal, "part_number", _("Terminal")),
}
CHOICES = dict(Characteristic.choices)


class StudyForm(forms.Form):
    """Texts only: the act reads them, and its findings come back to the fields they name."""

    title = forms.CharField(label=_("Title"), max_length=120, help_text=_("What it is about, for whoever looks for it later."))

    def __init__(self, *args: Any, kind: StudyKind, **options: Any) -> None:
        super().__init__(*args, **options)
        self.kind = kind
        for name in ("gauge", "tool", "terminal"):
            if name in kind.needs | kind.offers:
                model, key, label = SUBJECTS[name]
                field = KeyField(model, key, label=label, required=name in kind.needs)
                self.fields[name] = field
                field.offer()
        if kind.characteristics:
            choices = [(value, CHOICES[value]) for value in kind.characteristics]
            self.fields["characteristic"] = forms.ChoiceField(label=_("Characteristic"), choices=choices)
        for parameter in kind.parameters:
            self.fields[parameter.name] = _field(parameter)

    def subjects(self) -> dict[str, Any]:
        given = {name: self.cleaned_data.get(name) for name in ("gauge", "tool", "terminal")}
        return {**given, "characteristic": self.cleaned_data.get("characteristic", "")}

    def set_up(self) -> dict[str, str]:
        """The parameters as typed."""
        return {p.name: "yes" if self.cleaned_data[p.name] is True else str(self.cleaned_data[p.name] or "") for p in self.kind.parameters}


def _field(parameter: Parameter) -> forms.Field:
    common: dict[str, Any] = {
        "label": parameter.label,
        "help_text": parameter.help,
        "required": parameter.required and parameter.type != "yes",
        "initial": parameter.initial,
    }
    if parameter.type == "choice":
        choices = list(parameter.choices) if parameter.required else [("", "–"), *parameter.choices]
        return forms.ChoiceField(choices=choices, **common)
    if parameter.type == "yes":
        return forms.BooleanField(**{**common, "required": False, "initial": parameter.initial == "yes"})
    if parameter.type == "lines":
        return forms.CharField(widget=forms.Textarea(attrs={"rows": 4}), **common)
    return forms.CharField(max_length=200, widget=forms.TextInput(attrs={"autocomplete": "off"}), **common)
