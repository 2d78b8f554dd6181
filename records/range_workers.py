"""What a process of its own runs when the ledger is checked side by side. Imports no models: they need Django set up first."""

from __future__ import annotations

from typing import TYPE_CHECKING

import django

if TYPE_CHECKING:
    from records.ledger_range import RangeReport


def set_up() -> None:
    """Once in each process: settings and apps, read from the environment like everywhere."""
    django.setup()


def one_range(asked: tuple[int, int, list[int]]) -> RangeReport:
    """(start, stop, marks), over this process's own connection."""
    from records.ledger_range import check_range  # noqa: PLC0415  # after set_up

    return check_range(*asked)
