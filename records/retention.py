"""Which records' files are due for disposal: the rule of their kind, when their time began, and what still forbids it.

Rows, measurements and ledger entries are never deleted. What goes is the file; its number, hash, size and dates stay.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from itertools import islice
from typing import Any

from django.db.models import Exists, Max, Model, OuterRef, QuerySet

from inspection.models import Batch, Hold, LoadedLot
from inspection.nonconformance import LinkKind, Nonconformance, NonconformanceLink, NonconformanceState
from records.attachables import ATTACHABLE
from records.balances import harnesses_left_of
from records.evidence_orders import EvidenceOf, EvidenceOrder
from records.keeping_models import After, Attachment, DisposedFile, KeptAs, RecordKind, RetentionRule
from records.legal_holds import Covered, covering
from records.models import DocumentKind, HarnessLot, HarnessLotBatch, IssuedDocument, LedgerEntry, Shipment, Suspect
from records.trace import parts_ahead, parts_behind
from shop.acts.documents import sheets_relying_on, specifications_relying_on
from shop.acts.documents import storage_name as upload_name
from shop.clock import midnight, shop_day
from shop.finding import Finding, misfit
from shop.imports import ImportRun, ImportState
from shop.jobs import Job, SetupSheet, SheetStatus
from shop.materials import LotState, TerminalLot, WireLot
from shop.specifications import Document
from shop.tools import Calibration, Gauge, GaugeState, Tool, ToolState

CHUNK = 200
MOST = 200
"""Records in one proposal, and in one act: more than that nobody reads before signing."""

MOST_LOOKED_AT = 2000
"""Records whose time may be over that are looked at for one proposal; those behind them come up when these are settled."""

DOCUMENTS: dict[str, tuple[DocumentKind, ...]] = {
    RecordKind.SETUP_SHEETS: (DocumentKind.SETUP_SHEET,),
    RecordKind.BATCH_RECORDS: (DocumentKind.BATCH_RECORD, DocumentKind.FIRST_ARTICLE),
    RecordKind.LOT_REPORTS: (DocumentKind.TRACE_REPORT, DocumentKind.CERTIFICATE),
    RecordKind.STUDY_REPORTS: (DocumentKind.STUDY_REPORT,),
    RecordKind.NONCONFORMANCES: (DocumentKind.NONCONFORMANCE,),
    RecordKind.STATUS_LISTS: (DocumentKind.CALIBRATION_STATUS,),
    RecordKind.AUDIT_TRAILS: (DocumentKind.AUDIT_TRAIL,),
}
"""Kinds of issued documents by record kind. A certificate of disposal is in none: it is kept for good."""

COPIES = (DocumentKind.AUDIT_TRAIL, DocumentKind.CALIBRATION_STATUS)

ALLOWED: dict[str, tuple[After, ...]] = {
    RecordKind.SETUP_SHEETS: (After.PART, After.OVER),
    RecordKind.BATCH_RECORDS: (After.PART, After.OVER),
    RecordKind.LOT_REPORTS: (After.PART, After.MADE),
    RecordKind.STUDY_REPORTS: (After.MADE,),
    RecordKind.NONCONFORMANCES: (After.PART, After.MADE),
    RecordKind.STATUS_LISTS: (After.MADE,),
    RecordKind.AUDIT_TRAILS: (After.MADE,),
    RecordKind.CONTROLLED: (After.OVER,),
    RecordKind.MATERIAL_PAPERS: (After.PART, After.MADE),
    RecordKind.EQUIPMENT_PAPERS: (After.MADE,),
    RecordKind.PRODUCTION_PAPERS: (After.PART, After.MADE),
    RecordKind.IMPORTS: (After.MADE,),
    RecordKind.PACKAGES: (After.MADE,),
}
"""From when on years can be counted for a kind."""


@dataclass(frozen=True, slots=True)
class Proposed:
    """What the program proposes where no rule was signed yet. It holds for nothing until quality signs it."""

    years: int | None
    after: After
    reason: str


ISO = "ISO 9001:2015 7.5.3.2 asks for a stated retention (from memory)"
IATF = "IATF 16949:2016 7.5.3.2.1: part active plus one calendar year unless the customer says otherwise (from memory)"
PROPOSED: dict[str, Proposed] = {
    RecordKind.SETUP_SHEETS: Proposed(10, After.PART, f"{IATF}; ten years: common practice, no source"),
    RecordKind.BATCH_RECORDS: Proposed(10, After.PART, f"{IATF}; ten years: common practice, no source"),
    RecordKind.LOT_REPORTS: Proposed(10, After.PART, f"{IATF}; ten years: common practice, no source"),
    RecordKind.STUDY_REPORTS: Proposed(10, After.MADE, f"{ISO}; ten years: common practice, no source"),
    RecordKind.NONCONFORMANCES: Proposed(10, After.PART, f"{IATF}; ten years: common practice, no source"),
    RecordKind.STATUS_LISTS: Proposed(10, After.MADE, f"{ISO}; ten years: common practice, no source"),
    RecordKind.AUDIT_TRAILS: Proposed(10, After.MADE, f"{ISO}; ten years: common practice, no source"),
    RecordKind.CONTROLLED: Proposed(None, After.OVER, f"{ISO}; for good: others point at them"),
    RecordKind.MATERIAL_PAPERS: Proposed(10, After.PART, f"{IATF}; ten years: common practice, no source"),
    RecordKind.EQUIPMENT_PAPERS: Proposed(10, After.MADE, f"{ISO}; ten years: common practice, no source"),
    RecordKind.PRODUCTION_PAPERS: Proposed(10, After.PART, f"{IATF}; ten years: common practice, no source"),
    RecordKind.IMPORTS: Proposed(3, After.MADE, f"{ISO}; three years: common practice, no source"),
    RecordKind.PACKAGES: Proposed(3, After.MADE, f"{ISO}; copies of what is kept itself; three years: common practice, no source"),
}


def rules_in_force() -> dict[str, RetentionRule]:
    """The newest rule of each kind that has one."""
    newest = RetentionRule.objects.order_by().values("kind").annotate(last=Max("pk")).values("last")
    return {rule.kind: rule for rule in RetentionRule.objects.filter(pk__in=newest).select_related("by")}


# --- Records with files ------------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class KeptFile:
    """One stored file. stored: its name in storage."""

    stored: str
    sha256: str
    size: int


@dataclass(frozen=True, slots=True)
class Kept:
    """A record whose file is kept. subject: what it is about, as the ledger names it.

    is_copy: it tells what was on record at a moment; what it tells of stays, so nothing in use needs it.
    """

    kept_as: KeptAs
    pk: int
    name: str
    subject: tuple[str, int]
    made_at: datetime
    files: tuple[KeptFile, ...]
    is_copy: bool = False

    @property
    def key(self) -> str:
        """As it is chosen in a form or by a client: "document:12"."""
        return f"{self.kept_as.value}:{self.pk}"


def _document(row: IssuedDocument) -> Kept:
    from records.acts.documents import storage_name  # noqa: PLC0415  # the acts lie above

    files = [KeptFile(storage_name(row.sha256), row.sha256, row.size)]
    files += [KeptFile(storage_name(one.sha256), one.sha256, one.size) for one in row.signed.all()]
    return Kept(KeptAs.DOCUMENT, row.pk, str(row), (row.subject_kind, row.subject_id), row.issued_at, tuple(files), row.kind in COPIES)


def _attachment(row: Attachment) -> Kept:
    file = KeptFile(upload_name(row.sha256), row.sha256, row.size)
    return Kept(KeptAs.ATTACHMENT, row.pk, f"{row.title} ({row.subject_name})", (row.subject_kind, row.subject_id), row.at, (file,))


def _controlled(row: Document) -> Kept:
    file = KeptFile(upload_name(row.file_sha256), row.file_sha256, row.file_size or 0)
    return Kept(KeptAs.CONTROLLED, row.pk, str(row), ("documents", row.pk), midnight(row.effective_on), (file,))


def _import(row: ImportRun) -> Kept:
    file = KeptFile(upload_name(row.sha256), row.sha256, 0)
    return Kept(KeptAs.IMPORT, row.pk, f"{row.file_name} ({row.kind})", ("import", row.pk), row.at, (file,))


def _package(row: EvidenceOrder) -> Kept:
    from records.acts.evidence_orders import storage_name  # noqa: PLC0415  # the acts lie above

    file = KeptFile(storage_name(row.sha256), row.sha256, row.size or 0)
    subject = ("period", 0)
    if row.of != EvidenceOf.PERIOD:
        model: type[Model] = Shipment if row.of == EvidenceOf.SHIPMENT else HarnessLot
        kind = "shipment" if row.of == EvidenceOf.SHIPMENT else "harness lot"
        subject = (kind, model._default_manager.filter(number=row.number).values_list("pk", flat=True).first() or 0)
    return Kept(KeptAs.PACKAGE, row.pk, f"package of {row}", subject, row.at, (file,), is_copy=True)


def _rows(kind: str, before: datetime | None) -> tuple[KeptAs, QuerySet[Any], Callable[[Any], Kept]]:
    """Where records of this kind stand, oldest first. before: only those made before that moment."""
    rows: QuerySet[Any]
    made: Callable[[Any], Kept]
    if kind in DOCUMENTS:
        rows = IssuedDocument.objects.filter(kind__in=DOCUMENTS[kind]).defer("record").prefetch_related("signed")
        kept_as, column, made = KeptAs.DOCUMENT, "issued_at", _document
    elif kind == RecordKind.CONTROLLED:
        rows, kept_as, column = Document.objects.exclude(file_sha256=""), KeptAs.CONTROLLED, "effective_on"
        made = _controlled
    elif kind == RecordKind.IMPORTS:
        rows, kept_as, column, made = ImportRun.objects.all(), KeptAs.IMPORT, "at", _import
    elif kind == RecordKind.PACKAGES:
        rows, kept_as, column, made = EvidenceOrder.objects.exclude(sha256=""), KeptAs.PACKAGE, "at", _package
    else:
        subjects = [one.kind for one in ATTACHABLE.values() if one.record_kind == kind]
        rows, kept_as, column, made = Attachment.objects.filter(subject_kind__in=subjects), KeptAs.ATTACHMENT, "at", _attachment
    gone = DisposedFile.objects.filter(kept_as=kept_as, row_id=OuterRef("pk"))
    rows = rows.filter(~Exists(gone)).order_by(column, "pk")
    if before is not None:
        rows = rows.filter(**{f"{column}__lt": shop_day(before) if column == "effective_on" else before})
    return kept_as, rows, made


def records_of(kind: str, *, before: datetime | None = None) -> Iterator[Kept]:
    """The records of a kind whose files are kept, the oldest first."""
    _kept_as, rows, made = _rows(kind, before)
    return (made(row) for row in rows.iterator(chunk_size=CHUNK))


def chosen_records(kind: str, keys: Iterable[str]) -> list[Kept]:
    """Those of a kind with these keys. What is unknown, of another kind or disposed of is left out."""
    kept_as, rows, made = _rows(kind, None)
    wanted = [
        int(pk) for name, _colon, pk in (key.partition(":") for key in keys) if name == kept_as.value and pk.isdigit() and len(pk) < 19
    ]
    return [made(row) for row in rows.filter(pk__in=wanted)]


# --- When their time began ---------------------------------------------------------------------------------------------------------


def due_on(began: date, years: int) -> date:
    """The first day on which a file may go: after so many full calendar years behind the year in which its time began."""
    return date(min(began.year + years + 1, date.max.year), 1, 1)


@dataclass(frozen=True, slots=True)
class Behind:
    """What stands behind one record: batches, and the lots they went into at any depth."""

    batches: frozenset[int] = frozenset()
    lots: frozenset[int] = frozenset()
    parts: frozenset[str] = frozenset()


def behind_all(records: Sequence[Kept]) -> dict[Kept, Behind]:
    """For each record the batches and lots it is about and the harness parts they reach, in a fixed number of queries."""
    ids: dict[str, set[int]] = {}
    for one in records:
        ids.setdefault(one.subject[0], set()).add(one.subject[1])
    batches: dict[tuple[str, int], set[int]] = {("batch", pk): {pk} for pk in ids.get("batch", ())}
    lots: dict[tuple[str, int], set[int]] = {("harness lot", pk): {pk} for pk in ids.get("harness lot", ())}
    jobs: dict[tuple[str, int], set[str]] = {}

    def put(into: dict[tuple[str, int], set[Any]], kind: str, pairs: Iterable[tuple[int, Any]]) -> None:
        for pk, found in pairs:
            into.setdefault((kind, pk), set()).add(found)

    sheets = SetupSheet.objects.filter(pk__in=ids.get("setup sheet", ()))
    put(jobs, "setup sheet", sheets.values_list("pk", "job__part_number"))
    put(batches, "setup sheet", Batch.objects.filter(termination__sheet__in=sheets).values_list("termination__sheet", "pk"))
    put(lots, "shipment", Shipment.objects.filter(pk__in=ids.get("shipment", ())).exclude(lots=None).values_list("pk", "lots"))
    for kind, column in (("wire-lots", "wire_lot"), ("terminal-lots", "terminal_lot")):
        loaded = LoadedLot.objects.filter(**{f"{column}__in": ids.get(kind, ())}).order_by()
        put(batches, kind, loaded.values_list(column, "batch"))
    cases = Suspect.objects.filter(case__in=ids.get("containment case", ())).order_by()
    put(batches, "containment case", cases.exclude(batch=None).values_list("case", "batch"))
    put(lots, "containment case", cases.exclude(lot=None).values_list("case", "lot"))

    about = Nonconformance.objects.filter(pk__in=ids.get("nonconformance", ())).order_by()
    put(batches, "nonconformance", about.exclude(batch=None).values_list("pk", "batch"))
    links = NonconformanceLink.objects.filter(nonconformance__in=about).order_by()
    put(batches, "nonconformance", links.filter(kind=LinkKind.BATCH).values_list("nonconformance", "subject_id"))
    put(lots, "nonconformance", links.filter(kind=LinkKind.LOT).values_list("nonconformance", "subject_id"))

    # Batches of the lots themselves and of every lot behind them, then every lot that any of these batches went into.
    named = {lot for found in lots.values() for lot in found}
    inner: dict[int, set[int]] = {}
    for part in parts_behind(named):
        inner.setdefault(part.lot_id, set()).add(part.used_id)
    inside = {lot: _closure({lot}, inner) for lot in named}
    of_lot: dict[int, set[int]] = {}
    for lot, batch in HarnessLotBatch.objects.filter(lot__in={x for found in inside.values() for x in found}).values_list("lot", "batch"):
        of_lot.setdefault(lot, set()).add(batch)
    for subject, found in lots.items():
        within = {x for lot in found for x in inside[lot]}
        batches.setdefault(subject, set()).update(b for lot in within for b in of_lot.get(lot, ()))
    every = {batch for found in batches.values() for batch in found}
    into: dict[int, set[int]] = {}
    for batch, lot in HarnessLotBatch.objects.filter(batch__in=every).values_list("batch", "lot"):
        into.setdefault(batch, set()).add(lot)
    onward: dict[int, set[int]] = {}
    for part in parts_ahead({lot for found in into.values() for lot in found} | named):
        onward.setdefault(part.used_id, set()).add(part.lot_id)
    part_of_batch = dict(Batch.objects.filter(pk__in=every).values_list("pk", "termination__sheet__job__part_number"))
    all_lots = _closure({lot for found in into.values() for lot in found} | named, onward)
    part_of_lot = dict(HarnessLot.objects.filter(pk__in=all_lots).values_list("pk", "job__part_number"))

    answer = {}
    for one in records:
        own = batches.get(one.subject, set())
        reached = _closure({lot for batch in own for lot in into.get(batch, ())} | lots.get(one.subject, set()), onward)
        parts = {part_of_batch[b] for b in own} | {part_of_lot[lot] for lot in reached} | jobs.get(one.subject, set())
        answer[one] = Behind(frozenset(own), frozenset(reached), frozenset(parts))
    return answer


def _closure(first: set[int], edges: dict[int, set[int]]) -> set[int]:
    """These, and all that can be reached from them."""
    seen, queue = set(first), list(first)
    while queue:
        for further in edges.get(queue.pop(), ()):
            if further not in seen:
                seen.add(further)
                queue.append(further)
    return seen


def last_of_parts(parts: Iterable[str]) -> dict[str, datetime | None]:
    """When each harness part was last ordered, made or shipped; None while a batch of it is open."""
    wanted = set(parts)
    last: dict[str, datetime | None] = {}
    of_job = "termination__sheet__job__part_number"
    sources: list[tuple[QuerySet[Any], str, str]] = [
        (Job.objects.filter(part_number__in=wanted), "part_number", "opened_at"),
        (Batch.objects.filter(**{f"{of_job}__in": wanted}), of_job, "closed_at"),
        (HarnessLot.objects.filter(job__part_number__in=wanted), "job__part_number", "built_at"),
        (Shipment.objects.filter(lots__job__part_number__in=wanted), "lots__job__part_number", "shipped_at"),
    ]
    for rows, part, moment in sources:
        for name, newest in rows.order_by().values_list(part).annotate(newest=Max(moment)):
            before = last.get(name)
            last[name] = newest if before is None else max(before, newest or before)
    for name in Batch.objects.filter(**{f"{of_job}__in": wanted}, closed_at=None).order_by().values_list(of_job, flat=True).distinct():
        last[name] = None
    return last


def _over(records: Sequence[Kept]) -> dict[tuple[str, int], datetime | None]:
    """When the thing a record is about came to its end: a batch closed, a sheet or document out of force."""
    ids: dict[str, set[int]] = {}
    for one in records:
        ids.setdefault(one.subject[0], set()).add(one.subject[1])
    over: dict[tuple[str, int], datetime | None] = {}
    for pk, at in Batch.objects.filter(pk__in=ids.get("batch", ())).values_list("pk", "closed_at"):
        over["batch", pk] = at
    for pk, at in SetupSheet.objects.filter(pk__in=ids.get("setup sheet", ())).values_list("pk", "superseded_by__released_at"):
        over["setup sheet", pk] = at
    withdrawn = LedgerEntry.objects.filter(kind="sheet.withdrawn", subject_kind="setup sheet", subject_id__in=ids.get("setup sheet", ()))
    over |= {("setup sheet", pk): at for pk, at in withdrawn.values_list("subject_id", "at")}
    for pk, day in Document.objects.filter(pk__in=ids.get("documents", ())).values_list("pk", "withdrawn_on"):
        over["documents", pk] = midnight(day) if day else None
    return over


def _begins(rule: RetentionRule, records: Sequence[Kept], behind: dict[Kept, Behind]) -> dict[Kept, datetime | None]:
    """When the time of each record began; None while it has not. Never before its file was made."""
    if rule.after == After.MADE:
        return {one: one.made_at for one in records}
    if rule.after == After.OVER:
        ends = _over(records)
        moments = {one: ends.get(one.subject) for one in records}
    else:
        last = last_of_parts(part for one in records for part in behind[one].parts)
        # What no harness part stands behind counts from the day it was made.
        moments = {one: _latest([last.get(p) for p in behind[one].parts]) if behind[one].parts else one.made_at for one in records}
    return {one: None if moment is None else max(moment, one.made_at) for one, moment in moments.items()}


def _latest(moments: Sequence[datetime | None]) -> datetime | None:
    known = [moment for moment in moments if moment is not None]
    return max(known) if known and len(known) == len(moments) else None


# --- What forbids it ----------------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Assessed:
    """A record with the day from which on it may go (None: its time has not begun), and what forbids it."""

    kept: Kept
    due_on: date | None
    findings: tuple[Finding, ...] = ()

    def is_due(self, today: date) -> bool:
        return self.due_on is not None and self.due_on <= today

    @property
    def is_held(self) -> bool:
        return any(finding.rule == "keeping.legal_hold" for finding in self.findings)


def assess(rule: RetentionRule, records: Sequence[Kept], at: datetime, holds: Sequence[Covered] | None = None) -> list[Assessed]:
    """Each record under this rule: whether it is due, and everything that forbids its disposal."""
    known, today = covering() if holds is None else holds, shop_day(at)
    behind = behind_all(records)
    begins = _begins(rule, records, behind)
    forbids = _Forbids(records, behind, today)
    answer = []
    for one in records:
        began = begins[one]
        findings = []
        day = None if rule.years is None or began is None else due_on(shop_day(began), rule.years)
        if began is None:
            findings.append(misfit("keeping.running", name=one.name))
        elif day is None:
            findings.append(misfit("keeping.not_due", name=one.name, until="for good"))
        elif day > today:
            findings.append(misfit("keeping.not_due", name=one.name, until=day.isoformat()))
        findings += [misfit("keeping.legal_hold", name=one.name, hold=c.hold.number) for c in known if c.covers(*one.subject, one.made_at)]
        findings += forbids.of(one)
        answer.append(Assessed(one, day, tuple(findings)))
    return answer


class _Forbids:
    """What is being looked into or still needed, read once for many records."""

    def __init__(self, records: Sequence[Kept], behind: dict[Kept, Behind], today: date) -> None:
        self._behind, self._today = behind, today
        batches = {b for one in records for b in behind[one].batches}
        lots = {lot for one in records for lot in behind[one].lots}
        self._open_batches = set(Batch.objects.filter(pk__in=batches, closed_at=None).values_list("pk", flat=True))
        holds = Hold.objects.filter(batch__in=batches, decided_at=None).order_by()
        self._held = {batch: f"a hold on batch {number}" for batch, number in holds.values_list("batch", "batch__number")}
        open_cases = Suspect.objects.filter(case__closed_at=None).order_by()
        self._case_of_batch = dict(open_cases.filter(batch__in=batches).values_list("batch", "case__number"))
        self._case_of_lot = dict(open_cases.filter(lot__in=lots).values_list("lot", "case__number"))
        self._open_cases = dict(open_cases.values_list("case", "case__number"))
        self._nonconformances = _open_nonconformances(batches, lots)
        left = harnesses_left_of(HarnessLot.objects.filter(pk__in=lots))
        self._in_stock = {lot for lot, n in left.items() if n > 0}
        self._needed = self._reasons(records)

    def of(self, one: Kept) -> list[Finding]:
        behind = self._behind[one]
        cases = {f"containment case {self._case_of_batch[b]}" for b in behind.batches if b in self._case_of_batch}
        cases |= {f"containment case {self._case_of_lot[lot]}" for lot in behind.lots if lot in self._case_of_lot}
        cases |= {self._held[b] for b in behind.batches if b in self._held}
        about = {one.subject, *(("batch", b) for b in behind.batches), *(("harness lot", lot) for lot in behind.lots)}
        cases |= {f"nonconformance {number}" for thing in about for number in self._nonconformances.get(thing, ())}
        if one.subject[0] == "containment case" and one.subject[1] in self._open_cases:
            cases.add(f"containment case {self._open_cases[one.subject[1]]}")
        findings = [misfit("keeping.open_case", name=one.name, case=case) for case in sorted(cases)]
        reasons = [self._needed[one.subject]] if one.subject in self._needed and not one.is_copy else []
        if not one.is_copy:
            if not self._open_batches.isdisjoint(behind.batches):
                reasons.append("a batch behind it is not closed")
            if not self._in_stock.isdisjoint(behind.lots):
                reasons.append("harnesses of a lot behind it are in stock")
        return findings + [misfit("keeping.in_use", name=one.name, why=why) for why in reasons]

    def _reasons(self, records: Sequence[Kept]) -> dict[tuple[str, int], str]:
        ids: dict[str, set[int]] = {}
        for one in records:
            ids.setdefault(one.subject[0], set()).add(one.subject[1])
        live = (SheetStatus.DRAFT, SheetStatus.IN_REVIEW, SheetStatus.RELEASED)
        gone = (LotState.USED_UP, LotState.RETURNED)
        in_use: list[tuple[str, QuerySet[Any], str]] = [
            ("setup sheet", SetupSheet.objects.filter(status__in=live), "the sheet is in force"),
            ("wire-lots", WireLot.objects.exclude(state__in=gone), "the wire lot is not used up"),
            ("terminal-lots", TerminalLot.objects.exclude(state__in=gone), "the terminal lot is not used up"),
            ("tools", Tool.objects.exclude(state=ToolState.RETIRED), "the tool is not retired"),
            ("gauges", Gauge.objects.exclude(state=GaugeState.RETIRED), "the gauge is not retired"),
            ("import", ImportRun.objects.exclude(state__in=(ImportState.DONE, ImportState.REFUSED)), "the import is not over"),
        ]
        needed = {
            (kind, pk): why
            for kind, rows, why in in_use
            if kind in ids
            for pk in rows.filter(pk__in=ids[kind]).order_by().values_list("pk", flat=True)
        }
        newest = Calibration.objects.exclude(gauge__state=GaugeState.RETIRED).order_by("gauge", "-calibrated_on", "-pk")
        if "calibrations" in ids:
            seen: set[int] = set()
            for pk, gauge in newest.values_list("pk", "gauge"):
                if gauge not in seen and pk in ids["calibrations"]:
                    needed["calibrations", pk] = "it is the newest calibration of a gauge in use"
                seen.add(gauge)
        for document in Document.objects.filter(pk__in=ids.get("documents", ())):
            if sheets_relying_on(document).exists() or specifications_relying_on(document, self._today).exists():
                needed["documents", document.pk] = "sheets or specifications in force rely on it"
        return needed


def _open_nonconformances(batches: Iterable[int], lots: Iterable[int]) -> dict[tuple[str, int], set[str]]:
    """Numbers of the open ones by the things they are about, as the ledger names these."""
    found: dict[tuple[str, int], set[str]] = {}
    rows = Nonconformance.objects.filter(state=NonconformanceState.OPEN).order_by()
    columns = {"pk": "nonconformance", "batch": "batch", "terminal_lot": "terminal-lots", "wire_lot": "wire-lots", "tool": "tools"}
    for column, kind in columns.items():
        named = rows.filter(batch__in=batches) if column == "batch" else rows.exclude(**{column: None})
        for pk, number in named.values_list(column, "number"):
            found.setdefault((kind, pk), set()).add(number)
    links = NonconformanceLink.objects.filter(nonconformance__state=NonconformanceState.OPEN).order_by()
    of_many = {LinkKind.BATCH: batches, LinkKind.LOT: lots}
    for link_kind in (LinkKind.BATCH, LinkKind.LOT, LinkKind.SHIPMENT, LinkKind.CASE):
        named_by = links.filter(kind=link_kind, subject_id__in=of_many[link_kind]) if link_kind in of_many else links.filter(kind=link_kind)
        for pk, number in named_by.values_list("subject_id", "nonconformance__number"):
            found.setdefault((link_kind.value, pk), set()).add(number)
    return found


# --- Proposals ------------------------------------------------------------------------------------------------------------------------


@dataclass(slots=True)
class Proposal:
    """What is due of one kind. due: free to go; held: due, but on legal hold; others: due, but forbidden otherwise.

    is_cut: there may be more than was looked at.
    """

    kind: str
    rule: RetentionRule | None
    due: list[Assessed] = field(default_factory=list)
    held: list[Assessed] = field(default_factory=list)
    others: list[Assessed] = field(default_factory=list)
    is_cut: bool = False


def proposal(kind: str, at: datetime, *, rule: RetentionRule | None, holds: Sequence[Covered]) -> Proposal:
    """The oldest records of a kind that are due."""
    answer = Proposal(kind, rule)
    if rule is None or rule.years is None:
        return answer
    today = shop_day(at)
    before = midnight(date(max(today.year - rule.years, 1), 1, 1))
    rows, looked_at = records_of(kind, before=before), 0
    while chunk := list(islice(rows, CHUNK)):
        for one in assess(rule, chunk, at, holds):
            if one.is_due(today):
                (answer.held if one.is_held else answer.others if one.findings else answer.due).append(one)
        looked_at += len(chunk)
        if len(answer.due) >= MOST or looked_at >= MOST_LOOKED_AT:
            answer.is_cut = next(rows, None) is not None or len(answer.due) > MOST
            del answer.due[MOST:]
            break
    return answer
