"""What the acts of a set-up leave in the database, put back for the next test row by row instead of acted anew.

A test begins with an empty shop, and most begin by making the same people, catalogue, sheet and batch through a hundred acts. A function
or fixture marked `remembered` does so for real at first; then what it left (rows new and changed, files) and what it gave are kept, and a
later test whose database stands where it stood gets both. Whatever is not the same runs for real: other arguments, settings, language or
day, rows written by somebody else before it, and in any case after `KEPT_FOR`, as things of a shop grow old.

It must not change what it was given: that change would not come back.
"""

from __future__ import annotations

import functools
import itertools
import pickle
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field, fields, is_dataclass
from datetime import date, datetime, timedelta
from decimal import Decimal
from enum import Enum
from pathlib import Path
from typing import Any, TypeVar

from django.apps import apps
from django.conf import settings
from django.db import connection
from django.db.models import Model
from django.utils import translation
from psycopg import sql

from shop.clock import now, shop_day

KEPT_FOR = timedelta(minutes=4)
OF_A_TEST = ("MEDIA_ROOT", "STATIC_ROOT", "SHOP_KEY_DIR")
"""Settings that differ from test to test because they name its own folder."""

Rows = dict[Any, tuple[Any, ...]]
Result = TypeVar("Result")


@dataclass(frozen=True)
class Change:
    """What one set-up did to one table. columns: the first is the primary key."""

    table: str
    columns: tuple[str, ...]
    new: list[tuple[Any, ...]]
    changed: list[tuple[Any, ...]]
    gone: list[Any]


@dataclass(frozen=True)
class Memory:
    number: int
    at: datetime
    changes: list[Change]
    files: dict[str, bytes]
    after_commit: list[tuple[Callable[[], Any], bool]]
    given: bytes

    @functools.cached_property
    def script(self) -> str:
        """All of it in one message to PostgreSQL: a literal takes the type of its column."""

        def text(value: Any) -> str:
            return sql.Literal(value).as_string(connection.connection)

        lines = []
        for change in self.changes:
            table, names = _quoted(change.table), [_quoted(c) for c in change.columns]
            lines += [f"DELETE FROM {table} WHERE {names[0]} = {text(key)}" for key in change.gone]  # noqa: S608
            if change.new:
                rows = ", ".join(f"({', '.join(text(value) for value in row)})" for row in change.new)
                lines.append(f"INSERT INTO {table} ({', '.join(names)}) VALUES {rows}")  # noqa: S608
            for row in change.changed:
                sets = ", ".join(f"{name} = {text(value)}" for name, value in zip(names[1:], row[1:], strict=True))
                lines.append(f"UPDATE {table} SET {sets} WHERE {names[0]} = {text(row[0])}")  # noqa: S608
        return ";\n".join(lines)


READING = ("BEGIN", "SELECT", "SAVEPOINT", "RELEASE", "ROLLBACK", "SET", "PRAGMA", "LOCK")


@dataclass
class _Test:
    """Where the running test's database stands: what was put there by remembered set-ups, and what was sent since that may write."""

    stands_on: tuple[Any, ...] = ()
    known: bool = True
    unknown: int = 0
    depth: int = 0

    def count(self, execute: Callable[..., Any], statement: Any, params: Any, many: bool, context: Any) -> Any:
        if not str(statement).lstrip("( \n").startswith(READING):
            self.unknown += 1
        return execute(statement, params, many, context)


@dataclass
class _Run:
    memories: dict[tuple[Any, ...], Memory] = field(default_factory=dict)
    seen: Counter[tuple[Any, ...]] = field(default_factory=Counter)
    numbers: Any = field(default_factory=lambda: itertools.count(1))
    test: _Test | None = None


_run = _Run()


@contextmanager
def one_test() -> Iterator[None]:
    """A test begins: its database holds what the migrations left."""
    _run.test = test = _Test()
    with connection.execute_wrapper(test.count):
        yield
    _run.test = None


def remembered(act: Callable[..., Result]) -> Callable[..., Result]:
    """Mark a function that brings the shop somewhere through acts, the same for the same arguments."""

    @functools.wraps(act)
    def recalled(*args: Any, **kwargs: Any) -> Result:
        test = _run.test
        # One inside another belongs to the outer; without a transaction to undo it, nothing is put back.
        if test is None or test.depth or not connection.in_atomic_block:
            return act(*args, **kwargs)
        test.depth += 1
        try:
            given: Result = _recall(test, act, args, kwargs)
            return given
        finally:
            test.depth -= 1

    return recalled


def _recall(test: _Test, act: Callable[..., Any], args: tuple[Any, ...], kwargs: dict[str, Any]) -> Any:
    test.known = test.known and not test.unknown
    at, around = now(), (_overridden(), translation.get_language(), shop_day(now()))
    kind = (act.__module__, act.__qualname__, _told([args, kwargs], keys=False))
    key = (test.stands_on, kind, _told([args, kwargs]), around)
    _run.seen[kind] += 1
    memory = _run.memories.get(key) if test.known else None
    if memory is not None and timedelta() <= at - memory.at < KEPT_FOR:
        _put_back(memory)
        given = pickle.loads(memory.given)  # noqa: S301  # pickled below, in this process
        test.stands_on = (*test.stands_on, memory.number)
    elif test.known and _run.seen[kind] > 1:
        given, memory = _kept(act, args, kwargs, at)
        _run.memories[key] = memory
        test.stands_on = (*test.stands_on, memory.number)
    else:
        # Kept at the second time: most combinations come up only once, and looking at every table before and after takes as long as an act.
        test.known = False
        given = act(*args, **kwargs)
    test.unknown = 0
    return given


def _kept(act: Callable[..., Any], args: tuple[Any, ...], kwargs: dict[str, Any], at: datetime) -> tuple[Any, Memory]:
    before, files, waiting = _tables(), _files(), len(connection.run_on_commit)
    given = act(*args, **kwargs)
    after = [(do, robust) for _sids, do, robust in connection.run_on_commit[waiting:]]
    new = {name: data for name, data in _files().items() if files.get(name) != data}
    return given, Memory(next(_run.numbers), at, _changes(before, _tables()), new, after, pickle.dumps(given))


def _told(value: Any, *, keys: bool = True) -> Any:
    """An argument as something to compare, a row by its key, what has no value by its type. keys: whether keys are told."""
    if isinstance(value, Model):
        return (value._meta.label, value.pk if keys else None)
    if isinstance(value, dict):
        return tuple(sorted((str(k), _told(v, keys=keys)) for k, v in value.items()))
    if isinstance(value, (list, tuple)):
        return tuple(_told(v, keys=keys) for v in value)
    if is_dataclass(value) and not isinstance(value, type):
        return (type(value).__name__, *(_told(getattr(value, f.name), keys=keys) for f in fields(value)))
    if value is None or isinstance(value, (str, int, bool, Decimal, date, Enum)):
        return (type(value).__name__, str(value))
    return getattr(value, "__qualname__", type(value).__qualname__)


def _overridden() -> tuple[tuple[str, str], ...]:
    """The settings that tests have changed."""
    found: dict[str, str] = {}
    layer = settings._wrapped
    while hasattr(layer, "default_settings"):
        for name, value in vars(layer).items():
            if name.isupper() and name not in OF_A_TEST:
                found.setdefault(name, repr(value))
        layer = layer.default_settings
    return tuple(sorted(found.items()))


@functools.cache
def _columns() -> dict[str, tuple[str, ...]]:
    """Table -> its columns, the primary key first."""
    found = {}
    for model in apps.get_models(include_auto_created=True):
        meta = model._meta
        if meta.managed and not meta.proxy:
            columns = [f.column for f in meta.local_concrete_fields if not f.generated]
            found[meta.db_table] = (meta.pk.column, *(c for c in columns if c != meta.pk.column))
    return found


def _tables() -> dict[str, Rows]:
    """Every row of every table as the database keeps it: text in PostgreSQL, in SQLite whatever is stored."""
    raw = "{}::text" if connection.vendor == "postgresql" else "+{}"  # SQLite converts what has a column's type
    found: dict[str, Rows] = {}
    with connection.cursor() as cursor:
        for table, columns in _columns().items():
            wanted = ", ".join(raw.format(_quoted(c)) for c in columns)
            cursor.execute(f"SELECT {wanted} FROM {_quoted(table)}")  # noqa: S608  # names of our own models
            found[table] = {row[0]: tuple(row) for row in cursor.fetchall()}
    return found


def _changes(before: dict[str, Rows], after: dict[str, Rows]) -> list[Change]:
    found = []
    for table, columns in _columns().items():
        was, is_now = before[table], after[table]
        new = [row for key, row in is_now.items() if key not in was]
        changed = [row for key, row in is_now.items() if key in was and was[key] != row]
        gone = [key for key in was if key not in is_now]
        if new or changed or gone:
            found.append(Change(table, columns, new, changed, gone))
    return found


def _quoted(name: str) -> str:
    return connection.ops.quote_name(name)


def _put_back(memory: Memory) -> None:
    # What waits for the commit knows the rows by their keys, which are the same.
    connection.run_on_commit += [(set(connection.savepoint_ids), *waiting) for waiting in memory.after_commit]
    for name, data in memory.files.items():
        path = Path(settings.MEDIA_ROOT) / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(data)
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.cursor.execute(memory.script)
            return
        for change in memory.changes:
            table, key = _quoted(change.table), _quoted(change.columns[0])
            names = ", ".join(_quoted(c) for c in change.columns)
            # Straight to the driver: the values are as they were stored.
            do = connection.connection.executemany
            do(f"DELETE FROM {table} WHERE {key} = ?", [(gone,) for gone in change.gone])  # noqa: S608
            marks = ", ".join("?" for _ in change.columns)
            do(f"INSERT INTO {table} ({names}) VALUES ({marks})", change.new)  # noqa: S608
            sets = ", ".join(f"{_quoted(c)} = ?" for c in change.columns[1:])
            do(f"UPDATE {table} SET {sets} WHERE {key} = ?", [(*row[1:], row[0]) for row in change.changed])  # noqa: S608


def _files() -> dict[str, bytes]:
    root = Path(settings.MEDIA_ROOT)
    return {str(path.relative_to(root)): path.read_bytes() for path in root.rglob("*") if path.is_file()}
