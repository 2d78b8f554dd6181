"""The rows of a file held against the form and the constraints of their kind, before anything is written and without a lock.

The form of the kind stays the one place of the rules. What makes it quick: two forms a run (one for new items, one for existing ones),
other items found once for each number, existing items read in chunks, and constraints answered in Python where they surely hold.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django.core.exceptions import ValidationError
from django.db import models

from shop.acts.catalogue_file import FileRow
from shop.acts.import_report import Progress, RowError, row_errors
from shop.catalogue import Kind
from shop.constraints import checks_of, unique_indexes
from shop.finding import Refused, misfit
from shop.forms.fields import KeyField
from shop.forms.item import ItemForm, has_default
from shop.validation import clean, findings_from

CHUNK = 500
"""Rows between two looks at the progress, and existing items read at a time."""

Key = tuple[Any, ...]


@dataclass(slots=True)
class Checked:
    """A row that is in order. item: as it will be written. stood: the columns of the existing item as they were read, None for a new one.

    before, after: what the ledger keeps of it, only what changes; None where nothing does.
    """

    row: FileRow
    key: Key
    item: Any
    stood: tuple[Any, ...] | None = None
    before: dict[str, str] | None = None
    after: dict[str, str] | None = None

    @property
    def is_new(self) -> bool:
        return self.stood is None


class Check:
    """One run over the rows of a file."""

    def __init__(self, kind: Kind) -> None:
        self.kind = kind
        self.defaults = kind.stated(kind.model())
        self._with_default = frozenset(name for name in kind.form.base_fields if has_default(kind.model, name))
        self._forms: dict[bool, ItemForm] = {}
        self._fields = self._form(None).fields
        self.key_fields = {name: field for name, field in self._fields.items() if isinstance(field, KeyField)}
        self._checks = checks_of(kind.model)
        self._unique = unique_indexes(kind.model, but=kind.key)
        self.known = self.keys_now()
        self._lines: dict[Key, int] = {}

    def keys_now(self) -> dict[Key, int]:
        """All keys with the item's primary key, in one question: most rows of a large file are new, and need none of their own."""
        rows = self.kind.model._default_manager.order_by("-pk").values_list("pk", *self.kind.key)
        return {tuple(key): pk for pk, *key in rows}  # the oldest, should two have the same

    def _form(self, instance: models.Model | None) -> ItemForm:
        is_new = instance is None
        if is_new not in self._forms:
            form = self.kind.form({}, instance=instance)
            form.leave_constraints = True
            for name, field in form.fields.items():
                if isinstance(field, KeyField):
                    first = self._forms.get(not is_new)
                    other = first.fields.get(name) if first else None
                    field.remembered = other.remembered if isinstance(other, KeyField) else {}
            self._forms[is_new] = form
        return self._forms[is_new]

    def rows(self, rows: Sequence[FileRow], progress: Progress) -> tuple[list[Checked], list[RowError]]:
        """The rows that are in order, and what is wrong with the others."""
        good: list[Checked] = []
        errors: list[RowError] = []
        for begin in range(0, len(rows), CHUNK):
            progress("checking", begin, len(rows))
            chunk = rows[begin : begin + CHUNK]
            keys = [self._key(row) for row in chunk]
            existing = self._existing(self.known[key] for key in keys if key in self.known)
            for row, key in zip(chunk, keys, strict=True):
                try:
                    good.append(self._one(row, key, existing))
                except Refused as refused:
                    errors += row_errors(row.line, refused.findings)
        progress("checking", len(rows), len(rows))
        return good, errors

    def _key(self, row: FileRow) -> Key | None:
        """The key as parsed; None where it is wrong: the form says how."""
        try:
            values = [self._fields[name].clean(row.cells.get(name, "")) for name in self.kind.key]
        except ValidationError:
            return None
        return tuple(value.pk if isinstance(value, models.Model) else value for value in values)

    def _existing(self, pks: Iterable[int]) -> dict[int, Any]:
        rows = self.kind.model._default_manager.select_related(*self.key_fields)
        return rows.in_bulk(list(pks))

    def existing(self, row: FileRow) -> Any:
        """The existing item of one row, locked; None where it is new."""
        key = self._key(row)
        pk = self.known.get(key) if key is not None else None
        return self.kind.model._default_manager.select_for_update().filter(pk=pk).first() if pk is not None else None

    def _one(self, row: FileRow, key: Key | None, existing: Mapping[int, Any]) -> Checked:
        if key is not None:
            earlier = self._lines.setdefault(key, row.line)
            if earlier != row.line:
                raise Refused([misfit("data.invalid", self.kind.key[0], message=f"The same key stands in line {earlier} already.")])
        found = existing.get(self.known.get(key, 0)) if key is not None else None
        if found is None:
            item = self._checked(self.values_for(row, None), None, row)
            return Checked(row, key or (), item)
        stood, stated = columns_of(found), self.kind.stated(found)
        before = self.kind.recorded(found, stated)
        item = self._checked(self.values_for(row, stated), found, row)
        after = self.kind.recorded(item)
        checked = Checked(row, key or (), item, stood)
        differ = [name for name in after if before[name] != after[name]]
        if differ:
            checked.before = {name: before[name] for name in differ}
            checked.after = {name: after[name] for name in differ}
        return checked

    def _cells(self, row: FileRow) -> dict[str, str]:
        """An empty cell empties the field, or gives it its default."""
        return {name: cell if cell or name not in self._with_default else self.defaults[name] for name, cell in row.cells.items()}

    def values_for(self, row: FileRow, stated: Mapping[str, str] | None) -> dict[str, str]:
        """What goes into the form; stated: of the existing item, None for a new one. Raises Refused where an act of its own is needed."""
        cells = self._cells(row)
        if stated is None:
            return {**self.defaults, **cells}
        changed = [name for name in self.kind.form.only_new if name in cells and cells[name] != stated[name]]
        if changed:
            message = "It is changed on the item's own page, with a reason; leave the column out or as it is."
            raise Refused([misfit("data.invalid", name, message=message) for name in changed])
        return {**stated, **cells}

    def _checked(self, values: Mapping[str, Any], instance: models.Model | None, row: FileRow) -> Any:
        form = self._form(instance)
        form.turn_to(values, instance)
        if not form.is_valid():
            raise Refused(findings_from(ValidationError(form.errors.as_data())))
        item = form.instance
        if not all(holds(item) for holds in self._checks):
            clean(item)
        holder = item.pk if instance is not None else ("line", row.line)
        for index in self._unique:
            if not index.claim(item, holder):
                clean(item)  # where a row of the database has it, in the database's words
                raise Refused(findings_from(index.error(item)))
        return item

    def moved(self, checked: Sequence[Checked]) -> list[Checked]:
        """The rows whose ground has moved since they were checked: their key exists now, their item or one it names was changed.

        Called inside the transaction that writes; the existing items are locked.
        """
        gone = {name for name, field in self.key_fields.items() if self._has_moved(field)}
        now = self.keys_now() if any(one.is_new for one in checked) else {}
        standing: dict[int, tuple[Any, ...]] = {}
        old = [one.item.pk for one in checked if not one.is_new]
        names = _names(self.kind.model)
        for begin in range(0, len(old), CHUNK):
            locked = self.kind.model._default_manager.select_for_update().filter(pk__in=old[begin : begin + CHUNK])
            standing |= {values[0]: tuple(values[1:]) for values in locked.order_by("pk").values_list("pk", *names)}
        return [one for one in checked if gone or (one.key in now if one.is_new else standing.get(one.item.pk) != one.stood)]

    @staticmethod
    def _has_moved(field: KeyField) -> bool:
        remembered = field.remembered or {}
        return any(getattr(field.find(key), "pk", None) != getattr(found, "pk", None) for key, found in remembered.items())


def _names(model: type[models.Model]) -> list[str]:
    return [f.attname for f in model._meta.concrete_fields]


def columns_of(item: models.Model) -> tuple[Any, ...]:
    """The item's columns as the database gave them."""
    return tuple(getattr(item, name) for name in _names(type(item)))
