"""A key for one signature of one person.

The shop keeps no keys of people. When somebody signs a document and has proven who they are, a key is made, certified for that person and
that hour, used once and forgotten. So nobody can sign with it later, closing an account breaks nothing that was signed, and there is no key
to lose. The certificate says that revocation is not a question for it (RFC 9608, noRevAvail).
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from cryptography import x509
from cryptography.hazmat.primitives.asymmetric.rsa import RSAPrivateKey, generate_private_key
from cryptography.x509.oid import NameOID

from records.certificates import RSA_BITS, issue_certificate
from records.shop_key import PeopleKey

LIVES = timedelta(hours=1)
NO_REVOCATION = x509.UnrecognizedExtension(x509.ObjectIdentifier("2.5.29.56"), b"\x05\x00")


@dataclass(frozen=True)
class OneUseKey:
    certificate: x509.Certificate
    private_key: RSAPrivateKey
    issuer: x509.Certificate


def one_use_key(people: PeopleKey, *, name: str, username: str, shop: str, at: datetime) -> OneUseKey:
    """For the person printed as `name`, known as `username`; valid for an hour from `at` (aware)."""
    key = generate_private_key(public_exponent=65537, key_size=RSA_BITS)
    subject = x509.Name(
        [
            x509.NameAttribute(NameOID.ORGANIZATION_NAME, shop[:64]),
            x509.NameAttribute(NameOID.USER_ID, username),
            x509.NameAttribute(NameOID.COMMON_NAME, name[:64]),
        ]
    )
    certificate = issue_certificate(
        people.certificate, people.private_key, subject, key.public_key(), since=at, until=at + LIVES, more=[NO_REVOCATION]
    )
    return OneUseKey(certificate, key, people.certificate)
