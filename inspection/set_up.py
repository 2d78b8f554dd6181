"""The set-up check: what was scanned held against the released sheet, and which of the six parts are proven."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import date
from decimal import Decimal
from typing import Any, NamedTuple

from inspection.models import Batch, SetupPart, SetupScan
from shop.characteristics import MEASURED
from shop.composed import AnyOf, Composed, by_key
from shop.crib import Press
from shop.facts import press_facts, press_tool_facts
from shop.finding import Finding, Verdict, misfit
from shop.jobs import SheetStatus, Termination
from shop.materials import TerminalLot, WireLot
from shop.people import Person, Process, Qualification
from shop.plan_lines import plan_lines
from shop.press_fit import press_fit
from shop.tools import Calibration, CalibrationResult, Gauge, Tool
from shop.use import GaugeStateFacts, LotStateFacts, QualificationFacts, ToolStateFacts, gauge_use, lot_use, person_use, press_use, tool_use
from shop.wording import shown


def answer(rule: str, fits: bool, field: str, **compared: Decimal | int | str) -> Finding:
    return Finding(rule, Verdict.FITS if fits else Verdict.MISFIT, field, compared)


def person_findings(person: Person, process: str, tool_kind: str | None, on: date) -> tuple[Finding, ...]:
    """Rule 10 for one person."""
    facts = [
        QualificationFacts(q.process, q.tool_kind or None, q.granted_on, q.expires_on, q.withdrawn_on)
        for q in person.qualifications.filter(process=process)
    ]
    return person_use(facts, process, tool_kind, on, person=person.name)


def qualification_in_force(person: Person, process: str, tool_kind: str | None, on: date) -> Qualification | None:
    """The evidence behind a positive answer of rule 10, the longest lasting first."""
    fitting = [
        q
        for q in person.qualifications.filter(process=process)
        if q.is_current(on) and (not q.tool_kind or not tool_kind or q.tool_kind == tool_kind)
    ]
    return max(fitting, key=lambda q: q.expires_on or date.max, default=None)


def document_findings(termination: Termination, on: date) -> list[Finding]:
    """The sheet is released, and the specification and document behind the targets are in force."""
    sheet, spec = termination.sheet, termination.specification
    found = [answer("batch.sheet", sheet.status == SheetStatus.RELEASED, "sheet", sheet=str(sheet), status=sheet.status)]
    if spec is None:  # a released sheet always has one; the database lets a draft be without
        return [*found, misfit("batch.specification", "sheet", specification="?")]
    return [
        *found,
        answer("batch.specification", spec.is_in_force(on), "sheet", specification=str(spec)),
        answer("batch.document", spec.document.is_in_force(on), "sheet", document=str(spec.document)),
    ]


def tool_findings(tool: Tool, termination: Termination, on: date) -> tuple[Finding, ...]:
    """Rule 7, and the tool is the one on the sheet."""
    expected = termination.tool.asset_number if termination.tool else "?"
    facts = ToolStateFacts(
        tool.asset_number,
        tool.state,
        tool.crimp_count,
        tool.service_due_count,
        tool.service_due_on,
        tool.verification_due_on,
        tool.verification_due_count,
    )
    same = answer("scan.tool.other", tool.pk == termination.tool_id, "tool", tool=tool.asset_number, expected=expected)
    return (same, *tool_use(facts, on))


def press_findings(press: Press, termination: Termination, on: date) -> list[Finding]:
    """Rule 5 on this day with the tool of the sheet, the press is available, and it is the one on the sheet where the sheet names one."""
    found = [press_use(press.asset_number, press.state)]
    if termination.press is not None:
        same = press.pk == termination.press_id
        found.insert(0, answer("scan.press.other", same, "press", press=press.asset_number, expected=termination.press.asset_number))
    if termination.tool is not None:
        t = termination
        found += press_fit(press_facts(press), press_tool_facts(termination.tool), t.terminal.part_number, t.terminal.crimp_force_n, on)
    return found


def lot_findings(lot: WireLot | TerminalLot, termination: Termination, on: date, *, labelled: date | None = None) -> tuple[Finding, ...]:
    """Rule 8. A wire lot may be of any wire in the barrel. labelled: the expiry on its supplier's label; the earlier date counts."""
    if isinstance(lot, TerminalLot):
        expected = termination.terminal.part_number
    else:
        wanted = [w.part_number for w in termination.ordered_wires()]
        expected = lot.part.part_number if lot.part.part_number in wanted else " or ".join(dict.fromkeys(wanted))
    until = min((day for day in (lot.usable_until, labelled) if day is not None), default=None)
    return lot_use(LotStateFacts(lot.lot_number, lot.part.part_number, lot.state, until), expected, on)


def gauge_findings(gauge: Gauge, tolerance: Decimal | None, on: date) -> tuple[Finding, ...]:
    """Rule 9 at this moment."""
    newest = gauge.newest_calibration(on)
    facts = GaugeStateFacts(
        gauge.asset_number,
        gauge.kind,
        gauge.state,
        gauge.resolution,
        newest.calibrated_on if newest else None,
        newest.due_on if newest else None,
        newest.result != CalibrationResult.OUT_OF_TOLERANCE if newest else None,
    )
    return gauge_use(facts, tolerance, on)


def gauges_needed(termination: Termination) -> list[str]:
    """The kinds of gauge the plan of this termination measures with."""
    return list(dict.fromkeys(line.gauge_kind for line in plan_lines(termination) if line.first or line.sample or line.last))


def narrowest_tolerance(termination: Termination, kind: str) -> Decimal | None:
    """The smallest total tolerance a gauge of this kind has to judge in this termination, in mm."""
    judged = [line for line in plan_lines(termination) if line.gauge_kind == kind and MEASURED[line.characteristic].quantity == "length"]
    return min((line.high - line.low for line in judged if line.low is not None and line.high is not None), default=None)


Thing = Tool | Press | WireLot | TerminalLot | Gauge


def thing_for(code: str) -> Thing | None:
    """What a label belongs to: a tool, a press, a reel, a spool or a gauge."""
    return (
        Tool.objects.filter(asset_number=code).first()
        or Press.objects.filter(asset_number=code).first()
        or TerminalLot.objects.select_related("terminal").filter(lot_number=code).first()
        or WireLot.objects.select_related("wire").filter(lot_number=code).first()
        or Gauge.objects.filter(asset_number=code).first()
    )


def findings_text(findings: Iterable[Finding]) -> list[dict[str, Any]]:
    """Findings as plain data for the record; `findings_from_text` is the way back."""
    return [
        {"rule": f.rule, "verdict": f.verdict.value, "field": f.field, "compared": {k: shown(v) for k, v in f.compared.items()}}
        for f in findings
    ]


def findings_from_text(rows: Sequence[dict[str, Any]]) -> list[Finding]:
    return [Finding(r["rule"], Verdict(r["verdict"]), r["field"], r["compared"]) for r in rows]


class PartState(NamedTuple):
    """One of the six parts of a batch: what proves it and what is still missing."""

    part: str
    proven: bool
    scans: tuple[SetupScan, ...]
    missing: tuple[str, ...]

    @property
    def is_conceded(self) -> bool:
        """Whether quality let something through for one of its scans."""
        return any(row["verdict"] == Verdict.CONCEDED for scan in self.scans for row in scan.findings)


SCANNED = ("tool", "press", "wire_lot__wire", "terminal_lot__terminal", "gauge__output", "calibration", "qualification", "by")

_SCANS_OF = Composed(
    lambda: SetupScan.objects.filter(AnyOf("batch", "batches"), accepted=True),
    along={
        "tool": by_key(Tool),
        "press": by_key(Press),
        "wire_lot": by_key(WireLot, "wire"),
        "terminal_lot": by_key(TerminalLot, "terminal"),
        "gauge": by_key(Gauge, "output"),
        "calibration": by_key(Calibration),
        "qualification": by_key(Qualification),
        "by": by_key(Person),
    },
)


def read_scans(batches: Iterable[Batch]) -> None:
    """Read what `six_parts` looks at for many batches at once, each named once, and leave it with them."""
    by_pk = {batch.pk: batch for batch in batches}
    for batch in by_pk.values():
        batch.accepted_scans = []  # type: ignore[attr-defined]
    for scan in _SCANS_OF(batches=by_pk):
        scan.batch = by_pk[scan.batch_id]
        scan.batch.accepted_scans.append(scan)  # type: ignore[attr-defined]


def findings_read(batches: Iterable[Batch]) -> list[tuple[int, list[dict[str, Any]]]] | None:
    """Batch and findings of each accepted scan in the order of time, where `read_scans` left them with every batch; else None."""
    listed = list(batches)
    if not all(hasattr(batch, "accepted_scans") for batch in listed):
        return None
    return [(batch.pk, scan.findings) for batch in listed for scan in batch.accepted_scans]  # type: ignore[attr-defined]  # looked at above


def current_scans(batch: Batch) -> dict[str, SetupScan]:
    """The newest accepted scan of each slot: person, sheet, tool, press, terminal lot, each wire, each kind of gauge.

    `read_scans` first for many batches.
    """
    slots: dict[str, SetupScan] = {}
    scans = getattr(batch, "accepted_scans", None)
    for scan in batch.scans.filter(accepted=True).select_related(*SCANNED) if scans is None else scans:
        slots[slot_of(scan)] = scan  # in order of time: the last one stands
    return slots


def gauge_scan(batch: Batch, kind: str) -> SetupScan | None:
    """The newest accepted scan of a gauge of this kind: what `current_scans` has under it, read alone."""
    return batch.scans.filter(accepted=True, gauge__kind=kind).select_related("gauge", "calibration").order_by("pk").last()


def slot_of(scan: SetupScan) -> str:
    if scan.wire_lot:
        return f"wire {scan.wire_lot.wire.part_number}"
    if scan.gauge:
        return f"gauge {scan.gauge.kind}"
    if scan.press_id:
        return "press"
    return {"terminal": "terminal", "tool": "tool", "documents": "sheet", "people": "person"}[scan.part]


PARTS = tuple(SetupPart.values)


Wanted = dict[str, list[tuple[str, str]]]


def _wanted(t: Termination) -> Wanted:
    """Part -> the slots that a set-up for this termination has to fill, each with what it is called; the press apart."""
    return {
        SetupPart.PEOPLE: [("person", "operator")],
        SetupPart.WIRE: [(f"wire {p}", f"spool of {p}") for p in dict.fromkeys(w.part_number for w in t.ordered_wires())],
        SetupPart.TERMINAL: [("terminal", f"reel of {t.terminal.part_number}")],
        SetupPart.TOOL: [("tool", f"tool {t.tool.asset_number if t.tool else '?'}")],
        SetupPart.DOCUMENTS: [("sheet", f"sheet {t.sheet}")],
        SetupPart.INSPECTION: [(f"gauge {k}", k) for k in gauges_needed(t)],
    }


def six_parts(batch: Batch, wanted: Wanted | None = None) -> list[PartState]:
    """The six parts in their fixed order. wanted: `_wanted` of its termination, where it is at hand."""
    slots, t = current_scans(batch), batch.termination
    wanted = wanted or _wanted(t)
    states = []
    for part in PARTS:
        asked = wanted[part] + _press_wanted(t, slots) if part == SetupPart.TOOL else wanted[part]
        there = tuple(slots[slot] for slot, _ in asked if slot in slots)
        missing = tuple(name for slot, name in asked if slot not in slots)
        states.append(PartState(part, not missing, there, missing))
    return states


def six_parts_of_each(batches: Iterable[Batch]) -> dict[int, list[PartState]]:
    """Batch -> its six parts; what its termination asks for is worked out once for all batches of it."""
    listed = list(batches)
    wanted = {pk: _wanted(t) for pk, t in {batch.termination_id: batch.termination for batch in listed}.items()}
    return {batch.pk: six_parts(batch, wanted[batch.termination_id]) for batch in listed}


def _press_wanted(t: Termination, slots: dict[str, SetupScan]) -> list[tuple[str, str]]:
    """The press where the sheet names one; where it does not, one that was scanned all the same is evidence too."""
    if t.press is not None:
        return [("press", f"press {t.press.asset_number}")]
    return [("press", "press")] if "press" in slots else []


PROCESS_FOR_READINGS = Process.INSPECT
PROCESS_FOR_PULLS = Process.PULL_TEST
