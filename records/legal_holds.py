"""What a legal hold covers: everything behind what it names, and everything that went into it or came of it. Looked up anew each time,
so that a batch made tomorrow for a job on hold is on hold too.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any

from django.db.models import Q, QuerySet

from inspection.models import Batch, LoadedLot, SetupScan, Study
from inspection.nonconformance import LinkKind, Nonconformance, NonconformanceLink
from records.keeping_models import HoldScope, LegalHold
from records.models import HarnessLot, Shipment, ShipmentLot, Suspect
from records.trace import Found, batches_with, lots_with_parts, reached_from
from shop.clock import midnight
from shop.composed import Composed
from shop.jobs import Customer, Job, SetupSheet
from shop.specifications import Document


@dataclass(frozen=True, slots=True)
class Covered:
    """What one hold covers: keys by the kind of thing as the ledger names it. begin, end: of a period, whatever was made in it."""

    hold: LegalHold
    things: dict[str, set[int]] = field(default_factory=dict)
    begin: datetime | None = None
    end: datetime | None = None

    def covers(self, kind: str, pk: int, made_at: datetime | None = None) -> bool:
        """Whether a thing of this kind and key, or a file made at this moment, is inside."""
        in_time = self.begin is not None and self.end is not None and made_at is not None and self.begin <= made_at < self.end
        # A package of a period may hold anything of that time.
        return in_time or kind == "period" or pk in self.things.get(kind, ())


def exists(scope: str, name: str) -> bool:
    """Whether there is something of that name to hold."""
    match scope:
        case HoldScope.SHIPMENT:
            return Shipment.objects.filter(number=name).exists()
        case HoldScope.LOT:
            return HarnessLot.objects.filter(number=name).exists()
        case HoldScope.BATCH:
            return Batch.objects.filter(number=name).exists()
        case HoldScope.JOB:
            return Job.objects.filter(number=name).exists()
        case HoldScope.CUSTOMER:
            return Customer.objects.filter(code=name).exists()
        case HoldScope.PART:
            return _of_part(name).exists() or Job.objects.filter(part_number=name).exists()
    return False


def _of_part(name: str) -> QuerySet[Batch]:
    """Batches for a harness part, or made with a terminal or wire of that part number."""
    sheets = Q(termination__sheet__job__part_number=name)
    used = Q(termination__terminal__part_number=name) | Q(termination__termination_wires__wire__part_number=name)
    return Batch.objects.filter(pk__in=Batch.objects.filter(sheets | used).order_by().values("pk"))


def _span(hold: LegalHold) -> tuple[datetime, datetime]:
    if hold.since is None or hold.until is None:
        raise AssertionError("the database lets no such row in")
    return midnight(hold.since), midnight(hold.until + timedelta(days=1))


def _jobs(hold: LegalHold) -> QuerySet[Job]:
    fields = {HoldScope.JOB: "number", HoldScope.CUSTOMER: "customer__code", HoldScope.PART: "part_number"}
    name = fields.get(HoldScope(hold.scope))
    return Job.objects.filter(**{name: hold.name}) if name else Job.objects.none()


def _start(hold: LegalHold) -> tuple[QuerySet[Batch], set[int], set[int]]:
    """Batches, lots and shipments that the hold names itself."""
    nothing: set[int] = set()
    match hold.scope:
        case HoldScope.BATCH:
            return Batch.objects.filter(number=hold.name), nothing, nothing
        case HoldScope.SHIPMENT | HoldScope.LOT:
            model = Shipment if hold.scope == HoldScope.SHIPMENT else HarnessLot
            pk = model._default_manager.filter(number=hold.name).values_list("pk", flat=True).first() or 0
            found = Found(hold.scope, pk, hold.name)
            return batches_with(found).order_by(), lots_with_parts(found), {pk} if hold.scope == HoldScope.SHIPMENT else nothing
        case HoldScope.PERIOD:
            begin, end = _span(hold)
            open_then = Batch.objects.filter(opened_at__lt=end).exclude(closed_at__lt=begin)
            built = HarnessLot.objects.filter(built_at__gte=begin, built_at__lt=end).values_list("pk", flat=True)
            sent = Shipment.objects.filter(shipped_at__gte=begin, shipped_at__lt=end).values_list("pk", flat=True)
            return open_then, set(built), set(sent)
    jobs = _jobs(hold)
    batches = _of_part(hold.name) if hold.scope == HoldScope.PART else Batch.objects.filter(termination__sheet__job__in=jobs)
    shipped = Q(lots__job__in=jobs)
    if hold.scope == HoldScope.CUSTOMER:
        shipped |= Q(customer__code=hold.name)
    lots_built = set(HarnessLot.objects.filter(job__in=jobs).values_list("pk", flat=True))
    return batches, lots_built, set(Shipment.objects.filter(shipped).values_list("pk", flat=True))


def covered_by(hold: LegalHold) -> Covered:
    """Everything a hold covers."""
    batches, lots, shipments = _start(hold)
    picked = Batch.objects.filter(pk__in=batches.order_by().values("pk")).order_by()
    into, sent = reached_from(picked)
    lots = lots | into
    shipments = shipments | sent | set(ShipmentLot.objects.filter(lot__in=lots).values_list("shipment", flat=True))
    scans = SetupScan.objects.filter(batch__in=picked, accepted=True).order_by()
    loaded = LoadedLot.objects.filter(batch__in=picked).order_by()

    def keys(rows: QuerySet[SetupScan] | QuerySet[LoadedLot], column: str) -> set[int]:
        return set(rows.exclude(**{column: None}).values_list(column, flat=True).distinct())

    tools, gauges = keys(scans, "tool"), keys(scans, "gauge")
    things = {
        "batch": set(picked.values_list("pk", flat=True)),
        "harness lot": lots,
        "shipment": shipments,
        "setup sheet": set(picked.values_list("termination__sheet", flat=True))
        | set(SetupSheet.objects.filter(job__in=_jobs(hold)).values_list("pk", flat=True)),
        "wire-lots": keys(loaded, "wire_lot"),
        "terminal-lots": keys(loaded, "terminal_lot"),
        "tools": tools,
        "press": keys(scans, "press"),
        "gauges": gauges,
        "calibrations": keys(scans, "calibration"),
        "documents": set(
            Document.objects.filter(specifications__terminations__batches__in=picked).order_by().values_list("pk", flat=True).distinct()
        ),
        "study": set(Study.objects.filter(Q(tool__in=tools) | Q(gauge__in=gauges)).values_list("pk", flat=True)),
        "nonconformance": set(Nonconformance.objects.filter(batch__in=picked).values_list("pk", flat=True))
        | set(_linked(LinkKind.BATCH, picked.values("pk")))
        | set(_linked(LinkKind.LOT, lots))
        | set(_linked(LinkKind.SHIPMENT, shipments)),
        "containment case": set(
            Suspect.objects.filter(Q(batch__in=picked) | Q(lot__in=lots) | Q(shipment__in=shipments))
            .order_by()
            .values_list("case", flat=True)
        ),
    }
    begin, end = _span(hold) if hold.scope == HoldScope.PERIOD else (None, None)
    return Covered(hold, things, begin, end)


def _linked(kind: LinkKind, ids: QuerySet[Any] | set[int]) -> QuerySet[Any, int]:
    """Nonconformances that name one of these things."""
    return NonconformanceLink.objects.filter(kind=kind, subject_id__in=ids).order_by().values_list("nonconformance", flat=True)


_IN_FORCE = Composed(lambda: LegalHold.objects.filter(lifted_at=None).order_by("pk"))


def in_force() -> list[LegalHold]:
    """Holds nobody has lifted, the oldest first."""
    return _IN_FORCE()


def covering() -> list[Covered]:
    """What each hold in force covers."""
    return [covered_by(hold) for hold in in_force()]


def holds_on(kind: str, pk: int, holds: Sequence[Covered] | None = None, made_at: datetime | None = None) -> list[LegalHold]:
    """The holds in force that cover a thing."""
    known: Iterable[Covered] = covering() if holds is None else holds
    return [one.hold for one in known if one.covers(kind, pk, made_at)]
