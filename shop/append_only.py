"""Tables that only grow: the database itself refuses UPDATE, DELETE and (on PostgreSQL) TRUNCATE.

Each app names its tables in `AppConfig.append_only`. The triggers are made anew after every migrate, because SQLite drops a table's
triggers whenever Django rebuilds the table.
"""

from __future__ import annotations

from typing import Any

from django.apps import AppConfig, apps
from django.db import connections, models
from django.db.backends.base.base import BaseDatabaseWrapper

POSTGRES_FUNCTION = """
CREATE OR REPLACE FUNCTION refuse_change() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN RAISE EXCEPTION 'append-only: % on % is refused', TG_OP, TG_TABLE_NAME USING ERRCODE = 'restrict_violation'; END $$
"""


def append_only_models() -> list[type[models.Model]]:
    """Every model whose rows are never changed, of all apps."""
    return [apps.get_model(config.label, name) for config in apps.get_app_configs() for name in getattr(config, "append_only", ())]


def install(connection: BaseDatabaseWrapper) -> None:
    """(Re)create the guards of every append-only table that exists."""
    with connection.cursor() as cursor:
        tables = set(connection.introspection.table_names(cursor))
        guarded = [m._meta.db_table for m in append_only_models() if m._meta.db_table in tables]
        if connection.vendor == "postgresql":
            cursor.execute(POSTGRES_FUNCTION)
        for table in guarded:
            quoted = connection.ops.quote_name(table)
            if connection.vendor == "postgresql":
                cursor.execute(f"DROP TRIGGER IF EXISTS guard_rows ON {quoted}")
                cursor.execute(f"DROP TRIGGER IF EXISTS guard_table ON {quoted}")
                cursor.execute(
                    f"CREATE TRIGGER guard_rows BEFORE UPDATE OR DELETE ON {quoted} FOR EACH ROW EXECUTE FUNCTION refuse_change()"
                )
                cursor.execute(
                    f"CREATE TRIGGER guard_table BEFORE TRUNCATE ON {quoted} FOR EACH STATEMENT EXECUTE FUNCTION refuse_change()"
                )
            else:
                for deed in ("UPDATE", "DELETE"):
                    name = connection.ops.quote_name(f"guard_{table}_{deed.lower()}")
                    cursor.execute(f"DROP TRIGGER IF EXISTS {name}")
                    cursor.execute(
                        f"CREATE TRIGGER {name} BEFORE {deed} ON {quoted} "
                        f"BEGIN SELECT RAISE(ABORT, 'append-only: {deed} on {table} is refused'); END"
                    )


def install_after_migrate(sender: AppConfig, using: str, **kwargs: Any) -> None:
    install(connections[using])
