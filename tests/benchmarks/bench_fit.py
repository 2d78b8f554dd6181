"""The fit matrix against a plain SQL range join, and a re-check of released sheets, on a shop of 2000 wires, 500 terminals, 300 tools.

By hand:  DATA_DIR=EMPTY_FOLDER .venv/bin/python -m tests.benchmarks.bench_fit [terminations]
The database is filled: use an empty one. The join compares sizes only (rules 1, 2 and 4 without missing data); the matrix also judges
kind, material, dipped ends and the specification, and says of each cell whether it is a misfit or lacks data. Ratios travel between
machines, seconds do not.
"""

from __future__ import annotations

import os
import random
import statistics
import sys
import time
from decimal import Decimal

import django

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "shop.settings")
os.environ.setdefault("LOG_LEVEL", "WARNING")

WIRES, TERMINALS, TOOLS, ROWS_EACH = 2000, 500, 300, 8

JOIN = """
SELECT count(*) FROM shop_wire w
JOIN shop_terminal t ON w.csa_mm2 BETWEEN t.csa_min_mm2 AND t.csa_max_mm2 AND w.insulation_od_mm BETWEEN t.od_min_mm AND t.od_max_mm
JOIN shop_toolrow r ON r.terminal_id = t.id
  AND w.csa_mm2 BETWEEN r.csa_min_mm2 AND r.csa_max_mm2 AND w.insulation_od_mm BETWEEN r.od_min_mm AND r.od_max_mm
WHERE r.is_active AND w.is_active AND t.is_active
"""


def size(low: int, high: int) -> Decimal:
    return Decimal(random.randint(low, high)).scaleb(-4)  # noqa: S311  # sizes, not secrets


def fill() -> None:
    """A shop whose wires fit a good part of its terminals."""
    from shop.clock import now, shop_day  # noqa: PLC0415  # after django.setup()
    from shop.materials import Terminal, Wire  # noqa: PLC0415
    from shop.specifications import CrimpSpecification, Document  # noqa: PLC0415
    from shop.tools import Tool, ToolRow  # noqa: PLC0415

    random.seed(7)
    today = shop_day(now())
    Wire.objects.bulk_create(
        Wire(part_number=f"W{i:05d}", size="1", csa_mm2=size(1000, 60000), insulation_od_mm=size(8000, 50000)) for i in range(WIRES)
    )
    Terminal.objects.bulk_create(
        Terminal(
            part_number=f"T{i:04d}",
            kind="receptacle",
            csa_min_mm2=size(1000, 10000),
            csa_max_mm2=size(10000, 60000),
            od_min_mm=size(8000, 15000),
            od_max_mm=size(15000, 50000),
        )
        for i in range(TERMINALS)
    )
    kinds = ["applicator"] * 7 + ["hand tool"] * 3
    Tool.objects.bulk_create(Tool(asset_number=f"A{i:04d}", kind=kinds[i % 10]) for i in range(TOOLS))
    document = Document.objects.create(number="AS", revision="A", title="-", kind="drawing", effective_on=today)
    tools, terminals = list(Tool.objects.all()), list(Terminal.objects.all())
    ToolRow.objects.bulk_create(
        ToolRow(
            tool=tool,
            terminal=t,
            csa_min_mm2=t.csa_min_mm2,
            csa_max_mm2=t.csa_max_mm2,
            od_min_mm=t.od_min_mm,
            od_max_mm=t.od_max_mm,
        )
        for number, t in enumerate(terminals)
        for tool in (tools if number == 0 else random.sample(tools, ROWS_EACH))
    )
    CrimpSpecification.objects.bulk_create(
        CrimpSpecification(
            number=f"CS{t.pk}",
            revision="1",
            terminal=t,
            document=document,
            csa_min_mm2=t.csa_min_mm2,
            csa_max_mm2=t.csa_max_mm2,
            crimp_height_min_mm=1,
            crimp_height_nominal_mm=1,
            crimp_height_max_mm=1,
            strip_length_min_mm=1,
            strip_length_max_mm=1,
            pull_force_min_n=1,
            effective_on=today,
        )
        for t in terminals
    )


def timed(act: object, times: int = 5) -> float:
    """Median seconds of a call."""
    assert callable(act)
    spent = []
    for _ in range(times):
        begin = time.perf_counter()
        act()
        spent.append(time.perf_counter() - begin)
    return statistics.median(spent)


def matrix() -> None:
    from django.db import connection  # noqa: PLC0415
    from django.test import Client  # noqa: PLC0415
    from django.urls import reverse  # noqa: PLC0415

    from shop.clock import now, shop_day  # noqa: PLC0415
    from shop.facts import terminal_facts, wire_facts  # noqa: PLC0415
    from shop.fit_matrix import ToolAxis, wires_by_tools  # noqa: PLC0415
    from shop.materials import Terminal, Wire  # noqa: PLC0415
    from shop.matrix import Narrowing, _rows, _specifications, fit_matrix  # noqa: PLC0415  # the parts are timed apart
    from shop.people import Person  # noqa: PLC0415
    from shop.tools import Tool  # noqa: PLC0415

    def join(where: str, *keys: int) -> float:
        def ask() -> None:
            with connection.cursor() as cursor:
                cursor.execute(JOIN + where, keys)
                cursor.fetchall()

        return timed(ask)

    today = shop_day(now())
    busy, rare, wire = Terminal.objects.get(part_number="T0000"), Terminal.objects.get(part_number="T0001"), Wire.objects.first()
    assert wire is not None
    everything = Narrowing(all_tools=True)
    for name, of, where in (
        ("terminal that every tool lists: wires x tools", busy, " AND t.id = %s"),
        ("terminal that a few tools list: wires x tools", rare, " AND t.id = %s"),
        ("wire: terminals x tools", wire, " AND w.id = %s"),
    ):
        cells = fit_matrix(of, everything, today).codes.size
        own, base = timed(lambda of=of: fit_matrix(of, everything, today)), join(where, of.pk)
        line = f"{name}: {cells} cells, {own * 1000:.0f} ms with reading = {own / cells * 1e9:.0f} ns a cell"
        print(f"{line}; the join {base * 1000:.1f} ms = {base / cells * 1e9:.0f} ns a cell; ratio {own / base:.1f}")
    wires, tools = [wire_facts(w) for w in Wire.objects.all()], list(Tool.objects.all())
    axis = ToolAxis([t.asset_number for t in tools], [t.kind for t in tools])
    rows, specifications = _rows([busy.pk]), _specifications([busy], today)
    bare = timed(lambda: wires_by_tools(wires, terminal_facts(busy), axis, rows, specifications))
    print(f"comparing alone, without reading: {bare * 1000:.0f} ms = {bare / (WIRES * TOOLS) * 1e9:.0f} ns a cell")

    client = Client()
    client.force_login(Person.objects.create(username="bench", name="Bench"))
    for query in ("?number=T0000&tools=all", "?of=wire&number=W00000&tools=all", "?number=T0000&fits=1"):
        page = timed(lambda query=query: client.get(reverse("plan:fit") + query))
        print(f"page {query}: {page * 1000:.0f} ms, {len(client.get(reverse('plan:fit') + query).content) // 1000} kB")


def release_many(count: int) -> None:
    """Released sheets of ten terminations each, written without the acts: two of three fit."""
    from shop.clock import now  # noqa: PLC0415
    from shop.jobs import Customer, Job, SetupSheet, Termination, TerminationWire  # noqa: PLC0415
    from shop.materials import Wire  # noqa: PLC0415
    from shop.people import Person  # noqa: PLC0415
    from shop.specifications import CrimpSpecification  # noqa: PLC0415
    from shop.tools import ToolRow  # noqa: PLC0415

    author, approver = Person.objects.create(username="author"), Person.objects.create(username="approver")
    job = Job.objects.create(
        number="J", customer=Customer.objects.create(code="C", name="C"), part_number="P", part_name="P", drawing="D", drawing_revision="A",
        quantity=1,
    )  # fmt: skip
    at = now()
    sheets = SetupSheet.objects.bulk_create(
        SetupSheet(job=job, number=f"S{i}", status="released", author=author, drafted_at=at, released_at=at, released_by=approver)
        for i in range(count // 10)
    )
    rows, wires = list(ToolRow.objects.select_related("terminal")), list(Wire.objects.all())
    specs = {spec.terminal_id: spec for spec in CrimpSpecification.objects.all()}
    made, barrels = [], []
    for sheet in sheets:
        for position in range(10):
            row = random.choice(rows)  # noqa: S311
            fitting = [w for w in random.sample(wires, 40) if row.csa_min_mm2 <= w.csa_mm2 <= row.csa_max_mm2]
            wire = (fitting or wires)[0]
            made.append(
                Termination(
                    sheet=sheet,
                    position=position + 1,
                    lead=str(position),
                    end="A",
                    terminal=row.terminal,
                    tool_id=row.tool_id,
                    tool_row=row,
                    specification=specs[row.terminal_id],
                    quantity=1,
                    csa_mm2=wire.csa_mm2,
                )
            )
            barrels.append(wire)
    Termination.objects.bulk_create(made)
    TerminationWire.objects.bulk_create(TerminationWire(termination=t, wire=w) for t, w in zip(made, barrels, strict=True))


def recheck_all(count: int) -> None:
    from shop.acts.rechecks import ask_recheck, recheck  # noqa: PLC0415
    from shop.clock import now, shop_day  # noqa: PLC0415
    from shop.jobs import Termination  # noqa: PLC0415
    from shop.people import Person  # noqa: PLC0415
    from shop.planning import termination_findings  # noqa: PLC0415

    release_many(count)
    by = Person.objects.get(username="author")
    spent = []
    for _ in range(3):
        asked = ask_recheck(reason="bench", by=by, at=now())
        assert asked is not None
        begin = time.perf_counter()
        done = recheck(key=asked.pk)
        spent.append(time.perf_counter() - begin)
        print(f"re-check of {done.done} terminations: {spent[-1]:.1f} s, {done.raised} flags raised, {done.cleared} cleared")
    some = list(Termination.objects.all()[:100])
    begin = time.perf_counter()
    for t in some:
        termination_findings(t, shop_day(now()))
    alone = (time.perf_counter() - begin) / len(some)
    each = min(spent) / count
    print(f"per termination {each * 1000:.2f} ms; asked one by one {alone * 1000:.2f} ms; ratio {each / alone:.2f}")


def main() -> None:
    django.setup()
    from django.conf import settings  # noqa: PLC0415
    from django.core.management import call_command  # noqa: PLC0415
    from django.db import connection  # noqa: PLC0415

    settings.STORAGES = settings.STORAGES | {"staticfiles": {"BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"}}
    settings.ALLOWED_HOSTS = ["testserver"]
    call_command("migrate", verbosity=0)
    fill()
    with connection.cursor() as cursor:
        cursor.execute("ANALYZE")
    print(f"{connection.vendor}: {WIRES} wires, {TERMINALS} terminals, {TOOLS} tools")
    matrix()
    recheck_all(int(sys.argv[1]) if len(sys.argv) > 1 else 5000)


if __name__ == "__main__":
    sys.exit(main())
