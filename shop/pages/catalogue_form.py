"""The form of a catalogue item, for a new one and for a change; and what an administrator does with a person's account."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from shop.acts.catalogue import save_item, seen
from shop.catalogue import KINDS, Kind
from shop.clock import now
from shop.forms.item import ItemForm
from shop.pages.acting import Refusal, acting, person_of, require
from shop.pages.catalogue import Crumb, crumbs, item_or_404, kind_or_404
from shop.pages.proposing import picker_for, proposed
from shop.people import Person
from shop.sign_on import hand_out_password, unlock


@dataclass(frozen=True, slots=True)
class FormPage:
    kind: Kind
    title: str
    crumbs: list[Crumb]
    form: ItemForm
    groups: list[tuple[str, list[list[Any]]]]
    seen: str
    reason: str
    is_new: bool
    leave_url: str
    picker: forms.Form | None  # proposes a figure for the form from a table


@acting
def new(request: HttpRequest, slug: str, *, refusal: Refusal | None = None) -> HttpResponse:
    return _form_page(request, kind_or_404(slug), None, refusal)


@acting
def edit(request: HttpRequest, slug: str, pk: int, *, refusal: Refusal | None = None) -> HttpResponse:
    kind = kind_or_404(slug)
    return _form_page(request, kind, item_or_404(kind, pk), refusal)


@acting
def propose(request: HttpRequest, slug: str, pk: int | None = None) -> HttpResponse:
    """The form again, with what was typed and what a table proposes for it. Nothing is saved."""
    kind = kind_or_404(slug)
    require(request, kind.deed)
    return _form_page(request, kind, item_or_404(kind, pk) if pk else None, None, proposed(request))


def _form_page(
    request: HttpRequest, kind: Kind, item: Any, refusal: Refusal | None, typed: Mapping[str, str] | None = None
) -> HttpResponse:
    if refusal is None:
        require(request, kind.deed)
    key = kind.key_of(item) if item else ""
    stamp = request.POST.get("seen", "") if refusal or typed else (seen(kind, item) if item else "")
    given = {name: value for name, value in request.GET.items() if name in kind.form.base_fields}
    form = kind.form(request.POST if refusal else None, instance=item, initial=None if item else given)
    form.initial.update({name: value for name, value in (typed or given).items() if name in form.fields})
    if refusal:
        refusal.tell(form)
    leave = reverse("shop:detail", args=[kind.slug, item.pk]) if item else reverse("shop:list", args=[kind.slug])
    page = FormPage(
        kind=kind,
        title=_("Change {key}").format(key=key) if item else _("New {kind}").format(kind=kind.singular),
        crumbs=crumbs(kind, *([Crumb(key, leave)] if item else [])),
        form=form,
        groups=form.groups_shown(),
        seen=stamp,
        reason=request.POST.get("reason", request.GET.get("reason", "")),
        is_new=item is None,
        leave_url=leave,
        picker=picker_for(kind, request),
    )
    return render(request, "catalogue/form.html", {"page": page, "refusal": refusal, "place": "shop"})


@acting(again=new)
def add(request: HttpRequest, slug: str) -> HttpResponse:
    kind, by = kind_or_404(slug), person_of(request)
    item = save_item(kind=kind, values=request.POST, by=by, at=now())
    if isinstance(item, Person):
        return _password_page(request, item, hand_out_password(person=item, by=by, at=now()))
    messages.success(request, _("{key} is added.").format(key=kind.key_of(item)))
    return redirect("shop:detail", slug, item.pk)


@acting(again=edit)
def change(request: HttpRequest, slug: str, pk: int) -> HttpResponse:
    kind = kind_or_404(slug)
    item = save_item(
        kind=kind,
        values=request.POST,
        by=person_of(request),
        at=now(),
        instance=item_or_404(kind, pk),
        reason=request.POST.get("reason", ""),
        seen_sha256=request.POST.get("seen", ""),
    )
    messages.success(request, _("{key} is saved.").format(key=kind.key_of(item)))
    return redirect("shop:detail", slug, item.pk)


def new_or_add(request: HttpRequest, slug: str) -> HttpResponse:
    if "propose" in request.POST:
        return propose(request, slug)
    return add(request, slug) if request.method == "POST" else new(request, slug)


def edit_or_change(request: HttpRequest, slug: str, pk: int) -> HttpResponse:
    if "propose" in request.POST:
        return propose(request, slug, pk)
    return change(request, slug, pk) if request.method == "POST" else edit(request, slug, pk)


# --- People ----------------------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class PasswordPage:
    person: Person
    password: str
    crumbs: list[Crumb]


def _password_page(request: HttpRequest, person: Person, password: str) -> HttpResponse:
    """The handed-out password, shown this once: it is kept nowhere in clear."""
    page = PasswordPage(person, password, crumbs(KINDS["people"]))
    response = render(request, "catalogue/password.html", {"page": page, "place": "shop"})
    response["Cache-Control"] = "no-store"
    return response


@require_POST
@acting
def hand_out(request: HttpRequest, pk: int) -> HttpResponse:
    person = item_or_404(KINDS["people"], pk)
    return _password_page(request, person, hand_out_password(person=person, by=person_of(request), at=now()))


@require_POST
@acting
def unlock_person(request: HttpRequest, pk: int) -> HttpResponse:
    person = item_or_404(KINDS["people"], pk)
    unlock(person=person, by=person_of(request), at=now())
    messages.success(request, _("The account of {name} is open again.").format(name=person.name))
    return redirect("shop:detail", "people", pk)
