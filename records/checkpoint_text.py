"""What a checkpoint of the ledger says, as text, and how it is signed: pure computation.

The text is canonical JSON (RFC 8785). It is signed as it stands, RSASSA-PKCS1-v1_5 with SHA-256 by the shop's signing key. Exported, a
checkpoint is one JSON object: the text as a string, the signature, and the certificate it verifies with.
"""

from __future__ import annotations

import base64
import hashlib
import json
import re
from collections.abc import Iterable
from dataclasses import dataclass

from cryptography import x509
from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import padding
from cryptography.hazmat.primitives.asymmetric.rsa import RSAPublicKey

from records.merkle import consistency_holds

FORMAT = "ledger checkpoint 1"
HASH = re.compile(r"[0-9a-f]{64}")


class NotACheckpoint(ValueError):  # noqa: N818
    """The text or file is no checkpoint this program can read. Says why."""


@dataclass(frozen=True, slots=True)
class Said:
    """What a checkpoint states. Hashes are 64 hex digits.

    entries: how far it reaches. root: Merkle tree head over the hashes of entries 1 to `entries`. head: hash of the last of them.
    previous_entries, previous_root: the checkpoint before (0 and "" for the first); consistency: the RFC 9162 proof from it to this one.
    certificate_sha256: fingerprint of the certificate that the signature verifies with.
    """

    entries: int
    root: str
    head: str
    at: str
    shop: str
    previous_entries: int
    previous_root: str
    consistency: tuple[str, ...]
    certificate_sha256: str


def as_content(said: Said) -> dict[str, object]:
    """The object whose canonical JSON is signed."""
    previous = {"entries": said.previous_entries, "root": said.previous_root} if said.previous_entries else None
    return {
        "format": FORMAT,
        "entries": said.entries,
        "root": said.root,
        "head": said.head,
        "at": said.at,
        "shop": said.shop,
        "previous": previous,
        "consistency": list(said.consistency),
        "certificate_sha256": said.certificate_sha256,
    }


def read_text(text: str) -> Said:
    """Raises NotACheckpoint for anything that `as_content` did not make, and where it does not follow the one it names."""
    try:
        found = json.loads(text)
        if found["format"] != FORMAT:
            raise NotACheckpoint(f"its format is {found['format']!r}, not {FORMAT!r}")
        before = found["previous"] or {"entries": 0, "root": ""}
        said = Said(
            entries=found["entries"],
            root=found["root"],
            head=found["head"],
            at=found["at"],
            shop=found["shop"],
            previous_entries=before["entries"],
            previous_root=before["root"],
            consistency=tuple(found["consistency"]),
            certificate_sha256=found["certificate_sha256"],
        )
        texts = [said.root, said.head, said.certificate_sha256, *said.consistency, *([said.previous_root] if said.previous_entries else [])]
        if type(said.entries) is not int or said.entries < 1 or not all(HASH.fullmatch(one) for one in texts):
            raise NotACheckpoint("a count or a hash in it is none")
        if said.previous_entries and not follows(said):
            raise NotACheckpoint("its proof does not show that it extends the checkpoint before it")
    except (ValueError, KeyError, TypeError) as error:
        raise error if isinstance(error, NotACheckpoint) else NotACheckpoint(f"it cannot be read ({error})") from error
    return said


def follows(said: Said) -> bool:
    """Whether the proof in it shows that its tree begins with that of the checkpoint before."""
    proof = [bytes.fromhex(step) for step in said.consistency]
    earlier, later = bytes.fromhex(said.previous_root), bytes.fromhex(said.root)
    return consistency_holds(said.previous_entries, earlier, said.entries, later, proof)


@dataclass(frozen=True, slots=True)
class Signed:
    """A checkpoint with its signature (hex) and the PEM certificate it verifies with."""

    text: str
    signature: str
    certificate: str

    def as_file(self) -> str:
        """The exported form, one JSON object."""
        parts = {"checkpoint": self.text, "signature": self.signature, "certificate": self.certificate}
        return json.dumps(parts, ensure_ascii=False, indent=1) + "\n"


def read_file(text: str) -> Signed:
    """Raises NotACheckpoint."""
    try:
        found = json.loads(text)
        signed = Signed(found["checkpoint"], found["signature"], found["certificate"])
    except (ValueError, KeyError, TypeError) as error:
        raise NotACheckpoint(f"the file cannot be read ({error})") from error
    if not all(isinstance(part, str) for part in (signed.text, signed.signature, signed.certificate)):
        raise NotACheckpoint("the file cannot be read (its parts are no texts)")
    return signed


def check_signed(signed: Signed, roots: Iterable[x509.Certificate]) -> Said:
    """What the checkpoint says, once its signature is shown to be by a certificate of one of `roots`. Raises NotACheckpoint."""
    said = read_text(signed.text)
    try:
        # Its hash first: nothing is read out of a certificate that the text does not name.
        der = base64.b64decode("".join(line for line in signed.certificate.splitlines() if not line.startswith("-----")), validate=True)
        if hashlib.sha256(der).hexdigest() != said.certificate_sha256:
            raise NotACheckpoint("it names another certificate than the one beside it")
        certificate = x509.load_der_x509_certificate(der)
        signature = bytes.fromhex(signed.signature)
    except ValueError as error:
        raise error if isinstance(error, NotACheckpoint) else NotACheckpoint("its certificate or signature cannot be read") from error
    if certificate.public_bytes(serialization.Encoding.PEM).decode().strip() != signed.certificate.strip():
        raise NotACheckpoint("its certificate is not written as certificates are")
    key = certificate.public_key()
    try:
        if not isinstance(key, RSAPublicKey):
            raise NotACheckpoint("its certificate has no RSA key")
        key.verify(signature, signed.text.encode(), padding.PKCS1v15(), hashes.SHA256())
    except InvalidSignature:
        raise NotACheckpoint("its signature does not belong to it") from None
    if not any(_issued(certificate, root) for root in roots):
        raise NotACheckpoint("its certificate was not issued by the shop's root")
    return said


def _issued(certificate: x509.Certificate, root: x509.Certificate) -> bool:
    try:
        certificate.verify_directly_issued_by(root)
    except (ValueError, TypeError, InvalidSignature):
        return False
    return True
