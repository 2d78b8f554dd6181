"""A catalogue kind as a table: the columns of its import file, so that what is exported comes back unchanged."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Any

from django.db import models

from shop.catalogue import Kind
from shop.forms.fields import KeyField
from shop.forms.item import text_of
from shop.people import Person

CHUNK = 2000


def export_columns(kind: Kind) -> tuple[str, ...]:
    """The import columns that hold a value of the item; fields that only help to write others are left out."""
    own = {f.name for f in kind.model._meta.concrete_fields}
    if kind.model is Person:
        own.add("roles")
    return tuple(name for name in kind.import_columns if name in own)


def export_rows(kind: Kind, items: models.QuerySet[Any]) -> Iterator[list[str]]:
    """One row of text per item, in the order of `items`; read in chunks, so that a long list streams."""
    columns = export_columns(kind)
    fields = kind.form.base_fields
    keys = {name: field for name in columns if isinstance(field := fields[name], KeyField)}
    for item in _chunked(items):
        yield [
            keys[name].key_of(value) if name in keys and value is not None else text_of(value)
            for name, value in ((name, getattr(item, name)) for name in columns)
        ]


def _chunked(items: models.QuerySet[Any]) -> Iterable[Any]:
    # With a chunk size an iterator keeps the prefetches of its queryset (a person's roles).
    return items.iterator(chunk_size=CHUNK)
