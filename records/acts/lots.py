"""Building harness lots from closed batches, and shipping them."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from math import ceil

from django.db import transaction
from django.db.models import Sum

from inspection.models import Batch, BatchStatus
from records.events import HarnessLotBuilt, ShipmentSent
from records.models import HarnessLot, HarnessLotBatch, Shipment, ShipmentLot
from shop.events import Signing, publish
from shop.finding import Finding, misfit, refuse_if
from shop.jobs import Customer, Job, Termination
from shop.people import Person
from shop.permissions import Deed, permission_findings
from shop.sign_on import signing_findings
from shop.validation import clean

BUILT_MEANING = "lot complete"
SHIPPED_MEANING = "released for shipment"


def pieces_left(batch: Batch) -> int:
    """Good pieces of a closed batch that are in no harness lot yet."""
    used = HarnessLotBatch.objects.filter(batch=batch).aggregate(n=Sum("quantity"))["n"] or 0
    return (batch.good or 0) - used if batch.status == BatchStatus.CLOSED else 0


def harnesses_left(lot: HarnessLot) -> int:
    """Harnesses of a lot that were not shipped yet."""
    return lot.quantity - (ShipmentLot.objects.filter(lot=lot).aggregate(n=Sum("quantity"))["n"] or 0)


def terminations_of(job: Job) -> list[Termination]:
    """Every termination a harness of this job has: those of the sheets in force, or last in force."""
    newest: dict[str, int] = {}
    sheets = job.sheets.filter(status__in=["released", "superseded", "withdrawn"], released_at__isnull=False)
    for sheet in sheets.order_by("number", "revision"):
        newest[sheet.number] = sheet.pk
    return list(Termination.objects.filter(sheet__in=newest.values()).select_related("sheet").order_by("sheet__number", "position"))


def needed_for(termination: Termination, harnesses: int, job: Job) -> int:
    """Pieces of this termination in that many harnesses: its share of the job's quantity, rounded up."""
    return ceil(termination.quantity * harnesses / job.quantity)


def _piece(t: Termination) -> tuple[str, str, str]:
    """What makes two terminations the same one across revisions of a sheet."""
    return (t.sheet.number, t.lead, t.end)


def lot_findings(job: Job, harnesses: int, batches: Mapping[Batch, int]) -> list[Finding]:
    """Closed batches of this job, good pieces only and each once, and enough of every termination."""
    if not batches:
        return [misfit("lot.batches.none", "batches")]
    found = []
    given: dict[tuple[str, str, str], int] = {}
    for batch, quantity in batches.items():
        t = batch.termination
        if t.sheet.job_id != job.pk:
            found.append(misfit("lot.batch.job", "batches", batch=batch.number, job=t.sheet.job.number, expected=job.number))
        if batch.status != BatchStatus.CLOSED:
            found.append(misfit("lot.batch.open", "batches", batch=batch.number))
        elif not 1 <= quantity <= pieces_left(batch):
            found.append(misfit("lot.batch.pieces", "batches", asked=quantity, batch=batch.number, left=pieces_left(batch)))
        given[_piece(t)] = given.get(_piece(t), 0) + quantity
    for t in terminations_of(job):
        needed, there = needed_for(t, harnesses, job), given.get(_piece(t), 0)
        if there < needed:
            found.append(
                misfit("lot.termination.short", "batches", lead=t.lead, end=t.end, given=there, harnesses=harnesses, needed=needed)
            )
    return found


def build_lot(
    *, number: str, job: Job, quantity: int, batches: Mapping[int, int], by: Person, at: datetime, signing: Signing
) -> HarnessLot:
    """Put pieces of closed batches together to a lot of harnesses. batches: batch id -> pieces. Raises Refused."""
    findings = permission_findings(by, Deed.BUILD_LOT) + signing_findings(signing, by, BUILT_MEANING)
    with transaction.atomic():
        # Locked in one order, so that two lots built at once cannot take the same pieces or wait for each other for ever.
        locked = list(Batch.objects.select_for_update().filter(pk__in=batches).order_by("pk").values_list("pk", flat=True))
        found = {b: batches[b.pk] for b in Batch.objects.filter(pk__in=locked).select_related("termination__sheet__job")}
        refuse_if(findings + lot_findings(job, quantity, found))
        lot = HarnessLot(number=number, job=job, quantity=quantity, built_at=at, built_by=by)
        clean(lot)
        lot.save(force_insert=True)
        HarnessLotBatch.objects.bulk_create(HarnessLotBatch(lot=lot, batch=b, quantity=n) for b, n in found.items())
        content = {
            "lot": number,
            "job": job.number,
            "harnesses": quantity,
            "batches": [{"batch": b.number, "pieces": n} for b, n in sorted(found.items(), key=lambda pair: pair[0].number)],
        }
        publish(HarnessLotBuilt(by=by, at=at, subject=("harness lot", lot.pk, lot.number), content=content, signing=signing))
    return lot


def ship(
    *,
    number: str,
    customer: Customer,
    lots: Mapping[int, int],
    by: Person,
    at: datetime,
    signing: Signing,
    delivery_note: str = "",
) -> Shipment:
    """Send harnesses to their customer. lots: harness lot id -> harnesses. Raises Refused."""
    findings = permission_findings(by, Deed.SHIP) + signing_findings(signing, by, SHIPPED_MEANING)
    with transaction.atomic():
        locked = list(HarnessLot.objects.select_for_update().filter(pk__in=lots).order_by("pk").values_list("pk", flat=True))
        found = {lot: lots[lot.pk] for lot in HarnessLot.objects.filter(pk__in=locked).select_related("job__customer")}
        if not found:
            findings.append(misfit("shipment.lots.none", "lots"))
        for lot, quantity in found.items():
            if lot.job.customer_id != customer.pk:
                findings.append(
                    misfit("shipment.lot.customer", "lots", lot=lot.number, customer=lot.job.customer.name, expected=customer.name)
                )
            if not 1 <= quantity <= harnesses_left(lot):
                findings.append(misfit("shipment.lot.quantity", "lots", asked=quantity, lot=lot.number, left=harnesses_left(lot)))
        refuse_if(findings)
        shipment = Shipment(number=number, customer=customer, delivery_note=delivery_note, shipped_at=at, shipped_by=by)
        clean(shipment)
        shipment.save(force_insert=True)
        ShipmentLot.objects.bulk_create(ShipmentLot(shipment=shipment, lot=lot, quantity=n) for lot, n in found.items())
        content = {
            "shipment": number,
            "customer": customer.code,
            "delivery_note": delivery_note,
            "lots": [{"lot": lot.number, "harnesses": n} for lot, n in sorted(found.items(), key=lambda pair: pair[0].number)],
        }
        publish(ShipmentSent(by=by, at=at, subject=("shipment", shipment.pk, shipment.number), content=content, signing=signing))
    return shipment
