"""What operators do with a batch: open it, prove the set-up scan by scan, close it with balanced counts."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from django.db import transaction
from django.db.models import Case, F, Max, QuerySet, Sum, When
from django.db.models.functions import Coalesce

from inspection.contents import counts_content, set_up_content
from inspection.events import BatchClosed, BatchOpened, SetUpChanged, SetUpProven
from inspection.models import (
    Batch,
    BatchStatus,
    ClaimedSignature,
    Disposition,
    DispositionKind,
    Hold,
    LoadedLot,
    OfflineAct,
    PullTest,
    Reading,
    SetupPart,
    SetupScan,
    VisualFinding,
)
from inspection.scanning import found_for
from inspection.set_up import (
    Thing,
    answer,
    current_scans,
    document_findings,
    findings_from_text,
    findings_read,
    findings_text,
    gauge_findings,
    gauges_needed,
    lot_findings,
    narrowest_tolerance,
    person_findings,
    press_findings,
    qualification_in_force,
    six_parts,
    slot_of,
    tool_findings,
)
from inspection.tasks import forecast_tool_wear
from shop.acts.concessions import concession_numbers, lot_concessions, quantity_findings, use_concessions
from shop.characteristics import Characteristic
from shop.clock import shop_day
from shop.composed import AnyOf, Composed
from shop.concessions import Concession
from shop.crib import Press
from shop.criteria import CROSS_SECTION
from shop.events import Signing, publish
from shop.finding import Finding, Verdict, misfit, refuse_if
from shop.jobs import SetupSheet, Termination
from shop.materials import TerminalLot, WireLot
from shop.people import Person, Process
from shop.permissions import Deed, permission_findings
from shop.planning import conceded, concessions_on, live_concessions, termination_findings
from shop.sign_on import signing_findings
from shop.tools import Gauge, Tool
from shop.validation import clean

CLOSED_MEANING = "batch closed, counts balanced"


# What the plan asks about specification and document, a start asks of the very ones the sheet was released on.
ASKED_AS_DOCUMENTS = frozenset({"fit.spec.not_in_force", "fit.spec.document_withdrawn"})


def batch_subject(batch: Batch) -> tuple[str, int, str]:
    return ("batch", batch.pk, batch.number)


def status_findings(batch: Batch, *needed: BatchStatus) -> list[Finding]:
    if batch.status in needed:
        return []
    return [misfit("batch.status", batch=batch.number, status=batch.status, needed=" or ".join(s.value for s in needed))]


def operator_findings(by: Person, termination: Termination, at: datetime) -> list[Finding]:
    """The person may run batches and is qualified for this kind of tool today."""
    kind = termination.tool.kind if termination.tool else None
    return [*permission_findings(by, Deed.RUN_BATCH), *person_findings(by, Process.CRIMP, kind, shop_day(at))]


Place = tuple[str, str, str]


def place_made(t: Termination) -> Place:
    """What makes terminations of different revisions the same one: sheet number, lead, end."""
    return (t.sheet.number, t.lead, t.end)


def pieces_taken(terminations: Iterable[Termination]) -> dict[Place, int]:
    """Pieces that batches have made or are planned to make, by place, whatever revision they ran on; two queries for all."""
    numbers = {t.sheet.number for t in terminations}
    taken: dict[Place, int] = {}
    of_batch = Case(When(status=BatchStatus.CLOSED, then=Coalesce("good", 0)), default="quantity")
    as_is = Disposition.objects.filter(batch__termination__sheet__number__in=numbers, kind=DispositionKind.USE_AS_IS)
    sums: list[tuple[str, QuerySet[Any], Any]] = [
        ("", Batch.objects.filter(termination__sheet__number__in=numbers), of_batch),
        ("batch__", as_is, "quantity"),
    ]
    for way, rows, pieces in sums:
        place = (f"{way}termination__sheet__number", f"{way}termination__lead", f"{way}termination__end")
        for number, lead, end, n in rows.order_by().values_list(*place).annotate(n=Sum(pieces)):
            taken[number, lead, end] = taken.get((number, lead, end), 0) + n
    return taken


def pieces_open(termination: Termination) -> int:
    """Pieces of the termination still to be started."""
    return termination.quantity - pieces_taken([termination]).get(place_made(termination), 0)


def open_batch(*, termination: Termination, quantity: int, by: Person, at: datetime) -> Batch:
    """Begin a batch on a released sheet. People and documents are held against the rules at once; the rest is scanned."""
    with transaction.atomic():
        # The sheet is locked first: it must not be superseded while a batch starts on it.
        SetupSheet.objects.select_for_update().get(pk=termination.sheet_id)
        termination = (
            Termination.objects.select_related("sheet__job", "tool", "terminal", "specification__document")
            .prefetch_related("termination_wires__wire")
            .get(pk=termination.pk)
        )
        on = shop_day(at)
        people = operator_findings(by, termination, at)
        granted = concessions_on(live_concessions([termination.sheet_id], on), termination)
        documents = conceded(document_findings(termination, on), granted)
        # The plan's rules once more: what fitted at the release may not fit the catalogue of today, and a concession may have ended.
        planned = [f for f in termination_findings(termination, on, concessions=granted) if f.rule not in ASKED_AS_DOCUMENTS]
        findings = people + documents + planned
        left = pieces_open(termination)
        if not 1 <= quantity <= left:
            findings.append(misfit("batch.quantity", "quantity", quantity=quantity, open=max(left, 0)))
        let_through = [f for f in (*documents, *planned) if f.verdict is Verdict.CONCEDED]
        refuse_if(findings + quantity_findings(concession_numbers(let_through), quantity))
        count = Batch.objects.filter(termination__sheet__number=termination.sheet.number).count()
        batch = Batch(
            number=f"{termination.sheet.number}-B{count + 1:02d}", termination=termination, quantity=quantity, opened_by=by, opened_at=at
        )
        clean(batch)
        batch.save(force_insert=True)
        _scan_row(
            batch,
            SetupPart.PEOPLE,
            by.badge or by.username,
            people,
            by,
            at,
            qualification=qualification_in_force(by, Process.CRIMP, termination.tool.kind if termination.tool else None, shop_day(at)),
        )
        own = [f for f in planned if f.verdict is Verdict.CONCEDED]
        _scan_row(batch, SetupPart.DOCUMENTS, str(termination.sheet), documents + own, by, at)
        content = {
            "batch": batch.number,
            "sheet": termination.sheet.number,
            "revision": termination.sheet.revision,
            "lead": termination.lead,
            "end": termination.end,
            "quantity": quantity,
        }
        publish(BatchOpened(by=by, at=at, subject=batch_subject(batch), content=content))
    return batch


def _scan_row(
    batch: Batch, part: SetupPart, code: str, findings: list[Finding], by: Person, at: datetime, at_count: int = 0, **thing: object
) -> SetupScan:
    return SetupScan.objects.create(
        batch=batch,
        setup_number=batch.setup_number,
        part=part,
        code=code,
        accepted=not any(f.blocks for f in findings),
        findings=findings_text(findings),
        at_count=at_count,
        by=by,
        at=at,
        **thing,
    )


@dataclass(frozen=True, slots=True)
class ScanAnswer:
    """What the tablet says at once: accepted or not, for which of the six parts, and every rule's answer.

    code: the shop's number of what was scanned. choices: the numbers one of which it is, where a person has to say which.
    """

    code: str
    part: str
    accepted: bool
    findings: tuple[Finding, ...]
    batch: Batch
    choices: tuple[str, ...] = ()


def scan(*, batch: Batch, code: str, by: Person, at: datetime, at_count: int | None = None) -> ScanAnswer:
    """Hold a scanned label against the released sheet, now. A refused scan is an answer and stays on record; it raises nothing.

    During the run a different tool, press, reel or spool ends the set-up: a new first piece has to prove it. at_count: pieces made so far.
    Raises Refused when the batch is not at a step where things are scanned, or the person may not run it.
    """
    with transaction.atomic():
        batch = locked_batch(batch)
        refuse_if(
            operator_findings(by, batch.termination, at)
            + status_findings(batch, BatchStatus.SET_UP, BatchStatus.FIRST_PIECE, BatchStatus.RUNNING)
        )
        at_count = batch.last_count if at_count is None else at_count
        if at_count < batch.last_count:
            refuse_if([misfit("batch.counts.below", "at_count", made=at_count, last=batch.last_count)])
        found = found_for(code)
        thing = found.thing
        labelled = found.label.expires_on(shop_day(at)) if found.label else None
        if thing is None and found.choices and labelled is not None and labelled < shop_day(at):
            # Whichever of them it is: chosen by the shop's number, it would come without what its label says.
            late = misfit("use.lot.shelf_life", "lot", lot=found.text, until=str(labelled), day=str(shop_day(at)))
            return ScanAnswer(found.text, "", False, (late,), batch, ())
        if thing is None:
            findings = (found.finding or misfit("scan.unknown", "code", code=found.text),)
            return ScanAnswer(found.text, "", False, findings, batch, tuple(lot.lot_number for lot in found.choices))
        code = str(thing)  # whatever label was scanned, the record names the thing by the shop's number
        part, judged, columns = _judge(thing, batch.termination, at, labelled)
        judged = conceded(judged, _concessions_for(thing, batch.termination, at))
        columns["scanned"] = found.text if found.text != code else ""
        before = {slot: s.code for slot, s in current_scans(batch).items()}
        row = _scan_row(batch, part, code, judged, by, at, at_count, **columns)
        if row.accepted:
            _take_up(batch, row, thing, before.get(slot_of(row)), by, at)
    return ScanAnswer(code, part, row.accepted, tuple(judged), batch)


def _judge(thing: Thing, t: Termination, at: datetime, labelled: date | None) -> tuple[SetupPart, list[Finding], dict[str, object]]:
    on = shop_day(at)
    if isinstance(thing, Tool):
        return SetupPart.TOOL, list(tool_findings(thing, t, on)), {"tool": thing}
    if isinstance(thing, Press):
        return SetupPart.TOOL, press_findings(thing, t, on), {"press": thing}
    if isinstance(thing, TerminalLot):
        return SetupPart.TERMINAL, list(lot_findings(thing, t, on, labelled=labelled)), {"terminal_lot": thing}
    if isinstance(thing, WireLot):
        return SetupPart.WIRE, list(lot_findings(thing, t, on, labelled=labelled)), {"wire_lot": thing}
    needed = gauges_needed(t)
    kind = answer("scan.gauge.kind", thing.kind in needed, "gauge", gauge=thing.asset_number, kind=thing.kind, needed=", ".join(needed))
    found = [kind, *gauge_findings(thing, narrowest_tolerance(t, thing.kind), on)]
    return SetupPart.INSPECTION, found, {"gauge": thing, "calibration": thing.calibration_in_force(on)}


def _concessions_for(thing: Thing, t: Termination, at: datetime) -> list[Concession]:
    """The live concessions that reach a scanned thing: those of its lot, of the termination and of the sheet."""
    on = shop_day(at)
    own = lot_concessions(thing, on) if isinstance(thing, WireLot | TerminalLot) else []
    return own + concessions_on(live_concessions([t.sheet_id], on), t)


_FINDINGS = Composed(
    lambda: SetupScan.objects.filter(AnyOf("batch", "batches"), accepted=True).order_by("pk").values_list("batch", "findings")
)
_LET_THROUGH = Composed(
    lambda: (
        Disposition.objects.filter(AnyOf("batch", "batches"), concession__isnull=False)
        .order_by("batch", "number")
        .values_list("batch", "concession__number")
    )
)


def concessions_used(batch: Batch) -> list[str]:
    """The numbers of the concessions under which a batch was set up, or held pieces of it are used as they are."""
    return concessions_used_in([batch])


def concessions_used_in(batches: Iterable[Batch]) -> list[str]:
    """The same for many batches, in their order, in two queries; in one after `read_scans`."""
    listed = list(batches)
    keys = [batch.pk for batch in listed]
    findings: dict[int, list[Finding]] = {}
    read = findings_read(listed)
    for pk, texts in _FINDINGS(batches=keys) if read is None else read:
        findings.setdefault(pk, []).extend(findings_from_text(texts))
    as_is: dict[int, list[str]] = {}
    for pk, number in _LET_THROUGH(batches=keys):
        as_is.setdefault(pk, []).append(number)
    return list(dict.fromkeys(number for pk in keys for number in [*concession_numbers(findings.get(pk, [])), *as_is.get(pk, [])]))


def _take_up(batch: Batch, row: SetupScan, thing: Thing, code_before: str | None, by: Person, at: datetime) -> None:
    """An accepted thing is in use from here on; what it replaces ends here."""
    changed = code_before is not None and code_before != row.code
    if isinstance(thing, WireLot | TerminalLot):
        _load(batch, row, thing, by, at)
    if isinstance(thing, Tool):
        batch.tool = thing
    batch.last_count = row.at_count
    was = batch.status
    if changed and was != BatchStatus.SET_UP and not isinstance(thing, Gauge):
        # After a change of tool, press, reel or spool a new first piece has to prove the set-up.
        batch.samples.filter(state="open").update(state="rejected", concluded_at=at)
        batch.setup_number += 1
        batch.status = BatchStatus.FIRST_PIECE
    proven = all(p.proven for p in six_parts(batch))
    if was == BatchStatus.SET_UP and proven:
        batch.status = BatchStatus.FIRST_PIECE
    batch.save(update_fields=["tool", "last_count", "setup_number", "status"])
    if was == BatchStatus.SET_UP and proven:
        publish(SetUpProven(by=by, at=at, subject=batch_subject(batch), content=set_up_content(batch)))
    elif changed and was != BatchStatus.SET_UP:
        content = {"from": code_before, "to": row.code, "at_count": row.at_count} | set_up_content(batch)
        publish(SetUpChanged(by=by, at=at, subject=batch_subject(batch), content=content))


def _load(batch: Batch, row: SetupScan, lot: WireLot | TerminalLot, by: Person, at: datetime) -> None:
    loaded = batch.loaded_lots.filter(to_count__isnull=True)
    same_slot = loaded.filter(wire_lot__wire=lot.wire) if isinstance(lot, WireLot) else loaded.filter(terminal_lot__isnull=False)
    if same_slot.filter(wire_lot=lot).exists() if isinstance(lot, WireLot) else same_slot.filter(terminal_lot=lot).exists():
        return  # the same label scanned again
    same_slot.update(to_count=row.at_count)
    LoadedLot.objects.create(
        batch=batch,
        wire_lot=lot if isinstance(lot, WireLot) else None,
        terminal_lot=lot if isinstance(lot, TerminalLot) else None,
        from_count=row.at_count,
        by=by,
        at=at,
    )


@dataclass(frozen=True, slots=True)
class Counts:
    """What became of the pieces of a batch."""

    made: int
    good: int
    scrap: int
    destroyed: int
    held: int


def pieces_tested(batch: Batch) -> int:
    """Pieces that pull tests and cross-sections destroyed. A correction is the same piece; a compaction is read off a section."""
    pulled = PullTest.objects.filter(sample__batch=batch).standing().count()
    looked = Counter(
        VisualFinding.objects.filter(sample__batch=batch, criterion__startswith=CROSS_SECTION).standing().values_list("sample", flat=True)
    )
    measured = Counter(
        Reading.objects.filter(sample__batch=batch, characteristic=Characteristic.COMPACTION).standing().values_list("sample", flat=True)
    )
    return int(pulled + (looked | measured).total())


def kept_on_hold(batch: Batch) -> int:
    return Hold.objects.filter(batch=batch).aggregate(n=Sum("kept_held"))["n"] or 0


def scrapped_by_decision(batch: Batch) -> int:
    return Hold.objects.filter(batch=batch).aggregate(n=Sum("scrapped"))["n"] or 0


def counts_findings(batch: Batch, counts: Counts) -> list[Finding]:
    """Made = good + scrap + destroyed + held, and nothing that was tested, scrapped or held goes missing."""
    found = []
    total = counts.good + counts.scrap + counts.destroyed + counts.held
    if total != counts.made or min(counts.made, counts.good, counts.scrap, counts.destroyed, counts.held) < 0:
        found.append(
            misfit(
                "batch.counts.balance",
                "made",
                made=counts.made,
                good=counts.good,
                scrap=counts.scrap,
                destroyed=counts.destroyed,
                held=counts.held,
                sum=total,
            )
        )
    last = max(batch.last_count, batch.samples.aggregate(n=Max("at_count"))["n"] or 0)
    if counts.made < last:
        found.append(misfit("batch.counts.below", "made", made=counts.made, last=last))
    tested, kept, scrapped = pieces_tested(batch), kept_on_hold(batch), scrapped_by_decision(batch)
    if counts.destroyed < tested:
        found.append(misfit("batch.counts.destroyed", "destroyed", destroyed=counts.destroyed, tested=tested))
    if counts.held != kept:
        found.append(misfit("batch.counts.held", "held", held=counts.held, kept=kept))
    if counts.scrap < scrapped:
        found.append(misfit("batch.counts.scrap", "scrap", scrap=counts.scrap, scrapped=scrapped))
    return found


def offline_findings(batch: Batch) -> list[Finding]:
    """Nothing of a tablet's time without network may be open when the counts are signed."""
    found = []
    claims = ClaimedSignature.objects.filter(sample__batch=batch, answer__isnull=True).select_related("person", "sample")
    if claims:
        names = ", ".join(f"{c.person.name}: {c.meaning}, {c.sample}" for c in claims)
        found.append(misfit("batch.unconfirmed", batch=batch.number, signatures=names))
    aside = OfflineAct.objects.filter(batch=batch, set_aside=True, decision__isnull=True).count()
    if aside:
        found.append(misfit("batch.undecided", batch=batch.number, acts=aside))
    return found


def close_batch(*, batch: Batch, counts: Counts, by: Person, at: datetime, signing: Signing) -> Batch:
    """Close a batch whose last piece is accepted (or that quality ended). The tool's counter grows by what was made."""
    with transaction.atomic():
        batch = locked_batch(batch)
        refuse_if(
            permission_findings(by, Deed.RUN_BATCH)
            + signing_findings(signing, by, CLOSED_MEANING)
            + status_findings(batch, BatchStatus.CLOSING)
            + counts_findings(batch, counts)
            + offline_findings(batch)
        )
        for name in ("made", "good", "scrap", "destroyed", "held"):
            setattr(batch, name, getattr(counts, name))
        batch.status, batch.closed_by, batch.closed_at, batch.last_count = BatchStatus.CLOSED, by, at, counts.made
        clean(batch)
        batch.save()
        batch.loaded_lots.filter(to_count__isnull=True).update(to_count=counts.made)
        if batch.tool_id:
            Tool.objects.filter(pk=batch.tool_id).update(crimp_count=F("crimp_count") + counts.made)
            tool = batch.tool_id
            transaction.on_commit(lambda: forecast_tool_wear.enqueue(tool, at.isoformat()), robust=True)
        use_concessions(concessions_used(batch), batch=batch.number, quantity=counts.good + counts.held, at=at)
        publish(BatchClosed(by=by, at=at, subject=batch_subject(batch), content=counts_content(batch), signing=signing))
    return batch


def locked_as_known(batch: Batch) -> Batch:
    """The batch as it is now, locked, with the termination that is known already: a released sheet never changes. For acts within a sample,
    which ask nothing else of tool, press and parts; `locked_batch` reads those anew."""
    known = Batch.termination.field.get_cached_value(batch, None)
    read = getattr(known, "_prefetched_objects_cache", {})
    if not isinstance(known, Termination) or not {"plan_lines", "termination_wires"} <= read.keys():
        return locked_batch(batch)
    fresh = Batch.objects.select_for_update().get(pk=batch.pk)
    if fresh.termination_id == known.pk:
        fresh.termination = known
    return fresh


def locked_batch(batch: Batch) -> Batch:
    """The batch as it is now, locked against other tablets, with what the rules need."""
    Batch.objects.select_for_update().get(pk=batch.pk)
    return (
        Batch.objects.select_related(
            "tool",
            "termination__sheet__job",
            "termination__tool",
            "termination__press",
            "termination__terminal",
            "termination__specification__document",
        )
        .prefetch_related("termination__termination_wires__wire", "termination__plan_lines")
        .get(pk=batch.pk)
    )
