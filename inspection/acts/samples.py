"""What operators and inspectors do with a sample: measure, correct, conclude, countersign."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import ROUND_HALF_EVEN, Decimal

from django.conf import settings
from django.db import transaction
from django.db.models import Max

from inspection.acts.batches import locked_as_known, locked_batch, operator_findings, status_findings
from inspection.acts.claims import Claim, claim_signature
from inspection.acts.control import raise_signals, reaction_findings
from inspection.acts.holds import put_on_hold
from inspection.contents import sample_content, sample_outcome
from inspection.deciding import decided
from inspection.events import CrossSectionJudged, FirstPieceCountersigned, FirstPieceTurnedDown, MeasurementCorrected, SampleConcluded
from inspection.models import (
    Batch,
    BatchStatus,
    PullTest,
    Reading,
    ReadingSource,
    Sample,
    SampleKind,
    SampleState,
    VisualFinding,
)
from inspection.plan import Planned, SamplePlan, plan_of
from inspection.set_up import gauge_findings, gauge_scan, person_findings
from inspection.verdict import (
    Limits,
    Outcome,
    Plausible,
    PullMode,
    implausible,
    misread,
    parse_reading,
    plausibility,
)
from shop.canonical import content_sha256
from shop.characteristics import BASE_UNIT, Characteristic, Quantity
from shop.clock import shop_day
from shop.criteria import is_cross_section
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

STORED = Decimal("0.000001")  # the column's step: an inch reading of 0.0001 in is 0.00254 mm
STORED_N = Decimal("0.0001")
LARGEST: Mapping[Quantity, Decimal] = {
    "length": Decimal(10_000),
    "force": Decimal(1_000_000),
    "resistance": Decimal(100_000),
    "share": Decimal(1_000),
}


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
        refuse_if(findings + reaction_findings(batch))
        number = (batch.samples.aggregate(last=Max("number"))["last"] or 0) + 1
        sample = Sample.objects.create(
            batch=batch,
            number=number,
            kind=kind,
            setup_number=batch.setup_number,
            at_count=at_count,
            # The counter grows by what was made when the batch closes; until then the batch's own pieces come on top.
            tool_count=batch.tool.crimp_count + at_count if batch.tool else None,
            taken_by=by,
            taken_at=at,
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
    source: str = "",
) -> Reading:
    """Record one value as typed or sent by a gauge, judged at once. confirmed: the person stands by an implausible value.

    source: how the value came in, one of `ReadingSource`; "" where nobody said. A simulated one is refused unless the shop trains.

    A compaction is read off a cross-section, by whoever is qualified for it.
    """
    with transaction.atomic():
        cut = characteristic == Characteristic.COMPACTION
        sample = _open_sample(sample, by, at, Process.CROSS_SECTION if cut else Process.INSPECT)
        plan = plan_of(sample)
        planned = _planned(plan, characteristic, piece)
        refuse_if(
            source_findings(source)
            + _slot_findings(
                sample.readings.standing().filter(characteristic=characteristic, piece=piece).first(),
                corrects,
                reason,
                piece=piece,
                characteristic=characteristic,
                planned=planned.pieces,
            )
        )
        typed = _typed(text, unit, planned.quantity, planned.limits, confirmed)
        # A gauge's resolution is held against a tolerance in its own unit; a share is computed from areas.
        tolerance = planned.limits.tolerance if planned.quantity == "length" else None
        gauge, calibration = _gauge_in_use(sample, planned.gauge_kind, tolerance, at)
        value = typed.value.quantize(STORED, ROUND_HALF_EVEN)
        answer = decided(typed.value, planned.limits, gauge, calibration, planned.unit)
        reading = Reading.objects.create(
            sample=sample,
            characteristic=characteristic,
            piece=piece,
            text=typed.number,
            unit=typed.unit,
            value=value,
            low=planned.limits.low,
            high=planned.limits.high,
            outcome=answer.outcome,
            decision_rule=answer.rule,
            guard_band=answer.guard_band,
            gauge=gauge,
            calibration=calibration,
            source=source,
            by=by,
            at=at,
            corrects=corrects,
            correction_reason=reason.strip() if corrects else "",
        )
        if corrects:
            _tell_correction(reading, characteristic, piece, f"{corrects.text} {corrects.unit}", f"{reading.text} {reading.unit}")
    return reading


def _tell_correction(row: Reading | PullTest | VisualFinding, characteristic: str, piece: int, before: str, after: str) -> None:
    """Publish that `row` corrects another."""
    content = {"characteristic": characteristic, "piece": piece, "before": before, "after": after, "reason": row.correction_reason}
    publish(MeasurementCorrected(by=row.by, at=row.at, subject=sample_subject(row.sample), content=content))


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
    source: str = "",
) -> PullTest:
    """Record one pull test: the peak force as typed, and how it ended."""
    with transaction.atomic():
        sample = _open_sample(sample, by, at, Process.PULL_TEST)
        plan = plan_of(sample)
        findings = source_findings(source)
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
        answer = decided(typed.value, Limits(minimum, None), gauge, calibration, BASE_UNIT["force"])
        pull = PullTest.objects.create(
            sample=sample,
            piece=piece,
            text=typed.number,
            unit=typed.unit,
            force_n=typed.value.quantize(STORED_N, ROUND_HALF_EVEN),
            minimum_n=minimum,
            mode=mode,
            outcome=answer.outcome,
            decision_rule=answer.rule,
            guard_band=answer.guard_band,
            gauge=gauge,
            calibration=calibration,
            source=source,
            by=by,
            at=at,
            corrects=corrects,
            correction_reason=reason.strip() if corrects else "",
        )
        if corrects:
            before = f"{corrects.text} {corrects.unit}, {corrects.mode}"
            _tell_correction(pull, Characteristic.PULL_FORCE.value, piece, before, f"{pull.text} {pull.unit}, {mode}")
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
        earlier = sample.visual_findings.standing().filter(criterion=criterion).first()
        findings = _look_findings(
            Look(criterion, accepted, note), _codes(sample), [earlier.criterion] if earlier and corrects is None else []
        )
        if corrects and (earlier != corrects or not reason.strip()):
            findings.append(misfit("reading.correction", "reason"))
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
            _tell_correction(finding, criterion, 0, words[corrects.accepted], words[accepted])
    return finding


@dataclass(frozen=True, slots=True)
class Look:
    """One visual criterion, answered. note: what is seen; a reject needs one."""

    criterion: str
    accepted: bool
    note: str = ""


def record_looks(*, sample: Sample, looks: Sequence[Look], by: Person, at: datetime) -> list[VisualFinding]:
    """Record several visual criteria at once, all of them or none: the batch is read and locked once. Cross-sections come one by one."""
    with transaction.atomic():
        sample = _open_sample(sample, by, at, Process.INSPECT)
        codes = {code for code in _codes(sample) if not is_cross_section(code)}
        answered = list(sample.visual_findings.standing().values_list("criterion", flat=True))
        findings = []
        for look in looks:
            findings += _look_findings(look, codes, answered)
            answered.append(look.criterion)  # once only, here too
        refuse_if(findings)
        return VisualFinding.objects.bulk_create(
            VisualFinding(sample=sample, criterion=look.criterion, accepted=look.accepted, note=look.note.strip(), by=by, at=at)
            for look in looks
        )


def _codes(sample: Sample) -> set[str]:
    return {criterion.code for criterion in plan_of(sample).criteria}


def _look_findings(look: Look, codes: Collection[str], answered: Collection[str]) -> list[Finding]:
    findings = []
    if look.criterion not in codes or look.criterion in answered:
        findings.append(misfit("visual.criterion", "criterion", criterion=look.criterion))
    if not look.accepted and not look.note.strip():
        findings.append(misfit("visual.note", "note"))
    return findings


def judge_cross_section(
    *,
    sample: Sample,
    criterion: str,
    accepted: bool,
    by: Person,
    at: datetime,
    signing: Signing | None,
    note: str = "",
    corrects: VisualFinding | None = None,
    reason: str = "",
    claim: Claim | None = None,
) -> VisualFinding:
    """Record what a cross-section shows, signed by whoever judged it at somebody else's tablet.

    claim: instead of a signature, where the tablet had no network.
    """
    with transaction.atomic():
        refuse_if(_signature_findings(signing, claim, by, JUDGED_MEANING))
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
        claim_signature(claim, sample=sample, person=by, meaning=JUDGED_MEANING, content=content, at=at)
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


def conclude_sample(
    *, sample: Sample, by: Person, at: datetime, signing: Signing | None = None, seen_sha256: str = "", claim: Claim | None = None
) -> Sample:
    """The sample is measured: the verdict follows from its values. First piece, after-change and last piece need the operator's signature.

    Conforming: accepted (or handed to the inspector where the plan asks). Anything else: rejected, and the batch goes on hold.
    claim: instead of the signature, where the tablet had no network; it has to be confirmed before the batch closes.
    """
    with transaction.atomic():
        sample = _open_sample(sample, by, at, Process.INSPECT)
        batch = sample.batch
        content = sample_content(sample)
        findings = []
        needs_signature = sample.kind != SampleKind.IN_PROCESS
        if signing or needs_signature:
            findings += _signature_findings(signing, claim, by, MEASURED_MEANING)
            if signing and content_sha256(content) != seen_sha256:
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
        if needs_signature:
            claim_signature(claim, sample=sample, person=by, meaning=MEASURED_MEANING, content=content, at=at)
        raise_signals(sample=sample, by=by, at=at)
        if sample.state == SampleState.ACCEPTED:
            _move_on(batch, sample)
        elif sample.state == SampleState.REJECTED:
            put_on_hold(batch=batch, sample=sample, reason=_reason(sample), by=by, at=at)
    return sample


def countersign_first_piece(
    *, sample: Sample, by: Person, at: datetime, signing: Signing | None, seen_sha256: str = "", claim: Claim | None = None
) -> Sample:
    """An inspector approves a first piece: a second person, with a signature of their own, or a claim of one without network."""
    with transaction.atomic():
        sample, content, findings = _for_inspector(sample, by, at, signing, APPROVED_MEANING, claim)
        if signing and content_sha256(content) != seen_sha256:
            findings.append(misfit("sign.stale"))
        refuse_if(findings)
        sample.state, sample.concluded_at = SampleState.ACCEPTED, at
        sample.save(update_fields=["state", "concluded_at"])
        publish(FirstPieceCountersigned(by=by, at=at, subject=sample_subject(sample), content=content, signing=signing))
        claim_signature(claim, sample=sample, person=by, meaning=APPROVED_MEANING, content=content, at=at)
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


def _signature_findings(signing: Signing | None, claim: Claim | None, by: Person, meaning: str) -> list[Finding]:
    """A signature of this person with this meaning, or the claim of one."""
    if signing is None:
        return [] if claim else [misfit("sign.other", "secret", meaning=meaning, person=by.name)]
    return signing_findings(signing, by, meaning)


def _for_inspector(
    sample: Sample, by: Person, at: datetime, signing: Signing | None, meaning: str, claim: Claim | None = None
) -> tuple[Sample, dict[str, object], list[Finding]]:
    batch = locked_batch(sample.batch)
    sample = Sample.objects.select_for_update().get(pk=sample.pk)
    sample.batch = batch
    findings = permission_findings(by, Deed.COUNTERSIGN) + _signature_findings(signing, claim, by, meaning)
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
    return f"{SampleKind(sample.kind).value}: {'; '.join(parts)}"[:300]


def _open_sample(sample: Sample, by: Person, at: datetime, process: Process) -> Sample:
    """The sample as it is now, locked with its batch. Raises Refused for a wrong state, role or qualification."""
    batch = locked_as_known(sample.batch)
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


def source_findings(source: str) -> list[Finding]:
    """A value says how it came in; what a simulated gauge says is no measurement of a real piece."""
    if source and source not in ReadingSource.values:
        return [misfit("reading.source", "source", source=source, sources=", ".join(ReadingSource.values))]
    if source == ReadingSource.SIMULATED and not settings.SIMULATED_GAUGE:
        return [misfit("reading.simulated", "source")]
    return []


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
        raise Refused([misfit("reading.impossible", "value", text=text, largest=LARGEST[quantity], unit=BASE_UNIT[quantity])])
    believed = plausibility(typed.value, limits)
    if believed.kind is not Plausible.OK and not confirmed:
        raise Refused([implausible(text, believed, limits, BASE_UNIT[quantity])])
    return typed


def _gauge_in_use(sample: Sample, kind: str, tolerance: Decimal | None, at: datetime) -> tuple[Gauge, Calibration]:
    """The gauge of this kind in the set-up, held against rule 9 at this very moment."""
    scan = gauge_scan(sample.batch, kind)
    if scan is None or scan.gauge is None or scan.calibration is None:
        raise Refused([misfit("reading.gauge", kind=kind)])
    refuse_if(gauge_findings(scan.gauge, tolerance, shop_day(at)))
    return scan.gauge, scan.gauge.calibration_in_force(shop_day(at)) or scan.calibration
