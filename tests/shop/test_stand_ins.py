"""While a person is away: who may stand in, until when, and what their signatures say."""

from datetime import timedelta

import pytest
from django.urls import reverse

from records.models import LedgerEntry, Signature
from shop.acts.stand_ins import NAMED_MEANING, end_stand_in, name_stand_in
from shop.clock import now, shop_day
from shop.finding import Refused
from shop.people import Person, PersonRole, Role
from shop.permissions import Deed, may
from shop.sign_on import sign
from shop.wording import worded
from tests import factories


def day(ahead=0):
    return shop_day(now()) + timedelta(days=ahead)


def name(person, deputy, *, by=None, role="quality", since=0, until=7, reason="leave"):
    by = by or person
    signing = sign(identifier=by.username, secret=factories.PIN, meaning=NAMED_MEANING, at=now())
    days = {"since": day(since), "until": day(until)}
    return name_stand_in(person=person, deputy=deputy, role=role, **days, reason=reason, by=by, at=now(), signing=signing)


def refused(act, *args, **given):
    with pytest.raises(Refused) as error:
        act(*args, **given)
    assert all(worded(finding).sentence for finding in error.value.findings)
    return [finding.rule for finding in error.value.findings]


def again(person):
    """As the next request finds them."""
    return Person.objects.get(pk=person.pk)


def test_deputy_may_what_the_role_may_on_those_days_only(cast):
    assert not may(again(cast.inspector), Deed.GRANT_CONCESSION)
    name(cast.quality, cast.inspector)
    assert may(again(cast.inspector), Deed.GRANT_CONCESSION)
    assert may(again(cast.quality), Deed.GRANT_CONCESSION)
    PersonRole.objects.filter(stands_in_for=cast.quality).update(since=day(1))
    assert not may(again(cast.inspector), Deed.GRANT_CONCESSION)
    PersonRole.objects.filter(stands_in_for=cast.quality).update(since=day(-9), until=day(-1))
    assert not may(again(cast.inspector), Deed.GRANT_CONCESSION)


def test_signature_of_a_deputy_says_for_whom(cast):
    name(cast.quality, cast.inspector)
    signing = sign(identifier="inspector", secret=factories.PIN, meaning="x", at=now())
    assert signing.person == cast.inspector
    assert signing.how == f"user name and secret; stands in for {cast.quality.name} (quality)"
    assert sign(identifier="quality", secret=factories.PIN, meaning="x", at=now()).how == "user name and secret"


def test_naming_is_signed_and_in_the_ledger(cast):
    name(cast.quality, cast.inspector)
    entry = LedgerEntry.objects.get(kind="person.stand_in_named")
    assert (entry.subject_name, entry.signature.person, entry.signature.meaning) == ("quality", cast.quality, NAMED_MEANING)
    assert '"deputy":"inspector"' in entry.text


def test_ended_stand_in_holds_no_longer_and_keeps_what_was_signed(cast):
    row = name(cast.quality, cast.inspector)
    end_stand_in(stand_in=row, reason="back early", by=cast.quality, at=now())
    assert not may(again(cast.inspector), Deed.GRANT_CONCESSION)
    assert Signature.objects.filter(meaning=NAMED_MEANING).count() == 1
    assert refused(end_stand_in, stand_in=row, reason="again", by=cast.quality, at=now()) == ["stand_in.over"]


def test_quality_names_a_deputy_for_somebody_who_cannot_and_others_may_not(cast):
    assert name(cast.planner, cast.quality, by=cast.quality, role="planner").pk
    assert refused(name, cast.quality, cast.operator, by=cast.operator) == ["person.role"]


@pytest.mark.parametrize(
    ("given", "rule"),
    [
        ({"role": "operator"}, "stand_in.role"),
        ({"role": "planner"}, "stand_in.role"),
        ({"since": -1}, "stand_in.days"),
        ({"since": 3, "until": 2}, "stand_in.days"),
        ({"until": 92}, "stand_in.days"),
        ({"reason": " "}, "data.required"),
    ],
)
def test_stand_in_that_cannot_be_is_refused(cast, given, rule):
    assert refused(name, cast.quality, cast.inspector, **given) == [rule]
    assert not PersonRole.objects.filter(stands_in_for__isnull=False).exists()


def test_stand_in_for_a_whole_quarter_is_the_longest(cast):
    assert name(cast.quality, cast.inspector, until=91).pk


def test_operators_role_cannot_be_lent(cast):
    assert refused(name, cast.operator, cast.planner, role="operator") == ["stand_in.role"]


def test_nobody_stands_in_for_themselves_or_with_a_role_they_hold_or_with_a_closed_account(cast):
    assert refused(name, cast.quality, cast.quality) == ["stand_in.self", "stand_in.holds"]
    Person.objects.filter(pk=cast.inspector.pk).update(is_active=False)
    assert refused(name, cast.quality, again(cast.inspector)) == ["stand_in.closed"]


def test_lent_role_is_not_lent_on(cast):
    name(cast.quality, cast.inspector)
    assert refused(name, again(cast.inspector), cast.planner, role="quality") == ["stand_in.role"]


def test_days_do_not_overlap_for_the_same_deputy(cast):
    name(cast.quality, cast.inspector)
    assert refused(name, cast.quality, cast.inspector, since=7, until=9) == ["stand_in.overlap"]
    assert name(cast.quality, cast.inspector, since=8, until=9).pk


def test_editing_a_deputy_keeps_what_they_stand_in_with(cast, signed_in):
    row = name(cast.quality, cast.inspector)
    client = signed_in(cast.quality)
    address = reverse("shop:edit", args=["people", cast.inspector.pk])
    form = client.get(address).context["form"] if "form" in client.get(address).context else client.get(address).context["page"].form
    assert form.initial["roles"] == ["inspector"]
    assert PersonRole.objects.filter(pk=row.pk).exists()


def test_list_of_a_role_shows_who_holds_it_not_who_stands_in(cast):
    name(cast.quality, cast.inspector)
    assert list(Person.objects.get_queryset().with_role(Role.QUALITY)) == [cast.quality]


# --- Pages and API -----------------------------------------------------------------------------------------------------------------


def test_person_names_a_deputy_on_the_page_and_ends_it(cast, signed_in):
    client = signed_in(cast.quality)
    address = reverse("shop:stand-ins", args=[cast.quality.pk])
    assert address in client.get(reverse("account")).content.decode()
    given = {"deputy": "inspector", "role": "quality", "since": day().isoformat(), "until": day(3).isoformat(), "reason": "leave"}
    told = client.post(address, given | {"secret": factories.PIN}, follow=True)
    assert [(line.who, line.word) for line in told.context["page"].deputies] == [(cast.inspector.name, "now")]
    row = PersonRole.objects.get(stands_in_for=cast.quality)
    ended = client.post(reverse("shop:stand-in-end", args=[cast.quality.pk]), {"stand_in": row.pk, "ended_because": "back"}, follow=True)
    assert [line.word for line in ended.context["page"].deputies] == ["over"]


def test_page_keeps_what_was_typed_when_it_is_refused(cast, signed_in):
    client = signed_in(cast.quality)
    given = {"deputy": "inspector", "role": "quality", "since": day().isoformat(), "until": day(-1).isoformat(), "reason": "leave"}
    answer = client.post(reverse("shop:stand-ins", args=[cast.quality.pk]), given | {"secret": factories.PIN})
    assert answer.status_code == 422
    assert answer.context["page"].form["deputy"].value() == "inspector"
    assert "92" in answer.content.decode()


def test_colleague_sees_but_does_not_name(cast, signed_in):
    page = signed_in(cast.operator).get(reverse("shop:stand-ins", args=[cast.quality.pk])).context["page"]
    assert (page.may_name, page.form) == (False, None)


def test_person_page_leads_there(cast, signed_in):
    page = signed_in(cast.quality).get(reverse("shop:detail", args=["people", cast.inspector.pk])).content.decode()
    assert reverse("shop:stand-ins", args=[cast.inspector.pk]) in page
