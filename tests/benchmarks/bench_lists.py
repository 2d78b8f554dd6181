"""Pages of lists with fifty thousand rows, against the bare SQL of the same fifty rows.

By hand:  DATA_DIR=EMPTY_FOLDER .venv/bin/python -m tests.benchmarks.bench_lists [rows]
The database is filled: use an empty one. A page is the whole answer of the program, with template; the bare SQL selects, sorts and cuts
the rows that the page shows and nothing else. Ratios travel between machines, milliseconds do not.
"""

from __future__ import annotations

import os
import statistics
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass
from datetime import timedelta
from typing import Any

import django

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "shop.settings")

REPEATED = 7


@dataclass(frozen=True)
class Case:
    """A page and the SQL of its rows: order and condition as the page asks for them, offset of its first row."""

    name: str
    path: str
    table: str
    order: str
    where: str = ""
    offset: int = 0

    @property
    def sql(self) -> str:
        condition = f" WHERE {self.where}" if self.where else ""
        return f"SELECT * FROM {self.table}{condition} ORDER BY {self.order} LIMIT 50 OFFSET {self.offset}"  # noqa: S608  # our own words


def fill(count: int) -> None:
    from django.utils import timezone  # noqa: PLC0415  # after django.setup()

    from records.models import LedgerEntry  # noqa: PLC0415
    from shop.jobs import Customer, Job  # noqa: PLC0415
    from shop.materials import Wire  # noqa: PLC0415
    from shop.people import Person, PersonRole, Role  # noqa: PLC0415

    at, system = timezone.now(), Person.system()
    reader = Person.objects.create(username="reader", name="Reader")
    PersonRole.objects.create(person=reader, role=Role.PLANNER)
    Wire.objects.bulk_create(
        (
            Wire(
                part_number=f"B{i:07d}",
                description=f"Wire {i}",
                size="0.5 mm2",
                csa_mm2="0.5",
                insulation_od_mm="1.6",
                colour=("red", "blue", "black")[i % 3],
                conductor_kind="solid" if i % 10 == 0 else "stranded",
            )
            for i in range(count)
        ),
        batch_size=2000,
    )
    customer = Customer.objects.create(code="BENCH", name="Bench")
    Job.objects.bulk_create(
        (
            Job(
                number=f"J{i:07d}",
                customer=customer,
                part_number=f"P{i}",
                part_name="Harness",
                drawing="D",
                drawing_revision="A",
                quantity=1,
            )
            for i in range(count)
        ),
        batch_size=2000,
    )
    # No chain: what is measured is the page, which does not verify.
    LedgerEntry.objects.bulk_create(
        (
            LedgerEntry(
                number=i,
                kind="catalogue.changed" if i % 10 else "sheet.released",
                version=1,
                at=at - timedelta(seconds=count - i),
                by=system,
                subject_kind="wires",
                subject_id=i,
                subject_name=f"B{i:07d}",
                text='{"content": {}}',
                previous_hash=f"{i:064x}",
                hash=f"{i + 1:064x}",
            )
            for i in range(1, count + 1)
        ),
        batch_size=2000,
    )


def cases(count: int) -> list[Case]:
    deep = count // 50
    skipped = (deep - 1) * 50
    wires, ledger, jobs = "shop_wire", "records_ledgerentry", "shop_job"
    return [
        Case("wires, first page", "/shop/wires/", wires, "part_number, id"),
        Case("wires, last page", f"/shop/wires/?page={deep}", wires, "part_number, id", offset=skipped),
        Case("wires, by area", "/shop/wires/?sort=-csa_mm2", wires, "csa_mm2 DESC, id"),
        Case("wires, by area, last page", f"/shop/wires/?sort=-csa_mm2&page={deep}", wires, "csa_mm2 DESC, id", offset=skipped),
        Case("wires, search many", "/shop/wires/?q=red", wires, "part_number, id", _containing("red", wires)),
        Case("wires, search one", "/shop/wires/?q=B0012345", wires, "part_number, id", _containing("B0012345", wires)),
        Case("wires, filter", "/shop/wires/?conductor_kind=solid", wires, "part_number, id", "conductor_kind = 'solid'"),
        Case("ledger, first page", "/prove/ledger/", ledger, "number DESC"),
        Case("ledger, last page", f"/prove/ledger/?page={deep}", ledger, "number DESC", offset=skipped),
        Case("ledger, about one", "/prove/ledger/?about=B0012345", ledger, "number DESC", _like("subject_name", "B0012345")),
        Case("ledger, of a kind", "/prove/ledger/?kind=sheet.released", ledger, "number DESC", "kind = 'sheet.released'"),
        Case("jobs, first page", "/plan/", jobs, "opened_at DESC, number"),
        Case("jobs, last page", f"/plan/?page={deep}", jobs, "opened_at DESC, number", offset=skipped),
    ]


def _like(column: str, word: str) -> str:
    from django.db import connection  # noqa: PLC0415

    return f"UPPER({column}) LIKE '%{word.upper()}%'" if connection.vendor == "postgresql" else f"{column} LIKE '%{word}%'"


def _containing(word: str, table: str) -> str:
    return "(" + " OR ".join(_like(column, word) for column in ("part_number", "description", "size", "colour")) + ")"


def milliseconds(do: Callable[[], Any]) -> float:
    """Median of several times, after one that warms up."""
    do()
    took = []
    for _ in range(REPEATED):
        begin = time.perf_counter()
        do()
        took.append((time.perf_counter() - begin) * 1000)
    return statistics.median(took)


def main() -> None:
    django.setup()
    from django.conf import settings  # noqa: PLC0415
    from django.core.management import call_command  # noqa: PLC0415
    from django.db import connection  # noqa: PLC0415
    from django.test import Client  # noqa: PLC0415

    from shop.people import Person  # noqa: PLC0415

    settings.ALLOWED_HOSTS = ["testserver"]
    settings.STORAGES = settings.STORAGES | {"staticfiles": {"BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"}}
    call_command("migrate", verbosity=0)
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 50_000
    fill(count)
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            cursor.execute("VACUUM ANALYZE")
    client = Client()
    client.force_login(Person.objects.get(username="reader"))

    def page(path: str) -> None:
        answer = client.get(path)
        if answer.status_code != 200:
            raise SystemExit(f"{path}: {answer.status_code}")

    def rows(sql: str) -> None:
        with connection.cursor() as cursor:
            cursor.execute(sql)
            cursor.fetchall()

    empty = milliseconds(lambda: page("/shop/customers/"))
    print(f"{count} rows on {connection.vendor}; a list of one row takes {empty:.1f} ms")
    print(f"  {'':28}{'page':>10}{'bare SQL':>12}{'ratio':>9}{'to list of one row':>21}")
    for case in cases(count):
        whole, bare = milliseconds(lambda case=case: page(case.path)), milliseconds(lambda case=case: rows(case.sql))
        print(f"  {case.name:28}{whole:7.1f} ms{bare:9.2f} ms{whole / bare:9.1f}{whole / empty:21.1f}")


if __name__ == "__main__":
    main()
