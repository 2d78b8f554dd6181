"""Nonconformances: what was found, what caused it, what is done about it, and the proof that it worked.

What was already done with the pieces (holds, dispositions, containment) is pointed at and never copied. Causes, measures and proofs are
never changed: the newest stands, the older ones stay readable.
"""

from __future__ import annotations

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from inspection.batch_models import Batch
from inspection.study import Study
from shop.crib import Press
from shop.fields import key_field
from shop.jobs import Customer
from shop.materials import Terminal, TerminalLot, Wire, WireLot
from shop.people import Person
from shop.tools import Tool


class Origin(models.TextChoices):
    """What brought it up."""

    HOLD = "hold", _("a hold on a batch")
    HELD = "held pieces", _("held pieces of a batch")
    SAMPLED = "sampled lot", _("a lot rejected by sample")
    CONTAINMENT = "containment case", _("a containment case")
    COMPLAINT = "customer complaint", _("a customer's complaint")
    SEEN = "seen", _("somebody saw it")


class FoundAt(models.TextChoices):
    RECEIVING = "receiving", _("receiving")
    IN_PROCESS = "in process", _("in process")
    FINAL = "final", _("final inspection")
    CUSTOMER = "customer", _("at the customer's")


class NonconformanceState(models.TextChoices):
    OPEN = "open", _("open")
    CLOSED = "closed", _("closed")


class Nonconformance(models.Model):
    """Something did not meet a requirement. quantity: pieces concerned, None where nobody knows.

    defect_kind: a code of `inspection.defect_kinds`. tool, press, terminal, wire, person: what it may have to do with, by which it is
    found again; lots and batch: where it was found. person: shown to quality only.
    """

    number = key_field(_("nonconformance"), unique=True)
    origin = models.CharField(_("brought up by"), max_length=20, choices=Origin)
    found_at = models.CharField(_("found at"), max_length=12, choices=FoundAt)
    what = models.CharField(_("what was found"), max_length=500)
    requirement = models.CharField(_("requirement it breaks"), max_length=300)
    quantity = models.PositiveIntegerField(_("pieces concerned"), null=True, blank=True)
    defect_kind = models.CharField(_("kind of defect"), max_length=80)
    batch = models.ForeignKey(Batch, on_delete=models.PROTECT, related_name="nonconformances", null=True, blank=True)
    tool = models.ForeignKey(Tool, on_delete=models.PROTECT, related_name="nonconformances", null=True, blank=True)
    press = models.ForeignKey(Press, on_delete=models.PROTECT, related_name="nonconformances", null=True, blank=True)
    terminal = models.ForeignKey(Terminal, on_delete=models.PROTECT, related_name="nonconformances", null=True, blank=True)
    wire = models.ForeignKey(Wire, on_delete=models.PROTECT, related_name="nonconformances", null=True, blank=True)
    person = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="nonconformances", null=True, blank=True)
    terminal_lot = models.ForeignKey(TerminalLot, on_delete=models.PROTECT, related_name="nonconformances", null=True, blank=True)
    wire_lot = models.ForeignKey(WireLot, on_delete=models.PROTECT, related_name="nonconformances", null=True, blank=True)
    customer = models.ForeignKey(Customer, on_delete=models.PROTECT, related_name="nonconformances", null=True, blank=True)
    customer_reference = models.CharField(_("the customer's own number"), max_length=60, blank=True)
    state = models.CharField(_("state"), max_length=8, choices=NonconformanceState, default=NonconformanceState.OPEN)
    opened_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="nonconformances_opened")
    opened_at = models.DateTimeField()
    closed_at = models.DateTimeField(null=True, blank=True)
    reopened_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["-opened_at", "-pk"]
        verbose_name = _("nonconformance")
        constraints = [
            models.CheckConstraint(
                condition=Q(state="open", closed_at__isnull=True) | Q(state="closed", closed_at__isnull=False),
                name="nonconformance_closed_at_a_time",
            ),
            models.CheckConstraint(
                condition=~Q(origin="customer complaint") | Q(customer__isnull=False), name="nonconformance_complaint_of_a_customer"
            ),
        ]
        indexes = [models.Index(fields=["defect_kind", "opened_at"], name="nonconformance_of_kind")]

    def __str__(self) -> str:
        return self.number

    @property
    def is_open(self) -> bool:
        return self.state == NonconformanceState.OPEN


class LinkKind(models.TextChoices):
    """What a nonconformance can point at. Lots, shipments and cases belong to the records above: kept by kind, key and number."""

    HOLD = "hold", _("hold")
    BATCH = "batch", _("batch")
    INSPECTION = "lot inspection", _("lot inspection")
    CASE = "containment case", _("containment case")
    LOT = "harness lot", _("harness lot")
    SHIPMENT = "shipment", _("shipment")


class NonconformanceLink(models.Model):
    """Something the nonconformance is about, or another finding of the same. Never changed."""

    nonconformance = models.ForeignKey(Nonconformance, on_delete=models.PROTECT, related_name="links")
    kind = models.CharField(max_length=20, choices=LinkKind)
    subject_id = models.BigIntegerField()
    name = models.CharField(max_length=120)
    by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        ordering = ["pk"]
        constraints = [models.UniqueConstraint(fields=["nonconformance", "kind", "subject_id"], name="nonconformance_link_once")]
        indexes = [models.Index(fields=["kind", "subject_id"], name="nonconformance_link_subject")]

    def __str__(self) -> str:
        return f"{self.nonconformance}: {self.kind} {self.name}"


class Cause(models.Model):
    """Why it happened and why nobody noticed. parts: which of the six failed; because: up to five lines, each the reason of the last."""

    nonconformance = models.ForeignKey(Nonconformance, on_delete=models.PROTECT, related_name="causes")
    parts = models.JSONField()
    occurred = models.CharField(_("why it occurred"), max_length=500)
    undetected = models.CharField(_("why it was not noticed earlier"), max_length=500)
    because = models.JSONField(default=list, blank=True)
    by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        ordering = ["pk"]
        verbose_name = _("cause")

    def __str__(self) -> str:
        return f"{self.nonconformance}: {self.occurred}"


class ActionKind(models.TextChoices):
    OCCURRENCE = "occurrence", _("so that it does not happen again")
    DETECTION = "detection", _("so that it is noticed")
    SPREAD = "spread", _("the same elsewhere")


class ActionResult(models.TextChoices):
    DONE = "done", _("done")
    DROPPED = "dropped", _("dropped")


class CorrectiveAction(models.Model):
    """What is done, by whom, until when. It ends done, with evidence, or dropped, with a reason; both in `evidence`."""

    nonconformance = models.ForeignKey(Nonconformance, on_delete=models.PROTECT, related_name="actions")
    number = models.PositiveIntegerField()
    kind = models.CharField(_("what for"), max_length=12, choices=ActionKind)
    what = models.CharField(_("what is done"), max_length=500)
    responsible = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="corrective_actions", verbose_name=_("who sees to it"))
    due_on = models.DateField(_("until"))
    stated_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    stated_at = models.DateTimeField()
    result = models.CharField(max_length=8, choices=ActionResult, blank=True)
    evidence = models.CharField(_("evidence"), max_length=500, blank=True)
    ended_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+", null=True, blank=True)
    ended_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["nonconformance", "number"]
        verbose_name = _("corrective action")
        constraints = [
            models.UniqueConstraint(fields=["nonconformance", "number"], name="corrective_action_number_once"),
            models.CheckConstraint(
                condition=Q(result="", ended_at__isnull=True, ended_by__isnull=True)
                | (~Q(result="") & Q(ended_at__isnull=False, ended_by__isnull=False) & ~Q(evidence="")),
                name="corrective_action_ends_with_evidence",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.nonconformance} action {self.number}"


class MeasureKind(models.TextChoices):
    PIECES = "pieces", _("no finding in the next pieces")
    BATCHES = "batches", _("no finding in the next batches")
    DATE = "date", _("no finding until a day")
    STUDY = "study", _("a study shows it")
    TEXT = "text", _("a proof in words")


class Scope(models.TextChoices):
    """Where findings are counted."""

    TOOL = "tool", _("with the tool")
    PRESS = "press", _("on the press")
    TERMINAL = "terminal", _("of the terminal")
    WIRE = "wire", _("of the wire")
    PERSON = "person", _("by the person")
    EVERYWHERE = "everywhere", _("anywhere in the shop")


class EffectMeasure(models.Model):
    """What will prove that it worked, stated before it is looked at. Never changed: a later one stands in its place."""

    nonconformance = models.ForeignKey(Nonconformance, on_delete=models.PROTECT, related_name="measures")
    kind = models.CharField(_("proof"), max_length=10, choices=MeasureKind)
    scope = models.CharField(_("counted"), max_length=12, choices=Scope, blank=True)
    target = models.PositiveIntegerField(_("how many"), null=True, blank=True)
    until = models.DateField(_("until"), null=True, blank=True)
    text = models.CharField(_("in words"), max_length=500, blank=True)
    by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        ordering = ["pk"]
        verbose_name = _("measure of the effect")
        constraints = [
            models.CheckConstraint(
                condition=(Q(kind__in=["pieces", "batches"], target__gte=1) & ~Q(scope=""))
                | (Q(kind="date", until__isnull=False) & ~Q(scope=""))
                | (Q(kind__in=["study", "text"]) & ~Q(text="")),
                name="effect_measure_can_be_reached",
            )
        ]

    def __str__(self) -> str:
        return f"{self.nonconformance}: {self.kind}"


class EffectCheck(models.Model):
    """Somebody held the shop's records against the measure and signed what came out. figures: the numbers then. Never changed."""

    measure = models.OneToOneField(EffectMeasure, on_delete=models.PROTECT, related_name="check_made")
    worked = models.BooleanField()
    figures = models.JSONField(default=dict, blank=True)
    study = models.ForeignKey(Study, on_delete=models.PROTECT, related_name="+", null=True, blank=True)
    text = models.CharField(_("what was seen"), max_length=500)
    by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        ordering = ["pk"]
        verbose_name = _("proof of the effect")

    def __str__(self) -> str:
        return f"{self.measure}: {'worked' if self.worked else 'did not work'}"


class Closing(models.Model):
    """A nonconformance was closed, and perhaps reopened. without_action_because: why a correction was enough, or ""."""

    nonconformance = models.ForeignKey(Nonconformance, on_delete=models.PROTECT, related_name="closings")
    conclusion = models.CharField(_("conclusion"), max_length=500, blank=True)
    without_action_because = models.CharField(_("no corrective action, because"), max_length=500, blank=True)
    by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()
    reopened_because = models.CharField(_("reopened because"), max_length=500, blank=True)
    reopened_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+", null=True, blank=True)
    reopened_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["pk"]
        verbose_name = _("closing of a nonconformance")
        constraints = [
            models.CheckConstraint(condition=~Q(conclusion="") | ~Q(without_action_because=""), name="nonconformance_closing_says_why"),
            models.UniqueConstraint(
                fields=["nonconformance"], condition=Q(reopened_at__isnull=True), name="nonconformance_closed_once_at_a_time"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.nonconformance} closed"
