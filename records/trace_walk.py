"""A trace as a graph, read from the database: everything behind a thing, or everything ahead of it."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date, datetime
from functools import cache, partial
from typing import Any

from django.db.models import F, Max, Min, Model, Q, QuerySet

from inspection.models import Batch, Disposition, LoadedLot, PullTest, Reading, Sample, SetupScan, VisualFinding
from records.balances import harnesses_left_of
from records.models import HarnessLot, HarnessLotBatch, HarnessSerial, LotPart, PartOf, Shipment, ShipmentLot, ShippedSerial
from records.trace import (
    MOST_BATCHES,
    Found,
    first_batches,
    lines_of_lots,
    lots_of,
    lots_of_batches,
    name_of,
    parts_ahead,
    parts_behind,
    things_of,
)
from records.trace_graph import EVIDENCE, Graph, Key, Node
from shop.clock import shop_day
from shop.composed import AnyOf, Composed, Given, by_key
from shop.concessions import ConcessionUse
from shop.crib import WearPart
from shop.fields import label_of
from shop.jobs import Termination
from shop.people import Qualification
from shop.tools import Calibration


def node_of(kind: str, thing: Any) -> Node:
    """A row as a node of the trace."""
    note, at = "", None
    match kind:
        case "batch":
            t = thing.termination
            note, at = f"{t.sheet} lead {t.lead} end {t.end}, {thing.status}", thing.opened_at
        case "harness lot":
            note, at = f"{thing.quantity} {label_of(thing, 'kind')}, job {thing.job.number}", thing.built_at
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
            note = label_of(thing, "status")
        case "concession":
            note = thing.reason
        case "tool" | "gauge":
            note = label_of(thing, "kind")
    return Node(kind, thing.pk, name_of(kind, thing), note, at)


_WITH = {
    "batch": ("termination__sheet", "termination__specification__document", "tool"),
    "harness lot": ("job",),
    "shipment": ("customer",),
    "wire lot": ("wire",),
    "terminal lot": ("terminal",),
    "wear part": ("tool",),
}


def _of(model: type[Model]) -> QuerySet[Any]:
    """The rows of a model without its own order, which would come into a DISTINCT."""
    return model._default_manager.order_by()


@cache
def _some(kind: str) -> Composed[Any]:
    return Composed(lambda: things_of(kind).select_related(*_WITH.get(kind, (None,))).filter(AnyOf("pk", "keys")))


def read_things(kind: str, keys: Iterable[int | None]) -> dict[int, Any]:
    """Things of a kind by key, with what `node_of` says of them; each once, however many batches it was used in."""
    wanted = {key for key in keys if key is not None}
    return {thing.pk: thing for thing in _some(kind)(keys=wanted)} if wanted else {}


def root_of(found: Found) -> Node:
    """The node a trace begins with. Raises KeyError where it is gone."""
    return node_of(found.kind, read_things(found.kind, [found.pk])[found.pk])


# --- Behind ----------------------------------------------------------------------------------------------------------------------

_BATCHES_OF_LOTS = Composed(
    lambda: (
        HarnessLotBatch.objects.filter(AnyOf("lot", "lots"))
        .select_related(*(f"batch__{path}" for path in _WITH["batch"]))
        .order_by("lot", "batch")[:MOST_BATCHES]
    )
)
_SHIPPED = ShipmentLot.objects.select_related("shipment__customer", "lot__job").order_by("-shipment__shipped_at", "pk")
_LINES_OF_SHIPMENT = Composed(lambda: _SHIPPED.filter(shipment=Given("shipment"))[:MOST_BATCHES])


def behind(found: Found, begin: datetime | None = None, end: datetime | None = None) -> Graph:
    """Everything behind a thing: shipments of a customer, lots, lots in lots, batches, and the evidence of each batch."""
    graph = Graph()
    root = graph.add(root_of(found))
    lots: set[int] = set()
    if found.kind in ("customer", "shipment"):
        lots = _shipments_behind(graph, found, root, begin, end)
    elif found.kind == "serial":
        for lot in HarnessLot.objects.filter(pk__in=[lot.pk for lot in lots_of(found)]).select_related("job"):
            graph.join(graph.add(node_of("harness lot", lot)), root)
            lots.add(lot.pk)
    elif found.kind == "harness lot":
        lots = {found.pk}
    parts = parts_behind(lots)
    for part in parts:
        _join_part(graph, part)
    if found.kind == "batch":
        batches = read_things("batch", [found.pk])
    else:
        batches = _batches_of_lots(graph, lots | {part.used_id for part in parts})
    _evidence(graph, batches)
    return graph


def _shipments_behind(graph: Graph, found: Found, root: Key, begin: datetime | None, end: datetime | None) -> set[int]:
    lots = set()
    for line in _lines(found, begin, end):
        shipment = graph.add(node_of("shipment", line.shipment))
        lot = graph.add(node_of("harness lot", line.lot))
        graph.join(lot, shipment, line.quantity, "harnesses")
        if root != shipment:
            graph.join(shipment, root)
        lots.add(line.lot_id)
    return lots


def _lines(found: Found, begin: datetime | None, end: datetime | None) -> list[ShipmentLot]:
    """What went with a shipment, or with the newest of a customer's in the time."""
    if found.kind == "shipment":
        return _LINES_OF_SHIPMENT(shipment=found.pk)
    sent = (Q(shipment__shipped_at__gte=begin) if begin else Q()) & (Q(shipment__shipped_at__lt=end) if end else Q())
    return list(_SHIPPED.filter(sent, shipment__customer=found.pk)[:MOST_BATCHES])


def _join_part(graph: Graph, part: LotPart) -> None:
    source, target = graph.add(node_of("harness lot", part.used)), graph.add(node_of("harness lot", part.lot))
    note = f"{label_of(part, 'kind')} from shipment {part.shipment}" if part.shipment else label_of(part, "kind")
    graph.join(source, target, part.quantity, label_of(part.used, "kind"), note)


def _batches_of_lots(graph: Graph, lots: set[int]) -> dict[int, Batch]:
    """The batches of lots that are in the graph, by primary key."""
    batches = {}
    for row in _BATCHES_OF_LOTS(lots=lots):
        graph.join(graph.add(node_of("batch", row.batch)), ("harness lot", row.lot_id), row.quantity, "pieces")
        batches[row.batch_id] = row.batch
    return batches


def _measured_in(model: type[Reading | PullTest]) -> QuerySet[Any, Any]:
    """Batch, gauge, calibration and person of whatever was measured, each combination once."""
    taken = _of(model).filter(AnyOf("sample__batch", "batches")).annotate(batch=F("sample__batch"))
    once: QuerySet[Any, Any] = taken.values_list("batch", "gauge", "calibration", "by", named=True).distinct()
    return once


_LOADED: Composed[Any] = Composed(
    lambda: LoadedLot.objects.filter(AnyOf("batch", "batches")).values_list(
        "batch", "wire_lot", "terminal_lot", "from_count", "to_count", named=True
    )
)
_SCANNED: Composed[Any] = Composed(
    lambda: (
        _of(SetupScan)
        .filter(AnyOf("batch", "batches"), accepted=True)
        .order_by("pk")
        .values_list("batch", "tool", "press", "gauge", "calibration", "by", named=True)
    )
)
_MEASURED = [Composed(partial(_measured_in, model)) for model in (Reading, PullTest)]
_LOOKED = Composed(lambda: _of(VisualFinding).filter(AnyOf("sample__batch", "batches")).values_list("sample__batch", "by").distinct())
_COUNTED = Composed(
    lambda: (
        _of(Sample)
        .filter(AnyOf("batch", "batches"), tool_count__isnull=False)
        .values_list("batch")
        .annotate(low=Min("tool_count"), high=Max("tool_count"))
    )
)
_WORN = Composed(lambda: WearPart.objects.filter(AnyOf("tool", "tools")).select_related("tool"))
_CALIBRATIONS = Composed(lambda: Calibration.objects.select_related(None).filter(AnyOf("pk", "keys")))
_HELD = Composed(lambda: Qualification.objects.filter(AnyOf("person", "people")))
_CONCEDED = Composed(lambda: ConcessionUse.objects.filter(AnyOf("batch", "numbers")).select_related("concession"))
_USED_AS_IS = Composed(lambda: Disposition.objects.filter(AnyOf("batch", "batches"), concession__isnull=False).select_related("concession"))


def _evidence(graph: Graph, batches: dict[int, Batch]) -> None:
    """What each batch was made with: reels by the counts at which they were loaded, tool, wear parts, press, gauges, people, papers."""
    if not batches:
        return
    keys = {pk: graph.add(node_of("batch", batch)) for pk, batch in batches.items()}
    _lots_loaded(graph, batches, keys)
    scans = _SCANNED(batches=keys)
    measured = [row for question in _MEASURED for row in question(batches=keys)]
    for kind, used in (("tool", [(scan.batch, scan.tool) for scan in scans]), ("press", [(scan.batch, scan.press) for scan in scans])):
        things = read_things(kind, (pk for _batch, pk in used))
        for batch, pk in used:
            if pk is not None:
                graph.join(graph.add(node_of(kind, things[pk])), keys[batch])
    _gauges(graph, keys, dict.fromkeys((row.batch, row.gauge, row.calibration) for row in [*scans, *measured]))
    _tools(graph, batches, keys)
    _people(graph, batches, keys, _did(batches, scans, measured))
    _papers(graph, batches, keys)


def _lots_loaded(graph: Graph, batches: dict[int, Batch], keys: dict[int, Key]) -> None:
    loaded = _LOADED(batches=keys)
    lots = {"wire lot": read_things("wire lot", (row.wire_lot for row in loaded))}
    lots["terminal lot"] = read_things("terminal lot", (row.terminal_lot for row in loaded))
    for row in loaded:
        kind, pk = ("wire lot", row.wire_lot) if row.wire_lot else ("terminal lot", row.terminal_lot)
        last = row.to_count if row.to_count is not None else batches[row.batch].last_count
        note = f"pieces {row.from_count + 1} to {last}" if last > row.from_count else "no piece yet"
        graph.join(graph.add(node_of(kind, lots[kind][pk])), keys[row.batch], max(last - row.from_count, 0), "pieces", note)


def _calibrated(calibration: Any) -> str:
    """The calibration that was in force, in words."""
    if calibration is None:
        return "no calibration in force"
    return f"calibration {calibration.certificate}, {calibration.result}, until {calibration.due_on}"


def _gauges(graph: Graph, keys: dict[int, Key], used: Iterable[tuple[int, int | None, int | None]]) -> None:
    """used: batch, gauge, the calibration that was in force."""
    rows = [(batch, gauge, calibration) for batch, gauge, calibration in used if gauge is not None]
    gauges = read_things("gauge", (gauge for _batch, gauge, _calibration in rows))
    calibrations = {c.pk: c for c in _CALIBRATIONS(keys={c for _batch, _gauge, c in rows if c is not None})}
    for batch, gauge, calibration in rows:
        graph.join(graph.add(node_of("gauge", gauges[gauge])), keys[batch], note=_calibrated(calibrations.get(calibration or 0)))


def _tools(graph: Graph, batches: dict[int, Batch], keys: dict[int, Key]) -> None:
    """Tools, and the wear parts in them at the tool's count of the samples; without counts, on the days of the batch."""
    for pk, batch in batches.items():
        if batch.tool is not None:
            graph.join(graph.add(node_of("tool", batch.tool)), keys[pk])
    parts: dict[int, list[WearPart]] = {}
    for part in _WORN(tools={batch.tool_id for batch in batches.values() if batch.tool_id}):
        parts.setdefault(part.tool_id, []).append(part)
    counts = {batch: (low, high) for batch, low, high in _COUNTED(batches=keys)} if parts else {}
    for pk, batch in batches.items():
        for part in parts.get(batch.tool_id or 0, []):
            if _was_fitted(part, batch, counts.get(pk)):
                graph.join(graph.add(node_of("wear part", part)), keys[pk], note=f"in {part.tool}")


def _was_fitted(part: WearPart, batch: Batch, counts: tuple[int, int] | None) -> bool:
    opened = shop_day(batch.opened_at)
    closed = shop_day(batch.closed_at) if batch.closed_at else None
    if (closed is not None and part.fitted_on > closed) or (part.removed_on is not None and part.removed_on < opened):
        return False
    if counts is None:
        return True
    return part.fitted_at_count <= counts[1] and (part.removed_at_count is None or part.removed_at_count >= counts[0])


BatchAndPerson = tuple[int, int]


def _did(batches: dict[int, Batch], scans: Iterable[Any], measured: Iterable[Any]) -> dict[BatchAndPerson, list[str]]:
    """Batch and person -> what this person did on it, in the order of the work."""
    did: dict[BatchAndPerson, dict[str, None]] = {}

    def note(batch: int, person: int | None, word: str) -> None:
        if person is not None:
            did.setdefault((batch, person), {})[word] = None

    for pk, batch in batches.items():
        note(pk, batch.opened_by_id, "opened")
    for scan in scans:
        note(scan.batch, scan.by, "set up")
    for row in measured:
        note(row.batch, row.by, "measured")
    for pk, person in _LOOKED(batches=batches):
        note(pk, person, "looked at pieces")
    for pk, batch in batches.items():
        note(pk, batch.closed_by_id, "closed")
    return {both: list(words) for both, words in did.items()}


def _people(graph: Graph, batches: dict[int, Batch], keys: dict[int, Key], did: dict[BatchAndPerson, list[str]]) -> None:
    """Who did what, with the qualifications that were in force on the day the batch was opened."""
    people = read_things("person", (person for _batch, person in did))
    held: dict[int, list[Qualification]] = {}
    for q in _HELD(people=people):
        held.setdefault(q.person_id, []).append(q)
    for (pk, person), words in did.items():
        qualified = _qualified(held.get(person, []), shop_day(batches[pk].opened_at))
        graph.join(graph.add(node_of("person", people[person])), keys[pk], note=f"{', '.join(words)}; {qualified}")


def _qualified(held: list[Qualification], on: date) -> str:
    current = [f"{q.process} {q.tool_kind}".strip() + f" ({q.evidence})" for q in held if q.is_current(on)]
    return "qualified for " + ", ".join(current) if current else "no qualification in force"


def _papers(graph: Graph, batches: dict[int, Batch], keys: dict[int, Key]) -> None:
    for pk, batch in batches.items():
        t = batch.termination
        graph.join(graph.add(node_of("sheet", t.sheet)), keys[pk], note=f"lead {t.lead} end {t.end}")
        if t.specification is not None:
            graph.join(graph.add(node_of("document", t.specification.document)), keys[pk], note=f"by specification {t.specification}")
    numbers = {batch.number: pk for pk, batch in batches.items()}
    for use in _CONCEDED(numbers=numbers):
        graph.join(graph.add(node_of("concession", use.concession)), keys[numbers[use.batch]], use.quantity, "pieces")
    for row in _USED_AS_IS(batches=keys):
        if row.concession is not None:
            graph.join(graph.add(node_of("concession", row.concession)), keys[row.batch_id], row.quantity, "pieces", "used as they are")


# --- Ahead -----------------------------------------------------------------------------------------------------------------------


_IN_SHORT = by_key(Batch, along={"termination": by_key(Termination, "sheet")})
"""What is said of a batch in a tree where nothing stands behind it."""


def ahead(found: Found, begin: datetime | None = None, end: datetime | None = None) -> Graph:
    """Everything a thing went into: batches, lots, lots of lots, shipments, customers. A customer is where every way ends."""
    graph = Graph()
    root = graph.add(root_of(found))
    lots: set[int] = set()
    if found.kind in EVIDENCE or found.kind == "batch":
        picked = first_batches(found, begin, end)
        read = {batch.pk: batch for batch in _IN_SHORT(keys=picked)}
        batches = {pk: read[pk] for pk in picked}
        used = _pieces_of(found, batches)
        for pk, batch in batches.items():
            key = graph.add(node_of("batch", batch))
            if key != root:
                graph.join(root, key, used.get(pk), "pieces" if pk in used else "")
        for row in lots_of_batches(batches):
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
        for part in LotPart.objects.filter(shipment=shipment).select_related("lot__job", "used__job", "shipment"):
            graph.join(root, graph.add(node_of("harness lot", part.lot)), part.quantity, "harnesses", f"returned: {part.reason}")
    _lots_ahead(graph, lots)
    return graph


_LOADED_OF = {
    f"{kind} lot": Composed(partial(LoadedLot.objects.filter, AnyOf("batch", "batches"), **{f"{kind}_lot": Given("lot")}))
    for kind in ("wire", "terminal")
}


def _pieces_of(found: Found, batches: dict[int, Batch]) -> dict[int, int]:
    """How many pieces of each batch a reel or spool made, by the counts at which it was loaded."""
    if found.kind not in _LOADED_OF:
        return {}
    pieces: dict[int, int] = {}
    for loaded in _LOADED_OF[found.kind](batches=batches, lot=found.pk):
        to = loaded.to_count if loaded.to_count is not None else batches[loaded.batch_id].last_count
        pieces[loaded.batch_id] = pieces.get(loaded.batch_id, 0) + max(to - loaded.from_count, 0)
    return pieces


def _lots_ahead(graph: Graph, lots: set[int]) -> None:
    parts = parts_ahead(lots)
    for part in parts:
        _join_part(graph, part)
    every = lots | {part.lot_id for part in parts}
    for line in lines_of_lots(every):
        shipment = _to_customer(graph, line.shipment)
        graph.join(graph.add(node_of("harness lot", line.lot)), shipment, line.quantity, "harnesses")
    _say_what_is_left(graph, every)


def _say_what_is_left(graph: Graph, lots: set[int]) -> None:
    rows = read_things("harness lot", lots)
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
    rows = list(HarnessSerial.objects.filter(serial=serial).select_related("lot__job").order_by("lot"))
    for row in rows:
        graph.join(root, graph.add(node_of("harness lot", row.lot)))
    pks = [row.lot_id for row in rows]
    for part in LotPart.objects.filter(lot__in=pks, used__in=pks).select_related("lot__job", "used__job", "shipment"):
        note = label_of(part, "kind") + (f" from shipment {part.shipment}" if part.kind == PartOf.RETURNED else "")
        graph.join(("harness lot", part.used_id), ("harness lot", part.lot_id), 1, "", note)
    sent = ShippedSerial.objects.filter(serial__in=rows).select_related("line__shipment__customer")
    for gone in sent:
        graph.join(("harness lot", gone.line.lot_id), _to_customer(graph, gone.line.shipment), 1, "harness")
