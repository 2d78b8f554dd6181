"""Making and replacing the shop's certificates: root, signing certificate, people's authority, revocation list.

Everything here needs the root's private key, which lies in a safe the rest of the time.
"""

from __future__ import annotations

import hashlib
import os
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric.rsa import RSAPrivateKey, RSAPublicKey, generate_private_key
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

from records.shop_key import (
    EARLIER_ROOTS,
    FILES,
    PEM,
    PEOPLE_CERTIFICATE,
    PEOPLE_KEY,
    RETIRED,
    REVOKED,
    ROOT_CERTIFICATE,
    ROOT_KEY,
    SIGNING_CERTIFICATE,
    SIGNING_KEY,
    KeyExists,
    KeyUnreadable,
    ShopKey,
    issued_by,
    load_certificate,
    load_private,
    load_revocations,
    load_shop_key,
    public_numbers,
)

RSA_BITS = 3072  # P-256 would force PDF 2.0, and ordinary verifiers do not know Ed25519
ROOT_DAYS = 20 * 365 + 5
SIGNING_DAYS = 3 * 365
DOCUMENT_SIGNING = x509.ObjectIdentifier("1.3.6.1.5.5.7.3.36")  # id-kp-documentSigning, RFC 9336

_Guard = serialization.KeySerializationEncryption


def _key_usage(**wanted: bool) -> x509.KeyUsage:
    off = dict.fromkeys(
        (
            "digital_signature",
            "content_commitment",
            "key_encipherment",
            "data_encipherment",
            "key_agreement",
            "key_cert_sign",
            "crl_sign",
            "encipher_only",
            "decipher_only",
        ),
        False,
    )
    return x509.KeyUsage(**(off | wanted))


@dataclass(frozen=True)
class _Root:
    certificate: x509.Certificate
    private_key: RSAPrivateKey


def _named(shop_name: str, role: str) -> x509.Name:
    # X.520 allows 64 characters in an organisation or common name.
    return x509.Name(
        [
            x509.NameAttribute(NameOID.ORGANIZATION_NAME, shop_name[:64]),
            x509.NameAttribute(NameOID.COMMON_NAME, f"{shop_name[: 63 - len(role)]} {role}"),
        ]
    )


def _start(at: datetime) -> datetime:
    return at.astimezone(UTC).replace(microsecond=0)


def _new_root(shop_name: str, at: datetime) -> _Root:
    name, key, start = _named(shop_name, "record authority"), generate_private_key(public_exponent=65537, key_size=RSA_BITS), _start(at)
    ski = x509.SubjectKeyIdentifier.from_public_key(key.public_key())
    certificate = (
        x509.CertificateBuilder()
        .subject_name(name)
        .issuer_name(name)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(start)
        .not_valid_after(start + timedelta(days=ROOT_DAYS))
        .add_extension(x509.BasicConstraints(ca=True, path_length=1), critical=True)
        .add_extension(_key_usage(key_cert_sign=True, crl_sign=True), critical=True)
        .add_extension(ski, critical=False)
        .add_extension(x509.AuthorityKeyIdentifier.from_issuer_subject_key_identifier(ski), critical=False)
        .sign(key, hashes.SHA256())
    )
    return _Root(certificate, key)


def issue_certificate(
    issuer: x509.Certificate,
    issuer_key: RSAPrivateKey,
    subject: x509.Name,
    public_key: RSAPublicKey,
    *,
    since: datetime,
    until: datetime,
    more: Iterable[x509.ExtensionType] = (),
) -> x509.Certificate:
    """A certificate that signs documents, under `issuer`. Aware times; it never outlives its issuer. more: extensions, not critical."""
    issuer_ski = issuer.extensions.get_extension_for_class(x509.SubjectKeyIdentifier).value
    builder = (
        x509.CertificateBuilder()
        .subject_name(subject)
        .issuer_name(issuer.subject)
        .public_key(public_key)
        .serial_number(x509.random_serial_number())
        .not_valid_before(_start(since))
        .not_valid_after(min(_start(until), issuer.not_valid_after_utc))
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(_key_usage(digital_signature=True, content_commitment=True), critical=True)
        # Readers older than RFC 9336 look for e-mail protection when they judge a document's signer.
        .add_extension(x509.ExtendedKeyUsage([DOCUMENT_SIGNING, ExtendedKeyUsageOID.EMAIL_PROTECTION]), critical=False)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(public_key), critical=False)
        .add_extension(x509.AuthorityKeyIdentifier.from_issuer_subject_key_identifier(issuer_ski), critical=False)
    )
    for extension in more:
        builder = builder.add_extension(extension, critical=False)
    return builder.sign(issuer_key, hashes.SHA256())


def _people_authority(root: _Root, shop_name: str, at: datetime) -> tuple[x509.Certificate, RSAPrivateKey]:
    key, start = generate_private_key(public_exponent=65537, key_size=RSA_BITS), _start(at)
    root_ski = root.certificate.extensions.get_extension_for_class(x509.SubjectKeyIdentifier).value
    certificate = (
        x509.CertificateBuilder()
        .subject_name(_named(shop_name, "people"))
        .issuer_name(root.certificate.subject)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(start)
        .not_valid_after(min(start + timedelta(days=SIGNING_DAYS), root.certificate.not_valid_after_utc))
        .add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
        .add_extension(_key_usage(key_cert_sign=True, crl_sign=True), critical=True)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(key.public_key()), critical=False)
        .add_extension(x509.AuthorityKeyIdentifier.from_issuer_subject_key_identifier(root_ski), critical=False)
        .sign(root.private_key, hashes.SHA256())
    )
    return certificate, key


def _revocations(
    root: _Root, at: datetime, *, revoked: Iterable[x509.RevokedCertificate] = (), number: int = 1
) -> x509.CertificateRevocationList:
    start = _start(at)
    builder = (
        x509.CertificateRevocationListBuilder()
        .issuer_name(root.certificate.subject)
        .last_update(start)
        # The root is in a safe: its list is renewed when a certificate is, not weekly.
        .next_update(start + timedelta(days=SIGNING_DAYS))
        .add_extension(x509.CRLNumber(number), critical=False)
        .add_extension(
            x509.AuthorityKeyIdentifier.from_issuer_subject_key_identifier(
                root.certificate.extensions.get_extension_for_class(x509.SubjectKeyIdentifier).value
            ),
            critical=False,
        )
    )
    for row in revoked:
        builder = builder.add_revoked_certificate(row)
    return builder.sign(root.private_key, hashes.SHA256())


def _under(root: _Root, shop_name: str, at: datetime, guard: _Guard) -> dict[str, bytes]:
    """What the shop works with from day to day, made anew under a root: certificates and keys as files."""
    signing_key = generate_private_key(public_exponent=65537, key_size=RSA_BITS)
    subject = _named(shop_name, "quality records")
    until = at + timedelta(days=SIGNING_DAYS)
    signing = issue_certificate(root.certificate, root.private_key, subject, signing_key.public_key(), since=at, until=until)
    people, people_key = _people_authority(root, shop_name, at)
    return {
        SIGNING_CERTIFICATE: signing.public_bytes(PEM),
        SIGNING_KEY: _private(signing_key, guard),
        PEOPLE_CERTIFICATE: people.public_bytes(PEM),
        PEOPLE_KEY: _private(people_key, guard),
    }


def _private(key: RSAPrivateKey, guard: _Guard) -> bytes:
    return key.private_bytes(PEM, serialization.PrivateFormat.PKCS8, guard)


def _guard(passphrase: str | None) -> _Guard:
    return serialization.BestAvailableEncryption(passphrase.encode()) if passphrase else serialization.NoEncryption()


def create_shop_key(directory: Path, *, shop_name: str, at: datetime, passphrase: str | None = None) -> ShopKey:
    """Make the shop's root (20 years), signing certificate and people's authority (3 years), all RSA-3072, valid from `at`, and an empty
    revocation list.

    Writes `FILES`, mode 0600, in `directory`, mode 0700. The private keys are encrypted under `passphrase` when one is given. Move
    `root-key.pem` off the machine afterwards: sealing does not need it.
    Raises KeyExists when any of them is there already, ValueError for an empty name or a naive time, KeyUnreadable when the folder
    cannot be written. Nothing half-made stays behind.
    """
    if not shop_name.strip():
        raise ValueError("the certificates need the shop's name")
    if at.tzinfo is None:
        raise ValueError("at needs its zone")
    if any((directory / name).exists() for name in FILES):
        raise KeyExists(directory)
    root, guard = _new_root(shop_name.strip(), at), _guard(passphrase)
    _write_new(
        directory,
        {
            ROOT_CERTIFICATE: root.certificate.public_bytes(PEM),
            ROOT_KEY: _private(root.private_key, guard),
            **_under(root, shop_name.strip(), at, guard),
            REVOKED: _revocations(root, at).public_bytes(PEM),
        },
    )
    return load_shop_key(directory, passphrase)


def renew_certificates(
    directory: Path, *, shop_name: str, at: datetime, passphrase: str | None = None, root_key: Path | None = None
) -> ShopKey:
    """The next signing certificate and people's authority under the same root. root_key: where the root's private key lies now.

    The certificates they replace go to `retired/`; their private keys are destroyed. What they sealed still verifies: a PDF carries its
    certificate, and the root is the same.
    """
    root = _load_root(directory, root_key, passphrase)
    _replace(directory, _under(root, shop_name, at, _guard(passphrase)))
    return load_shop_key(directory, passphrase)


def replace_root(directory: Path, *, shop_name: str, at: datetime, passphrase: str | None = None) -> ShopKey:
    """A new root with everything under it. The earlier root goes to `roots/` and stays trusted for what was sealed under it."""
    load_shop_key(directory, passphrase)  # a folder that is half there is restored first, not rotated
    root, guard = _new_root(shop_name, at), _guard(passphrase)
    _replace(
        directory,
        {
            ROOT_CERTIFICATE: root.certificate.public_bytes(PEM),
            ROOT_KEY: _private(root.private_key, guard),
            **_under(root, shop_name, at, guard),
            REVOKED: _revocations(root, at).public_bytes(PEM),
        },
    )
    return load_shop_key(directory, passphrase)


def revoke_certificate(
    directory: Path,
    *,
    certificate: x509.Certificate,
    at: datetime,
    reason: x509.ReasonFlags = x509.ReasonFlags.key_compromise,
    passphrase: str | None = None,
    root_key: Path | None = None,
) -> None:
    """Put a certificate of the root on the revocation list, from `at` on. Raises KeyUnreadable where it is not one of the root's."""
    root = _load_root(directory, root_key, passphrase)
    if not issued_by(certificate, root.certificate):
        raise KeyUnreadable(directory / ROOT_CERTIFICATE, "it did not issue that certificate", "Name a certificate of this root.")
    before = load_revocations(directory)
    listed = [] if before is None else list(before)
    if all(row.serial_number != certificate.serial_number for row in listed):
        row = x509.RevokedCertificateBuilder().serial_number(certificate.serial_number).revocation_date(_start(at))
        listed.append(row.add_extension(x509.CRLReason(reason), critical=False).build())
    number = 0 if before is None else before.extensions.get_extension_for_class(x509.CRLNumber).value.crl_number
    _replace(directory, {REVOKED: _revocations(root, at, revoked=listed, number=number + 1).public_bytes(PEM)})


def _load_root(directory: Path, root_key: Path | None, passphrase: str | None) -> _Root:
    certificate, path = load_certificate(directory / ROOT_CERTIFICATE), root_key or directory / ROOT_KEY
    key = load_private(path, passphrase)
    if key.public_key().public_numbers() != public_numbers(certificate):
        raise KeyUnreadable(path, "it does not belong to root.pem", "Fetch the root's key that lies in the safe.")
    return _Root(certificate, key)


def _replace(directory: Path, contents: Mapping[str, bytes]) -> None:
    """Write each file beside the old one and move it there: a reader never finds half a file. Certificates that go are kept."""
    for name, content in contents.items():
        path = directory / name
        if name in (SIGNING_CERTIFICATE, PEOPLE_CERTIFICATE, ROOT_CERTIFICATE, REVOKED) and path.exists():
            kept = directory / (EARLIER_ROOTS if name in (ROOT_CERTIFICATE, REVOKED) else RETIRED)
            kept.mkdir(mode=0o700, exist_ok=True)
            if name != REVOKED or ROOT_CERTIFICATE in contents:  # a list is kept with the root it belongs to
                before = path.read_bytes()
                # Named by what it is, so that two of one day never meet.
                (kept / f"{path.stem}-{hashlib.sha256(before).hexdigest()[:16]}{path.suffix}").write_bytes(before)
        beside = path.with_name(f"{name}.new")
        beside.unlink(missing_ok=True)
        _write_new(directory, {beside.name: content})
        beside.replace(path)


def _write_new(directory: Path, contents: Mapping[str, bytes]) -> None:
    written: list[Path] = []
    try:
        directory.mkdir(mode=0o700, parents=True, exist_ok=True)
        directory.chmod(0o700)
        for name, content in contents.items():
            path = directory / name
            # O_EXCL: two processes that start at once never overwrite each other.
            with os.fdopen(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "wb") as file:
                written.append(path)
                file.write(content)
    except OSError as error:
        for path in written:
            path.unlink(missing_ok=True)
        if isinstance(error, FileExistsError):
            raise KeyExists(directory) from error
        raise KeyUnreadable(directory, error.strerror or "it cannot be written", "Choose a folder this user may write to.") from error
