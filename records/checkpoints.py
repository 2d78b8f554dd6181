"""Signed checkpoints of the ledger, and the heads of its whole blocks: rows that are never changed."""

from __future__ import annotations

from django.db import models
from django.utils.translation import gettext_lazy as _

from records.checkpoint_text import Said, Signed, read_text


class LedgerBlock(models.Model):
    """The Merkle head of 1024 entries: block n has entries n * 1024 + 1 to (n + 1) * 1024. What it says follows from the entries; it is
    kept so that a proof reads a thousand hashes and not a million."""

    number = models.PositiveBigIntegerField(primary_key=True)
    head = models.CharField(max_length=64)

    class Meta:
        ordering = ["number"]

    def __str__(self) -> str:
        return f"block {self.number}"


class Checkpoint(models.Model):
    """How far the ledger reached at a moment, signed with the shop's key. `text` is what the signature covers."""

    entries = models.PositiveBigIntegerField(_("entries"), unique=True)
    root = models.CharField(max_length=64)
    head = models.CharField(max_length=64)
    at = models.DateTimeField(_("made"))
    text = models.TextField()
    signature = models.TextField()
    certificate = models.TextField()  # PEM: it verifies after the shop's certificate was renewed
    certificate_sha256 = models.CharField(max_length=64)

    class Meta:
        ordering = ["entries"]
        verbose_name = _("checkpoint")

    def __str__(self) -> str:
        return f"checkpoint at {self.entries}"

    @property
    def said(self) -> Said:
        return read_text(self.text)

    @property
    def signed(self) -> Signed:
        return Signed(self.text, self.signature, self.certificate)

    @property
    def file_name(self) -> str:
        return f"checkpoint-{self.entries:012d}.json"
