"""A session ends some time after the last touch. The touch is written down at most once in a while, not with every page.

Written with every page, a page that only reads would wait for the disk and, on SQLite, for the one place of the writer; and of two
pages asked for at once the later would write back what the other had just changed in the session.
"""

from __future__ import annotations

from collections.abc import Callable

from django.conf import settings
from django.contrib.auth import SESSION_KEY
from django.http import HttpRequest
from django.http.response import HttpResponseBase

from shop.clock import now

TOUCHED = "touched"
"""In the session: when it was last written that it is in use, in seconds since 1970."""

LONGEST_S = 60


class TouchSession:
    """Stands after the session. The session may end this much early, never late: a tenth of its time, a minute at most."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponseBase]) -> None:
        self.get_response = get_response
        self.every_s = min(LONGEST_S, settings.SESSION_COOKIE_AGE // 10)

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        session, at = request.session, int(now().timestamp())
        if SESSION_KEY in session and not 0 <= at - session.get(TOUCHED, 0) < self.every_s:
            session[TOUCHED] = at
        return self.get_response(request)
