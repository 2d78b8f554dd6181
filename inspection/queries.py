"""What the floor pages show: the queue at the station, the step a batch is at, its seals, its chart and when the next sample is due."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from decimal import Decimal
from urllib.parse import unquote, urlsplit

from django.db.models import OuterRef, Q, QuerySet, Subquery
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from inspection.acts.batches import pieces_taken, place_made
from inspection.acts.control import in_force
from inspection.acts.holds import last_good_count
from inspection.chart_svg import ChartPoint, ChartWords, run_chart
from inspection.models import IN_WORK, Batch, BatchStatus, Hold, Reading, Sample, SampleState, SetupScan
from inspection.plan import limits_of
from inspection.process.chart import ChartLimits
from inspection.set_up import PartState, findings_from_text, six_parts
from inspection.streams import Stream
from inspection.verdict import Limits, Outcome
from shop.characteristics import Characteristic
from shop.clock import shop_day
from shop.finding import Finding
from shop.jobs import ChartKind, SetupSheet, SheetStatus, Termination
from shop.people import Person, Qualification
from shop.scanned import NotALabel, read_scan
from shop.set_ups import SetUpKey, set_ups
from shop.stations import Station
from shop.templatetags.shop import spoken_figure
from shop.tools import Tool
from shop.wording import Worded, worded

QUEUE_LENGTH = 60
"""As many terminations as a queue shows at once; a scanned sheet or tool shows its own."""

EXPIRES_SOON_DAYS = 30


def open_batches() -> QuerySet[Batch]:
    """Batches with what every floor page needs of them."""
    return Batch.objects.select_related(
        "termination__sheet__job",
        "termination__tool",
        "termination__press",
        "termination__terminal",
        "termination__specification__document",
        "tool",
    ).prefetch_related("termination__termination_wires__wire", "termination__plan_lines")


# --- The step a batch is at ------------------------------------------------------------------------------------------------------


def step_url(batch: Batch) -> str:
    """The page of the step the batch is at."""
    sample = batch.samples.filter(state__in=[SampleState.OPEN, SampleState.WAITS_FOR_INSPECTOR]).first()
    if sample and batch.status in (BatchStatus.FIRST_PIECE, BatchStatus.RUNNING):
        name = "make:sample" if sample.state == SampleState.OPEN else "make:inspector"
        return reverse(name, args=[batch.number, sample.number])
    name = {
        BatchStatus.SET_UP.value: "make:set-up",
        BatchStatus.FIRST_PIECE.value: "make:first-piece",
        BatchStatus.RUNNING.value: "make:run",
        BatchStatus.ON_HOLD.value: "make:hold",
        BatchStatus.CLOSING.value: "make:close",
        BatchStatus.CLOSED.value: "make:closed",
    }[batch.status]
    return reverse(name, args=[batch.number])


def next_sample_due(batch: Batch, last_good: int | None = None) -> int:
    """The piece count at which the next in-process sample is due."""
    return (last_good_count(batch) if last_good is None else last_good) + batch.termination.sample_every


@dataclass(frozen=True, slots=True)
class Due:
    """When the next sample in process is due: at a count of pieces, and at a time where the plan asks by minutes; whichever is first.

    now: due already, by the count last stated or by the clock. overdue_at: from then on nobody can have overlooked it by a moment;
    pieces_over: how far beyond the count the batch is stated to be.
    """

    at_count: int
    at: datetime | None
    now: bool
    overdue_at: datetime | None = None
    pieces_over: int = 0
    is_overdue: bool = False


def sample_due(batch: Batch, on: datetime, *, last_good: int | None = None, last_taken: datetime | None = None) -> Due:
    """last_good, last_taken: of the newest accepted sample, where they were read already."""
    if last_good is None:
        newest = batch.samples.filter(state=SampleState.ACCEPTED).order_by("-at_count", "-number").first()
        last_good, last_taken = (newest.at_count, newest.taken_at) if newest else (0, None)
    count, minutes = next_sample_due(batch, last_good), batch.termination.sample_every_minutes
    at = last_taken + timedelta(minutes=minutes) if minutes and last_taken else None
    late = at + timedelta(minutes=min(max(minutes // 4, 2), 15)) if at and minutes else None
    over = max(batch.last_count - count, 0)
    is_overdue = over * 10 > batch.termination.sample_every or (late is not None and on >= late)
    return Due(count, at, batch.last_count >= count or (at is not None and on >= at), late, over, is_overdue)


# --- The six seals ---------------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Seal:
    """One of the six parts as the template shows it."""

    code: str
    name: str
    state: str
    state_word: str
    evidence: tuple[str, ...]


def seals_of(batch: Batch) -> list[Seal]:
    """The six parts of the present set-up. A part whose newest scan was refused, and that nothing else proves, has failed."""
    refused = {s.part for s in batch.scans.filter(accepted=False)}
    return [_seal(part, part.part in refused) for part in six_parts(batch)]


def _seal(part: PartState, was_refused: bool) -> Seal:
    held = "conceded" if part.is_conceded else "proven"
    state = held if part.proven else "failed" if was_refused and not part.scans else "open"
    word = {"proven": _("proven"), "conceded": _("conceded"), "failed": _("refused"), "open": _("open")}[state]
    names = {
        "people": _("People"),
        "wire": _("Wire"),
        "terminal": _("Terminal"),
        "tool": _("Tool"),
        "documents": _("Documents"),
        "inspection": _("Inspection"),
    }
    evidence = [evidence_line(scan) for scan in part.scans] + [_("missing: %s") % name for name in part.missing]
    return Seal(part.part, names[part.part], state, word, tuple(evidence))


def evidence_line(scan: SetupScan) -> str:
    """What an accepted scan proves, in a few words."""
    if scan.calibration:
        return _("%(code)s, due %(day)s") % {"code": scan.code, "day": scan.calibration.due_on}
    if scan.wire_lot:
        return f"{scan.code}, {scan.wire_lot.wire.part_number}"
    if scan.terminal_lot:
        return f"{scan.code}, {scan.terminal_lot.terminal.part_number}"
    return scan.by.name if scan.part == "people" else scan.code


def scan_findings(scan: SetupScan) -> list[Finding]:
    return findings_from_text(scan.findings)


# --- The station -----------------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class BatchInWork:
    number: str
    job: str
    name: str
    tool: str
    status: str
    outcome: str
    next_step: str
    count: int
    planned: int
    due: Due | None
    place: str = "current"  # or "held", or "inspector": for whom it waits
    held_because: str = ""
    suspect: int = 0


@dataclass(frozen=True, slots=True)
class QueuedTermination:
    pk: int
    job: str
    sheet: str
    name: str
    terminal: str
    wires: str
    setting: str
    pieces_open: int
    due: date | None


@dataclass(frozen=True, slots=True)
class QueuedSetUp:
    """Terminations that one set-up serves: no change and no first piece between them but the one that the lot asks for."""

    terminal: str
    wires: str
    setting: str
    press: str
    pieces: int
    terminations: tuple[QueuedTermination, ...]


@dataclass(frozen=True, slots=True)
class ToolQueue:
    """The terminations that one tool makes, by set-up, in the order that changes as little as can be."""

    tool: str
    set_ups: tuple[QueuedSetUp, ...]

    @property
    def terminations(self) -> tuple[QueuedTermination, ...]:
        return tuple(t for one in self.set_ups for t in one.terminations)


@dataclass(frozen=True, slots=True)
class HeldQualification:
    name: str
    until: date | None
    state: str
    state_word: str


@dataclass(frozen=True, slots=True)
class StationPage:
    """at: the station whose queue it is; None where all stations' is shown."""

    at: Station | None
    batches: tuple[BatchInWork, ...]
    queues: tuple[ToolQueue, ...]
    more: int
    qualifications: tuple[HeldQualification, ...]
    only: str
    may_run: bool

    @property
    def current(self) -> list[BatchInWork]:
        """What is being made, a sample that is due first."""
        return sorted((b for b in self.batches if b.place == "current"), key=lambda b: not (b.due and b.due.now))

    @property
    def held(self) -> list[BatchInWork]:
        return [b for b in self.batches if b.place == "held"]

    @property
    def for_inspector(self) -> list[BatchInWork]:
        return [b for b in self.batches if b.place == "inspector"]


def worked_at(station: Station, termination: str = "") -> Q:
    """What is made at the station: what its press was picked for; and by its tools and kinds of tools, unless for another press.

    termination: the way to it, as "termination__".
    """
    if station.takes_everything:
        return Q()
    tools = Q(**{f"{termination}tool__in": station.own_tools.all()}) | Q(**{f"{termination}tool__kind__in": station.kinds})
    if station.press_id is None:
        return tools
    return Q(**{f"{termination}press": station.press_id}) | (Q(**{f"{termination}press": None}) & tools)


def batches_in_work(only: Q, on: datetime) -> list[BatchInWork]:
    good = Sample.objects.filter(batch=OuterRef("pk"), state=SampleState.ACCEPTED).order_by("-at_count", "-number")
    hold = Hold.objects.filter(batch=OuterRef("pk"), decided_at__isnull=True).order_by("-pk")
    waiting = Sample.objects.filter(batch=OuterRef("pk"), state__in=[SampleState.OPEN, SampleState.WAITS_FOR_INSPECTOR]).values("state")[:1]
    rows = (
        Batch.objects.filter(only, status__in=IN_WORK)
        .select_related("termination__sheet__job", "termination__tool")
        .annotate(
            last_good=Subquery(good.values("at_count")[:1]),
            last_taken=Subquery(good.values("taken_at")[:1]),
            sample_state=Subquery(waiting),
            held_because=Subquery(hold.values("reason")[:1]),
            held_from=Subquery(hold.values("suspect_from")[:1]),
            held_to=Subquery(hold.values("suspect_to")[:1]),
        )
        .order_by("opened_at")
    )
    return [_in_work(batch, on) for batch in rows]


def _in_work(batch: Batch, on: datetime) -> BatchInWork:
    t = batch.termination
    running = batch.status == BatchStatus.RUNNING
    sample_state: str | None = getattr(batch, "sample_state", None)
    if sample_state and batch.status in (BatchStatus.FIRST_PIECE, BatchStatus.RUNNING):
        step = _("an inspector signs") if sample_state == SampleState.WAITS_FOR_INSPECTOR else _("measure the sample")
    else:
        step = {
            BatchStatus.SET_UP.value: _("scan the set-up"),
            BatchStatus.FIRST_PIECE.value: _("make the first piece"),
            BatchStatus.RUNNING.value: _("run"),
            BatchStatus.ON_HOLD.value: _("quality decides"),
            BatchStatus.CLOSING.value: _("count and close"),
        }[batch.status]
    return BatchInWork(
        number=batch.number,
        job=t.sheet.job.number,
        name=f"{t.lead}/{t.end}",
        tool=t.tool.asset_number if t.tool else "",
        status=batch.get_status_display(),
        outcome="does not conform" if batch.status == BatchStatus.ON_HOLD else "waiting",
        next_step=step,
        count=batch.last_count,
        planned=batch.quantity,
        due=sample_due(batch, on, last_good=getattr(batch, "last_good", None) or 0, last_taken=getattr(batch, "last_taken", None))
        if running
        else None,
        place="held"
        if batch.status == BatchStatus.ON_HOLD
        else "inspector"
        if sample_state == SampleState.WAITS_FOR_INSPECTOR
        else "current",
        held_because=getattr(batch, "held_because", None) or "",
        suspect=max((getattr(batch, "held_to", None) or 0) - (getattr(batch, "held_from", None) or 0), 0),
    )


def tool_queues(only: Q) -> tuple[list[ToolQueue], int]:
    """Terminations of released sheets with open pieces, by tool; and how many more there are."""
    rows = (
        Termination.objects.filter(only, sheet__status=SheetStatus.RELEASED)
        .select_related("sheet__job", "tool", "terminal", "press", "specification")
        .prefetch_related("termination_wires__wire")
        .order_by("tool__asset_number", "setting", "sheet__job__due_on", "sheet__number", "position")
    )
    queue: list[tuple[SetUpKey, QueuedTermination]] = []
    shown = more = 0
    taken = pieces_taken(rows)
    for t in rows:
        left = t.quantity - taken.get(place_made(t), 0)
        if left <= 0:
            continue
        if shown >= QUEUE_LENGTH:
            more += 1
            continue
        shown += 1
        queued = QueuedTermination(
            pk=t.pk,
            job=t.sheet.job.number,
            sheet=str(t.sheet),
            name=f"{t.lead}/{t.end}",
            terminal=t.terminal.part_number,
            wires=", ".join(w.part_number for w in t.ordered_wires()),
            setting=t.setting,
            pieces_open=left,
            due=t.sheet.job.due_on,
        )
        queue.append((_set_up_key(t), queued))
    grouped: dict[str, list[QueuedSetUp]] = {}
    for one in set_ups([key for key, _queued in queue]):
        members = tuple(queue[place][1] for place in one.members)
        pieces = sum(member.pieces_open for member in members)
        key = one.key
        made = QueuedSetUp(key.terminal, ", ".join(key.wires), key.setting, key.press, pieces, members)
        grouped.setdefault(key.tool or "–", []).append(made)
    return [ToolQueue(tool, tuple(listed)) for tool, listed in grouped.items()], more


def _set_up_key(t: Termination) -> SetUpKey:
    return SetUpKey(
        tool=t.tool.asset_number if t.tool else "",
        setting=t.setting,
        press=t.press.asset_number if t.press else "",
        terminal=t.terminal.part_number,
        wires=tuple(sorted(w.part_number for w in t.ordered_wires())),
        specification=str(t.specification) if t.specification else "",
    )


def qualifications_of(person: Person, on: date) -> list[HeldQualification]:
    """What the person may do today, and what runs out; of several for the same process the longest lasting one."""
    best: dict[tuple[str, str], Qualification] = {}
    for q in person.qualifications.all():
        key = (q.process, q.tool_kind)
        last = best.get(key)
        if last is None or (q.is_current(on), q.expires_on or date.max) > (last.is_current(on), last.expires_on or date.max):
            best[key] = q
    return [_held(q, on) for q in best.values()]


def _held(q: Qualification, on: date) -> HeldQualification:
    name = f"{q.get_process_display()}, {q.get_tool_kind_display()}" if q.tool_kind else q.get_process_display()
    left = (q.expires_on - on).days if q.expires_on else None
    if not q.is_current(on):
        return HeldQualification(name, q.withdrawn_on or q.expires_on, "does not conform", _("not in force"))
    if left is not None and left <= EXPIRES_SOON_DAYS:
        word = ngettext("%d day left", "%d days left", left) % left
        return HeldQualification(name, q.expires_on, "undecided", word)
    return HeldQualification(name, q.expires_on, "conforms", _("in force"))


def station_page(
    person: Person, at: datetime, *, may_run: bool, sheet: str = "", tool: str = "", station: Station | None = None
) -> StationPage:
    """station: whose queue; a scanned sheet or tool shows its own, wherever it is made."""
    only_batches = only_terminations = Q()
    if sheet:
        only_batches, only_terminations = Q(termination__sheet__number=sheet), Q(sheet__number=sheet)
    elif tool:
        only_batches, only_terminations = Q(termination__tool__asset_number=tool), Q(tool__asset_number=tool)
    elif station is not None:
        only_batches, only_terminations = worked_at(station, "termination__"), worked_at(station)
    queues, more = tool_queues(only_terminations)
    return StationPage(
        at=station,
        batches=tuple(batches_in_work(only_batches, at)),
        queues=tuple(queues),
        more=more,
        qualifications=tuple(qualifications_of(person, shop_day(at))),
        only=sheet or tool,
        may_run=may_run,
    )


def terminations_of_label(code: str) -> list[Termination]:
    """The terminations that a traveller ("J-1001-S1 rev 2 1/A") or bag tag ("J-1001-S1 rev 2 1 bag 3") names; none for any other label."""
    try:
        place = read_scan(code).place
    except NotALabel:
        return []
    if place is None:
        return []
    named = Termination.objects.filter(sheet__number=place.sheet, sheet__revision=place.revision, lead=place.lead)
    return list((named.filter(end=place.end) if place.end else named).select_related("sheet").order_by("position"))


def bare_text(code: str) -> str:
    """A label's text without what the scanner put before it."""
    try:
        return read_scan(code).text
    except NotALabel:
        return code.strip()


def place_of(code: str) -> str | None:
    """The address a scanned label leads to: a batch, a setup sheet (also by the code printed on it) or a tool; None for anything else."""
    bare = bare_text(code)
    tried = [bare, *(unquote(part) for part in urlsplit(bare).path.split("/") if part)] if "/" in bare else [bare]
    for one in tried:
        for number in dict.fromkeys((one, one.partition("-")[2])):  # a document's number carries its kind in front: SS-...
            if not number:
                continue
            if Batch.objects.filter(number=number).exists():
                return reverse("make:batch", args=[number])
            if SetupSheet.objects.filter(number=number).exists():
                return f"{reverse('make:station')}?sheet={number}"
            if Tool.objects.filter(asset_number=number).exists():
                return f"{reverse('make:station')}?tool={number}"
    return None


# --- The run ---------------------------------------------------------------------------------------------------------------------

CHART_LENGTH = 60


@dataclass(frozen=True, slots=True)
class HeightRow:
    """One crimp height of a batch, for the chart and its table."""

    count: int
    sample: str
    piece: int
    text: str
    unit: str
    value_mm: Decimal
    outcome: str
    gauge: str
    by: str
    setup_number: int
    source: str


def crimp_heights(batch: Batch) -> list[HeightRow]:
    """Standing crimp heights in the order of measuring."""
    rows = (
        Reading.objects.filter(sample__batch=batch, characteristic=Characteristic.CRIMP_HEIGHT)
        .standing()
        .select_related("sample", "gauge", "by")
        .order_by("sample__number", "piece")
    )
    return [
        HeightRow(
            count=r.sample.at_count,
            sample=f"{r.sample.number}, {r.sample.get_kind_display()}",
            piece=r.piece,
            text=r.text,
            unit=r.unit,
            value_mm=r.value,
            outcome=r.outcome,
            gauge=r.gauge.asset_number,
            source=r.get_source_display(),
            by=r.by.name,
            setup_number=r.sample.setup_number,
        )
        for r in rows
    ]


@dataclass(frozen=True, slots=True)
class FrozenLines:
    """Centre line and control limits in force for single readings."""

    low: float
    center: float
    high: float


def frozen_lines(batch: Batch) -> FrozenLines | None:
    """The control limits in force for this batch's crimp heights, None without any.

    Only those of single readings: the limits of a chart of means say nothing about one reading.
    """
    t = batch.termination
    if t.tool is None:
        return None
    held = in_force(Stream(t.tool, t.terminal, t.csa_mm2, Characteristic.CRIMP_HEIGHT.value))
    if held is None or held.chart != ChartKind.INDIVIDUALS:
        return None
    limits = ChartLimits.from_text(held.limits)
    away = limits.reach * limits.sigma
    return FrozenLines(limits.center - away, limits.center, limits.center + away)


def height_chart(batch: Batch, rows: Sequence[HeightRow]) -> str:
    """The chart of crimp heights with the limits of the sheet and the control limits in force; verticals where a set-up begins."""
    shown = list(rows)[-CHART_LENGTH:]
    points = [
        ChartPoint(
            label=str(r.count),
            value=r.value_mm,
            note=_("piece %d") % r.piece,
            outcome=Outcome(r.outcome),
            kind=r.sample,
        )
        for r in shown
    ]
    markers = [
        (index, _("set-up %d") % row.setup_number)
        for index, row in enumerate(shown)
        if index and row.setup_number != shown[index - 1].setup_number
    ]
    limits: Limits | None = limits_of(batch.termination, Characteristic.CRIMP_HEIGHT.value)
    control = frozen_lines(batch)
    title = _("Crimp height by pieces made")
    words = chart_words()
    return run_chart(points, limits=limits, control=control, markers=markers, unit="mm", title=title, width=460, height=250, words=words)


def chart_words() -> ChartWords:
    """The words on a chart of readings, in the active language."""
    return ChartWords(
        upper_limit=_("upper limit"),
        lower_limit=_("lower limit"),
        nominal=_("nominal"),
        control_high=_("upper control"),
        control_low=_("lower control"),
        center=_("centre"),
        empty=_("No readings yet"),
        described=_("{count} readings from {least} to {most} {unit}. Lines: {lines}. Outside the limits: {outside}."),
        none=_("none"),
    )


@dataclass(frozen=True, slots=True)
class RunFacts:
    """Where the run stands."""

    count: int
    last_good: int
    due: Due
    planned: int


def run_facts(batch: Batch, on: datetime) -> RunFacts:
    return RunFacts(batch.last_count, last_good_count(batch), sample_due(batch, on), batch.quantity)


def limits_words(limits: Limits, unit: str) -> str:
    """Limits in a line: "1.35 to 1.45 mm"."""
    places = 2 if unit in ("mm", "mΩ") else 0
    if limits.low is not None and limits.high is not None:
        return _("%(low)s to %(high)s %(unit)s") % {
            "low": spoken_figure(limits.low, places),
            "high": spoken_figure(limits.high, places),
            "unit": unit,
        }
    if limits.low is not None:
        return _("at least %(low)s %(unit)s") % {"low": spoken_figure(limits.low, places), "unit": unit}
    return _("at most %(high)s %(unit)s") % {"high": spoken_figure(limits.high, places), "unit": unit}


def words_of(findings: Sequence[Finding]) -> list[Worded]:
    return [worded(finding) for finding in findings]
