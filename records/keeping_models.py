"""How long records are kept: files attached to things, retention rules, legal holds, and what was disposed of."""

from __future__ import annotations

from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_lazy as _

from shop.fields import key_field, positive
from shop.people import Person


class Attachment(models.Model):
    """A file that a person put to a thing. Never changed; a wrong one is withdrawn by another row. subject: as the ledger names it."""

    subject_kind = models.CharField(max_length=40)
    subject_id = models.BigIntegerField()
    subject_name = models.CharField(max_length=120)
    title = models.CharField(_("title"), max_length=120)
    file_name = models.CharField(_("file"), max_length=200)
    file_type = models.CharField(max_length=80)
    size = models.PositiveIntegerField()
    sha256 = models.CharField(max_length=64)
    by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="attachments")
    at = models.DateTimeField()

    class Meta:
        ordering = ["pk"]
        verbose_name = _("attachment")
        indexes = [models.Index(fields=["subject_kind", "subject_id"], name="attachment_subject")]

    def __str__(self) -> str:
        return self.title


class AttachmentWithdrawal(models.Model):
    """An attachment that counts no longer: it stays readable, with the reason."""

    attachment = models.OneToOneField(Attachment, on_delete=models.PROTECT, related_name="withdrawal")
    reason = models.CharField(_("reason"), max_length=300)
    by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        verbose_name = _("withdrawal of an attachment")

    def __str__(self) -> str:
        return f"{self.attachment}: {self.reason}"


class RecordKind(models.TextChoices):
    """What a retention rule is about: records of one sort, whose files are kept equally long."""

    SETUP_SHEETS = "setup sheets", _("Issued setup sheets")
    BATCH_RECORDS = "batch records", _("Batch records and first-article reports")
    LOT_REPORTS = "lot reports", _("Trace reports and certificates of lots and shipments")
    STUDY_REPORTS = "study reports", _("Study reports")
    NONCONFORMANCES = "nonconformance reports", _("Nonconformance reports")
    STATUS_LISTS = "status lists", _("Calibration status lists")
    AUDIT_TRAILS = "audit trails", _("Issued audit trails")
    CONTROLLED = "controlled documents", _("Files of controlled documents")
    MATERIAL_PAPERS = "material papers", _("Attachments of wire and terminal lots")
    EQUIPMENT_PAPERS = "equipment papers", _("Attachments of tools, gauges and calibrations")
    PRODUCTION_PAPERS = "production papers", _("Attachments of batches, lots, shipments, studies and cases")
    IMPORTS = "import files", _("Imported files")
    PACKAGES = "evidence packages", _("Evidence packages")


class After(models.TextChoices):
    """From when on the years of a rule count."""

    MADE = "made", _("it was issued, attached or imported")
    OVER = "over", _("what it is about came to its end")
    PART = "part inactive", _("the harness part was last ordered, made or shipped")


class RetentionRule(models.Model):
    """How long records of one kind are kept, as quality signed it. The newest of a kind is in force; never changed.

    years: full calendar years after the year of the event; None: kept for good.
    """

    kind = models.CharField(_("records"), max_length=24, choices=RecordKind)
    years = models.PositiveSmallIntegerField(_("years"), null=True, blank=True)
    after = models.CharField(_("counted from when"), max_length=16, choices=After)
    reason = models.CharField(_("reason, with its source"), max_length=300)
    by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        ordering = ["-pk"]
        verbose_name = _("retention rule")
        constraints = [positive("years", "retention_years_positive")]
        indexes = [models.Index(fields=["kind"], name="retention_kind")]

    def __str__(self) -> str:
        return f"R-{self.pk:04d}"


class HoldScope(models.TextChoices):
    SHIPMENT = "shipment", _("a shipment")
    LOT = "harness lot", _("a harness lot")
    BATCH = "batch", _("a batch")
    JOB = "job", _("a job")
    CUSTOMER = "customer", _("a customer")
    PART = "part number", _("a part number")
    PERIOD = "period", _("a period")


class LegalHold(models.Model):
    """Nothing inside the scope is disposed of until the hold is lifted. `since` and `until` are days of the shop, both included."""

    number = key_field(_("legal hold"), unique=True)
    scope = models.CharField(_("holds"), max_length=16, choices=HoldScope)
    name = models.CharField(_("number"), max_length=60, blank=True)
    since = models.DateField(_("from"), null=True, blank=True)
    until = models.DateField(_("to"), null=True, blank=True)
    reason = models.CharField(_("reason"), max_length=500)
    reference = models.CharField(_("reference"), max_length=120)
    placed_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    placed_at = models.DateTimeField()
    lifted_because = models.CharField(_("lifted because"), max_length=500, blank=True)
    lifted_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+", null=True, blank=True)
    lifted_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["-pk"]
        verbose_name = _("legal hold")
        constraints = [
            models.CheckConstraint(
                condition=Q(scope="period", name="", since__isnull=False, until__isnull=False, until__gte=F("since"))
                | (~Q(scope="period") & ~Q(name="")),
                name="legal_hold_says_on_what",
            ),
            models.CheckConstraint(
                condition=Q(lifted_at__isnull=True, lifted_by__isnull=True, lifted_because="")
                | (Q(lifted_at__isnull=False, lifted_by__isnull=False) & ~Q(lifted_because="")),
                name="legal_hold_lifted_by_somebody",
            ),
        ]

    def __str__(self) -> str:
        return self.number

    @property
    def what(self) -> str:
        """What is held, in words."""
        return f"{self.since} to {self.until}" if self.scope == HoldScope.PERIOD else f"{self.scope} {self.name}"


class Disposal(models.Model):
    """Quality signed that files of due records go. The bytes go afterwards, by the worker.

    finished_at: when every file was found gone, or kept because another record still holds the same bytes.
    """

    number = key_field(_("disposal"), unique=True)
    kind = models.CharField(_("records"), max_length=24, choices=RecordKind)
    rule = models.ForeignKey(RetentionRule, on_delete=models.PROTECT, related_name="disposals")
    reason = models.CharField(_("note"), max_length=500, blank=True)
    by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="disposals")
    at = models.DateTimeField()
    finished_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["-pk"]
        verbose_name = _("disposal")

    def __str__(self) -> str:
        return self.number


class KeptAs(models.TextChoices):
    """Where the row stands whose file is kept."""

    DOCUMENT = "document", _("issued document")
    ATTACHMENT = "attachment", _("attachment")
    CONTROLLED = "controlled document", _("controlled document")
    IMPORT = "import", _("import")
    PACKAGE = "evidence package", _("evidence package")


class DisposedFile(models.Model):
    """One file of one record that was disposed of: its hash, size and dates stay. Never changed.

    stored: the name its bytes had in storage. due_on: the first day on which the rule allowed it.
    """

    disposal = models.ForeignKey(Disposal, on_delete=models.PROTECT, related_name="files")
    kept_as = models.CharField(max_length=20, choices=KeptAs)
    row_id = models.BigIntegerField()
    name = models.CharField(max_length=200)
    stored = models.CharField(max_length=120, db_index=True)
    sha256 = models.CharField(max_length=64)
    size = models.PositiveBigIntegerField()
    made_at = models.DateTimeField()
    due_on = models.DateField()

    class Meta:
        ordering = ["pk"]
        verbose_name = _("disposed file")
        constraints = [models.UniqueConstraint(fields=["kept_as", "row_id", "sha256"], name="file_disposed_once")]

    def __str__(self) -> str:
        return f"{self.name}: {self.sha256[:12]}"


def next_number(prefix: str, model: type[models.Model]) -> str:
    """ "LH-0007": the next of a kind. Two at once get the same, and the unique column lets one through."""
    return f"{prefix}-{model._default_manager.count() + 1:04d}"
