"""`manage.py checkpoint`: sign how far the ledger reaches, and hand that out. Exit 0 done, 1 it did not reach every place, 2 refused."""

from __future__ import annotations

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand
from django.utils import timezone

from records.acts.checkpoints import checkpoint_is_due, make_checkpoint
from records.checkpoint_export import hand_out, places, write_to
from records.checkpoints import Checkpoint
from records.shop_key import KeyMissing, KeyUnreadable
from shop.command import Stopped
from shop.finding import Refused
from shop.people import Person
from shop.wording import worded


class Command(BaseCommand):
    help = "Make a signed checkpoint of the ledger, list those that were made, or hand them out again."

    def add_arguments(self, parser: ArgumentParser) -> None:
        deed = parser.add_mutually_exclusive_group()
        deed.add_argument("--list", action="store_true", help="list the checkpoints that were made; makes none")
        deed.add_argument("--if-due", action="store_true", help="only where one is due: for a timer that runs often")
        deed.add_argument("--export", type=Path, metavar="FOLDER", help="write every checkpoint to this folder; makes none")
        deed.add_argument("--hand-out", action="store_true", help="hand the newest out again; makes none")

    def handle(self, *args: Any, **options: Any) -> None:
        newest = Checkpoint.objects.order_by("-entries").first()
        if options["list"]:
            for one in Checkpoint.objects.all():
                self.stdout.write(f"{one.entries} entries, {one.at:%Y-%m-%d %H:%M} UTC, tree {one.root}")
        elif options["export"]:
            self._export(options["export"])
        elif options["hand_out"]:
            if newest is None:
                raise Stopped("No checkpoint was made yet.")
            self._hand_out(newest)
        else:
            self._make(if_due=options["if_due"], newest=newest)

    def _make(self, *, if_due: bool, newest: Checkpoint | None) -> None:
        at = timezone.now()
        if if_due and not checkpoint_is_due(at):
            self.stdout.write("No checkpoint is due.")
            return
        try:
            made = make_checkpoint(by=Person.system(), at=at)
        except Refused as refused:
            raise Stopped(" ".join(str(worded(finding).sentence) for finding in refused.findings)) from refused
        except (KeyMissing, KeyUnreadable) as error:
            raise Stopped(error) from error
        if made == newest:
            self.stdout.write(f"Nothing was written since the {made}.")
            return
        self.stdout.write(f"Made a {made}: tree {made.root}")
        if not places():
            self.stdout.write("It is handed out nowhere: set CHECKPOINT_DIR, CHECKPOINT_MAIL or CHECKPOINT_URL.")

    def _export(self, folder: Path) -> None:
        if not folder.is_dir():
            raise Stopped(f"{folder} is no folder.")
        try:
            written = [write_to(folder, one) for one in Checkpoint.objects.order_by("entries")]
        except OSError as error:
            raise Stopped(f"{folder} cannot be written to: {error.strerror or error}") from error
        self.stdout.write(f"Wrote {len(written)} checkpoints to {folder}")

    def _hand_out(self, newest: Checkpoint) -> None:
        handed = hand_out(newest)
        if not handed:
            raise Stopped("There is nowhere to: set CHECKPOINT_DIR, CHECKPOINT_MAIL or CHECKPOINT_URL.")
        for one in handed:
            self.stdout.write(f"{one.where}: {one.fault or 'handed over'}")
        if any(one.fault for one in handed):
            raise SystemExit(1)
