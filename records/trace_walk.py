"""A trace as a graph, read from the database: everything behind a thing, or everything ahead of it."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date, datetime
from typing import Any

from django.db.models import Max, Min, QuerySet

from inspection.models import Batch, Disposition, LoadedLot, PullTest, Reading, Sample, SetupScan, VisualFinding
from records.balances import harnesses_left_of
from records.models import HarnessLot, HarnessLotBatch, HarnessSerial, LotPart, PartOf, Shipment, ShipmentLot, ShippedSerial
from records.trace import Found, batches_with, lots_of, name_of, parts_ahead, parts_behind, read_batches, things_of
from records.trace_graph import EVIDENCE, Graph, Key, Node
from shop.clock import shop_day
from shop.concessions import ConcessionUse
from shop.crib import WearPart
from shop.people import Person, Qualification
from shop.tools import Calibration

MOST_BATCHES = 200
"""Batches read into one graph; an answer with more says so, with its true totals."""


def node_of(kind: str, thing: Any) -> Node:
    """A row as a node of the trace."""
    note, at = "", None
    match kind:
        case "batch":
            t = thing.termination
            note, at = f"{t.sheet} lead {t.lead} end {t.end}, {thing.status}", thing.opened_at
        case "harness lot":
            note, at = f"{thing.quantity} {thing.get_kind_display()}, job {thing.job.number}", thing.built_at
            if thing.kept_back:
                note += f", kept back: {thing.kept_back}"
        case "shipment":
            note, at = thing.customer.name, thing.shipped_at
        case "customer" | "person":
            note = thing.name
        case "wire lot":
            note = f"of {thing.wire}, {thing.supplier}".rstrip(", ")
        case "terminal lot":
            note = f"of {thing.terminal}, {thing.supplier}".rstrip(", ")
        case "wear part":
            note = f"{thing.kind} {thing.part_number} in {thing.tool}, fitted {thing.fitted_on} at count {thing.fitted_at_count}"
        case "document":
            note = thing.title + (f", withdrawn {thing.withdrawn_on}" if thing.withdrawn_on else "")
        case "sheet":
            note = str(thing.get_status_display())
        case "concession":
            note = thing.reason
        case "tool" | "gauge":
            note = str(thing.get_kind_display())
    return Node(kind, thing.pk, name_of(kind, thing), note, at)


_WITH = {
    "batch": ("termination__sheet__job", "termination__specification__document", "tool", "opened_by", "closed_by"),
    "harness lot": ("job__customer",),
    "shipment": ("customer",),
    "wire lot": ("wire",),
    "terminal lot": ("terminal",),
    "wear part": ("tool",),
    "sheet": ("job",),
}


def root_of(found: Found) -> Node:
    """The node a trace begins with. Raises the model's DoesNotExist."""
    return node_of(found.kind, things_of(found.kind).select_related(*_WITH.get(found.kind, ())).get(pk=found.pk))


def _read(batches: QuerySet[Batch], most: int) -> list[Batch]:
    return read_batches(batches, *_WITH["batch"], most=most)


# --- Behind ----------------------------------------------------------------------------------------------------------------------


def behind(found: Found, begin: datetime | None = None, end: datetime | None = None, *, most: int = MOST_BATCHES) -> Graph:
    """Everything behind a thing: shipments of a customer, lots, lots in lots, batches, and the evidence of each batch."""
    graph = Graph()
    root = graph.add(root_of(found))
    lots: list[HarnessLot] = []
    if found.kind in ("customer", "shipment"):
        lots = _shipments_behind(graph, found, root, begin, end)
    elif found.kind == "serial":
        lots = lots_of(found)
        for lot in HarnessLot.objects.filter(pk__in=[lot.pk for lot in lots]).select_related("job__customer"):
            graph.join(graph.add(node_of("harness lot", lot)), root)
    elif found.kind == "harness lot":
        lots = lots_of(found)
    parts = parts_behind(lots)
    for part in parts:
        _join_part(graph, part)
    batches = _batches_of_lots(graph, {lot.pk for lot in lots} | {part.used_id for part in parts}, most)
    if found.kind == "batch":
        batches = _read(Batch.objects.filter(pk=found.pk), 1)
    _evidence(graph, batches)
    return graph


def _shipments_behind(graph: Graph, found: Found, root: Key, begin: datetime | None, end: datetime | None) -> list[HarnessLot]:
    lines = ShipmentLot.objects.select_related("shipment__customer", "lot__job__customer").order_by("-shipment__shipped_at", "pk")
    lines = lines.filter(shipment=found.pk) if found.kind == "shipment" else lines.filter(shipment__customer=found.pk)
    if begin and found.kind == "customer":
        lines = lines.filter(shipment__shipped_at__gte=begin)
    if end and found.kind == "customer":
        lines = lines.filter(shipment__shipped_at__lt=end)
    lots = {}
    for line in lines[:MOST_BATCHES]:
        shipment = graph.add(node_of("shipment", line.shipment))
        lot = graph.add(node_of("harness lot", line.lot))
        graph.join(lot, shipment, line.quantity, "harnesses")
        if root != shipment:
            graph.join(shipment, root)
        lots[line.lot_id] = line.lot
    return list(lots.values())


def _join_part(graph: Graph, part: LotPart) -> None:
    source, target = graph.add(node_of("harness lot", part.used)), graph.add(node_of("harness lot", part.lot))
    note = f"{part.get_kind_display()} from shipment {part.shipment}" if part.shipment else str(part.get_kind_display())
    graph.join(source, target, part.quantity, str(part.used.get_kind_display()), note)


def _batches_of_lots(graph: Graph, lots: Iterable[int], most: int) -> list[Batch]:
    rows = (
        HarnessLotBatch.objects.filter(lot__in=list(lots))
        .select_related("lot__job__customer", *(f"batch__{path}" for path in _WITH["batch"]))
        .order_by("lot", "batch")[:most]
    )
    batches = {}
    for row in rows:
        batch, lot = graph.add(node_of("batch", row.batch)), graph.add(node_of("harness lot", row.lot))
        graph.join(batch, lot, row.quantity, "pieces")
        batches[row.batch_id] = row.batch
    return list(batches.values())


def _evidence(graph: Graph, batches: list[Batch]) -> None:
    """What each batch was made with: reels by the counts at which they were loaded, tool, wear parts, press, gauges, people, papers."""
    if not batches:
        return
    by_pk = {batch.pk: batch for batch in batches}
    keys = {batch.pk: graph.add(node_of("batch", batch)) for batch in batches}
    for loaded in LoadedLot.objects.filter(batch__in=by_pk).select_related("wire_lot__wire", "terminal_lot__terminal"):
        kind = "wire lot" if loaded.wire_lot else "terminal lot"
        last = loaded.to_count if loaded.to_count is not None else by_pk[loaded.batch_id].last_count
        note = f"pieces {loaded.from_count + 1} to {last}" if last > loaded.from_count else "no piece yet"
        graph.join(graph.add(node_of(kind, loaded.lot)), keys[loaded.batch_id], max(last - loaded.from_count, 0), "pieces", note)
    scans = SetupScan.objects.filter(batch__in=by_pk, accepted=True).select_related("tool", "press", "gauge", "calibration", "by")
    for scan in scans:
        for kind, thing in (("tool", scan.tool), ("press", scan.press), ("gauge", scan.gauge)):
            if thing is not None:
                note = _calibrated(scan.calibration) if kind == "gauge" else ""
                graph.join(graph.add(node_of(kind, thing)), keys[scan.batch_id], note=note)
    for model in (Reading, PullTest):
        used = model.objects.filter(sample__batch__in=by_pk).order_by().values("sample__batch", "gauge", "calibration").distinct()
        _gauges(graph, keys, list(used))
    _tools(graph, batches, keys)
    _people(graph, by_pk, keys)
    _papers(graph, batches, keys)


def _calibrated(calibration: Any) -> str:
    """The calibration that was in force, in words."""
    if calibration is None:
        return "no calibration in force"
    return f"calibration {calibration.certificate}, {calibration.result}, until {calibration.due_on}"


def _gauges(graph: Graph, keys: dict[int, Key], used: list[dict[str, Any]]) -> None:
    gauges = {g.pk: g for g in things_of("gauge").filter(pk__in={row["gauge"] for row in used})}
    calibrations = Calibration.objects.select_related(None).in_bulk({row["calibration"] for row in used})
    for row in used:
        node = graph.add(node_of("gauge", gauges[row["gauge"]]))
        graph.join(node, keys[row["sample__batch"]], note=_calibrated(calibrations.get(row["calibration"])))


def _tools(graph: Graph, batches: list[Batch], keys: dict[int, Key]) -> None:
    """Tools, and the wear parts in them at the tool's count of the samples; without counts, on the days of the batch."""
    for batch in batches:
        if batch.tool is not None:
            graph.join(graph.add(node_of("tool", batch.tool)), keys[batch.pk])
    counted = Sample.objects.filter(batch__in=list(keys), tool_count__isnull=False).order_by().values("batch")
    counts = {row["batch"]: (row["low"], row["high"]) for row in counted.annotate(low=Min("tool_count"), high=Max("tool_count"))}
    parts: dict[int, list[WearPart]] = {}
    for part in WearPart.objects.filter(tool__in={b.tool_id for b in batches if b.tool_id}).select_related("tool"):
        parts.setdefault(part.tool_id, []).append(part)
    for batch in batches:
        for part in parts.get(batch.tool_id or 0, []):
            if _was_fitted(part, batch, counts.get(batch.pk)):
                graph.join(graph.add(node_of("wear part", part)), keys[batch.pk], note=f"in {part.tool}")


def _was_fitted(part: WearPart, batch: Batch, counts: tuple[int, int] | None) -> bool:
    opened = shop_day(batch.opened_at)
    closed = shop_day(batch.closed_at) if batch.closed_at else None
    if (closed is not None and part.fitted_on > closed) or (part.removed_on is not None and part.removed_on < opened):
        return False
    if counts is None:
        return True
    return part.fitted_at_count <= counts[1] and (part.removed_at_count is None or part.removed_at_count >= counts[0])


def _people(graph: Graph, by_pk: dict[int, Batch], keys: dict[int, Key]) -> None:
    """Who did what, with the qualifications that were in force on the day the batch was opened."""
    did: dict[tuple[int, int], list[str]] = {}

    def note(batch: int, person: int | None, word: str) -> None:
        if person is not None and word not in did.setdefault((batch, person), []):
            did[batch, person].append(word)

    for batch in by_pk.values():
        note(batch.pk, batch.opened_by_id, "opened")
    for batch_pk, person in SetupScan.objects.filter(batch__in=by_pk, accepted=True).order_by().values_list("batch", "by").distinct():
        note(batch_pk, person, "set up")
    for model in (Reading, PullTest):
        for batch_pk, person in model.objects.filter(sample__batch__in=by_pk).order_by().values_list("sample__batch", "by").distinct():
            note(batch_pk, person, "measured")
    looked = VisualFinding.objects.filter(sample__batch__in=by_pk).order_by().values_list("sample__batch", "by").distinct()
    for batch_pk, person in looked:
        note(batch_pk, person, "looked at pieces")
    for batch in by_pk.values():
        note(batch.pk, batch.closed_by_id, "closed")
    people = Person.objects.in_bulk({person for _batch, person in did})
    held: dict[int, list[Qualification]] = {}
    for q in Qualification.objects.filter(person__in=people):
        held.setdefault(q.person_id, []).append(q)
    for (batch_pk, person), words in did.items():
        qualified = _qualified(held.get(person, []), shop_day(by_pk[batch_pk].opened_at))
        graph.join(graph.add(node_of("person", people[person])), keys[batch_pk], note=f"{', '.join(words)}; {qualified}")


def _qualified(held: list[Qualification], on: date) -> str:
    current = [f"{q.process} {q.tool_kind}".strip() + f" ({q.evidence})" for q in held if q.is_current(on)]
    return "qualified for " + ", ".join(current) if current else "no qualification in force"


def _papers(graph: Graph, batches: list[Batch], keys: dict[int, Key]) -> None:
    for batch in batches:
        t = batch.termination
        graph.join(graph.add(node_of("sheet", t.sheet)), keys[batch.pk], note=f"lead {t.lead} end {t.end}")
        if t.specification is not None:
            graph.join(graph.add(node_of("document", t.specification.document)), keys[batch.pk], note=f"by specification {t.specification}")
    numbers = {batch.number: batch.pk for batch in batches}
    for use in ConcessionUse.objects.filter(batch__in=numbers).select_related("concession"):
        graph.join(graph.add(node_of("concession", use.concession)), keys[numbers[use.batch]], use.quantity, "pieces")
    for row in Disposition.objects.filter(batch__in=keys, concession__isnull=False).select_related("concession"):
        if row.concession is not None:
            graph.join(graph.add(node_of("concession", row.concession)), keys[row.batch_id], row.quantity, "pieces", "used as they are")


# --- Ahead -----------------------------------------------------------------------------------------------------------------------


def ahead(found: Found, begin: datetime | None = None, end: datetime | None = None, *, most: int = MOST_BATCHES) -> Graph:
    """Everything a thing went into: batches, lots, lots of lots, shipments, customers. A customer is where every way ends."""
    graph = Graph()
    root = graph.add(root_of(found))
    lots: set[int] = set()
    if found.kind in EVIDENCE or found.kind == "batch":
        batches = _read(batches_with(found, begin, end), most)
        used = _pieces_of(found, batches)
        for batch in batches:
            key = graph.add(node_of("batch", batch))
            if key != root:
                graph.join(root, key, used.get(batch.pk), "pieces" if batch.pk in used else "")
        rows = HarnessLotBatch.objects.filter(batch__in=batches).select_related("lot__job__customer")
        for row in rows:
            graph.join(("batch", row.batch_id), graph.add(node_of("harness lot", row.lot)), row.quantity, "pieces")
            lots.add(row.lot_id)
    elif found.kind == "harness lot":
        lots = {found.pk}
    elif found.kind == "serial":
        _serial_ahead(graph, found, root)
        return graph
    elif found.kind == "shipment":
        shipment = Shipment.objects.select_related("customer").get(pk=found.pk)
        _to_customer(graph, shipment)
        for part in LotPart.objects.filter(shipment=shipment).select_related("lot__job__customer", "used__job__customer", "shipment"):
            graph.join(root, graph.add(node_of("harness lot", part.lot)), part.quantity, "harnesses", f"returned: {part.reason}")
    _lots_ahead(graph, lots)
    return graph


def _pieces_of(found: Found, batches: list[Batch]) -> dict[int, int]:
    """How many pieces of each batch a reel or spool made, by the counts at which it was loaded."""
    if found.kind not in ("wire lot", "terminal lot"):
        return {}
    last = {batch.pk: batch.last_count for batch in batches}
    pieces: dict[int, int] = {}
    column = found.kind.replace(" ", "_")
    for loaded in LoadedLot.objects.filter(batch__in=last, **{column: found.pk}):
        to = loaded.to_count if loaded.to_count is not None else last[loaded.batch_id]
        pieces[loaded.batch_id] = pieces.get(loaded.batch_id, 0) + max(to - loaded.from_count, 0)
    return pieces


def _lots_ahead(graph: Graph, lots: set[int]) -> None:
    parts = parts_ahead(lots)
    for part in parts:
        _join_part(graph, part)
    every = lots | {part.lot_id for part in parts}
    for line in ShipmentLot.objects.filter(lot__in=every).select_related("shipment__customer", "lot__job__customer"):
        shipment = _to_customer(graph, line.shipment)
        graph.join(graph.add(node_of("harness lot", line.lot)), shipment, line.quantity, "harnesses")
    _say_what_is_left(graph, every)


def _say_what_is_left(graph: Graph, lots: set[int]) -> None:
    rows = {lot.pk: lot for lot in HarnessLot.objects.filter(pk__in=lots).select_related("job__customer")}
    for pk, left in harnesses_left_of(rows.values()).items():
        node = node_of("harness lot", rows[pk])
        graph.nodes[node.key] = Node(node.kind, node.pk, node.name, f"{node.note}, {left} in stock", node.at)


def _to_customer(graph: Graph, shipment: Shipment) -> Key:
    key = graph.add(node_of("shipment", shipment))
    graph.join(key, graph.add(node_of("customer", shipment.customer)))
    return key


def _serial_ahead(graph: Graph, found: Found, root: Key) -> None:
    """The lots a harness was in, one after the other, and the shipments it went with."""
    serial = HarnessSerial.objects.get(pk=found.pk).serial
    rows = list(HarnessSerial.objects.filter(serial=serial).select_related("lot__job__customer").order_by("lot"))
    for row in rows:
        graph.join(root, graph.add(node_of("harness lot", row.lot)))
    pks = [row.lot_id for row in rows]
    for part in LotPart.objects.filter(lot__in=pks, used__in=pks).select_related("lot__job__customer", "used__job__customer", "shipment"):
        note = str(part.get_kind_display()) + (f" from shipment {part.shipment}" if part.kind == PartOf.RETURNED else "")
        graph.join(("harness lot", part.used_id), ("harness lot", part.lot_id), 1, "", note)
    sent = ShippedSerial.objects.filter(serial__in=rows).select_related("line__shipment__customer")
    for gone in sent:
        graph.join(("harness lot", gone.line.lot_id), _to_customer(graph, gone.line.shipment), 1, "harness")
