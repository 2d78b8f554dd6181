"""Lots in lots, split, merged, reworked and returned: counts balance and nothing held or kept back goes on."""

from __future__ import annotations

import pytest
from django.db import IntegrityError, transaction
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from records.acts.lot_changes import (
    MERGED_MEANING,
    RELEASED_MEANING,
    RETURNED_MEANING,
    REWORKED_MEANING,
    SCRAPPED_MEANING,
    SPLIT_MEANING,
    SplitPart,
    merge_lots,
    receive_return,
    release_lot,
    rework_lot,
    scrap_harnesses,
    split_lot,
)
from records.acts.lots import BUILT_MEANING, SHIPPED_MEANING, build_lot, ship
from records.balances import harnesses_left, serials_in
from records.models import HarnessLot, LedgerEntry, LotPart
from shop.clock import now
from shop.finding import Refused
from tests import factories


@pytest.fixture
def act(cast, hand):
    """Performs an act as somebody, signed with its meaning."""

    def perform(function, meaning, who="quality", **given):
        at = now()
        return function(by=getattr(cast, who), at=at, signing=hand(who).sign(meaning, at), **given)

    return perform


@pytest.fixture
def split(act):
    return lambda lot, *parts, who="planner": act(split_lot, SPLIT_MEANING, who, lot=lot, parts=[SplitPart(*part) for part in parts])


def refused(function, *given, **named):
    with pytest.raises(Refused) as refusal:
        function(*given, **named)
    return [finding.rule for finding in refusal.value.findings]


def test_split_lot_keeps_the_rest_and_each_part_its_own_number(lot, split):
    made = split(lot, ("HL-1-A", 30), ("HL-1-B", 20))

    assert [(one.number, one.quantity) for one in made] == [("HL-1-A", 30), ("HL-1-B", 20)]
    assert harnesses_left(lot) == 50
    assert LedgerEntry.objects.filter(kind="lot.split", signature__meaning=SPLIT_MEANING).count() == 1


def test_split_lot_of_more_than_is_left_is_refused_and_nothing_is_written(lot, shipment, split):
    assert refused(split, lot, ("HL-1-A", 30), ("HL-1-B", 11)) == ["lot.lot.quantity"]
    assert HarnessLot.objects.count() == 1


def test_split_by_an_auditor_is_refused(lot, split):
    assert refused(split, lot, ("HL-1-A", 30), who="auditor") == ["person.role"]


def test_merged_lots_are_one_and_nothing_is_left_in_them(lot, split, act):
    first, second = split(lot, ("HL-1-A", 30), ("HL-1-B", 20))

    merged = act(merge_lots, MERGED_MEANING, "planner", number="HL-2", lots={first.pk: 30, second.pk: 15})

    assert merged.quantity == 45
    assert (harnesses_left(first), harnesses_left(second), harnesses_left(merged)) == (0, 5, 45)


def test_merge_of_one_lot_is_refused(lot, act):
    assert refused(act, merge_lots, MERGED_MEANING, "planner", number="HL-2", lots={lot.pk: 5}) == ["lot.merge.two"]


@settings(max_examples=20, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(wanted=st.lists(st.tuples(st.sampled_from(["split", "scrap", "ship"]), st.integers(1, 60)), max_size=6))
def test_harnesses_of_a_lot_are_never_more_out_than_in(wanted, lot, act, split, cast, catalogue):
    with transaction.atomic():
        out = 0
        for index, (what, quantity) in enumerate(wanted):
            try:
                if what == "split":
                    split(lot, (f"P-{index}", quantity))
                elif what == "scrap":
                    act(scrap_harnesses, SCRAPPED_MEANING, lot=lot, quantity=quantity, reason="cut")
                else:
                    act(ship, SHIPPED_MEANING, number=f"S-{index}", customer=catalogue.customer, lots={lot.pk: quantity})
            except Refused:
                assert out + quantity > 100
            else:
                out += quantity
        assert harnesses_left(lot) == 100 - out
        transaction.set_rollback(True)


def test_leads_go_into_harnesses_and_prove_their_terminations(batch, act):
    job = batch.termination.sheet.job
    leads = act(build_lot, BUILT_MEANING, "planner", number="LL-1", job=job, kind="leads", quantity=60, batches={batch.pk: 60})

    short = {"number": "HL-1", "job": job, "quantity": 80, "batches": {batch.pk: 19}, "lots": {leads.pk: 60}}
    assert refused(act, build_lot, BUILT_MEANING, "planner", **short) == ["lot.termination.short"]
    built = act(build_lot, BUILT_MEANING, "planner", **(short | {"batches": {batch.pk: 20}}))

    assert (harnesses_left(leads), harnesses_left(built)) == (0, 80)


def test_finished_harnesses_go_into_no_other_lot(lot, batch, act):
    given = {"number": "HL-2", "job": lot.job, "quantity": 10, "batches": {}, "lots": {lot.pk: 10}}

    assert refused(act, build_lot, BUILT_MEANING, "planner", **given) == ["lot.lot.kind"]


def test_lot_behind_itself_is_refused_by_the_database(lot):
    with pytest.raises(IntegrityError), transaction.atomic():
        LotPart.objects.create(lot=lot, used=lot, kind="merged", quantity=1)


def test_reworked_lot_waits_until_quality_releases_it(lot, act, catalogue):
    reworked = act(rework_lot, REWORKED_MEANING, lot=lot, number="HL-1-R1", quantity=5, reason="terminal replaced")
    sent = {"number": "SH-9", "customer": catalogue.customer, "lots": {reworked.pk: 5}}

    assert refused(act, ship, SHIPPED_MEANING, **sent) == ["lot.kept_back"]
    act(release_lot, RELEASED_MEANING, lot=reworked, reason="heights and pull tests repeated")
    act(ship, SHIPPED_MEANING, **sent)

    assert harnesses_left(reworked) == 0
    assert harnesses_left(lot) == 95


def test_release_of_a_lot_that_is_free_is_refused(lot, act):
    assert refused(act, release_lot, RELEASED_MEANING, lot=lot, reason="x") == ["lot.not_kept_back"]


def test_return_gets_a_number_of_its_own_and_is_kept_back(lot, shipment, act):
    back = act(
        receive_return, RETURNED_MEANING, shipment=shipment, lot=lot, number="SH-1-B1", quantity=4, reason="wrong colour", who="quality"
    )

    assert (back.quantity, back.kept_back) == (4, "returned: wrong colour")
    assert harnesses_left(lot) == 40  # what came back is in its own lot


def test_more_back_than_was_sent_is_refused(lot, shipment, act):
    given = {"shipment": shipment, "lot": lot, "reason": "burr"}
    act(receive_return, RETURNED_MEANING, number="SH-1-B1", quantity=59, **given)

    assert refused(act, receive_return, RETURNED_MEANING, number="SH-1-B2", quantity=2, **given) == ["return.quantity"]


@pytest.fixture
def numbered_lot(batch, act):
    serials = [f"SN-{n:03d}" for n in range(1, 11)]
    job = batch.termination.sheet.job
    return act(build_lot, BUILT_MEANING, "planner", number="HL-7", job=job, quantity=10, batches={batch.pk: 10}, serials=serials)


def test_part_of_a_lot_with_serials_names_those_taken(numbered_lot, split, act, catalogue):
    assert refused(split, numbered_lot, ("HL-7-A", 2)) == ["lot.serials.count"]
    assert refused(split, numbered_lot, ("HL-7-A", 2, ("SN-001", "SN-999"))) == ["lot.serial.elsewhere"]
    (part,) = split(numbered_lot, ("HL-7-A", 2, ("SN-001", "SN-002")))

    assert [s.serial for s in serials_in(part)] == ["SN-001", "SN-002"]
    assert [s.serial for s in serials_in(numbered_lot)] == [f"SN-{n:03d}" for n in range(3, 11)]


def test_shipped_serials_are_gone_and_a_return_brings_them_back(numbered_lot, act, catalogue):
    sent = {"number": "SH-7", "customer": catalogue.customer, "lots": {numbered_lot.pk: 2}}
    shipment = act(ship, SHIPPED_MEANING, **sent, serials={numbered_lot.pk: ["SN-004", "SN-005"]})
    given = {"shipment": shipment, "lot": numbered_lot, "quantity": 1, "reason": "bent"}

    assert refused(act, receive_return, RETURNED_MEANING, number="B1", serials=["SN-001"], **given) == ["return.serial"]
    back = act(receive_return, RETURNED_MEANING, number="B1", serials=["SN-004"], **given)

    assert [s.serial for s in serials_in(back)] == ["SN-004"]
    assert "SN-004" not in [s.serial for s in serials_in(numbered_lot)]


def test_serial_number_is_given_once(numbered_lot, batch, act):
    given = {"number": "HL-8", "job": numbered_lot.job, "quantity": 2, "batches": {batch.pk: 2}}

    assert refused(act, build_lot, BUILT_MEANING, "planner", **given, serials=["SN-001", "SN-900"]) == ["lot.serial.known"]
    assert refused(act, build_lot, BUILT_MEANING, "planner", **given, serials=["SN-900"]) == ["lot.serials.all"]
    assert refused(act, build_lot, BUILT_MEANING, "planner", **given, serials=["SN-900", "SN-900"]) == ["lot.serial.twice"]


def test_pages_split_a_lot_and_take_harnesses_back(signed_in, cast, lot, shipment):
    client = signed_in(cast.planner)

    form = client.get("/prove/lot/HL-1/split/")
    asked = {"number": "HL-1-S1", "quantity": "10", "secret": factories.PIN}
    made = client.post("/prove/lot/HL-1/split/", asked)
    too_many = client.post("/prove/lot/HL-1/split/", asked | {"number": "HL-1-S2", "quantity": "31"})
    back = client.post("/prove/shipment/SH-1/return/", {"number": "SH-1-B1", "reason": "bent", f"n-{lot.pk}": "3", "secret": factories.PIN})

    assert "40 of 100 are left" in form.content.decode()
    assert made.url == "/prove/lot/HL-1-S1/"
    assert too_many.status_code == 422
    assert "30 are left" in too_many.content.decode()
    assert back.url == "/prove/lot/SH-1-B1/"
    assert "Kept back: returned: bent" in " ".join(client.get(back.url).content.decode().split())


def test_forms_of_other_acts_are_for_those_who_may(signed_in, cast, lot):
    assert signed_in(cast.planner).get("/prove/lot/HL-1/scrap/").status_code == 403
    client = signed_in(cast.quality)
    for act in ("split", "merge", "rework", "release", "scrap"):
        assert client.get(f"/prove/lot/HL-1/{act}/").status_code == 200
    assert client.get("/prove/lot/HL-1/paint/").status_code == 404
