"""What the tool crib writes down about a tool: a wear part, a service, verification or repair, and the counter."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from shop.acts.crib import AFTER_FAILED_VERIFICATION
from shop.crib import CareKind, CareResult, WearKind
from shop.forms.fields import CountField, DayField, KeyField, LengthField
from shop.tools import Gauge, ToolState

_TODAY = _("Empty: today.")
_AS_IT_STANDS = _("Empty: as the counter stands.")


class WearPartForm(forms.Form):
    kind = forms.ChoiceField(label=_("Kind"), choices=WearKind.choices)
    part_number = forms.CharField(label=_("Part number"), max_length=60)
    serial = forms.CharField(label=_("Serial or lot"), max_length=60, required=False)
    life_crimps = CountField(label=_("Expected life, crimps"), required=False)
    fitted_on = DayField(label=_("Fitted"), required=False, help_text=_TODAY)
    at_count = CountField(label=_("At count"), required=False, help_text=_AS_IT_STANDS)
    reason = forms.CharField(
        label=_("Why the one before comes out"), max_length=200, required=False, help_text=_("Needed where one of that kind is fitted.")
    )

    def stated(self) -> dict[str, Any]:
        """The act's arguments. The form must be valid."""
        return dict(self.cleaned_data)


class CareForm(forms.Form):
    kind = forms.ChoiceField(label=_("What"), choices=CareKind.choices)
    result = forms.ChoiceField(label=_("Result"), choices=CareResult.choices)
    done_on = DayField(label=_("Done"), required=False, help_text=_TODAY)
    at_count = CountField(label=_("At count"), required=False, help_text=_AS_IT_STANDS)
    note = forms.CharField(label=_("What was done and found"), max_length=300)
    failed_state = forms.ChoiceField(
        label=_("If a verification failed, the tool goes"),
        choices=[(state.value, state.label) for state in AFTER_FAILED_VERIFICATION],
        initial=ToolState.IN_VERIFICATION,
        required=False,
    )

    def stated(self) -> dict[str, Any]:
        """The act's arguments. The form must be valid."""
        return dict(self.cleaned_data) | {"failed_state": self.cleaned_data["failed_state"] or ToolState.IN_VERIFICATION}


class CounterForm(forms.Form):
    count = CountField(label=_("The tool's own counter shows"))
    reason = forms.CharField(
        label=_("Reason"), max_length=200, required=False, help_text=_("Needed where the counter goes back, such as a new counter.")
    )

    def stated(self) -> dict[str, Any]:
        """The act's arguments. The form must be valid."""
        return dict(self.cleaned_data)


class ShutHeightForm(forms.Form):
    measured_mm = LengthField(label=_("Shut height measured, mm"), help_text=_("In mm, or with its unit: 5.346 in."))
    gauge = KeyField(Gauge, "asset_number", label=_("Gauge"))
    due_on = DayField(label=_("Next due"), help_text=_("The last day on which this verification holds."))
    done_on = DayField(label=_("Done"), required=False, help_text=_TODAY)
    note = forms.CharField(label=_("Note"), max_length=300, required=False)

    def stated(self) -> dict[str, Any]:
        """The act's arguments. The form must be valid."""
        return dict(self.cleaned_data)
