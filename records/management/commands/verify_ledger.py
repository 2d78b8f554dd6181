"""`manage.py verify_ledger`: walks the chain from the first entry. Exit 0 whole, 1 names the first bad entry, 2 wrong use."""

from __future__ import annotations

import json
import sys
import time
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand
from django.db import DatabaseError

from records.checkpoint_text import NotACheckpoint, Signed, read_file
from records.ledger_check import verify_ledger, workers_worth
from records.models import LedgerHead
from shop.command import Stopped

SECONDS_BETWEEN_NEWS = 1.0


class Command(BaseCommand):
    help = "Walk the ledger from its first entry. Exit 0: it is whole. 1: names the first bad entry. 2: wrong use."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--json", action="store_true", help="the report for machines")
        parser.add_argument(
            "--against",
            type=Path,
            action="append",
            default=[],
            metavar="FILE",
            help="a checkpoint that was exported, or a folder of them; may be given several times",
        )
        parser.add_argument("--workers", type=int, metavar="N", help="processes that check side by side (default: by the ledger's length)")
        parser.add_argument("--quiet", action="store_true", help="no progress on standard error")

    def handle(self, *args: Any, **options: Any) -> None:
        if options["workers"] is not None and options["workers"] < 1:
            raise Stopped("--workers must be 1 or more.")
        against = [signed for path in options["against"] for signed in _read(path)]
        try:
            head = LedgerHead.objects.filter(pk=1).first()
            workers = options["workers"] or workers_worth(head.count if head else 0)
            report = verify_ledger(workers=workers, against=against, progress=None if options["quiet"] else _News())
        except DatabaseError as error:
            raise Stopped(f"The ledger cannot be read: {error}") from error
        if options["json"]:
            told = {
                "whole": report.is_whole,
                "entries": report.entries,
                "head": report.head,
                "first_bad": report.first_bad,
                "reason": report.reason,
                "tampering": report.tampering,
                "checkpoints": report.checkpoints,
            }
            self.stdout.write(json.dumps(told))
        elif report.is_whole:
            self.stdout.write(f"The ledger is whole: {report.entries} entries, last hash {report.head}.")
            self.stdout.write(f"It agrees with {report.checkpoints} signed checkpoint{'' if report.checkpoints == 1 else 's'}.")
        else:
            self.stdout.write(
                f"The ledger is NOT whole ({report.tampering}): {report.reason}. The {report.entries} entries before it hold."
            )
        if not report.is_whole:
            raise SystemExit(1)


def _read(path: Path) -> list[Signed]:
    files = sorted(path.glob("*.json")) if path.is_dir() else [path]
    if not files:
        raise Stopped(f"{path} holds no checkpoint.")
    read = []
    for file in files:
        try:
            read.append(read_file(file.read_text(encoding="utf-8")))
        except (OSError, UnicodeDecodeError, NotACheckpoint) as error:
            raise Stopped(f"{file} is no checkpoint that can be read: {error}") from error
    return read


class _News:
    """How far it is, on standard error, once a second."""

    def __init__(self) -> None:
        self.last = time.monotonic()

    def __call__(self, done: int, total: int) -> None:
        if time.monotonic() - self.last >= SECONDS_BETWEEN_NEWS:
            self.last = time.monotonic()
            print(f"{done} of {total} entries, {100 * done // total} %", file=sys.stderr, flush=True)
