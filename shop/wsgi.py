"""The WSGI door for gunicorn."""

import gc
import os

from django.core.wsgi import get_wsgi_application
from django.urls import get_resolver


def settle_memory() -> None:
    """Once everything is loaded: tell the collector that it stays.

    Half a million objects are loaded that never go, and every so often a page waited a fifth of a second while they were looked through.
    What one page makes is let go without the collector, but for a few circles; so it comes by less often too.
    """
    get_resolver().url_patterns  # noqa: B018  # looking loads the pages, which otherwise the first to come would wait for
    gc.collect()
    gc.freeze()
    gc.set_threshold(20_000, 10, 20)


os.environ.setdefault("DJANGO_SETTINGS_MODULE", "shop.settings")
application = get_wsgi_application()
settle_memory()
