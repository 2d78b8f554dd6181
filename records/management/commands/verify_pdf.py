"""`manage.py verify_pdf FILE`: who sealed a document, when, and whether it is intact. Exit 0 it stands, 1 it does not, 2 wrong use."""

from __future__ import annotations

import json
from argparse import ArgumentParser
from dataclasses import asdict
from datetime import datetime
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand
from django.utils import timezone

from records.shop_key import KeyMissing, KeyUnreadable, Trust, load_certificate, load_trust
from records.stamping import time_roots
from records.verification import SealReport, verify_pdf
from shop.command import Stopped


class Command(BaseCommand):
    help = "Say who sealed a PDF document, when, and whether it is intact. Exit 0: it stands. 1: it does not. 2: wrong use."
    requires_system_checks = ()  # verifying needs no database

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("file", metavar="FILE", type=Path, help="the PDF document")
        parser.add_argument("--root", metavar="PEM", type=Path, help="root certificate to trust instead of this shop's own")
        parser.add_argument("--json", action="store_true", help="the report for machines")

    def handle(self, *args: Any, file: Path, root: Path | None, **options: Any) -> None:
        try:
            trust = Trust((load_certificate(root),)) if root else load_trust(settings.SHOP_KEY_DIR)
            times = time_roots()
        except KeyMissing as error:
            raise Stopped(f"{root} is missing: name a root certificate in PEM form" if root else error) from error
        except KeyUnreadable as error:
            raise Stopped(error) from error
        try:
            pdf = file.read_bytes()
        except OSError as error:
            raise Stopped(f"{file} cannot be read: {error.strerror}") from error
        report = verify_pdf(pdf, trusted_root=trust, time_roots=times)
        if options["json"]:
            self.stdout.write(json.dumps({"file": str(file), "stands": report.stands} | asdict(report), default=datetime.isoformat))
        else:
            self._tell(file, report)
        if not report.stands:
            raise SystemExit(1)

    def _tell(self, file: Path, report: SealReport) -> None:
        self.stdout.write(f"{file}: {'the document stands' if report.stands else 'the document does NOT stand'}")
        if report.signed:
            at = f"{timezone.localtime(report.signed_at):%Y-%m-%d %H:%M:%S %Z}" if report.signed_at else "unknown"
            self.stdout.write(f"  signed by    {report.signer_name or 'unknown'}{'' if report.trusted else ' (not proven)'}")
            self.stdout.write(f"  signed at    {at} (the signer's clock)")
            if report.stamped_at:
                self.stdout.write(f"  stamped at   {timezone.localtime(report.stamped_at):%Y-%m-%d %H:%M:%S %Z} (a time-stamp service)")
            for one in report.people:
                when = f"{timezone.localtime(one.signed_at):%Y-%m-%d %H:%M:%S %Z}" if one.signed_at else "unknown"
                self.stdout.write(f"  {one.meaning:<12} {one.name} ({one.username}), {when}{'' if one.holds else ' - does NOT hold'}")
            self.stdout.write(f"  intact       {_yes(report.intact)}")
            self.stdout.write(f"  whole file   {_yes(report.covers_whole_file)}")
            self.stdout.write(f"  trusted      {_yes(report.trusted)}")
            self.stdout.write(f"  level        {report.level or 'unknown'}")
        self.stdout.write(f"  record       {'SHA-256 ' + report.attachment_sha256 if report.attachment_present else 'none attached'}")
        for problem in report.problems:
            self.stdout.write(f"  - {problem}")


def _yes(fact: bool) -> str:
    return "yes" if fact else "NO"
