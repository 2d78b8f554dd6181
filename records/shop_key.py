"""The shop's own certificate authority and its signing key.

Two certificates: a root that others are given once and trust, and a signing certificate under it that seals documents day by day. The
root's private key is needed only to make the next signing certificate; it lies in a file of its own (`root-key.pem`) so that it can be
moved off the machine, to a safe. Everything else keeps working without it.
"""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from functools import cached_property, lru_cache
from pathlib import Path

from cryptography import x509
from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import padding
from cryptography.hazmat.primitives.asymmetric.rsa import RSAPrivateKey, generate_private_key
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

ROOT_CERTIFICATE = "root.pem"
ROOT_KEY = "root-key.pem"
SIGNING_CERTIFICATE = "signing.pem"
SIGNING_KEY = "signing-key.pem"
FILES = (ROOT_CERTIFICATE, ROOT_KEY, SIGNING_CERTIFICATE, SIGNING_KEY)

RSA_BITS = 3072  # P-256 would force PDF 2.0, and ordinary verifiers do not know Ed25519
ROOT_DAYS = 20 * 365 + 5
SIGNING_DAYS = 3 * 365
DOCUMENT_SIGNING = x509.ObjectIdentifier("1.3.6.1.5.5.7.3.36")  # id-kp-documentSigning, RFC 9336


class KeyExists(RuntimeError):  # noqa: N818
    """A key is already there; it is never overwritten."""

    def __init__(self, directory: Path) -> None:
        super().__init__(f"{directory} already holds a shop key. It is never overwritten: move it away first, or choose another folder.")


class KeyMissing(RuntimeError):  # noqa: N818
    """No shop key yet."""

    def __init__(self, path: Path) -> None:
        super().__init__(f"{path} is missing. Create the shop's key with: manage.py shop_key --create")


class KeyUnreadable(RuntimeError):  # noqa: N818
    """The files are there but cannot be used."""

    def __init__(self, path: Path, why: str, next_step: str) -> None:
        super().__init__(f"{path} cannot be used: {why}. {next_step}")


@dataclass(frozen=True)
class ShopKey:
    """What the shop seals with: root certificate, signing certificate and the signing certificate's private key."""

    root: x509.Certificate
    signing: x509.Certificate
    private_key: RSAPrivateKey

    @cached_property
    def root_sha256(self) -> str:
        return fingerprint(self.root)

    @cached_property
    def signing_sha256(self) -> str:
        return fingerprint(self.signing)


def fingerprint(certificate: x509.Certificate) -> str:
    """SHA-256 of the certificate's DER, upper-case hex in pairs, as other programs show it."""
    return certificate.fingerprint(hashes.SHA256()).hex(":").upper()


def common_name(name: x509.Name) -> str:
    """The CN of a distinguished name, or the whole name where it has none."""
    found = name.get_attributes_for_oid(NameOID.COMMON_NAME)
    return str(found[0].value) if found else name.rfc4514_string()


def load_certificate(path: Path) -> x509.Certificate:
    """Read one PEM certificate. Raises KeyMissing or KeyUnreadable."""
    try:
        return x509.load_pem_x509_certificate(path.read_bytes())
    except FileNotFoundError as error:
        raise KeyMissing(path) from error
    except OSError as error:
        raise KeyUnreadable(path, error.strerror or "it cannot be read", "Check its owner and permissions.") from error
    except ValueError as error:
        raise KeyUnreadable(path, "it is not a PEM certificate", "Restore it from the backup.") from error


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


def _certificates(shop_name: str, at: datetime) -> tuple[x509.Certificate, RSAPrivateKey, x509.Certificate, RSAPrivateKey]:
    # X.520 allows 64 characters in an organisation or common name.
    organisation = x509.NameAttribute(NameOID.ORGANIZATION_NAME, shop_name[:64])
    start = at.astimezone(UTC).replace(microsecond=0)

    def named(role: str) -> x509.Name:
        return x509.Name([organisation, x509.NameAttribute(NameOID.COMMON_NAME, f"{shop_name[: 63 - len(role)]} {role}")])

    root_name = named("record authority")
    root_key = generate_private_key(public_exponent=65537, key_size=RSA_BITS)
    root_ski = x509.SubjectKeyIdentifier.from_public_key(root_key.public_key())
    root = (
        x509.CertificateBuilder()
        .subject_name(root_name)
        .issuer_name(root_name)
        .public_key(root_key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(start)
        .not_valid_after(start + timedelta(days=ROOT_DAYS))
        .add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
        .add_extension(_key_usage(key_cert_sign=True, crl_sign=True), critical=True)
        .add_extension(root_ski, critical=False)
        .add_extension(x509.AuthorityKeyIdentifier.from_issuer_subject_key_identifier(root_ski), critical=False)
        .sign(root_key, hashes.SHA256())
    )
    signing_key = generate_private_key(public_exponent=65537, key_size=RSA_BITS)
    signing = (
        x509.CertificateBuilder()
        .subject_name(named("quality records"))
        .issuer_name(root_name)
        .public_key(signing_key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(start)
        .not_valid_after(start + timedelta(days=SIGNING_DAYS))
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(_key_usage(digital_signature=True, content_commitment=True), critical=True)
        # Readers older than RFC 9336 look for e-mail protection when they judge a document's signer.
        .add_extension(x509.ExtendedKeyUsage([DOCUMENT_SIGNING, ExtendedKeyUsageOID.EMAIL_PROTECTION]), critical=False)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(signing_key.public_key()), critical=False)
        .add_extension(x509.AuthorityKeyIdentifier.from_issuer_subject_key_identifier(root_ski), critical=False)
        .sign(root_key, hashes.SHA256())
    )
    return root, root_key, signing, signing_key


def create_shop_key(directory: Path, *, shop_name: str, at: datetime, passphrase: str | None = None) -> ShopKey:
    """Make the shop's root (20 years) and signing certificate (3 years), both RSA-3072, valid from `at`.

    Writes `root.pem`, `root-key.pem`, `signing.pem` and `signing-key.pem`, mode 0600, in `directory`, mode 0700. Both private keys are
    encrypted under `passphrase` when one is given. Move `root-key.pem` off the machine afterwards: sealing does not need it.
    Raises KeyExists when any of the four is there already, ValueError for an empty name or a naive time, KeyUnreadable when the folder
    cannot be written. Nothing half-made stays behind.
    """
    if not shop_name.strip():
        raise ValueError("the certificates need the shop's name")
    if at.tzinfo is None:
        raise ValueError("at needs its zone")
    if any((directory / name).exists() for name in FILES):
        raise KeyExists(directory)
    root, root_key, signing, signing_key = _certificates(shop_name.strip(), at)
    guard: serialization.KeySerializationEncryption = (
        serialization.BestAvailableEncryption(passphrase.encode()) if passphrase else serialization.NoEncryption()
    )

    def private(key: RSAPrivateKey) -> bytes:
        return key.private_bytes(serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, guard)

    _write_new(
        directory,
        {
            ROOT_CERTIFICATE: root.public_bytes(serialization.Encoding.PEM),
            ROOT_KEY: private(root_key),
            SIGNING_CERTIFICATE: signing.public_bytes(serialization.Encoding.PEM),
            SIGNING_KEY: private(signing_key),
        },
    )
    return ShopKey(root=root, signing=signing, private_key=signing_key)


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


def load_shop_key(directory: Path, passphrase: str | None = None) -> ShopKey:
    """The shop's key from `directory`; read once, then kept until one of its files changes. `root-key.pem` may be absent.

    Raises KeyMissing, or KeyUnreadable (wrong passphrase, damaged file, files that do not belong together), each with the next step.
    """
    stamp = []
    for name in (ROOT_CERTIFICATE, SIGNING_CERTIFICATE, SIGNING_KEY):
        path = directory / name
        try:
            stat = path.stat()
        except FileNotFoundError as error:
            raise KeyMissing(path) from error
        except OSError as error:
            raise KeyUnreadable(path, error.strerror or "it cannot be read", "Check its owner and permissions.") from error
        stamp.append((stat.st_mtime_ns, stat.st_size, stat.st_ino))
    return _loaded(directory.resolve(), passphrase, tuple(stamp))


@lru_cache(maxsize=8)
def _loaded(directory: Path, passphrase: str | None, stamp: tuple[tuple[int, int, int], ...]) -> ShopKey:
    # Loading checks the primes of an RSA key, which costs five times what a signature does: hence the cache.
    root = load_certificate(directory / ROOT_CERTIFICATE)
    signing = load_certificate(directory / SIGNING_CERTIFICATE)
    path = directory / SIGNING_KEY
    try:
        key = serialization.load_pem_private_key(path.read_bytes(), passphrase.encode() if passphrase else None)
    except OSError as error:
        raise KeyUnreadable(path, error.strerror or "it cannot be read", "Check its owner and permissions.") from error
    except TypeError as error:
        why = "it is encrypted and no passphrase is set" if not passphrase else "it is not encrypted but a passphrase is set"
        raise KeyUnreadable(path, why, "Set or clear SHOP_KEY_PASSPHRASE.") from error
    except ValueError as error:
        why = "the passphrase is wrong or the file is damaged" if passphrase else "the file is damaged"
        raise KeyUnreadable(path, why, "Check SHOP_KEY_PASSPHRASE, or restore the file from the backup.") from error
    if not isinstance(key, RSAPrivateKey):
        raise KeyUnreadable(path, "it is not an RSA key", "Restore it from the backup.")
    together = "Restore root.pem, signing.pem and signing-key.pem from the same backup."
    if key.public_key().public_numbers() != _public_numbers(signing):
        raise KeyUnreadable(path, "it does not belong to signing.pem", together)
    if not issued_by(signing, root):
        raise KeyUnreadable(directory / SIGNING_CERTIFICATE, "it was not issued by root.pem", together)
    return ShopKey(root=root, signing=signing, private_key=key)


def _public_numbers(certificate: x509.Certificate) -> object:
    numbers = getattr(certificate.public_key(), "public_numbers", None)
    return numbers() if numbers else None


def issued_by(certificate: x509.Certificate, root: x509.Certificate) -> bool:
    """Whether `root` signed `certificate`."""
    try:
        certificate.verify_directly_issued_by(root)
    except (ValueError, TypeError, InvalidSignature):
        return False
    return True


def raw_signature(key: ShopKey, data: bytes) -> bytes:
    """RSASSA-PKCS1-v1_5 over SHA-256 of `data`: the same input gives the same signature. For ledger checkpoints and manifests."""
    return key.private_key.sign(data, padding.PKCS1v15(), hashes.SHA256())
