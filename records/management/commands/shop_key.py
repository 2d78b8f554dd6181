"""`manage.py shop_key`: make the shop's certificate authority, show what is there, renew, replace or revoke it."""

from __future__ import annotations

from argparse import ArgumentParser
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

from cryptography import x509
from django.conf import settings
from django.core.management.base import BaseCommand
from django.utils import timezone

from records.certificates import create_shop_key, renew_certificates, replace_root, revoke_certificate
from records.shop_key import (
    PEOPLE_CERTIFICATE,
    ROOT_CERTIFICATE,
    ROOT_KEY,
    KeyExists,
    KeyMissing,
    KeyUnreadable,
    common_name,
    fingerprint,
    load_certificate,
    load_revocations,
    load_shop_key,
)
from shop.command import Stopped

WARN_AHEAD = timedelta(days=90)


class Command(BaseCommand):
    help = "Show the shop's certificates, or create, renew, replace or revoke them."
    requires_system_checks = ()  # the key is made before there is a database

    def add_arguments(self, parser: ArgumentParser) -> None:
        deed = parser.add_mutually_exclusive_group()
        deed.add_argument("--create", action="store_true", help="make a new certificate authority and signing key; never overwrites")
        deed.add_argument("--renew", action="store_true", help="the next signing certificate and people's authority under the same root")
        deed.add_argument(
            "--new-root", action="store_true", help="a new root with all under it; the earlier one stays trusted for the past"
        )
        deed.add_argument("--revoke", type=Path, metavar="FILE", help="put this certificate on the root's revocation list, from now on")
        parser.add_argument(
            "--root-key", type=Path, metavar="FILE", help="where the root's private key lies, if not in the folder of the keys"
        )

    def handle(
        self, *args: Any, create: bool, renew: bool, new_root: bool, revoke: Path | None, root_key: Path | None, **options: Any
    ) -> None:
        directory, name, at = settings.SHOP_KEY_DIR, settings.SHOP_NAME, timezone.now()
        passphrase = settings.SHOP_KEY_PASSPHRASE or None
        try:
            if create:
                create_shop_key(directory, shop_name=name, at=at, passphrase=passphrase)
                self.stdout.write(f"Created the shop's key in {directory}")
            elif renew:
                renew_certificates(directory, shop_name=name, at=at, passphrase=passphrase, root_key=root_key)
                self.stdout.write("Renewed. The certificates before are in retired/, their private keys are gone.")
            elif new_root:
                replace_root(directory, shop_name=name, at=at, passphrase=passphrase)
                self.stdout.write("A new root. The earlier one is in roots/ and stays trusted for what was sealed under it.")
            elif revoke:
                revoke_certificate(directory, certificate=load_certificate(revoke), at=at, passphrase=passphrase, root_key=root_key)
                self.stdout.write(f"Revoked from now on: {fingerprint(load_certificate(revoke))}")
            key, people = load_shop_key(directory, passphrase), load_certificate(directory / PEOPLE_CERTIFICATE)
            listed = load_revocations(directory)
        except (KeyExists, KeyMissing, KeyUnreadable) as error:
            raise Stopped(error) from error
        for role, certificate in (("Root certificate", key.root), ("Signing certificate", key.signing), ("People's authority", people)):
            self._show(role, certificate, at)
        self.stdout.write(f"Revoked certificates: {0 if listed is None else len(list(listed))}")
        if create or new_root:
            self.stdout.write(f"Give {directory / ROOT_CERTIFICATE} to whoever has to verify your documents.")
            self.stdout.write(f"Move {directory / ROOT_KEY} off this machine, to a safe.")
            self.stdout.write("It is only needed to renew or revoke certificates.")

    def _show(self, role: str, certificate: x509.Certificate, at: datetime) -> None:
        self.stdout.write(f"{role}: {common_name(certificate.subject)}")
        self.stdout.write(f"  valid    {certificate.not_valid_before_utc:%Y-%m-%d} to {certificate.not_valid_after_utc:%Y-%m-%d}")
        self.stdout.write(f"  SHA-256  {fingerprint(certificate)}")
        if certificate.not_valid_after_utc - at < WARN_AHEAD:
            self.stdout.write("  It ends soon or has ended: renew it with --renew, a root with --new-root.")
