"""How many pieces of a batch and how many harnesses of a lot are still there, and what keeps them back. Never more out than in."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from django.db.models import F, Q, QuerySet, Sum
from django.db.models.functions import Coalesce

from inspection.acts.dispositions import released_as_is_of
from inspection.models import Batch, BatchStatus
from records.models import (
    HarnessLot,
    HarnessLotBatch,
    HarnessSerial,
    LotLoss,
    LotPart,
    PartOf,
    Shipment,
    ShipmentLot,
    Suspect,
    SuspectDecision,
    SuspectDecisionKind,
    SuspectPlace,
)
from shop.composed import AnyOf, Composed
from shop.finding import Finding, misfit


def pieces_left(batch: Batch) -> int:
    """Good pieces of a closed batch, and held ones let through by concession, that are in no harness lot and were not scrapped since."""
    return pieces_left_of([batch])[batch.pk]


def pieces_left_of(batches: Iterable[Batch]) -> dict[int, int]:
    """The same for many batches in three queries, by primary key. A batch that is not closed has none left."""
    rows = list(batches)
    left = {batch.pk: (batch.good or 0) if batch.status == BatchStatus.CLOSED else 0 for batch in rows}
    closed = [batch.pk for batch in rows if batch.status == BatchStatus.CLOSED]
    sums: list[tuple[str, int, QuerySet[Any]]] = [
        ("batch", 1, released_as_is_of(closed)),
        ("batch", -1, HarnessLotBatch.objects.filter(batch__in=closed)),
        ("suspect__batch", -1, SuspectDecision.objects.filter(suspect__batch__in=closed, kind=SuspectDecisionKind.SCRAP)),
    ]
    for column, sign, counted in sums if closed else []:
        for pk, n in counted.order_by().values_list(column).annotate(n=Sum("quantity")):
            left[pk] += sign * n
    return left


def harnesses_left(lot: HarnessLot) -> int:
    """Harnesses of a lot that were neither shipped nor scrapped and went into no other lot."""
    return harnesses_left_of([lot])[lot.pk]


def _summed(column: str, rows: QuerySet[Any]) -> QuerySet[Any, Any]:
    """How many of each lot that `column` points at."""
    summed: QuerySet[Any, Any] = rows.filter(AnyOf(column, "lots")).order_by().values_list(column).annotate(n=Sum("quantity"))
    return summed


_GONE = (
    Composed(lambda: _summed("lot", ShipmentLot.objects.all())),
    Composed(lambda: _summed("used", LotPart.objects.exclude(kind=PartOf.RETURNED))),
    Composed(lambda: _summed("lot", LotLoss.objects.all())),
)


def harnesses_left_of(lots: Iterable[HarnessLot]) -> dict[int, int]:
    """The same for many lots in three queries, by primary key."""
    left = {lot.pk: lot.quantity for lot in lots}
    for gone in _GONE:
        for pk, n in gone(lots=left):
            left[pk] -= n
    return left


def still_away(shipment: Shipment, lot: HarnessLot) -> int:
    """Harnesses of a lot that went with a shipment and did not come back."""
    sent = ShipmentLot.objects.filter(shipment=shipment, lot=lot).aggregate(n=Sum("quantity"))["n"] or 0
    back = LotPart.objects.filter(kind=PartOf.RETURNED, shipment=shipment, used=lot).aggregate(n=Sum("quantity"))["n"] or 0
    return sent - back


def still_away_of(lots: Iterable[HarnessLot]) -> list[tuple[Shipment, HarnessLot, int]]:
    """Every shipment of these lots with the harnesses that went and did not come back; in two queries."""
    by_pk = {lot.pk: lot for lot in lots}
    back: dict[tuple[int | None, int], int] = {}
    for part in LotPart.objects.filter(kind=PartOf.RETURNED, used__in=by_pk):
        back[part.shipment_id, part.used_id] = back.get((part.shipment_id, part.used_id), 0) + part.quantity
    lines = ShipmentLot.objects.filter(lot__in=by_pk).select_related("shipment__customer").order_by("shipment__shipped_at", "pk")
    return [(line.shipment, by_pk[line.lot_id], line.quantity - back.get((line.shipment_id, line.lot_id), 0)) for line in lines]


def open_suspects() -> QuerySet[Suspect]:
    """Suspects that are not wholly decided on: what a case still holds.

    A batch that was running is held until it is closed, and then for everything it made.
    """
    running = Q(place=SuspectPlace.IN_PROCESS) & ~Q(batch__status=BatchStatus.CLOSED)
    made = Q(place=SuspectPlace.IN_PROCESS, batch__made__gt=F("settled"))
    return Suspect.objects.annotate(settled=Coalesce(Sum("decisions__quantity"), 0)).filter(running | made | Q(settled__lt=F("quantity")))


def cases_holding_batches(batches: Iterable[int]) -> dict[int, str]:
    """Batch -> number of a case that holds it, for those that are held."""
    return dict(open_suspects().filter(batch__in=list(batches)).values_list("batch", "case__number"))


def cases_holding_lots(lots: Iterable[int]) -> dict[int, str]:
    """Harness lot -> number of a case that holds what is left of it in the shop, for those that are held."""
    return dict(open_suspects().filter(lot__in=list(lots), place=SuspectPlace.STOCK).values_list("lot", "case__number"))


def taking_findings(lot: HarnessLot, quantity: int, field: str, *, kept_back_too: bool = False) -> list[Finding]:
    """What stands against taking so many harnesses out of a lot. kept_back_too: a lot that waits for quality may be taken from."""
    found = []
    left = harnesses_left(lot)
    if not 1 <= quantity <= left:
        found.append(misfit("lot.lot.quantity", field, asked=quantity, lot=lot.number, left=left))
    found += held_findings([lot], field)
    if lot.kept_back and not kept_back_too:
        found.append(misfit("lot.kept_back", field, lot=lot.number, reason=lot.kept_back))
    return found


def held_findings(lots: Iterable[HarnessLot], field: str) -> list[Finding]:
    """One finding for each lot that a containment case holds."""
    listed = list(lots)
    held = cases_holding_lots([lot.pk for lot in listed])
    return [misfit("lot.contained", field, lot=lot.number, case=held[lot.pk]) for lot in listed if lot.pk in held]


def serials_in(lot: HarnessLot) -> list[HarnessSerial]:
    """The serial numbers that are in the lot now: their newest row is here, and that one was not shipped."""
    here = list(HarnessSerial.objects.filter(lot=lot, shipped__isnull=True))
    newer = set(HarnessSerial.objects.filter(serial__in=[s.serial for s in here], lot__gt=lot.pk).values_list("serial", flat=True))
    return [s for s in here if s.serial not in newer]


def serial_findings(lot: HarnessLot, quantity: int, serials: Iterable[str], field: str) -> list[Finding]:
    """Where a lot has serial numbers, whoever takes a part of it says which ones."""
    named, here = list(serials), {s.serial for s in serials_in(lot)}
    if not here and not named:
        return []
    found = [misfit("lot.serial.elsewhere", field, serial=s, lot=lot.number) for s in sorted(set(named) - here)]
    if len(set(named)) != quantity and not (not named and quantity == len(here)):
        found.append(misfit("lot.serials.count", field, given=len(set(named)), quantity=quantity, lot=lot.number))
    return found


def serials_taken(lot: HarnessLot, quantity: int, serials: Iterable[str]) -> list[HarnessSerial]:
    """The rows of the serial numbers named; all of them, where all are taken and none is named."""
    named = set(serials)
    here = serials_in(lot)
    return [s for s in here if s.serial in named] if named else here if len(here) == quantity else []
