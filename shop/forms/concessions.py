"""The form in which quality states a concession, and the one in which it ends one."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from shop.acts.concessions import Scope, concedable_rules
from shop.forms.fields import CountField, DayField
from shop.forms.termination import SignForm
from shop.jobs import SetupSheet, Termination
from shop.materials import TerminalLot, WireLot
from shop.wording import RULES


def _rules() -> list[tuple[str, str]]:
    return [("", ""), *((code, f"{RULES[code].title} ({code})") for code in concedable_rules())]


class ConcessionForm(SignForm):
    """covers: a sheet as "J-1001-S1 rev 2", a termination as "J-1001-S1 rev 2 1/A", or the number of a material lot."""

    places = {"scope": "covers"}

    rule = forms.ChoiceField(label=_("Rule that is let through"), choices=_rules)
    covers = forms.CharField(
        label=_("For"),
        max_length=140,
        help_text=_("A sheet (J-1001-S1 rev 2), one termination (J-1001-S1 rev 2 1/A) or a material lot (WL-26-0411)."),
    )
    quantity_limit = CountField(label=_("Pieces at most"), required=False)
    expires_on = DayField(label=_("Last day"), required=False)
    reason = forms.CharField(label=_("Why it is acceptable"), max_length=300, widget=forms.Textarea)

    field_order = ("rule", "covers", "quantity_limit", "expires_on", "reason", "secret")

    def clean_covers(self) -> Scope:
        text = str(self.cleaned_data["covers"]).strip()
        scope = scope_named(text)
        if scope is None:
            raise forms.ValidationError(_("Nothing is called %(name)s."), code="invalid", params={"name": text})
        return scope

    def stated(self) -> dict[str, Any]:
        """The act's arguments. The form must be valid."""
        own = {name: self.cleaned_data[name] for name in ("rule", "quantity_limit", "expires_on", "reason")}
        return own | {"scope": self.cleaned_data["covers"]}


def scope_named(text: str) -> Scope | None:
    """What a name stands for: a material lot, a sheet revision, or one termination of it."""
    wire_lot = WireLot.objects.filter(lot_number__iexact=text).first()
    if wire_lot is not None:
        return Scope(wire_lot=wire_lot)
    terminal_lot = TerminalLot.objects.filter(lot_number__iexact=text).first()
    if terminal_lot is not None:
        return Scope(terminal_lot=terminal_lot)
    number, separator, rest = text.partition(" rev ")
    revision, _space, place = rest.strip().partition(" ")
    if not separator or not revision.isdigit():
        return None
    sheet = SetupSheet.objects.filter(number__iexact=number.strip(), revision=int(revision)).first()
    if sheet is None or not place.strip():
        return Scope(sheet=sheet) if sheet is not None else None
    lead, slash, end = place.strip().partition("/")
    termination = Termination.objects.filter(sheet=sheet, lead=lead.strip(), end=end.strip()).select_related("sheet").first()
    return Scope(termination=termination) if slash and termination is not None else None


class EndConcessionForm(SignForm):
    reason = forms.CharField(label=_("Why it ends"), max_length=300, widget=forms.Textarea)

    field_order = ("reason", "secret")
