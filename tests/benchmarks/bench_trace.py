"""Traces among a million batches, page included, against the same SQL run bare.

By hand, with an empty PostgreSQL database:  DATABASE_URL=postgres://... .venv/bin/python -m tests.benchmarks.bench_trace [batches]
Batches are copied by the database from one that is planned through the acts: reels of fifty batches, fifty tools, twenty gauges, lots of
ten batches, every tenth lot split, shipments of two lots. A page is the whole answer of the program, with template; bare is every statement
the page sent, sent again and read to the end without the program. Ratios travel between machines, milliseconds do not.
"""

from __future__ import annotations

import os
import statistics
import sys
import time
from collections.abc import Callable
from typing import Any

import django

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "shop.settings")

REPEATED = 21
LONG_MS = 300
"""Above it, a third of the turns will do."""

FILL = (
    "SET session_replication_role = replica",  # no checks of keys row by row: what is copied is sound
    """INSERT INTO shop_wirelot
      (lot_number, wire_id, supplier, supplier_lot, supplier_serial, certificate, received_on, quantity, state, state_reason)
    SELECT 'BW' || i, {wire}, '', '', '', '', date '2020-01-01', 500, 'released', '' FROM generate_series(0, {n} / 50) i""",
    """INSERT INTO shop_terminallot
      (lot_number, terminal_id, supplier, supplier_lot, supplier_serial, certificate, received_on, quantity, state, state_reason)
    SELECT 'BT' || i, {terminal}, '', '', '', '', date '2020-01-01', 500, 'released', '' FROM generate_series(0, {n} / 50) i""",
    """INSERT INTO inspection_batch (number, termination_id, quantity, status, setup_number, opened_by_id, opened_at, tool_id, last_count,
      closed_by_id, closed_at, made, good, scrap, destroyed, held)
    SELECT 'BB' || i, {termination}, 100, 'closed', 1, {person}, timestamptz '2021-01-01' + i * interval '2 minutes',
      (SELECT min(id) FROM shop_tool WHERE asset_number LIKE 'BTOOL%%') + i %% 50, 104, {person},
      timestamptz '2021-01-01' + i * interval '2 minutes' + interval '3 hours', 104, 100, 0, 4, 0
    FROM generate_series(1, {n}) i""",
    """INSERT INTO inspection_loadedlot (batch_id, wire_lot_id, terminal_lot_id, from_count, to_count, by_id, at)
    SELECT b.id, w.id, NULL, 0, 104, {person}, b.opened_at FROM inspection_batch b
      JOIN shop_wirelot w ON w.lot_number = 'BW' || (substr(b.number, 3)::int / 50) WHERE b.number LIKE 'BB%%'
    UNION ALL
    SELECT b.id, NULL, t.id, 0, 104, {person}, b.opened_at FROM inspection_batch b
      JOIN shop_terminallot t ON t.lot_number = 'BT' || (substr(b.number, 3)::int / 50) WHERE b.number LIKE 'BB%%'""",
    """INSERT INTO inspection_setupscan
      (batch_id, setup_number, part, code, scanned, accepted, findings, at_count, by_id, at, tool_id, gauge_id, calibration_id)
    SELECT b.id, 1, 'tool', 'x', '', true, '[]'::jsonb, 0, {person}, b.opened_at, b.tool_id, NULL::bigint, NULL::bigint
    FROM inspection_batch b WHERE b.number LIKE 'BB%%'
    UNION ALL
    SELECT b.id, 1, 'inspection', 'x', '', true, '[]'::jsonb, 0, {person}, b.opened_at, NULL, c.gauge_id, c.id FROM inspection_batch b
      JOIN shop_calibration c ON c.certificate = 'BC' || substr(b.number, 3)::int %% 20 WHERE b.number LIKE 'BB%%'""",
    """INSERT INTO inspection_sample (batch_id, number, kind, setup_number, at_count, tool_count, state, taken_by_id, taken_at)
    SELECT id, 1, 'first piece', 1, 5, substr(number, 3)::int, 'accepted', {person}, opened_at FROM inspection_batch
    WHERE number LIKE 'BB%%'""",
    """INSERT INTO inspection_reading (sample_id, characteristic, piece, text, unit, value, low, high, outcome, decision_rule, guard_band,
      gauge_id, calibration_id, by_id, at, correction_reason, source)
    SELECT s.id, 'crimp height', 1, '1.40', 'mm', 1.40, 1.35, 1.45, 'conforms', 'simple acceptance', 0, c.gauge_id, c.id, {person},
      s.taken_at, '', 'typed' FROM inspection_sample s JOIN inspection_batch b ON b.id = s.batch_id
      JOIN shop_calibration c ON c.certificate = 'BC' || substr(b.number, 3)::int %% 20 WHERE b.number LIKE 'BB%%'""",
    """INSERT INTO records_harnesslot (number, job_id, kind, quantity, kept_back, built_at, built_by_id)
    SELECT 'BL' || i, {job}, 'harness', 100, '', timestamptz '2021-01-01' + i * interval '20 minutes', {person}
    FROM generate_series(0, {n} / 10) i""",
    """INSERT INTO records_harnesslotbatch (lot_id, batch_id, quantity)
    SELECT l.id, b.id, 100 FROM inspection_batch b JOIN records_harnesslot l ON l.number = 'BL' || (substr(b.number, 3)::int / 10)
    WHERE b.number LIKE 'BB%%'""",
    """INSERT INTO records_harnesslot (number, job_id, kind, quantity, kept_back, built_at, built_by_id)
    SELECT number || '-S', job_id, kind, 40, '', built_at, built_by_id FROM records_harnesslot
    WHERE number LIKE 'BL%%' AND substr(number, 3)::int %% 10 = 0""",
    """INSERT INTO records_lotpart (lot_id, used_id, kind, quantity, reason)
    SELECT part.id, whole.id, 'split off', 40, '' FROM records_harnesslot part
      JOIN records_harnesslot whole ON part.number = whole.number || '-S' WHERE part.number LIKE 'BL%%-S'""",
    """INSERT INTO records_shipment (number, customer_id, delivery_note, shipped_at, shipped_by_id)
    SELECT 'BS' || i, {customer}, '', timestamptz '2021-01-02' + i * interval '40 minutes', {person} FROM generate_series(0, {n} / 20) i""",
    """INSERT INTO records_shipmentlot (shipment_id, lot_id, quantity)
    SELECT s.id, l.id, 50 FROM records_harnesslot l
      JOIN records_shipment s ON s.number = 'BS' || (split_part(substr(l.number, 3), '-', 1)::int / 2) WHERE l.number LIKE 'BL%%'""",
    "SET session_replication_role = DEFAULT",
)


def fill(count: int) -> None:
    from django.db import connection  # noqa: PLC0415  # after django.setup()

    from tests import factories  # noqa: PLC0415

    cast, catalogue = factories.make_cast(), factories.make_catalogue()
    termination = factories.released(cast, catalogue).terminations.get()
    for number in range(50):
        factories.make_tool(f"BTOOL{number}")
    for number in range(20):
        gauge = factories.make_gauge(f"BG{number}", "crimp-height micrometer", "mm", "0.001")
        gauge.calibrations.update(certificate=f"BC{number}")
    keys = {
        "n": count,
        "wire": catalogue.wire.pk,
        "terminal": catalogue.terminal.pk,
        "termination": termination.pk,
        "person": cast.operator.pk,
        "job": termination.sheet.job_id,
        "customer": catalogue.customer.pk,
    }
    with connection.cursor() as cursor:
        for statement in FILL:
            cursor.execute(statement.format(**keys).replace("%%", "%"))
        cursor.execute("ANALYZE")


def milliseconds(*tasks: Callable[[], Any]) -> list[float]:
    """Median of several times for each, after one that warms up. They take turns: the machine's own speed comes and goes."""
    first = [_once(do) for do in tasks]
    turns = REPEATED if max(first) < LONG_MS else REPEATED // 3
    taken = [[_once(do) for do in tasks] for _turn in range(turns)]
    return [statistics.median(times) for times in zip(*taken, strict=True)]


def _once(do: Callable[[], Any]) -> float:
    begun = time.perf_counter()
    do()
    return (time.perf_counter() - begun) * 1000


def statements_of(do: Callable[[], Any]) -> list[tuple[str, Any]]:
    """Every SELECT that `do` sends, with its values."""
    from django.db import connection  # noqa: PLC0415

    sent: list[tuple[str, Any]] = []

    def note(execute: Callable[..., Any], sql: str, params: Any, many: bool, context: Any) -> Any:
        if sql.lstrip().startswith(("SELECT", "WITH", "(SELECT")):
            sent.append((sql, params))
        return execute(sql, params, many, context)

    with connection.execute_wrapper(note):
        do()
    return sent


def bare(statements: list[tuple[str, Any]]) -> None:
    """The same statements to the same server, read to the end, without the program."""
    from django.db import connection  # noqa: PLC0415

    with connection.connection.cursor() as cursor:
        for sql, params in statements:
            cursor.execute(sql, params)
            cursor.fetchall()


def cases(count: int) -> list[tuple[str, str]]:
    from records.models import Shipment  # noqa: PLC0415
    from shop.materials import TerminalLot  # noqa: PLC0415
    from shop.tools import Gauge, Tool  # noqa: PLC0415

    shipment = Shipment.objects.get(number=f"BS{count // 40}")
    split = Shipment.objects.get(number=f"BS{count // 400 * 10}")
    reel = TerminalLot.objects.get(lot_number=f"BT{count // 100}")
    gauge, tool = Gauge.objects.get(asset_number="BG7"), Tool.objects.get(asset_number="BTOOL9")
    half_year = "from=2022-01-01&to=2022-06-30"
    return [
        ("behind a shipment, tree and picture", f"/prove/trace/shipment/{shipment.pk}/"),
        ("behind a shipment with a split lot", f"/prove/trace/shipment/{split.pk}/"),
        ("behind a shipment, six parts a batch", f"/prove/shipment/{shipment.number}/"),
        ("a reel to customers, tree and picture", f"/prove/trace/terminal-lot/{reel.pk}/"),
        ("a reel to customers, table", f"/prove/where/terminal-lot/{reel.lot_number}/"),
        ("a gauge in a week, tree and picture", f"/prove/trace/gauge/{gauge.pk}/?from=2022-01-01&to=2022-01-07"),
        ("a gauge in half a year, table", f"/prove/where/gauge/BG7/?{half_year}"),
        ("a tool in a week, tree and picture", f"/prove/trace/tool/{tool.pk}/?from=2022-01-01&to=2022-01-07"),
        ("a tool in half a year, table", f"/prove/where/tool/BTOOL9/?{half_year}"),
        ("a tool always, table", "/prove/where/tool/BTOOL9/"),
    ]


def main() -> None:
    django.setup()
    from django.conf import settings  # noqa: PLC0415
    from django.core.management import call_command  # noqa: PLC0415
    from django.test import Client  # noqa: PLC0415

    from inspection.models import Batch  # noqa: PLC0415
    from shop.people import Person  # noqa: PLC0415
    from shop.wsgi import settle_memory  # noqa: PLC0415

    settings.ALLOWED_HOSTS.append("testserver")
    # The hashed names need a collectstatic first.
    settings.STORAGES = settings.STORAGES | {"staticfiles": {"BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"}}
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 1_000_000
    call_command("migrate", verbosity=0)
    if not Batch.objects.filter(number="BB1").exists():
        begun = time.perf_counter()
        fill(count)
        print(f"{count:,} batches filled in {time.perf_counter() - begun:.0f} s")
    client = Client()
    client.force_login(Person.objects.get(username="auditor"))
    settle_memory()  # as the server does
    print(f"{'':40} {'page ms':>9} {'SQL ms':>9} {'ratio':>6}  statements")
    for name, path in cases(count):

        def page(path: str = path) -> None:
            answer = client.get(path)
            if answer.status_code != 200:
                raise SystemExit(f"{path}: {answer.status_code}")

        statements = statements_of(page)
        whole, sql = milliseconds(page, lambda sent=statements: bare(sent))  # type: ignore[misc]
        print(f"{name:40} {whole:9.1f} {sql:9.1f} {whole / sql:6.1f}  {len(statements)}")


if __name__ == "__main__":
    main()
