"""The shop's own certificate authority and its signing key.

A root that others are given once and trust; a signing certificate under it that seals documents day by day; an authority for people, whose
one-use certificates put a person's own signature on a document; and a revocation list. The root's private key is needed only to make the
next of these; it lies in a file of its own (`root-key.pem`) so that it can be moved off the machine, to a safe. Everything else keeps
working without it.

What was replaced stays: earlier certificates in `retired/`, earlier roots in `roots/`, so that what they sealed still verifies.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property, lru_cache
from pathlib import Path

from cryptography import x509
from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import padding
from cryptography.hazmat.primitives.asymmetric.rsa import RSAPrivateKey, RSAPublicKey
from cryptography.x509.oid import NameOID

ROOT_CERTIFICATE = "root.pem"
ROOT_KEY = "root-key.pem"
SIGNING_CERTIFICATE = "signing.pem"
SIGNING_KEY = "signing-key.pem"
PEOPLE_CERTIFICATE = "people.pem"
PEOPLE_KEY = "people-key.pem"
REVOKED = "revoked.crl"
FILES = (ROOT_CERTIFICATE, ROOT_KEY, SIGNING_CERTIFICATE, SIGNING_KEY, PEOPLE_CERTIFICATE, PEOPLE_KEY, REVOKED)
RETIRED, EARLIER_ROOTS = "retired", "roots"

PEM = serialization.Encoding.PEM
TOGETHER = "Restore the certificates and keys of this folder from the same backup."


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
    key = load_private(path, passphrase)
    if key.public_key().public_numbers() != public_numbers(signing):
        raise KeyUnreadable(path, "it does not belong to signing.pem", TOGETHER)
    if not issued_by(signing, root):
        raise KeyUnreadable(directory / SIGNING_CERTIFICATE, "it was not issued by root.pem", TOGETHER)
    return ShopKey(root=root, signing=signing, private_key=key)


def load_private(path: Path, passphrase: str | None) -> RSAPrivateKey:
    """A private key from a PEM file. Raises KeyMissing or KeyUnreadable."""
    try:
        key = serialization.load_pem_private_key(path.read_bytes(), passphrase.encode() if passphrase else None)
    except FileNotFoundError as error:
        raise KeyMissing(path) from error
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
    return key


@dataclass(frozen=True)
class PeopleKey:
    """What a person's one-use certificates are issued with."""

    certificate: x509.Certificate
    private_key: RSAPrivateKey


def load_people_key(directory: Path, passphrase: str | None = None) -> PeopleKey:
    """The people's authority. Raises KeyMissing or KeyUnreadable."""
    certificate, root = load_certificate(directory / PEOPLE_CERTIFICATE), load_certificate(directory / ROOT_CERTIFICATE)
    key = load_private(directory / PEOPLE_KEY, passphrase)
    if key.public_key().public_numbers() != public_numbers(certificate):
        raise KeyUnreadable(directory / PEOPLE_KEY, "it does not belong to people.pem", TOGETHER)
    if not issued_by(certificate, root):
        raise KeyUnreadable(directory / PEOPLE_CERTIFICATE, "it was not issued by root.pem", TOGETHER)
    return PeopleKey(certificate, key)


def load_revocations(directory: Path) -> x509.CertificateRevocationList | None:
    """The root's revocation list, None where there is none. Raises KeyUnreadable for one that the root did not sign."""
    path = directory / REVOKED
    try:
        listed = x509.load_pem_x509_crl(path.read_bytes())
    except FileNotFoundError:
        return None
    except (OSError, ValueError) as error:
        raise KeyUnreadable(path, "it is not a PEM revocation list", "Restore it from the backup.") from error
    root = load_certificate(directory / ROOT_CERTIFICATE).public_key()
    if not isinstance(root, RSAPublicKey) or not listed.is_signature_valid(root):
        raise KeyUnreadable(path, "root.pem did not sign it", TOGETHER)
    return listed


@dataclass(frozen=True)
class Trust:
    """What a seal is held against: the root in use, the earlier ones, and what they revoked."""

    roots: tuple[x509.Certificate, ...]
    revocations: tuple[x509.CertificateRevocationList, ...] = ()


def load_trust(directory: Path) -> Trust:
    """Raises KeyMissing or KeyUnreadable where the root in use cannot be read."""
    roots, listed = [load_certificate(directory / ROOT_CERTIFICATE)], [load_revocations(directory)]
    for path in sorted((directory / EARLIER_ROOTS).glob("*")):
        if path.suffix == ".crl":
            listed.append(x509.load_pem_x509_crl(path.read_bytes()))
        else:
            roots.append(load_certificate(path))
    return Trust(tuple(roots), tuple(one for one in listed if one is not None))


def public_numbers(certificate: x509.Certificate) -> object:
    """What makes a public key equal to another; None for a key that has no such numbers."""
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
