"""Hashed static files, module imports included."""

from __future__ import annotations

from whitenoise.storage import CompressedManifestStaticFilesStorage


class HashedStaticFiles(CompressedManifestStaticFilesStorage):  # type: ignore[misc]  # whitenoise carries no types
    """Every file carries its hash in its name, so a tablet may cache it for good."""

    support_js_module_import_aggregation = True
