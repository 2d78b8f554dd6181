"""Files that the API hands out: the answer is the file itself, an error is JSON like everywhere."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django.http import HttpResponse
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


def file_response(data: bytes, media_type: str, name: str) -> HttpResponse:
    response = HttpResponse(data, content_type=media_type)
    response["Content-Disposition"] = f'attachment; filename="{name}"'
    return response
