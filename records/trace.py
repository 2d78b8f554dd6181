"""Trace: what a number belongs to, the batches anything was used in, and where they went.

Joins over foreign keys; recursive only for lots in lots.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import datetime
from functools import cache
from typing import Any, NamedTuple

from django.db import connection
from django.db.models import DateTimeField, Model, Q, QuerySet

from inspection.models import Batch, Disposition, LoadedLot, PullTest, Reading, Sample, SetupScan, VisualFinding
from inspection.set_up import read_scans
from records.models import HarnessLot, HarnessLotBatch, HarnessSerial, LotPart, PartOf, Shipment, ShipmentLot
from records.trace_graph import KINDS
from shop.composed import AnyOf, Composed, Given, by_key, hang
from shop.concessions import Concession, ConcessionUse
from shop.crib import Press, WearPart
from shop.jobs import Customer, PlanLine, SetupSheet, Termination, TerminationWire
from shop.long_lists import COUNTED
from shop.materials import TerminalLot, Wire, WireLot
from shop.people import Person
from shop.specifications import Document
from shop.tools import Gauge, Tool


@dataclass(frozen=True, slots=True)
class Found:
    """What a number belongs to. kind: one of `trace_graph.KINDS`."""

    kind: str
    pk: int
    name: str


FORWARD = ("shipment", "harness lot", "batch", "serial", "customer")
BACKWARD = tuple(kind for kind in KINDS if kind not in FORWARD)
OF_LOTS = ("harness lot", "serial", "shipment", "customer")
ASKED_FIRST = ("wear part", "concession")
"""Kinds whose batches are found in two steps: the statement depends on the answer to another."""

MOST_BATCHES = 200
"""Batches read into one graph; an answer with more says so, with its true totals."""


def things_of(kind: str) -> QuerySet[Any]:
    """The rows of a kind. Raises KeyError for a kind that is none."""
    models: dict[str, type[Model]] = {
        "shipment": Shipment,
        "harness lot": HarnessLot,
        "batch": Batch,
        "serial": HarnessSerial,
        "wire lot": WireLot,
        "terminal lot": TerminalLot,
        "tool": Tool,
        "press": Press,
        "gauge": Gauge,
        "wear part": WearPart,
        "person": Person,
        "document": Document,
        "sheet": SetupSheet,
        "concession": Concession,
        "customer": Customer,
    }
    return models[kind]._default_manager.all()


def find(text: str, kinds: Iterable[str] = KINDS) -> list[Found]:
    """Everything that carries exactly this number, shipments first. Revisions of a sheet or document: all of them, or the one named.

    kinds: nothing else is looked for.
    """
    text = text.strip()
    if not text:
        return []
    # As it was typed first: that is what an index answers. Another case is looked for only where nothing is called exactly so.
    wanted = frozenset(kinds)
    return _carrying(text, "", wanted) or _carrying(text, "__iexact", wanted)


def _carrying(text: str, same: str, kinds: frozenset[str]) -> list[Found]:
    head, _space, tail = text.rpartition(" ")
    tail = tail.removeprefix("rev")

    def is_(field: str, wanted: str) -> Q:
        return Q(**{f"{field}{same}": wanted})

    looked_in = {
        "shipment": is_("number", text),
        "harness lot": is_("number", text),
        "batch": is_("number", text),
        "wire lot": is_("lot_number", text),
        "terminal lot": is_("lot_number", text),
        "tool": is_("asset_number", text),
        "press": is_("asset_number", text),
        "gauge": is_("asset_number", text),
        "wear part": is_("serial", text),
        "person": is_("badge", text) | is_("username", text),
        "document": is_("number", text) | (is_("number", head) & is_("revision", tail) if head else Q(pk=None)),
        "sheet": is_("number", text) | (is_("number", head) & Q(revision=int(tail)) if head and tail.isdigit() else Q(pk=None)),
        "concession": is_("number", text),
        "customer": is_("code", text),
    }
    asked = {kind: wanted for kind, wanted in looked_in.items() if kind in kinds}
    found = [Found(kind, thing.pk, name_of(kind, thing)) for kind, wanted in asked.items() for thing in things_of(kind).filter(wanted)]
    if "serial" not in kinds:
        return found
    # A serial number has a row in every lot it was in; the newest stands for the harness.
    newest = HarnessSerial.objects.filter(is_("serial", text)).order_by("-lot").first()
    return found + ([Found("serial", newest.pk, newest.serial)] if newest else [])


def name_of(kind: str, thing: Any) -> str:
    """By what a thing is called in a trace, and found again in an address."""
    match kind:
        case "document" | "sheet":
            return f"{thing.number} {thing.revision}"
        case "person":
            return str(thing.username)
        case "customer":
            return str(thing.code)
        case "wear part":
            return str(thing.serial or thing.part_number)
    return str(thing)


_LINES = Composed(lambda: ShipmentLot.objects.filter(shipment=Given("shipment")).select_related("lot__job__customer", "lot__built_by"))


def lots_behind(shipment: Shipment) -> list[tuple[HarnessLot, int]]:
    """The harness lots of a shipment and how many harnesses of each went with it."""
    return [(row.lot, row.quantity) for row in _LINES(shipment=shipment.pk)]


_PARTS = LotPart.objects.select_related("lot__job__customer", "used__job__customer", "used__built_by", "shipment")
_PARTS_OF = Composed(lambda: _PARTS.filter(AnyOf("lot", "lots")))
_PARTS_INTO = Composed(lambda: _PARTS.filter(AnyOf("used", "lots")))


def parts_behind(lots: Iterable[int]) -> list[LotPart]:
    """Every lot that went into these lots, at any depth: one query for each level, a lot looked into once."""
    seen = set(lots)
    level, rows = set(seen), []
    while level:
        found = _PARTS_OF(lots=level)
        rows += found
        level = {row.used_id for row in found} - seen
        seen |= level
    return rows


def origin_of(part: LotPart) -> str:
    """How a lot came to be behind another, in words."""
    came = f"{part.quantity} of {part.used} in {part.lot}, {part.get_kind_display()}"
    if part.shipment is not None:
        came += f" from shipment {part.shipment}"
    return f"{came}: {part.reason}" if part.reason else came


def batches_behind(lot: HarnessLot) -> list[tuple[Batch, int]]:
    """The batches of a harness lot itself and how many pieces of each went in."""
    return batches_behind_each([lot])[lot.pk]


_TERMINATIONS = by_key(Termination, "sheet__job", "sheet__released_by", "terminal", "tool", "press", "specification__document")
# Many batches are of few terminations and tools: each is read once and shared.
_BATCHES = by_key(Batch, along={"termination": _TERMINATIONS, "tool": by_key(Tool), "opened_by": by_key(Person)})
_BATCHES_OF_LOTS = Composed(lambda: HarnessLotBatch.objects.filter(AnyOf("lot", "lots")), along={"batch": _BATCHES})
_WIRES = Composed(lambda: TerminationWire.objects.filter(AnyOf("termination", "keys")), along={"wire": by_key(Wire)})
_PLAN = Composed(lambda: PlanLine.objects.filter(AnyOf("termination", "keys")).order_by("pk"))
_SAMPLES = Composed(lambda: Sample.objects.filter(AnyOf("batch", "keys")).order_by("number"))


def batches_behind_each(lots: Iterable[HarnessLot]) -> dict[int, list[tuple[Batch, int]]]:
    """Lot -> `batches_behind` it, in as many queries as for one lot."""
    behind: dict[int, list[tuple[Batch, int]]] = {lot.pk: [] for lot in lots}
    rows = _BATCHES_OF_LOTS(lots=behind)
    batches = {row.batch_id: row.batch for row in rows}
    terminations = {batch.termination_id: batch.termination for batch in batches.values()}.values()
    hang(terminations, "termination_wires", _WIRES)
    hang(terminations, "plan_lines", _PLAN)
    hang(batches.values(), "samples", _SAMPLES)
    read_scans(batches.values())
    for row in rows:
        behind[row.lot_id].append((batches[row.batch_id], row.quantity))
    return behind


def within(begin: datetime | None, end: datetime | None) -> Q:
    """Readings taken from `begin` on and before `end`."""
    return (Q(at__gte=begin) if begin else Q()) & (Q(at__lt=end) if end else Q())


def batches_with(found: Found, begin: datetime | None = None, end: datetime | None = None) -> QuerySet[Batch]:
    """The batches in which a thing was used, or which a lot, serial number or shipment is made of, the oldest first.

    begin, end: a batch counts when it was open at any moment between them. A gauge counts where it was set up or measured in that time.
    """
    return _open_within(_used_in(found, begin, end), begin, end)


def _open_within(batches: QuerySet[Batch], begin: Any, end: Any) -> QuerySet[Batch]:
    if end is not None:
        batches = batches.filter(opened_at__lt=end)
    if begin is not None:
        batches = batches.exclude(closed_at__lt=begin)
    return batches.order_by("opened_at", "number")


class Picked(NamedTuple):
    """`batches_with` as a question that may be composed already, and what it is asked about."""

    first: Composed[int]
    counted: Composed[int]
    every: Composed[int]
    given: dict[str, Any]


_Questions = tuple[Composed[int], Composed[int], Composed[int]]


def _questions(batches: Callable[[], QuerySet[Batch]]) -> _Questions:
    """The keys of the first of some batches in their order, of as many as a list counts, and of all of them in no order."""

    def keys() -> QuerySet[Batch, int]:
        return batches().values_list("pk", flat=True)

    return Composed(lambda: keys()[:MOST_BATCHES]), Composed(lambda: keys()[: COUNTED + 1]), Composed(lambda: keys().order_by())


@cache
def _asked(kind: str, since: bool, until: bool) -> _Questions:
    begin = Given("begin", DateTimeField()) if since else None
    end = Given("end", DateTimeField()) if until else None
    in_lots = Batch.objects.filter(pk__in=HarnessLotBatch.objects.filter(AnyOf("lot", "lots")).order_by().values("batch"))

    def batches() -> QuerySet[Batch]:
        picked = in_lots if kind in OF_LOTS else _used_in(Found(kind, Given("pk"), ""), begin, end)  # type: ignore[arg-type]
        return _open_within(picked, begin, end)

    return _questions(batches)


def picked(found: Found, begin: datetime | None = None, end: datetime | None = None) -> Picked:
    """The same as `batches_with`, composed once for a kind where the answer is one statement."""
    if found.kind in ASKED_FIRST:
        return Picked(*_questions(lambda: batches_with(found, begin, end)), {})
    given = {"lots": lots_with_parts(found)} if found.kind in OF_LOTS else {"pk": found.pk}
    span = {name: moment for name, moment in (("begin", begin), ("end", end)) if moment is not None}
    return Picked(*_asked(found.kind, begin is not None, end is not None), given | span)


def first_batches(found: Found, begin: datetime | None = None, end: datetime | None = None) -> list[int]:
    """The keys of the oldest `MOST_BATCHES` of `batches_with`."""
    asked = picked(found, begin, end)
    return asked.first(**asked.given)


def totals_with(found: Found, begin: datetime | None = None, end: datetime | None = None) -> Totals:
    """`totals` of `batches_with`."""
    return totals_of(picked(found, begin, end))


def totals_of(asked: Picked) -> Totals:
    return _totals(*asked.every.statement(**asked.given))


def _used_in(found: Found, begin: datetime | None, end: datetime | None) -> QuerySet[Batch]:
    pk, batches = found.pk, Batch.objects.all()
    accepted = SetupScan.objects.filter(accepted=True).order_by()
    match found.kind:
        case "wire lot":
            return batches.filter(pk__in=LoadedLot.objects.filter(wire_lot=pk).order_by().values("batch"))
        case "terminal lot":
            return batches.filter(pk__in=LoadedLot.objects.filter(terminal_lot=pk).order_by().values("batch"))
        case "tool":
            return batches.filter(
                pk__in=Batch.objects.filter(tool=pk).order_by().values("pk").union(accepted.filter(tool=pk).values("batch"))
            )
        case "press":
            return batches.filter(pk__in=accepted.filter(press=pk).values("batch"))
        case "gauge":
            read = [model.objects.filter(within(begin, end), gauge=pk).order_by().values("sample__batch") for model in (Reading, PullTest)]
            return batches.filter(pk__in=accepted.filter(gauge=pk).values("batch").union(*read))
        case "wear part":
            part = WearPart.objects.get(pk=pk)
            last = Q(opened_at__date__lte=part.removed_on) if part.removed_on else Q()
            return batches.filter(last, tool=part.tool_id).exclude(closed_at__date__lt=part.fitted_on)
        case "person":
            measured = [m.objects.filter(by=pk).order_by().values("sample__batch") for m in (Reading, PullTest, VisualFinding)]
            own = [Batch.objects.filter(**{f: pk}).order_by().values("pk") for f in ("opened_by", "closed_by")]
            taken = Sample.objects.filter(taken_by=pk).order_by().values("batch")
            return batches.filter(pk__in=accepted.filter(by=pk).values("batch").union(taken, *measured, *own))
        case "sheet":
            return batches.filter(termination__sheet=pk)
        case "document":
            return batches.filter(termination__specification__document=pk)
        case "concession":
            # A use names the batch, and behind it the disposition where one was made.
            names = {use.partition(" ")[0] for use in ConcessionUse.objects.filter(concession=pk).values_list("batch", flat=True)}
            as_is = Disposition.objects.filter(concession=pk).order_by().values("batch")
            return batches.filter(pk__in=Batch.objects.filter(number__in=names).order_by().values("pk").union(as_is))
        case "batch":
            return batches.filter(pk=pk)
    return batches.filter(pk__in=HarnessLotBatch.objects.filter(lot__in=lots_with_parts(found)).order_by().values("batch"))


def lots_with_parts(found: Found) -> set[int]:
    """The lots of a lot, a serial number, a shipment or a customer, and every lot inside them."""
    lots = {lot.pk for lot in lots_of(found)}
    return lots | {part.used_id for part in parts_behind(lots)}


_LOTS_OF_SHIPMENT = Composed(lambda: HarnessLot.objects.filter(pk__in=ShipmentLot.objects.filter(shipment=Given("shipment")).values("lot")))


def lots_of(found: Found) -> list[HarnessLot]:
    """The lots that a lot, a serial number, a shipment or a customer's shipments are, without those behind them."""
    match found.kind:
        case "harness lot":
            return list(HarnessLot.objects.filter(pk=found.pk))
        case "serial":
            return list(HarnessLot.objects.filter(serials__serial=HarnessSerial.objects.get(pk=found.pk).serial).order_by("-pk")[:1])
        case "shipment":
            return _LOTS_OF_SHIPMENT(shipment=found.pk)
        case "customer":
            return list(HarnessLot.objects.filter(pk__in=ShipmentLot.objects.filter(shipment__customer=found.pk).values("lot")))
    return []


@dataclass(frozen=True, slots=True)
class Totals:
    """How much an answer holds, however much of it is shown."""

    batches: int
    pieces: int
    lots: int
    shipments: int
    customers: tuple[str, ...]


# UNION, not UNION ALL: a lot that is reached twice is counted once, and a circle would end.
REACHED = """
WITH RECURSIVE picked(id) AS ({batches}),
reached(id) AS (
  SELECT lot_id FROM records_harnesslotbatch WHERE batch_id IN (SELECT id FROM picked)
  UNION
  SELECT part.lot_id FROM records_lotpart part JOIN reached ON part.used_id = reached.id
),
sent(shipment_id, customer_id) AS (
  SELECT DISTINCT line.shipment_id, shipment.customer_id
  FROM records_shipmentlot line JOIN records_shipment shipment ON shipment.id = line.shipment_id
  WHERE line.lot_id IN (SELECT id FROM reached)
)
{answer}"""
# One statement, so that what was picked and reached is walked once: the counts, and a row for each customer.
SUMMED = """SELECT (SELECT count(*) FROM picked),
  (SELECT coalesce(sum(coalesce(made, last_count)), 0) FROM inspection_batch WHERE id IN (SELECT id FROM picked)),
  (SELECT count(*) FROM reached), (SELECT count(*) FROM sent), CAST(NULL AS text)
UNION ALL
SELECT 0, 0, 0, 0, name FROM shop_customer WHERE id IN (SELECT customer_id FROM sent)
"""


def _reached(batches: str, params: tuple[Any, ...], answer: str) -> list[tuple[Any, ...]]:
    """Rows of `answer` over picked, reached and sent. batches: a statement of keys, Django's own; its values go as parameters."""
    with connection.cursor() as cursor:
        cursor.execute(REACHED.format(batches=batches, answer=answer), params)
        return list(cursor.fetchall())


def _statement(batches: QuerySet[Batch]) -> tuple[str, tuple[Any, ...]]:
    return batches.order_by().values("pk").query.sql_with_params()


def reached_from(batches: QuerySet[Batch]) -> tuple[set[int], set[int]]:
    """Keys of the lots and shipments that these batches went into, at any depth."""
    picked = _statement(batches)
    lots = {int(row[0]) for row in _reached(*picked, "SELECT id FROM reached")}
    return lots, {int(row[0]) for row in _reached(*picked, "SELECT shipment_id FROM sent")}


def totals(batches: QuerySet[Batch]) -> Totals:
    """What a set of batches amounts to and where it went, counted in the database."""
    return _totals(*_statement(batches))


def _totals(batches: str, params: tuple[Any, ...]) -> Totals:
    rows = _reached(batches, params, SUMMED)
    counted = next(row for row in rows if row[4] is None)
    count, pieces, lots, shipments = (int(n) for n in counted[:4])
    return Totals(count, pieces, lots, shipments, tuple(sorted(str(row[4]) for row in rows if row[4] is not None)))


def read_batches(batches: QuerySet[Batch], *related: str, most: int) -> list[Batch]:
    """The first of some batches with what belongs to them, in their order.

    Their keys first: asked for everything at once, PostgreSQL loses the index of what they were picked by among the many joined tables.
    """
    keys = list(batches.values_list("pk", flat=True)[:most])
    found = Batch.objects.select_related(*related).in_bulk(keys)
    return [found[key] for key in keys]


@dataclass(frozen=True, slots=True)
class Reach:
    """Where one batch went: quantities in lots and shipments, and what is still in the shop."""

    batch: Batch
    in_lots: tuple[tuple[HarnessLot, int], ...]
    shipped: tuple[tuple[Shipment, HarnessLot, int], ...]

    @property
    def customers(self) -> list[str]:
        return sorted({shipment.customer.name for shipment, _, _ in self.shipped})


def parts_ahead(lots: Iterable[int]) -> list[LotPart]:
    """Every lot that these lots went into, at any depth: one query for each level, a lot looked into once."""
    seen = set(lots)
    level, rows = set(seen), []
    while level:
        found = _PARTS_INTO(lots=level)
        rows += found
        level = {row.lot_id for row in found} - seen
        seen |= level
    return rows


_LOTS_OF_BATCHES = Composed(lambda: HarnessLotBatch.objects.filter(AnyOf("batch", "batches")), along={"lot": by_key(HarnessLot, "job")})
_LINES_OF_LOTS = Composed(lambda: ShipmentLot.objects.filter(AnyOf("lot", "lots")).select_related("shipment__customer", "lot__job"))


def lots_of_batches(batches: Iterable[int]) -> list[HarnessLotBatch]:
    """What of these batches went into which lots, the lots with their jobs."""
    return _LOTS_OF_BATCHES(batches=batches)


def lines_of_lots(lots: Iterable[int]) -> list[ShipmentLot]:
    """What of these lots went with which shipments, with lots, jobs and customers."""
    return _LINES_OF_LOTS(lots=lots)


def reach_of(batches: Iterable[Batch]) -> list[Reach]:
    """Where these batches went, in a few queries whatever their number: one more for each level of lots in lots."""
    listed = list(batches)
    in_lots: dict[int, list[tuple[HarnessLot, int]]] = {}
    for row in lots_of_batches(batch.pk for batch in listed):
        in_lots.setdefault(row.batch_id, []).append((row.lot, row.quantity))
    first = {lot.pk for lots in in_lots.values() for lot, _ in lots}
    onward: dict[int, list[int]] = {}
    for part in parts_ahead(first):
        if part.kind != PartOf.RETURNED:
            onward.setdefault(part.used_id, []).append(part.lot_id)
    every = first | {into for lots in onward.values() for into in lots}
    shipped: dict[int, list[tuple[Shipment, HarnessLot, int]]] = {}
    for line in lines_of_lots(every):
        shipped.setdefault(line.lot_id, []).append((line.shipment, line.lot, line.quantity))

    def reached(lots: list[int]) -> list[int]:
        """These lots and all they went into, each once."""
        seen = dict.fromkeys(lots)
        for lot in (queue := list(seen)):
            for into in onward.get(lot, []):
                if into not in seen:
                    seen[into] = None
                    queue.append(into)
        return list(seen)

    return [
        Reach(
            batch,
            tuple(in_lots.get(batch.pk, ())),
            tuple(s for pk in reached([lot.pk for lot, _ in in_lots.get(batch.pk, ())]) for s in shipped.get(pk, ())),
        )
        for batch in listed
    ]
