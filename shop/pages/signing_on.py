"""Signing in and out at a desk, the way home, a person's own account, and whether the system lives."""

from __future__ import annotations

from dataclasses import dataclass

from django.contrib import messages
from django.contrib.auth import login, logout, update_session_auth_hash
from django.contrib.auth.decorators import login_not_required
from django.db import Error, connection
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import redirect, render
from django.utils.http import url_has_allowed_host_and_scheme
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_GET, require_POST

from shop.acts.account import choose_display
from shop.clock import now
from shop.finding import Refused
from shop.forms.people import DisplayForm, SecretsForm, SignInForm
from shop.pages.acting import Refusal, acting, person_of
from shop.people import Person, Role
from shop.sign_on import check_secret, choose_secrets
from shop.wording import worded


@sensitive_post_parameters("password")
@never_cache
@login_not_required
def sign_in(request: HttpRequest) -> HttpResponse:
    """User name and password; a wrong one is counted and the page says how long the account waits."""
    form = SignInForm(request.POST or None)
    goal = request.POST.get("next", request.GET.get("next", ""))
    if request.method == "POST" and form.is_valid():
        try:
            person = check_secret(form.cleaned_data["username"], form.cleaned_data["password"], now())
        except Refused as refused:
            for finding in refused.findings:
                form.add_error(None, worded(finding).sentence)
        else:
            login(request, person, backend="shop.sign_on.PasswordBackend")
            if person.must_change_secret:
                return redirect("account")
            safe = url_has_allowed_host_and_scheme(goal, allowed_hosts={request.get_host()}, require_https=request.is_secure())
            return redirect(goal if safe else "home")
    return render(request, "registration/login.html", {"form": form, "next": goal}, status=422 if form.errors else 200)


@require_POST
def sign_out(request: HttpRequest) -> HttpResponse:
    logout(request)
    return redirect("sign-in")


@require_GET
def home(request: HttpRequest) -> HttpResponse:
    """Everybody begins where their work is."""
    person = person_of(request)
    if person.must_change_secret:
        return redirect("account")
    for role, place in (
        (Role.PLANNER, "plan:jobs"),
        (Role.OPERATOR, "make:station"),
        (Role.INSPECTOR, "make:station"),
        (Role.AUDITOR, "prove:search"),
    ):
        if role in person.roles:
            return redirect(place)
    return redirect("shop:catalogue")


@dataclass(frozen=True, slots=True)
class AccountPage:
    person: Person
    secrets: SecretsForm
    display: DisplayForm
    has_pin: bool


def _account(request: HttpRequest, *, refusal: Refusal | None = None, secrets: SecretsForm | None = None) -> HttpResponse:
    person = person_of(request)
    secrets = secrets or SecretsForm(request.POST if refusal else None)
    if refusal:
        refusal.tell(secrets)
    page = AccountPage(person, secrets, DisplayForm(initial={"display": person.display, "language": person.language}), bool(person.pin))
    return render(request, "account.html", {"page": page, "refusal": refusal, "place": ""}, status=422 if secrets.errors else 200)


@never_cache
def account(request: HttpRequest) -> HttpResponse:
    return _account(request)


@sensitive_post_parameters()
@require_POST
@acting(again=_account)
def choose_own_secrets(request: HttpRequest) -> HttpResponse:
    form = SecretsForm(request.POST)
    if not form.is_valid():
        return _account(request, secrets=form)
    person, typed = person_of(request), form.cleaned_data
    chosen = {name: typed[name] for name in ("password", "pin", "answers")}
    choose_secrets(person=person, by=person, at=now(), current=typed["secret"], **chosen)
    # The session is bound to the password: it goes on with the new one.
    update_session_auth_hash(request, Person.objects.get(pk=person.pk))
    messages.success(request, _("Saved. From now on the new ones hold."))
    return redirect("account")


@require_POST
@acting
def choose_own_display(request: HttpRequest) -> HttpResponse:
    choose_display(person=person_of(request), display=request.POST.get("display", ""), language=request.POST.get("language", ""))
    messages.success(request, _("Saved."))
    return redirect("account")


@never_cache
@login_not_required
@require_GET
def healthz(request: HttpRequest) -> JsonResponse:
    """Alive, and the database answers. Says no more than that: anybody may ask."""
    try:
        with connection.cursor() as cursor:
            cursor.execute("SELECT 1")
            cursor.fetchone()
    except Error:
        return JsonResponse({"status": "unavailable", "reason": "the database does not answer"}, status=503)
    return JsonResponse({"status": "ok"})
