"""The record of a trace: what was behind a shipment or a harness lot at the moment somebody asked."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime

from django.db.models import Q

from inspection.acts.batches import concessions_used
from inspection.models import Batch, Hold
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
from records.trace import batches_behind, lots_behind, origin_of, parts_behind
from shop.people import Person
from shop.templatetags.shop import moment


def issued_of(batches: Iterable[Batch]) -> dict[int, list[IssuedDocument]]:
    """Batch -> what was issued of it and of its sheet, in the order of kind and number; one query for all of them."""
    listed = list(batches)
    wanted = Q(subject_kind="batch", subject_id__in=[b.pk for b in listed])
    wanted |= Q(subject_kind="setup sheet", subject_id__in={b.termination.sheet_id for b in listed})
    issued = list(IssuedDocument.objects.filter(wanted).order_by("kind", "number", "issue"))
    return {
        b.pk: [d for d in issued if (d.subject_kind, d.subject_id) in (("batch", b.pk), ("setup sheet", b.termination.sheet_id))]
        for b in listed
    }


def traced_batch(batch: Batch, quantity: int, issued: Iterable[IssuedDocument]) -> TracedBatch:
    t = batch.termination
    return {
        "number": batch.number,
        "lead": t.lead,
        "end": t.end,
        "quantity": str(quantity),
        "sheet": str(t.sheet),
        "status": batch.status,
        "closed_at": moment(batch.closed_at),
        "parts": batch_parts(batch),
        "issued": [f"{d.number}, issue {d.issue}" for d in issued],
    }


def traced_lot(lot: HarnessLot, shipped: int | None, origin: str = "") -> TracedLot:
    """origin: how a lot behind another came into it; the lots asked about have none."""
    behind = batches_behind(lot)
    issued = issued_of(batch for batch, _quantity in behind)
    traced: TracedLot = {
        "number": lot.number,
        "job": lot.job.number,
        "part_number": lot.job.part_number,
        "part_name": lot.job.part_name,
        "built": str(lot.quantity),
        "shipped": "" if shipped is None else str(shipped),
        "built_at": moment(lot.built_at),
        "built_by": lot.built_by.name,
        "batches": [traced_batch(batch, quantity, issued[batch.pk]) for batch, quantity in behind],
    }
    if origin:
        traced["origin"] = origin
    if serials := list(HarnessSerial.objects.filter(lot=lot).values_list("serial", flat=True)):
        traced["serials"] = serials
    return traced


def lots_inside(lots: list[HarnessLot]) -> list[tuple[HarnessLot, str]]:
    """Every lot that went into these at any depth, once, with how it came there."""
    asked = {lot.pk for lot in lots}
    inner: dict[int, tuple[HarnessLot, str]] = {}
    for gone_in in parts_behind(lots):
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


def holds_of(lots: list[HarnessLot]) -> list[HoldContent]:
    holds = Hold.objects.filter(batch__lot_batches__lot__in=lots).distinct().select_related("raised_by", "decided_by", "batch")
    return [hold_content(hold) | {"reason": f"{hold.batch.number}: {hold.reason}"} for hold in holds]


def concessions_behind(lots: list[HarnessLot]) -> list[str]:
    """The concessions under which any batch of these lots was made."""
    batches = Batch.objects.filter(lot_batches__lot__in=lots).distinct()
    return [number for batch in batches for number in concessions_used(batch)]


def _ledger() -> LedgerState:
    head = LedgerHead.objects.get(pk=1)
    return {"entries": str(head.count), "hash": head.hash}


def shipment_trace(shipment: Shipment, *, by: Person, at: datetime) -> TraceRecord:
    behind = lots_behind(shipment)
    shipped: TracedShipment = {
        "number": shipment.number,
        "customer": shipment.customer.name,
        "delivery_note": shipment.delivery_note,
        "shipped_at": moment(shipment.shipped_at),
        "shipped_by": shipment.shipped_by.name,
    }
    inner = lots_inside([lot for lot, _ in behind])
    lots = [traced_lot(lot, quantity) for lot, quantity in behind] + [traced_lot(lot, None, origin) for lot, origin in inner]
    return _record(
        f"Everything behind shipment {shipment.number}",
        shipment.number,
        [shipped],
        lots,
        [lot for lot, _ in behind] + [lot for lot, _ in inner],
        [shipment],
        by=by,
        at=at,
    )


def lot_trace(lot: HarnessLot, *, by: Person, at: datetime) -> TraceRecord:
    shipments = list(Shipment.objects.filter(lots=lot).select_related("customer", "shipped_by"))
    shown: list[TracedShipment] = [
        {
            "number": s.number,
            "customer": s.customer.name,
            "delivery_note": s.delivery_note,
            "shipped_at": moment(s.shipped_at),
            "shipped_by": s.shipped_by.name,
        }
        for s in shipments
    ]
    inner = lots_inside([lot])
    lots = [traced_lot(lot, None)] + [traced_lot(one, None, origin) for one, origin in inner]
    return _record(
        f"Everything behind harness lot {lot.number}", lot.number, shown, lots, [lot, *(one for one, _ in inner)], shipments, by=by, at=at
    )


def _record(
    question: str,
    number: str,
    shipments: list[TracedShipment],
    lots: list[TracedLot],
    lot_rows: list[HarnessLot],
    shipment_rows: list[Shipment],
    *,
    by: Person,
    at: datetime,
) -> TraceRecord:
    return {
        "kind": "trace report",
        "version": "1",
        "number": number,
        "question": question,
        "asked_by": by.name,
        "asked_at": moment(at),
        "shop": shop_content(),
        "shipments": shipments,
        "parts": summed_parts(lots),
        "lots": lots,
        "holds": holds_of(lot_rows),
        "concessions": concession_contents(concessions_behind(lot_rows)),
        "ledger": _ledger(),
        "signatures": signatures_of(("harness lot", [lot.pk for lot in lot_rows]), ("shipment", [s.pk for s in shipment_rows])),
    }
