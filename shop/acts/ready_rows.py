"""Rows made ready for the database before a transaction begins: while it is open nobody else writes, so little is left to do in it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

from django.db import connection, models


@dataclass(slots=True)
class ReadyRows:
    """Statements with the values of their rows, for one model. The ORM would make the same ones, but inside the transaction."""

    model: type[models.Model]
    _made: list[tuple[str, list[tuple[Any, ...]]]] = field(default_factory=list)

    def add(self, items: Sequence[models.Model]) -> None:
        """New rows; their primary keys stay unknown."""
        meta, quote = self.model._meta, connection.ops.quote_name
        fields = [f for f in meta.concrete_fields if not f.primary_key]
        columns, places = ", ".join(quote(str(f.column)) for f in fields), ", ".join(["%s"] * len(fields))
        into = f"{quote(meta.db_table)} ({columns})"
        # COPY keeps every constraint and trigger, and is PostgreSQL's own way for many rows: an order quicker than statements.
        copies = connection.vendor == "postgresql"
        sql = f"COPY {into} FROM STDIN" if copies else f"INSERT INTO {into} VALUES ({places})"  # noqa: S608  # names of our own models
        self._made.append((sql, [tuple(_ready(f, item, add=True) for f in fields) for item in items]))

    def change(self, items: Sequence[models.Model], names: Sequence[str]) -> None:
        """Rows there are: these fields of them."""
        meta, quote = self.model._meta, connection.ops.quote_name
        fields = [f for f in meta.concrete_fields if f.name in names]
        sets, key = ", ".join(f"{quote(str(f.column))} = %s" for f in fields), meta.pk
        assert key is not None  # noqa: S101  # for the type checker
        sql = f"UPDATE {quote(meta.db_table)} SET {sets} WHERE {quote(str(key.column))} = %s"  # noqa: S608  # names of our own models
        self._made.append((sql, [(*(_ready(f, item, add=False) for f in fields), item.pk) for item in items]))

    def write(self) -> None:
        """Inside the caller's transaction. Raises IntegrityError without saying which row it was."""
        with connection.cursor() as cursor:
            for sql, rows in self._made:
                if sql.startswith("COPY"):
                    with connection.wrap_database_errors, cursor.copy(sql) as copy:
                        for row in rows:
                            copy.write_row(row)
                elif rows:
                    cursor.executemany(sql, rows)


def _ready(column: models.Field[Any, Any], item: models.Model, *, add: bool) -> Any:
    return column.get_db_prep_save(column.pre_save(item, add), connection)
