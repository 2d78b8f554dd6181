"""How catalogue values read on a page: in the person's units, with the unit in the column head or behind the value."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any, cast

from django.db import models
from django.urls import reverse
from django.utils.translation import gettext as _

from shop.catalogue import Column, Kind, kind_of
from shop.fields import MillimetreField, NewtonField, SquareMillimetreField
from shop.figures import show_area, show_force, show_length, spoken
from shop.people import Display, Person
from shop.quantity import System
from shop.standing import Standing
from shop.templatetags.shop import figure


def system_of(person: Person) -> System:
    return "inch" if person.display == Display.INCH else "metric"


@dataclass(frozen=True, slots=True)
class Head:
    """A column head. sort: the address that sorts by it, or "". direction: "ascending", "descending" or ""."""

    label: str
    unit: str = ""
    css: str = ""
    sort: str = ""
    direction: str = ""


@dataclass(frozen=True, slots=True)
class Cell:
    text: str
    css: str = ""
    note: str = ""
    url: str = ""


@dataclass(frozen=True, slots=True)
class Row:
    """One item of a list: the first cell names it and leads to it."""

    first: Cell
    cells: tuple[Cell, ...]
    standing: Standing | None
    pk: int


@dataclass(frozen=True, slots=True)
class Fact:
    label: str
    text: str
    url: str = ""


def model_field(model: type[models.Model], path: str) -> models.Field[Any, Any] | None:
    """The field a path such as "wire__csa_mm2" ends at, or None for what is no column ("roles")."""
    field: Any = None
    for name in path.split("__"):
        field = next((f for f in model._meta.get_fields() if f.name == name), None)
        if field is not None and field.is_relation:
            model = cast("type[models.Model]", field.related_model)
    return field if isinstance(field, models.Field) else None


def unit_of(field: models.Field[Any, Any] | None, system: System) -> str:
    if isinstance(field, SquareMillimetreField):
        return "mm²" if system == "metric" else "cmil"
    if isinstance(field, MillimetreField):
        return "mm" if system == "metric" else "in"
    if isinstance(field, NewtonField):
        return "N" if system == "metric" else "lbf"
    return ""


def is_figure(field: models.Field[Any, Any] | None) -> bool:
    return isinstance(field, models.DecimalField | models.IntegerField) and not field.choices


def _value(item: Any, path: str) -> tuple[Any, Any]:
    """The last object on the path and the value there."""
    *before, last = path.split("__")
    for name in before:
        item = getattr(item, name)
    return item, getattr(item, last)


def shown(item: models.Model, path: str, system: System, *, unit: bool = True) -> str:
    """One value in words. unit: whether the unit stands behind it (it stands in the column head of a list)."""
    owner, value = _value(item, path)
    if value is None or value == "":
        return ""
    field = model_field(type(item), path)
    if isinstance(value, Decimal):
        if isinstance(field, SquareMillimetreField):
            text = show_area(value, system)
        elif isinstance(field, MillimetreField):
            text = show_length(value, system)
        elif isinstance(field, NewtonField):
            text = show_force(value, system)
        else:
            return spoken(figure(value))
        return text if unit else text.rpartition(" ")[0]
    if isinstance(value, bool):
        return _("yes") if value else _("no")
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, frozenset | set):
        return ", ".join(sorted(value))
    if field is not None and field.choices:
        return str(getattr(owner, f"get_{field.name}_display")())
    return str(value)


def label_of(kind: Kind, name: str) -> str:
    """The label of a form field without the unit at its end: the value carries it."""
    label = str(kind.form.base_fields[name].label or name)
    text, comma, unit = label.rpartition(", ")
    return text if comma and unit in ("mm", "mm²", "N", "m", "pieces", "°C", "V") else label


def heads(kind: Kind, columns: Sequence[Column], system: System, sorting: Sorting | None = None) -> list[Head]:
    made = []
    for column in columns:
        field = model_field(kind.model, column.names[0])
        css = "figure" if is_figure(field) else ""
        sort, direction = sorting.offer(column.names[0]) if sorting and field is not None else ("", "")
        made.append(Head(_sentence_case(str(column.label)), unit_of(field, system), css, sort, direction))
    return made


def _sentence_case(text: str) -> str:
    return text[:1].upper() + text[1:]


def row_of(kind: Kind, columns: Sequence[Column], item: models.Model, system: System, on: date) -> Row:
    cells = []
    for column in columns:
        field = model_field(kind.model, column.names[0])
        texts = [shown(item, name, system, unit=False) for name in column.names]
        text = texts[0] if len(texts) == 1 else _range(*texts)
        css = "figure" if is_figure(field) else "code" if column.names[0] in kind.key else ""
        cells.append(Cell(text, css, shown(item, column.note, system) if column.note else ""))
    first, *rest = cells
    standing = kind.standing(item, on) if kind.standing else None
    named = Cell(first.text or "–", first.css, first.note, reverse("shop:detail", args=[kind.slug, item.pk]))
    return Row(named, tuple(rest), standing, int(item.pk))


def _range(low: str, high: str) -> str:
    return f"{low} – {high}" if low and high else low or high


def facts_of(kind: Kind, item: models.Model, system: System) -> list[Fact]:
    """Everything stated about an item, in the order of its form; what is empty is left out."""
    made = []
    own = {f.name for f in kind.model._meta.get_fields()} | {"roles"}
    for name in (*kind.form.base_fields, *kind.computed):
        if name not in own:
            continue
        text = shown(item, name, system)
        if not text:
            continue
        if name in kind.form.base_fields:
            label = label_of(kind, name)
        else:
            field = model_field(kind.model, name)
            label = str(field.verbose_name).partition(",")[0] if field is not None else name
        value = getattr(item, name)
        other = kind_of(value) if isinstance(value, models.Model) else None
        url = reverse("shop:detail", args=[other.slug, value.pk]) if other else ""
        if name in ("temperature_rating_c", "voltage_rating_v"):
            text += " °C" if name.endswith("_c") else " V"
        made.append(Fact(_sentence_case(label), text, url))
    return made


@dataclass(frozen=True, slots=True)
class Sorting:
    """How a list is sorted: `by` is a field path, `query` the other parameters of the address, kept."""

    by: str
    descending: bool
    query: str

    def offer(self, name: str) -> tuple[str, str]:
        """The address that sorts by this field, and how it is sorted by it now."""
        mine = self.by == name
        turned = "-" if mine and not self.descending else ""
        joint = "&" if self.query else ""
        direction = ("descending" if self.descending else "ascending") if mine else ""
        return f"?{self.query}{joint}sort={turned}{name}", direction
