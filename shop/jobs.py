"""Jobs and their setup sheets: what is to be made, with what, to which targets."""

from __future__ import annotations

from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_lazy as _

from shop.characteristics import Characteristic
from shop.crib import Press
from shop.fields import AmpereField, MillimetreField, NewtonField, SquareMillimetreField, key_field, ordered, positive
from shop.materials import Terminal, Wire
from shop.people import Person
from shop.specifications import CrimpSpecification
from shop.tools import GaugeKind, Tool, ToolRow


class Customer(models.Model):
    code = key_field(_("customer code"), unique=True)
    name = models.CharField(_("name"), max_length=120)

    class Meta:
        ordering = ["code"]
        verbose_name = _("customer")

    def __str__(self) -> str:
        return self.name


class Job(models.Model):
    number = key_field(_("job number"), unique=True)
    customer = models.ForeignKey(Customer, on_delete=models.PROTECT, related_name="jobs", verbose_name=_("customer"))
    part_number = models.CharField(_("harness part number"), max_length=60)
    part_name = models.CharField(_("harness name"), max_length=120)
    drawing = models.CharField(_("drawing"), max_length=60)
    drawing_revision = models.CharField(_("drawing revision"), max_length=12)
    purchase_order = models.CharField(_("purchase order"), max_length=60, blank=True)
    quantity = models.PositiveIntegerField(_("harnesses ordered"))
    due_on = models.DateField(_("due"), null=True, blank=True)
    opened_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["-opened_at", "number"]
        verbose_name = _("job")
        constraints = [positive("quantity", "job_quantity_positive")]

    def __str__(self) -> str:
        return self.number


class SheetStatus(models.TextChoices):
    DRAFT = "draft", _("draft")
    IN_REVIEW = "in review", _("in review")
    RELEASED = "released", _("released")
    SUPERSEDED = "superseded", _("superseded")
    WITHDRAWN = "withdrawn", _("withdrawn")


class SheetQuerySet(models.QuerySet["SetupSheet"]):
    def in_force(self) -> SheetQuerySet:
        return self.filter(status=SheetStatus.RELEASED)


class SetupSheet(models.Model):
    """One revision of the sheet that tells the press what to do for a job."""

    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="sheets", verbose_name=_("job"))
    number = key_field(_("sheet number"))
    revision = models.PositiveIntegerField(_("revision"), default=1)
    status = models.CharField(_("status"), max_length=12, choices=SheetStatus, default=SheetStatus.DRAFT)
    change_reason = models.CharField(_("reason for this revision"), max_length=300, blank=True)
    author = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="sheets_drafted", verbose_name=_("drafted by"))
    drafted_at = models.DateTimeField(_("drafted"))
    submitted_at = models.DateTimeField(null=True, blank=True)
    released_at = models.DateTimeField(null=True, blank=True)
    released_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="sheets_released", null=True, blank=True)
    supersedes = models.OneToOneField("self", on_delete=models.PROTECT, related_name="superseded_by", null=True, blank=True)

    objects = SheetQuerySet.as_manager()

    class Meta:
        ordering = ["number", "-revision"]
        verbose_name = _("setup sheet")
        constraints = [
            models.UniqueConstraint(fields=["number", "revision"], name="sheet_revision_once"),
            models.UniqueConstraint(
                fields=["number"],
                condition=Q(status="released"),
                name="sheet_one_in_force",
                violation_error_code="sheet.in_force.one",
                violation_error_message=_("Another revision of this sheet is in force."),
            ),
            models.UniqueConstraint(
                fields=["number"],
                condition=Q(status__in=["draft", "in review"]),
                name="sheet_one_in_work",
                violation_error_code="sheet.in_work.one",
                violation_error_message=_("Another revision of this sheet is being worked on."),
            ),
            models.CheckConstraint(
                condition=Q(released_by__isnull=True) | ~Q(released_by=F("author")),
                name="sheet_released_by_another",
                violation_error_code="sheet.release.author",
                violation_error_message=_("The author of a sheet cannot release it."),
            ),
            models.CheckConstraint(
                condition=Q(status__in=["draft", "in review", "withdrawn"]) | Q(released_at__isnull=False, released_by__isnull=False),
                name="sheet_released_with_signer",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.number} rev {self.revision}"

    @property
    def is_editable(self) -> bool:
        return self.status == SheetStatus.DRAFT

    @property
    def is_released(self) -> bool:
        return self.status == SheetStatus.RELEASED


class Termination(models.Model):
    """One end of one or more leads: which wires, which terminal, on which tool, to which targets, inspected how.

    The targets are copied from the crimp specification when it is picked: a released sheet never changes under an operator's hands.
    """

    sheet = models.ForeignKey(SetupSheet, on_delete=models.PROTECT, related_name="terminations")
    position = models.PositiveIntegerField(_("position"))
    lead = models.CharField(_("lead"), max_length=60)
    end = models.CharField(_("end"), max_length=20)
    circuit = models.CharField(_("circuit"), max_length=60, blank=True)
    terminal = models.ForeignKey(Terminal, on_delete=models.PROTECT, related_name="terminations", verbose_name=_("terminal"))
    tool = models.ForeignKey(Tool, on_delete=models.PROTECT, related_name="terminations", null=True, blank=True, verbose_name=_("tool"))
    tool_row = models.ForeignKey(ToolRow, on_delete=models.PROTECT, related_name="terminations", null=True, blank=True)
    press = models.ForeignKey(Press, on_delete=models.PROTECT, related_name="terminations", null=True, blank=True, verbose_name=_("press"))
    dipped_end = models.BooleanField(_("the end is dipped in solder"), default=False)
    specification = models.ForeignKey(
        CrimpSpecification, on_delete=models.PROTECT, related_name="terminations", null=True, blank=True, verbose_name=_("specification")
    )
    quantity = models.PositiveIntegerField(_("pieces"))
    wire_length_mm = MillimetreField(_("wire length, mm"), null=True, blank=True)
    required_temperature_c = models.IntegerField(_("temperature asked, °C"), null=True, blank=True)
    required_voltage_v = models.PositiveIntegerField(_("voltage asked, V"), null=True, blank=True)
    required_current_a = AmpereField(_("current asked, A"), null=True, blank=True)

    csa_mm2 = SquareMillimetreField(_("conductor area in the barrel, mm²"))
    setting = models.CharField(_("tool setting"), max_length=60, blank=True)
    crimp_height_min_mm = MillimetreField(null=True, blank=True)
    crimp_height_nominal_mm = MillimetreField(null=True, blank=True)
    crimp_height_max_mm = MillimetreField(null=True, blank=True)
    crimp_width_min_mm = MillimetreField(null=True, blank=True)
    crimp_width_nominal_mm = MillimetreField(null=True, blank=True)
    crimp_width_max_mm = MillimetreField(null=True, blank=True)
    insulation_height_min_mm = MillimetreField(null=True, blank=True)
    insulation_height_nominal_mm = MillimetreField(null=True, blank=True)
    insulation_height_max_mm = MillimetreField(null=True, blank=True)
    strip_length_min_mm = MillimetreField(null=True, blank=True)
    strip_length_nominal_mm = MillimetreField(null=True, blank=True)
    strip_length_max_mm = MillimetreField(null=True, blank=True)
    bell_mouth_min_mm = MillimetreField(null=True, blank=True)
    bell_mouth_max_mm = MillimetreField(null=True, blank=True)
    brush_min_mm = MillimetreField(null=True, blank=True)
    brush_max_mm = MillimetreField(null=True, blank=True)
    cut_off_tab_max_mm = MillimetreField(null=True, blank=True)
    resistance_max_mohm = models.DecimalField(max_digits=10, decimal_places=4, null=True, blank=True)
    compaction_min_pct = models.DecimalField(max_digits=5, decimal_places=2, null=True, blank=True)
    compaction_max_pct = models.DecimalField(max_digits=5, decimal_places=2, null=True, blank=True)
    pull_force_min_n = NewtonField(null=True, blank=True)
    pull_force_source = models.CharField(max_length=200, blank=True)

    first_piece_heights = models.PositiveSmallIntegerField(_("crimp heights on the first piece"), default=5)
    first_piece_pulls = models.PositiveSmallIntegerField(_("pull tests on the first piece"), default=3)
    sample_every = models.PositiveIntegerField(_("sample every, pieces"), default=250)
    sample_every_minutes = models.PositiveIntegerField(_("sample every, minutes"), null=True, blank=True)
    sample_size = models.PositiveSmallIntegerField(_("pieces in a sample"), default=1)
    cross_sections = models.PositiveSmallIntegerField(_("cross-sections on the first piece"), default=0)
    last_piece_pulls = models.PositiveSmallIntegerField(_("pull tests on the last piece"), default=1)
    inspector_signs = models.BooleanField(_("an inspector countersigns the first piece"), default=False)
    rework_allowed = models.BooleanField(_("held pieces may be reworked"), default=False)
    # Visual criteria: the codes of usual ones that do not apply here, and what else is looked at, in words.
    criteria_left_out = models.JSONField(default=list, blank=True)
    criteria_added = models.JSONField(default=list, blank=True)

    class Meta:
        ordering = ["sheet", "position"]
        verbose_name = _("termination")
        constraints = [
            models.UniqueConstraint(fields=["sheet", "position"], name="termination_position_once"),
            positive("quantity", "termination_quantity_positive"),
            positive("first_piece_heights", "termination_first_piece_heights"),
            positive("sample_every", "termination_sample_every"),
            positive("sample_size", "termination_sample_size"),
            ordered("crimp_height_min_mm", "crimp_height_max_mm", "termination_height_ordered", nominal="crimp_height_nominal_mm"),
        ]

    def __str__(self) -> str:
        return f"{self.sheet} {self.lead}/{self.end}"

    def ordered_wires(self) -> list[Wire]:
        """The wires in the barrel, in their order (prefetch `termination_wires__wire`)."""
        return [tw.wire for tw in self.termination_wires.all()]


class TerminationWire(models.Model):
    termination = models.ForeignKey(Termination, on_delete=models.PROTECT, related_name="termination_wires")
    wire = models.ForeignKey(Wire, on_delete=models.PROTECT, related_name="termination_wires")
    position = models.PositiveSmallIntegerField(default=1)

    class Meta:
        ordering = ["position"]
        constraints = [models.UniqueConstraint(fields=["termination", "position"], name="termination_wire_position_once")]

    def __str__(self) -> str:
        return f"{self.termination} {self.wire}"


class ChartKind(models.TextChoices):
    """Which control chart follows a characteristic."""

    NONE = "none", _("none")
    INDIVIDUALS = "individuals", _("individuals and moving range")
    MEAN_RANGE = "mean and range", _("mean and range")
    MEAN_S = "mean and s", _("mean and standard deviation")
    EWMA = "EWMA", _("EWMA")
    CUSUM = "CUSUM", _("CUSUM")


class PlanLine(models.Model):
    """What the inspection plan says of one characteristic beyond the usual plan. An empty count is the usual one: `shop.plan_lines`.

    The counts of crimp heights and pull tests that the termination states itself have their only home there.
    """

    termination = models.ForeignKey(Termination, on_delete=models.PROTECT, related_name="plan_lines")
    characteristic = models.CharField(_("characteristic"), max_length=24, choices=Characteristic)
    gauge_kind = models.CharField(_("gauge"), max_length=30, choices=GaugeKind, blank=True)
    first_pieces = models.PositiveSmallIntegerField(_("pieces of the first piece"), null=True, blank=True)
    sample_pieces = models.PositiveSmallIntegerField(_("pieces of a sample in process"), null=True, blank=True)
    last_pieces = models.PositiveSmallIntegerField(_("pieces of the last piece"), null=True, blank=True)
    every_nth = models.PositiveSmallIntegerField(_("in every how many-th sample"), default=1)
    chart = models.CharField(_("chart"), max_length=20, choices=ChartKind, blank=True)

    class Meta:
        ordering = ["termination", "pk"]
        constraints = [
            models.UniqueConstraint(fields=["termination", "characteristic"], name="plan_line_once"),
            positive("every_nth", "plan_line_every_nth"),
        ]

    def __str__(self) -> str:
        return f"{self.termination} {self.characteristic}"


class ReviewComment(models.Model):
    """What a reviewer wrote when sending a sheet back, or an author when answering."""

    sheet = models.ForeignKey(SetupSheet, on_delete=models.PROTECT, related_name="comments")
    by = models.ForeignKey(Person, on_delete=models.PROTECT)
    at = models.DateTimeField()
    text = models.CharField(max_length=500)

    class Meta:
        ordering = ["at"]

    def __str__(self) -> str:
        return self.text


class Performed(models.Model):
    """An act that came with a key from a tablet and was done: a retry finds it here and is answered, not doubled."""

    key = models.CharField(max_length=64, unique=True)
    act = models.CharField(max_length=60)
    by = models.ForeignKey(Person, on_delete=models.PROTECT)
    at = models.DateTimeField()
    result = models.CharField(max_length=60)

    class Meta:
        ordering = ["-at"]

    def __str__(self) -> str:
        return self.key
