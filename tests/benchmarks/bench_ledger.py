"""Four writers appending, against four writers inserting rows of the same width; a long ledger verified, against hashing its bytes.

By hand:  DATABASE_URL=... DATA_DIR=EMPTY_FOLDER .venv/bin/python -m tests.benchmarks.bench_ledger [entries] [seconds]
The database is filled: use an empty one. Each writer is a process with a connection of its own and commits every row. Ratios travel between
machines, absolute figures do not.
"""

from __future__ import annotations

import hashlib
import multiprocessing
import os
import statistics
import sys
import time
from typing import Any

import django

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "shop.settings")

WRITERS = 4
ROUNDS = 9
CONTENT = {"lead": "L1", "end": "A", "height_mm": ["1.402", "1.398", "1.405"], "note": "x" * 300}


def _write(kind: str, seconds: float, gate: Any, answers: Any) -> None:
    django.setup()
    from django.db import connection, transaction  # noqa: PLC0415

    from records.ledger import append, entry_text  # noqa: PLC0415
    from shop.clock import now  # noqa: PLC0415
    from shop.events import JobOpened  # noqa: PLC0415
    from shop.people import Person  # noqa: PLC0415

    me = Person.objects.get(username="system")
    gate.wait()
    until, done = time.monotonic() + seconds, 0
    while time.monotonic() < until:
        event = JobOpened(by=me, at=now(), subject=("job", done, "J-1"), content=CONTENT)
        with transaction.atomic():
            if kind == "ledger":
                append(event)
            else:
                # The same row without a chain, numbered by the database, its hash made in the same way.
                text = entry_text(event)
                own = hashlib.sha256(text.encode() + os.urandom(8)).hexdigest()
                at = event.at if connection.vendor == "postgresql" else connection.ops.adapt_datetimefield_value(event.at)
                with connection.cursor() as cursor:
                    cursor.execute(
                        "INSERT INTO bench_plain"
                        " (kind, version, at, by_id, subject_kind, subject_id, subject_name, text, previous_hash, hash)"
                        " VALUES (%s, %s, %s, %s, %s, %s, %s, %s, %s, %s)",
                        [event.kind, event.version, at, me.pk, *event.subject, text, own, own],
                    )
        done += 1
    answers.put(done / seconds)


def writers(kind: str, seconds: float) -> float:
    """Rows a second of all writers together."""
    context = multiprocessing.get_context("spawn")
    gate, answers = context.Barrier(WRITERS), context.Queue()
    processes = [context.Process(target=_write, args=(kind, seconds, gate, answers)) for _ in range(WRITERS)]
    for process in processes:
        process.start()
    total = sum(answers.get() for _ in processes)
    for process in processes:
        process.join()
    return float(total)


def plain_table() -> None:
    """A table as the ledger's, with its indexes, keys and nothing that chains."""
    from django.db import connection  # noqa: PLC0415

    key = "BIGSERIAL PRIMARY KEY" if connection.vendor == "postgresql" else "INTEGER PRIMARY KEY AUTOINCREMENT"
    at = "timestamptz" if connection.vendor == "postgresql" else "datetime"
    with connection.cursor() as cursor:
        cursor.execute("DROP TABLE IF EXISTS bench_plain")
        cursor.execute(
            f"CREATE TABLE bench_plain (number {key}, kind varchar(60) NOT NULL, version smallint NOT NULL, at {at} NOT NULL,"
            " by_id bigint NOT NULL REFERENCES shop_person (id), subject_kind varchar(40) NOT NULL, subject_id bigint NOT NULL,"
            " subject_name varchar(120) NOT NULL, text text NOT NULL, previous_hash varchar(64) NOT NULL, hash varchar(64) NOT NULL UNIQUE)"
        )
        for columns in ("kind", "at", "by_id", "subject_kind, subject_id"):
            cursor.execute(f"CREATE INDEX bench_{columns.replace(', ', '_')} ON bench_plain ({columns})")


def fill(entries: int) -> int:
    """Chain entries in bulk until the ledger has that many; gives back how many bytes of text it holds."""
    from records.chain import entry_hash  # noqa: PLC0415
    from records.ledger import entry_text  # noqa: PLC0415
    from records.models import LedgerEntry, LedgerHead  # noqa: PLC0415
    from shop.clock import now  # noqa: PLC0415
    from shop.events import JobOpened  # noqa: PLC0415
    from shop.people import Person  # noqa: PLC0415

    me, head = Person.system(), LedgerHead.objects.get(pk=1)
    number, previous = head.count, head.hash
    at = now()
    text = entry_text(JobOpened(by=me, at=at, subject=("job", 1, "J-1"), content=CONTENT))
    while number < entries:
        rows = []
        for _ in range(min(5000, entries - number)):
            number += 1
            own = entry_hash(previous, number, text)
            rows.append(
                LedgerEntry(
                    number=number, kind="job.opened", version=1, at=at, by=me, subject_kind="job", subject_id=1, subject_name="J-1",
                    text=text, previous_hash=previous, hash=own,
                )
            )  # fmt: skip
            previous = own
        LedgerEntry.objects.bulk_create(rows)
    LedgerHead.objects.filter(pk=1).update(count=number, hash=previous)
    return len(text.encode())


def hashed(entries: int, width: int) -> float:
    """Seconds to hash as many texts of that width in this process, one by one."""
    data, began = b"x" * (width + 40), time.perf_counter()
    for _ in range(entries):
        hashlib.sha256(data).digest()
    return time.perf_counter() - began


def main() -> None:
    django.setup()
    from django.db import connection  # noqa: PLC0415

    from records.ledger_check import verify_ledger  # noqa: PLC0415
    from shop.people import Person  # noqa: PLC0415

    entries = int(sys.argv[1]) if len(sys.argv) > 1 else 1_000_000
    seconds = float(sys.argv[2]) if len(sys.argv) > 2 else 4.0
    Person.system()
    plain_table()
    ratios = []
    for _ in range(ROUNDS):
        plain, chained = writers("plain", seconds), writers("ledger", seconds)
        ratios.append(chained / plain)
        print(
            f"{connection.vendor}, {WRITERS} writers: plain {plain:.0f}/s, ledger {chained:.0f}/s, ratio {chained / plain:.2f}", flush=True
        )
    print(f"ledger to plain inserts, median: {statistics.median(ratios):.2f}")

    width = fill(entries)
    bare = hashed(entries, width)
    print(f"{entries} entries of {width} bytes: hashed bare in {bare:.2f} s")
    for workers in (1, 2):
        began = time.perf_counter()
        report = verify_ledger(workers=workers)
        took = time.perf_counter() - began
        assert report.is_whole, report.reason
        print(f"verified by {workers}: {took:.2f} s, {took / bare:.1f} times the bare hashing", flush=True)


if __name__ == "__main__":
    main()
