"""A tablet becomes one of the shop's: with a code from the desk it gets its cookie. And what a browser that is none is told."""

from __future__ import annotations

import functools
from collections.abc import Callable
from dataclasses import dataclass

from django.conf import settings
from django.contrib.auth.decorators import login_not_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.http import urlencode
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_POST

from inspection.pages.floor import NO_RIGHTS, Screen
from shop.acts.tablets import enrol_tablet
from shop.clock import now
from shop.finding import Refused, misfit
from shop.pages.acting import refusal_of
from shop.stations import Tablet
from shop.tablets import carried, give_cookie, take_cookie
from shop.wording import Worded

View = Callable[..., HttpResponse]


@dataclass(frozen=True, slots=True)
class EnrolPage:
    """enrolled: what this browser is now. revoked: what it was, with why it is no more. may_go_on: whether it may work without."""

    code: str
    enrolled: Tablet | None
    revoked: Tablet | None
    may_go_on: bool
    has_cookie: bool
    findings: tuple[Worded, ...] = ()


def _draw(request: HttpRequest, *, code: str = "", findings: tuple[Worded, ...] = (), status: int = 200) -> HttpResponse:
    known = carried(request)
    page = EnrolPage(
        code=code,
        enrolled=known.in_use,
        revoked=known.tablet if known.tablet is not None and not known.tablet.is_in_use else None,
        may_go_on=not settings.REQUIRE_ENROLLED_TABLETS,
        has_cookie=known.has_cookie,
        findings=findings,
    )
    return render(
        request, "make/enrol.html", {"page": page, "screen": Screen("", findings, NO_RIGHTS, 0, "enrol"), "place": "make"}, status=status
    )


@sensitive_post_parameters("code")
@never_cache
@login_not_required
def enrol(request: HttpRequest) -> HttpResponse:
    """The code typed or scanned; the tablet gets its cookie and shows whose it is."""
    if request.method != "POST":
        return _draw(request, code=request.GET.get("code", "")[:40])
    code = request.POST.get("code", "")
    try:
        tablet, token = enrol_tablet(code=code, at=now())
    except Refused as refused:
        return _draw(request, code=code[:40], findings=refusal_of(refused.findings).findings, status=422)
    response = redirect("make:enrol")
    give_cookie(response, tablet, token)
    return response


@require_POST
@login_not_required
def go_on_without(request: HttpRequest) -> HttpResponse:
    """A browser whose tablet was revoked works as any other, where the shop allows that."""
    if settings.REQUIRE_ENROLLED_TABLETS:
        return redirect("make:enrol")
    response = redirect("make:sign-on")
    take_cookie(response)
    return response


LOCKED = "locked"
"""In the session while the tablet is locked: nothing is answered until the PIN came."""


def at_tablet(view: View, *, takes_locked: bool = False) -> View:
    """Floor pages are for enrolled tablets where the shop says so, and never for a revoked one.

    A page that was asked for leads to enrolment and back. What was sent is refused with the reason: its page keeps what was typed.
    takes_locked: pages that a locked tablet asks for: signing on, and what it brings after the network was away.
    """

    @functools.wraps(view)
    def guarded(request: HttpRequest, *args: object, **kwargs: object) -> HttpResponse:
        known = carried(request)
        if known.in_use is not None or not (settings.REQUIRE_ENROLLED_TABLETS or known.tablet is not None):
            if LOCKED in request.session and not takes_locked:
                return redirect(f"{reverse('make:sign-on')}?{urlencode({'next': request.get_full_path()})}")
            return view(request, *args, **kwargs)
        if request.method in ("GET", "HEAD"):
            return redirect(f"{reverse('make:enrol')}?{urlencode({'next': request.path})}")
        return _draw(request, findings=refusal_of([misfit("tablet.needed", "")]).findings, status=403)

    return guarded
