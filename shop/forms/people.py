"""Forms of people, their qualifications and their own account."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

from django import forms
from django.utils.datastructures import MultiValueDict
from django.utils.translation import gettext_lazy as _

from shop.forms.fields import DayField, KeyField, YesNoField
from shop.forms.item import ItemForm
from shop.people import Display, Language, Person, PersonRole, Qualification, Role


class RolesInput(forms.CheckboxSelectMultiple):
    def value_from_datadict(self, data: Mapping[str, Any], files: MultiValueDict[str, Any], name: str) -> Any:
        value = super().value_from_datadict(data, files, name)
        if isinstance(value, str):  # one cell of a file
            value = [value]
        return [word.strip() for cell in value or [] for word in re.split(r"[,;/|+]", cell) if word.strip()]


class PersonForm(ItemForm):
    is_active = YesNoField(label=_("Account open"), required=False)
    roles = forms.MultipleChoiceField(label=_("Roles"), choices=Role.choices, widget=RolesInput, required=False)

    class Meta:
        model = Person
        fields = ["username", "name", "badge", "email", "display", "language", "is_active"]

    def __init__(self, *args: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        if self.instance.pk:
            self.initial["roles"] = self._held()

    def _held(self) -> list[str]:
        if not self.instance.pk:
            return []
        return list(self.instance.person_roles.filter(stands_in_for=None).order_by("role").values_list("role", flat=True))

    def clean_badge(self) -> str | None:
        return self.cleaned_data["badge"] or None  # the column is unique: several people without a badge have null

    def extra_values(self) -> Mapping[str, Any]:
        return {"roles": sorted(self._held())}

    def save_extra(self) -> None:
        wanted, held = set(self.cleaned_data["roles"]), set(self._held())
        self.instance.person_roles.filter(role__in=held - wanted, stands_in_for=None).delete()
        PersonRole.objects.bulk_create(PersonRole(person=self.instance, role=role) for role in sorted(wanted - held))
        self.instance.__dict__.pop("roles", None)  # the cached roles are those of before

    def clean(self) -> dict[str, Any]:
        cleaned: dict[str, Any] = super().clean() or self.cleaned_data
        if not self.instance.pk:
            self.instance.set_unusable_password()  # until a password is handed out
        return cleaned


class StandInForm(forms.Form):
    """Who does somebody's work while they are away."""

    deputy = KeyField(Person, "username", only={"is_active": True}, label=_("Who stands in"), help_text=_("The user name."))
    role = forms.ChoiceField(label=_("With the role"))
    since = DayField(label=_("From"))
    until = DayField(label=_("Until"), help_text=_("That day included."))
    reason = forms.CharField(label=_("Reason"), max_length=200, help_text=_("Such as leave from to, or illness."))

    def __init__(self, *args: Any, roles: list[str], **options: Any) -> None:
        super().__init__(*args, **options)
        names = dict(Role.choices)
        field = self.fields["role"]
        if isinstance(field, forms.ChoiceField):
            field.choices = [(role, names[Role(role)]) for role in roles]
        deputy = self.fields["deputy"]
        if isinstance(deputy, KeyField):
            deputy.offer()


class QualificationForm(ItemForm):
    person = KeyField(Person, "username", only={"is_active": True}, label=_("Person"), help_text=_("The user name."))
    granted_on = DayField(label=_("Granted"))
    expires_on = DayField(label=_("Expires"), required=False)
    withdrawn_on = DayField(label=_("Withdrawn"), required=False, help_text=_("The first day on which it no longer holds."))

    class Meta:
        model = Qualification
        fields = ["person", "process", "tool_kind", "granted_on", "expires_on", "withdrawn_on", "trainer", "evidence"]


class SignInForm(forms.Form):
    username = forms.CharField(
        label=_("User name"), max_length=60, widget=forms.TextInput(attrs={"autocomplete": "username", "autofocus": True})
    )
    password = forms.CharField(
        label=_("Password"), max_length=200, strip=False, widget=forms.PasswordInput(attrs={"autocomplete": "current-password"})
    )


class SecretsForm(forms.Form):
    """A person's own password and PIN. The field names are those of `shop.sign_on.choose_secrets`' findings."""

    secret = forms.CharField(
        label=_("Password or PIN used so far"),
        max_length=200,
        strip=False,
        widget=forms.PasswordInput(attrs={"autocomplete": "current-password"}),
    )
    password = forms.CharField(
        label=_("New password"),
        max_length=200,
        strip=False,
        required=False,
        widget=forms.PasswordInput(attrs={"autocomplete": "new-password"}),
        help_text=_("Twelve characters or more; several words make a good one."),
    )
    password_again = forms.CharField(
        label=_("New password again"),
        max_length=200,
        strip=False,
        required=False,
        widget=forms.PasswordInput(attrs={"autocomplete": "new-password"}),
    )
    pin = forms.CharField(
        label=_("New PIN"),
        max_length=12,
        required=False,
        widget=forms.PasswordInput(attrs={"autocomplete": "off", "inputmode": "numeric"}),
        help_text=_("Six to twelve digits, for signing at a press."),
    )
    pin_again = forms.CharField(
        label=_("New PIN again"),
        max_length=12,
        required=False,
        widget=forms.PasswordInput(attrs={"autocomplete": "off", "inputmode": "numeric"}),
    )
    answers = forms.BooleanField(
        label=_("I answer for everything signed with them, as for my signature in ink, and I give them to nobody."), required=False
    )

    def clean(self) -> dict[str, Any]:
        cleaned: dict[str, Any] = super().clean() or self.cleaned_data
        for name in ("password", "pin"):
            if cleaned.get(name, "") != cleaned.get(f"{name}_again", ""):
                self.add_error(f"{name}_again", _("The two do not agree. Type them again."))
        return cleaned


class DisplayForm(forms.Form):
    display = forms.ChoiceField(label=_("Units shown"), choices=Display.choices)
    language = forms.ChoiceField(label=_("Language"), choices=[("", _("as the browser asks")), *Language.choices], required=False)
