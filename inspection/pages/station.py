"""At the station: signing on with badge and PIN, the queue, and starting a batch."""

from __future__ import annotations

from dataclasses import dataclass

from django.contrib import messages
from django.contrib.auth import login, logout
from django.contrib.auth.decorators import login_not_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.http import url_has_allowed_host_and_scheme
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_GET, require_POST

from inspection.acts.batches import open_batch, pieces_open
from inspection.models import Batch
from inspection.offline_waiting import waiting_here
from inspection.pages.enrolling import LOCKED
from inspection.pages.floor import NO_RIGHTS, REFUSED_PAGE, Screen, count_in, draw, named, perform
from inspection.plan import limits_of
from inspection.queries import StationPage, limits_words, place_of, qualifications_of, station_page, step_url, terminations_of_label
from inspection.scanning import nothing_to_open
from shop.clock import now, shop_day
from shop.finding import Refused, misfit, refuse_if
from shop.jobs import SheetStatus, Termination
from shop.pages.acting import Refusal, acting, person_of, refusal_of
from shop.people import Person
from shop.permissions import Deed, may
from shop.sign_on import check_secret
from shop.stations import Station
from shop.tablets import tablet_of
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
            request.session.pop(LOCKED, None)
            _say_qualified(request, person)
            return redirect(goal or "make:station")
    if request.method == "GET" and not identifier and LOCKED in request.session and "change" not in request.GET:
        locked_by = request.user
        identifier = locked_by.username if isinstance(locked_by, Person) else ""
    page = SignOnPage(identifier, named(identifier), goal, findings)
    screen = Screen("", findings, NO_RIGHTS, 0, "sign_on")
    return render(request, "make/sign_on.html", {"page": page, "screen": screen}, status=422 if findings else 200)


def _say_qualified(request: HttpRequest, person: Person) -> None:
    """What runs out or is not in force is said at once, not when the first scan is refused."""
    held = qualifications_of(person, shop_day(now()))
    for one in held:
        if one.state != "conforms":
            messages.warning(request, _("{qualification}: {state}").format(qualification=one.name, state=one.state_word))
    good = [one.name for one in held if one.state == "conforms"]
    if good:
        messages.success(request, _("{person} is qualified: {processes}").format(person=person.name, processes="; ".join(good)))


@require_POST
def lock(request: HttpRequest) -> HttpResponse:
    """The tablet was left: nothing is answered to it until the PIN comes."""
    request.session[LOCKED] = True
    return HttpResponse(status=204)


@sensitive_post_parameters("secret")
@never_cache
@require_POST
def unlock(request: HttpRequest) -> HttpResponse:
    """The same person's PIN. The page under the cover goes on as it was: 204; what was wrong comes back as a sentence."""
    person = person_of(request)
    try:
        check_secret(person.username, request.POST.get("secret", ""), now())
    except Refused as refused:
        sentences = " ".join(finding.sentence for finding in refusal_of(refused.findings).findings)
        return HttpResponse(sentences, status=422, content_type="text/plain; charset=utf-8")
    request.session.pop(LOCKED, None)
    return HttpResponse(status=204) if "X-Unlock" in request.headers else redirect("make:station")


@login_not_required
@require_POST
def sign_off(request: HttpRequest) -> HttpResponse:
    logout(request)
    return redirect("make:sign-on")


def own_station(request: HttpRequest) -> Station | None:
    """The station of the tablet that asks; None for a browser that belongs to none."""
    tablet = tablet_of(request)
    return tablet.station if tablet else None


def _station(request: HttpRequest, *, refusal: Refusal | None = None, typed: str = "") -> HttpResponse:
    person = person_of(request)
    page: StationPage = station_page(
        person,
        now(),
        may_run=may(person, Deed.RUN_BATCH),
        sheet=request.GET.get("sheet", ""),
        tool=request.GET.get("tool", ""),
        station=None if request.GET.get("all") else own_station(request),
    )
    return draw(request, "make/station.html", {"station": page, "typed": typed, "waiting": waiting_here(person)}, refusal=refusal)


@require_GET
def station(request: HttpRequest) -> HttpResponse:
    return _station(request)


@require_GET
def find(request: HttpRequest) -> HttpResponse:
    """A scanned label opens what it belongs to: a batch, a sheet, a tool, or the termination of a traveller or bag tag."""
    code = request.GET.get("code", "").strip()
    labelled = terminations_of_label(code)
    if labelled:
        sheet = labelled[0].sheet
        if sheet.status != SheetStatus.RELEASED:
            # A traveller of an old revision must not start anything, however good the revision after it is.
            old = misfit("batch.sheet", "code", sheet=str(sheet), status=sheet.status)
            return _station(request, refusal=refusal_of([old]), typed=code)
        if len(labelled) == 1:
            return redirect("make:start", labelled[0].pk)
        return redirect(f"{reverse('make:station')}?sheet={sheet.number}")  # the tag of a lead with two ends: which one is a choice
    place = place_of(code) if code else reverse("make:station")
    if place is None:
        refusal = refusal_of([nothing_to_open(code)])
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
