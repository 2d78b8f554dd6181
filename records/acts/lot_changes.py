"""What happens to a lot after it was built: split, merged with others, reworked, returned, released by quality, scrapped. All signed."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from django.db import transaction

from records.acts.lots import add_serials, batch_findings, locked_batches, locked_lots, new_lot
from records.balances import (
    harnesses_left,
    held_findings,
    serial_findings,
    serials_taken,
    still_away,
    taking_findings,
)
from records.events import HarnessesScrapped, LotReleased, LotReworked, LotsMerged, LotSplit, ReturnReceived
from records.models import HarnessLot, HarnessLotBatch, HarnessSerial, LotLoss, LotPart, PartOf, Shipment, ShippedSerial
from shop.events import Signing, publish
from shop.finding import Finding, misfit, refuse_if
from shop.people import Person
from shop.permissions import Deed, permission_findings
from shop.sign_on import signing_findings

SPLIT_MEANING = "lot split"
MERGED_MEANING = "lots merged"
REWORKED_MEANING = "lot reworked"
RETURNED_MEANING = "return received"
RELEASED_MEANING = "lot released"
SCRAPPED_MEANING = "harnesses scrapped"

WAITS_AFTER_REWORK = "reworked, waits for release"


def lot_subject(lot: HarnessLot) -> tuple[str, int, str]:
    return ("harness lot", lot.pk, lot.number)


@dataclass(frozen=True, slots=True)
class SplitPart:
    """A part of a lot that gets a number of its own."""

    number: str
    quantity: int
    serials: tuple[str, ...] = ()


def _locked(lot: HarnessLot) -> HarnessLot:
    return next(iter(locked_lots({lot.pk: 0})))


def _reason_findings(reason: str) -> list[Finding]:
    return [] if reason.strip() else [misfit("data.required", "reason")]


def split_lot(*, lot: HarnessLot, parts: Sequence[SplitPart], by: Person, at: datetime, signing: Signing) -> list[HarnessLot]:
    """Give parts of a lot numbers of their own; what is not named stays in the lot. Raises Refused."""
    findings = permission_findings(by, Deed.BUILD_LOT) + signing_findings(signing, by, SPLIT_MEANING)
    with transaction.atomic():
        lot = _locked(lot)
        findings += taking_findings(lot, sum(p.quantity for p in parts), "quantity")
        if min((p.quantity for p in parts), default=0) < 1:
            findings.append(misfit("lot.part.empty", "quantity"))
        for part in parts:
            findings += serial_findings(lot, part.quantity, part.serials, "serials")
        named = [s for p in parts for s in p.serials]
        if twice := sorted({s for s in named if named.count(s) > 1}):
            findings.append(misfit("lot.serial.twice", "serials", serial=", ".join(twice)))
        refuse_if(findings)
        made = []
        for part in parts:
            new = new_lot(number=part.number, like=lot, quantity=part.quantity, by=by, at=at)
            moved = [s.serial for s in serials_taken(lot, part.quantity, part.serials)]
            LotPart.objects.create(lot=new, used=lot, kind=PartOf.SPLIT, quantity=part.quantity)
            add_serials(new, moved)
            made.append((new, moved))
        content = {
            "lot": lot.number,
            "parts": [{"lot": new.number, "quantity": new.quantity, "serials": moved} for new, moved in made],
            "left": harnesses_left(lot),
        }
        publish(LotSplit(by=by, at=at, subject=lot_subject(lot), content=content, signing=signing))
    return [new for new, _moved in made]


def merge_lots(*, number: str, lots: Mapping[int, int], by: Person, at: datetime, signing: Signing) -> HarnessLot:
    """Put lots of one job and kind together under one number. lots: lot id -> harnesses taken from it. Raises Refused."""
    findings = permission_findings(by, Deed.BUILD_LOT) + signing_findings(signing, by, MERGED_MEANING)
    with transaction.atomic():
        found = locked_lots(lots)
        if len(found) < 2:
            findings.append(misfit("lot.merge.two", "lots"))
        if len({(lot.job_id, lot.kind) for lot in found}) > 1:
            findings.append(misfit("lot.merge.alike", "lots", lots=", ".join(sorted(lot.number for lot in found))))
        for lot, quantity in found.items():
            findings += taking_findings(lot, quantity, "lots") + serial_findings(lot, quantity, (), "lots")
        refuse_if(findings)
        new = new_lot(number=number, like=next(iter(found)), quantity=sum(found.values()), by=by, at=at)
        for lot, quantity in found.items():
            moved = [s.serial for s in serials_taken(lot, quantity, ())]
            LotPart.objects.create(lot=new, used=lot, kind=PartOf.MERGED, quantity=quantity)
            add_serials(new, moved)
        content = {
            "lot": number,
            "harnesses": new.quantity,
            "lots": [{"lot": lot.number, "quantity": n} for lot, n in sorted(found.items(), key=lambda pair: pair[0].number)],
        }
        publish(LotsMerged(by=by, at=at, subject=lot_subject(new), content=content, signing=signing))
    return new


def rework_lot(
    *,
    lot: HarnessLot,
    number: str,
    quantity: int,
    reason: str,
    by: Person,
    at: datetime,
    signing: Signing,
    batches: Mapping[int, int] | None = None,
    serials: Sequence[str] = (),
) -> HarnessLot:
    """Harnesses of a lot that were reworked get a number of their own, and wait there for quality's release. Raises Refused.

    batches: id -> pieces of the batches whose terminations replaced others.
    """
    findings = permission_findings(by, Deed.RELEASE_LOT) + signing_findings(signing, by, REWORKED_MEANING) + _reason_findings(reason)
    with transaction.atomic():
        found = locked_batches(batches or {})
        lot = _locked(lot)
        findings += taking_findings(lot, quantity, "quantity", kept_back_too=True) + serial_findings(lot, quantity, serials, "serials")
        refuse_if(findings + batch_findings(lot.job, found))
        new = new_lot(number=number, like=lot, quantity=quantity, kept_back=WAITS_AFTER_REWORK, by=by, at=at)
        moved = [s.serial for s in serials_taken(lot, quantity, serials)]
        LotPart.objects.create(lot=new, used=lot, kind=PartOf.REWORKED, quantity=quantity, reason=reason.strip())
        HarnessLotBatch.objects.bulk_create(HarnessLotBatch(lot=new, batch=b, quantity=n) for b, n in found.items())
        add_serials(new, moved)
        content = {
            "lot": lot.number,
            "into": number,
            "quantity": quantity,
            "reason": reason.strip(),
            "batches": [{"batch": b.number, "pieces": n} for b, n in sorted(found.items(), key=lambda pair: pair[0].number)],
            "serials": moved,
        }
        publish(LotReworked(by=by, at=at, subject=lot_subject(new), content=content, signing=signing))
    return new


def receive_return(
    *,
    shipment: Shipment,
    lot: HarnessLot,
    number: str,
    quantity: int,
    reason: str,
    by: Person,
    at: datetime,
    signing: Signing,
    serials: Sequence[str] = (),
) -> HarnessLot:
    """Harnesses that came back from a customer get a number of their own and are kept back until quality decides. Raises Refused."""
    findings = permission_findings(by, Deed.SHIP) + signing_findings(signing, by, RETURNED_MEANING) + _reason_findings(reason)
    with transaction.atomic():
        lot = _locked(lot)
        away = still_away(shipment, lot)
        if not 1 <= quantity <= away:
            findings.append(misfit("return.quantity", "quantity", asked=quantity, away=away, lot=lot.number, shipment=shipment.number))
        gone = set(ShippedSerial.objects.filter(line__shipment=shipment, line__lot=lot).values_list("serial__serial", flat=True)) - set(
            HarnessSerial.objects.filter(lot__parts__kind=PartOf.RETURNED, lot__parts__shipment=shipment, lot__parts__used=lot).values_list(
                "serial", flat=True
            )
        )
        findings += [
            misfit("return.serial", "serials", serial=s, shipment=shipment.number, lot=lot.number) for s in sorted(set(serials) - gone)
        ]
        if gone and len(set(serials)) != quantity:
            findings.append(misfit("lot.serials.count", "serials", given=len(set(serials)), quantity=quantity, lot=lot.number))
        refuse_if(findings)
        new = new_lot(number=number, like=lot, quantity=quantity, kept_back=f"returned: {reason.strip()}"[:300], by=by, at=at)
        LotPart.objects.create(lot=new, used=lot, kind=PartOf.RETURNED, quantity=quantity, shipment=shipment, reason=reason.strip())
        add_serials(new, sorted(set(serials)))
        content = {
            "shipment": shipment.number,
            "customer": shipment.customer.code,
            "lot": lot.number,
            "into": number,
            "quantity": quantity,
            "reason": reason.strip(),
            "serials": sorted(set(serials)),
        }
        publish(ReturnReceived(by=by, at=at, subject=lot_subject(new), content=content, signing=signing))
    return new


def release_lot(*, lot: HarnessLot, reason: str, by: Person, at: datetime, signing: Signing) -> HarnessLot:
    """Quality lets a lot go on that was kept back, and says what it was looked at for. Raises Refused."""
    findings = permission_findings(by, Deed.RELEASE_LOT) + signing_findings(signing, by, RELEASED_MEANING) + _reason_findings(reason)
    with transaction.atomic():
        lot = _locked(lot)
        if not lot.kept_back:
            findings.append(misfit("lot.not_kept_back", lot=lot.number))
        refuse_if(findings + held_findings([lot], "lot"))
        content = {"lot": lot.number, "was": lot.kept_back, "reason": reason.strip(), "left": harnesses_left(lot)}
        lot.kept_back = ""
        lot.save(update_fields=["kept_back"])
        publish(LotReleased(by=by, at=at, subject=lot_subject(lot), content=content, signing=signing))
    return lot


def scrap_harnesses(*, lot: HarnessLot, quantity: int, reason: str, by: Person, at: datetime, signing: Signing) -> LotLoss:
    """Take harnesses out of a lot for good. A lot that a case holds is decided on in the case. Raises Refused."""
    findings = permission_findings(by, Deed.RELEASE_LOT) + signing_findings(signing, by, SCRAPPED_MEANING) + _reason_findings(reason)
    with transaction.atomic():
        lot = _locked(lot)
        refuse_if(findings + taking_findings(lot, quantity, "quantity", kept_back_too=True))
        row = LotLoss.objects.create(lot=lot, quantity=quantity, reason=reason.strip(), by=by, at=at)
        content = {"lot": lot.number, "quantity": quantity, "reason": reason.strip(), "left": harnesses_left(lot)}
        publish(HarnessesScrapped(by=by, at=at, subject=lot_subject(lot), content=content, signing=signing))
    return row
