"""People's signatures on an issued document itself, each leaving a new file behind the one before."""

from __future__ import annotations

from django.db import models
from django.utils.translation import gettext_lazy as _

from shop.fields import positive
from shop.people import Person


class DocumentSignature(models.Model):
    """One person's signature on a PDF. The issued file stays; `sha256` is that of the file with this signature behind it.

    certificate_sha256: of the one-use certificate, DER. number: from 1, in the order of signing.
    """

    document = models.ForeignKey("records.IssuedDocument", on_delete=models.PROTECT, related_name="signed", verbose_name=_("document"))
    number = models.PositiveSmallIntegerField(_("number"))
    meaning = models.CharField(_("meaning"), max_length=40)
    person = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="document_signatures", verbose_name=_("person"))
    printed_name = models.CharField(_("printed name"), max_length=120)
    signed_at = models.DateTimeField(_("signed"))
    sha256 = models.CharField(max_length=64)
    size = models.PositiveIntegerField()
    certificate_sha256 = models.CharField(max_length=64)

    class Meta:
        ordering = ["document", "number"]
        verbose_name = _("document signature")
        constraints = [
            models.UniqueConstraint(fields=["document", "number"], name="document_signature_number_once"),
            models.UniqueConstraint(fields=["document", "meaning"], name="document_signed_once_a_meaning"),
            models.UniqueConstraint(fields=["document", "person"], name="document_signed_once_a_person"),
            positive("number", "document_signature_number_positive"),
        ]

    def __str__(self) -> str:
        return f"{self.document}: {self.meaning}, {self.printed_name}"
