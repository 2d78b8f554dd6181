"""`manage.py shop_key`: make the shop's certificate authority, or show what is there."""

from __future__ import annotations

from argparse import ArgumentParser
from typing import Any

from cryptography import x509
from django.conf import settings
from django.core.management.base import BaseCommand
from django.utils import timezone

from records.shop_key import (
    ROOT_CERTIFICATE,
    ROOT_KEY,
    KeyExists,
    KeyMissing,
    KeyUnreadable,
    common_name,
    create_shop_key,
    fingerprint,
    load_shop_key,
)
from shop.command import Stopped


class Command(BaseCommand):
    help = "Show the shop's certificates, or create them with --create."
    requires_system_checks = ()  # the key is made before there is a database

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--create", action="store_true", help="make a new certificate authority and signing key; never overwrites")

    def handle(self, *args: Any, create: bool, **options: Any) -> None:
        directory = settings.SHOP_KEY_DIR
        passphrase = settings.SHOP_KEY_PASSPHRASE or None
        try:
            if create:
                key = create_shop_key(directory, shop_name=settings.SHOP_NAME, at=timezone.now(), passphrase=passphrase)
                self.stdout.write(f"Created the shop's key in {directory}")
            else:
                key = load_shop_key(directory, passphrase)
        except (KeyExists, KeyMissing, KeyUnreadable) as error:
            raise Stopped(error) from error
        self._show("Root certificate", key.root)
        self._show("Signing certificate", key.signing)
        if create:
            self.stdout.write(f"Give {directory / ROOT_CERTIFICATE} to whoever has to verify your documents.")
            self.stdout.write(f"Move {directory / ROOT_KEY} off this machine, to a safe.")
            self.stdout.write("It is only needed to make the next signing certificate.")

    def _show(self, role: str, certificate: x509.Certificate) -> None:
        self.stdout.write(f"{role}: {common_name(certificate.subject)}")
        self.stdout.write(f"  valid    {certificate.not_valid_before_utc:%Y-%m-%d} to {certificate.not_valid_after_utc:%Y-%m-%d}")
        self.stdout.write(f"  SHA-256  {fingerprint(certificate)}")
