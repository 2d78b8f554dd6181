"""Files that lie under the hash of their bytes, on a disk or in S3-compatible storage (setting FILE_STORAGE).

Two who write the same bytes at once write the same file: on a disk it grows beside its place and is moved there whole; in S3-compatible
storage an object appears whole or not at all. Whoever writes a row that names a file, and whoever takes a file away, holds the name's lock
until the end of the transaction: a file never goes while somebody is about to name it again.
"""

from __future__ import annotations

import hashlib
import os
import tempfile
from collections.abc import Callable
from pathlib import Path

from django.core.files.base import ContentFile, File
from django.core.files.storage import FileSystemStorage, default_storage
from django.db import connection, transaction

from shop.finding import Finding, Refused, refuse_if

GONE = "file.disposed"
"""The rule by which a file that was disposed of is refused: the answer is 410, not 422."""


class HashedFiles(FileSystemStorage):
    """The disk. A name stands for its bytes, so writing it again changes nothing; half a file is never found under a name."""

    def get_available_name(self, name: str, max_length: int | None = None) -> str:
        return name

    def _save(self, name: str, content: File[bytes]) -> str:
        full = Path(self.path(name))
        full.parent.mkdir(parents=True, exist_ok=True)
        descriptor, growing = tempfile.mkstemp(dir=full.parent, prefix=".growing-")
        try:
            with os.fdopen(descriptor, "wb") as out:
                for chunk in content.chunks():
                    out.write(chunk)
                out.flush()
                os.fsync(out.fileno())
            if self.file_permissions_mode is not None:
                os.chmod(growing, self.file_permissions_mode)
            os.replace(growing, full)
        except BaseException:
            Path(growing).unlink(missing_ok=True)
            raise
        # The name has to be on the disk before a row that relies on it is.
        folder = os.open(full.parent, os.O_RDONLY)
        try:
            os.fsync(folder)
        finally:
            os.close(folder)
        return name


def lock(name: str) -> None:
    """Hold a file's name until the end of the transaction. On SQLite the transaction itself is the only writer."""
    if not connection.in_atomic_block:
        raise transaction.TransactionManagementError("a file's name is locked inside a transaction")
    if connection.vendor == "postgresql":
        number = int.from_bytes(hashlib.sha256(name.encode()).digest()[:8], signed=True)
        with connection.cursor() as cursor:
            cursor.execute("SELECT pg_advisory_xact_lock(%s)", [number])


def keep(name: str, data: bytes) -> None:
    """Store `data` under `name`, unless it is there. Runs inside the transaction that writes the row naming it."""
    lock(name)
    if not default_storage.exists(name):
        default_storage.save(name, ContentFile(data))


Owner = tuple[str, int]
"""Whose file it is: the sort of record as a disposal names it, and the key of its row."""

Disposed = Callable[[Owner], Finding | None]
_DISPOSED: list[Disposed] = []


def tells_disposed(disposed: Disposed) -> None:
    """Register who knows what was disposed of: records lies above the shop."""
    _DISPOSED.append(disposed)


def refuse_disposed(owner: Owner) -> None:
    """Raise Refused for a record whose file was disposed of, whether its bytes are gone yet or not."""
    refuse_if(found for disposed in _DISPOSED if (found := disposed(owner)) is not None)


def read(name: str, sha256: str, *, owner: Owner, damaged: Finding) -> bytes:
    """The bytes of a stored file. Raises Refused: with `damaged` where they are missing or others, or saying that they were disposed of."""
    refuse_disposed(owner)
    try:
        with default_storage.open(name) as file:
            data: bytes = file.read()
    except FileNotFoundError:
        raise Refused([damaged]) from None
    if hashlib.sha256(data).hexdigest() != sha256:
        raise Refused([damaged])
    return data
