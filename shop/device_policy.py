"""Which devices of a tablet our pages may ask for: its camera (labels) and its serial ports (gauges), and nothing else."""

from __future__ import annotations

from collections.abc import Callable

from django.http import HttpRequest, HttpResponse

POLICY = "camera=(self), serial=(self), microphone=(), geolocation=(), usb=(), payment=()"


class DevicePolicy:
    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        response = self.get_response(request)
        response.headers.setdefault("Permissions-Policy", POLICY)
        return response
