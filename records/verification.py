"""Verify a sealed PDF: facts kept apart, never a bare yes or no, never a traceback.

Stricter than a general verifier on purpose. The first signature is the shop's seal. Behind it come, if any, signatures of people, each
in an update of its own that adds nothing else, and validation data where the shop seals at B-LT. Anything else behind the seal, and any
byte of a signature container that no signature covers, counts as a change.
"""

from __future__ import annotations

import io
import logging
import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from hashlib import sha256

from asn1crypto import x509 as asn1_x509  # type: ignore[import-untyped]  # asn1crypto carries no types
from cryptography.hazmat.primitives.serialization import Encoding
from cryptography.x509 import Certificate, CRLReason, ExtensionNotFound, ReasonFlags, load_der_x509_certificate
from pyhanko.pdf_utils.reader import PdfFileReader
from pyhanko.sign.diff_analysis import ModificationLevel
from pyhanko.sign.validation import validate_pdf_signature
from pyhanko.sign.validation.pdf_embedded import EmbeddedPdfSignature
from pyhanko.sign.validation.settings import KeyUsageConstraints
from pyhanko.sign.validation.status import PdfSignatureStatus
from pyhanko_certvalidator import ValidationContext

from records.pdf import AttachmentMissing, attached_json
from records.seal import FIELD_NAME, PERSON_FIELD
from records.seal_container import container_is_exact, end_of, is_baseline, leaves_out_only_itself, stamp_of
from records.shop_key import Trust

B_B, B_T, B_LT = "PAdES B-B", "PAdES B-T", "PAdES B-LT"

NOTHING = {ModificationLevel.NONE}
VALIDATION_DATA = NOTHING | {ModificationLevel.LTA_UPDATES}
FORM_FILLING = VALIDATION_DATA | {ModificationLevel.FORM_FILLING}

# What is wrong with a document stands in the report. The two libraries would log it as well, one of them with a traceback.
for noisy in ("pyhanko.sign.validation", "pyhanko.sign.diff_analysis", "pikepdf"):
    logging.getLogger(noisy).setLevel(logging.CRITICAL)


@dataclass(frozen=True, slots=True)
class PersonSigned:
    """A person's own signature behind the seal. name, username: as certified by the shop. meaning: what the signature is for.

    holds: intact, covering all before it, by a certificate of the shop's authority for people.
    """

    name: str
    username: str
    meaning: str
    signed_at: datetime | None
    holds: bool


@dataclass(frozen=True, slots=True)
class SealReport:
    """What a sealed PDF says about itself and what of it holds. Every fact stands alone; `stands` needs all of them.

    signed: there is a signature. signer_name: common name in the sealing certificate, a claim unless `trusted`.
    signed_at: claimed time (the M entry). stamped_at: time by a service (RFC 3161), None without a stamp that holds.
    intact: the covered bytes are the ones that were signed, and the signature containers hold nothing else.
    covers_whole_file: every byte but the signatures' own is covered; at B-LT the validation data at the end is not, by its nature.
    trusted: the certificate was valid at the claimed time, is made for signing, was issued by the root given and not revoked.
    level: "PAdES B-B", "PAdES B-T", "PAdES B-LT", or "" when the seal is of another kind.
    people: who signed behind the seal, in order.
    attachment_sha256: lower-case hex of the attached record, "" without one. Compare it with the ledger.
    problems: one sentence per fact that does not hold.
    """

    signed: bool = False
    signer_name: str = ""
    signed_at: datetime | None = None
    stamped_at: datetime | None = None
    intact: bool = False
    covers_whole_file: bool = False
    trusted: bool = False
    level: str = ""
    people: tuple[PersonSigned, ...] = ()
    attachment_present: bool = False
    attachment_sha256: str = ""
    changes_after_signing: bool = False
    problems: tuple[str, ...] = ()

    @property
    def stands(self) -> bool:
        """Whether the document can be relied on: every fact holds and no problem was found."""
        return (
            self.signed
            and self.intact
            and (self.covers_whole_file or self.level == B_LT)
            and self.trusted
            and self.level in (B_B, B_T, B_LT)
            and all(person.holds for person in self.people)
            and self.attachment_present
            and not self.changes_after_signing
            and not self.problems
        )


def verify_pdf(pdf: bytes, *, trusted_root: Certificate | Trust, time_roots: Sequence[Certificate] = ()) -> SealReport:
    """Verify the seal of `pdf` against the shop's root certificate, or all it has had. Any bytes at all give a report.

    time_roots: of time-stamp services; a stamp by another counts as none.
    """
    if not pdf.startswith(b"%PDF-"):
        return SealReport(problems=("This is not a PDF file.",))
    try:
        signatures = PdfFileReader(io.BytesIO(pdf)).embedded_signatures
    except Exception as error:  # a damaged file breaks a parser in any place and with any type
        return SealReport(problems=(f"The file is damaged or cut off and cannot be read as a PDF ({_short(error)}).",))
    if not signatures:
        return replace(_with_attachment(pdf, SealReport()), problems=("The document is not signed.",))

    trust = trusted_root if isinstance(trusted_root, Trust) else Trust((trusted_root,))
    report = SealReport(signed=True)
    problems: list[str] = []
    try:
        report, problems = _judged(signatures, pdf, trust, time_roots)
    except Exception as error:  # as above
        problems.append(f"The signature is damaged and cannot be checked ({_short(error)}).")
    report = _with_attachment(pdf, report)
    if not report.attachment_present:
        problems.append("The record's data file is missing from the document or cannot be read.")
    return replace(report, problems=tuple(problems))


def _short(error: Exception) -> str:
    return " ".join(str(error).split())[:160] or type(error).__name__


def _with_attachment(pdf: bytes, report: SealReport) -> SealReport:
    try:
        return replace(report, attachment_present=True, attachment_sha256=sha256(attached_json(pdf)).hexdigest())
    except AttachmentMissing:
        return report


@dataclass(frozen=True, slots=True)
class _Judged:
    """One signature: what the library says of it, and what only this program asks."""

    status: PdfSignatureStatus
    exact: bool
    trusted: bool
    stamped_at: datetime | None

    @property
    def intact(self) -> bool:
        return bool(self.status.intact and self.status.valid and self.exact)


def _judged(
    signatures: Sequence[EmbeddedPdfSignature], pdf: bytes, trust: Trust, time_roots: Sequence[Certificate]
) -> tuple[SealReport, list[str]]:
    """The facts of a document, and a sentence for each that does not hold."""
    seal, last = signatures[0], signatures[-1]
    judged = [_one(signature, trust, time_roots) for signature in signatures]
    first = judged[0]
    lasting = seal.reader.root.get("/DSS") is not None and stamp_of(seal.signer_info) is not None
    follows = len(pdf) - end_of(last)
    people, data = (FORM_FILLING if len(signatures) > 1 else NOTHING), (VALIDATION_DATA if lasting else NOTHING)
    # What was added since the seal, and since the last signature, by the library's own comparison of the revisions.
    allowed = first.status.modification_level in people | data and judged[-1].status.modification_level in data and (lasting or not follows)
    if follows:
        # Nobody signs the update with the validation data: it has to end as one update does, with nothing behind it.
        allowed = allowed and bool(re.search(rb"startxref\n\d+\n%%EOF\n\Z", pdf)) and pdf.count(b"%%EOF", len(pdf) - follows) == 1
    whole = all(leaves_out_only_itself(signature, pdf) for signature in signatures)
    report = SealReport(
        signed=True,
        signer_name=_name_in(first.status.signing_cert),
        signed_at=seal.self_reported_timestamp,
        stamped_at=first.stamped_at,
        intact=all(one.intact for one in judged),
        covers_whole_file=whole and not follows,
        trusted=first.trusted,
        level=_level(seal, first, lasting=lasting),
        people=tuple(_person(signature, one) for signature, one in zip(signatures[1:], judged[1:], strict=True)),
        changes_after_signing=not allowed,
    )
    problems = []
    if seal.field_name != FIELD_NAME:
        problems.append("The first signature is not the shop's seal.")
    if not all(one.status.intact and one.status.valid for one in judged):
        problems.append("The document was changed after it was signed, or its signature was: the signed hash does not fit.")
    elif not all(one.exact for one in judged):
        problems.append("The signature holds bytes that nobody signed.")
    elif not report.trusted:
        roots = " or ".join(root.subject.rfc4514_string() for root in trust.roots)
        problems.append(f"The signer's certificate was not issued by {roots}, was not valid at the time it claims, or was revoked.")
    if not allowed:
        told = f"{follows} bytes were added after the signature." if follows else "More than signatures was added after the seal."
        problems.append(told)
    elif not whole:
        problems.append("The signature does not cover the whole file.")
    if not report.level:
        problems.append(f"The signature is not of a level this program seals with ({B_B}, {B_T}, {B_LT}).")
    problems += [
        f"The signature of {person.name or 'somebody'} does not hold or is not one that the shop certified."
        for person in report.people
        if not person.holds
    ]
    return report, problems


def _one(signature: EmbeddedPdfSignature, trust: Trust, time_roots: Sequence[Certificate]) -> _Judged:
    claimed_at = signature.self_reported_timestamp
    status = validate_pdf_signature(
        signature,
        signer_validation_context=ValidationContext(
            trust_roots=[_asn1(root) for root in trust.roots],
            allow_fetching=False,
            moment=claimed_at,  # a record outlives its signing certificate
            best_signature_time=claimed_at,
        ),
        ts_validation_context=ValidationContext(trust_roots=[_asn1(root) for root in time_roots], allow_fetching=False),
        key_usage_settings=KeyUsageConstraints(key_usage={"non_repudiation"}),
    )
    stamp = status.timestamp_validity
    stamped_at = stamp.timestamp if stamp is not None and stamp.valid and stamp.intact and stamp.trusted else None
    chain = list(status.validation_path.iter_certs(include_root=False)) if status.trusted and status.validation_path else []
    trusted = bool(status.trusted) and not any(_revoked(one, claimed_at, stamped_at, trust) for one in chain)
    return _Judged(status, container_is_exact(signature), trusted, stamped_at)


def _revoked(certificate: asn1_x509.Certificate, claimed_at: datetime | None, stamped_at: datetime | None, trust: Trust) -> bool:
    """Whether the certificate was revoked when it signed. Of a stolen key a claimed time says nothing; a stamped one does."""
    serial = load_der_x509_certificate(certificate.dump())
    for listed in trust.revocations:
        row = listed.get_revoked_certificate_by_serial_number(serial.serial_number) if listed.issuer == serial.issuer else None
        if row is None:
            continue
        try:
            stolen = row.extensions.get_extension_for_class(CRLReason).value.reason is ReasonFlags.key_compromise
        except ExtensionNotFound:
            stolen = True
        signed_at = stamped_at if stolen else stamped_at or claimed_at
        if signed_at is None or signed_at >= row.revocation_date_utc:
            return True
    return False


def _level(seal: EmbeddedPdfSignature, judged: _Judged, *, lasting: bool) -> str:
    if not is_baseline(seal):
        return ""
    if stamp_of(seal.signer_info) is None:
        return B_B
    return B_LT if lasting else B_T


def _person(signature: EmbeddedPdfSignature, judged: _Judged) -> PersonSigned:
    subject = judged.status.signing_cert.subject.native
    numbered = signature.field_name.startswith(PERSON_FIELD)
    return PersonSigned(
        name=_name_in(judged.status.signing_cert),
        username=str(subject.get("user_id", "")),
        meaning=str(signature.sig_object.get("/Reason", "")),
        signed_at=signature.self_reported_timestamp,
        holds=judged.intact and judged.trusted and numbered and bool(subject.get("user_id")) and is_baseline(signature),
    )


def _name_in(certificate: asn1_x509.Certificate) -> str:
    return str(certificate.subject.native.get("common_name") or certificate.subject.human_friendly)


def _asn1(certificate: Certificate) -> asn1_x509.Certificate:
    return asn1_x509.Certificate.load(certificate.public_bytes(Encoding.DER))
