"""Who stands in for a person, and for whom the person stands in."""

from __future__ import annotations

from dataclasses import dataclass

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_POST

from shop.acts.stand_ins import NAMED_MEANING, end_stand_in, lendable_roles, may_name, name_stand_in
from shop.beside import Beside, register
from shop.catalogue import KINDS
from shop.clock import now, shop_day
from shop.finding import Refused
from shop.forms.people import StandInForm
from shop.pages.acting import Refusal, acting, person_of
from shop.pages.catalogue import Crumb
from shop.people import Person, PersonRole
from shop.sign_on import sign
from shop.validation import findings_from

SHOWN = 100


@dataclass(frozen=True, slots=True)
class StandInLine:
    """pk: to end it by; 0 for one that is over or that the reader may not end."""

    who: str
    role: str
    since: str
    until: str
    outcome: str
    word: str
    pk: int


@dataclass(frozen=True, slots=True)
class StandInsPage:
    """form: None for who may not name a deputy of this person, or where the person has no role to lend."""

    person: Person
    crumbs: list[Crumb]
    deputies: list[StandInLine]
    standing_in: list[StandInLine]
    roles: list[str]
    may_name: bool
    form: StandInForm | None
    meaning: str


def _lines(rows: list[PersonRole], *, deputies: bool, may_end: bool) -> list[StandInLine]:
    today, lines = shop_day(now()), []
    for row in rows:
        if row.since is None or row.until is None or row.stands_in_for is None:
            continue  # a role of their own
        over, ahead = row.until < today, row.since > today
        outcome, word = ("conceded", _("over")) if over else ("waiting", _("ahead")) if ahead else ("conforms", _("now"))
        who = row.person if deputies else row.stands_in_for
        pk = row.pk if may_end and not over else 0
        lines.append(StandInLine(who.name, row.get_role_display(), row.since.isoformat(), row.until.isoformat(), outcome, word, pk))
    return lines


def _page(request: HttpRequest, pk: int, *, refusal: Refusal | None = None) -> HttpResponse:
    person, by = get_object_or_404(Person.objects.exclude(username="system"), pk=pk), person_of(request)
    roles, allowed = lendable_roles(person), may_name(by, person)
    form = None
    if allowed and roles:
        initial = {"since": shop_day(now()).isoformat()}
        form = StandInForm(request.POST, roles=roles) if refusal else StandInForm(initial=initial, roles=roles)
        if refusal:
            refusal.tell(form)
    rows = PersonRole.objects.select_related("person", "stands_in_for").order_by("-until", "-pk")
    page = StandInsPage(
        person=person,
        crumbs=[
            Crumb(_("Shop"), reverse("shop:catalogue")),
            Crumb(str(KINDS["people"].title), reverse("shop:list", args=["people"])),
            Crumb(person.name, reverse("shop:detail", args=["people", pk])),
            Crumb(_("Standing in")),
        ],
        deputies=_lines(list(rows.filter(stands_in_for=person)[:SHOWN]), deputies=True, may_end=allowed),
        standing_in=_lines(list(rows.filter(person=person, stands_in_for__isnull=False)[:SHOWN]), deputies=False, may_end=False),
        roles=roles,
        may_name=allowed,
        form=form,
        meaning=NAMED_MEANING,
    )
    return render(request, "catalogue/stand_ins.html", {"page": page, "refusal": refusal, "place": "shop"})


@sensitive_post_parameters("secret")
@acting
def stand_ins(request: HttpRequest, pk: int) -> HttpResponse:
    return _name(request, pk) if request.method == "POST" else _page(request, pk)


@acting(again=_page)
def _name(request: HttpRequest, pk: int) -> HttpResponse:
    person, by, at = get_object_or_404(Person, pk=pk), person_of(request), now()
    form = StandInForm(request.POST, roles=lendable_roles(person))
    if not form.is_valid():
        raise Refused(findings_from(ValidationError(form.errors.as_data())))
    given = form.cleaned_data
    signing = sign(identifier=by.username, secret=request.POST.get("secret", ""), meaning=NAMED_MEANING, at=at)
    row = name_stand_in(person=person, by=by, at=at, signing=signing, **given)
    told = _("{deputy} stands in for {person} as {role}, {since} to {until}.")
    messages.success(
        request, told.format(deputy=row.person.name, person=person.name, role=row.get_role_display(), since=row.since, until=row.until)
    )
    return redirect("shop:stand-ins", pk)


@require_POST
@acting(again=_page)
def end(request: HttpRequest, pk: int) -> HttpResponse:
    text = request.POST.get("stand_in", "")
    number = int(text) if text.isascii() and text.isdigit() and len(text) < 18 else 0
    row = get_object_or_404(PersonRole, pk=number, stands_in_for=pk)
    end_stand_in(stand_in=row, reason=request.POST.get("ended_because", ""), by=person_of(request), at=now())
    messages.success(request, _("Ended. What was signed meanwhile stays as it is."))
    return redirect("shop:stand-ins", pk)


def _beside(item: Person, reader: Person) -> Beside | None:
    if item.username == "system":
        return None
    url = reverse("shop:stand-ins", args=[item.pk])
    return Beside("stand-ins", _("Standing in"), (), more_url=url, more_word=_("Who stands in for {name}").format(name=item.name))


def register_beside() -> None:
    register("people", _beside)
