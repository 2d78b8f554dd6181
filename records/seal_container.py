"""Is there a bit in a signature's container, or beside it, that no signature covers: the strict half of verifying a sealed PDF."""

from __future__ import annotations

from asn1crypto import algos, cms, core  # type: ignore[import-untyped]  # asn1crypto carries no types
from asn1crypto import x509 as asn1_x509
from cryptography.x509 import load_der_x509_certificate
from pyhanko.sign.general import check_ess_certid
from pyhanko.sign.validation.pdf_embedded import EmbeddedPdfSignature

from records.shop_key import issued_by


def leaves_out_only_itself(signature: EmbeddedPdfSignature, pdf: bytes) -> bool:
    """Whether the byte range begins at the first byte and leaves out the hexadecimal string of the signature and nothing else."""
    match byte_range(signature):
        case [0, before, resume, _] if 0 < before < resume:
            return pdf[before:resume] in _holes(signature, resume - before)
    return False


def end_of(signature: EmbeddedPdfSignature) -> int:
    """The first byte behind what the signature covers."""
    return sum(byte_range(signature)[2:4])


def byte_range(signature: EmbeddedPdfSignature) -> list[int]:
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


def container_is_exact(signature: EmbeddedPdfSignature) -> bool:
    """Whether the container is exactly what its signed parts demand.

    A CMS container has fields outside its signature (versions, algorithm lists, further certificates). They are rebuilt here from the parts
    that are protected (signed attributes, signature value, the certificate named in the attributes, certificates by their own signatures)
    and compared byte by byte. A time stamp is the service's own container: it is taken as it is, and validated as a whole.
    """
    signed_data = signature.signed_data
    signer = signature.signer_info
    certificates = [one.chosen for one in signed_data["certificates"] if one.name == "certificate"]
    if len(certificates) != len(signed_data["certificates"]) or not 1 <= len(certificates) <= 2:  # with its issuer
        return False
    attributes = {attribute["type"].native: attribute["values"] for attribute in signer["signed_attrs"]}
    named = [one for one in certificates if check_ess_certid(one, attributes["signing_certificate_v2"][0]["certs"][0])]
    if len(named) != 1 or not all(_is_canonical(one) for one in certificates):
        return False
    if len(certificates) > 1 and not _issued(named[0], next(one for one in certificates if one is not named[0])):
        return False
    # RFC 5754: the parameters of SHA-256 are left out; readers also accept NULL.
    return any(_rebuilt(signer, named[0], certificates, parameters) == _der(signature) for parameters in (None, core.Null()))


def _is_canonical(certificate: asn1_x509.Certificate) -> bool:
    """Whether encoding the certificate anew gives the same bytes: no second spelling of what its signature covers."""
    return bool(asn1_x509.Certificate.load(certificate.dump()).dump(force=True) == certificate.dump())


def _issued(certificate: asn1_x509.Certificate, issuer: asn1_x509.Certificate) -> bool:
    return issued_by(load_der_x509_certificate(certificate.dump()), load_der_x509_certificate(issuer.dump()))


def _rebuilt(
    signer: cms.SignerInfo, certificate: asn1_x509.Certificate, certificates: list[asn1_x509.Certificate], parameters: core.Null | None
) -> bytes:
    digest = algos.DigestAlgorithm({"algorithm": "sha256"} if parameters is None else {"algorithm": "sha256", "parameters": parameters})
    fields = {
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
    if stamp_of(signer) is not None:
        fields["unsigned_attrs"] = signer["unsigned_attrs"].untag()
    return bytes(
        cms.ContentInfo(
            {
                "content_type": "signed_data",
                "content": cms.SignedData(
                    {
                        "version": "v1",
                        "digest_algorithms": cms.DigestAlgorithms([digest]),
                        "encap_content_info": {"content_type": "data"},
                        "certificates": [cms.CertificateChoices(name="certificate", value=one) for one in certificates],
                        "signer_infos": [cms.SignerInfo(fields)],
                    }
                ),
            }
        ).dump()
    )


def stamp_of(signer: cms.SignerInfo) -> cms.ContentInfo | None:
    """The time stamp on the signature, where it is the only thing outside the signed attributes."""
    attributes = signer["unsigned_attrs"]
    if attributes.native is None or len(attributes) != 1 or attributes[0]["type"].native != "signature_time_stamp_token":
        return None
    return attributes[0]["values"][0]


def is_baseline(signature: EmbeddedPdfSignature) -> bool:
    """ETSI EN 319 142-1, what every level asks for: its sub-filter, a protected signing certificate, the time in M and not in the
    container. Outside the signed attributes there is nothing, or a time stamp."""
    types = {attribute["type"].native for attribute in signature.signer_info["signed_attrs"]}
    return (
        signature.sig_object.get("/SubFilter") == "/ETSI.CAdES.detached"
        and "signing_certificate_v2" in types
        and "signing_time" not in types
        and "/M" in signature.sig_object
        and (signature.signer_info["unsigned_attrs"].native is None or stamp_of(signature.signer_info) is not None)
    )
