from datetime import timedelta
from unittest import mock

import pytest
from django.db import OperationalError, connection
from django.test.utils import CaptureQueriesContext
from hypothesis import given
from hypothesis import strategies as st

from records.models import LedgerEntry
from shop.clock import now
from shop.finding import Refused
from shop.people import Person
from shop.sign_on import (
    FREE_TRIES,
    LONGEST_WAIT,
    TRIES_UNTIL_CLOSED,
    check_secret,
    choose_secrets,
    hand_out_password,
    pin_findings,
    sign,
    signing_findings,
    unlock,
    wait_after,
)
from tests.factories import PASSWORD, PIN


def rules(call, *args, **named):
    with pytest.raises(Refused) as refused:
        call(*args, **named)
    return [finding.rule for finding in refused.value.findings]


def try_wrong(person, times, at):
    return [rules(check_secret, person.username, "000111", at)[0] for _ in range(times)]


@pytest.mark.parametrize("identifier", ["operator", "B-operator"])
@pytest.mark.parametrize("secret", [PIN, PASSWORD])
def test_check_secret_by_badge_or_user_name(cast, identifier, secret):
    assert check_secret(identifier, secret, now()) == cast.operator


@pytest.mark.parametrize("identifier", ["operator", "B-operator", "nobody", ""])
def test_check_secret_answers_the_same_for_a_wrong_pin_and_an_unknown_badge(cast, identifier):
    assert rules(check_secret, identifier, "000111", now()) == ["sign.wrong"]


def test_check_secret_of_a_closed_account(cast):
    Person.objects.filter(pk=cast.operator.pk).update(is_active=False)
    assert rules(check_secret, "operator", PIN, now()) == ["sign.wrong"]


def test_five_wrong_tries_and_the_account_waits(cast):
    at = now()
    assert try_wrong(cast.operator, FREE_TRIES, at) == ["sign.wrong"] * (FREE_TRIES - 1) + ["sign.locked"]
    assert rules(check_secret, "operator", PIN, at + timedelta(seconds=29)) == ["sign.locked"]  # the right one does not open it either
    assert LedgerEntry.objects.filter(kind="person.locked").count() == 1


def test_waits_grow_and_the_right_secret_afterwards_ends_them(cast):
    at = now()
    try_wrong(cast.operator, FREE_TRIES, at)
    at += timedelta(seconds=30)
    assert try_wrong(cast.operator, 1, at) == ["sign.locked"]
    assert rules(check_secret, "operator", PIN, at + timedelta(seconds=59)) == ["sign.locked"]
    assert check_secret("operator", PIN, at + timedelta(seconds=60)) == cast.operator
    cast.operator.refresh_from_db()
    assert (cast.operator.failed_tries, cast.operator.locked_until) == (0, None)


def test_tries_during_the_wait_do_not_lengthen_it(cast):
    at = now()
    try_wrong(cast.operator, FREE_TRIES, at)
    try_wrong(cast.operator, 3, at + timedelta(seconds=10))
    assert check_secret("operator", PIN, at + timedelta(seconds=30)) == cast.operator


def test_twenty_wrong_tries_close_the_account_until_somebody_looks(cast):
    at = now()
    for _ in range(TRIES_UNTIL_CLOSED):
        last = rules(check_secret, "operator", "000111", at)
        at += timedelta(hours=2)
    assert last == ["sign.closed"]
    assert rules(check_secret, "operator", PIN, at + timedelta(days=3650)) == ["sign.closed"]
    unlock(person=cast.operator, by=cast.inspector, at=at)
    assert check_secret("operator", PIN, at) == cast.operator


def test_a_lock_of_one_person_stops_nobody_else(cast):
    try_wrong(cast.operator, FREE_TRIES, now())
    assert check_secret("inspector", PIN, now()) == cast.inspector


@given(st.integers(0, TRIES_UNTIL_CLOSED - 2))
def test_wait_never_shrinks_and_stays_within_an_hour(tries):
    assert wait_after(tries) <= wait_after(tries + 1) <= LONGEST_WAIT


def test_unlock_by_another_person_only(cast):
    try_wrong(cast.inspector, FREE_TRIES, now())
    assert rules(unlock, person=cast.inspector, by=cast.inspector, at=now()) == ["person.unlock_self"]
    assert rules(unlock, person=cast.inspector, by=cast.operator, at=now()) == ["person.role"]
    unlock(person=cast.inspector, by=cast.quality, at=now())
    assert check_secret("inspector", PIN, now()) == cast.inspector


def test_a_password_handed_out_signs_in_but_does_not_sign(cast):
    password = hand_out_password(person=cast.operator, by=cast.administrator, at=now())
    assert check_secret("operator", password, now()) == cast.operator
    assert rules(sign, identifier="operator", secret=password, meaning="measured", at=now()) == ["sign.change_first"]
    assert rules(check_secret, "operator", PIN, now()) == ["sign.wrong"]  # what was known before no longer holds
    assert rules(check_secret, "operator", PASSWORD, now()) == ["sign.wrong"]


def test_own_secrets_end_the_one_that_was_handed_out(cast):
    password = hand_out_password(person=cast.operator, by=cast.administrator, at=now())
    fresh = Person.objects.get(pk=cast.operator.pk)
    assert rules(choose_secrets, person=fresh, by=fresh, at=now(), current=password, pin="730164", answers=True) == ["password.needed"]
    choose_secrets(person=fresh, by=fresh, at=now(), current=password, password="four brown hares rest", pin="730164", answers=True)
    assert sign(identifier="B-operator", secret="730164", meaning="measured", at=now()).how == "badge and PIN"


def test_hand_out_password_by_a_role_that_may_not(cast):
    assert rules(hand_out_password, person=cast.operator, by=cast.planner, at=now()) == ["person.role"]
    assert check_secret("operator", PIN, now()) == cast.operator


def test_nobody_chooses_the_secret_of_another(cast):
    named = {"person": cast.operator, "by": cast.administrator, "at": now(), "current": PIN, "pin": "730164"}
    assert rules(choose_secrets, **named) == ["person.own_secret"]


def test_choose_secrets_needs_the_one_used_so_far(cast):
    named = {"person": cast.operator, "by": cast.operator, "at": now(), "pin": "730164"}
    assert rules(choose_secrets, current="999000", **named) == ["sign.wrong"]


def test_secrets_are_chosen_with_the_statement_that_one_answers_for_them(cast):
    named = {"person": cast.operator, "by": cast.operator, "at": now(), "current": PIN, "pin": "730164"}
    assert rules(choose_secrets, **named) == ["sign.answers"]
    choose_secrets(**named, answers=True)
    assert '"answers_for_signatures":true' in LedgerEntry.objects.get(kind="person.pin_set").text


def test_session_ends_after_a_while_without_a_touch(signed_in, cast, settings):
    client = signed_in(cast.planner)
    assert client.get("/account/").status_code == 200
    with mock.patch("django.utils.timezone.now", return_value=now() + timedelta(minutes=settings.IDLE_MINUTES - 1)):
        assert client.get("/account/").status_code == 200  # a touch: the time begins anew
    with mock.patch("django.utils.timezone.now", return_value=now() + timedelta(minutes=2 * settings.IDLE_MINUTES - 2)):
        assert client.get("/account/").status_code == 200
    with mock.patch("django.utils.timezone.now", return_value=now() + timedelta(minutes=3 * settings.IDLE_MINUTES)):
        assert client.get("/account/")["Location"].startswith("/sign-in/")


def test_page_within_the_minute_writes_nothing_about_the_session(signed_in, cast):
    client = signed_in(cast.planner)
    client.get("/account/")
    with CaptureQueriesContext(connection) as asked:
        client.get("/account/")
    assert not [query["sql"] for query in asked if not query["sql"].startswith("SELECT")]

    with mock.patch("django.utils.timezone.now", return_value=now() + timedelta(seconds=61)), CaptureQueriesContext(connection) as asked:
        client.get("/account/")
    assert [query["sql"] for query in asked if query["sql"].startswith("UPDATE") and "session" in query["sql"]]


def test_password_that_anybody_would_try(cast):
    named = {"person": cast.operator, "by": cast.operator, "at": now(), "current": PIN, "answers": True}
    assert rules(choose_secrets, password="password1234", **named) == ["password.weak"]
    assert rules(choose_secrets, password="short", **named) == ["password.weak"]


@pytest.mark.parametrize(
    ("pin", "expected"),
    [
        ("482915", []),
        ("48291", ["pin.shape"]),
        ("4829154829154", ["pin.shape"]),
        ("48291a", ["pin.shape"]),
        ("٤٨٢٩١٥", ["pin.shape"]),
        ("111111", ["pin.obvious"]),
        ("123456", ["pin.obvious"]),
        ("987654", ["pin.obvious"]),
        ("890123", ["pin.obvious"]),
    ],
)
def test_pin_shape(pin, expected):
    assert [finding.rule for finding in pin_findings(pin)] == expected


def test_signature_of_another_person_or_meaning(cast):
    signing = sign(identifier="operator", secret=PIN, meaning="measured", at=now())
    assert signing_findings(signing, cast.operator, "measured") == []
    assert [f.rule for f in signing_findings(signing, cast.inspector, "measured")] == ["sign.other"]
    assert [f.rule for f in signing_findings(signing, cast.operator, "released")] == ["sign.other"]


# --- Pages -----------------------------------------------------------------------------------------------------------------------


def test_sign_in_leads_to_the_place_of_the_role(client, cast):
    for person, place in ((cast.planner, "/plan/"), (cast.operator, "/make/"), (cast.auditor, "/prove/"), (cast.administrator, "/shop/")):
        answer = client.post("/sign-in/", {"username": person.username, "password": PASSWORD}, follow=True)
        assert answer.redirect_chain[-1][0].startswith(place)
        client.post("/sign-out/")


def test_sign_in_returns_to_where_one_wanted_to_go_but_not_outside(client, cast):
    for goal, place in (("/shop/wires/", "/shop/wires/"), ("https://elsewhere.example/", "/"), ("//elsewhere.example/", "/")):
        answer = client.post("/sign-in/", {"username": "planner", "password": PASSWORD, "next": goal})
        assert (answer.status_code, answer["Location"]) == (302, place)


def test_sign_in_says_how_long_a_locked_account_waits(client, cast):
    answers = [client.post("/sign-in/", {"username": "planner", "password": "wrong"}) for _ in range(FREE_TRIES)]
    assert {answer.status_code for answer in answers} == {422}
    assert "4 more tries" in answers[0].content.decode()
    locked = client.post("/sign-in/", {"username": "planner", "password": PASSWORD})
    assert "the account waits" in locked.content.decode()
    assert "_auth_user_id" not in client.session


def test_sign_in_with_a_handed_out_password_leads_to_the_own_account(client, cast):
    password = hand_out_password(person=cast.planner, by=cast.administrator, at=now())
    answer = client.post("/sign-in/", {"username": "planner", "password": password})
    assert answer["Location"] == "/account/"
    own = {"password": "four brown hares rest", "pin": "730164"}
    typed = {"secret": password, "answers": "on"} | own | {f"{name}_again": secret for name, secret in own.items()}
    answer = client.post("/account/secrets/", typed, follow=True)
    assert (answer.status_code, answer.redirect_chain[-1][0]) == (200, "/account/")  # still signed in
    assert check_secret("B-planner", "730164", now()) == cast.planner


def test_own_secrets_typed_differently_twice(signed_in, cast):
    answer = signed_in(cast.planner).post("/account/secrets/", {"secret": PIN, "pin": "730164", "pin_again": "730165"})
    assert answer.status_code == 422
    assert check_secret("planner", PIN, now()) == cast.planner


def test_own_secrets_refused_stand_at_their_field(signed_in, cast):
    answer = signed_in(cast.planner).post("/account/secrets/", {"secret": PIN, "pin": "111111", "pin_again": "111111", "answers": "on"})
    assert answer.status_code == 422
    assert list(answer.context["page"].secrets.errors) == ["pin"]


def test_pages_want_somebody_signed_in(client, db):
    for path in ("/", "/plan/", "/shop/wires/", "/account/"):
        answer = client.get(path)
        assert (answer.status_code, answer["Location"].partition("?")[0]) == (302, "/sign-in/")


def test_healthz_answers_anybody(client, db):
    assert client.get("/healthz").json() == {"status": "ok"}


def test_healthz_without_a_database(client, db, monkeypatch):
    def gone(*args, **named):
        raise OperationalError("connection refused")

    with monkeypatch.context() as cut:
        cut.setattr(connection, "cursor", gone)
        answer = client.get("/healthz")
    assert (answer.status_code, answer.json()) == (503, {"status": "unavailable", "reason": "the database does not answer"})
