"""What was signed and what can be proven: ledger, signatures, issued documents, harness lots and shipments."""

from __future__ import annotations

from django.db import models
from django.db.models import F
from django.utils.translation import gettext_lazy as _

from inspection.models import Batch
from records.chain import GENESIS
from shop.fields import key_field, positive
from shop.jobs import Customer, Job
from shop.people import Person


class LedgerHead(models.Model):
    """The one row that every append locks: how many entries there are and the hash of the last."""

    count = models.PositiveBigIntegerField(default=0)
    hash = models.CharField(max_length=64, default=GENESIS)

    class Meta:
        constraints = [models.CheckConstraint(condition=models.Q(pk=1), name="ledger_has_one_head")]

    def __str__(self) -> str:
        return f"{self.count} entries"


class LedgerEntry(models.Model):
    """One entry of the append-only, hash-chained ledger. `text` is canonical JSON and is what the hash covers; the columns beside it
    repeat parts of it for searching and are compared with it by the verifier."""

    number = models.PositiveBigIntegerField(primary_key=True)
    kind = models.CharField(max_length=60)
    version = models.PositiveSmallIntegerField()
    at = models.DateTimeField(db_index=True)
    by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="ledger_entries")
    subject_kind = models.CharField(max_length=40)
    subject_id = models.BigIntegerField()
    subject_name = models.CharField(max_length=120)
    text = models.TextField()
    previous_hash = models.CharField(max_length=64)
    hash = models.CharField(max_length=64)

    class Meta:
        ordering = ["number"]
        verbose_name = _("ledger entry")
        verbose_name_plural = _("ledger entries")
        # Named here and not at their fields: there PostgreSQL would get a second index of each for LIKE, which nobody asks for.
        indexes = [
            models.Index(fields=["subject_kind", "subject_id"], name="ledger_subject"),
            models.Index(fields=["kind"], name="ledger_kind"),
        ]
        constraints = [models.UniqueConstraint(fields=["hash"], name="ledger_hash_once")]

    def __str__(self) -> str:
        return f"{self.number} {self.kind}"


class Signature(models.Model):
    """A person's signature: printed name, meaning, time, and the hash of exactly what was on the screen."""

    entry = models.OneToOneField(LedgerEntry, on_delete=models.PROTECT, related_name="signature")
    person = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="signatures")
    printed_name = models.CharField(max_length=120)
    meaning = models.CharField(max_length=80)
    signed_at = models.DateTimeField()
    how = models.CharField(max_length=300)
    content_sha256 = models.CharField(max_length=64)
    subject_kind = models.CharField(max_length=40)
    subject_id = models.BigIntegerField()

    class Meta:
        ordering = ["entry_id"]
        verbose_name = _("signature")
        indexes = [models.Index(fields=["subject_kind", "subject_id"], name="signature_subject")]

    def __str__(self) -> str:
        return f"{self.printed_name}: {self.meaning}"


class DocumentKind(models.TextChoices):
    SETUP_SHEET = "setup sheet", _("Setup sheet")
    FIRST_ARTICLE = "first article", _("First-article report")
    BATCH_RECORD = "batch record", _("Batch record")
    TRACE_REPORT = "trace report", _("Trace report")
    STUDY_REPORT = "study report", _("Study report")
    CERTIFICATE = "certificate", _("Certificate of conformity")
    CALIBRATION_STATUS = "calibration status", _("Calibration status")
    AUDIT_TRAIL = "audit trail", _("Audit trail")
    DISPOSAL = "disposal", _("Certificate of disposal")
    NONCONFORMANCE = "nonconformance", _("Nonconformance report")


class IssuedDocument(models.Model):
    """A PDF as it was handed out: rendered once, sealed, stored under its hash, never changed. A later state is a new issue."""

    number = key_field(_("document number"))
    issue = models.PositiveIntegerField(_("issue"))
    kind = models.CharField(_("kind"), max_length=20, choices=DocumentKind)
    title = models.CharField(_("title"), max_length=200)
    subject_kind = models.CharField(max_length=40)
    subject_id = models.BigIntegerField()
    record = models.TextField()  # canonical JSON, the same bytes as the attachment
    record_sha256 = models.CharField(max_length=64)
    sha256 = models.CharField(max_length=64)
    size = models.PositiveIntegerField()
    issued_at = models.DateTimeField()
    issued_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="issued_documents")

    class Meta:
        ordering = ["-issued_at", "number"]
        verbose_name = _("issued document")
        constraints = [models.UniqueConstraint(fields=["number", "issue"], name="document_issue_once")]
        indexes = [models.Index(fields=["subject_kind", "subject_id"], name="document_subject")]

    def __str__(self) -> str:
        return f"{self.number} issue {self.issue}"


class LotKind(models.TextChoices):
    HARNESS = "harness", _("harnesses")
    SUB_ASSEMBLY = "sub-assembly", _("sub-assemblies")
    LEADS = "leads", _("leads")


class HarnessLot(models.Model):
    """Harnesses built together, or sub-assemblies or leads for them: which batches and lots went in, and how many pieces of each.

    kept_back: why the lot may not be shipped or used, until quality releases it; empty: it may.
    """

    number = key_field(_("harness lot"), unique=True)
    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="harness_lots", verbose_name=_("job"))
    kind = models.CharField(_("what it is"), max_length=12, choices=LotKind, default=LotKind.HARNESS)
    quantity = models.PositiveIntegerField(_("harnesses"))
    kept_back = models.CharField(_("kept back because"), max_length=300, blank=True)
    built_at = models.DateTimeField(_("built"))
    built_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="harness_lots")
    batches = models.ManyToManyField(Batch, through="HarnessLotBatch", related_name="harness_lots")

    class Meta:
        ordering = ["-built_at", "number"]
        indexes = [models.Index(F("built_at").desc(), "number", name="harness_lot_newest_first")]
        verbose_name = _("harness lot")
        constraints = [positive("quantity", "harness_lot_quantity_positive")]

    def __str__(self) -> str:
        return self.number


class HarnessLotBatch(models.Model):
    lot = models.ForeignKey(HarnessLot, on_delete=models.PROTECT, related_name="lot_batches")
    batch = models.ForeignKey(Batch, on_delete=models.PROTECT, related_name="lot_batches")
    quantity = models.PositiveIntegerField(_("pieces"))

    class Meta:
        ordering = ["batch__number"]
        constraints = [
            models.UniqueConstraint(fields=["lot", "batch"], name="batch_once_in_a_lot"),
            positive("quantity", "lot_batch_quantity_positive"),
        ]

    def __str__(self) -> str:
        return f"{self.lot}: {self.quantity} of {self.batch}"


class Shipment(models.Model):
    number = key_field(_("shipment"), unique=True)
    customer = models.ForeignKey(Customer, on_delete=models.PROTECT, related_name="shipments", verbose_name=_("customer"))
    delivery_note = models.CharField(_("delivery note"), max_length=60, blank=True)
    shipped_at = models.DateTimeField(_("shipped"))
    shipped_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="shipments")
    lots = models.ManyToManyField(HarnessLot, through="ShipmentLot", related_name="shipments")

    class Meta:
        ordering = ["-shipped_at", "number"]
        indexes = [models.Index(F("shipped_at").desc(), "number", name="shipment_newest_first")]
        verbose_name = _("shipment")

    def __str__(self) -> str:
        return self.number


class ShipmentLot(models.Model):
    shipment = models.ForeignKey(Shipment, on_delete=models.PROTECT, related_name="shipment_lots")
    lot = models.ForeignKey(HarnessLot, on_delete=models.PROTECT, related_name="shipment_lots")
    quantity = models.PositiveIntegerField(_("harnesses"))

    class Meta:
        ordering = ["lot__number"]
        constraints = [
            models.UniqueConstraint(fields=["shipment", "lot"], name="lot_once_in_a_shipment"),
            positive("quantity", "shipment_lot_quantity_positive"),
        ]

    def __str__(self) -> str:
        return f"{self.shipment}: {self.quantity} of {self.lot}"


from records.checkpoints import Checkpoint, LedgerBlock  # noqa: E402
from records.containment_models import Containment, Question, Suspect, SuspectDecision, SuspectDecisionKind, SuspectPlace  # noqa: E402
from records.document_orders import DocumentOrder  # noqa: E402
from records.document_signatures import DocumentSignature  # noqa: E402  # models gathered here, after those they point at
from records.evidence_orders import EvidenceOrder  # noqa: E402
from records.keeping_models import (  # noqa: E402
    Attachment,
    AttachmentWithdrawal,
    Disposal,
    DisposedFile,
    LegalHold,
    RetentionRule,
)
from records.lot_models import HarnessSerial, LotLoss, LotPart, PartOf, ShippedSerial  # noqa: E402
from records.search_models import SearchEntry  # noqa: E402

__all__ = [
    "Attachment",
    "AttachmentWithdrawal",
    "Checkpoint",
    "Containment",
    "Disposal",
    "DisposedFile",
    "DocumentKind",
    "DocumentOrder",
    "DocumentSignature",
    "EvidenceOrder",
    "HarnessLot",
    "HarnessLotBatch",
    "HarnessSerial",
    "IssuedDocument",
    "LedgerBlock",
    "LedgerEntry",
    "LedgerHead",
    "LegalHold",
    "LotKind",
    "LotLoss",
    "LotPart",
    "PartOf",
    "Question",
    "RetentionRule",
    "SearchEntry",
    "Shipment",
    "ShipmentLot",
    "ShippedSerial",
    "Signature",
    "Suspect",
    "SuspectDecision",
    "SuspectDecisionKind",
    "SuspectPlace",
]
