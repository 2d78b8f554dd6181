"""Comparing a file that somebody holds with the document that was issued."""

from __future__ import annotations

from dataclasses import dataclass

from django.conf import settings
from django.core.files.base import File
from django.utils.translation import gettext as _

from records.acts.signing import signed_state
from records.models import IssuedDocument
from records.shop_key import KeyMissing, KeyUnreadable, load_trust
from records.stamping import time_roots
from records.verification import SealReport, verify_pdf
from shop.canonical import sha256_hex


@dataclass(frozen=True, slots=True)
class Comparison:
    """same: byte for byte the issued file, or that file as somebody signed it; which says how far it was signed.

    report: what its own seal says, None where the shop's certificate is missing.
    """

    name: str
    sha256: str
    same: bool
    report: SealReport | None
    which: str = ""
    too_large: bool = False


def compare_upload(document: IssuedDocument, upload: File[bytes]) -> Comparison:
    name = upload.name or ""
    if (upload.size or 0) > settings.UPLOAD_LIMIT_BYTES:
        return Comparison(name, "", same=False, report=None, too_large=True)
    data = upload.read()
    sha256 = sha256_hex(data)
    state = signed_state(document)
    files = [document.sha256, *(one.sha256 for one in state.signatures)]
    same = sha256 in files
    which = ""
    if same and len(files) > 1:
        signed = files.index(sha256)
        which = _("As issued, before anybody signed it.") if not signed else _("With the first {n} signatures.").format(n=signed)
        which = _("With every signature so far.") if signed == len(files) - 1 else which
    try:
        report = verify_pdf(data, trusted_root=load_trust(settings.SHOP_KEY_DIR), time_roots=time_roots())
    except (KeyMissing, KeyUnreadable):
        report = None
    return Comparison(name, sha256, same, report, which)
