"""What every page knows: the shop's name and the person."""

from __future__ import annotations

from django.conf import settings
from django.http import HttpRequest

from shop.tablets import tablet_of


def shop(request: HttpRequest) -> dict[str, object]:
    user = getattr(request, "user", None)
    return {
        "shop_name": settings.SHOP_NAME,
        "person": user if user is not None and user.is_authenticated else None,
        "tablet": tablet_of(request),
    }
