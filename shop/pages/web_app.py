"""The floor as an app that is installed on a tablet: its manifest, and the worker that keeps its pages when there is no network."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator

from django.conf import settings
from django.contrib.auth.decorators import login_not_required
from django.contrib.staticfiles import finders
from django.contrib.staticfiles.storage import staticfiles_storage
from django.http import HttpRequest, HttpResponse
from django.template.loader import render_to_string
from django.templatetags.static import static
from django.urls import reverse
from django.utils.translation import get_language
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_GET

KEPT = ("shop/css/", "shop/js/", "shop/fonts/", "shop/icons/")
KEPT_KINDS = (".css", ".js", ".woff2", ".svg", ".png", ".wasm")
LIGHT, DARK = "#f5f6f2", "#131817"


def _names() -> Iterator[str]:
    """Every static file that a floor page may ask for, by its name in the address."""
    hashed = getattr(staticfiles_storage, "hashed_files", None)
    if hashed:
        yield from (name for source, name in sorted(hashed.items()) if source.startswith(KEPT))
        return
    for finder in finders.get_finders():
        for name, _storage in finder.list([]):
            if name.startswith(KEPT):
                yield name


def kept_files() -> list[str]:
    """The addresses of the files a tablet keeps. They carry their hash, so a kept one never grows old."""
    base = str(settings.STATIC_URL)
    return sorted({f"{base}{name}" for name in _names() if name.endswith(KEPT_KINDS)})


@login_not_required
@never_cache
@require_GET
def worker(request: HttpRequest) -> HttpResponse:
    """The service worker. Its text changes with every file it keeps, and with the language, so browsers notice a new version."""
    files = kept_files()
    page = reverse("make:offline")
    version = hashlib.sha256(json.dumps([files, get_language()]).encode()).hexdigest()[:12]
    text = render_to_string("make/sw.js", {"version": version, "files": json.dumps(files), "page": json.dumps(page)})
    return HttpResponse(text, content_type="text/javascript; charset=utf-8")


@login_not_required
@require_GET
def manifest(request: HttpRequest) -> HttpResponse:
    """What a browser needs to install the floor as an app of its own."""
    said = {
        "name": _("%(shop)s, at the press") % {"shop": settings.SHOP_NAME},
        "short_name": _("At the press"),
        "lang": get_language(),
        "id": reverse("make:station"),
        "start_url": reverse("make:station"),
        "scope": "/make/",
        "display": "standalone",
        "orientation": "any",
        "background_color": LIGHT,
        "theme_color": LIGHT,
        "icons": [
            {"src": static("shop/icons/mark.svg"), "sizes": "any", "type": "image/svg+xml"},
            {"src": static("shop/icons/app-192.png"), "sizes": "192x192", "type": "image/png"},
            {"src": static("shop/icons/app-512.png"), "sizes": "512x512", "type": "image/png", "purpose": "any maskable"},
        ],
    }
    return HttpResponse(json.dumps(said), content_type="application/manifest+json")
