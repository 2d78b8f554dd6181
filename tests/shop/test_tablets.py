"""Tablets: enrolled once with a code from the desk, moved, revoked; and what the records say of where an act was done."""

from __future__ import annotations

import json
import re
from datetime import timedelta

import pytest
from django.test import Client
from django.urls import reverse

from records.ledger_check import verify_ledger
from records.models import LedgerEntry
from records.trails import entries_about, subject_of, trail
from shop.acts.tablets import enrol_tablet, move_tablet, offer_tablet, revoke_tablet
from shop.clock import now
from shop.finding import Refused
from shop.models import Station, Tablet
from shop.tablets import COOKIE
from shop.wording import worded
from tests import factories

ENROL = "/make/enrol/"


@pytest.fixture
def station(catalogue):
    return Station.objects.get(code="S-01")


@pytest.fixture
def administrator(cast):
    return factories.make_person("ada", "administrator")


def refused(act, *args, **given):
    with pytest.raises(Refused) as error:
        act(*args, **given)
    assert all(worded(finding).sentence for finding in error.value.findings)
    return [finding.rule for finding in error.value.findings]


def offered(station, by, name="T-01", at=None):
    return offer_tablet(name=name, station=station, by=by, at=at or now())


def test_code_enrols_one_tablet_once(station, administrator):
    offer = offered(station, administrator)
    tablet, token = enrol_tablet(code=offer.code.lower().replace("-", " "), at=now())
    assert (tablet.name, tablet.station, tablet.is_in_use) == ("T-01", station, True)
    assert refused(enrol_tablet, code=offer.code, at=now()) == ["tablet.code"]
    kept = json.dumps(list(Tablet.objects.values()), default=str)
    assert token not in kept
    assert offer.code.replace("-", "") not in kept
    told = json.dumps(list(LedgerEntry.objects.values_list("text", flat=True)))
    assert token not in told
    assert offer.code not in told


def test_code_runs_out(station, administrator, settings):
    offer = offered(station, administrator, at=now() - timedelta(minutes=settings.ENROLMENT_MINUTES))
    assert refused(enrol_tablet, code=offer.code, at=now()) == ["tablet.code"]
    assert refused(enrol_tablet, code="", at=now()) == ["tablet.code"]


def test_only_an_administrator_enrols_moves_and_revokes(cast, station, administrator):
    other = factories.make_station("S-02")
    for person in (cast.planner, cast.operator, cast.inspector, cast.quality, cast.auditor):
        assert refused(offered, station, person) == ["person.role"]
    tablet, _token = enrol_tablet(code=offered(station, administrator).code, at=now())
    assert refused(move_tablet, tablet=tablet, station=other, reason="x", by=cast.quality, at=now()) == ["person.role"]
    assert refused(revoke_tablet, tablet=tablet, reason="x", by=cast.quality, at=now()) == ["person.role"]
    assert Tablet.objects.get().is_in_use


def test_code_of_somebody_who_may_no_longer_enrol_is_void(station, administrator):
    offer = offered(station, administrator)
    administrator.is_active = False
    administrator.save()
    assert refused(enrol_tablet, code=offer.code, at=now()) == ["person.role"]


def test_moving_and_revoking_say_why(station, administrator):
    other, out = factories.make_station("S-02"), factories.make_station("S-03", is_active=False)
    tablet, _token = enrol_tablet(code=offered(station, administrator).code, at=now())
    act = {"by": administrator, "at": now()}
    assert refused(move_tablet, tablet=tablet, station=out, reason=" ", **act) == ["tablet.station", "data.required"]
    assert move_tablet(tablet=tablet, station=other, reason="bench rebuilt", **act).station == other
    assert refused(offered, station, administrator) == ["tablet.elsewhere"]
    revoke_tablet(tablet=tablet, reason="dropped", **act)
    assert refused(revoke_tablet, tablet=tablet, reason="again", **act) == ["tablet.revoked"]
    lines = trail(subject_of("tablet", tablet.pk), entries_about(subject_of("tablet", tablet.pk)))
    assert [line.told.what.replace("Code made to enrol tablet", "Code for") for line in lines] == [
        "Code for T-01 at station S-01",
        "Tablet T-01 enrolled at station S-01",
        "Tablet T-01 moved from station S-01 to S-02",
        "Tablet T-01 at station S-02 revoked",
    ]
    assert [line.told.reason for line in lines] == ["", "", "bench rebuilt", "dropped"]


def test_cookie_is_signed_hidden_from_scripts_and_void_after_enrolling_anew(client, station, administrator):
    factories.make_tablet("T-01", station, administrator, client)
    cookie = client.cookies[COOKIE]
    assert (cookie["httponly"], cookie["samesite"]) == (True, "Lax")
    assert "belongs to station S-01" in client.get(ENROL).content.decode()
    forged = Client()
    forged.cookies[COOKIE] = cookie.value.replace(cookie.value[:4], "9.ab", 1)
    assert "belongs to station" not in forged.get(ENROL).content.decode()
    second = Client()
    factories.make_tablet("T-01", station, administrator, second)
    assert "belongs to station" in second.get(ENROL).content.decode()
    page = client.get(ENROL).content.decode()
    assert "enrolled anew somewhere else" in page
    assert "belongs to station" not in page


def test_wrong_code_at_the_tablet_is_refused_in_words(client, station):
    answer = client.post(ENROL, {"code": "ABCD-EFGH"})
    assert answer.status_code == 422
    assert "No tablet waits for this code" in answer.content.decode()
    assert COOKIE not in client.cookies


def test_revoked_tablet_is_told_and_can_go_on_without(signed_in, cast, station, administrator, settings):
    client = signed_in(cast.operator)
    tablet = factories.make_tablet("T-01", station, administrator, client)
    assert client.get("/make/").status_code == 200
    revoke_tablet(tablet=tablet, reason="left in the canteen", by=administrator, at=now())
    away = client.get("/make/")
    assert away.headers["Location"].startswith(ENROL)
    page = client.get(ENROL).content.decode()
    assert "left in the canteen" in page
    assert "Ada" in page or administrator.name in page
    sent = client.post("/make/sign-on/", {"identifier": "operator", "secret": factories.PIN})
    assert sent.status_code == 403
    settings.REQUIRE_ENROLLED_TABLETS = True
    client.post("/make/enrol/not/")
    assert client.get("/make/").status_code == 302
    settings.REQUIRE_ENROLLED_TABLETS = False
    client.post("/make/enrol/not/")
    assert client.get("/make/").status_code == 200


def test_shop_may_ask_for_enrolled_tablets(signed_in, cast, station, administrator, settings):
    client = signed_in(cast.operator)
    assert client.get("/make/").status_code == 200
    settings.REQUIRE_ENROLLED_TABLETS = True
    assert client.get("/make/").headers["Location"].startswith(ENROL)
    assert client.get("/make/sign-on/").headers["Location"].startswith(ENROL)
    factories.make_tablet("T-01", station, administrator, client)
    assert client.get("/make/").status_code == 200


def test_entry_says_at_which_tablet_and_the_ledger_verifies(signed_in, cast, station, administrator, catalogue):
    sheet = factories.released(cast, catalogue)
    termination = sheet.terminations.get()
    client = signed_in(cast.operator)
    factories.make_tablet("T-01", station, administrator, client)

    def open_a_batch(key):
        assert client.post(f"/make/start/{termination.pk}/", {"quantity": "10", "act_key": key}).status_code == 302
        return LedgerEntry.objects.filter(kind="batch.opened").order_by("-number").first()

    at_tablet = open_a_batch("11111111-1111-4111-8111-111111111111")
    assert json.loads(at_tablet.text)["tablet"] == {"name": "T-01", "station": "S-01"}
    del client.cookies[COOKIE]
    assert "tablet" not in json.loads(open_a_batch("22222222-2222-4222-8222-222222222222").text)
    assert "tablet" not in json.loads(LedgerEntry.objects.get(kind="sheet.released").text)
    subject = subject_of("batch", at_tablet.subject_id)
    (line,) = trail(subject, entries_about(subject))
    assert line.told.changes[-1] == "at tablet T-01, station S-01"
    assert verify_ledger().is_whole


def test_desk_shows_the_code_once(signed_in, station, administrator):
    client = signed_in(administrator)
    answer = client.post(reverse("shop:tablets"), {"name": "T-07", "station": "S-01"})
    page = answer.content.decode()
    (code,) = re.findall(r'code-text">([0-9A-Z]{4}-[0-9A-Z]{4})<', page)
    assert "data:image/svg+xml" in page
    assert code not in client.get(reverse("shop:tablets")).content.decode()
    enrol_tablet(code=code, at=now())
    tablet = Tablet.objects.get(name="T-07")
    assert "T-07" in client.get(reverse("shop:detail", args=["stations", station.pk])).content.decode()
    other = factories.make_station("S-02")
    assert client.post(reverse("shop:tablet-move", args=[tablet.pk]), {"station": "S-02", "reason": "swap"}).status_code == 302
    assert Tablet.objects.get().station == other
    assert client.post(reverse("shop:tablet-revoke", args=[tablet.pk]), {"revoked_because": " "}).status_code == 422
    assert client.post(reverse("shop:tablet-revoke", args=[tablet.pk]), {"revoked_because": "sold"}).status_code == 302
    assert "sold" in client.get(reverse("shop:tablet", args=[tablet.pk])).content.decode()


def test_planner_sees_tablets_but_makes_no_code(signed_in, cast, station):
    client = signed_in(cast.planner)
    assert "Make a code" not in client.get(reverse("shop:tablets")).content.decode()
    assert client.post(reverse("shop:tablets"), {"name": "T-07", "station": "S-01"}).status_code == 422
    assert not Tablet.objects.exists()


def test_tablet_is_seen_every_so_often_only(client, station, administrator, django_assert_num_queries):
    tablet = factories.make_tablet("T-01", station, administrator, client)
    Tablet.objects.update(last_seen_at=now() - timedelta(hours=1))
    client.get(ENROL)
    seen = Tablet.objects.get().last_seen_at
    assert now() - seen < timedelta(minutes=1)
    client.get(ENROL)
    assert Tablet.objects.get(pk=tablet.pk).last_seen_at == seen


def test_station_keeps_what_is_worked_there(signed_in, cast, catalogue):
    client = signed_in(cast.planner)
    press = factories.make_press("PR-01")
    stated = {"code": "S-09", "name": "Bench", "press": "PR-01", "tool_kinds": "hand tool, applicator", "tools": "AP-031"}
    assert client.post(reverse("shop:new", args=["stations"]), stated).status_code == 302
    station = Station.objects.get(code="S-09")
    assert (station.press, station.kinds, list(station.own_tools.all())) == (press, ("hand tool", "applicator"), [catalogue.tool])
    refused = client.post(reverse("shop:new", args=["stations"]), stated | {"code": "S-10", "tools": "AP-999", "tool_kinds": "lathe"})
    assert refused.status_code == 422
    assert "There is no tool AP-999" in refused.content.decode()
    assert not Station.objects.filter(code="S-10").exists()
