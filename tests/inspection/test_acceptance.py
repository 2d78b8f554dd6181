"""Lots accepted by sample: schemes, the severity that follows from the history, and what becomes of a lot."""

from __future__ import annotations

import json
from dataclasses import replace
from decimal import Decimal

import pytest

from inspection.acts.acceptance import (
    INSPECTED_MEANING,
    LotInput,
    SchemeInput,
    end_scheme,
    history_of,
    inspect_lot,
    lot_named,
    may_be_released,
    open_scheme,
    plan_of,
    plan_sha256,
    release_inspected_lot,
    standing_of,
)
from inspection.models import LotInspection, SamplingScheme
from inspection.sampling.switching import State
from records.models import LedgerEntry
from shop.clock import now
from shop.finding import Refused
from shop.sign_on import sign
from shop.wording import worded
from tests import factories
from tests.factories import PIN


@pytest.fixture
def stated(catalogue):
    return SchemeInput(
        name="Reels of T-250-F",
        thing="terminal lots",
        terminal=catalogue.terminal,
        criterion="bent, burr, plating",
        basis="table",
        level="II",
        aql=Decimal("1.0"),
        reduced_by="limit numbers",
        reason="incoming inspection",
    )


@pytest.fixture
def scheme(cast, stated):
    return open_scheme(stated=stated, by=cast.quality, at=now())


@pytest.fixture
def reel(catalogue):
    """Makes reels that were received and not released."""
    made = []

    def make():
        made.append(factories.make_terminal_lot(f"TL-9{len(made):03d}", catalogue.terminal, state="received"))
        return made[-1]

    return make


def look(scheme, lot, person, found=0, lot_size=1000, **given):
    at = now()
    plan = plan_of(scheme, lot_size, standing_of(scheme, history_of(scheme)).state)
    stated = LotInput(lot_size, found, given.pop("defects", "burr" if found else ""), **given)
    signing = sign(identifier=person.username, secret=PIN, meaning=INSPECTED_MEANING, at=at)
    return inspect_lot(
        scheme=scheme, lot=lot, stated=stated, by=person, at=at, signing=signing, seen_sha256=plan_sha256(scheme, lot, lot_size, plan)
    )


def refused(act, *args, **given):
    with pytest.raises(Refused) as error:
        act(*args, **given)
    assert all(worded(finding).sentence for finding in error.value.findings)
    return [finding.rule for finding in error.value.findings]


def test_first_lot_is_inspected_on_normal_by_the_table(scheme, reel, cast):
    row = look(scheme, reel(), cast.inspector, found=2)
    assert (row.severity, row.code_letter, row.n, row.ac, row.re, row.accepted) == ("normal", "J", 80, 2, 3, True)
    content = json.loads(LedgerEntry.objects.get(kind="sampling.lot_inspected").text)["content"]
    assert (content["n"], content["found"], content["defects"], content["source"]) == (80, 2, "burr", "MIL-STD-105E Table I, Table II-A")


def test_two_lots_not_accepted_tighten_and_hold_their_reels(scheme, reel, cast):
    bad = reel()
    first = look(scheme, bad, cast.inspector, found=3)
    bad.refresh_from_db()
    assert (first.accepted, bad.state, "SS-0001 no. 1" in bad.state_reason) == (False, "on hold", True)
    second = look(scheme, reel(), cast.inspector, found=4)
    assert second.severity_after == "tightened"
    third = look(scheme, reel(), cast.inspector, found=2)
    assert (third.severity, third.n, third.ac, third.accepted) == ("tightened", 80, 1, False)


def test_reel_used_up_is_not_put_on_hold(scheme, catalogue, cast):
    gone = factories.make_terminal_lot("TL-9900", catalogue.terminal, state="used up")
    look(scheme, gone, cast.inspector, found=9)
    gone.refresh_from_db()
    assert gone.state == "used up"


def test_lot_presented_again_does_not_count_and_is_inspected_once_more_only_if_refused(scheme, reel, cast):
    bad, good = reel(), reel()
    look(scheme, bad, cast.inspector, found=3)
    look(scheme, good, cast.inspector)
    assert refused(look, scheme, bad, cast.inspector) == ["sampling.again"]
    again = look(scheme, bad, cast.inspector, found=5, resubmitted=True)
    assert (again.severity_after, standing_of(scheme, history_of(scheme)).state) == ("normal", State.NORMAL)
    assert refused(look, scheme, good, cast.inspector, resubmitted=True) == ["sampling.again"]
    assert refused(look, scheme, reel(), cast.inspector, resubmitted=True) == ["sampling.first"]


def test_ten_clean_lots_lead_to_reduced_and_a_lot_between_leads_back(scheme, reel, cast):
    for _lot in range(10):
        last = look(scheme, reel(), cast.inspector)
    assert last.severity_after == "reduced"
    between = reel()
    row = look(scheme, between, cast.inspector, found=2)
    between.refresh_from_db()
    assert (row.severity, row.n, row.ac, row.re, row.accepted, row.severity_after) == ("reduced", 32, 1, 3, True, "normal")
    assert between.state == "received"


def test_acceptance_stops_after_five_lots_refused_on_tightened(cast, stated, reel):
    scheme = open_scheme(stated=replace(stated, start="tightened"), by=cast.quality, at=now())
    for _lot in range(5):
        last = look(scheme, reel(), cast.inspector, found=5)
    assert last.severity_after == "discontinued"
    assert refused(look, scheme, reel(), cast.inspector) == ["sampling.discontinued"]


def test_accepted_reel_is_offered_for_release_and_released_by_its_own_act(scheme, reel, cast):
    lot = reel()
    row = look(scheme, lot, cast.inspector)
    lot.refresh_from_db()
    assert (lot.state, may_be_released(row)) == ("received", True)
    assert refused(release_inspected_lot, inspection=row, by=cast.operator, at=now()) == ["person.role"]
    release_inspected_lot(inspection=row, by=cast.inspector, at=now())
    lot.refresh_from_db()
    assert (lot.state, "accepted by sample" in lot.state_reason) == ("released", True)
    row = LotInspection.objects.get()
    assert not may_be_released(row)
    assert refused(release_inspected_lot, inspection=row, by=cast.inspector, at=now()) == ["sampling.release"]


def test_reel_that_another_scheme_refused_later_is_not_offered(scheme, stated, reel, cast):
    lot = reel()
    row = look(scheme, lot, cast.inspector)
    other = open_scheme(stated=replace(stated, name="plating", criterion="plating thickness"), by=cast.quality, at=now())
    look(other, lot, cast.inspector, found=3)
    row.terminal_lot.refresh_from_db()
    assert (row.terminal_lot.state, may_be_released(row)) == ("on hold", False)


def test_inspection_needs_its_role_a_fresh_plan_and_words_for_defects(scheme, reel, cast):
    lot = reel()
    assert refused(look, scheme, lot, cast.operator) == ["person.role"]
    assert refused(look, scheme, lot, cast.inspector, found=1, defects=" ") == ["sampling.defects"]
    assert refused(look, scheme, lot, cast.inspector, found=81) == ["sampling.found"]
    assert refused(look, scheme, lot, cast.inspector, lot_size=1) == ["sampling.table"]
    at = now()
    signing = sign(identifier=cast.inspector.username, secret=PIN, meaning=INSPECTED_MEANING, at=at)
    stale = {"scheme": scheme, "lot": lot, "stated": LotInput(1000, 0), "by": cast.inspector, "at": at, "signing": signing}
    assert refused(inspect_lot, **stale, seen_sha256="0" * 64) == ["sign.stale"]
    assert not LotInspection.objects.exists()


def test_lot_of_another_terminal_is_refused(scheme, cast, catalogue):
    other = factories.make_terminal("T-187-M", ("0.5", "1.0"), ("1.5", "2.5"))
    lot = factories.make_terminal_lot("TL-8000", other)
    assert refused(look, scheme, lot, cast.inspector) == ["sampling.lot"]
    assert refused(look, scheme, catalogue.wire.lots.first(), cast.inspector) == ["sampling.lot"]
    assert refused(lot_named, scheme, "TL-8000") == ["sampling.lot"]


@pytest.mark.parametrize(
    ("changed", "rules"),
    [
        ({"aql": Decimal("1.2")}, ["sampling.table"]),
        ({"level": "IV"}, ["sampling.table"]),
        ({"aql": None}, ["data.required"]),
        ({"terminal": None}, ["data.required"]),
        ({"name": " ", "reason": ""}, ["data.required", "data.required"]),
        ({"thing": "people"}, ["data.invalid"]),
        ({"basis": "none allowed", "quality": Decimal(0), "risk": Decimal(10)}, ["sampling.percent"]),
        ({"basis": "own", "n": 5, "ac": 5}, ["sampling.own"]),
        ({"start": "discontinued"}, ["data.invalid"]),
    ],
)
def test_scheme_that_cannot_be_is_refused(cast, stated, changed, rules):
    assert refused(open_scheme, stated=replace(stated, **changed), by=cast.quality, at=now()) == rules
    assert not SamplingScheme.objects.exists()


def test_schemes_are_opened_and_ended_by_quality_with_a_reason(scheme, stated, reel, cast):
    assert refused(open_scheme, stated=stated, by=cast.inspector, at=now()) == ["person.role"]
    assert refused(end_scheme, scheme=scheme, reason=" ", by=cast.quality, at=now()) == ["data.required"]
    end_scheme(scheme=scheme, reason="supplier certified", by=cast.quality, at=now())
    assert refused(look, scheme, reel(), cast.inspector) == ["sampling.ended"]
    assert refused(end_scheme, scheme=scheme, reason="x", by=cast.quality, at=now()) == ["sampling.ended"]


def test_plan_with_none_allowed_is_exact_for_the_lot_and_never_switches(cast, stated, reel):
    scheme = open_scheme(
        stated=replace(stated, basis="none allowed", quality=Decimal(5), risk=Decimal(10)), by=cast.quality, at=now()
    )  # fmt: skip
    row = look(scheme, reel(), cast.inspector, lot_size=200)
    assert (row.n, row.ac, row.code_letter) == (41, 0, "")  # 10 bad ones in 200 pass a sample of 41 less than once in ten
    for _lot in range(3):
        assert look(scheme, reel(), cast.inspector, found=1, lot_size=200).severity_after == "normal"


def test_own_plan_larger_than_the_lot_looks_at_all_of_it(cast, stated, reel):
    scheme = open_scheme(stated=replace(stated, basis="own", n=20, ac=1), by=cast.quality, at=now())
    row = look(scheme, reel(), cast.inspector, lot_size=12, found=1)
    assert (row.n, row.ac, row.accepted) == (12, 1, True)


def test_batches_of_a_terminal_are_sampled_too(cast, stated, proven):
    scheme = open_scheme(stated=replace(stated, thing="batches"), by=cast.quality, at=now())
    row = look(scheme, proven, cast.inspector, lot_size=100, found=3)
    assert (row.accepted, row.lot, row.code_letter, may_be_released(row)) == (False, proven, "F", False)
