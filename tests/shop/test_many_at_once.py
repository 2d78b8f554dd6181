"""Changing the state of many rows of a list at once: all of them or none."""

from __future__ import annotations

import pytest
from django.urls import reverse

from records.models import LedgerEntry
from shop.materials import LotState, TerminalLot
from tests import factories


@pytest.fixture
def lots(catalogue):
    return [factories.make_terminal_lot(f"TL-90{i:02d}", catalogue.terminal, state=LotState.RECEIVED) for i in range(3)]


def send(client, lots, **changed):
    sent = {"pk": [lot.pk for lot in lots], "state": "released", "state_reason": "incoming inspection passed"} | changed
    return client.post(reverse("shop:states", args=["terminal-lots"]), sent)


def states(lots):
    return [lot.state for lot in TerminalLot.objects.filter(pk__in=[lot.pk for lot in lots]).order_by("pk")]


def test_ticked_lots_are_released_together_and_each_is_in_the_ledger(signed_in, cast, lots):
    before = LedgerEntry.objects.filter(kind="catalogue.changed").count()

    answer = send(signed_in(cast.quality), lots[:2])

    assert answer.status_code == 302
    assert states(lots) == ["released", "released", "received"]
    assert LedgerEntry.objects.filter(kind="catalogue.changed").count() == before + 2


def test_one_lot_that_may_not_be_changed_stops_them_all(signed_in, cast, catalogue, lots):
    both = [lots[0], catalogue.terminal_lot_held]  # a planner does not take something off hold

    answer = send(signed_in(cast.planner), both)

    assert answer.status_code == 422
    assert sorted(states(both)) == ["on hold", "received"]


@pytest.mark.parametrize(
    ("changed", "said"), [({"state_reason": " "}, "This is needed."), ({"pk": []}, "Nothing is chosen."), ({"state": "melted"}, "melted")]
)
def test_refused_change_says_why_and_keeps_the_ticks(signed_in, cast, lots, changed, said):
    answer = send(signed_in(cast.quality), lots[:1], **changed)

    page = " ".join(answer.content.decode().split())
    assert answer.status_code == 422
    assert said in page
    assert answer.context["page"].chosen == (frozenset() if "pk" in changed else {lots[0].pk})
    assert states(lots) == ["received"] * 3


def test_auditor_is_offered_no_ticks(signed_in, cast, lots):
    assert signed_in(cast.auditor).get(reverse("shop:list", args=["terminal-lots"])).context["page"].states == []


def test_kind_without_states_has_nothing_to_set(signed_in, cast, catalogue):
    assert signed_in(cast.quality).post(reverse("shop:states", args=["wires"]), {"pk": [catalogue.wire.pk]}).status_code == 404
