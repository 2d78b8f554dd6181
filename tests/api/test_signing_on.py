"""Tokens: given for a secret, throttled like every secret, and ended with the password they were given for."""

from __future__ import annotations

from datetime import timedelta

import time_machine
from rest_framework.authtoken.models import Token

from records.models import LedgerEntry
from shop.clock import now
from shop.sign_on import choose_secrets, hand_out_password
from tests import factories
from tests.api.conftest import Program


def token(program, identifier, secret):
    return program().ask("POST", "token/", {"identifier": identifier, "secret": secret})


def test_token_is_given_for_badge_and_pin_or_name_and_password(program, cast):
    by_badge = token(program, "B-operator", factories.PIN).json
    by_name = token(program, "operator", factories.PASSWORD).json

    assert by_badge == by_name == {"token": Token.objects.get().key, "person": "Omar Reyes"}
    asking = program()
    asking.headers = {"Authorization": f"Token {by_badge['token']}"}
    me = asking.get("me/")
    assert (me["username"], me["roles"]) == ("operator", ["operator"])
    assert "run batches" in me["may"]
    assert "ship" not in me["may"]


def test_wrong_secret_gives_no_token_and_is_counted(program, cast):
    answer = token(program, "operator", "000000")

    assert (answer.status, answer.rules) == (422, ["sign.wrong"])
    assert answer.json["findings"][0]["compared"] == {"left": "4"}
    assert token(program, "nobody", "000000").rules == ["sign.wrong"]
    assert not Token.objects.exists()


def test_five_wrong_secrets_make_the_account_wait_for_the_right_one_too(program, cast):
    for _try in range(4):
        assert token(program, "operator", "000000").status == 422
    waiting = token(program, "operator", "000000")
    assert (waiting.status, waiting.rules, waiting.response.headers["Retry-After"]) == (429, ["sign.locked"], "30")

    assert token(program, "operator", factories.PIN).status == 429
    with time_machine.travel(now() + timedelta(seconds=31)):
        assert token(program, "operator", factories.PIN).status == 200


def test_wrong_signature_counts_towards_the_same_wait(programs, cast, catalogue):
    sheet = factories.in_review(cast, catalogue)
    seen = programs["approver"].get(f"sheets/{sheet.pk}/")["content_sha256"]
    body = {"signature": {"secret": "000000"}, "seen_sha256": seen}

    for _try in range(4):
        assert programs["approver"].refused(f"sheets/{sheet.pk}/release/", body) == ["sign.wrong"]
    assert programs["approver"].refused(f"sheets/{sheet.pk}/release/", body, status=429) == ["sign.locked"]
    assert not LedgerEntry.objects.filter(kind="sheet.released").exists()


def test_token_ends_with_the_password_it_was_given_for(spec, program, cast):
    asking = Program(spec, cast.operator)
    asking.get("me/")

    choose_secrets(person=cast.operator, by=cast.operator, at=now(), current=factories.PIN, password="nine blue kites climb", answers=True)
    assert asking.refused("me/", method="GET", status=401) == ["api.signed_in"]

    assert token(program, "operator", "nine blue kites climb").status == 200


def test_password_handed_out_gives_no_token(program, cast):
    password = hand_out_password(person=cast.operator, by=cast.administrator, at=now())

    answer = token(program, "operator", password)

    assert (answer.status, answer.rules) == (422, ["sign.change_first"])


def test_closed_account_has_no_token_any_more(spec, cast):
    asking = Program(spec, cast.operator)
    cast.operator.is_active = False
    cast.operator.save()

    assert asking.refused("me/", method="GET", status=401) == ["api.signed_in"]


def test_own_token_is_ended(spec, cast):
    asking = Program(spec, cast.operator)

    assert asking.ask("DELETE", "me/token/").status == 204
    assert asking.refused("me/", method="GET", status=401) == ["api.signed_in"]


def test_secret_is_neither_echoed_nor_kept_nor_logged(program, cast, caplog):
    secret = "919191919"
    with caplog.at_level("DEBUG"):
        answer = program(cast.operator).ask("POST", "token/", {"identifier": "operator", "secret": secret, "pin": secret})
        token(program, "operator", secret)

    assert answer.status == 422
    assert secret.encode() not in answer.response.content
    assert secret not in caplog.text
