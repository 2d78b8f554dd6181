"""Controlled documents and the crimp specifications that cite them."""

from __future__ import annotations

from datetime import date

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from shop.fields import MillimetreField, NewtonField, SquareMillimetreField, key_field, ordered, positive
from shop.materials import Terminal
from shop.people import ToolKind


class DocumentKind(models.TextChoices):
    APPLICATION = "application specification", _("application specification")
    DRAWING = "drawing", _("drawing")
    STANDARD = "standard", _("standard")
    INSTRUCTION = "work instruction", _("work instruction")


class Document(models.Model):
    """One revision of a controlled document."""

    number = key_field(_("document number"))
    revision = models.CharField(_("revision"), max_length=12)
    title = models.CharField(_("title"), max_length=200)
    kind = models.CharField(_("kind"), max_length=30, choices=DocumentKind)
    effective_on = models.DateField(_("in force from"))
    withdrawn_on = models.DateField(_("withdrawn"), null=True, blank=True)
    # The file itself lies under its hash; a revision's file never changes.
    file_sha256 = models.CharField(max_length=64, blank=True, editable=False)
    file_name = models.CharField(max_length=200, blank=True, editable=False)
    file_type = models.CharField(max_length=60, blank=True, editable=False)
    file_size = models.PositiveIntegerField(null=True, blank=True, editable=False)

    class Meta:
        ordering = ["number", "revision"]
        verbose_name = _("document")
        constraints = [
            models.UniqueConstraint(fields=["number", "revision"], name="document_revision_once"),
            models.CheckConstraint(
                condition=Q(withdrawn_on__isnull=True) | Q(withdrawn_on__gte=models.F("effective_on")),
                name="document_withdrawn_after_effective",
                violation_error_code="data.dates.order",
                violation_error_message=_("The date of withdrawal lies before the date it came into force."),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.number} rev {self.revision}"

    def is_in_force(self, on: date) -> bool:
        return self.effective_on <= on and (self.withdrawn_on is None or on < self.withdrawn_on)


class SpecificationQuerySet(models.QuerySet["CrimpSpecification"]):
    def in_force(self, on: date) -> SpecificationQuerySet:
        return self.filter(effective_on__lte=on).filter(Q(withdrawn_on__isnull=True) | Q(withdrawn_on__gt=on))


class CrimpSpecification(models.Model):
    """What a good crimp of this terminal on this conductor measures, and which document says so."""

    number = key_field(_("specification number"))
    revision = models.CharField(_("revision"), max_length=12)
    terminal = models.ForeignKey(Terminal, on_delete=models.PROTECT, related_name="specifications", verbose_name=_("terminal"))
    csa_min_mm2 = SquareMillimetreField(_("from conductor area, mm²"))
    csa_max_mm2 = SquareMillimetreField(_("to conductor area, mm²"))
    tool_kind = models.CharField(_("tool kind"), max_length=20, choices=ToolKind, blank=True, help_text=_("Empty: any kind of tool."))
    document = models.ForeignKey(Document, on_delete=models.PROTECT, related_name="specifications", verbose_name=_("document"))
    crimp_height_min_mm = MillimetreField(_("crimp height from, mm"), null=True, blank=True)
    crimp_height_nominal_mm = MillimetreField(_("crimp height nominal, mm"), null=True, blank=True)
    crimp_height_max_mm = MillimetreField(_("crimp height to, mm"), null=True, blank=True)
    crimp_width_min_mm = MillimetreField(_("crimp width from, mm"), null=True, blank=True)
    crimp_width_nominal_mm = MillimetreField(_("crimp width nominal, mm"), null=True, blank=True)
    crimp_width_max_mm = MillimetreField(_("crimp width to, mm"), null=True, blank=True)
    insulation_height_min_mm = MillimetreField(_("insulation crimp height from, mm"), null=True, blank=True)
    insulation_height_nominal_mm = MillimetreField(_("insulation crimp height nominal, mm"), null=True, blank=True)
    insulation_height_max_mm = MillimetreField(_("insulation crimp height to, mm"), null=True, blank=True)
    strip_length_min_mm = MillimetreField(_("strip length from, mm"), null=True, blank=True)
    strip_length_nominal_mm = MillimetreField(_("strip length nominal, mm"), null=True, blank=True)
    strip_length_max_mm = MillimetreField(_("strip length to, mm"), null=True, blank=True)
    bell_mouth_min_mm = MillimetreField(_("bell mouth from, mm"), null=True, blank=True)
    bell_mouth_max_mm = MillimetreField(_("bell mouth to, mm"), null=True, blank=True)
    brush_min_mm = MillimetreField(_("conductor brush from, mm"), null=True, blank=True)
    brush_max_mm = MillimetreField(_("conductor brush to, mm"), null=True, blank=True)
    cut_off_tab_max_mm = MillimetreField(_("cut-off tab to, mm"), null=True, blank=True)
    resistance_max_mohm = models.DecimalField(_("resistance to, mΩ"), max_digits=10, decimal_places=4, null=True, blank=True)
    compaction_min_pct = models.DecimalField(_("compaction from, %"), max_digits=5, decimal_places=2, null=True, blank=True)
    compaction_max_pct = models.DecimalField(_("compaction to, %"), max_digits=5, decimal_places=2, null=True, blank=True)
    pull_force_min_n = NewtonField(_("pull force at least, N"), null=True, blank=True)
    pull_force_source = models.CharField(_("source of the pull force"), max_length=200, blank=True)
    effective_on = models.DateField(_("in force from"))
    withdrawn_on = models.DateField(_("withdrawn"), null=True, blank=True)

    objects = SpecificationQuerySet.as_manager()

    class Meta:
        ordering = ["number", "revision"]
        verbose_name = _("crimp specification")
        constraints = [
            models.UniqueConstraint(fields=["number", "revision"], name="specification_revision_once"),
            models.UniqueConstraint(
                fields=["number"],
                condition=Q(withdrawn_on__isnull=True),
                name="specification_one_current_revision",
                violation_error_code="data.specification.current",
                violation_error_message=_("Another revision of this specification is in force: withdraw that one first."),
            ),
            positive("csa_min_mm2", "specification_csa_positive"),
            positive("pull_force_min_n", "specification_pull_positive"),
            ordered("csa_min_mm2", "csa_max_mm2", "specification_csa_ordered"),
            ordered("crimp_height_min_mm", "crimp_height_max_mm", "specification_height_ordered", nominal="crimp_height_nominal_mm"),
            ordered("crimp_width_min_mm", "crimp_width_max_mm", "specification_width_ordered", nominal="crimp_width_nominal_mm"),
            ordered(
                "insulation_height_min_mm",
                "insulation_height_max_mm",
                "specification_insulation_ordered",
                nominal="insulation_height_nominal_mm",
            ),
            ordered("strip_length_min_mm", "strip_length_max_mm", "specification_strip_ordered", nominal="strip_length_nominal_mm"),
            ordered("bell_mouth_min_mm", "bell_mouth_max_mm", "specification_bell_mouth_ordered"),
            ordered("brush_min_mm", "brush_max_mm", "specification_brush_ordered"),
            ordered("compaction_min_pct", "compaction_max_pct", "specification_compaction_ordered"),
        ]

    def __str__(self) -> str:
        return f"{self.number} rev {self.revision}"

    def is_in_force(self, on: date) -> bool:
        return self.effective_on <= on and (self.withdrawn_on is None or on < self.withdrawn_on)
