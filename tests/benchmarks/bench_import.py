"""Importing wires from a CSV file, against loading the same rows into a bare table with the database's fastest way.

By hand:  DATA_DIR=EMPTY_FOLDER .venv/bin/python -m tests.benchmarks.bench_import [rows]
Each import says how long it checked, without a lock, and how long it wrote, in one transaction. On PostgreSQL the baseline is COPY, on
SQLite executemany in one transaction; both in the same run on the same database. The database is filled: use an empty one. Ratios travel
between machines, seconds do not.
"""

from __future__ import annotations

import os
import sys
import time
from dataclasses import dataclass

import django

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "shop.settings")


def rows_of(count: int) -> list[list[str]]:
    """Stranded wires of 20 sizes and 40 diameters, all different in number."""
    return [[f"B{i:07d}", f"Wire {i}", f"19x0.{20 + i % 20}", f"1.{50 + i % 40}", "red"] for i in range(count)]


def bare_load(rows: list[list[str]]) -> float:
    from django.db import connection, transaction  # noqa: PLC0415  # after django.setup()

    with connection.cursor() as cursor:
        cursor.execute("CREATE TABLE bench_bare (part text, description text, size text, od text, colour text)")
    begin = time.perf_counter()
    with transaction.atomic(), connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            with cursor.copy("COPY bench_bare FROM STDIN") as copy:
                for row in rows:
                    copy.write_row(row)
        else:
            cursor.executemany("INSERT INTO bench_bare VALUES (%s, %s, %s, %s, %s)", rows)
    seconds = time.perf_counter() - begin
    with connection.cursor() as cursor:
        cursor.execute("DROP TABLE bench_bare")
    return seconds


@dataclass(frozen=True)
class Phases:
    """Seconds of an import: reading and checking without a lock, and the one transaction that writes."""

    check: float
    write: float


def import_load(rows: list[list[str]], *, dry_run: bool) -> Phases:
    from shop.acts.catalogue_import import import_rows  # noqa: PLC0415
    from shop.clock import now  # noqa: PLC0415
    from shop.people import Person  # noqa: PLC0415

    header = "part_number,description,size,insulation_od_mm,colour\n"
    data = (header + "".join(",".join(row) + "\n" for row in rows)).encode()
    began_to_write: list[float] = []

    def watch(phase: str, done: int, total: int) -> None:
        if phase == "writing" and not began_to_write:
            began_to_write.append(time.perf_counter())

    begin, by = time.perf_counter(), Person.system()
    import_rows(kind="wires", file_name="bench.csv", data=data, by=by, at=now(), trusted=True, dry_run=dry_run, progress=watch)
    end = time.perf_counter()
    turn = began_to_write[0] if began_to_write else end
    return Phases(turn - begin, end - turn)


def main() -> None:
    django.setup()
    from django.core.management import call_command  # noqa: PLC0415
    from django.db import connection  # noqa: PLC0415

    call_command("migrate", verbosity=0)
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 100_000
    rows = rows_of(count)
    bare = bare_load(rows)
    changed = [[*row[:4], "blue"] for row in rows]
    runs = {
        "dry run": import_load(rows, dry_run=True),
        "new rows": import_load(rows, dry_run=False),
        "the same rows again": import_load(rows, dry_run=False),
        "every row changed": import_load(changed, dry_run=False),
    }
    way = "COPY into a bare table" if connection.vendor == "postgresql" else "executemany into a bare table"
    print(f"{count} rows on {connection.vendor}; baseline {way}: {bare:.2f} s = 1.0")
    for name, took in runs.items():
        whole = took.check + took.write
        print(
            f"  {name:20} {whole / bare:7.1f} times the baseline, {whole / count * 1000:.3f} ms a row: "
            f"check {took.check:6.1f} s, write {took.write:5.1f} s ({took.write / bare:.1f} times)"
        )


if __name__ == "__main__":
    main()
