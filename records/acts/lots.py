"""Building harness lots from closed batches and from other lots, and shipping them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from math import ceil

from django.db import transaction

from inspection.models import Batch, BatchStatus
from records.balances import (
    cases_holding_batches,
    harnesses_left,
    held_findings,
    pieces_left_of,
    serial_findings,
    serials_taken,
    taking_findings,
)
from records.events import HarnessLotBuilt, ShipmentSent
from records.models import HarnessLot, HarnessLotBatch, HarnessSerial, LotKind, LotPart, PartOf, Shipment, ShipmentLot, ShippedSerial
from records.search_index import write as write_search
from records.search_kinds import KINDS
from shop.events import Signing, publish
from shop.finding import Finding, misfit, refuse_if
from shop.jobs import Customer, Job, Termination
from shop.people import Person
from shop.permissions import Deed, permission_findings
from shop.sign_on import signing_findings
from shop.validation import clean

BUILT_MEANING = "lot complete"
SHIPPED_MEANING = "released for shipment"

Piece = tuple[str, str, str]


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


def _piece(t: Termination) -> Piece:
    """What makes two terminations the same one across revisions of a sheet."""
    return (t.sheet.number, t.lead, t.end)


def pieces_within(lot: HarnessLot, quantity: int) -> dict[Piece, int]:
    """Pieces of each termination in so many of a lot, in its own batches and in the lots that went into it; rounded down."""
    whole: dict[Piece, int] = {}
    for row in HarnessLotBatch.objects.filter(lot=lot).select_related("batch__termination__sheet"):
        piece = _piece(row.batch.termination)
        whole[piece] = whole.get(piece, 0) + row.quantity
    for part in LotPart.objects.filter(lot=lot).select_related("used"):
        for piece, n in pieces_within(part.used, part.quantity).items():
            whole[piece] = whole.get(piece, 0) + n
    return {piece: n * quantity // lot.quantity for piece, n in whole.items()}


def batch_findings(job: Job, batches: Mapping[Batch, int]) -> list[Finding]:
    """Closed batches of this job, good pieces only and each once, and none that a containment case holds."""
    found = []
    held, left = cases_holding_batches(batch.pk for batch in batches), pieces_left_of(batches)
    for batch, quantity in batches.items():
        if batch.termination.sheet.job_id != job.pk:
            number = batch.termination.sheet.job.number
            found.append(misfit("lot.batch.job", "batches", batch=batch.number, job=number, expected=job.number))
        if batch.status != BatchStatus.CLOSED:
            found.append(misfit("lot.batch.open", "batches", batch=batch.number))
        elif not 1 <= quantity <= left[batch.pk]:
            found.append(misfit("lot.batch.pieces", "batches", asked=quantity, batch=batch.number, left=left[batch.pk]))
        if batch.pk in held:
            found.append(misfit("lot.batch.contained", "batches", batch=batch.number, case=held[batch.pk]))
    return found


def lot_findings(
    job: Job, harnesses: int, batches: Mapping[Batch, int], *, lots: Mapping[HarnessLot, int] | None = None, kind: str = LotKind.HARNESS
) -> list[Finding]:
    """What stands against building a lot of these batches and lots: wrong ones, too many of one, too few of a termination."""
    lots = lots or {}
    if not batches and not lots:
        return [misfit("lot.batches.none", "batches")]
    found = batch_findings(job, batches)
    given: dict[Piece, int] = {}
    for batch, quantity in batches.items():
        given[_piece(batch.termination)] = given.get(_piece(batch.termination), 0) + quantity
    for lot, quantity in lots.items():
        found += taking_findings(lot, quantity, "lots")
        if lot.kind == LotKind.HARNESS:
            found.append(misfit("lot.lot.kind", "lots", lot=lot.number))
        if lot.kind == LotKind.LEADS and lot.job_id != job.pk:
            found.append(misfit("lot.lot.job", "lots", lot=lot.number, job=lot.job.number, expected=job.number))
        for piece, n in pieces_within(lot, quantity).items():
            given[piece] = given.get(piece, 0) + n
    for t in terminations_of(job):
        there = given.get(_piece(t), 0)
        # A lot of leads holds some of the job's terminations, and of those one for each lead.
        needed = (harnesses if there else 0) if kind == LotKind.LEADS else needed_for(t, harnesses, job)
        if there < needed:
            found.append(
                misfit("lot.termination.short", "batches", lead=t.lead, end=t.end, given=there, harnesses=harnesses, needed=needed)
            )
    return found


def new_serial_findings(serials: Sequence[str], quantity: int) -> list[Finding]:
    """Serial numbers of a new lot: one for each harness or none at all, and none that exists."""
    if not serials:
        return []
    found = []
    if len(serials) != quantity:
        found.append(misfit("lot.serials.all", "serials", given=len(serials), quantity=quantity))
    if twice := sorted({s for s in serials if serials.count(s) > 1}):
        found.append(misfit("lot.serial.twice", "serials", serial=", ".join(twice)))
    known = HarnessSerial.objects.filter(serial__in=serials).select_related("lot").order_by("serial").first()
    if known is not None:
        found.append(misfit("lot.serial.known", "serials", serial=known.serial, lot=known.lot.number))
    return found


def locked_lots(lots: Mapping[int, int]) -> dict[HarnessLot, int]:
    """The lots with what is asked of each, locked in one order so that nobody waits for each other for ever."""
    locked = list(HarnessLot.objects.select_for_update().filter(pk__in=lots).order_by("pk").values_list("pk", flat=True))
    return {lot: lots[lot.pk] for lot in HarnessLot.objects.filter(pk__in=locked).select_related("job__customer")}


def locked_batches(batches: Mapping[int, int]) -> dict[Batch, int]:
    """The same for batches."""
    locked = list(Batch.objects.select_for_update().filter(pk__in=batches).order_by("pk").values_list("pk", flat=True))
    return {b: batches[b.pk] for b in Batch.objects.filter(pk__in=locked).select_related("termination__sheet__job")}


def new_lot(
    *,
    number: str,
    like: HarnessLot | None = None,
    job: Job | None = None,
    kind: str = "",
    quantity: int,
    kept_back: str = "",
    by: Person,
    at: datetime,
) -> HarnessLot:
    """Write a lot of its own or one of the same job and kind as another. Raises Refused for a number that is taken."""
    lot = HarnessLot(
        number=number,
        job=like.job if like is not None else job,
        kind=like.kind if like is not None else kind,
        quantity=quantity,
        kept_back=kept_back,
        built_at=at,
        built_by=by,
    )
    clean(lot)
    lot.save(force_insert=True)
    return lot


def add_serials(lot: HarnessLot, serials: Sequence[str]) -> None:
    rows = [HarnessSerial(lot=lot, serial=serial) for serial in serials]
    for row in rows:
        row.clean_fields()
    write_search(KINDS["serial"], HarnessSerial.objects.bulk_create(rows))  # rows made in bulk are announced by nobody


def build_lot(
    *,
    number: str,
    job: Job,
    quantity: int,
    batches: Mapping[int, int],
    by: Person,
    at: datetime,
    signing: Signing,
    lots: Mapping[int, int] | None = None,
    kind: str = LotKind.HARNESS,
    serials: Sequence[str] = (),
) -> HarnessLot:
    """Put pieces of closed batches and of other lots together to a lot. batches, lots: id -> pieces. Raises Refused."""
    findings = permission_findings(by, Deed.BUILD_LOT) + signing_findings(signing, by, BUILT_MEANING)
    with transaction.atomic():
        found, used = locked_batches(batches), locked_lots(lots or {})
        findings += lot_findings(job, quantity, found, lots=used, kind=kind) + new_serial_findings(serials, quantity)
        refuse_if(findings)
        lot = new_lot(number=number, job=job, kind=kind, quantity=quantity, by=by, at=at)
        HarnessLotBatch.objects.bulk_create(HarnessLotBatch(lot=lot, batch=b, quantity=n) for b, n in found.items())
        LotPart.objects.bulk_create(LotPart(lot=lot, used=one, kind=PartOf.BUILT_IN, quantity=n) for one, n in used.items())
        add_serials(lot, serials)
        content = {
            "lot": number,
            "job": job.number,
            "harnesses": quantity,
            "batches": [{"batch": b.number, "pieces": n} for b, n in sorted(found.items(), key=lambda pair: pair[0].number)],
        }
        # What a lot made of batches alone says is what it always said.
        if kind != LotKind.HARNESS:
            content["kind"] = kind
        if used:
            content["lots"] = [{"lot": one.number, "quantity": n} for one, n in sorted(used.items(), key=lambda pair: pair[0].number)]
        if serials:
            content["serials"] = list(serials)
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
    serials: Mapping[int, Sequence[str]] | None = None,
) -> Shipment:
    """Send harnesses to their customer. lots: harness lot id -> harnesses; serials: lot id -> serial numbers. Raises Refused."""
    findings = permission_findings(by, Deed.SHIP) + signing_findings(signing, by, SHIPPED_MEANING)
    named = serials or {}
    with transaction.atomic():
        found = locked_lots(lots)
        if not found:
            findings.append(misfit("shipment.lots.none", "lots"))
        for lot, quantity in found.items():
            if lot.job.customer_id != customer.pk:
                findings.append(
                    misfit("shipment.lot.customer", "lots", lot=lot.number, customer=lot.job.customer.name, expected=customer.name)
                )
            if not 1 <= quantity <= harnesses_left(lot):
                findings.append(misfit("shipment.lot.quantity", "lots", asked=quantity, lot=lot.number, left=harnesses_left(lot)))
            if lot.kept_back:
                findings.append(misfit("lot.kept_back", "lots", lot=lot.number, reason=lot.kept_back))
            findings += serial_findings(lot, quantity, named.get(lot.pk, ()), "serials")
        refuse_if(findings + held_findings(found, "lots"))
        shipment = Shipment(number=number, customer=customer, delivery_note=delivery_note, shipped_at=at, shipped_by=by)
        clean(shipment)
        shipment.save(force_insert=True)
        content = {
            "shipment": number,
            "customer": customer.code,
            "delivery_note": delivery_note,
            "lots": [{"lot": lot.number, "harnesses": n} for lot, n in sorted(found.items(), key=lambda pair: pair[0].number)],
        }
        sent: list[str] = []
        for lot, n in found.items():
            gone = serials_taken(lot, n, named.get(lot.pk, ()))
            line = ShipmentLot.objects.create(shipment=shipment, lot=lot, quantity=n)
            ShippedSerial.objects.bulk_create(ShippedSerial(line=line, serial=serial) for serial in gone)
            sent += [serial.serial for serial in gone]
        if sent:
            content["serials"] = sorted(sent)
        publish(ShipmentSent(by=by, at=at, subject=("shipment", shipment.pk, shipment.number), content=content, signing=signing))
    return shipment
