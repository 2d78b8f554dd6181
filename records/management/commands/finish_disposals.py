"""`manage.py finish_disposals`: take away the files of disposals that a stopped worker left behind. Exit 0 always; safe to run twice."""

from __future__ import annotations

from typing import Any

from django.core.management.base import BaseCommand

from records.acts.keeping import remove_files


class Command(BaseCommand):
    help = "Take away the files of records that were disposed of, where the worker has not done it yet."

    def handle(self, *args: Any, **options: Any) -> None:
        went = remove_files()
        self.stdout.write(f"{went} files taken away")
