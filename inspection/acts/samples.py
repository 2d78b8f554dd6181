"""What operators and inspectors do with a sample: measure, correct, conclude, countersign."""

from __future__ import annotations

from datetime import datetime
from decimal import ROUND_HALF_EVEN, Decimal

from django.db import transaction
from django.db.models import Max

from inspection.acts.batches import locked_batch, operator_findings, status_findings
from inspection.acts.holds import put_on_hold
from inspection.contents import sample_content, sample_outcome
from inspection.criteria import is_cross_section
from inspection.events import CrossSectionJudged, FirstPieceCountersigned, FirstPieceTurnedDown, MeasurementCorrected, SampleConcluded
from inspection.models import (
    Batch,
    BatchStatus,
    PullTest,
    Reading,
    Sample,
    SampleKind,
    SampleState,
    VisualFinding,
)
from inspection.plan import Planned, SamplePlan, plan_of
from inspection.set_up import current_scans, gauge_findings, person_findings
from inspection.verdict import (
    Limits,
    Outcome,
    Plausible,
    PullMode,
    Quantity,
    implausible,
    judge,
    judge_pull,
    misread,
    parse_reading,
    plausibility,
)
from shop.canonical import content_sha256
from shop.clock import shop_day
from shop.events import Signing, publish
from shop.finding import Finding, Refused, misfit, refuse_if
from shop.people import Person, Process
from shop.permissions import Deed, may, permission_findings
from shop.quantity import NotAQuantity, Typed
from shop.sign_on import signing_findings
from shop.tools import Calibration, Gauge, GaugeKind

JUDGED_MEANING = "cross-section judged"
MEASURED_MEANING = "measured"
APPROVED_MEANING = "approved first piece"
TURNED_DOWN_MEANING = "turned down first piece"

STORED_MM = Decimal("0.000001")  # the column's step: an inch reading of 0.0001 in is 0.00254 mm
STORED_N = Decimal("0.0001")
LARGEST: dict[str, Decimal] = {"length": Decimal(10_000), "force": Decimal(1_000_000)}


def sample_subject(sample: Sample) -> tuple[str, int, str]:
    return ("sample", sample.pk, str(sample))


def kinds_possible(batch: Batch) -> list[SampleKind]:
    """Which kind of sample belongs to the step the batch is at."""
    if batch.status == BatchStatus.FIRST_PIECE:
        earlier = batch.samples.filter(state=SampleState.ACCEPTED).exists()
        return [SampleKind.AFTER_CHANGE if earlier or batch.setup_number > 1 else SampleKind.FIRST_PIECE]
    return [SampleKind.IN_PROCESS, SampleKind.LAST_PIECE] if batch.status == BatchStatus.RUNNING else []


def start_sample(*, batch: Batch, kind: str, at_count: int, by: Person, at: datetime) -> Sample:
    """Begin a sample at a piece count. One sample is measured at a time."""
    with transaction.atomic():
        batch = locked_batch(batch)
        findings = operator_findings(by, batch.termination, at) + status_findings(batch, BatchStatus.FIRST_PIECE, BatchStatus.RUNNING)
        if kind not in kinds_possible(batch):
            findings.append(misfit("sample.kind", "kind", kind=kind))
        if at_count < batch.last_count:
            findings.append(misfit("batch.counts.below", "at_count", made=at_count, last=batch.last_count))
        open_sample = batch.samples.filter(state__in=[SampleState.OPEN, SampleState.WAITS_FOR_INSPECTOR]).first()
        if open_sample:
            findings.append(misfit("sample.state", sample=str(open_sample), state=open_sample.state))
        refuse_if(findings)
        number = (batch.samples.aggregate(last=Max("number"))["last"] or 0) + 1
        sample = Sample.objects.create(
            batch=batch, number=number, kind=kind, setup_number=batch.setup_number, at_count=at_count, taken_by=by, taken_at=at
        )
        batch.last_count = at_count
        batch.save(update_fields=["last_count"])
    return sample


def record_reading(
    *,
    sample: Sample,
    characteristic: str,
    piece: int,
    text: str,
    unit: str,
    by: Person,
    at: datetime,
    confirmed: bool = False,
    corrects: Reading | None = None,
    reason: str = "",
) -> Reading:
    """Record one length as typed or sent by a gauge, judged at once. confirmed: the person stands by an implausible value."""
    with transaction.atomic():
        sample = _open_sample(sample, by, at, Process.INSPECT)
        plan = plan_of(sample)
        planned = _planned(plan, characteristic, piece)
        refuse_if(
            _slot_findings(
                sample.readings.standing().filter(characteristic=characteristic, piece=piece).first(),
                corrects,
                reason,
                piece=piece,
                characteristic=characteristic,
                planned=planned.pieces,
            )
        )
        typed = _typed(text, unit, "length", planned.limits, confirmed)
        gauge, calibration = _gauge_in_use(sample, planned.gauge_kind, planned.limits.tolerance, at)
        value = typed.value.quantize(STORED_MM, ROUND_HALF_EVEN)
        reading = Reading.objects.create(
            sample=sample,
            characteristic=characteristic,
            piece=piece,
            text=typed.number,
            unit=typed.unit,
            value_mm=value,
            low_mm=planned.limits.low,
            high_mm=planned.limits.high,
            outcome=judge(typed.value, planned.limits),
            gauge=gauge,
            calibration=calibration,
            by=by,
            at=at,
            corrects=corrects,
            correction_reason=reason.strip() if corrects else "",
        )
        if corrects:
            content = {
                "characteristic": characteristic,
                "piece": piece,
                "before": f"{corrects.text} {corrects.unit}",
                "after": f"{typed.number} {typed.unit}",
                "reason": reason.strip(),
            }
            publish(MeasurementCorrected(by=by, at=at, subject=sample_subject(sample), content=content))
    return reading


def record_pull(
    *,
    sample: Sample,
    piece: int,
    text: str,
    unit: str,
    mode: str,
    by: Person,
    at: datetime,
    confirmed: bool = False,
    corrects: PullTest | None = None,
    reason: str = "",
) -> PullTest:
    """Record one pull test: the peak force as typed, and how it ended."""
    with transaction.atomic():
        sample = _open_sample(sample, by, at, Process.PULL_TEST)
        plan = plan_of(sample)
        findings = []
        if not 1 <= piece <= plan.pulls:
            findings.append(misfit("reading.piece", "piece", piece=piece, characteristic="pull force", planned=plan.pulls))
        modes = [m.value for m in PullMode]
        if mode not in modes:
            findings.append(misfit("pull.mode", "mode", mode=mode, modes=", ".join(modes)))
        earlier = sample.pull_tests.standing().filter(piece=piece).first()
        findings += _slot_findings(earlier, corrects, reason, piece=piece, characteristic="pull force", planned=plan.pulls)
        refuse_if(findings)
        minimum = plan.pull_minimum_n
        if minimum is None:  # a plan without a minimum asks for no pulls: refused above
            raise AssertionError("no pull test without a minimum")
        typed = _typed(text, unit, "force", Limits(minimum, None), confirmed)
        gauge, calibration = _gauge_in_use(sample, GaugeKind.PULL_TESTER.value, None, at)
        pull = PullTest.objects.create(
            sample=sample,
            piece=piece,
            text=typed.number,
            unit=typed.unit,
            force_n=typed.value.quantize(STORED_N, ROUND_HALF_EVEN),
            minimum_n=minimum,
            mode=mode,
            outcome=judge_pull(typed.value, minimum),
            gauge=gauge,
            calibration=calibration,
            by=by,
            at=at,
            corrects=corrects,
            correction_reason=reason.strip() if corrects else "",
        )
        if corrects:
            content = {
                "characteristic": "pull force",
                "piece": piece,
                "before": f"{corrects.text} {corrects.unit}, {corrects.mode}",
                "after": f"{typed.number} {typed.unit}, {mode}",
                "reason": reason.strip(),
            }
            publish(MeasurementCorrected(by=by, at=at, subject=sample_subject(sample), content=content))
    return pull


def record_visual(
    *,
    sample: Sample,
    criterion: str,
    accepted: bool,
    by: Person,
    at: datetime,
    note: str = "",
    corrects: VisualFinding | None = None,
    reason: str = "",
) -> VisualFinding:
    """Record accept or reject of one visual criterion; a reject needs a note.

    A cross-section is judged by whoever is qualified for it: an inspector may, though the rest of the sample is the operator's.
    """
    with transaction.atomic():
        sample = _open_sample(sample, by, at, Process.CROSS_SECTION if is_cross_section(criterion) else Process.INSPECT)
        codes = {c.code for c in plan_of(sample).criteria}
        earlier = sample.visual_findings.standing().filter(criterion=criterion).first()
        findings = []
        if criterion not in codes or (earlier and corrects is None):
            findings.append(misfit("visual.criterion", "criterion", criterion=criterion))
        if corrects and (earlier != corrects or not reason.strip()):
            findings.append(misfit("reading.correction", "reason"))
        if not accepted and not note.strip():
            findings.append(misfit("visual.note", "note"))
        refuse_if(findings)
        finding = VisualFinding.objects.create(
            sample=sample,
            criterion=criterion,
            accepted=accepted,
            note=note.strip(),
            by=by,
            at=at,
            corrects=corrects,
            correction_reason=reason.strip() if corrects else "",
        )
        if corrects:
            words = {True: "accepted", False: "rejected"}
            content = {
                "characteristic": criterion,
                "piece": 0,
                "before": words[corrects.accepted],
                "after": words[accepted],
                "reason": reason.strip(),
            }
            publish(MeasurementCorrected(by=by, at=at, subject=sample_subject(sample), content=content))
    return finding


def judge_cross_section(
    *,
    sample: Sample,
    criterion: str,
    accepted: bool,
    by: Person,
    at: datetime,
    signing: Signing,
    note: str = "",
    corrects: VisualFinding | None = None,
    reason: str = "",
) -> VisualFinding:
    """Record what a cross-section shows, signed by whoever judged it at somebody else's tablet."""
    with transaction.atomic():
        refuse_if(signing_findings(signing, by, JUDGED_MEANING))
        finding = record_visual(
            sample=sample, criterion=criterion, accepted=accepted, by=by, at=at, note=note, corrects=corrects, reason=reason
        )
        content = {
            "batch": sample.batch.number,
            "sample": sample.number,
            "criterion": criterion,
            "accepted": accepted,
            "note": finding.note,
            "corrects": corrects.pk if corrects else None,
            "reason": finding.correction_reason,
        }
        publish(CrossSectionJudged(by=by, at=at, subject=sample_subject(sample), content=content, signing=signing))
    return finding


def missing_from(sample: Sample) -> list[str]:
    """What the plan still asks for, in words."""
    plan = plan_of(sample)
    missing = []
    for planned in plan.readings:
        there = sample.readings.standing().filter(characteristic=planned.characteristic).count()
        if there < planned.pieces:
            missing.append(f"{planned.characteristic} {planned.pieces - there} of {planned.pieces}")
    pulls = sample.pull_tests.standing().count()
    if pulls < plan.pulls:
        missing.append(f"pull test {plan.pulls - pulls} of {plan.pulls}")
    answered = set(sample.visual_findings.standing().values_list("criterion", flat=True))
    for name, asked in (
        ("visual criteria", [c for c in plan.criteria if not is_cross_section(c.code)]),
        ("cross-sections", [c for c in plan.criteria if is_cross_section(c.code)]),
    ):
        left = [c for c in asked if c.code not in answered]
        if left:
            missing.append(f"{name} {len(left)} of {len(asked)}")
    return missing


def conclude_sample(*, sample: Sample, by: Person, at: datetime, signing: Signing | None = None, seen_sha256: str = "") -> Sample:
    """The sample is measured: the verdict follows from its values. First piece, after-change and last piece need the operator's signature.

    Conforming: accepted (or handed to the inspector where the plan asks). Anything else: rejected, and the batch goes on hold.
    """
    with transaction.atomic():
        sample = _open_sample(sample, by, at, Process.INSPECT)
        batch = sample.batch
        content = sample_content(sample)
        findings = []
        if signing or sample.kind != SampleKind.IN_PROCESS:
            if signing is None:
                raise Refused([misfit("sign.other", "secret", meaning=MEASURED_MEANING, person=by.name)])
            findings += signing_findings(signing, by, MEASURED_MEANING)
            if content_sha256(content) != seen_sha256:
                findings.append(misfit("sign.stale"))
        missing = missing_from(sample)
        if missing:
            findings.append(misfit("sample.incomplete", missing="; ".join(missing)))
        refuse_if(findings)
        proves_set_up = sample.kind in (SampleKind.FIRST_PIECE, SampleKind.AFTER_CHANGE)
        conforms = sample_outcome(sample) is Outcome.CONFORMS
        if conforms and proves_set_up and batch.termination.inspector_signs:
            sample.state = SampleState.WAITS_FOR_INSPECTOR
        else:
            sample.state = SampleState.ACCEPTED if conforms else SampleState.REJECTED
            sample.concluded_at = at
        sample.save(update_fields=["state", "concluded_at"])
        publish(SampleConcluded(by=by, at=at, subject=sample_subject(sample), content=content, signing=signing))
        if sample.state == SampleState.ACCEPTED:
            _move_on(batch, sample)
        elif sample.state == SampleState.REJECTED:
            put_on_hold(batch=batch, sample=sample, reason=_reason(sample), by=by, at=at)
    return sample


def countersign_first_piece(*, sample: Sample, by: Person, at: datetime, signing: Signing, seen_sha256: str) -> Sample:
    """An inspector approves a first piece: a second person, with a signature of their own."""
    with transaction.atomic():
        sample, content, findings = _for_inspector(sample, by, at, signing, APPROVED_MEANING)
        if content_sha256(content) != seen_sha256:
            findings.append(misfit("sign.stale"))
        refuse_if(findings)
        sample.state, sample.concluded_at = SampleState.ACCEPTED, at
        sample.save(update_fields=["state", "concluded_at"])
        publish(FirstPieceCountersigned(by=by, at=at, subject=sample_subject(sample), content=content, signing=signing))
        _move_on(sample.batch, sample)
    return sample


def turn_down_first_piece(*, sample: Sample, reason: str, by: Person, at: datetime, signing: Signing) -> Sample:
    """An inspector does not approve a first piece although its values conform: the batch goes on hold."""
    with transaction.atomic():
        sample, content, findings = _for_inspector(sample, by, at, signing, TURNED_DOWN_MEANING)
        if not reason.strip():
            findings.append(misfit("hold.reason", "reason"))
        refuse_if(findings)
        sample.state, sample.concluded_at = SampleState.REJECTED, at
        sample.save(update_fields=["state", "concluded_at"])
        content |= {"turned_down_because": reason.strip()}
        publish(FirstPieceTurnedDown(by=by, at=at, subject=sample_subject(sample), content=content, signing=signing))
        put_on_hold(batch=sample.batch, sample=sample, reason=reason.strip(), by=by, at=at)
    return sample


def _for_inspector(
    sample: Sample, by: Person, at: datetime, signing: Signing, meaning: str
) -> tuple[Sample, dict[str, object], list[Finding]]:
    batch = locked_batch(sample.batch)
    sample = Sample.objects.select_for_update().get(pk=sample.pk)
    sample.batch = batch
    findings = permission_findings(by, Deed.COUNTERSIGN) + signing_findings(signing, by, meaning)
    findings += person_findings(by, Process.INSPECT, None, shop_day(at))
    if sample.state != SampleState.WAITS_FOR_INSPECTOR:
        findings.append(misfit("sample.state", sample=str(sample), state=sample.state))
    if by.pk == sample.taken_by_id:
        findings.append(misfit("sample.countersign.same", person=by.name))
    return sample, sample_content(sample), findings


def _move_on(batch: Batch, sample: Sample) -> None:
    batch.status = BatchStatus.CLOSING if sample.kind == SampleKind.LAST_PIECE else BatchStatus.RUNNING
    batch.save(update_fields=["status"])


def _reason(sample: Sample) -> str:
    """What did not conform, in a line."""
    parts = [f"{r.characteristic} {r.text} {r.unit}" for r in sample.readings.standing().exclude(outcome=Outcome.CONFORMS)]
    parts += [f"pull force {p.text} {p.unit}" for p in sample.pull_tests.standing().exclude(outcome=Outcome.CONFORMS)]
    parts += [f"{v.criterion}: {v.note}" for v in sample.visual_findings.standing().filter(accepted=False)]
    return f"{sample.get_kind_display()}: {'; '.join(parts)}"[:300]


def _open_sample(sample: Sample, by: Person, at: datetime, process: Process) -> Sample:
    """The sample as it is now, locked with its batch. Raises Refused for a wrong state, role or qualification."""
    batch = locked_batch(sample.batch)
    sample = Sample.objects.select_for_update().get(pk=sample.pk)
    sample.batch = batch
    inspects = process == Process.CROSS_SECTION and may(by, Deed.COUNTERSIGN)
    findings = [] if inspects else permission_findings(by, Deed.RUN_BATCH)
    findings += person_findings(by, process, None, shop_day(at))
    if sample.state != SampleState.OPEN:
        findings.append(misfit("sample.state", sample=str(sample), state=sample.state))
    refuse_if(findings)
    return sample


def _planned(plan: SamplePlan, characteristic: str, piece: int) -> Planned:
    planned = plan.planned(characteristic)
    if planned is None or not 1 <= piece <= planned.pieces:
        asked = ", ".join(f"{p.characteristic} × {p.pieces}" for p in plan.readings)
        raise Refused([misfit("reading.piece", "piece", piece=piece, characteristic=characteristic, planned=asked)])
    return planned


def _slot_findings(
    earlier: Reading | PullTest | None, corrects: Reading | PullTest | None, reason: str, **named: int | str
) -> list[Finding]:
    """A value is written once; what changes it is a correction of the one that stands, with a reason."""
    if corrects is None:
        return [misfit("reading.piece", "piece", **named)] if earlier else []
    return [] if earlier == corrects and reason.strip() else [misfit("reading.correction", "reason")]


def _typed(text: str, unit: str, quantity: Quantity, limits: Limits, confirmed: bool) -> Typed:
    try:
        typed = parse_reading(text, unit, quantity)
    except NotAQuantity as error:
        raise Refused([misread(error)]) from error
    if not 0 <= typed.value < LARGEST[quantity]:
        # Not even confirmed: no gauge shows it, and the column could not hold it.
        raise Refused(
            [misfit("reading.impossible", "value", text=text, largest=LARGEST[quantity], unit="N" if quantity == "force" else "mm")]
        )
    believed = plausibility(typed.value, limits)
    if believed.kind is not Plausible.OK and not confirmed:
        raise Refused([implausible(text, believed, limits, "N" if quantity == "force" else "mm")])
    return typed


def _gauge_in_use(sample: Sample, kind: str, tolerance: Decimal | None, at: datetime) -> tuple[Gauge, Calibration]:
    """The gauge of this kind in the set-up, held against rule 9 at this very moment."""
    scan = current_scans(sample.batch).get(f"gauge {kind}")
    if scan is None or scan.gauge is None or scan.calibration is None:
        raise Refused([misfit("reading.gauge", kind=kind)])
    refuse_if(gauge_findings(scan.gauge, tolerance, shop_day(at)))
    return scan.gauge, scan.gauge.calibration_in_force(shop_day(at)) or scan.calibration
