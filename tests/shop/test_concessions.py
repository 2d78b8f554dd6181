"""Concessions: one rule, one scope, a limit, quality's signature; the three that are never granted; ended, expired and used up."""

from __future__ import annotations

import pytest
from django.urls import reverse

from records.models import Signature
from shop.acts.concessions import (
    GRANTED_MEANING,
    WITHDRAWN_MEANING,
    Scope,
    concedable_rules,
    grant_concession,
    use_concessions,
    withdraw_concession,
)
from shop.clock import now
from shop.concessions import Concession
from shop.finding import Refused
from shop.planning import concessions_on, live_concessions
from shop.sign_on import sign
from tests import factories


def signed(person, meaning=GRANTED_MEANING):
    return sign(identifier=person.username, secret=factories.PIN, meaning=meaning, at=now())


def grant(by, scope, **changed):
    given = {"rule": "fit.insulation.od", "reason": "Trial crimps sectioned, report TR-9", "quantity_limit": 200}
    return grant_concession(scope=scope, by=by, at=now(), signing=signed(by), **(given | changed))


def live_on(day, sheet):
    """The concessions that reach the termination of a sheet."""
    return concessions_on(live_concessions([sheet.pk], day), sheet.terminations.get())


def rules_of(refused):
    return [f.rule for f in refused.value.findings]


@pytest.fixture
def sheet(cast, catalogue):
    return factories.draft(cast, catalogue)


def test_granted_concession_is_live_and_signed(cast, sheet):
    concession = grant(cast.quality, Scope(sheet=sheet))

    assert live_on(factories.today(), sheet) == [concession]
    signature = Signature.objects.get(meaning=GRANTED_MEANING)
    assert (signature.printed_name, signature.subject_kind, signature.subject_id) == ("Quirin Moss", "concession", concession.pk)


def test_concession_of_a_sheet_covers_its_terminations_and_no_other(cast, catalogue, sheet):
    concession = grant(cast.quality, Scope(sheet=sheet))
    other = factories.draft(cast, catalogue)

    assert live_on(factories.today(), sheet) == [concession]
    assert live_on(factories.today(), other) == []


@pytest.mark.parametrize("rule", ["fit.conductor.dipped", "use.gauge.calibration", "use.person.qualification"])
def test_three_rules_are_never_conceded(cast, sheet, rule):
    with pytest.raises(Refused) as refused:
        grant(cast.quality, Scope(sheet=sheet), rule=rule)

    assert rules_of(refused) == ["concession.never"]
    assert rule not in concedable_rules()
    assert not Concession.objects.exists()


@pytest.mark.parametrize("role", ["planner", "operator", "inspector", "auditor", "administrator"])
def test_only_quality_grants(cast, sheet, role):
    with pytest.raises(Refused) as refused:
        grant(getattr(cast, role), Scope(sheet=sheet))

    assert rules_of(refused) == ["person.role"]


@pytest.mark.parametrize(
    ("changed", "rule"),
    [
        ({"quantity_limit": None}, "concession.limit"),
        ({"expires_on": factories.days(-1)}, "concession.past"),
        ({"reason": "  "}, "concession.reason"),
        ({"rule": "fit.nothing"}, "data.unknown"),
        ({"rule": "use.lot.state"}, "concession.scope.rule"),
    ],
)
def test_concession_without_limit_reason_or_fitting_scope_is_refused(cast, sheet, changed, rule):
    with pytest.raises(Refused) as refused:
        grant(cast.quality, Scope(sheet=sheet), **changed)

    assert rules_of(refused) == [rule]


def test_concession_covers_one_thing_only(cast, catalogue, sheet):
    with pytest.raises(Refused) as refused:
        grant(cast.quality, Scope(sheet=sheet, termination=sheet.terminations.get()))

    assert rules_of(refused) == ["concession.scope"]


def test_concession_ends_by_itself_at_its_quantity(cast, sheet):
    concession = grant(cast.quality, Scope(sheet=sheet), quantity_limit=100)

    use_concessions([concession.number], batch="B1", quantity=99, at=now())
    assert live_on(factories.today(), sheet) == [concession]
    use_concessions([concession.number], batch="B2", quantity=1, at=now())

    assert live_on(factories.today(), sheet) == []


def test_concession_ends_by_itself_after_its_last_day(cast, sheet):
    concession = grant(cast.quality, Scope(sheet=sheet), expires_on=factories.days(3))

    assert live_on(factories.days(3), sheet) == [concession]
    assert live_on(factories.days(4), sheet) == []


def test_withdrawn_concession_covers_nothing_more(cast, sheet):
    concession = grant(cast.quality, Scope(sheet=sheet))

    withdraw_concession(
        concession=concession, reason="Customer declined", by=cast.quality, at=now(), signing=signed(cast.quality, WITHDRAWN_MEANING)
    )

    assert live_on(factories.today(), sheet) == []


def test_quality_grants_on_the_page_and_the_list_shows_it(signed_in, cast, catalogue, sheet):
    client = signed_in(cast.quality)
    sent = {
        "rule": "fit.insulation.od",
        "covers": f"{sheet} L1/A",
        "quantity_limit": "50",
        "reason": "Sectioned, report TR-9",
        "secret": factories.PIN,
    }

    answer = client.post(reverse("plan:new-concession"), sent, follow=True)

    page = " ".join(answer.content.decode().split())
    assert "C-0001 is granted." in page
    assert f"{sheet}, lead L1, end A" in page
    listed = client.get(reverse("plan:concessions"), {"shown": "live"})
    assert [line.concession.number for line in listed.context["page"].lines] == ["C-0001"]


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({"covers": "J-0 rev 9"}, "Nothing is called J-0 rev 9."),
        ({"secret": "000000"}, "do not go together"),
        ({"quantity_limit": ""}, "would never end"),
        ({"rule": ""}, "This is needed"),
    ],
)
def test_refused_grant_says_why_and_keeps_what_was_typed(signed_in, cast, sheet, changed, said):
    sent = {"rule": "fit.insulation.od", "covers": str(sheet), "quantity_limit": "50", "reason": "Sectioned", "secret": factories.PIN}

    answer = signed_in(cast.quality).post(reverse("plan:new-concession"), sent | changed)

    page = " ".join(answer.content.decode().split())
    assert answer.status_code == 422
    assert said in page
    assert "Sectioned" in page
    assert not Concession.objects.exists()


def test_planner_sees_concessions_but_cannot_open_the_form(signed_in, cast, sheet):
    client = signed_in(cast.planner)

    assert client.get(reverse("plan:concessions")).context["page"].new_url == ""
    assert client.get(reverse("plan:new-concession")).status_code == 403
