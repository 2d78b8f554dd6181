"""At which level this shop's signatures are made, from the settings."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path

from cryptography import x509
from django.conf import settings
from pyhanko.sign.timestamps import HTTPTimeStamper

from records.seal import PLAIN, Level, Stamping
from records.shop_key import KeyMissing, KeyUnreadable, load_trust

SECONDS = 15


def stamping() -> Stamping:
    """SEAL_LEVEL with its time-stamp service. Raises KeyMissing or KeyUnreadable where its certificates cannot be read."""
    level = Level(settings.SEAL_LEVEL)
    if level is Level.B_B:
        return PLAIN
    trust = load_trust(settings.SHOP_KEY_DIR)
    return Stamping(
        level=level,
        service=HTTPTimeStamper(settings.TIMESTAMP_URL, timeout=SECONDS),
        trust=(*trust.roots, *time_roots()),
        revocations=trust.revocations,
    )


def time_roots() -> tuple[x509.Certificate, ...]:
    """Whose time stamps are believed: the certificates of TIMESTAMP_CERTIFICATES, none without it."""
    return _read(settings.TIMESTAMP_CERTIFICATES) if settings.TIMESTAMP_CERTIFICATES else ()


@lru_cache(maxsize=4)
def _read(path: str) -> tuple[x509.Certificate, ...]:
    try:
        return tuple(x509.load_pem_x509_certificates(Path(path).read_bytes()))
    except FileNotFoundError as error:
        raise KeyMissing(Path(path)) from error
    except (OSError, ValueError) as error:
        raise KeyUnreadable(Path(path), "it holds no PEM certificates", "Set TIMESTAMP_CERTIFICATES to those of the service.") from error
