"""Seal a finished PDF with a PAdES signature under the shop's own certificate authority, and put people's signatures behind the seal.

ETSI EN 319 142-1. Baseline B-B: sub-filter ETSI.CAdES.detached, the signing certificate protected by a signed attribute, the claimed
time in the dictionary's M entry. B-T adds a time stamp of RFC 3161 on the signature; B-LT adds the material to validate it by later. Each
signature is one incremental update: the bytes that were there stay as they were, in front of it.
"""

from __future__ import annotations

import hashlib
import io
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from typing import Any

from asn1crypto import x509 as asn1_x509  # type: ignore[import-untyped]  # asn1crypto carries no types
from asn1crypto.algos import SignedDigestAlgorithm  # type: ignore[import-untyped]  # asn1crypto carries no types
from cryptography.hazmat.primitives import hashes
from cryptography.hazmat.primitives.asymmetric import padding
from cryptography.hazmat.primitives.asymmetric.rsa import RSAPrivateKey
from cryptography.hazmat.primitives.serialization import Encoding
from cryptography.x509 import Certificate, CertificateRevocationList
from pyhanko.pdf_utils import generic
from pyhanko.pdf_utils.content import PdfContent
from pyhanko.pdf_utils.incremental_writer import IncrementalPdfFileWriter
from pyhanko.pdf_utils.layout import AxisAlignment, BoxConstraints, Margins, SimpleBoxLayoutRule
from pyhanko.pdf_utils.misc import PdfError
from pyhanko.pdf_utils.reader import PdfFileReader
from pyhanko.sign.fields import SigFieldSpec, SigSeedSubFilter
from pyhanko.sign.general import SigningError
from pyhanko.sign.signers import PdfSignatureMetadata, PdfSigner
from pyhanko.sign.signers.pdf_cms import Signer
from pyhanko.sign.signers.pdf_signer import PdfSigningSession
from pyhanko.sign.timestamps import TimeStamper, TimestampRequestError
from pyhanko.sign.validation.errors import SignatureValidationError
from pyhanko.sign.validation.pdf_embedded import EmbeddedPdfSignature
from pyhanko.stamp import StaticStampStyle
from pyhanko.stamp.base import BaseStampStyle
from pyhanko_certvalidator import ValidationContext
from pyhanko_certvalidator.registry import SimpleCertificateStore

from records.one_use_key import OneUseKey
from records.shop_key import ShopKey, common_name

FIELD_NAME = "ShopSeal"
PERSON_FIELD = "Signed"
DIGEST = "sha256"


class NoTimeStamp(RuntimeError):  # noqa: N818  # reads as what is wrong
    """The time-stamp service did not answer, or its answer cannot be validated."""


class NotSealable(ValueError):  # noqa: N818
    """The bytes are not a PDF that a seal can be put on, or they carry one already."""


class Level(StrEnum):
    """How far a signature proves its time: it claims it, a time-stamp service confirms it, and the file carries what to check that with."""

    B_B = "B-B"
    B_T = "B-T"
    B_LT = "B-LT"


@dataclass(frozen=True)
class Stamping:
    """level and, above B-B, the time-stamp service and what its answers and the shop's certificates are validated with."""

    level: Level = Level.B_B
    service: TimeStamper | None = None
    trust: tuple[Certificate, ...] = ()
    revocations: tuple[CertificateRevocationList, ...] = ()

    def validation(self) -> ValidationContext:
        """As of now: the service's stamp is of now, whatever time the act has."""
        return ValidationContext(
            trust_roots=[asn1(certificate) for certificate in self.trust],
            crls=[listed.public_bytes(Encoding.DER) for listed in self.revocations],
            allow_fetching=False,
        )


PLAIN = Stamping()


@dataclass(frozen=True, slots=True)
class Place:
    """Where a signature shows on a page. page: from 0; rectangle in points from the lower left corner."""

    page: int
    left: float
    bottom: float
    right: float
    top: float


def asn1(certificate: Certificate) -> asn1_x509.Certificate:
    return asn1_x509.Certificate.load(certificate.public_bytes(Encoding.DER))


class _KeyInMemory(Signer):
    """Signs with the key already in memory. pyHanko's own signer parses it again for every signature, five times the cost."""

    def __init__(self, certificate: Certificate, key: RSAPrivateKey, issuers: Sequence[Certificate] = ()) -> None:
        self._key = key
        store = SimpleCertificateStore()  # type: ignore[no-untyped-call]  # pyHanko's
        store.register_multiple([asn1(issuer) for issuer in issuers])
        super().__init__(
            signing_cert=asn1(certificate),
            # The root is left out of the file: a verifier trusts it because the shop handed it over, never because a PDF carries it.
            cert_registry=store,
            signature_mechanism=SignedDigestAlgorithm({"algorithm": "sha256_rsa"}),
            embed_roots=False,
        )

    async def async_sign_raw(self, data: bytes, digest_algorithm: str, dry_run: bool = False) -> bytes:
        if dry_run:  # pyHanko only wants to know how long it gets
            return bytes(self._key.key_size // 8)
        return self._key.sign(data, padding.PKCS1v15(), hashes.SHA256())


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


def seal_pdf(pdf: bytes, *, key: ShopKey, at: datetime, reason: str, location: str | None, name: str, stamping: Stamping = PLAIN) -> bytes:
    """`pdf` with one invisible PAdES signature of the shop (SHA-256, RSA-3072) appended. At level B-B the same input gives the same bytes.

    at: aware time of the act, written as the claimed signing time. name: who seals, as it reads in a viewer.
    Raises NotSealable when `pdf` is damaged or sealed already, ValueError for a naive time or a time outside the certificate's validity,
    NoTimeStamp when the service does not answer as it should.
    """
    if at.tzinfo is None:
        raise ValueError("at needs its zone")
    if not key.signing.not_valid_before_utc <= at <= key.signing.not_valid_after_utc:
        raise ValueError(
            f"the shop's signing certificate is valid from {key.signing.not_valid_before_utc:%Y-%m-%d} "
            f"to {key.signing.not_valid_after_utc:%Y-%m-%d}, not on {at:%Y-%m-%d}"
        )
    writer, signed = _opened(pdf)
    if signed:
        raise NotSealable("this PDF is sealed already")
    # A field needs a description for people who do not see it (PDF/UA); it has no size and so no appearance (PDF/A).
    field = SigFieldSpec(FIELD_NAME, on_page=0, readable_field_name=f"Seal of {common_name(key.signing.subject)}")
    return _appended(
        writer, _KeyInMemory(key.signing, key.private_key), field, at=at, reason=reason, location=location, name=name, stamping=stamping
    )


def sign_pdf(
    pdf: bytes,
    *,
    person: OneUseKey,
    at: datetime,
    reason: str,
    name: str,
    place: Place,
    appearance: bytes,
    stamping: Stamping = PLAIN,
) -> bytes:
    """`pdf`, sealed before, with a person's own visible signature behind what it carries already.

    appearance: a PDF of one page, drawn into `place`. Raises NotSealable for a file without a seal, NoTimeStamp as above.
    """
    if at.tzinfo is None:
        raise ValueError("at needs its zone")
    writer, signed = _opened(pdf)
    if not signed or signed[0].field_name != FIELD_NAME:
        raise NotSealable("people sign a document that the shop has sealed")
    number = sum(one.field_name.startswith(PERSON_FIELD) for one in signed) + 1
    left, bottom = round(place.left), round(place.bottom)
    field = SigFieldSpec(
        f"{PERSON_FIELD}{number}",
        on_page=place.page,
        box=(left, bottom, left + round(place.right - place.left), bottom + round(place.top - place.bottom)),
        readable_field_name=f"{reason}: {name}",
    )
    signer = _KeyInMemory(person.certificate, person.private_key, [person.issuer])
    style = StaticStampStyle(background=_Drawn(appearance), border_width=0, background_layout=FILL)
    return _appended(writer, signer, field, at=at, reason=reason, location=None, name=name, stamping=stamping, style=style)


FILL = SimpleBoxLayoutRule(x_align=AxisAlignment.ALIGN_MID, y_align=AxisAlignment.ALIGN_MID, margins=Margins(0, 0, 0, 0))


class _Drawn(PdfContent):
    """The one page of a PDF in memory as the look of a signature."""

    def __init__(self, page: bytes) -> None:
        self._page = page
        super().__init__()

    def render(self) -> bytes:
        drawn = self._ensure_writer.import_page_as_xobject(PdfFileReader(io.BytesIO(self._page)))
        self.resources.xobject["/Drawn"] = drawn
        left, bottom, right, top = drawn.get_object()["/BBox"]
        self.box = BoxConstraints(width=abs(right - left), height=abs(top - bottom))
        return b"/Drawn Do"


def _opened(pdf: bytes) -> tuple[_SealWriter, list[EmbeddedPdfSignature]]:
    try:
        writer = _SealWriter(io.BytesIO(pdf))
        return writer, list(writer.prev.embedded_signatures)
    except (PdfError, ValueError, KeyError, TypeError, AttributeError, IndexError) as error:
        raise NotSealable(f"not a PDF that can be sealed: {error}") from error


def _appended(
    writer: _SealWriter,
    signer: Signer,
    field: SigFieldSpec,
    *,
    at: datetime,
    reason: str,
    location: str | None,
    name: str,
    stamping: Stamping,
    style: BaseStampStyle | None = None,
) -> bytes:
    lasting = stamping.level is Level.B_LT
    session = _SealSigner(
        PdfSignatureMetadata(
            field_name=field.sig_field_name,
            md_algorithm=DIGEST,
            reason=reason,
            location=location,
            name=name,
            subfilter=SigSeedSubFilter.PADES,
            embed_validation_info=lasting,
            validation_context=stamping.validation() if lasting else None,
        ),
        signer=signer,
        timestamper=stamping.service if stamping.level is not Level.B_B else None,
        stamp_style=style,
        new_field_spec=field,
        at=at,
    )
    out = io.BytesIO()
    try:
        session.sign_pdf(writer, output=out)
    except (TimestampRequestError, SignatureValidationError, SigningError) as error:
        raise NoTimeStamp(str(error)) from error
    return out.getvalue()
