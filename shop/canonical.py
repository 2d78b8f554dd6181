"""Canonical JSON (RFC 8785) and its SHA-256: what a signature covers and what the ledger chains."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from datetime import date, datetime
from decimal import Decimal
from typing import Any

import rfc8785


def plain(value: Any) -> Any:
    """Make `value` fit for canonical JSON: decimals and times become text, so that 1.80 stays 1.80 and no double is involved.

    Raises TypeError for a float (a float never stands in a signed record) and for anything JSON does not know.
    """
    if value is None or isinstance(value, bool | int):
        return value
    if isinstance(value, str):
        return str(value)
    if isinstance(value, Decimal):
        return format(value, "f")
    if isinstance(value, datetime):
        if value.tzinfo is None:
            raise TypeError("a time in a record needs its zone")
        return value.isoformat()
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, Mapping):
        return {str(k): plain(v) for k, v in value.items()}
    if isinstance(value, Sequence | set | frozenset) and not isinstance(value, bytes):
        items = sorted(value, key=str) if isinstance(value, set | frozenset) else value
        return [plain(v) for v in items]
    raise TypeError(f"{type(value).__name__} has no place in a signed record")


def canonical_json(value: Any) -> str:
    """The RFC 8785 text of `value` after `plain`. Integers beyond 2**53 raise rfc8785.IntegerDomainError."""
    return rfc8785.dumps(plain(value)).decode()


def sha256_hex(text: str | bytes) -> str:
    """SHA-256 in lower-case hex of the UTF-8 bytes."""
    return hashlib.sha256(text.encode() if isinstance(text, str) else text).hexdigest()


def content_sha256(value: Any) -> str:
    """The hash a signature covers."""
    return sha256_hex(canonical_json(value))
