"""What a kind of the catalogue is: one entry per kind, from which pages, API and import take what they need."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.db import models
from django.db.models import Q
from django.utils.functional import Promise

from shop.forms.fields import KeyField
from shop.forms.item import ItemForm, has_default, text_of
from shop.jobs import Customer
from shop.people import Person, Qualification
from shop.permissions import Deed
from shop.standing import Standing, gauges_with_calibration
from shop.stations import Station
from shop.tools import Gauge

Text = str | Promise


@dataclass(frozen=True, slots=True)
class Column:
    """One column of a list. names: the model fields it shows (two for a range); through a relation as "wire__csa_mm2"."""

    label: Text
    names: tuple[str, ...]
    note: str = ""  # a further field in smaller type under the value


@dataclass(frozen=True, slots=True)
class Related:
    """Rows of another kind that belong to an item: field of that kind that points at it."""

    slug: str
    field: str
    title: Text


@dataclass(frozen=True, slots=True, kw_only=True)
class Kind:
    """One kind of catalogue item.

    slug: in addresses and commands. part: which of the six parts it belongs to. key: the fields that identify an item, also in a file.
    search: what the search looks through. filters: fields with choices offered above the list. computed: fields the form fills by itself.
    """

    slug: str
    model: type[models.Model]
    title: Text
    singular: Text
    part: str
    form: type[ItemForm]
    deed: Deed
    key: tuple[str, ...]
    columns: tuple[Column, ...]
    search: tuple[str, ...]
    filters: tuple[str, ...] = ()
    order: tuple[str, ...] = ()
    joined: tuple[str, ...] = ()
    computed: tuple[str, ...] = ()
    standing: Callable[[Any, date], Standing] | None = None
    related: tuple[Related, ...] = ()
    explain: Text = ""
    subject: str = ""  # by which records name it; empty: the slug

    def items(self, on: date) -> models.QuerySet[Any]:
        """All items with what their lists show, in the kind's order."""
        rows: models.QuerySet[Any] = self.model._default_manager.all()
        if self.joined:
            rows = rows.select_related(*self.joined)
        if self.model is Person:
            rows = rows.exclude(username="system").prefetch_related("person_roles")
        if self.model is Station:
            rows = rows.prefetch_related("own_tools")
        if self.model is Gauge:
            rows = gauges_with_calibration(rows, on)
        return rows.order_by(*self.order or self.key, "pk")

    def matching(self, rows: models.QuerySet[Any], words: str) -> models.QuerySet[Any]:
        """The items in which every word is found somewhere."""
        for word in words.split():
            condition = Q()
            for name in self.search:
                condition |= Q(**{f"{name}__icontains": word})
            rows = rows.filter(condition)
        return rows

    @property
    def import_columns(self) -> tuple[str, ...]:
        """Column names of a file, in the order of the template."""
        return tuple(self.form.base_fields)

    @property
    def required_columns(self) -> tuple[str, ...]:
        return tuple(name for name, field in self.form.base_fields.items() if field.required and not has_default(self.model, name))

    def key_of(self, item: models.Model) -> str:
        """The item's name for people, records and addresses of files."""
        if isinstance(item, Qualification):
            return " ".join(part for part in (item.person.username, item.process, item.tool_kind, str(item.granted_on)) if part)
        if isinstance(item, Person):
            return item.username
        if isinstance(item, Customer):
            return item.code
        return str(item)[:120]

    def extra_values(self, item: models.Model) -> dict[str, Any]:
        """What belongs to the item but stands in no column of it; a form is built only for a kind that has such things."""
        return dict(self.form(instance=item).extra_values()) if self.has_extras else {}

    def stated(self, item: models.Model) -> dict[str, str]:
        """What one would write into the form to get this item."""
        values: dict[str, Any] = {name: getattr(item, name, "") for name in self.form.base_fields} | self.extra_values(item)
        return {
            name: field.key_of(values[name]) if isinstance(field, KeyField) and values[name] else text_of(values[name])
            for name, field in self.form.base_fields.items()
        }

    @property
    def has_extras(self) -> bool:
        """Whether something belongs to an item that stands in no column of it, as a person's roles do."""
        return self.form.extra_values is not ItemForm.extra_values

    def recorded(self, item: models.Model, stated: Mapping[str, str] | None = None) -> dict[str, str]:
        """The item as the ledger keeps it: what was stated and what was computed from it. stated: where the caller has it already."""
        own = self._columns | (set(self.extra_values(item)) if self.has_extras else frozenset())
        kept = {name: text for name, text in (stated or self.stated(item)).items() if name in own}
        return kept | {name: text_of(getattr(item, name)) for name in self.computed}

    @property
    def _columns(self) -> frozenset[str]:
        return frozenset(f.name for f in self.model._meta.concrete_fields)
