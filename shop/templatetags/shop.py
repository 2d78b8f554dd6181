"""Filters that word numbers and times the same way on every page. They show; they do not decide."""

from __future__ import annotations

from datetime import datetime
from decimal import Decimal
from typing import Any
from urllib.parse import urlencode

from django import template
from django.urls import reverse
from django.utils import timezone

from shop.figures import spoken
from shop.people import Person, Role
from shop.saved_searches import SavedSearch

register = template.Library()


def figure(value: Decimal | int | None, places: int = 0) -> str:
    """A stored decimal without the zeros of its column, but with at least `places` decimals: 1.4000 with 2 reads 1.40."""
    if value is None:
        return ""
    if isinstance(value, int):
        return str(value)
    text = format(value.normalize(), "f")
    shown = len(text.split(".")[1]) if "." in text else 0
    return text if shown >= places else format(value, f".{places}f")


@register.filter("figure")
def spoken_figure(value: Decimal | int | None, places: int = 0) -> str:
    """`figure` as the reader's language writes it; what is signed or sent is made by `figure` itself."""
    return spoken(figure(value, places))


register.filter("spoken", spoken)


@register.filter
def role_word(role: str) -> str:
    return str(Role(role).label)


@register.filter
def moment(value: datetime | None) -> str:
    """A time in the shop's zone, with its offset: 2026-03-02 14:05 UTC+01:00."""
    if value is None:
        return ""
    local = timezone.localtime(value, timezone.get_default_timezone())
    return f"{local:%Y-%m-%d %H:%M} {local.tzname()}"


@register.inclusion_tag("_saved.html", takes_context=True)
def saved_here(context: dict[str, Any], *, everywhere: bool = False) -> dict[str, Any]:
    """The saved questions about this page (or about any), and the link that saves the one asked now."""
    request, person = context["request"], context["person"]
    if not isinstance(person, Person):
        return {"rows": [], "save_url": ""}
    rows = SavedSearch.objects.for_person(person)
    rows = rows if everywhere else rows.filter(path=request.path)
    asked = request.GET.copy()
    asked.pop("page", None)
    address = f"{request.path}?{asked.urlencode()}"
    return {"rows": list(rows[:20]), "save_url": f"{reverse('saved')}?{urlencode({'address': address})}" if asked else ""}
