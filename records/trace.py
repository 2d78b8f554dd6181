"""Trace: everything behind a shipment or a harness lot, and everything a lot, a tool, a press or a gauge went into.

Joins over foreign keys only.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from django.db.models import Q, QuerySet

from inspection.models import Batch
from records.models import HarnessLot, HarnessLotBatch, Shipment, ShipmentLot
from shop.crib import Press
from shop.materials import TerminalLot, WireLot
from shop.tools import Gauge, Tool


@dataclass(frozen=True, slots=True)
class Found:
    """What a number belongs to. kind: shipment, harness lot, batch, wire lot, terminal lot, tool, press or gauge."""

    kind: str
    pk: int
    name: str


FORWARD = ("shipment", "harness lot", "batch")
BACKWARD = ("wire lot", "terminal lot", "tool", "press", "gauge")


def find(text: str) -> list[Found]:
    """Everything that carries exactly this number, shipments first."""
    text = text.strip()
    if not text:
        return []
    looked_in: list[
        tuple[
            str,
            QuerySet[Shipment]
            | QuerySet[HarnessLot]
            | QuerySet[Batch]
            | QuerySet[WireLot]
            | QuerySet[TerminalLot]
            | QuerySet[Tool]
            | QuerySet[Press]
            | QuerySet[Gauge],
        ]
    ] = [
        ("shipment", Shipment.objects.filter(number__iexact=text)),
        ("harness lot", HarnessLot.objects.filter(number__iexact=text)),
        ("batch", Batch.objects.filter(number__iexact=text)),
        ("wire lot", WireLot.objects.filter(lot_number__iexact=text)),
        ("terminal lot", TerminalLot.objects.filter(lot_number__iexact=text)),
        ("tool", Tool.objects.filter(asset_number__iexact=text)),
        ("press", Press.objects.filter(asset_number__iexact=text)),
        ("gauge", Gauge.objects.filter(asset_number__iexact=text)),
    ]
    return [Found(kind, thing.pk, str(thing)) for kind, things in looked_in for thing in things]


def lots_behind(shipment: Shipment) -> list[tuple[HarnessLot, int]]:
    """The harness lots of a shipment and how many harnesses of each went with it."""
    rows = ShipmentLot.objects.filter(shipment=shipment).select_related("lot__job__customer", "lot__built_by")
    return [(row.lot, row.quantity) for row in rows]


def batches_behind(lot: HarnessLot) -> list[tuple[Batch, int]]:
    """The batches of a harness lot and how many pieces of each went in."""
    rows = (
        HarnessLotBatch.objects.filter(lot=lot)
        .select_related(
            "batch__termination__sheet__job",
            "batch__termination__sheet__released_by",
            "batch__termination__terminal",
            "batch__termination__tool",
            "batch__termination__press",
            "batch__termination__specification__document",
            "batch__tool",
            "batch__opened_by",
        )
        .prefetch_related("batch__termination__termination_wires__wire")
    )
    return [(row.batch, row.quantity) for row in rows]


def batches_with(found: Found) -> QuerySet[Batch]:
    """The batches in which a wire lot, terminal lot, tool, press or gauge was used. A gauge counts where it was set up or measured."""
    wanted = {
        "wire lot": Q(loaded_lots__wire_lot=found.pk),
        "terminal lot": Q(loaded_lots__terminal_lot=found.pk),
        "tool": Q(tool=found.pk) | Q(scans__tool=found.pk, scans__accepted=True),
        "press": Q(scans__press=found.pk, scans__accepted=True),
        "gauge": Q(scans__gauge=found.pk, scans__accepted=True)
        | Q(samples__readings__gauge=found.pk)
        | Q(samples__pull_tests__gauge=found.pk),
    }[found.kind]
    return (
        Batch.objects.filter(wanted).distinct().select_related("termination__sheet__job__customer", "tool").order_by("opened_at", "number")
    )


@dataclass(frozen=True, slots=True)
class Reach:
    """Where one batch went: quantities in lots and shipments, and what is still in the shop."""

    batch: Batch
    in_lots: tuple[tuple[HarnessLot, int], ...]
    shipped: tuple[tuple[Shipment, HarnessLot, int], ...]

    @property
    def customers(self) -> list[str]:
        return sorted({shipment.customer.name for shipment, _, _ in self.shipped})


def reach_of(batches: Iterable[Batch]) -> list[Reach]:
    """Where these batches went, in three queries whatever their number."""
    listed = list(batches)
    in_lots: dict[int, list[tuple[HarnessLot, int]]] = {}
    for row in HarnessLotBatch.objects.filter(batch__in=listed).select_related("lot__job"):
        in_lots.setdefault(row.batch_id, []).append((row.lot, row.quantity))
    lot_ids = {lot.pk for lots in in_lots.values() for lot, _ in lots}
    shipped: dict[int, list[tuple[Shipment, HarnessLot, int]]] = {}
    for line in ShipmentLot.objects.filter(lot__in=lot_ids).select_related("shipment__customer", "lot"):
        shipped.setdefault(line.lot_id, []).append((line.shipment, line.lot, line.quantity))
    return [
        Reach(
            batch,
            tuple(in_lots.get(batch.pk, ())),
            tuple(s for lot, _ in in_lots.get(batch.pk, ()) for s in shipped.get(lot.pk, ())),
        )
        for batch in listed
    ]
