"""Saved questions: kept by a person under a name, shown to others only by who may, and never leading out of the program."""

from __future__ import annotations

import pytest
from django.urls import reverse

from records.models import LedgerEntry
from shop.acts.saved_searches import MOST_KEPT, change_search, delete_search, is_own_page, save_search
from shop.clock import now
from shop.finding import Refused
from shop.saved_searches import SavedSearch

ASKED = "/shop/tools/?state=on+hold"


def keep(person, name="Tools on hold", address=ASKED, *, shared=False):
    return save_search(name=name, address=address, is_shared=shared, by=person, at=now())


def rules(refused):
    return [finding.rule for finding in refused.value.findings]


@pytest.mark.parametrize(
    "address",
    [
        "https://example.org/shop/tools/",
        "//example.org/shop/tools/",
        "/\\example.org/",
        "javascript:alert(1)",
        "shop/tools/",
        "/nowhere/",
        "/api/v1/jobs/",
        "/prove/shipment/SH-1/",
        "/shop/tools/?q=\nx",
        "/prove/?number=" + "x" * 500,
        "",
    ],
)
def test_address_that_is_no_list_of_ours_is_refused(cast, address):
    with pytest.raises(Refused) as refused:
        keep(cast.planner, address=address)

    assert rules(refused) == ["saved.address"]
    assert not SavedSearch.objects.exists()


@pytest.mark.parametrize(
    "address", ["/prove/?number=ap&kind=tools", "/shop/tools/?q=side", "/plan/?q=pump", "/prove/ledger/?kind=lot.built"]
)
def test_searches_and_lists_can_be_kept(db, address):
    assert is_own_page(address)


def test_question_is_kept_without_an_entry_in_the_ledger(cast):
    row = keep(cast.auditor)

    assert (row.owner, row.name, row.address, row.path) == (cast.auditor, "Tools on hold", ASKED, "/shop/tools/")
    assert not LedgerEntry.objects.exists()


def test_name_is_kept_once_and_by_each_person(cast):
    keep(cast.planner)
    keep(cast.auditor)

    with pytest.raises(Refused) as refused:
        keep(cast.planner)

    assert rules(refused) == ["saved.name"]


def test_name_may_not_be_empty(cast):
    with pytest.raises(Refused) as refused:
        keep(cast.planner, name="  ")

    assert rules(refused) == ["data.required"]


def test_only_so_many_are_kept(cast):
    for number in range(MOST_KEPT):
        keep(cast.planner, name=str(number))

    with pytest.raises(Refused) as refused:
        keep(cast.planner)

    assert rules(refused) == ["saved.many"]


def test_quality_and_auditor_show_theirs_to_everybody_and_others_may_not(cast):
    keep(cast.auditor, shared=True)
    keep(cast.quality, name="Kept back", shared=True)
    keep(cast.quality, name="Mine")

    with pytest.raises(Refused) as refused:
        keep(cast.planner, shared=True)

    assert rules(refused) == ["person.role"]
    assert {row.name for row in SavedSearch.objects.for_person(cast.operator)} == {"Tools on hold", "Kept back"}
    assert {row.name for row in SavedSearch.objects.for_person(cast.quality)} == {"Tools on hold", "Kept back", "Mine"}


def test_own_ones_are_renamed_and_ordered(cast):
    first, second, third = (keep(cast.planner, name=name) for name in ("A", "B", "C"))

    change_search(search=third, name="Z", is_shared=False, position=1, by=cast.planner)

    assert [row.name for row in SavedSearch.objects.for_person(cast.planner)] == ["Z", "A", "B"]
    assert (first.name, second.name) == ("A", "B")


def test_what_another_keeps_is_not_changed_or_deleted(cast):
    row = keep(cast.auditor, shared=True)

    for attempt in (
        lambda: change_search(search=row, name="Mine now", is_shared=True, position=None, by=cast.planner),
        lambda: delete_search(search=row, by=cast.planner),
    ):
        with pytest.raises(Refused) as refused:
            attempt()
        assert rules(refused) == ["saved.owner"]
    assert SavedSearch.objects.get().name == "Tools on hold"


def test_quality_takes_away_what_is_shown_to_everybody(cast):
    delete_search(search=keep(cast.auditor, shared=True), by=cast.quality)

    assert not SavedSearch.objects.exists()


def test_list_offers_to_save_its_question_and_shows_it_afterwards(signed_in, cast, catalogue):
    client = signed_in(cast.auditor)
    assert "Save this question" not in client.get("/shop/tools/").content.decode()
    page = client.get(ASKED).content.decode()
    assert "/saved/?address=%2Fshop%2Ftools%2F%3Fstate%3Don%2Bhold" in page

    answer = client.post(reverse("saved-save"), {"name": "Tools on hold", "address": ASKED})

    assert (answer.status_code, answer.url) == (302, ASKED)
    for place in ("/shop/tools/", "/prove/", "/saved/"):
        assert "Tools on hold" in client.get(place).content.decode(), place
    assert "Tools on hold" not in client.get("/shop/wires/").content.decode()


def test_refused_name_stays_in_the_form(signed_in, cast):
    keep(cast.auditor)
    client = signed_in(cast.auditor)

    answer = client.post(reverse("saved-save"), {"name": "Tools on hold", "address": ASKED})

    assert answer.status_code == 422
    assert 'value="Tools on hold"' in answer.content.decode()
    assert "You keep a question called Tools on hold already" in answer.content.decode()


def test_page_changes_and_deletes(signed_in, cast):
    row = keep(cast.auditor)
    client = signed_in(cast.auditor)

    client.post(reverse("saved-change", args=[row.pk]), {"name": "On hold", "position": "1", "is_shared": "on"})
    assert SavedSearch.objects.values_list("name", "is_shared").get() == ("On hold", True)

    client.post(reverse("saved-delete", args=[row.pk]))
    assert not SavedSearch.objects.exists()


def test_private_one_of_another_does_not_exist_for_the_api(client, cast):
    from shop.api.authentication import token_for  # noqa: PLC0415  # only here

    row = keep(cast.planner)
    headers = {"Authorization": f"Token {token_for(cast.auditor)}"}

    assert client.get("/api/v1/saved-searches/", headers=headers).json() == []
    assert client.delete(f"/api/v1/saved-searches/{row.pk}/", headers=headers).status_code == 404
    assert SavedSearch.objects.exists()
