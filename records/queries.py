"""What the pages of Prove show, decided here: small dataclasses in, nothing left for a template to work out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date, datetime

from django.db.models import QuerySet
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from inspection.models import Batch, BatchStatus, SetupScan
from inspection.set_up import six_parts
from records.acts.lots import harnesses_left, needed_for, pieces_left, terminations_of
from records.content import PART_NAMES, PartContent, TraceRecord
from records.gather.batch import batch_parts, evidence_line
from records.models import HarnessLot, IssuedDocument, LedgerEntry, Shipment
from records.trace import Found, Reach, batches_behind, batches_with, find, lots_behind, reach_of
from shop.jobs import Job

STATE_WORDS = {
    "proven": gettext_lazy("proven"),
    "open": gettext_lazy("open"),
    "failed": gettext_lazy("failed"),
    "undecided": gettext_lazy("cannot be decided"),
    "conceded": gettext_lazy("conceded"),
}


@dataclass(frozen=True, slots=True)
class Line:
    """A line of evidence and the record it opens, if it has one."""

    text: str
    url: str = ""


@dataclass(frozen=True, slots=True)
class Part:
    """One of the six parts as the page's partial wants it."""

    code: str
    name: str
    state: str
    state_word: str
    evidence: Sequence[str | Line] = ()


def parts_shown(parts: Sequence[PartContent]) -> list[Part]:
    return [Part(p["part"], _(p["part"]).capitalize(), p["state"], str(STATE_WORDS[p["state"]]), p["evidence"]) for p in parts]


def scan_url(scan: SetupScan) -> str:
    """Where the thing behind a scan has its own page."""
    if scan.wire_lot:
        return reverse("prove:where", args=["wire-lot", scan.wire_lot.lot_number])
    if scan.terminal_lot:
        return reverse("prove:where", args=["terminal-lot", scan.terminal_lot.lot_number])
    if scan.gauge:
        return reverse("prove:where", args=["gauge", scan.gauge.asset_number])
    if scan.tool:
        return reverse("prove:where", args=["tool", scan.tool.asset_number])
    if scan.press:
        return reverse("prove:where", args=["press", scan.press.asset_number])
    if scan.part == "documents":
        return reverse("plan:sheet", args=[scan.batch.termination.sheet_id])
    return reverse("shop:detail", args=["people", scan.by_id]) if scan.part == "people" else ""


@dataclass(frozen=True, slots=True)
class BatchRow:
    """A batch behind a lot: six columns of evidence, every line opening its record."""

    batch: Batch
    quantity: int
    cells: list[Part]
    documents: list[IssuedDocument]


def batch_row(batch: Batch, quantity: int) -> BatchRow:
    states = {state.part: state for state in six_parts(batch)}
    cells = []
    for content in batch_parts(batch):
        scans = states[content["part"]].scans
        linked = {evidence_line(scan): scan_url(scan) for scan in scans}
        lines = [Line(text, linked.get(text, "")) for text in content["evidence"]]
        cells.append(Part(content["part"], _(content["part"]).capitalize(), content["state"], str(STATE_WORDS[content["state"]]), lines))
    documents = IssuedDocument.objects.filter(subject_kind="batch", subject_id=batch.pk) | IssuedDocument.objects.filter(
        subject_kind="setup sheet", subject_id=batch.termination.sheet_id
    )
    return BatchRow(batch, quantity, cells, list(documents.order_by("kind", "number", "issue")))


@dataclass(frozen=True, slots=True)
class LotSection:
    lot: HarnessLot
    shipped: int | None
    rows: list[BatchRow]


@dataclass(frozen=True, slots=True)
class BehindPage:
    """Everything behind a shipment or a harness lot."""

    title: str
    kind: str
    thing: Shipment | HarnessLot
    record: TraceRecord
    parts: list[Part]
    sections: list[LotSection]
    reports: list[IssuedDocument]
    shipments: list[Shipment] = field(default_factory=list)

    @property
    def part_names(self) -> list[tuple[str, str]]:
        return [(name, _(name).capitalize()) for name in PART_NAMES]


def behind_shipment(shipment: Shipment, record: TraceRecord) -> BehindPage:
    sections = [LotSection(lot, n, [batch_row(b, q) for b, q in batches_behind(lot)]) for lot, n in lots_behind(shipment)]
    return BehindPage(
        title=_("Shipment %(number)s") % {"number": shipment.number},
        kind="shipment",
        thing=shipment,
        record=record,
        parts=parts_shown(record["parts"]),
        sections=sections,
        reports=list(IssuedDocument.objects.filter(subject_kind="shipment", subject_id=shipment.pk)),
    )


def behind_lot(lot: HarnessLot, record: TraceRecord) -> BehindPage:
    return BehindPage(
        title=_("Harness lot %(number)s") % {"number": lot.number},
        kind="lot",
        thing=lot,
        record=record,
        parts=parts_shown(record["parts"]),
        sections=[LotSection(lot, None, [batch_row(b, q) for b, q in batches_behind(lot)])],
        reports=list(IssuedDocument.objects.filter(subject_kind="harness lot", subject_id=lot.pk)),
        shipments=list(Shipment.objects.filter(lots=lot)),
    )


@dataclass(frozen=True, slots=True)
class SearchPage:
    asked: str
    found: list[Found]
    shipments: QuerySet[Shipment]
    lots: QuerySet[HarnessLot]
    waiting: list[tuple[Batch, int]]


def search_page(asked: str) -> SearchPage:
    closed = Batch.objects.filter(status=BatchStatus.CLOSED).select_related("termination__sheet__job").order_by("-closed_at")[:200]
    return SearchPage(
        asked=asked,
        found=find(asked),
        shipments=Shipment.objects.select_related("customer").prefetch_related("lots")[:20],
        lots=HarnessLot.objects.select_related("job__customer")[:20],
        waiting=[(batch, left) for batch in closed if (left := pieces_left(batch)) > 0][:20],
    )


def url_of(found: Found) -> str:
    match found.kind:
        case "shipment":
            return reverse("prove:shipment", args=[found.name])
        case "harness lot":
            return reverse("prove:lot", args=[found.name])
        case "batch":
            return reverse("prove:batch", args=[found.name])
    return reverse("prove:where", args=[found.kind.replace(" ", "-"), found.name])


@dataclass(frozen=True, slots=True)
class WherePage:
    """Where a lot, a tool or a gauge went: batches, harness lots, shipments, customers."""

    found: Found
    kind_word: str
    catalogue_url: str
    since: date | None
    until: date | None
    rows: list[Reach]
    pieces: int
    lots: int
    shipments: int
    customers: list[str]


def where_page(found: Found, *, since: date | None, until: date | None, begin: datetime | None, end: datetime | None) -> WherePage:
    """begin and end bound the time a batch was open: it counts when it was open at any moment between them."""
    batches = batches_with(found)
    if end is not None:
        batches = batches.filter(opened_at__lt=end)
    if begin is not None:
        batches = batches.exclude(closed_at__lt=begin)
    rows = reach_of(batches)
    kinds = {"wire lot": "wire-lots", "terminal lot": "terminal-lots", "tool": "tools", "press": "presses", "gauge": "gauges"}
    return WherePage(
        found=found,
        kind_word=_(found.kind),
        catalogue_url=reverse("shop:detail", args=[kinds[found.kind], found.pk]),
        since=since,
        until=until,
        rows=rows,
        pieces=sum(r.batch.made or r.batch.last_count for r in rows),
        lots=len({lot.pk for r in rows for lot, _n in r.in_lots}),
        shipments=len({s.pk for r in rows for s, _lot, _n in r.shipped}),
        customers=sorted({c for r in rows for c in r.customers}),
    )


@dataclass(frozen=True, slots=True)
class Choice:
    """A batch offered for a lot, with how many good pieces are left and how many the lot needs."""

    batch: Batch
    left: int
    needed: int
    given: str


@dataclass(frozen=True, slots=True)
class NewLotPage:
    jobs: list[Job]
    job: Job | None
    number: str
    quantity: str
    choices: list[Choice]
    meaning: str


def jobs_with_batches() -> list[Job]:
    return list(Job.objects.filter(sheets__terminations__batches__status=BatchStatus.CLOSED).distinct().order_by("number"))


def new_lot_page(job: Job | None, *, number: str, quantity: str, given: dict[int, str], meaning: str) -> NewLotPage:
    """The batches of a job that have good pieces left. Where nothing was typed yet, the pieces needed are proposed, oldest batch first."""
    choices: list[Choice] = []
    if job is not None:
        harnesses = int(quantity) if quantity.isdigit() and int(quantity) > 0 else job.quantity
        quantity = quantity or str(job.quantity)
        open_need = {(t.sheet.number, t.lead, t.end): needed_for(t, harnesses, job) for t in terminations_of(job)}
        needs = dict(open_need)
        batches = Batch.objects.filter(termination__sheet__job=job, status=BatchStatus.CLOSED).select_related("termination__sheet")
        for batch in batches.order_by("closed_at"):
            left = pieces_left(batch)
            if left < 1:
                continue
            key = (batch.termination.sheet.number, batch.termination.lead, batch.termination.end)
            take = min(left, open_need.get(key, 0))
            open_need[key] = open_need.get(key, 0) - take
            choices.append(Choice(batch, left, needs.get(key, 0), given.get(batch.pk, str(take) if not given and take else "")))
        number = number or f"{job.number}-L{job.harness_lots.count() + 1}"
    return NewLotPage(jobs_with_batches(), job, number, quantity, choices, meaning)


@dataclass(frozen=True, slots=True)
class LotChoice:
    lot: HarnessLot
    left: int
    given: str


def lots_to_ship(customer_id: int | None, given: dict[int, str]) -> list[LotChoice]:
    lots = (
        HarnessLot.objects.select_related("job__customer").filter(job__customer=customer_id) if customer_id else HarnessLot.objects.none()
    )
    return [LotChoice(lot, left, given.get(lot.pk, str(left) if not given else "")) for lot in lots if (left := harnesses_left(lot)) > 0]


@dataclass(frozen=True, slots=True)
class EntryPage:
    entry: LedgerEntry
    text: str
    previous: int | None
    following: int | None
