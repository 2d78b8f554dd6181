"""Handing checkpoints out of the house: to a folder, by e-mail, to another system. A ledger that lost its tail, or was written anew by
somebody who owns the database, is told by a checkpoint that lies where they cannot reach it.
"""

from __future__ import annotations

import os
import smtplib
import tempfile
import urllib.request
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from django.conf import settings
from django.core.mail import EmailMessage

from records.checkpoints import Checkpoint

NEWEST = "newest.json"
SECONDS = 10
"""How long another system may take to answer."""


@dataclass(frozen=True, slots=True)
class Handed:
    """Where a checkpoint went, and why it did not get there, or ""."""

    where: str
    fault: str


def places() -> list[str]:
    """Where checkpoints are handed to, in words."""
    named = [str(settings.CHECKPOINT_DIR)] if settings.CHECKPOINT_DIR else []
    return [*named, *settings.CHECKPOINT_MAIL, *([settings.CHECKPOINT_URL] if settings.CHECKPOINT_URL else [])]


def hand_out(checkpoint: Checkpoint) -> list[Handed]:
    """To every place that is set. One that fails does not keep the others from it; nothing is raised."""
    text, handed = checkpoint.signed.as_file(), []
    folder = settings.CHECKPOINT_DIR
    if folder:
        handed.append(_tried(str(folder), lambda: write_to(Path(folder), checkpoint)))
    if settings.CHECKPOINT_MAIL:
        handed.append(_tried(", ".join(settings.CHECKPOINT_MAIL), lambda: _mail(checkpoint, text)))
    if settings.CHECKPOINT_URL:
        handed.append(_tried(settings.CHECKPOINT_URL, lambda: _post(text)))
    return handed


def _tried(where: str, deed: Callable[[], object]) -> Handed:
    try:
        deed()
    except (OSError, smtplib.SMTPException) as error:
        return Handed(where, str(error) or type(error).__name__)
    return Handed(where, "")


def write_to(directory: Path, checkpoint: Checkpoint) -> Path:
    """A file per checkpoint, and the newest under a name of its own. Raises OSError. Gives back the file's path."""
    text = checkpoint.signed.as_file()
    path = directory / checkpoint.file_name
    for target in (path, directory / NEWEST):
        # Written beside and moved: a reader never finds half a file.
        handle, beside = tempfile.mkstemp(dir=directory, suffix=".part")
        try:
            with os.fdopen(handle, "w", encoding="utf-8") as file:
                file.write(text)
            Path(beside).chmod(0o644)
            Path(beside).replace(target)
        except OSError:
            Path(beside).unlink(missing_ok=True)
            raise
    return path


def _mail(checkpoint: Checkpoint, text: str) -> None:
    body = (
        f"The ledger of {settings.SHOP_NAME} had {checkpoint.entries} entries.\n\n"
        f"tree   {checkpoint.root}\nlast   {checkpoint.head}\n\n"
        "Keep the attached file where the shop cannot change it. The ledger is held against it with\n"
        f"manage.py verify_ledger --against {checkpoint.file_name}\n"
    )
    mail = EmailMessage(f"Ledger checkpoint {checkpoint.entries}, {settings.SHOP_NAME}", body, to=list(settings.CHECKPOINT_MAIL))
    mail.attach(checkpoint.file_name, text, "application/json")
    mail.send()


def _post(text: str) -> None:
    request = urllib.request.Request(  # noqa: S310  # the settings let http and https through only
        settings.CHECKPOINT_URL, data=text.encode(), headers={"Content-Type": "application/json"}, method="POST"
    )
    with urllib.request.urlopen(request, timeout=SECONDS):  # noqa: S310
        pass  # any answer below 400 will do; others raise
