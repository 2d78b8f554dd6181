"""What batches, samples, measurements and holds look like."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from django.db.models import OuterRef, QuerySet, Subquery
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from inspection.acts.samples import missing_from
from inspection.api.shapes import SampleShape
from inspection.contents import sample_content, sample_outcome
from inspection.models import (
    Batch,
    BatchStatus,
    Hold,
    HoldDecision,
    OutcomeText,
    Reading,
    Sample,
    SampleKind,
    SampleState,
    SetupPart,
)
from inspection.plan import SamplePlan, plan_of, sample_plan
from inspection.queries import next_sample_due, open_batches, sample_due
from inspection.set_up import PartState, six_parts
from shop.api.fields import AnySerializer, FigureOut, FindingSerializer, Shape, Word
from shop.canonical import content_sha256, plain
from shop.characteristics import MEASURED
from shop.clock import now

# --- Plans -----------------------------------------------------------------------------------------------------------------------


class PlannedOut(AnySerializer):
    """A characteristic of a sample: on how many pieces, within which limits in its unit, with which kind of gauge."""

    characteristic = serializers.CharField()
    pieces = serializers.IntegerField()
    unit = serializers.CharField()
    low = FigureOut(source="limits.low", places=2, allow_null=True)
    nominal = FigureOut(source="limits.nominal", places=2, allow_null=True)
    high = FigureOut(source="limits.high", places=2, allow_null=True)
    gauge_kind = serializers.CharField()


class CriterionOut(AnySerializer):
    """A visual criterion: what is seen when it is accepted, and when it is not."""

    code = serializers.CharField()
    title = serializers.CharField()
    accept = serializers.CharField()
    reject = serializers.CharField()
    source = serializers.CharField()  # type: ignore[assignment]  # a declared field is no attribute of the class


class SamplePlanOut(AnySerializer):
    """What a sample has to contain."""

    readings = PlannedOut(many=True)
    pulls = serializers.IntegerField()
    pull_minimum_n = FigureOut(allow_null=True)
    criteria = CriterionOut(many=True)


class PlanOfKindOut(AnySerializer):
    """The plan of one kind of sample."""

    kind = Word(SampleKind)
    plan = SamplePlanOut()


# --- Batches ---------------------------------------------------------------------------------------------------------------------


class BatchOut(AnySerializer):
    """A batch: one run of one termination on one tool."""

    id = serializers.IntegerField()
    number = serializers.CharField()
    status = Word(BatchStatus)
    job = serializers.CharField(source="termination.sheet.job.number")
    sheet = serializers.CharField(source="termination.sheet.number")
    revision = serializers.IntegerField(source="termination.sheet.revision")
    termination = serializers.IntegerField(source="termination_id")
    lead = serializers.CharField(source="termination.lead")
    end = serializers.CharField(source="termination.end")
    tool = serializers.CharField(source="termination.tool.asset_number", allow_null=True, default=None, help_text="The tool of the sheet.")
    quantity = serializers.IntegerField(help_text="Pieces planned.")
    last_count = serializers.IntegerField(help_text="Pieces made, as last stated.")
    setup_number = serializers.IntegerField()
    next_sample_due = serializers.SerializerMethodField(help_text="Piece count of the next in-process sample; null unless it runs.")
    next_sample_due_at = serializers.SerializerMethodField(help_text="And at the latest then, where the plan asks by minutes too.")
    opened_at = serializers.DateTimeField()
    closed_at = serializers.DateTimeField(allow_null=True)
    made = serializers.IntegerField(allow_null=True)
    good = serializers.IntegerField(allow_null=True)
    scrap = serializers.IntegerField(allow_null=True)
    destroyed = serializers.IntegerField(allow_null=True)
    held = serializers.IntegerField(allow_null=True)

    def get_next_sample_due(self, batch: Batch) -> int | None:
        if batch.status != BatchStatus.RUNNING:
            return None
        return next_sample_due(batch, getattr(batch, "last_good", None) or 0)

    @extend_schema_field(serializers.DateTimeField(allow_null=True))
    def get_next_sample_due_at(self, batch: Batch) -> datetime | None:
        if batch.status != BatchStatus.RUNNING:
            return None
        return sample_due(batch, now(), last_good=getattr(batch, "last_good", None) or 0, last_taken=getattr(batch, "last_taken", None)).at


class PartOut(AnySerializer):
    """One of the six parts."""

    part = Word(SetupPart)
    proven = serializers.BooleanField()
    codes = serializers.SerializerMethodField(help_text="What was scanned and proves it.")
    missing = serializers.ListField(child=serializers.CharField())

    def get_codes(self, part: PartState) -> list[str]:
        return [scan.code for scan in part.scans]


class SampleOut(AnySerializer):
    """A sample of a batch."""

    id = serializers.IntegerField()
    batch = serializers.IntegerField(source="batch_id")
    number = serializers.IntegerField()
    kind = Word(SampleKind)
    state = Word(SampleState)
    setup_number = serializers.IntegerField()
    at_count = serializers.IntegerField()
    taken_by = serializers.CharField(source="taken_by.username")
    taken_at = serializers.DateTimeField()
    concluded_at = serializers.DateTimeField(allow_null=True)


class HoldOut(AnySerializer):
    """Why a run was stopped, which pieces are suspect, and what was decided."""

    id = serializers.IntegerField()
    batch = serializers.IntegerField(source="batch_id")
    batch_number = serializers.CharField(source="batch.number")
    sample = serializers.IntegerField(source="sample_id", allow_null=True)
    reason = serializers.CharField()
    suspect_from = serializers.IntegerField(help_text="The last good count: pieces after it are suspect.")
    suspect_to = serializers.IntegerField()
    raised_by = serializers.CharField(source="raised_by.username")
    raised_at = serializers.DateTimeField()
    decision = Word(HoldDecision, allow_blank=True, help_text="Empty while it is open.")
    decision_reason = serializers.CharField()
    scrapped = serializers.IntegerField()
    kept_held = serializers.IntegerField()
    decided_by = serializers.CharField(source="decided_by.username", allow_null=True, default=None)
    decided_at = serializers.DateTimeField(allow_null=True)


class LoadedOut(AnySerializer):
    """A reel or spool in the batch."""

    lot = serializers.CharField(source="lot.lot_number")
    from_count = serializers.IntegerField()
    to_count = serializers.IntegerField(allow_null=True)


class BatchWhole(BatchOut):
    """A batch with its six parts, lots, samples, holds, and the plan of its samples."""

    parts = PartOut(many=True)
    loaded_lots = LoadedOut(many=True)
    samples = SampleOut(many=True)
    holds = HoldOut(many=True)
    sample_plans = PlanOfKindOut(many=True)


def batches() -> QuerySet[Batch]:
    """Batches with what their lists show, the last good count beside each."""
    good = Sample.objects.filter(batch=OuterRef("pk"), state=SampleState.ACCEPTED).order_by("-at_count", "-number")
    newest = {"last_good": Subquery(good.values("at_count")[:1]), "last_taken": Subquery(good.values("taken_at")[:1])}
    return open_batches().annotate(**newest).order_by("-opened_at", "number")


def holds() -> QuerySet[Hold]:
    return Hold.objects.select_related("batch", "raised_by", "decided_by")


def batch_shown(pk: int) -> dict[str, Any]:
    batch = batches().get(pk=pk)
    plans = [{"kind": kind, "plan": sample_plan(batch.termination, kind)} for kind in SampleKind.values]
    shown: dict[str, Any] = dict(BatchOut(batch).data)
    shown["parts"] = PartOut(six_parts(batch), many=True).data
    shown["loaded_lots"] = LoadedOut(batch.loaded_lots.select_related("wire_lot", "terminal_lot"), many=True).data
    shown["samples"] = SampleOut(batch.samples.select_related("taken_by"), many=True).data
    shown["holds"] = HoldOut(holds().filter(batch=batch), many=True).data
    shown["sample_plans"] = PlanOfKindOut(plans, many=True).data
    return shown


# --- Samples ---------------------------------------------------------------------------------------------------------------------


class MeasurementOut(AnySerializer):
    """What readings, pull tests and visual findings have in common. Nothing is ever changed: a correction is a new row."""

    id = serializers.IntegerField()
    by = serializers.CharField(source="by.username")
    at = serializers.DateTimeField()
    stands = serializers.SerializerMethodField(help_text="Whether no later row corrects it.")
    corrects = serializers.IntegerField(source="corrects_id", allow_null=True)
    correction_reason = serializers.CharField()

    def get_stands(self, row: Any) -> bool:
        return not hasattr(row, "corrected_by")


class ReadingOut(MeasurementOut):
    """A value as typed or sent by a gauge, with its outcome."""

    characteristic = serializers.CharField()
    piece = serializers.IntegerField()
    value = serializers.CharField(source="text", help_text="As typed, digits kept.")
    unit = serializers.CharField()
    base_value = FigureOut(source="value", help_text="In the unit of the limits.")
    base_unit = serializers.SerializerMethodField()
    low = FigureOut(places=2, allow_null=True)
    high = FigureOut(places=2, allow_null=True)
    outcome = Word(OutcomeText)
    decision_rule = serializers.CharField()
    guard_band = FigureOut(help_text="How far acceptance stays inside the limits, in their unit.")
    gauge = serializers.CharField(source="gauge.asset_number")
    came = serializers.CharField(source="source", help_text="How the value came in; empty where nobody said.")

    def get_base_unit(self, row: Reading) -> str:
        return MEASURED[row.characteristic].unit


class PullOut(MeasurementOut):
    """A pull test: the peak force as typed, and how it ended."""

    piece = serializers.IntegerField()
    value = serializers.CharField(source="text")
    unit = serializers.CharField()
    force_n = FigureOut()
    minimum_n = FigureOut()
    mode = serializers.CharField()
    outcome = Word(OutcomeText)
    decision_rule = serializers.CharField()
    guard_band = FigureOut()
    gauge = serializers.CharField(source="gauge.asset_number")
    came = serializers.CharField(source="source")


class VisualOut(MeasurementOut):
    """A visual criterion, accepted or rejected."""

    criterion = serializers.CharField()
    accepted = serializers.BooleanField()
    note = serializers.CharField()


class SampleWhole(SampleOut):
    """A sample with its plan, every row of it, and what a signature would cover: send `content_sha256` back as seen_sha256."""

    plan = SamplePlanOut()
    readings = ReadingOut(many=True)
    pulls = PullOut(many=True)
    visuals = VisualOut(many=True)
    missing = serializers.ListField(child=serializers.CharField(), help_text="What the plan still asks for.")
    outcome = Word(OutcomeText)
    content = Shape(SampleShape)
    content_sha256 = serializers.CharField()


def samples() -> QuerySet[Sample]:
    return Sample.objects.select_related(
        "taken_by", "batch__termination__sheet", "batch__termination__terminal", "batch__termination__tool"
    )


def sample_shown(pk: int) -> dict[str, Any]:
    sample = samples().get(pk=pk)
    plan: SamplePlan = plan_of(sample)
    content = sample_content(sample)
    measured = ("by", "gauge", "corrected_by")
    shown: dict[str, Any] = dict(SampleOut(sample).data)
    shown["plan"] = SamplePlanOut(plan).data
    shown["readings"] = ReadingOut(sample.readings.select_related(*measured), many=True).data
    shown["pulls"] = PullOut(sample.pull_tests.select_related(*measured), many=True).data
    shown["visuals"] = VisualOut(sample.visual_findings.select_related("by", "corrected_by"), many=True).data
    shown["missing"] = missing_from(sample)
    shown["outcome"] = sample_outcome(sample).value
    shown["content"] = plain(content)
    shown["content_sha256"] = content_sha256(content)
    return shown


class ScanOut(AnySerializer):
    """The answer to a scan: accepted or not, for which part, with every rule's answer; and the six parts as they stand now."""

    code = serializers.CharField(help_text="The shop's number of what was scanned.")
    scanned = serializers.CharField(help_text="What the label said where that was not the number itself, element strings in brackets.")
    part = serializers.CharField(help_text="Empty where the code is of nothing known.")
    choices = serializers.ListField(
        child=serializers.CharField(), help_text="The lots one of which it is: scan the right one by its number."
    )
    accepted = serializers.BooleanField()
    findings = FindingSerializer(many=True)
    batch = BatchWhole()
