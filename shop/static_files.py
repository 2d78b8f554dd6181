"""Hashed static files, module imports included."""

from __future__ import annotations

from django.contrib.staticfiles.finders import AppDirectoriesFinder
from whitenoise.storage import CompressedManifestStaticFilesStorage


class HashedStaticFiles(CompressedManifestStaticFilesStorage):  # type: ignore[misc]  # whitenoise carries no types
    """Every file carries its hash in its name, so a tablet may cache it for good."""

    support_js_module_import_aggregation = True


class OwnAppsFinder(AppDirectoriesFinder):
    """Static files of our own apps only: no page uses those that libraries bring along, and some of them do not survive hashing."""

    def __init__(self, app_names: object = None, *args: object, **options: object) -> None:
        super().__init__(["shop", "inspection", "records"], *args, **options)
