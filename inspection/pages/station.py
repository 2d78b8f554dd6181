"""At the station: signing on with badge and PIN, the queue, and starting a batch."""

from __future__ import annotations

from dataclasses import dataclass

from django.contrib.auth import login, logout
from django.contrib.auth.decorators import login_not_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.http import url_has_allowed_host_and_scheme
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_GET, require_POST

from inspection.acts.batches import open_batch, pieces_open
from inspection.models import Batch
from inspection.pages.floor import REFUSED_PAGE, count_in, draw, named, perform
from inspection.plan import limits_of
from inspection.queries import StationPage, limits_words, place_of, station_page, step_url, termination_of_label
from shop.clock import now, shop_day
from shop.finding import Refused, misfit, refuse_if
from shop.jobs import SheetStatus, Termination
from shop.pages.acting import Refusal, acting, person_of, refusal_of
from shop.permissions import Deed, may
from shop.sign_on import check_secret
from shop.wording import Worded


@dataclass(frozen=True, slots=True)
class SignOnPage:
    """First the badge; with a badge, the PIN. name: empty for a badge nobody has (the PIN answers that)."""

    identifier: str
    name: str
    goal: str
    findings: tuple[Worded, ...] = ()


def _goal(request: HttpRequest) -> str:
    goal = request.POST.get("next", request.GET.get("next", ""))
    safe = url_has_allowed_host_and_scheme(goal, allowed_hosts={request.get_host()}, require_https=request.is_secure())
    return goal if safe else ""


@sensitive_post_parameters("secret")
@never_cache
@login_not_required
def sign_on(request: HttpRequest) -> HttpResponse:
    """Badge, then PIN. A locked account says how long it waits. Whoever was signed on before is signed off by it."""
    identifier = request.POST.get("identifier", request.GET.get("identifier", "")).strip()
    goal = _goal(request)
    findings: tuple[Worded, ...] = ()
    if request.method == "POST":
        try:
            person = check_secret(identifier, request.POST.get("secret", ""), now())
            refuse_if([misfit("sign.change_first", "secret")] if person.must_change_secret else [])
        except Refused as refused:
            findings = refusal_of(refused.findings).findings
        else:
            login(request, person, backend="shop.sign_on.PasswordBackend")
            return redirect(goal or "make:station")
    page = SignOnPage(identifier, named(identifier), goal, findings)
    return render(request, "make/sign_on.html", {"page": page}, status=422 if findings else 200)


@login_not_required
@require_POST
def sign_off(request: HttpRequest) -> HttpResponse:
    logout(request)
    return redirect("make:sign-on")


def _station(request: HttpRequest, *, refusal: Refusal | None = None, typed: str = "") -> HttpResponse:
    person = person_of(request)
    page: StationPage = station_page(
        person,
        shop_day(now()),
        may_run=may(person, Deed.RUN_BATCH),
        sheet=request.GET.get("sheet", ""),
        tool=request.GET.get("tool", ""),
    )
    return draw(request, "make/station.html", {"station": page, "typed": typed}, refusal=refusal)


@require_GET
def station(request: HttpRequest) -> HttpResponse:
    return _station(request)


@require_GET
def find(request: HttpRequest) -> HttpResponse:
    """A scanned label opens what it belongs to: a batch, a sheet, a tool, or the termination of a traveller or bag tag."""
    code = request.GET.get("code", "").strip()
    labelled = termination_of_label(code)
    if labelled is not None:
        if labelled.sheet.status == SheetStatus.RELEASED:
            return redirect("make:start", labelled.pk)
        # A traveller of an old revision must not start anything, however good the revision after it is.
        old = misfit("batch.sheet", "code", sheet=str(labelled.sheet), status=labelled.sheet.status)
        return _station(request, refusal=refusal_of([old]), typed=code)
    place = place_of(code) if code else reverse("make:station")
    if place is None:
        refusal = refusal_of([misfit("data.unknown", "code", thing="batch, setup sheet or tool", name=code)])
        return _station(request, refusal=refusal, typed=code)
    return redirect(place)


@require_GET
def batch(request: HttpRequest, number: str) -> HttpResponse:
    return redirect(step_url(get_object_or_404(Batch, number=number)))


@dataclass(frozen=True, slots=True)
class StartPage:
    termination: Termination
    wires: str
    pieces_open: int
    quantity: str
    height: str
    pull: str


def _start(request: HttpRequest, pk: int, *, refusal: Refusal | None = None) -> HttpResponse:
    termination = get_object_or_404(
        Termination.objects.select_related("sheet__job", "tool", "terminal").prefetch_related("termination_wires__wire"), pk=pk
    )
    left = pieces_open(termination)
    height = limits_of(termination, "crimp height")
    page = StartPage(
        termination=termination,
        wires=", ".join(f"{w.part_number} ({w.colour})" if w.colour else w.part_number for w in termination.ordered_wires()),
        pieces_open=left,
        quantity=request.POST.get("quantity", str(max(left, 0))),
        height=limits_words(height, "mm") if height else "",
        pull=f"{termination.pull_force_min_n.normalize():f} N" if termination.pull_force_min_n is not None else "",
    )
    return draw(request, "make/start.html", page, refusal=refusal)


@acting(again=_start, template=REFUSED_PAGE)
def start(request: HttpRequest, pk: int) -> HttpResponse:
    """How many pieces; then the batch is open and its set-up is scanned."""
    if request.method != "POST":
        return _start(request, pk)
    termination = get_object_or_404(Termination, pk=pk)
    quantity = count_in(request, "quantity")
    opened = perform(request, "open batch", lambda by, at: open_batch(termination=termination, quantity=quantity, by=by, at=at).number)
    return redirect("make:set-up", opened)
