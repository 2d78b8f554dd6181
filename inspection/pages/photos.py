"""A photograph that comes with a form of the floor."""

from __future__ import annotations

from typing import Any

from django.conf import settings
from django.http import HttpRequest

from inspection.models import Sample
from inspection.photos import bare_picture


def photo_in(request: HttpRequest, name: str) -> bytes | None:
    """The picture of this field, made bare; None where none was chosen. Raises Refused for what is no picture or too large."""
    upload: Any = request.FILES.get(name)
    if upload is None or not upload.size:
        return None
    limit = settings.UPLOAD_LIMIT_BYTES
    return bare_picture(upload.read(limit + 1), limit)


def photo_name(sample: Sample, what: str) -> str:
    """The name under which it is kept: nothing of the device's own."""
    return f"{sample.batch.number}-sample-{sample.number}-{what}.jpg"
