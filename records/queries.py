"""What the pages of Prove show, decided here: small dataclasses in, nothing left for a template to work out."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import NamedTuple

from django.db.models import CharField, Exists, OuterRef, Q, QuerySet
from django.urls import reverse
from django.utils.safestring import SafeString
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from inspection.models import Batch, BatchStatus, SetupScan
from inspection.set_up import PartState
from records.acts.lots import needed_for, terminations_of
from records.balances import cases_holding_batches, cases_holding_lots, harnesses_left, harnesses_left_of, pieces_left_of
from records.content import PART_NAMES, PartContent, TraceRecord
from records.gather.batch import evidence_line
from records.gather.trace import Behind, behind_lot, behind_shipment, lot_trace, shipment_trace
from records.models import HarnessLot, HarnessSerial, IssuedDocument, LedgerEntry, LotKind, LotPart, Shipment, Signature, Suspect
from records.telling import Told
from records.trace import Found
from records.trace_rows import behind_rows
from records.trails import trail_url
from shop.composed import Composed, Given
from shop.jobs import Job
from shop.pages.addresses import address
from shop.people import Person
from shop.permissions import Deed, may

STATE_WORDS = {
    "proven": gettext_lazy("proven"),
    "open": gettext_lazy("open"),
    "failed": gettext_lazy("failed"),
    "undecided": gettext_lazy("cannot be decided"),
    "conceded": gettext_lazy("conceded"),
}


class Line(NamedTuple):
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
    evidence: Sequence[str] = ()


class Cell(NamedTuple):
    """One of the six parts of a batch in the table behind a lot, its lines with the records they open."""

    state: str
    state_word: str
    evidence: Sequence[Line]


def parts_shown(parts: Sequence[PartContent]) -> list[Part]:
    return [Part(p["part"], _(p["part"]).capitalize(), p["state"], str(STATE_WORDS[p["state"]]), p["evidence"]) for p in parts]


def scan_url(scan: SetupScan) -> str:
    """Where the thing behind a scan has its own page."""
    if scan.wire_lot:
        return address("prove:where", "wire-lot", scan.wire_lot.lot_number)
    if scan.terminal_lot:
        return address("prove:where", "terminal-lot", scan.terminal_lot.lot_number)
    if scan.gauge:
        return address("prove:where", "gauge", scan.gauge.asset_number)
    if scan.tool:
        return address("prove:where", "tool", scan.tool.asset_number)
    if scan.press:
        return address("prove:where", "press", scan.press.asset_number)
    if scan.part == "documents":
        return address("plan:sheet", scan.batch.termination.sheet_id)
    return address("shop:detail", "people", scan.by_id) if scan.part == "people" else ""


@dataclass(frozen=True, slots=True)
class BatchRow:
    """A batch behind a lot: six columns of evidence, every line opening its record."""

    batch: Batch
    quantity: int
    cells: list[Cell]
    documents: list[IssuedDocument]


def batch_row(
    batch: Batch,
    quantity: int,
    documents: list[IssuedDocument],
    parts: Sequence[PartContent],
    states: Sequence[PartState],
    words: Mapping[str, object] = STATE_WORDS,
) -> BatchRow:
    """parts: `batch_parts` of it, as its record says them; states: `six_parts` of it; words: of the states, in the reader's language."""
    cells = []
    for content, state in zip(parts, states, strict=True):
        linked = {evidence_line(scan): scan_url(scan) for scan in state.scans}
        lines = [Line(text, linked.get(text, "")) for text in content["evidence"]]
        cells.append(Cell(content["state"], str(words[content["state"]]), lines))
    return BatchRow(batch, quantity, cells, documents)


@dataclass(frozen=True, slots=True)
class LotSection:
    """A lot behind the thing asked about. shipped: harnesses in the shipment asked about; origin: how it came into another lot."""

    lot: HarnessLot
    shipped: int | None
    rows: list[BatchRow]
    origin: str = ""

    @property
    def drawn(self) -> SafeString:
        return behind_rows(self.rows)


def _sections(behind: Behind, record: TraceRecord) -> list[LotSection]:
    """The lots asked about, and after them every lot that went into them at any depth."""
    sections, words = [], {state: str(word) for state, word in STATE_WORDS.items()}
    for (lot, shipped, origin), traced in zip(behind.lots, record["lots"], strict=True):
        rows = zip(behind.batches[lot.pk], traced["batches"], strict=True)
        shown = [
            batch_row(batch, n, behind.issued[batch.pk], content["parts"], behind.states[batch.pk], words) for (batch, n), content in rows
        ]
        sections.append(LotSection(lot, shipped, shown, origin))
    return sections


@dataclass(frozen=True, slots=True)
class ActLink:
    """Something that may be done next, as a link."""

    word: str
    url: str


def lot_acts(lot: HarnessLot, person: Person) -> list[ActLink]:
    """What this person may do with a lot in its present state."""
    left = harnesses_left(lot)
    build, decide = may(person, Deed.BUILD_LOT), may(person, Deed.RELEASE_LOT)
    offered = [
        ("release", _("Release"), decide and bool(lot.kept_back)),
        ("split", _("Split"), build and left > 1 and not lot.kept_back),
        ("merge", _("Merge"), build and left > 0 and not lot.kept_back),
        ("rework", _("Rework"), decide and left > 0),
        ("scrap", _("Scrap"), decide and left > 0),
    ]
    return [ActLink(word, reverse("prove:lot-change", args=[lot.number, act])) for act, word, is_open in offered if is_open]


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
    trace_url: str
    acts: list[ActLink]
    shipments: list[Shipment] = field(default_factory=list)
    kept_back: str = ""
    cases: list[str] = field(default_factory=list)
    onward: list[LotPart] = field(default_factory=list)
    serials: list[HarnessSerial] = field(default_factory=list)

    @property
    def trail_url(self) -> str:
        return trail_url("shipment" if self.kind == "shipment" else "harness lot", self.thing.pk)

    @property
    def part_names(self) -> list[tuple[str, str]]:
        return [(name, _(name).capitalize()) for name in PART_NAMES]


_REPORTS = Composed(
    lambda: IssuedDocument.objects.filter(subject_kind=Given("kind", CharField()), subject_id=Given("pk")).defer("record")  # long
)
_CASES_ON = Composed(
    lambda: Suspect.objects.filter(shipment=Given("shipment"), case__closed_at=None).order_by().values_list("case__number", flat=True)
)
_CAME_BACK = Composed(lambda: LotPart.objects.filter(shipment=Given("shipment")).select_related("lot"))


def shipment_page(shipment: Shipment, person: Person, at: datetime) -> BehindPage:
    behind = behind_shipment(shipment)
    record = shipment_trace(shipment, by=person, at=at, behind=behind)
    back = [ActLink(_("Harnesses came back"), reverse("prove:take-back", args=[shipment.number]))] if may(person, Deed.SHIP) else []
    return BehindPage(
        title=_("Shipment %(number)s") % {"number": shipment.number},
        kind="shipment",
        thing=shipment,
        record=record,
        parts=parts_shown(record["parts"]),
        sections=_sections(behind, record),
        reports=_REPORTS(kind="shipment", pk=shipment.pk),
        trace_url=reverse("prove:trace", args=["shipment", shipment.pk]),
        acts=back,
        cases=sorted(set(_CASES_ON(shipment=shipment.pk))),
        onward=_CAME_BACK(shipment=shipment.pk),
    )


def lot_page(lot: HarnessLot, person: Person, at: datetime) -> BehindPage:
    behind = behind_lot(lot)
    record = lot_trace(lot, by=person, at=at, behind=behind)
    return BehindPage(
        title=_("Harness lot %(number)s") % {"number": lot.number},
        kind="lot",
        thing=lot,
        record=record,
        parts=parts_shown(record["parts"]),
        sections=_sections(behind, record),
        reports=_REPORTS(kind="harness lot", pk=lot.pk),
        trace_url=reverse("prove:trace", args=["harness-lot", lot.pk]),
        acts=lot_acts(lot, person),
        shipments=list(Shipment.objects.filter(lots=lot)),
        kept_back=lot.kept_back,
        cases=[case for case in [cases_holding_lots([lot.pk]).get(lot.pk)] if case],
        onward=list(LotPart.objects.filter(used=lot).select_related("lot")),
        serials=list(HarnessSerial.objects.filter(lot=lot)),
    )


@dataclass(frozen=True, slots=True)
class SearchPage:
    shipments: QuerySet[Shipment]
    lots: QuerySet[HarnessLot]
    waiting: list[tuple[Batch, int]]


def search_page() -> SearchPage:
    closed = Batch.objects.filter(status=BatchStatus.CLOSED).select_related("termination__sheet__job").order_by("-closed_at")[:200]
    left = pieces_left_of(closed)
    return SearchPage(
        shipments=Shipment.objects.select_related("customer").prefetch_related("lots")[:20],
        lots=HarnessLot.objects.select_related("job__customer")[:20],
        waiting=[(batch, left[batch.pk]) for batch in closed if left[batch.pk] > 0][:20],
    )


def url_of(found: Found) -> str:
    match found.kind:
        case "shipment":
            return address("prove:shipment", found.name)
        case "harness lot":
            return address("prove:lot", found.name)
        case "batch":
            return address("prove:batch", found.name)
        case "serial" | "customer":
            return address("prove:trace", found.kind, found.pk)
    return address("prove:where", found.kind.replace(" ", "-"), found.name)


@dataclass(frozen=True, slots=True)
class Choice:
    """A batch offered for a lot, with how many good pieces are left and how many the lot needs."""

    batch: Batch
    left: int
    needed: int
    given: str


@dataclass(frozen=True, slots=True)
class LotOffer:
    """A lot of leads or sub-assemblies offered for another lot."""

    lot: HarnessLot
    left: int
    given: str


@dataclass(frozen=True, slots=True)
class NewLotPage:
    jobs: list[Job]
    job: Job | None
    number: str
    quantity: str
    choices: list[Choice]
    meaning: str
    kind: str
    kinds: list[tuple[str, str]]
    serials: str
    offers: list[LotOffer]

    @property
    def may_build(self) -> bool:
        """Whether there is anything to build a lot of."""
        return bool(self.choices or self.offers)


def lots_to_use(job: Job, given: dict[int, str]) -> list[LotOffer]:
    """Lots that may go into one of this job: leads made for it, and sub-assemblies of its customer's jobs; none that is kept back."""
    fitting = Q(kind=LotKind.LEADS, job=job) | Q(kind=LotKind.SUB_ASSEMBLY, job__customer=job.customer_id)
    lots = list(HarnessLot.objects.filter(fitting, kept_back="").select_related("job").order_by("built_at", "pk"))
    left, held = harnesses_left_of(lots), cases_holding_lots(lot.pk for lot in lots)
    return [LotOffer(lot, left[lot.pk], given.get(lot.pk, "")) for lot in lots if left[lot.pk] > 0 and lot.pk not in held]


def jobs_with_batches() -> list[Job]:
    closed = Batch.objects.filter(termination__sheet__job=OuterRef("pk"), status=BatchStatus.CLOSED)
    return list(Job.objects.filter(Exists(closed)).order_by("number"))


def new_lot_page(
    job: Job | None,
    *,
    number: str,
    quantity: str,
    given: dict[int, str],
    meaning: str,
    kind: str = LotKind.HARNESS,
    serials: str = "",
    given_lots: dict[int, str] | None = None,
) -> NewLotPage:
    """The batches of a job that have good pieces left. Where nothing was typed yet, the pieces needed are proposed, oldest batch first."""
    choices: list[Choice] = []
    if job is not None:
        harnesses = int(quantity) if quantity.isdigit() and int(quantity) > 0 else job.quantity
        quantity = quantity or str(job.quantity)
        open_need = {(t.sheet.number, t.lead, t.end): needed_for(t, harnesses, job) for t in terminations_of(job)}
        needs = dict(open_need)
        batches = Batch.objects.filter(termination__sheet__job=job, status=BatchStatus.CLOSED).select_related("termination__sheet")
        held = cases_holding_batches(batches.values_list("pk", flat=True))
        pieces = pieces_left_of(batches)
        for batch in batches.order_by("closed_at"):
            left = pieces[batch.pk]
            if left < 1 or batch.pk in held:
                continue
            key = (batch.termination.sheet.number, batch.termination.lead, batch.termination.end)
            take = min(left, open_need.get(key, 0))
            open_need[key] = open_need.get(key, 0) - take
            choices.append(Choice(batch, left, needs.get(key, 0), given.get(batch.pk, str(take) if not given and take else "")))
        number = number or f"{job.number}-L{job.harness_lots.count() + 1}"
    return NewLotPage(
        jobs=jobs_with_batches(),
        job=job,
        number=number,
        quantity=quantity,
        choices=choices,
        meaning=meaning,
        kind=kind,
        kinds=[(value, str(label)) for value, label in LotKind.choices],
        serials=serials,
        offers=lots_to_use(job, given_lots or {}) if job is not None else [],
    )


@dataclass(frozen=True, slots=True)
class LotChoice:
    lot: HarnessLot
    left: int
    given: str


def lots_to_ship(customer_id: int | None, given: dict[int, str]) -> list[LotChoice]:
    """Lots of a customer with harnesses left that nothing keeps back."""
    if not customer_id:
        return []
    lots = list(HarnessLot.objects.select_related("job__customer").filter(job__customer=customer_id, kept_back="", kind=LotKind.HARNESS))
    left, held = harnesses_left_of(lots), cases_holding_lots(lot.pk for lot in lots)
    return [
        LotChoice(lot, left[lot.pk], given.get(lot.pk, str(left[lot.pk]) if not given else ""))
        for lot in lots
        if left[lot.pk] > 0 and lot.pk not in held
    ]


@dataclass(frozen=True, slots=True)
class EntryPage:
    entry: LedgerEntry
    text: str
    previous: int | None
    following: int | None
    told: Told
    signature: Signature | None
    trail_url: str
