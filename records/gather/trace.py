"""The record of a trace: what was behind a shipment or a harness lot at the moment somebody asked."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime

from django.db.models import Q

from inspection.acts.batches import concessions_used_in
from inspection.models import Batch, Hold
from inspection.set_up import PartState as SixPart
from inspection.set_up import six_parts_of_each
from records.content import (
    PART_NAMES,
    HoldContent,
    LedgerState,
    PartContent,
    PartState,
    TracedBatch,
    TracedLot,
    TracedShipment,
    TraceRecord,
)
from records.gather.batch import batch_parts
from records.gather.common import concession_contents, hold_content, part, shop_content, signatures_of
from records.models import HarnessLot, HarnessSerial, IssuedDocument, LedgerHead, Shipment
from records.trace import batches_behind_each, lots_behind, origin_of, parts_behind
from shop.composed import AnyOf, Composed, Given
from shop.people import Person
from shop.templatetags.shop import moment

_ISSUED = Composed(
    lambda: (
        IssuedDocument.objects.filter(
            Q(AnyOf("subject_id", "batches"), subject_kind="batch") | Q(AnyOf("subject_id", "sheets"), subject_kind="setup sheet")
        )
        .defer("record")
        .order_by("kind", "number", "issue")
    )  # a record is as long as its document
)


def issued_of(batches: Iterable[Batch]) -> dict[int, list[IssuedDocument]]:
    """Batch -> what was issued of it and of its sheet, in the order of kind and number; one query for all of them."""
    listed = list(batches)
    issued = _ISSUED(batches=[b.pk for b in listed], sheets={b.termination.sheet_id for b in listed})
    return {
        b.pk: [d for d in issued if (d.subject_kind, d.subject_id) in (("batch", b.pk), ("setup sheet", b.termination.sheet_id))]
        for b in listed
    }


def traced_batch(batch: Batch, quantity: int, issued: Iterable[IssuedDocument], states: Iterable[SixPart]) -> TracedBatch:
    t = batch.termination
    return {
        "number": batch.number,
        "lead": t.lead,
        "end": t.end,
        "quantity": str(quantity),
        "sheet": str(t.sheet),
        "status": batch.status,
        "closed_at": moment(batch.closed_at),
        "parts": batch_parts(batch, states),
        "issued": [f"{d.number}, issue {d.issue}" for d in issued],
    }


@dataclass(frozen=True, slots=True)
class Behind:
    """Lots and every lot inside them with their batches, read once for all that is said of them.

    lots: how many harnesses were shipped of each, and how it came into another lot; the others by the key of lot or batch.
    """

    lots: list[tuple[HarnessLot, int | None, str]]
    batches: dict[int, list[tuple[Batch, int]]]
    states: dict[int, list[SixPart]]
    issued: dict[int, list[IssuedDocument]]
    serials: dict[int, list[str]]

    @property
    def each_batch(self) -> dict[int, Batch]:
        """Every batch once."""
        return {batch.pk: batch for made_of in self.batches.values() for batch, _pieces in made_of}


_SERIALS = Composed(lambda: HarnessSerial.objects.filter(AnyOf("lot", "lots")).values_list("lot", "serial"))


def everything_behind(lots: Sequence[tuple[HarnessLot, int | None]]) -> Behind:
    """The lots asked about, each with how many of it were shipped, then those inside them at any depth."""
    inner = lots_inside([lot for lot, _n in lots])
    every = [(lot, n, "") for lot, n in lots] + [(lot, None, origin) for lot, origin in inner]
    batches = batches_behind_each(lot for lot, _n, _origin in every)
    serials: dict[int, list[str]] = {}
    for lot, serial in _SERIALS(lots=batches):
        serials.setdefault(lot, []).append(serial)
    each = {b.pk: b for rows in batches.values() for b, _pieces in rows}
    return Behind(every, batches, six_parts_of_each(each.values()), issued_of(each.values()), serials)


def traced_lots(behind: Behind) -> list[TracedLot]:
    return [_traced_lot(lot, shipped, origin, behind) for lot, shipped, origin in behind.lots]


def _traced_lot(lot: HarnessLot, shipped: int | None, origin: str, behind: Behind) -> TracedLot:
    """origin: how a lot behind another came into it; the lots asked about have none."""
    traced: TracedLot = {
        "number": lot.number,
        "job": lot.job.number,
        "part_number": lot.job.part_number,
        "part_name": lot.job.part_name,
        "built": str(lot.quantity),
        "shipped": "" if shipped is None else str(shipped),
        "built_at": moment(lot.built_at),
        "built_by": lot.built_by.name,
        "batches": [
            traced_batch(batch, quantity, behind.issued[batch.pk], behind.states[batch.pk]) for batch, quantity in behind.batches[lot.pk]
        ],
    }
    if origin:
        traced["origin"] = origin
    if serials := behind.serials.get(lot.pk):
        traced["serials"] = serials
    return traced


def lots_inside(lots: list[HarnessLot]) -> list[tuple[HarnessLot, str]]:
    """Every lot that went into these at any depth, once, with how it came there."""
    asked = {lot.pk for lot in lots}
    inner: dict[int, tuple[HarnessLot, str]] = {}
    for gone_in in parts_behind(lot.pk for lot in lots):
        if gone_in.used_id not in asked:
            inner.setdefault(gone_in.used_id, (gone_in.used, origin_of(gone_in)))
    return list(inner.values())


def summed_parts(lots: list[TracedLot]) -> list[PartContent]:
    """The six parts over all batches: the worst state of each, and how many batches prove it."""
    batches = [batch for lot in lots for batch in lot["batches"]]
    summed = []
    for index, name in enumerate(PART_NAMES):
        states = [batch["parts"][index]["state"] for batch in batches]
        order: tuple[PartState, ...] = ("failed", "open", "undecided", "conceded", "proven")
        state = next((s for s in order if s in states), "open")
        proven = sum(s == "proven" for s in states)
        summed.append(part(name, state, [f"{proven} of {len(states)} batches proven"]))  # type: ignore[arg-type]  # the six names
    return summed


_HOLDS = Composed(lambda: Hold.objects.filter(AnyOf("batch", "batches")).select_related("raised_by", "decided_by", "batch"))


def holds_of(batches: Iterable[int]) -> list[HoldContent]:
    return [hold_content(hold) | {"reason": f"{hold.batch.number}: {hold.reason}"} for hold in _HOLDS(batches=batches)]


def concessions_behind(behind: Behind) -> list[str]:
    """The concessions under which any of its batches was made, those of the newest batch first."""
    return concessions_used_in(sorted(behind.each_batch.values(), key=lambda batch: (-batch.opened_at.timestamp(), batch.number)))


_HEAD = Composed(lambda: LedgerHead.objects.filter(pk=1))


def _ledger() -> LedgerState:
    (head,) = _HEAD()
    return {"entries": str(head.count), "hash": head.hash}


def behind_shipment(shipment: Shipment) -> Behind:
    return everything_behind(lots_behind(shipment))


def behind_lot(lot: HarnessLot) -> Behind:
    return everything_behind([(lot, None)])


def shipment_trace(shipment: Shipment, *, by: Person, at: datetime, behind: Behind | None = None) -> TraceRecord:
    """behind: `behind_shipment`, where it was read already."""
    return _record(
        f"Everything behind shipment {shipment.number}", shipment.number, [shipment], behind or behind_shipment(shipment), by=by, at=at
    )


_SHIPMENTS = Composed(lambda: Shipment.objects.filter(lots=Given("lot")).select_related("customer", "shipped_by"))


def lot_trace(lot: HarnessLot, *, by: Person, at: datetime, behind: Behind | None = None) -> TraceRecord:
    """behind: `behind_lot`, where it was read already."""
    shipments = _SHIPMENTS(lot=lot.pk)
    return _record(f"Everything behind harness lot {lot.number}", lot.number, shipments, behind or behind_lot(lot), by=by, at=at)


def _shipment_content(shipment: Shipment) -> TracedShipment:
    return {
        "number": shipment.number,
        "customer": shipment.customer.name,
        "delivery_note": shipment.delivery_note,
        "shipped_at": moment(shipment.shipped_at),
        "shipped_by": shipment.shipped_by.name,
    }


def _record(question: str, number: str, shipments: list[Shipment], behind: Behind, *, by: Person, at: datetime) -> TraceRecord:
    lots, rows = traced_lots(behind), [lot for lot, _n, _origin in behind.lots]
    return {
        "kind": "trace report",
        "version": "1",
        "number": number,
        "question": question,
        "asked_by": by.name,
        "asked_at": moment(at),
        "shop": shop_content(),
        "shipments": [_shipment_content(shipment) for shipment in shipments],
        "parts": summed_parts(lots),
        "lots": lots,
        "holds": holds_of(behind.each_batch),
        "concessions": concession_contents(concessions_behind(behind)),
        "ledger": _ledger(),
        "signatures": signatures_of(("harness lot", [lot.pk for lot in rows]), ("shipment", [s.pk for s in shipments])),
    }
