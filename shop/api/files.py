"""Files that the API hands out: the answer is the file itself, an error is JSON like everywhere."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django.http import HttpResponse
from django.utils.http import content_disposition_header
from rest_framework.renderers import BaseRenderer


class PDF(BaseRenderer):
    media_type = "application/pdf"
    format = "pdf"
    charset = None
    render_style = "binary"

    def render(self, data: Any, accepted_media_type: str | None = None, renderer_context: Mapping[str, Any] | None = None) -> Any:
        return data


class ZIP(PDF):
    media_type = "application/zip"
    format = "zip"


class AnyFile(PDF):
    """Whatever was uploaded, told by its content when it came in."""

    media_type = "*/*"
    format = "file"


def file_response(data: bytes, media_type: str, name: str) -> HttpResponse:
    """A file to keep: nothing that was uploaded runs or shows inside our pages."""
    headers = {
        "Content-Disposition": str(content_disposition_header(as_attachment=True, filename=name)),
        "X-Content-Type-Options": "nosniff",
    }
    return HttpResponse(data, content_type=media_type, headers=headers)
