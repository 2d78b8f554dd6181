"""System checks: what the settings cannot type-check and what must never go silently unheard."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django.apps import AppConfig
from django.conf import settings
from django.core.checks import CheckMessage, Error, Tags, Warning, register  # Django's own name
from django.core.files.storage import default_storage

from shop.events import RECORDED, published


@register()
def events_are_heard(app_configs: Sequence[AppConfig] | None, **kwargs: Any) -> list[CheckMessage]:
    """Each recorded event needs a listener: an act without an entry in the ledger must not be possible."""
    return [
        Error(f"Nobody listens to {kind}.", hint="Connect a listener in the records app.", id="shop.E001")
        for kind, event in sorted(RECORDED.items())
        if not published.has_listeners(event)
    ]


@register(Tags.security, deploy=True)
def tls_is_on(app_configs: Sequence[AppConfig] | None, **kwargs: Any) -> list[CheckMessage]:
    if settings.SERVED_OVER_TLS:
        return []
    return [
        Warning(
            "Tablets reach this server without TLS.",
            hint="Set SERVED_OVER_TLS=true behind a proxy with a certificate: PINs travel in clear otherwise.",
            id="shop.W001",
        )
    ]


@register(Tags.files, deploy=True)
def files_can_be_kept(app_configs: Sequence[AppConfig] | None, **kwargs: Any) -> list[CheckMessage]:
    """Asked only on request: it talks to the storage."""
    try:
        default_storage.exists("documents/00/is-it-there")
    except Exception as error:  # whatever a storage's library raises, files cannot be kept
        hint = "Check FILE_STORAGE and the settings that begin with S3_, or MEDIA_ROOT."
        return [Error(f"The storage of files does not answer: {error}", hint=hint, id="shop.E002")]
    if settings.FILE_STORAGE == "s3" and settings.S3_ENDPOINT.startswith("http://"):
        hint = "Use an address that begins with https://, unless the storage runs on this machine."
        return [Warning("Files travel to their storage in clear.", hint=hint, id="shop.W002")]
    return []
