"""What people keep for themselves: questions under a name. Nothing recorded depends on them, so they are no events."""

from __future__ import annotations

from datetime import datetime
from urllib.parse import urlsplit

from django.db import transaction
from django.db.models import Max
from django.urls import Resolver404, resolve
from django.utils.http import url_has_allowed_host_and_scheme

from shop.finding import Finding, misfit, refuse_if
from shop.people import Person
from shop.permissions import Deed, may, permission_findings
from shop.saved_searches import SavedSearch
from shop.validation import clean

MOST_KEPT = 100
MOST_LETTERS = 500


def is_own_page(address: str) -> bool:
    """Whether it is the address of a page of this program, from its first slash on: no host, no API, nothing that is not there."""
    if not address.startswith("/") or len(address) > MOST_LETTERS or not address.isprintable() or "\\" in address:
        return False
    if not url_has_allowed_host_and_scheme(address, allowed_hosts=None):
        return False
    try:
        match = resolve(urlsplit(address).path)
    except Resolver404:
        return False
    return "api" not in match.namespaces and not match.kwargs.keys() - {"slug"}


def _findings(person: Person, name: str, address: str, is_shared: bool, *, but: int = 0) -> list[Finding]:
    found = permission_findings(person, Deed.SHARE_SEARCH) if is_shared else []
    if not name.strip():
        found.append(misfit("data.required", "name"))
    if not is_own_page(address):
        found.append(misfit("saved.address", "address", address=address[:80]))
    others = SavedSearch.objects.filter(owner=person).exclude(pk=but)
    if others.filter(name=name.strip()).exists():
        found.append(misfit("saved.name", "name", name=name.strip()))
    if not but and others.count() >= MOST_KEPT:
        found.append(misfit("saved.many", "", most=MOST_KEPT))
    return found


def save_search(*, name: str, address: str, is_shared: bool, by: Person, at: datetime) -> SavedSearch:
    """Keep a question under a name. Everybody may for themselves; quality and auditors also for all. Raises Refused."""
    with transaction.atomic():
        Person.objects.select_for_update().get(pk=by.pk)
        refuse_if(permission_findings(by, Deed.READ) + _findings(by, name, address, is_shared))
        last = SavedSearch.objects.filter(owner=by).aggregate(n=Max("position"))["n"] or 0
        row = SavedSearch(
            owner=by,
            name=name.strip(),
            address=address,
            path=urlsplit(address).path[:200],
            is_shared=is_shared,
            position=last + 1,
            saved_at=at,
        )
        clean(row)
        row.save(force_insert=True)
    return row


def change_search(*, search: SavedSearch, name: str, is_shared: bool, position: int | None, by: Person) -> SavedSearch:
    """Another name, shown to others or not any more, another place among the person's own. Raises Refused."""
    with transaction.atomic():
        own = list(SavedSearch.objects.select_for_update().filter(owner=by).order_by("position", "name", "pk"))
        row = next((one for one in own if one.pk == search.pk), None)
        if row is None:
            refuse_if([misfit("saved.owner", "", owner=search.owner.name)])
            raise AssertionError("refused above")
        newly_shared = is_shared and not row.is_shared
        refuse_if(_findings(by, name, row.address, newly_shared, but=row.pk))
        row.name, row.is_shared = name.strip(), is_shared
        clean(row)
        if position is not None:
            own.remove(row)
            own.insert(max(0, min(position - 1, len(own))), row)
        for place, one in enumerate(own, start=1):
            one.position = place
        SavedSearch.objects.bulk_update(own, ["name", "is_shared", "position"])
    return row


def delete_search(*, search: SavedSearch, by: Person) -> None:
    """It is no record: it goes. Whoever keeps it may; quality may take away what is shown to everybody. Raises Refused."""
    if search.owner_id != by.pk and not (search.is_shared and may(by, Deed.CHANGE_PEOPLE)):
        refuse_if([misfit("saved.owner", "", owner=search.owner.name)])
    search.delete()
