"""Fills the station pack: batches in work, what may be started, labels that would be accepted, people.

A fixed number of queries, however many batches.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass
from datetime import date, datetime
from decimal import Decimal

from django.db.models import Count, Prefetch, Q, Sum

from inspection.acts.batches import pieces_taken, place_made
from inspection.acts.offline import ticket_for
from inspection.batch_models import LoadedLot
from inspection.control import ChartSignal
from inspection.deciding import COVERAGE, rule_in_force
from inspection.guard_band import GuardRule, Inapplicable, RuleDoesNotApply, zone
from inspection.models import IN_WORK, Batch, Hold, PullTest, Reading, Sample, SampleState, VisualFinding
from inspection.pack import (
    SHAPE,
    Pack,
    PackBatch,
    PackCode,
    PackCriterion,
    PackLine,
    PackPerson,
    PackQueued,
    PackSample,
    PackScan,
    PackSlot,
    PackTermination,
    PackValue,
    PackZone,
    version_of,
)
from inspection.plan import limits_of
from inspection.set_up import current_scans, gauges_needed, read_scans, tool_findings
from inspection.values_words import HOW, UNITS
from inspection.verdict import Limits
from shop.characteristics import MEASURED, Characteristic
from shop.clock import shop_day
from shop.criteria import cross_sections, is_cross_section
from shop.jobs import SheetStatus, Termination
from shop.materials import LotState, TerminalLot, WireLot
from shop.people import Person, Process
from shop.permissions import PERMITTED, Deed
from shop.plan_lines import plan_criteria, plan_lines
from shop.tools import Calibration, CalibrationResult, Gauge, GaugeState

MOST_BATCHES = 40
MOST_TERMINATIONS = 60
MOST_LOTS = 400
"""As much as a tablet carries: a queue longer than a day is of no use without the network (our own choice)."""


@dataclass(frozen=True, slots=True)
class _Usable:
    """A gauge that may be used today, with the calibration that says so."""

    gauge: Gauge
    calibration: Calibration


@dataclass(frozen=True, slots=True)
class _Stock:
    """Everything a label could stand for, read once."""

    gauges: Mapping[str, list[_Usable]]
    wire_lots: Mapping[int, list[WireLot]]
    terminal_lots: Mapping[int, list[TerminalLot]]


def station_pack(person: Person, at: datetime, *, batches_only: Q | None = None, terminations_only: Q | None = None) -> Pack:
    """What this person's tablet needs; the two conditions narrow it to a station."""
    on = shop_day(at)
    batches = _batches(batches_only or Q())
    known = {batch.termination_id: batch.termination for batch in batches}
    queued = _queued(terminations_only or Q())
    for one, _left in queued:
        known.setdefault(one.pk, one)
    stock = _stock(list(known.values()), on)
    terminations = tuple(_termination(t, stock, on) for t in known.values())
    packed = tuple(_packed(batches))
    queue = tuple(PackQueued(t.pk, left) for t, left in queued)
    people = tuple(_people(on))
    parts = [[asdict(one) for one in group] for group in (packed, queue, terminations, people)]
    return Pack(
        shape=SHAPE,
        version=version_of(SHAPE, person.username, on, *parts),  # a day's pack: its ticket grows old
        made_at=at.isoformat(),
        person=person.username,
        ticket=ticket_for(person),
        batches=packed,
        queue=queue,
        terminations=terminations,
        people=people,
    )


# --- Batches ----------------------------------------------------------------------------------------------------------------------

TERMINATION = ("sheet__job", "tool", "press", "terminal", "specification")


def _batches(only: Q) -> list[Batch]:
    samples = Sample.objects.select_related("taken_by").prefetch_related(
        Prefetch("readings", Reading.objects.filter(corrected_by__isnull=True)),
        Prefetch("pull_tests", PullTest.objects.filter(corrected_by__isnull=True)),
        Prefetch("visual_findings", VisualFinding.objects.filter(corrected_by__isnull=True)),
    )
    rows = (
        Batch.objects.filter(only, status__in=IN_WORK)
        .select_related(*(f"termination__{path}" for path in TERMINATION))
        .prefetch_related(
            "termination__termination_wires__wire",
            "termination__plan_lines",
            Prefetch("samples", samples),
            Prefetch("holds", Hold.objects.filter(decided_at__isnull=True), to_attr="open_holds"),
            Prefetch(
                "loaded_lots",
                LoadedLot.objects.filter(to_count__isnull=True).select_related("wire_lot", "terminal_lot"),
                to_attr="loaded_now",
            ),
        )
        .order_by("opened_at")
    )
    batches: list[Batch] = list(rows[:MOST_BATCHES])
    read_scans(batches)
    return batches


def _packed(batches: list[Batch]) -> Iterable[PackBatch]:
    numbers = [batch.pk for batch in batches]
    signals = dict(
        ChartSignal.objects.filter(batch__in=numbers, reaction__isnull=True, limits__ended_at__isnull=True)
        .values_list("batch")
        .annotate(n=Count("pk"))
        .order_by()
    )
    decided = {
        batch: (scrapped or 0, kept or 0)
        for batch, scrapped, kept in Hold.objects.filter(batch__in=numbers)
        .values_list("batch")
        .annotate(s=Sum("scrapped"), k=Sum("kept_held"))
        .order_by()
    }
    for batch in batches:
        samples = sorted(batch.samples.all(), key=lambda s: s.number)
        good = max((s for s in samples if s.state == SampleState.ACCEPTED), key=lambda s: (s.at_count, s.number), default=None)
        holds, loaded = getattr(batch, "open_holds", []), getattr(batch, "loaded_now", [])
        scrapped, kept = decided.get(batch.pk, (0, 0))
        yield PackBatch(
            number=batch.number,
            termination=batch.termination_id,
            status=batch.status,
            quantity=batch.quantity,
            last_count=batch.last_count,
            setup_number=batch.setup_number,
            last_good=good.at_count if good else 0,
            last_taken=good.taken_at.isoformat() if good else "",
            lots_ok=all(one.lot.state == LotState.RELEASED for one in loaded),
            signals=signals.get(batch.pk, 0),
            hold=holds[0].reason if holds else "",
            scans=tuple(PackScan(slot, scan.part, scan.code) for slot, scan in current_scans(batch).items()),
            samples=tuple(_sample(s) for s in samples),
            destroyed=sum(_destroyed(s) for s in samples),
            scrapped=scrapped,
            kept=kept,
        )


def _destroyed(sample: Sample) -> int:
    cut: int = sum(is_cross_section(v.criterion) for v in sample.visual_findings.all())
    compacted: int = sum(r.characteristic == Characteristic.COMPACTION for r in sample.readings.all())
    pulled = sum(1 for _pull in sample.pull_tests.all())
    return pulled + max(cut, compacted)


def _sample(s: Sample) -> PackSample:
    values = [PackValue(r.characteristic, r.piece, r.text, r.unit, r.outcome, "") for r in s.readings.all()]
    values += [PackValue(Characteristic.PULL_FORCE.value, p.piece, p.text, p.unit, p.outcome, p.mode) for p in s.pull_tests.all()]
    return PackSample(
        number=s.number,
        kind=s.kind,
        setup_number=s.setup_number,
        at_count=s.at_count,
        state=s.state,
        taken_by=s.taken_by.username,
        taken_at=s.taken_at.isoformat(),
        values=tuple(values),
        looked=tuple((v.criterion, v.accepted) for v in s.visual_findings.all()),
    )


def _queued(only: Q) -> list[tuple[Termination, int]]:
    rows = list(
        Termination.objects.filter(only, sheet__status=SheetStatus.RELEASED)
        .select_related(*TERMINATION)
        .prefetch_related("termination_wires__wire", "plan_lines")
        .order_by("tool__asset_number", "setting", "sheet__job__due_on", "sheet__number", "position")
    )
    taken = pieces_taken(rows)
    left = [(t, t.quantity - taken.get(place_made(t), 0)) for t in rows]
    return [(t, n) for t, n in left if n > 0][:MOST_TERMINATIONS]


# --- Terminations -----------------------------------------------------------------------------------------------------------------


def _stock(terminations: list[Termination], on: date) -> _Stock:
    kinds = {kind for t in terminations for kind in gauges_needed(t)}
    wires = {w.pk for t in terminations for w in t.ordered_wires()}
    gauges: dict[str, list[_Usable]] = {}
    rows = Gauge.objects.filter(kind__in=kinds, state=GaugeState.AVAILABLE)
    newest = Prefetch(
        "calibrations", Calibration.objects.filter(calibrated_on__lte=on).order_by("-calibrated_on", "-pk"), to_attr="until_today"
    )
    for gauge in rows.prefetch_related(newest):
        made: list[Calibration] = getattr(gauge, "until_today", [])
        if made and made[0].due_on >= on and made[0].result != CalibrationResult.OUT_OF_TOLERANCE:
            gauges.setdefault(gauge.kind, []).append(_Usable(gauge, made[0]))
    wire_lots: dict[int, list[WireLot]] = {}
    for lot in WireLot.objects.usable(on).filter(wire__in=wires).select_related("wire")[:MOST_LOTS]:
        wire_lots.setdefault(lot.wire_id, []).append(lot)
    terminal_lots: dict[int, list[TerminalLot]] = {}
    wanted = {t.terminal_id for t in terminations}
    for reel in TerminalLot.objects.usable(on).filter(terminal__in=wanted).select_related("terminal")[:MOST_LOTS]:
        terminal_lots.setdefault(reel.terminal_id, []).append(reel)
    return _Stock(gauges, wire_lots, terminal_lots)


def _termination(t: Termination, stock: _Stock, on: date) -> PackTermination:
    lines = tuple(_lines(t, stock))
    cut = cross_sections(t.cross_sections)
    criteria = [PackCriterion(c.code, c.title, c.accept, c.reject, is_cross_section(c.code)) for c in (*plan_criteria(t), *cut)]
    return PackTermination(
        pk=t.pk,
        job=t.sheet.job.number,
        sheet=str(t.sheet),
        sheet_state=t.sheet.status,
        lead=t.lead,
        end=t.end,
        tool=t.tool.asset_number if t.tool else "",
        tool_kind=t.tool.kind if t.tool else "",
        setting=t.setting,
        terminal=t.terminal.part_number,
        wires=tuple(f"{w.part_number} {w.colour}".strip() for w in t.ordered_wires()),
        inspector_signs=t.inspector_signs,
        sample_every=t.sample_every,
        sample_every_minutes=t.sample_every_minutes,
        first_pieces=max(t.first_piece_heights, t.first_piece_pulls),
        lines=lines,
        criteria=tuple(criteria),
        slots=tuple(_slots(t)),
        codes=tuple(_codes(t, stock, on)),
    )


def _lines(t: Termination, stock: _Stock) -> Iterable[PackLine]:
    for line in plan_lines(t):
        limits = limits_of(t, line.characteristic)
        if limits is None:
            continue
        quantity = MEASURED[line.characteristic].quantity
        yield PackLine(
            characteristic=line.characteristic,
            name=str(Characteristic(line.characteristic).label),
            quantity=quantity,
            unit=line.unit,
            units=UNITS[quantity],
            how=str(HOW[line.characteristic]),
            gauge_kind=line.gauge_kind,
            low=_number(limits.low),
            nominal=_number(limits.nominal),
            high=_number(limits.high),
            first=line.first,
            sample=line.sample,
            last=line.last,
            every_nth=line.every_nth,
            zones=tuple(_zone(limits, line.unit, one) for one in stock.gauges.get(line.gauge_kind, ())),
        )


def zone_with(limits: Limits, unit: str, gauge: Gauge, calibration: Calibration) -> PackZone:
    """How readings with this one gauge are decided."""
    return _zone(limits, unit, _Usable(gauge, calibration))


def _zone(limits: Limits, unit: str, one: _Usable) -> PackZone:
    """The same decision as `inspection.deciding.decided` takes with this gauge."""
    rule = rule_in_force() if one.gauge.unit == unit else GuardRule.SIMPLE
    stated = one.calibration.expanded_uncertainty
    u = None if stated is None or rule is GuardRule.SIMPLE else stated / COVERAGE
    refused = ""
    try:
        within = zone(limits, rule, u, k=COVERAGE)
    except RuleDoesNotApply as error:
        within = zone(limits, GuardRule.SIMPLE)
        if error.reason is not Inapplicable.ONE_LIMIT:
            refused = error.reason.value
    return PackZone(
        gauge=one.gauge.asset_number,
        rule=within.rule.value,
        guard_band=format(within.guard_band, "f"),
        proven_low=_number(within.proven_low),
        proven_high=_number(within.proven_high),
        reject_below=_number(within.reject_below),
        reject_above=_number(within.reject_above),
        nothing_proven=within.nothing_proven,
        refused=refused,
    )


def _number(value: Decimal | None) -> str | None:
    return None if value is None else format(value, "f")


def _slots(t: Termination) -> Iterable[PackSlot]:
    """The places of the set-up check that are scanned, as `inspection.set_up.six_parts` names them."""
    yield PackSlot("tool", "tool", f"tool {t.tool.asset_number if t.tool else '?'}")
    if t.press is not None:
        yield PackSlot("tool", "press", f"press {t.press.asset_number}")
    yield PackSlot("terminal", "terminal", f"reel of {t.terminal.part_number}")
    for part in dict.fromkeys(w.part_number for w in t.ordered_wires()):
        yield PackSlot("wire", f"wire {part}", f"spool of {part}")
    for kind in gauges_needed(t):
        yield PackSlot("inspection", f"gauge {kind}", kind)


def _codes(t: Termination, stock: _Stock, on: date) -> Iterable[PackCode]:
    if t.tool is not None and not any(f.blocks for f in tool_findings(t.tool, t, on)):
        yield PackCode(t.tool.asset_number, "tool", "tool", t.tool.asset_number, t.setting)
    if t.press is not None and t.press.state == "available":
        yield PackCode(t.press.asset_number, "tool", "press", t.press.asset_number, "")
    for reel in stock.terminal_lots.get(t.terminal_id, ()):
        yield PackCode(reel.lot_number, "terminal", "terminal", t.terminal.part_number, "")
    for wire in {w.pk: w for w in t.ordered_wires()}.values():
        for lot in stock.wire_lots.get(wire.pk, ()):
            yield PackCode(lot.lot_number, "wire", f"wire {wire.part_number}", wire.part_number, "")
    for kind in gauges_needed(t):
        for one in stock.gauges.get(kind, ()):
            yield PackCode(one.gauge.asset_number, "inspection", f"gauge {kind}", kind, one.calibration.due_on.isoformat())


# --- People -----------------------------------------------------------------------------------------------------------------------

SHOWN_PROCESSES = (Process.CRIMP, Process.INSPECT, Process.PULL_TEST, Process.CROSS_SECTION)


def _people(on: date) -> Iterable[PackPerson]:
    rows = Person.objects.filter(is_active=True).prefetch_related("person_roles", "qualifications").order_by("username")
    for person in rows:
        run = not PERMITTED[Deed.RUN_BATCH].isdisjoint(person.roles)
        countersign = not PERMITTED[Deed.COUNTERSIGN].isdisjoint(person.roles)
        if not (run or countersign):
            continue
        until: dict[str, str] = {}
        for q in person.qualifications.all():
            if q.is_current(on) and q.process in SHOWN_PROCESSES:
                ends = q.expires_on.isoformat() if q.expires_on else ""
                name = f"{q.process} {q.tool_kind}".strip()
                if name not in until or (until[name] and (not ends or ends > until[name])):
                    until[name] = ends
        yield PackPerson(person.username, person.badge or person.username, person.name, run, countersign, until)
