"""The record of a batch, from set-up to balanced counts."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TypedDict

from django.db.models import QuerySet

from inspection.acts.batches import concessions_used
from inspection.chart_svg import ChartPoint, run_chart
from inspection.deciding import printed
from inspection.models import Batch, BatchStatus, PullTest, Reading, ReadingSource, Sample, SampleState, SetupScan
from inspection.plan import limits_of
from inspection.set_up import PartState as SixPart
from inspection.set_up import current_scans, findings_from_text, six_parts
from inspection.verdict import Outcome
from records.batch_photos import photos_of
from records.content import (
    Answer,
    BatchRecordRecord,
    BatchTermination,
    ChartContent,
    GaugeContent,
    LoadedLotContent,
    PartContent,
    PartState,
    PersonContent,
    SampleContent,
    ScanContent,
)
from records.gather.common import (
    OUTCOME_WORDS,
    claims_of,
    concession_contents,
    day,
    documents_of,
    hold_content,
    job_content,
    part,
    shop_content,
    signatures_of,
    targets_of,
    terminal_content,
    tool_content,
    why_of,
    wire_content,
)
from records.models import Signature
from shop.acts.concessions import concession_numbers
from shop.characteristics import MEASURED, Characteristic
from shop.criteria import title_of
from shop.jobs import Termination
from shop.people import Role
from shop.sheet_content import MM_PLACES, N_PLACES, PLACES
from shop.templatetags.shop import figure, moment

ANSWERS: dict[str, Answer] = {
    SampleState.ACCEPTED.value: "accepted",
    SampleState.REJECTED.value: "rejected",
    SampleState.OPEN.value: "waiting",
    SampleState.WAITS_FOR_INSPECTOR.value: "waiting",
}


def sheet_sha256(t: Termination) -> str:
    """The hash that the release of the sheet signed."""
    signature = Signature.objects.filter(subject_kind="setup sheet", subject_id=t.sheet_id, meaning="released").first()
    return signature.content_sha256 if signature else ""


def batch_termination(t: Termination) -> BatchTermination:
    return {
        "sheet": str(t.sheet),
        "sheet_sha256": sheet_sha256(t),
        "position": str(t.position),
        "lead": t.lead,
        "end": t.end,
        "wires": [wire_content(w) for w in t.ordered_wires()],
        "csa_mm2": figure(t.csa_mm2, 2),
        "terminal": terminal_content(t.terminal),
        "tool": tool_content(t),
        "specification": str(t.specification or ""),
        "targets": targets_of(t),
    }


def load_batch(batch: Batch) -> Batch:
    """The batch with what its record needs."""
    return (
        Batch.objects.select_related(
            "termination__sheet__job__customer",
            "termination__sheet__author",
            "termination__sheet__released_by",
            "termination__terminal",
            "termination__tool",
            "termination__press",
            "termination__tool_row",
            "termination__specification__document",
            "opened_by",
            "closed_by",
        )
        .prefetch_related("termination__termination_wires__wire", "termination__plan_lines")
        .get(pk=batch.pk)
    )


def batch_parts(batch: Batch, states: Iterable[SixPart] | None = None) -> list[PartContent]:
    """The six parts with their evidence: what proved the set-up, and for inspection what was measured. states: `six_parts` of it."""
    samples = list(batch.samples.all())
    parts: list[PartContent] = []
    for state in six_parts(batch) if states is None else states:
        evidence = [evidence_line(scan) for scan in state.scans]
        if state.part == "documents":
            t = batch.termination
            evidence += [f"{t.specification}; {t.specification.document}" if t.specification else ""]
        verdict: PartState = "open" if not state.proven else "conceded" if state.is_conceded else "proven"
        if state.is_conceded:
            evidence += [f"concession {number}" for number in conceded_in(state.scans)]
        if state.part == "inspection":
            verdict = _inspection_state(batch, samples)
            rejected = sum(s.state == SampleState.REJECTED for s in samples)
            accepted = sum(s.state == SampleState.ACCEPTED for s in samples)
            evidence += [f"{accepted} samples accepted, {rejected} rejected"]
        parts.append(part(state.part, verdict, evidence))  # type: ignore[arg-type]  # the six names of the model
    return parts


def _inspection_state(batch: Batch, samples: list[Sample]) -> PartState:
    if batch.status == BatchStatus.ON_HOLD:
        return "failed"
    return "proven" if batch.status == BatchStatus.CLOSED and any(s.state == SampleState.ACCEPTED for s in samples) else "open"


def conceded_in(scans: Iterable[SetupScan]) -> list[str]:
    """The concessions by which these scans were let through."""
    return concession_numbers(f for scan in scans for f in findings_from_text(scan.findings))


def evidence_line(scan: SetupScan) -> str:
    if scan.qualification:
        until = f", valid until {day(scan.qualification.expires_on)}" if scan.qualification.expires_on else ""
        return f"{scan.by.name}: {scan.qualification.process}, {scan.qualification.evidence}{until}"
    if scan.gauge and scan.calibration:
        return (
            f"{scan.gauge.asset_number}, {scan.gauge.kind}, certificate {scan.calibration.certificate}, due {day(scan.calibration.due_on)}"
        )
    if scan.wire_lot:
        return f"{scan.wire_lot.lot_number} of {scan.wire_lot.wire.part_number}" + _certificate(scan.wire_lot.certificate)
    if scan.terminal_lot:
        return f"{scan.terminal_lot.lot_number} of {scan.terminal_lot.terminal.part_number}" + _certificate(scan.terminal_lot.certificate)
    if scan.tool:
        return f"{scan.tool.asset_number}, {scan.tool.kind}"
    if scan.press:
        due = f", shut height verified until {day(scan.press.shut_height_due_on)}" if scan.press.shut_height_due_on else ""
        return f"{scan.press.asset_number}, {scan.press.kind}{due}"
    return scan.code


def _certificate(number: str) -> str:
    return f", certificate {number}" if number else ""


class _Source(TypedDict, total=False):
    source: str


def _source(row: Reading | PullTest) -> _Source:
    """Told where it was no hand that typed the value."""
    return {"source": row.source} if row.source in (*_BY_GAUGE, ReadingSource.SIMULATED) else {}


_BY_GAUGE = (ReadingSource.TYPED_BY_GAUGE, ReadingSource.SERIAL)


def samples_of(batch: Batch) -> list[SampleContent]:
    samples: list[SampleContent] = []
    for sample in batch.samples.select_related("taken_by").order_by("number"):
        readings = sample.readings.standing().select_related("gauge", "by", "corrects").order_by("characteristic", "piece")
        pulls = sample.pull_tests.standing().select_related("gauge", "by", "corrects").order_by("piece")
        visuals = sample.visual_findings.standing().select_related("by")
        samples.append(
            {
                "number": str(sample.number),
                "kind": sample.kind,
                "at_count": str(sample.at_count),
                "answer": ANSWERS[sample.state],
                "taken_by": sample.taken_by.name,
                "taken_at": moment(sample.taken_at),
                "readings": [
                    {
                        "characteristic": r.characteristic,
                        "piece": str(r.piece),
                        "value": r.text,
                        "unit": r.unit,
                        "low": figure(r.low, PLACES[MEASURED[r.characteristic].quantity]),
                        "high": figure(r.high, PLACES[MEASURED[r.characteristic].quantity]),
                        "limits_unit": MEASURED[r.characteristic].unit,
                        "outcome": OUTCOME_WORDS[r.outcome],
                        "gauge": r.gauge.asset_number,
                        **_source(r),
                        "by": r.by.name,
                        "at": moment(r.at),
                        "corrects": f"{r.corrects.text} {r.corrects.unit}: {r.correction_reason}" if r.corrects else "",
                    }
                    for r in readings
                ],
                "pull_tests": [
                    {
                        "piece": str(p.piece),
                        "value": p.text,
                        "unit": p.unit,
                        "minimum": figure(p.minimum_n, N_PLACES),
                        "mode": p.mode,
                        "outcome": OUTCOME_WORDS[p.outcome],
                        "gauge": p.gauge.asset_number,
                        **_source(p),
                        "by": p.by.name,
                        "at": moment(p.at),
                        "corrects": f"{p.corrects.text} {p.corrects.unit}, {p.corrects.mode}: {p.correction_reason}" if p.corrects else "",
                    }
                    for p in pulls
                ],
                "visual": [
                    {
                        "criterion": title_of(v.criterion),
                        "answer": "accepted" if v.accepted else "rejected",
                        "note": v.note,
                        "by": v.by.name,
                        "at": moment(v.at),
                    }
                    for v in visuals
                ],
            }
        )
    return samples


def heights_of(batch: Batch) -> QuerySet[Reading]:
    """The crimp heights of a batch that stand, in order of time."""
    return Reading.objects.filter(sample__batch=batch, characteristic=Characteristic.CRIMP_HEIGHT, corrected_by__isnull=True).order_by(
        "sample__number", "piece"
    )


def height_points(batch: Batch) -> tuple[list[ChartPoint], list[tuple[int, str]]]:
    """Crimp heights of a batch in order of time, and where a set-up began."""
    readings = heights_of(batch).select_related("sample")
    points, markers, set_up = [], [], 0
    for index, r in enumerate(readings):
        if r.sample.setup_number != set_up:
            set_up = r.sample.setup_number
            markers.append((index, f"set-up {set_up}"))
        points.append(
            ChartPoint(
                label=str(r.sample.at_count),
                value=r.value,
                note=f"{r.sample.kind}, piece {r.piece}",
                outcome=Outcome(r.outcome),
                kind=r.sample.kind,
            )
        )
    return points, markers


def charts_of(batch: Batch) -> list[ChartContent]:
    points, markers = height_points(batch)
    values = list(heights_of(batch).values_list("value", flat=True))
    limits = limits_of(batch.termination, Characteristic.CRIMP_HEIGHT)
    if not points or limits is None:
        return []
    note = (
        f"{len(points)} crimp heights from {figure(min(values), MM_PLACES)} to {figure(max(values), MM_PLACES)} mm; "
        f"limits {figure(limits.low, MM_PLACES)} to {figure(limits.high, MM_PLACES)} mm."
    )
    svg = run_chart(points, limits=limits, markers=markers, unit="mm", title="Crimp height by piece count")
    return [{"title": "Crimp height", "svg": svg, "note": note}]


def people_of(batch: Batch) -> list[PersonContent]:
    """Everybody who did something on the batch, with what entitled them at set-up."""
    people: dict[int, PersonContent] = {}
    for scan in batch.scans.filter(qualification__isnull=False, accepted=True).select_related("by", "qualification"):
        q = scan.qualification
        if q is not None:
            people[scan.by_id] = {
                "name": scan.by.name,
                "role": Role.OPERATOR.value,
                "qualification": f"{q.process} {q.tool_kind}".strip() + f", {q.evidence}",
                "valid_until": day(q.expires_on),
            }
    subjects = [s.pk for s in batch.samples.all()]
    for signature in Signature.objects.filter(subject_kind="sample", subject_id__in=subjects).select_related("person"):
        if signature.person_id not in people:
            qualification = signature.person.qualifications.filter(process="inspect").order_by("-expires_on").first()
            people[signature.person_id] = {
                "name": signature.printed_name,
                "role": Role.INSPECTOR.value,
                "qualification": f"inspect, {qualification.evidence}" if qualification else "",
                "valid_until": day(qualification.expires_on) if qualification else "",
            }
    return list(people.values())


def gauges_of(batch: Batch) -> list[GaugeContent]:
    return [
        {
            "asset_number": scan.gauge.asset_number,
            "kind": scan.gauge.kind,
            "resolution": f"{figure(scan.gauge.resolution)} {scan.gauge.unit}",
            "calibrated": day(scan.calibration.calibrated_on),
            "due": day(scan.calibration.due_on),
            "certificate": scan.calibration.certificate,
        }
        for scan in current_scans(batch).values()
        if scan.gauge and scan.calibration
    ]


def loaded_lots_of(batch: Batch) -> list[LoadedLotContent]:
    return [
        {
            "kind": "wire" if loaded.wire_lot_id else "terminal",
            "lot": loaded.lot.lot_number,
            "part_number": loaded.lot.part.part_number,
            "certificate": loaded.lot.certificate,
            "from_count": str(loaded.from_count),
            "to_count": "" if loaded.to_count is None else str(loaded.to_count),
            "by": loaded.by.name,
            "at": moment(loaded.at),
        }
        for loaded in batch.loaded_lots.select_related("wire_lot__wire", "terminal_lot__terminal", "by")
    ]


def scans_of(batch: Batch) -> list[ScanContent]:
    return [
        {
            "part": scan.part,  # type: ignore[typeddict-item]  # the six names of the model
            "code": scan.code,
            "answer": "accepted" if scan.accepted else "rejected",
            "why": why_of(scan),
            "by": scan.by.name,
            "at": moment(scan.at),
        }
        for scan in batch.scans.select_related("by")
    ]


def batch_record(batch: Batch) -> BatchRecordRecord:
    batch = load_batch(batch)
    t = batch.termination
    sample_ids = [s.pk for s in batch.samples.all()]
    record: BatchRecordRecord = {
        "kind": "batch record",
        "version": "1",
        "number": batch.number,
        "status": batch.status,
        "opened_at": moment(batch.opened_at),
        "closed_at": moment(batch.closed_at),
        "shop": shop_content(),
        "job": job_content(t.sheet.job),
        "termination": batch_termination(t),
        "parts": batch_parts(batch),
        "counts": {
            "planned": str(batch.quantity),
            **{name: _count(getattr(batch, name)) for name in ("made", "good", "scrap", "destroyed", "held")},  # type: ignore[typeddict-item]
        },
        "people": people_of(batch),
        "loaded_lots": loaded_lots_of(batch),
        "gauges": gauges_of(batch),
        "scans": scans_of(batch),
        "samples": samples_of(batch),
        "decision_rules": decision_rules(batch.samples.all()),
        "charts": charts_of(batch),
        "holds": [hold_content(h) for h in batch.holds.select_related("raised_by", "decided_by")],
        "dispositions": [
            {
                "kind": d.kind,
                "quantity": str(d.quantity),
                "note": d.note,
                "concession": d.concession.number if d.concession else "",
                "by": d.by.name,
                "at": moment(d.at),
            }
            for d in batch.dispositions.select_related("by", "concession")
        ],
        "documents": documents_of([t]),
        "concessions": concession_contents(concessions_used(batch)),
        "signatures": signatures_of(("setup sheet", [t.sheet_id]), ("sample", sample_ids), ("batch", [batch.pk])) + claims_of(sample_ids),
    }
    if photos := photos_of(batch):
        record["photos"] = photos
    return record


def decision_rules(samples: Iterable[Sample]) -> list[str]:
    """The rules by which these samples' values were judged, each with its source (ISO/IEC 17025:2017, 7.8.6)."""
    rules: set[str] = set()
    for rows in (Reading.objects, PullTest.objects):
        rules |= set(rows.filter(sample__in=list(samples)).values_list("decision_rule", flat=True))
    return [printed(rule) for rule in sorted(rules)]


def _count(value: int | None) -> str:
    return "" if value is None else str(value)


def first_sample(batch: Batch) -> Sample | None:
    """The accepted first piece of a batch, the newest where a change asked for another."""
    return batch.samples.filter(kind__in=["first piece", "after change"], state=SampleState.ACCEPTED).order_by("-number").first()
