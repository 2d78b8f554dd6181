"""Filters that word numbers and times the same way on every page. They show; they do not decide."""

from __future__ import annotations

from datetime import datetime
from decimal import Decimal

from django import template
from django.utils import timezone

register = template.Library()


@register.filter
def figure(value: Decimal | int | None, places: int = 0) -> str:
    """A stored decimal without the zeros of its column, but with at least `places` decimals: 1.4000 with 2 reads 1.40."""
    if value is None:
        return ""
    if isinstance(value, int):
        return str(value)
    text = format(value.normalize(), "f")
    shown = len(text.split(".")[1]) if "." in text else 0
    return text if shown >= places else format(value, f".{places}f")


@register.filter
def moment(value: datetime | None) -> str:
    """A time in the shop's zone, with its offset: 2026-03-02 14:05 UTC+01:00."""
    if value is None:
        return ""
    local = timezone.localtime(value, timezone.get_default_timezone())
    return f"{local:%Y-%m-%d %H:%M} {local.tzname()}"
