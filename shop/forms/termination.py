"""Forms of the plan: a termination, and the questions asked when a sheet is returned, revised, released or withdrawn."""

from __future__ import annotations

from typing import Any, ClassVar

from django import forms
from django.utils.translation import gettext_lazy as _

from shop.acts.sheets import STATED, TerminationInput
from shop.crib import Press
from shop.forms.fields import CountField, CurrentField, KeyField, LengthField, TemperatureField, VoltageField, YesNoField
from shop.jobs import Termination
from shop.materials import Terminal, Wire
from shop.tools import Tool

WIRES = ("wire_1", "wire_2", "wire_3", "wire_4")
PLAN = (
    "first_piece_heights",
    "first_piece_pulls",
    "cross_sections",
    "sample_every",
    "sample_every_minutes",
    "sample_size",
    "last_piece_pulls",
    "inspector_signs",
    "rework_allowed",
)


class TerminationForm(forms.Form):
    """What a planner states about one end of a lead."""

    # Where a finding about something the form splits or gathers is shown.
    places: ClassVar[dict[str, str]] = {"wires": "wire_1", "specification": "terminal"}

    lead = forms.CharField(label=_("Lead"), max_length=60)
    end = forms.CharField(label=_("End"), max_length=20)
    circuit = forms.CharField(label=_("Circuit"), max_length=60, required=False)
    quantity = CountField(label=_("Pieces"))
    wire_1 = KeyField(Wire, "part_number", only={"is_active": True}, label=_("Wire"))
    wire_2 = KeyField(Wire, "part_number", only={"is_active": True}, label=_("Second wire"), required=False)
    wire_3 = KeyField(Wire, "part_number", only={"is_active": True}, label=_("Third wire"), required=False)
    wire_4 = KeyField(Wire, "part_number", only={"is_active": True}, label=_("Fourth wire"), required=False)
    terminal = KeyField(Terminal, "part_number", only={"is_active": True}, label=_("Terminal"))
    wire_length_mm = LengthField(label=_("Wire length, mm"), required=False)
    required_temperature_c = TemperatureField(label=_("Temperature asked, °C"), required=False)
    required_voltage_v = VoltageField(label=_("Voltage asked, V"), required=False)
    required_current_a = CurrentField(label=_("Current asked, A"), required=False)
    dipped_end = YesNoField(label=_("The end is dipped in solder"), required=False)
    tool = KeyField(Tool, "asset_number", label=_("Tool"), required=False)
    press = KeyField(Press, "asset_number", label=_("Press"), required=False)
    first_piece_heights = CountField(label=_("Crimp heights on the first piece"))
    first_piece_pulls = CountField(label=_("Pull tests on the first piece"))
    cross_sections = CountField(label=_("Cross-sections on the first piece"), required=False)
    sample_every = CountField(label=_("Sample every, pieces"))
    sample_every_minutes = CountField(label=_("and every, minutes"), required=False)
    sample_size = CountField(label=_("Pieces in a sample"))
    last_piece_pulls = CountField(label=_("Pull tests on the last piece"))
    inspector_signs = YesNoField(label=_("An inspector countersigns the first piece"), required=False)
    rework_allowed = YesNoField(label=_("Held pieces may be reworked"), required=False)

    def __init__(self, *args: Any, termination: Termination | None = None, quantity: int | None = None, **options: Any) -> None:
        shown = termination or Termination()
        names = [name for name in self.base_fields if name not in WIRES and name not in ("tool", "press", "terminal")]
        initial: dict[str, Any] = {name: getattr(shown, name) for name in names}
        if termination is not None:
            initial |= {"tool": termination.tool, "press": termination.press, "terminal": termination.terminal}
            initial |= dict(zip(WIRES, termination.ordered_wires(), strict=False))
        elif quantity is not None:
            initial["quantity"] = quantity
        options["initial"] = initial
        super().__init__(*args, **options)
        for name in (*WIRES, "terminal"):
            field = self.fields[name]
            assert isinstance(field, KeyField)  # noqa: S101  # for the type checker
            field.offer()

    def chosen(self, name: str) -> Any:
        """The wire, terminal or tool of a field as far as it is understood: typed, else as it stood before."""
        if self.is_bound:
            self.is_valid()
            return self.cleaned_data.get(name)
        return self.initial.get(name)

    def wires(self) -> list[Wire]:
        return [wire for wire in (self.chosen(name) for name in WIRES) if wire is not None]

    def stated(self) -> TerminationInput:
        """The act's input. The form must be valid."""
        given = {name: self.cleaned_data[name] for name in STATED}
        given["cross_sections"] = given["cross_sections"] or 0  # left empty: none
        given["sample_every_minutes"] = given["sample_every_minutes"] or None
        return TerminationInput(wires=self.wires(), **given)


class ReasonForm(forms.Form):
    reason = forms.CharField(label=_("What changes and why"), max_length=300, widget=forms.Textarea)


class CommentForm(forms.Form):
    comment = forms.CharField(label=_("Comment for the author"), max_length=500, widget=forms.Textarea)


class SignForm(forms.Form):
    secret = forms.CharField(
        label=_("Your PIN or password"),
        max_length=200,
        strip=False,
        widget=forms.PasswordInput(attrs={"autocomplete": "off"}),
    )


class WithdrawForm(SignForm):
    reason = forms.CharField(label=_("Why it is withdrawn"), max_length=300, widget=forms.Textarea)

    field_order = ("reason", "secret")
