"""Form fields that read what a shop writes: lengths in mm or inch, areas by gauge or stranding, forces, days, yes and no, and
other items by their number. They parse shape and unit; whether a value is right, the act decides.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from datetime import date, datetime
from decimal import ROUND_HALF_UP, Decimal
from functools import lru_cache
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.db import models
from django.utils.datastructures import MultiValueDict
from django.utils.translation import gettext_lazy as _

from shop.conductor import CSA_PLACES, NotASize, parse_size
from shop.finding import Finding, Verdict
from shop.quantity import NotAQuantity, parse_current_a, parse_force_n, parse_length_mm, parse_number, parse_temperature_c, parse_voltage_v
from shop.scanned import NotALabel, gtin14
from shop.specifications import Document
from shop.templatetags.shop import figure
from shop.wording import worded

LENGTH_PLACES = Decimal("0.0001")
FORCE_PLACES = Decimal("0.01")
CURRENT_PLACES = Decimal("0.001")
"""Named rules: a length or force converted from another unit is rounded half up to the places its column keeps."""

OFFERED = 500
"""Numbers offered while typing; further ones are found by typing them."""


class QuantityField(forms.Field):
    """A number with a unit, kept as an exact Decimal in the stored unit."""

    widget = forms.TextInput

    def __init__(self, **options: Any) -> None:
        super().__init__(**options)
        self.widget.attrs["autocomplete"] = "off"

    def read(self, text: str) -> Decimal | int:
        """The value of a text that is not empty. Raises NotAQuantity or NotASize."""
        raise NotImplementedError

    def to_python(self, value: Any) -> Decimal | int | None:
        if value is None or isinstance(value, Decimal | int):
            return value
        text = str(value).strip()
        if not text:
            return None
        try:
            return self.read(text)
        except (NotAQuantity, NotASize) as error:
            raise ValidationError(str(error), code="invalid") from error

    def prepare_value(self, value: Any) -> Any:
        return figure(value) if isinstance(value, Decimal) else value


# A file says the same few diameters again and again.
_length_mm = lru_cache(maxsize=2000)(parse_length_mm)


class LengthField(QuantityField):
    def read(self, text: str) -> Decimal:
        typed = _length_mm(text)
        converted = not re.fullmatch(r"[0-9.,\s]*(mm)?", text, re.I)
        return typed.value.quantize(LENGTH_PLACES, ROUND_HALF_UP) if converted else typed.value


class AreaField(QuantityField):
    """A conductor area. The field's label says mm², so a bare number is mm²; "AWG 20" is the area of the solid gauge."""

    def read(self, text: str) -> Decimal:
        if re.fullmatch(r"[+\-−]?[0-9.,\s]+", text):
            return parse_number(text)
        return parse_size(text).csa_mm2.quantize(CSA_PLACES, ROUND_HALF_UP)


class ForceField(QuantityField):
    def read(self, text: str) -> Decimal:
        typed = parse_force_n(text)
        converted = not re.fullmatch(r"[0-9.,\s]*N?", text, re.I)
        return typed.value.quantize(FORCE_PLACES, ROUND_HALF_UP) if converted else typed.value


class NumberField(QuantityField):
    """A number without a unit."""

    def read(self, text: str) -> Decimal:
        return parse_number(text)


class CurrentField(QuantityField):
    """A current in A."""

    def read(self, text: str) -> Decimal:
        value = parse_current_a(text).value.quantize(CURRENT_PLACES, ROUND_HALF_UP)
        if not 0 < value < 1_000_000:
            raise NotAQuantity(text, "a current in A", "It is not above zero, or far beyond any wire.", "not_a_number")
        return value


class _WholeField(QuantityField):
    def whole(self, text: str, value: Decimal, expected: str) -> int:
        if value != int(value):
            raise NotAQuantity(text, expected, "It is not a whole number.", "not_a_number")
        return int(value)


class CountField(_WholeField):
    """A whole number, zero or more."""

    def read(self, text: str) -> int:
        value = self.whole(text, parse_number(text, "a whole number"), "a whole number")
        if not 0 <= value <= 2_147_483_647:
            raise NotAQuantity(text, "a whole number", "It is below zero or too large.", "not_a_number")
        return value


class TemperatureField(_WholeField):
    def read(self, text: str) -> int:
        return self.whole(text, parse_temperature_c(text).value, "whole degrees")


class VoltageField(_WholeField):
    def read(self, text: str) -> int:
        return self.whole(text, parse_voltage_v(text).value, "whole volts")


class DayField(forms.DateField):
    """A day as 2026-03-02: the one spelling that every country reads the same way."""

    widget = forms.DateInput(format="%Y-%m-%d", attrs={"type": "date"})

    def __init__(self, **options: Any) -> None:
        super().__init__(input_formats=["%Y-%m-%d"], **options)
        self.error_messages["invalid"] = _("This is not a day. Write it as 2026-03-02.")

    def to_python(self, value: Any) -> date | None:
        if isinstance(value, datetime):
            return value.date()
        return super().to_python(value.strip() if isinstance(value, str) else value)


YES, NO = frozenset({"yes", "y", "true", "1", "on", "x"}), frozenset({"no", "n", "false", "0", "off", ""})


class CheckboxInput(forms.CheckboxInput):  # the name decides how a template draws the field
    def value_from_datadict(self, data: Mapping[str, Any], files: MultiValueDict[str, Any], name: str) -> Any:
        value = data.get(name, False)  # a box that is not ticked is not sent
        if isinstance(value, str):
            word = value.strip().lower()
            return True if word in YES else False if word in NO else value
        return bool(value)


class ItemNumberField(forms.CharField):
    """A GTIN of 8, 12, 13 or 14 figures, kept as 14."""

    def __init__(self, **options: Any) -> None:
        options.setdefault("label", _("Item number (GTIN)"))
        options.setdefault("help_text", _("As the supplier's labels carry it, 8 to 14 figures: a scanned label is recognised by it."))
        super().__init__(required=False, **options)

    def to_python(self, value: Any) -> str:
        text = str(super().to_python(value) or "").strip()
        try:
            return gtin14(text) if text else ""
        except NotALabel as error:
            said = worded(Finding(error.rule, Verdict.MISFIT, "gtin", error.compared))
            raise ValidationError(said.sentence, code="invalid") from error


class YesNoField(forms.BooleanField):
    """A tick on the page, a yes or no in a file; any other word is refused rather than taken for a yes."""

    widget = CheckboxInput

    def to_python(self, value: Any) -> bool:
        if isinstance(value, str):
            raise ValidationError(f'"{value}" is neither yes nor no.', code="invalid")
        return bool(value)


class KeyInput(forms.TextInput):
    """A text field that offers the numbers there are."""

    template_name = "widgets/key.html"
    offers: Iterable[str] = ()

    def get_context(self, name: str, value: Any, attrs: dict[str, Any] | None) -> dict[str, Any]:
        context = super().get_context(name, value, attrs)
        list_id = f"{context['widget']['attrs'].get('id', name)}_list"
        context["widget"]["attrs"]["list"] = list_id
        context["widget"]["list_id"] = list_id
        context["widget"]["offers"] = list(self.offers)
        return context


class KeyField(forms.CharField):
    """Another catalogue item, named by its number."""

    def __init__(self, model: type[models.Model], by: str, *, only: Mapping[str, Any] | None = None, **options: Any) -> None:
        super().__init__(widget=KeyInput(attrs={"autocomplete": "off"}), **options)
        self.model, self.by, self.only = model, by, dict(only or {})
        self.remembered: dict[str, Any] | None = None  # set for the rows of a file: what was found for a key, asked once

    def rows(self) -> models.QuerySet[Any]:
        return self.model._default_manager.filter(**self.only)

    def offer(self) -> None:
        """Let the widget offer the numbers, read when it is drawn."""
        assert isinstance(self.widget, KeyInput)  # noqa: S101  # for the type checker
        self.widget.offers = _Lazy(self)

    def keys(self) -> Sequence[str]:
        return list(self.rows().order_by(self.by).values_list(self.by, flat=True)[:OFFERED])

    def find(self, key: str) -> Any:
        return self.model._default_manager.filter(**{self.by: key}).first()

    def to_python(self, value: Any) -> Any:
        if value is None or isinstance(value, models.Model):
            return value
        key = str(value).strip()
        if not key:
            return None
        found = self._found(key)
        if found is None:
            thing = str(self.model._meta.verbose_name)
            raise ValidationError("There is no %(thing)s %(name)s.", code="data.unknown", params={"thing": thing, "name": key})
        return found

    def _found(self, key: str) -> Any:
        if self.remembered is None:
            return self.find(key)
        if key not in self.remembered:
            self.remembered[key] = self.find(key)
        return self.remembered[key]

    def run_validators(self, value: Any) -> None:
        """The text's own validators do not apply to the item found."""

    def prepare_value(self, value: Any) -> Any:
        return self.key_of(value) if isinstance(value, models.Model) else value

    def key_of(self, item: Any) -> str:
        return str(getattr(item, self.by))


class _Lazy:
    def __init__(self, field: KeyField) -> None:
        self.field = field

    def __iter__(self) -> Any:
        return iter(self.field.keys())


class DocumentField(KeyField):
    """A revision of a controlled document, named "AS-250 rev B"."""

    def __init__(self, **options: Any) -> None:
        super().__init__(Document, "number", **options)
        self.help_text = self.help_text or _("Number and revision, such as AS-250 rev B.")

    def keys(self) -> Sequence[str]:
        return [str(document) for document in self.rows()[:OFFERED]]

    def find(self, key: str) -> Any:
        number, word, revision = key.rpartition(" rev ")
        return self.rows().filter(number=number.strip(), revision=revision.strip()).first() if word else None

    def key_of(self, item: Any) -> str:
        return str(item)
