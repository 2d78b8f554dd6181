"""Comparing a file that somebody holds with the document that was issued."""

from __future__ import annotations

from dataclasses import dataclass

from django.conf import settings
from django.core.files.base import File

from records.models import IssuedDocument
from records.shop_key import ROOT_CERTIFICATE, KeyMissing, KeyUnreadable, load_certificate
from records.verification import SealReport, verify_pdf
from shop.canonical import sha256_hex


@dataclass(frozen=True, slots=True)
class Comparison:
    """same: byte for byte the issued file. report: what its own seal says, None where the shop's certificate is missing."""

    name: str
    sha256: str
    same: bool
    report: SealReport | None
    too_large: bool = False


def compare_upload(document: IssuedDocument, upload: File[bytes]) -> Comparison:
    if (upload.size or 0) > settings.UPLOAD_LIMIT_BYTES:
        return Comparison(upload.name or "", "", same=False, report=None, too_large=True)
    data = upload.read()
    sha256 = sha256_hex(data)
    try:
        root = load_certificate(settings.SHOP_KEY_DIR / ROOT_CERTIFICATE)
    except (KeyMissing, KeyUnreadable):
        return Comparison(upload.name or "", sha256, same=sha256 == document.sha256, report=None)
    return Comparison(upload.name or "", sha256, sha256 == document.sha256, verify_pdf(data, trusted_root=root))
