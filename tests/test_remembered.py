"""Set-ups that are put back: the tests' own memory gives what the acts gave, and runs them where it cannot know that."""

from __future__ import annotations

from datetime import timedelta

import pytest
import time_machine
from django.db import connection, transaction
from django.test import override_settings

from shop.clock import now
from shop.jobs import Customer
from shop.people import Person
from tests import factories
from tests.remembered import one_test, remembered

pytestmark = pytest.mark.django_db


@pytest.fixture
def tried(request):
    """Acts as the next test would: in an empty shop, undone afterwards. Tells how often the act ran."""
    ran = []

    def act(name="Ona"):
        ran.append(name)
        Customer.objects.update(name=f"{name}'s")
        transaction.on_commit(lambda: None)
        return factories.make_person(name.lower(), name=name)

    act.__qualname__ = request.node.nodeid  # known by its name, for the whole run
    act = remembered(act)

    def turn(before=lambda: None, **given):
        with transaction.atomic():
            with one_test():
                before()
                waiting = len(connection.run_on_commit)
                person = act(**given)
                left = (Person.objects.get(name=person.name), list(Customer.objects.all()), len(connection.run_on_commit) - waiting)
            transaction.set_rollback(True)
        return person, left

    turn.ran = ran
    return turn


def test_third_time_gives_and_leaves_the_same_without_the_act(tried):
    Customer.objects.create(code="C", name="C")
    first, second, third, fourth = (tried() for _turn in range(4))

    assert tried.ran == ["Ona"] * 2
    for person, (found, customers, waiting) in (first, second, third, fourth):
        assert found == person
        assert found.check_password(factories.PASSWORD)
        assert [customer.name for customer in customers] == ["Ona's"]
        assert waiting == 1
    assert not Person.objects.exists()


def test_other_arguments_and_a_shop_that_somebody_wrote_in_are_acted_for_real(tried):
    for _turn in range(3):
        tried()
    assert len(tried.ran) == 2

    tried(name="Per")
    tried(before=lambda: factories.make_person("somebody"))

    assert tried.ran[2:] == ["Per", "Ona"]


def test_other_settings_and_a_later_hour_are_acted_for_real(tried):
    for _turn in range(3):
        tried()
    with override_settings(SHOP_NAME="Another shop"):
        tried()
    assert len(tried.ran) == 3

    with time_machine.travel(now() + timedelta(hours=1)):
        tried()
    assert len(tried.ran) == 4
