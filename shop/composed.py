"""Questions whose statement is put together once: what changes from one asking to the next has a name in it.

Composing a statement takes Django longer than a database takes to answer it from an index. An answer that needs thirty questions
spends most of its time there, so the questions of a trace are composed when they are first asked and only bound after that.
"""

from __future__ import annotations

import copy
import json
from collections.abc import Callable, Iterable, Mapping
from types import SimpleNamespace
from typing import Any, Generic, TypeVar
from weakref import WeakKeyDictionary

from django.db import DEFAULT_DB_ALIAS, connections, models
from django.db.models import BooleanField, Expression, Field, Func, Model, QuerySet

Row = TypeVar("Row")


class Given(Expression):
    """The place of one value in a composed question: `filter(shipment=Given("shipment"))`. field: what kind of value, a key if not said."""

    def __init__(self, name: str, field: Field[Any, Any] | None = None) -> None:
        super().__init__(output_field=field or models.BigIntegerField())
        self.name = name

    def as_sql(self, compiler: Any, connection: Any) -> tuple[str, tuple[Any, ...]]:
        return "%s", (_Place(self.name, self.output_field.get_db_prep_value),)


class AnyOf(Func):
    """A column is one of a list of values: `filter(AnyOf("batch", "batches"))`. The statement is the same for a list of any length."""

    output_field = BooleanField()

    def __init__(self, column: Any, name: str = "", **extra: Any) -> None:
        super().__init__(column, **extra)
        self.name = name

    def as_sql(self, compiler: Any, connection: Any, *_how: Any, **_context: Any) -> tuple[str, tuple[Any, ...]]:
        sql, params = compiler.compile(self.get_source_expressions()[0])
        test = "= ANY(%s)" if connection.vendor == "postgresql" else "IN (SELECT value FROM json_each(%s))"
        return f"{sql} {test}", (*params, _Place(self.name, _listed))


def _listed(values: Iterable[Any], connection: Any) -> Any:
    return list(values) if connection.vendor == "postgresql" else json.dumps(list(values))


class _Place:
    """Stands in the parameters of a composed statement until the value is known. prepared: makes of it what the database is sent."""

    def __init__(self, name: str, prepared: Callable[[Any, Any], Any]) -> None:
        self.name, self.prepared = name, prepared


class Composed(Generic[Row]):
    """A queryset that is composed at its first asking. Called with every value it names, it answers with a list of its rows.

    make: builds the queryset; `Given` and `AnyOf` in it name what is told at the asking. No prefetching, no slice that changes.
    along: foreign key -> question `by_key` after what it points at. Rows share what they point at, where a join would read it for each.
    Raises KeyError where a value is not told, TypeError where one is told that it does not name.
    """

    def __init__(self, make: Callable[[], QuerySet[Any, Row]], *, along: Mapping[str, Composed[Any]] | None = None) -> None:
        self._make = make
        self._along = along or {}
        self._by_vendor: dict[str, _Ready] = {}

    def __call__(self, **given: Any) -> list[Row]:
        rows = self._ready(connection := connections[DEFAULT_DB_ALIAS]).rows(given, connection)
        for column, question in self._along.items():
            keys = [getattr(row, f"{column}_id") for row in rows]
            things = {thing.pk: thing for thing in question(keys=set(keys) - {None})} if any(keys) else {}
            for row, key in zip(rows, keys, strict=True):
                setattr(row, column, things.get(key))
        return rows

    def statement(self, **given: Any) -> tuple[str, tuple[Any, ...]]:
        """The statement with its parameters, to stand inside a larger one."""
        return self._ready(connection := connections[DEFAULT_DB_ALIAS]).bound(given, connection)

    def _ready(self, connection: Any) -> _Ready:
        ready = self._by_vendor.get(connection.vendor)
        if ready is None:
            # Two threads may do it at once; both come to the same.
            ready = self._by_vendor[connection.vendor] = _Ready(self._make())
        return ready


def by_key(model: type[Model], *joined: str, along: Mapping[str, Composed[Any]] | None = None) -> Composed[Any]:
    """The rows of a model with the primary keys told as `keys`, in no order. joined: as `select_related` takes it."""
    # None joins nothing; without an argument everything a row needs would be joined.
    return Composed(lambda: model._default_manager.order_by().select_related(*joined or (None,)).filter(AnyOf("pk", "keys")), along=along)


def hang(parents: Iterable[Model], relation: str, question: Composed[Any]) -> list[Any]:
    """Ask for the rows that point at these, and keep them where `parent.relation.all()` finds them, as a prefetch does.

    question: names the parents as `keys`. Its rows come back; each knows its parent.
    """
    listed = list(parents)
    if not listed:
        return []
    field: Any = listed[0]._meta.get_field(relation)
    column, every = field.remote_field.name, field.related_model._default_manager.all()
    rows = question(keys={parent.pk for parent in listed})
    pointing: dict[Any, list[Any]] = {}
    for row in rows:
        pointing.setdefault(getattr(row, f"{column}_id"), []).append(row)
    for parent in listed:
        own = pointing.get(parent.pk, [])
        for row in own:
            setattr(row, column, parent)
        # As the parent's own manager would make it, which takes longer than reading the rows: asked for more, it knows whose they are.
        kept = every.all()
        kept._deferred_filter = (False, (), {column: parent})
        kept._result_cache, kept._prefetch_done = own, True
        parent.__dict__.setdefault("_prefetched_objects_cache", {})[relation] = kept
    return rows


class _Ready:
    """A queryset with its statement. Threads share it: what belongs to one asking is in copies."""

    def __init__(self, queryset: QuerySet[Any, Any]) -> None:
        if queryset._prefetch_related_lookups:  # type: ignore[attr-defined]  # nothing public tells
            raise TypeError("a composed question does not prefetch")
        self._queryset: Any = queryset
        self._query = queryset.query
        # The compiler is kept with the statement: it knows which column belongs to which field.
        self._compiler = self._query.get_compiler(using=DEFAULT_DB_ALIAS)
        self._sql, self._params = self._compiler.as_sql()
        self._names = {param.name for param in self._params if isinstance(param, _Place)}

    def bound(self, given: dict[str, Any], connection: Any) -> tuple[str, tuple[Any, ...]]:
        if given.keys() - self._names:
            raise TypeError(f"not asked about: {', '.join(sorted(given.keys() - self._names))}")
        params = (p.prepared(given[p.name], connection) if isinstance(p, _Place) else p for p in self._params)
        return self._sql, tuple(params)

    def _read(self, sql: str, params: tuple[Any, ...], connection: Any) -> list[Any]:
        """What the database answers, fetched at once: these answers are short, and Django would ask whether there is more."""
        with connection.cursor() as cursor:
            cursor.execute(sql, params)
            rows: list[Any] = cursor.fetchall()
        # What stands in the statement only to be ordered by.
        width = self._compiler.col_count if self._compiler.has_extra_select else None
        return rows if width is None else [row[:width] for row in rows]

    def rows(self, given: dict[str, Any], connection: Any) -> list[Any]:
        bound = self.bound(given, connection)
        compiler = copy.copy(self._compiler)
        compiler.connection = connection
        compiler.execute_sql = lambda *_args, **_how: [self._read(*bound, connection)]
        # What makes a column's value of what the database sent. The makers point at their connection, so they are kept there.
        kept_there = connection.__dict__.setdefault("composed_converters", WeakKeyDictionary())
        converters = kept_there.get(self)
        if converters is None:
            converters = kept_there[self] = compiler.get_converters([column[0] for column in compiler.select])
        compiler.get_converters = lambda _columns: converters
        query = copy.copy(self._query)
        query.get_compiler = lambda *_args, **_how: compiler  # type: ignore[method-assign]
        # What an iterable of rows looks at in its queryset.
        kept = self._queryset
        asked = SimpleNamespace(db=DEFAULT_DB_ALIAS, model=kept.model, query=query, _fields=kept._fields, _known_related_objects={})
        return list(kept._iterable_class(asked))
