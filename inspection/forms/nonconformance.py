"""The forms of a nonconformance, one for each step."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from inspection.acts.nonconformances import THINGS, ActionInput, CauseInput, MeasureInput, OpenInput, VerifyInput
from inspection.defect_kinds import is_kind, kind_choices, kind_words
from inspection.models import ActionKind, ActionResult, Batch, FoundAt, LinkKind, MeasureKind, Nonconformance, Origin, Scope, SetupPart
from shop.crib import Press
from shop.forms.fields import CountField, DayField, KeyField
from shop.forms.termination import SignForm
from shop.jobs import Customer
from shop.materials import Terminal, TerminalLot, Wire, WireLot
from shop.people import Person
from shop.tools import Tool

Area = forms.Textarea


def _kinds() -> list[Any]:
    return [("", ""), *kind_choices()]


class KindField(forms.ChoiceField):
    """A kind of defect. A planner's own criterion is offered where it is what was found."""

    def valid_value(self, value: Any) -> bool:
        return super().valid_value(value) or is_kind(str(value))


class NonconformanceForm(forms.Form):
    what = forms.CharField(label=_("What was found"), max_length=500, widget=Area)
    requirement = forms.CharField(
        label=_("Requirement it breaks"), max_length=300, help_text=_("Document and figure, as an auditor would ask.")
    )
    defect_kind = KindField(label=_("Kind of defect"), choices=_kinds)
    origin = forms.ChoiceField(label=_("Brought up by"), choices=Origin.choices)
    found_at = forms.ChoiceField(label=_("Found at"), choices=FoundAt.choices)
    quantity = CountField(label=_("Pieces concerned"), required=False, help_text=_("Left empty where nobody knows yet."))
    customer = KeyField(Customer, "code", label=_("Customer"), required=False, help_text=_("Of a complaint."))
    customer_reference = forms.CharField(label=_("The customer's own number"), max_length=60, required=False)
    batch = KeyField(Batch, "number", label=_("Batch"), required=False)
    tool = KeyField(Tool, "asset_number", label=_("Tool"), required=False)
    press = KeyField(Press, "asset_number", label=_("Press"), required=False)
    terminal = KeyField(Terminal, "part_number", label=_("Terminal"), required=False)
    wire = KeyField(Wire, "part_number", label=_("Wire"), required=False)
    terminal_lot = KeyField(TerminalLot, "lot_number", label=_("Terminal lot"), required=False)
    wire_lot = KeyField(WireLot, "lot_number", label=_("Wire lot"), required=False)
    person = KeyField(
        Person,
        "username",
        label=_("Person at the press"),
        required=False,
        help_text=_("Only where training may be what is missing. Quality alone sees it; it is on no printed report."),
    )

    def __init__(self, *args: Any, with_person: bool = False, **options: Any) -> None:
        super().__init__(*args, **options)
        if not with_person:
            del self.fields["person"]
        for name in ("customer", "tool", "press", "terminal", "wire"):
            field = self.fields[name]
            if isinstance(field, KeyField):
                field.offer()
        kind = str(self["defect_kind"].value() or "")
        if kind.startswith("own.") and is_kind(kind):
            field = self.fields["defect_kind"]
            if isinstance(field, forms.ChoiceField):
                field.choices = [*_kinds(), (kind, kind_words(kind))]

    def groups_shown(self) -> list[tuple[Any, list[list[forms.BoundField]]]]:
        """The fields in groups, rows of a group side by side."""
        groups = (
            ("", (("what",), ("requirement",), ("defect_kind",), ("origin", "found_at", "quantity"))),
            (
                _("What it may have to do with"),
                (("batch", "tool", "press"), ("terminal", "wire"), ("terminal_lot", "wire_lot"), ("person",)),
            ),
            (_("A customer's complaint"), (("customer", "customer_reference"),)),
        )
        return [
            (title, [shown for row in rows if (shown := [self[name] for name in row if name in self.fields])]) for title, rows in groups
        ]

    def stated(self) -> OpenInput:
        return OpenInput(**self.cleaned_data)

    @staticmethod
    def initial_of(stated: OpenInput) -> dict[str, Any]:
        own = ("what", "requirement", "defect_kind", "origin", "found_at", "quantity", "customer_reference")
        return {name: getattr(stated, name) for name in (*own, *THINGS)}


class CauseForm(forms.Form):
    parts = forms.MultipleChoiceField(label=_("Which part failed"), choices=SetupPart.choices, widget=forms.CheckboxSelectMultiple)
    occurred = forms.CharField(label=_("Why it occurred"), max_length=500, widget=Area)
    undetected = forms.CharField(label=_("Why it was not noticed earlier"), max_length=500, widget=Area)
    because = forms.CharField(
        label=_("Because"),
        required=False,
        max_length=1200,
        widget=Area,
        help_text=_("Up to five lines, each the reason of the one above it. Stop where you can do something about it."),
    )

    def stated(self) -> CauseInput:
        given = self.cleaned_data
        return CauseInput(tuple(given["parts"]), given["occurred"], given["undetected"], tuple(given["because"].splitlines()))


class ActionForm(forms.Form):
    kind = forms.ChoiceField(label=_("What for"), choices=ActionKind.choices)
    what = forms.CharField(label=_("What is done"), max_length=500, widget=Area)
    responsible = KeyField(
        Person,
        "username",
        only={"is_active": True},
        label=_("Who sees to it"),
        help_text=_("User name. This person may end it, whatever their role."),
    )
    due_on = DayField(label=_("Until"))

    def __init__(self, *args: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        field = self.fields["responsible"]
        if isinstance(field, KeyField):
            field.offer()

    def stated(self) -> ActionInput:
        return ActionInput(**self.cleaned_data)


class EndActionForm(forms.Form):
    result = forms.ChoiceField(label=_("How it ended"), choices=ActionResult.choices, widget=forms.RadioSelect, initial=ActionResult.DONE)
    evidence = forms.CharField(
        label=_("Evidence"),
        max_length=500,
        widget=Area,
        help_text=_("What shows that it is done: a number, a document, a place. Dropped: why."),
    )


class MeasureForm(forms.Form):
    kind = forms.ChoiceField(label=_("What will prove it"), choices=MeasureKind.choices, widget=forms.RadioSelect)
    scope = forms.ChoiceField(label=_("Counted"), choices=[], required=False)
    target = CountField(label=_("How many pieces or batches"), required=False)
    until = DayField(label=_("Until which day"), required=False)
    text = forms.CharField(
        label=_("In words"),
        max_length=500,
        required=False,
        widget=Area,
        help_text=_("Needed for a study or a proof in words: what has to be seen."),
    )

    def __init__(self, *args: Any, record: Nonconformance, **options: Any) -> None:
        super().__init__(*args, **options)
        named = [s for s in Scope if s == Scope.EVERYWHERE or getattr(record, f"{s.value}_id") is not None]
        words = {s: "" if s in (Scope.EVERYWHERE, Scope.PERSON) else f" {getattr(record, s.value)}" for s in named}
        field = self.fields["scope"]
        if isinstance(field, forms.ChoiceField):
            field.choices = [(s.value, f"{s.label}{words[s]}") for s in named]

    def stated(self) -> MeasureInput:
        return MeasureInput(**self.cleaned_data)


class VerifyForm(SignForm):
    worked = forms.ChoiceField(
        label=_("Did it work"), choices=[("yes", _("it worked")), ("no", _("it did not work"))], widget=forms.RadioSelect
    )
    study = forms.CharField(label=_("Study"), max_length=60, help_text=_("Its number, signed after the actions were done."))
    text = forms.CharField(label=_("What was seen"), max_length=500, widget=Area)

    field_order = ("worked", "study", "text", "secret")

    def __init__(self, *args: Any, kind: str, **options: Any) -> None:
        super().__init__(*args, **options)
        if kind != MeasureKind.TEXT:
            del self.fields["worked"]
        if kind != MeasureKind.STUDY:
            del self.fields["study"]

    def stated(self) -> VerifyInput:
        given = self.cleaned_data
        worked = {"yes": True, "no": False}.get(given.get("worked", ""))
        return VerifyInput(given["text"], worked, given.get("study", ""))


class CloseForm(SignForm):
    conclusion = forms.CharField(label=_("Conclusion"), max_length=500, widget=Area)

    field_order = ("conclusion", "secret")


class CorrectionOnlyForm(SignForm):
    without_action_because = forms.CharField(
        label=_("No corrective action, because"), max_length=500, widget=Area, help_text=_("Why the correction is enough here.")
    )

    field_order = ("without_action_because", "secret")


class ReopenForm(forms.Form):
    reason = forms.CharField(label=_("Why it is opened again"), max_length=500, widget=Area)


class LinkForm(forms.Form):
    kind = forms.ChoiceField(
        label=_("What"),
        choices=[(kind.value, kind.label) for kind in LinkKind if kind not in (LinkKind.HOLD, LinkKind.INSPECTION)],
    )
    number = forms.CharField(label=_("Number"), max_length=60)
