"""What was made and measured: batches, their set-up, samples, readings, pull tests, visual findings and holds.

Measurements are never changed: a correction is a new row that points at the one it corrects.
"""

from __future__ import annotations

from typing import Any

from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_lazy as _

from shop.characteristics import Characteristic
from shop.concessions import Concession
from shop.crib import Press
from shop.fields import key_field, positive
from shop.jobs import Termination
from shop.materials import TerminalLot, WireLot
from shop.people import Person, Qualification
from shop.tools import Calibration, Gauge, Tool


class BatchStatus(models.TextChoices):
    SET_UP = "set-up", _("set-up")
    FIRST_PIECE = "first piece", _("first piece")
    RUNNING = "running", _("running")
    ON_HOLD = "on hold", _("on hold")
    CLOSING = "closing", _("closing")
    CLOSED = "closed", _("closed")


IN_WORK = tuple(status.value for status in BatchStatus if status != BatchStatus.CLOSED)


class Batch(models.Model):
    """One run of one termination on one tool, from set-up to balanced counts."""

    number = key_field(_("batch"), unique=True)
    termination = models.ForeignKey(Termination, on_delete=models.PROTECT, related_name="batches")
    quantity = models.PositiveIntegerField(_("pieces planned"))
    status = models.CharField(_("status"), max_length=12, choices=BatchStatus, default=BatchStatus.SET_UP)
    setup_number = models.PositiveIntegerField(default=1)  # grows with every change of tool, press, reel or spool
    opened_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="batches_opened")
    opened_at = models.DateTimeField()
    tool = models.ForeignKey(Tool, on_delete=models.PROTECT, related_name="batches", null=True, blank=True)
    last_count = models.PositiveIntegerField(default=0)  # pieces made, as last stated
    closed_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="batches_closed", null=True, blank=True)
    closed_at = models.DateTimeField(null=True, blank=True)
    made = models.PositiveIntegerField(null=True, blank=True)
    good = models.PositiveIntegerField(null=True, blank=True)
    scrap = models.PositiveIntegerField(null=True, blank=True)
    destroyed = models.PositiveIntegerField(null=True, blank=True)
    held = models.PositiveIntegerField(null=True, blank=True)

    class Meta:
        ordering = ["-opened_at", "number"]
        verbose_name = _("batch")
        verbose_name_plural = _("batches")
        indexes = [
            models.Index(F("opened_at").desc(), "number", name="batch_newest_first"),
            # The few in work among ten years of closed ones, and those closed last.
            models.Index("status", "closed_at", name="batch_in_work"),
        ]
        constraints = [
            positive("quantity", "batch_quantity_positive"),
            models.CheckConstraint(
                condition=~Q(status="closed")
                | Q(made__isnull=False, made=F("good") + F("scrap") + F("destroyed") + F("held"), closed_at__isnull=False),
                name="batch_counts_balance",
                violation_error_code="batch.counts.balance",
                violation_error_message=_("Made must equal good + scrap + destroyed + held."),
            ),
        ]

    def __str__(self) -> str:
        return self.number


class SetupPart(models.TextChoices):
    """The six parts, in the order in which they are always shown."""

    PEOPLE = "people", _("people")
    WIRE = "wire", _("wire")
    TERMINAL = "terminal", _("terminal")
    TOOL = "tool", _("tool")
    DOCUMENTS = "documents", _("documents")
    INSPECTION = "inspection", _("inspection")


class SetupScan(models.Model):
    """One thing held against the released sheet: what was scanned and what the rules answered. Refused scans stay on record too."""

    batch = models.ForeignKey(Batch, on_delete=models.PROTECT, related_name="scans")
    setup_number = models.PositiveIntegerField()
    part = models.CharField(max_length=12, choices=SetupPart)
    code = models.CharField(max_length=80)
    # What the symbol said where it was not the number itself: a supplier's label, its element strings in brackets.
    scanned = models.CharField(max_length=300, blank=True, default="")
    accepted = models.BooleanField()
    findings = models.JSONField()  # [{rule, verdict, compared}] as text, so that the answer can be worded again
    at_count = models.PositiveIntegerField(default=0)
    by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="setup_scans")
    at = models.DateTimeField()
    tool = models.ForeignKey(Tool, on_delete=models.PROTECT, related_name="setup_scans", null=True)
    press = models.ForeignKey(Press, on_delete=models.PROTECT, related_name="setup_scans", null=True)
    wire_lot = models.ForeignKey(WireLot, on_delete=models.PROTECT, related_name="setup_scans", null=True)
    terminal_lot = models.ForeignKey(TerminalLot, on_delete=models.PROTECT, related_name="setup_scans", null=True)
    gauge = models.ForeignKey(Gauge, on_delete=models.PROTECT, related_name="setup_scans", null=True)
    calibration = models.ForeignKey(Calibration, on_delete=models.PROTECT, related_name="setup_scans", null=True)
    qualification = models.ForeignKey(Qualification, on_delete=models.PROTECT, related_name="setup_scans", null=True)

    class Meta:
        ordering = ["pk"]

    def __str__(self) -> str:
        return f"{self.batch}: {self.code}"


class LoadedLot(models.Model):
    """A reel or spool in a batch, from piece `from_count` + 1 to piece `to_count`."""

    batch = models.ForeignKey(Batch, on_delete=models.PROTECT, related_name="loaded_lots")
    wire_lot = models.ForeignKey(WireLot, on_delete=models.PROTECT, related_name="loadings", null=True)
    terminal_lot = models.ForeignKey(TerminalLot, on_delete=models.PROTECT, related_name="loadings", null=True)
    from_count = models.PositiveIntegerField()
    to_count = models.PositiveIntegerField(null=True)
    by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(wire_lot__isnull=False, terminal_lot__isnull=True) | Q(wire_lot__isnull=True, terminal_lot__isnull=False),
                name="loaded_lot_is_one_kind",
            ),
            models.CheckConstraint(condition=Q(to_count__isnull=True) | Q(to_count__gte=F("from_count")), name="loaded_lot_counts_ordered"),
        ]

    def __str__(self) -> str:
        return f"{self.batch}: {self.lot}"

    @property
    def lot(self) -> WireLot | TerminalLot:
        lot = self.wire_lot or self.terminal_lot
        if lot is None:
            raise AssertionError("the database lets no such row in")
        return lot


class SampleKind(models.TextChoices):
    FIRST_PIECE = "first piece", _("first piece")
    IN_PROCESS = "in process", _("in process")
    AFTER_CHANGE = "after change", _("after change")
    LAST_PIECE = "last piece", _("last piece")


class SampleState(models.TextChoices):
    OPEN = "open", _("being measured")
    WAITS_FOR_INSPECTOR = "waits for inspector", _("waits for the inspector")
    ACCEPTED = "accepted", _("accepted")
    REJECTED = "rejected", _("rejected")


class Sample(models.Model):
    batch = models.ForeignKey(Batch, on_delete=models.PROTECT, related_name="samples")
    number = models.PositiveIntegerField()
    kind = models.CharField(max_length=12, choices=SampleKind)
    setup_number = models.PositiveIntegerField()
    at_count = models.PositiveIntegerField()  # pieces made when it was taken
    tool_count = models.PositiveIntegerField(null=True, blank=True)  # the tool's counter then, for its wear
    state = models.CharField(max_length=20, choices=SampleState, default=SampleState.OPEN)
    taken_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="samples_taken")
    taken_at = models.DateTimeField()
    concluded_at = models.DateTimeField(null=True)

    class Meta:
        ordering = ["batch", "number"]
        constraints = [
            models.UniqueConstraint(fields=["batch", "number"], name="sample_number_once"),
            models.UniqueConstraint(fields=["batch"], condition=Q(state="open"), name="sample_one_open_per_batch"),
        ]

    def __str__(self) -> str:
        return f"{self.batch} sample {self.number}"


class OutcomeText(models.TextChoices):
    CONFORMS = "conforms", _("conforms")
    DOES_NOT_CONFORM = "does not conform", _("does not conform")
    UNDECIDED = "undecided", _("cannot be decided")


class ReadingSource(models.TextChoices):
    """How a value came in. Empty on readings from before it was asked."""

    TYPED = "typed", _("typed")
    KEYPAD = "keypad", _("keypad")
    TYPED_BY_GAUGE = "typed by gauge", _("typed by the gauge")
    SERIAL = "serial", _("sent by the gauge")
    SIMULATED = "simulated", _("simulated")


class MeasurementQuerySet(models.QuerySet[Any]):
    def standing(self) -> MeasurementQuerySet:
        """What counts: rows that no later row corrects."""
        return self.filter(corrected_by__isnull=True)


class Measurement(models.Model):
    """What readings, pull tests and visual findings have in common."""

    by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()
    correction_reason = models.CharField(max_length=200, blank=True)

    objects = MeasurementQuerySet.as_manager()

    class Meta:
        abstract = True
        ordering = ["pk"]


class Reading(Measurement):
    """One value of a characteristic other than the pull force. value, low, high: in the stored unit of its quantity (mm, mΩ, %)."""

    sample = models.ForeignKey(Sample, on_delete=models.PROTECT, related_name="readings")
    characteristic = models.CharField(max_length=24, choices=Characteristic)
    piece = models.PositiveSmallIntegerField()
    text = models.CharField(max_length=24)  # as typed or sent, digits kept
    unit = models.CharField(max_length=8)
    value = models.DecimalField(max_digits=12, decimal_places=6)
    low = models.DecimalField(max_digits=10, decimal_places=4, null=True)
    high = models.DecimalField(max_digits=10, decimal_places=4, null=True)
    outcome = models.CharField(max_length=20, choices=OutcomeText)
    decision_rule = models.CharField(max_length=30, default="simple acceptance")
    guard_band = models.DecimalField(max_digits=12, decimal_places=6, default=0)
    gauge = models.ForeignKey(Gauge, on_delete=models.PROTECT, related_name="readings")
    calibration = models.ForeignKey(Calibration, on_delete=models.PROTECT, related_name="readings")
    source = models.CharField(max_length=16, choices=ReadingSource, blank=True, default="")
    corrects = models.OneToOneField("self", on_delete=models.PROTECT, related_name="corrected_by", null=True)

    class Meta(Measurement.Meta):
        verbose_name = _("reading")
        indexes = [models.Index(fields=["sample", "characteristic"], name="reading_of_sample")]

    def __str__(self) -> str:
        return f"{self.characteristic} {self.text} {self.unit}"


class PullTest(Measurement):
    sample = models.ForeignKey(Sample, on_delete=models.PROTECT, related_name="pull_tests")
    piece = models.PositiveSmallIntegerField()
    text = models.CharField(max_length=24)
    unit = models.CharField(max_length=8)
    force_n = models.DecimalField(max_digits=12, decimal_places=4)
    minimum_n = models.DecimalField(max_digits=10, decimal_places=2)
    mode = models.CharField(max_length=40)
    outcome = models.CharField(max_length=20, choices=OutcomeText)
    decision_rule = models.CharField(max_length=30, default="simple acceptance")
    guard_band = models.DecimalField(max_digits=12, decimal_places=6, default=0)
    gauge = models.ForeignKey(Gauge, on_delete=models.PROTECT, related_name="pull_tests")
    calibration = models.ForeignKey(Calibration, on_delete=models.PROTECT, related_name="pull_tests")
    source = models.CharField(max_length=16, choices=ReadingSource, blank=True, default="")
    corrects = models.OneToOneField("self", on_delete=models.PROTECT, related_name="corrected_by", null=True)

    class Meta(Measurement.Meta):
        verbose_name = _("pull test")

    def __str__(self) -> str:
        return f"{self.text} {self.unit}, {self.mode}"


class VisualFinding(Measurement):
    sample = models.ForeignKey(Sample, on_delete=models.PROTECT, related_name="visual_findings")
    criterion = models.CharField(max_length=80)
    accepted = models.BooleanField()
    note = models.CharField(max_length=200, blank=True)
    corrects = models.OneToOneField("self", on_delete=models.PROTECT, related_name="corrected_by", null=True)

    class Meta(Measurement.Meta):
        verbose_name = _("visual finding")

    def __str__(self) -> str:
        return f"{self.criterion}: {'accepted' if self.accepted else 'rejected'}"


class HoldDecision(models.TextChoices):
    RESUME = "resume with a new first piece", _("resume with a new first piece")
    STOP = "end the batch here", _("end the batch here")


class Hold(models.Model):
    """The run is stopped: why, which pieces are suspect, and what quality decided."""

    batch = models.ForeignKey(Batch, on_delete=models.PROTECT, related_name="holds")
    sample = models.ForeignKey(Sample, on_delete=models.PROTECT, related_name="holds", null=True)
    reason = models.CharField(max_length=300)
    suspect_from = models.PositiveIntegerField()  # the last good count: pieces after it are suspect
    suspect_to = models.PositiveIntegerField()
    raised_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="holds_raised")
    raised_at = models.DateTimeField()
    decision = models.CharField(max_length=40, choices=HoldDecision, blank=True)
    decision_reason = models.CharField(max_length=300, blank=True)
    scrapped = models.PositiveIntegerField(default=0)
    kept_held = models.PositiveIntegerField(default=0)
    decided_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="holds_decided", null=True)
    decided_at = models.DateTimeField(null=True)

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.UniqueConstraint(fields=["batch"], condition=Q(decided_at__isnull=True), name="hold_one_open_per_batch"),
            models.CheckConstraint(condition=Q(suspect_to__gte=F("suspect_from")), name="hold_counts_ordered"),
        ]

    def __str__(self) -> str:
        return f"{self.batch}: {self.reason}"

    @property
    def suspect_quantity(self) -> int:
        return self.suspect_to - self.suspect_from


class DispositionKind(models.TextChoices):
    SCRAP = "scrap", _("scrap")
    REWORK = "rework", _("rework")
    USE_AS_IS = "use as is", _("use as is, by concession")
    RETURN = "return to supplier", _("return to supplier")


class Disposition(models.Model):
    """What quality decided about held pieces of a closed batch. Never changed."""

    batch = models.ForeignKey(Batch, on_delete=models.PROTECT, related_name="dispositions")
    number = models.PositiveIntegerField()
    kind = models.CharField(_("what becomes of them"), max_length=20, choices=DispositionKind)
    quantity = models.PositiveIntegerField(_("pieces"))
    note = models.CharField(_("why"), max_length=300)
    concession = models.ForeignKey(Concession, on_delete=models.PROTECT, related_name="dispositions", null=True, blank=True)
    by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        ordering = ["batch", "number"]
        verbose_name = _("disposition")
        constraints = [
            models.UniqueConstraint(fields=["batch", "number"], name="disposition_number_once"),
            positive("quantity", "disposition_quantity_positive"),
            models.CheckConstraint(
                condition=Q(kind="use as is", concession__isnull=False) | (~Q(kind="use as is") & Q(concession__isnull=True)),
                name="disposition_as_is_by_concession",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.batch}: {self.quantity} {self.kind}"
