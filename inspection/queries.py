"""What the floor pages show: the queue at the station, the step a batch is at, its seals, its chart and when the next sample is due."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from urllib.parse import unquote, urlsplit

from django.db.models import Max, OuterRef, Q, QuerySet, Subquery
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from inspection.acts.batches import pieces_taken, place_made
from inspection.acts.holds import last_good_count
from inspection.chart_svg import ChartPoint, run_chart
from inspection.models import Batch, BatchStatus, Characteristic, Reading, Sample, SampleState, SetupScan
from inspection.plan import limits_of
from inspection.set_up import PartState, findings_from_text, six_parts
from inspection.verdict import Limits, Outcome
from shop.finding import Finding
from shop.jobs import SetupSheet, SheetStatus, Termination
from shop.people import Person, Qualification
from shop.templatetags.shop import figure
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
    ).prefetch_related("termination__termination_wires__wire")


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
    due: int | None


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
class ToolQueue:
    """The terminations that one tool makes: the same set-up stays together."""

    tool: str
    terminations: tuple[QueuedTermination, ...]


@dataclass(frozen=True, slots=True)
class HeldQualification:
    name: str
    until: date | None
    state: str
    state_word: str


@dataclass(frozen=True, slots=True)
class StationPage:
    batches: tuple[BatchInWork, ...]
    queues: tuple[ToolQueue, ...]
    more: int
    qualifications: tuple[HeldQualification, ...]
    only: str
    may_run: bool


def batches_in_work(only: Q) -> list[BatchInWork]:
    good = Sample.objects.filter(batch=OuterRef("pk"), state=SampleState.ACCEPTED).order_by("-at_count").values("at_count")[:1]
    waiting = Sample.objects.filter(batch=OuterRef("pk"), state__in=[SampleState.OPEN, SampleState.WAITS_FOR_INSPECTOR]).values("state")[:1]
    rows = (
        Batch.objects.exclude(status=BatchStatus.CLOSED)
        .filter(only)
        .select_related("termination__sheet__job", "termination__tool")
        .annotate(last_good=Subquery(good), sample_state=Subquery(waiting))
        .order_by("opened_at")
    )
    return [_in_work(batch) for batch in rows]


def _in_work(batch: Batch) -> BatchInWork:
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
        due=next_sample_due(batch, getattr(batch, "last_good", None) or 0) if running else None,
    )


def tool_queues(only: Q) -> tuple[list[ToolQueue], int]:
    """Terminations of released sheets with open pieces, by tool; and how many more there are."""
    rows = (
        Termination.objects.filter(only, sheet__status=SheetStatus.RELEASED)
        .select_related("sheet__job", "tool", "terminal")
        .prefetch_related("termination_wires__wire")
        .order_by("tool__asset_number", "setting", "sheet__job__due_on", "sheet__number", "position")
    )
    grouped: dict[str, list[QueuedTermination]] = {}
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
        grouped.setdefault(t.tool.asset_number if t.tool else "–", []).append(queued)
    return [ToolQueue(tool, tuple(listed)) for tool, listed in grouped.items()], more


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


def station_page(person: Person, on: date, *, may_run: bool, sheet: str = "", tool: str = "") -> StationPage:
    only_batches = only_terminations = Q()
    if sheet:
        only_batches, only_terminations = Q(termination__sheet__number=sheet), Q(sheet__number=sheet)
    elif tool:
        only_batches, only_terminations = Q(termination__tool__asset_number=tool), Q(tool__asset_number=tool)
    queues, more = tool_queues(only_terminations)
    return StationPage(
        batches=tuple(batches_in_work(only_batches)),
        queues=tuple(queues),
        more=more,
        qualifications=tuple(qualifications_of(person, on)),
        only=sheet or tool,
        may_run=may_run,
    )


_LABEL = re.compile(r"(?P<number>.+) rev (?P<revision>[0-9]{1,6}) (?P<lead>.+)/(?P<end>[^/]+)")


def termination_of_label(code: str) -> Termination | None:
    """The termination whose traveller or bag tag this is: "J-1001-S1 rev 2 1/A"; None for any other label."""
    label = _LABEL.fullmatch(code.strip())
    if label is None:
        return None
    return (
        Termination.objects.filter(
            sheet__number=label["number"], sheet__revision=int(label["revision"]), lead=label["lead"], end=label["end"]
        )
        .select_related("sheet")
        .first()
    )


def place_of(code: str) -> str | None:
    """The address a scanned label leads to: a batch, a setup sheet (also by the code printed on it) or a tool; None for anything else."""
    bare = code.strip()
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
            value_mm=r.value_mm,
            outcome=r.outcome,
            gauge=r.gauge.asset_number,
            by=r.by.name,
            setup_number=r.sample.setup_number,
        )
        for r in rows
    ]


def height_chart(batch: Batch, rows: Sequence[HeightRow]) -> str:
    """The chart of crimp heights with the limits of the sheet; a thin vertical where a new set-up begins."""
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
    return run_chart(points, limits=limits, markers=markers, unit="mm", title=_("Crimp height by pieces made"), width=460, height=250)


@dataclass(frozen=True, slots=True)
class RunFacts:
    """Where the run stands."""

    count: int
    last_good: int
    due: int
    planned: int


def run_facts(batch: Batch) -> RunFacts:
    good = batch.samples.filter(state=SampleState.ACCEPTED).aggregate(n=Max("at_count"))["n"] or 0
    return RunFacts(batch.last_count, good, next_sample_due(batch, good), batch.quantity)


def limits_words(limits: Limits, unit: str) -> str:
    """Limits in a line: "1.35 to 1.45 mm"."""
    places = 2 if unit == "mm" else 0
    if limits.low is not None and limits.high is not None:
        return _("%(low)s to %(high)s %(unit)s") % {"low": figure(limits.low, places), "high": figure(limits.high, places), "unit": unit}
    if limits.low is not None:
        return _("at least %(low)s %(unit)s") % {"low": figure(limits.low, places), "unit": unit}
    return _("at most %(high)s %(unit)s") % {"high": figure(limits.high, places), "unit": unit}


def words_of(findings: Sequence[Finding]) -> list[Worded]:
    return [worded(finding) for finding in findings]
