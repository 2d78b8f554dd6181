"""Bodies that a form reads: the form of the page parses the API's values too, so that no unit and no number is parsed in two ways."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from drf_spectacular.drainage import set_override
from rest_framework import serializers

from shop.api.fields import AnyField, Asked, FigureIn
from shop.finding import Refused
from shop.forms.fields import DayField, QuantityField, YesNoField
from shop.forms.item import ItemForm, text_of
from shop.validation import findings_from


class DayIn(serializers.CharField):
    """A day as 2026-03-02, which the form reads."""

    def __init__(self, **options: Any) -> None:
        super().__init__(**options)
        set_override(self, "field", {"type": "string", "format": "date"})


class ChoiceIn(serializers.CharField):
    """One of the form's choices. They stand in an allOf, so that the schema does not make a component of every list of words."""

    def __init__(self, words: list[str], **options: Any) -> None:
        super().__init__(**options)
        set_override(self, "field", {"allOf": [{"type": "string", "enum": words}]})


def field_in(field: forms.Field, *, required: bool) -> AnyField:
    """A serializer field that takes the shape of a value and leaves its meaning to the form."""
    options: dict[str, Any] = {"required": required, "help_text": " ".join(str(t) for t in (field.label, field.help_text) if t)}
    if isinstance(field, QuantityField):
        return FigureIn(allow_null=True, **options)
    if isinstance(field, YesNoField):
        return serializers.BooleanField(**options)
    if isinstance(field, forms.MultipleChoiceField):
        return serializers.ListField(child=serializers.CharField(max_length=40), **options)
    text = {"allow_blank": True, "allow_null": True, "max_length": 1000, "trim_whitespace": False} | options
    if isinstance(field, DayField):
        return DayIn(**text)
    if isinstance(field, forms.ChoiceField):
        choices: Any = field.choices
        return ChoiceIn([str(value) for value, _label in choices], **text)
    return serializers.CharField(**text)


def body_of(
    form: type[forms.Form] | type[ItemForm],
    name: str,
    *,
    required: Collection[str] = (),
    without: Collection[str] = (),
    about: str = "",
    **more: AnyField,
) -> type[Asked]:
    """A serializer with the fields of a form. What is required is said by the schema only: the form refuses with all its findings."""
    fields: dict[str, Any] = {
        key: field_in(field, required=key in required) for key, field in form.base_fields.items() if key not in without
    }
    return type(name, (Asked,), {**fields, **more, "__doc__": about or None})


def written(values: Mapping[str, Any]) -> dict[str, Any]:
    """The values as one would write them into the form."""
    return {name: value if isinstance(value, list) else text_of(value) for name, value in values.items()}


def read_by(form: forms.BaseForm) -> forms.BaseForm:
    """The form, if it understands everything. Raises Refused with a finding for each field."""
    if not form.is_valid():
        raise Refused(findings_from(ValidationError(form.errors.as_data())))
    return form
