"""How our commands fail: one line on standard error, exit code 2, no traceback."""

from __future__ import annotations

from django.core.management.base import CommandError


class Stopped(CommandError):  # noqa: N818  # reads as what happened, and Django prints the name
    """Refused or wrong use. Line breaks are folded, so that whatever is said stays one line.

    Raised from `handle`; Django prints it and leaves with `returncode`.
    """

    def __init__(self, sentence: object, *, returncode: int = 2) -> None:
        super().__init__(" ".join(str(sentence).split()), returncode=returncode)
