"""Seal a finished PDF with a PAdES B-B signature under the shop's own certificate authority.

ETSI EN 319 142-1 (baseline B-B): sub-filter ETSI.CAdES.detached, the signing certificate protected by a signed attribute, the claimed time
in the dictionary's M entry. The signature is one incremental update: the bytes that were drawn stay as they were, in front of it.
"""

from __future__ import annotations

import hashlib
import io
from datetime import datetime
from typing import Any

from asn1crypto import x509 as asn1_x509  # type: ignore[import-untyped]  # asn1crypto carries no types
from asn1crypto.algos import SignedDigestAlgorithm  # type: ignore[import-untyped]  # asn1crypto carries no types
from cryptography.hazmat.primitives.serialization import Encoding
from pyhanko.pdf_utils import generic
from pyhanko.pdf_utils.incremental_writer import IncrementalPdfFileWriter
from pyhanko.pdf_utils.misc import PdfError
from pyhanko.sign.fields import SigFieldSpec, SigSeedSubFilter
from pyhanko.sign.signers import PdfSignatureMetadata, PdfSigner
from pyhanko.sign.signers.pdf_cms import Signer
from pyhanko.sign.signers.pdf_signer import PdfSigningSession
from pyhanko_certvalidator.registry import SimpleCertificateStore

from records.shop_key import ShopKey, common_name, raw_signature

FIELD_NAME = "ShopSeal"
DIGEST = "sha256"


class NotSealable(ValueError):  # noqa: N818
    """The bytes are not a PDF that a seal can be put on, or they carry one already."""


class _ShopSigner(Signer):
    """Signs with the key already in memory. pyHanko's own signer parses it again for every signature, five times the cost."""

    def __init__(self, key: ShopKey) -> None:
        self._key = key
        super().__init__(
            signing_cert=asn1_x509.Certificate.load(key.signing.public_bytes(Encoding.DER)),
            # The root is left out of the file: a verifier trusts it because the shop handed it over, never because a PDF carries it.
            cert_registry=SimpleCertificateStore(),  # type: ignore[no-untyped-call]  # pyHanko's
            signature_mechanism=SignedDigestAlgorithm({"algorithm": "sha256_rsa"}),
            embed_roots=False,
        )

    async def async_sign_raw(self, data: bytes, digest_algorithm: str, dry_run: bool = False) -> bytes:
        if dry_run:  # pyHanko only wants to know how long it gets
            return bytes(self._key.private_key.key_size // 8)
        return raw_signature(self._key, data)


class _SealWriter(IncrementalPdfFileWriter):
    """An update that stays PDF 1.7, leaves the metadata alone and depends on nothing but its input."""

    def ensure_output_version(self, version: tuple[int, int]) -> None:
        # PDF/A-3 is bound to PDF 1.7 (ISO 19005-3 clause 6.1.2, from memory): never raise the version.
        super().ensure_output_version(min(version, (1, 7)))  # type: ignore[no-untyped-call]  # pyHanko's

    @classmethod
    def _handle_id(cls, prev: Any) -> generic.ArrayObject:
        first = prev.trailer["/ID"][0]
        prev.stream.seek(0)
        changed = hashlib.md5(prev.stream.read(), usedforsecurity=False).digest()
        return generic.ArrayObject([generic.ByteStringObject(first.original_bytes), generic.ByteStringObject(changed)])

    def _update_meta(self) -> None:
        """The document is as old as when it was drawn: a seal does not touch its dates, so they still agree with the XMP."""


class _SealSigner(PdfSigner):
    """A signer that takes its time from the act, not from the machine's clock."""

    def __init__(self, *args: Any, at: datetime, **kwargs: Any) -> None:
        self._at = at
        super().__init__(*args, **kwargs)

    def init_signing_session(self, *args: Any, **kwargs: Any) -> PdfSigningSession:
        session = super().init_signing_session(*args, **kwargs)
        session.system_time = self._at
        return session


def seal_pdf(pdf: bytes, *, key: ShopKey, at: datetime, reason: str, location: str | None, name: str) -> bytes:
    """`pdf` with one invisible PAdES B-B signature (SHA-256, RSA-3072) appended. The same arguments give the same bytes.

    at: aware time of the act, written as the claimed signing time. name: who seals, as it reads in a viewer.
    Raises NotSealable when `pdf` is damaged or sealed already, ValueError for a naive time or a time outside the certificate's validity.
    """
    if at.tzinfo is None:
        raise ValueError("at needs its zone")
    if not key.signing.not_valid_before_utc <= at <= key.signing.not_valid_after_utc:
        raise ValueError(
            f"the shop's signing certificate is valid from {key.signing.not_valid_before_utc:%Y-%m-%d} "
            f"to {key.signing.not_valid_after_utc:%Y-%m-%d}, not on {at:%Y-%m-%d}"
        )
    try:
        writer = _SealWriter(io.BytesIO(pdf))
        sealed = bool(writer.prev.embedded_signatures)
    except (PdfError, ValueError, KeyError, TypeError, AttributeError, IndexError) as error:
        raise NotSealable(f"not a PDF that can be sealed: {error}") from error
    if sealed:
        raise NotSealable("this PDF is sealed already")
    signer = _SealSigner(
        PdfSignatureMetadata(
            field_name=FIELD_NAME,
            md_algorithm=DIGEST,
            reason=reason,
            location=location,
            name=name,
            subfilter=SigSeedSubFilter.PADES,
        ),
        signer=_ShopSigner(key),
        # A field needs a description for people who do not see it (PDF/UA); it has no size and so no appearance (PDF/A).
        new_field_spec=SigFieldSpec(FIELD_NAME, on_page=0, readable_field_name=f"Seal of {common_name(key.signing.subject)}"),
        at=at,
    )
    out = io.BytesIO()
    signer.sign_pdf(writer, output=out)
    return out.getvalue()
