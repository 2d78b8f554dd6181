"""Verify a sealed PDF: facts kept apart, never a bare yes or no, never a traceback.

Stricter than a general verifier on purpose. The seal is the last thing our documents receive, so anything after it, and any byte of the
signature container that no signature covers, counts as a change.
"""

from __future__ import annotations

import io
import logging
from dataclasses import dataclass, replace
from datetime import datetime
from hashlib import sha256

from asn1crypto import algos, cms, core  # type: ignore[import-untyped]  # asn1crypto carries no types
from asn1crypto import x509 as asn1_x509
from cryptography.hazmat.primitives.serialization import Encoding
from cryptography.x509 import Certificate
from pyhanko.pdf_utils.reader import PdfFileReader
from pyhanko.sign.general import check_ess_certid
from pyhanko.sign.validation import validate_pdf_signature
from pyhanko.sign.validation.pdf_embedded import EmbeddedPdfSignature
from pyhanko.sign.validation.settings import KeyUsageConstraints
from pyhanko_certvalidator import ValidationContext

from records.pdf import AttachmentMissing, attached_json

B_B = "PAdES B-B"

# What is wrong with a document stands in the report. The two libraries would log it as well, one of them with a traceback.
for noisy in ("pyhanko.sign.validation", "pikepdf"):
    logging.getLogger(noisy).setLevel(logging.CRITICAL)


@dataclass(frozen=True, slots=True)
class SealReport:
    """What a sealed PDF says about itself and what of it holds. Every fact stands alone; `stands` needs all of them.

    signed: there is a signature. signer_name: common name in the signing certificate, a claim unless `trusted`.
    signed_at: claimed time (the M entry); B-B carries no time from a third party.
    intact: the covered bytes are the ones that were signed, and the signature container holds nothing else.
    covers_whole_file: every byte but the signature's own is covered. changes_after_signing: something was added behind the signature.
    trusted: the certificate was valid at the claimed time, is made for signing and was issued by the root given.
    level: "PAdES B-B", or "" when the signature is of another kind.
    attachment_sha256: lower-case hex of the attached record, "" without one. Compare it with the ledger.
    problems: one sentence per fact that does not hold.
    """

    signed: bool = False
    signer_name: str = ""
    signed_at: datetime | None = None
    intact: bool = False
    covers_whole_file: bool = False
    trusted: bool = False
    level: str = ""
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
            and self.covers_whole_file
            and self.trusted
            and self.level == B_B
            and self.attachment_present
            and not self.changes_after_signing
            and not self.problems
        )


def verify_pdf(pdf: bytes, *, trusted_root: Certificate) -> SealReport:
    """Verify the seal of `pdf` against the shop's root certificate. Any bytes at all give a report."""
    if not pdf.startswith(b"%PDF-"):
        return SealReport(problems=("This is not a PDF file.",))
    try:
        signatures = PdfFileReader(io.BytesIO(pdf)).embedded_signatures
    except Exception as error:  # a damaged file breaks a parser in any place and with any type
        return SealReport(problems=(f"The file is damaged or cut off and cannot be read as a PDF ({_short(error)}).",))
    if not signatures:
        return replace(_with_attachment(pdf, SealReport()), problems=("The document is not signed.",))

    report = SealReport(signed=True)
    problems = []
    if len(signatures) > 1:
        problems.append(f"The document carries {len(signatures)} signatures; the shop's documents carry one.")
    try:
        report, found = _judged(signatures[-1], pdf, trusted_root)
        problems += found
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


def _judged(signature: EmbeddedPdfSignature, pdf: bytes, trusted_root: Certificate) -> tuple[SealReport, list[str]]:
    """The facts of one signature, and a sentence for each that does not hold."""
    claimed_at = signature.self_reported_timestamp
    status = validate_pdf_signature(
        signature,
        signer_validation_context=ValidationContext(
            trust_roots=[asn1_x509.Certificate.load(trusted_root.public_bytes(Encoding.DER))],
            allow_fetching=False,
            moment=claimed_at,  # a record outlives its signing certificate
            best_signature_time=claimed_at,
        ),
        key_usage_settings=KeyUsageConstraints(key_usage={"non_repudiation"}),
        skip_diff=True,  # no later change is acceptable, so none needs to be understood
    )
    container_is_exact = _container_is_exact(signature)
    follows = len(pdf) - sum(_byte_range(signature)[2:4])
    report = SealReport(
        signed=True,
        signer_name=str(status.signing_cert.subject.native.get("common_name") or status.signing_cert.subject.human_friendly),
        signed_at=claimed_at,
        intact=bool(status.intact and status.valid and container_is_exact),
        covers_whole_file=_covers_whole_file(signature, pdf),
        trusted=bool(status.trusted),
        level=B_B if _is_b_b(signature) else "",
        changes_after_signing=follows > 0,
    )
    problems = []
    if not (status.intact and status.valid):
        problems.append("The document was changed after it was signed, or its signature was: the signed hash does not fit.")
    elif not container_is_exact:
        problems.append("The signature holds bytes that nobody signed.")
    elif not report.trusted:
        problems.append(f"The signer's certificate was not issued by {_name(trusted_root)}, or was not valid at the time it claims.")
    if report.changes_after_signing:
        problems.append(f"{follows} bytes were added after the signature.")
    elif not report.covers_whole_file:
        problems.append("The signature does not cover the whole file.")
    if not report.level:
        problems.append(f"The signature is not of the level {B_B}.")
    return report, problems


def _name(certificate: Certificate) -> str:
    return str(certificate.subject.rfc4514_string())


def _covers_whole_file(signature: EmbeddedPdfSignature, pdf: bytes) -> bool:
    """Whether the byte range leaves out the hexadecimal string of the signature and nothing else."""
    match _byte_range(signature):
        case [0, before, resume, after] if 0 < before < resume and resume + after == len(pdf):
            return pdf[before:resume] in _holes(signature, resume - before)
    return False


def _byte_range(signature: EmbeddedPdfSignature) -> list[int]:
    """Offset and length of each covered range; the standard form has two of them."""
    return [int(number) for number in signature.byte_range]


def _holes(signature: EmbeddedPdfSignature, length: int) -> tuple[bytes, bytes]:
    """What may stand between the two covered ranges: the container in hex of one case throughout, filled up with zeros.

    Digits of mixed case or other filling would read the same, and yet be a change that no hash sees.
    """
    digits = _der(signature).hex().encode().ljust(length - 2, b"0")
    return b"<" + digits + b">", b"<" + digits.upper() + b">"


def _der(signature: EmbeddedPdfSignature) -> bytes:
    """The container without the zeros that fill its place."""
    content: bytes = signature.pkcs7_content
    loaded = cms.ContentInfo.load(content)  # takes the first value and leaves the filling
    return bytes(loaded.dump())


def _container_is_exact(signature: EmbeddedPdfSignature) -> bool:
    """Whether the container is exactly what its signed parts demand.

    A CMS container has fields outside its signature (versions, algorithm lists, further certificates). They are rebuilt here from the parts
    that are protected (signed attributes, signature value, the certificate named in the attributes) and compared byte by byte.
    """
    signed_data = signature.signed_data
    signer = signature.signer_info
    certificates = list(signed_data["certificates"])
    if len(certificates) != 1 or certificates[0].name != "certificate":
        return False
    certificate = certificates[0].chosen
    attributes = {attribute["type"].native: attribute["values"] for attribute in signer["signed_attrs"]}
    if not check_ess_certid(certificate, attributes["signing_certificate_v2"][0]["certs"][0]):
        return False
    # RFC 5754: the parameters of SHA-256 are left out; readers also accept NULL.
    return any(_rebuilt(signer, certificate, parameters) == _der(signature) for parameters in (None, core.Null()))


def _rebuilt(signer: cms.SignerInfo, certificate: asn1_x509.Certificate, parameters: core.Null | None) -> bytes:
    digest = algos.DigestAlgorithm({"algorithm": "sha256"} if parameters is None else {"algorithm": "sha256", "parameters": parameters})
    info = cms.SignerInfo(
        {
            "version": "v1",
            "sid": cms.SignerIdentifier(
                {
                    "issuer_and_serial_number": cms.IssuerAndSerialNumber(
                        {"issuer": certificate.issuer, "serial_number": certificate.serial_number}
                    )
                }
            ),
            "digest_algorithm": digest,
            "signature_algorithm": algos.SignedDigestAlgorithm({"algorithm": "sha256_rsa"}),
            "signed_attrs": signer["signed_attrs"].untag(),
            "signature": signer["signature"].native,
        }
    )
    return bytes(
        cms.ContentInfo(
            {
                "content_type": "signed_data",
                "content": cms.SignedData(
                    {
                        "version": "v1",
                        "digest_algorithms": cms.DigestAlgorithms([digest]),
                        "encap_content_info": {"content_type": "data"},
                        "certificates": [cms.CertificateChoices(name="certificate", value=certificate)],
                        "signer_infos": [info],
                    }
                ),
            }
        ).dump()
    )


def _is_b_b(signature: EmbeddedPdfSignature) -> bool:
    """ETSI EN 319 142-1, level B-B: its sub-filter, a protected signing certificate, the time in M and not in the container."""
    types = {attribute["type"].native for attribute in signature.signer_info["signed_attrs"]}
    return (
        signature.sig_object.get("/SubFilter") == "/ETSI.CAdES.detached"
        and "signing_certificate_v2" in types
        and "signing_time" not in types
        and "/M" in signature.sig_object
        and signature.signer_info["unsigned_attrs"].native is None
    )
