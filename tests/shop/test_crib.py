"""The tool crib: wear parts with their history, care that makes the next due, the counter, and the page that shows what is due."""

from datetime import timedelta

import pytest

from records.models import LedgerEntry
from shop.acts.catalogue import set_press_state, set_tool_state
from shop.acts.crib import fit_wear_part, record_care, set_counter
from shop.clock import now
from shop.crib import ToolCare, WearPart
from shop.finding import Refused
from shop.people import Role
from tests.factories import days, make_person, make_press, make_tool, today

PLAN = {
    "crimp_count": 12_000,
    "service_every_crimps": 50_000,
    "service_every_days": 365,
    "verification_every_crimps": 20_000,
    "verification_every_days": 90,
}


@pytest.fixture
def crib(cast):
    return make_person("kari", Role.CRIB, name="Kari Voll")


@pytest.fixture
def tool(db):
    return make_tool("AP-031", **PLAN)


def refused(act, **stated):
    with pytest.raises(Refused) as refusal:
        act(at=now(), **stated)
    return [finding.rule for finding in refusal.value.findings]


def kinds():
    return list(LedgerEntry.objects.order_by("number").values_list("kind", flat=True))


# --- Wear parts ------------------------------------------------------------------------------------------------------------------


def test_wear_part_counts_from_the_count_at_which_it_went_in(crib, tool):
    part = fit_wear_part(tool=tool, kind="anvil", part_number="AN-12", life_crimps=100_000, by=crib, at=now())
    set_counter(tool=tool, count=12_750, by=crib, at=now())
    assert WearPart.objects.get(pk=part.pk).crimps == 750
    assert kinds() == ["tool.wear_part_fitted", "tool.counter_set"]


def test_replaced_wear_part_keeps_its_history(crib, tool):
    old = fit_wear_part(tool=tool, kind="anvil", part_number="AN-12", fitted_on=days(-30), at_count=2_000, by=crib, at=now())
    new = fit_wear_part(tool=tool, kind="anvil", part_number="AN-13", reason="chipped edge", by=crib, at=now())
    old.refresh_from_db()
    assert (old.removed_on, old.removed_at_count, old.removed_by, old.removed_because) == (today(), 12_000, crib, "chipped edge")
    assert (old.crimps, new.crimps) == (10_000, 0)
    assert list(WearPart.objects.filter(removed_on__isnull=True)) == [new]


def test_wear_part_of_another_kind_stays(crib, tool):
    anvil = fit_wear_part(tool=tool, kind="anvil", part_number="AN-12", by=crib, at=now())
    fit_wear_part(tool=tool, kind="cut-off", part_number="CO-2", by=crib, at=now())
    anvil.refresh_from_db()
    assert anvil.removed_on is None


def test_wear_part_is_not_replaced_without_a_reason(crib, tool):
    fit_wear_part(tool=tool, kind="anvil", part_number="AN-12", by=crib, at=now())
    assert refused(fit_wear_part, tool=tool, kind="anvil", part_number="AN-13", by=crib) == ["crib.wear.reason"]
    assert WearPart.objects.get().removed_on is None


@pytest.mark.parametrize(
    ("stated", "rules"),
    [
        ({"part_number": " "}, ["data.required"]),
        ({"fitted_on": "tomorrow"}, ["crib.day.future"]),
        ({"at_count": 12_001}, ["crib.count.ahead"]),
        ({"fitted_on": "before", "reason": "worn"}, ["crib.wear.before"]),
        ({"at_count": 400, "reason": "worn"}, ["crib.wear.before"]),
        ({"kind": "spring"}, ["data.invalid"]),
    ],
)
def test_wear_part_that_cannot_be_is_refused(crib, tool, stated, rules):
    fit_wear_part(tool=tool, kind="anvil", part_number="AN-12", fitted_on=days(-3), at_count=500, by=crib, at=now())
    day = {"tomorrow": days(1), "before": days(-4)}.get(stated.get("fitted_on"))
    given = {"kind": "anvil", "part_number": "AN-13", "reason": "worn"} | stated | ({"fitted_on": day} if day else {})
    assert refused(fit_wear_part, tool=tool, by=crib, **given) == rules
    assert WearPart.objects.get().part_number == "AN-12"


@pytest.mark.parametrize("who", ["operator", "auditor", "inspector"])
def test_crib_acts_take_a_role(cast, tool, who):
    by = getattr(cast, who)
    assert refused(fit_wear_part, tool=tool, kind="anvil", part_number="AN-12", by=by) == ["person.role"]
    assert refused(record_care, tool=tool, kind="repair", result="passed", note="spring", by=by) == ["person.role"]
    assert refused(set_counter, tool=tool, count=99_000, by=by) == ["person.role"]
    assert not WearPart.objects.exists()
    assert not ToolCare.objects.exists()
    assert kinds() == []


# --- Care ------------------------------------------------------------------------------------------------------------------------


def test_passed_service_makes_the_next_due_in_crimps_and_days(crib, tool):
    record_care(tool=tool, kind="service", result="passed", note="cleaned, oiled", done_on=days(-2), at_count=11_900, by=crib, at=now())
    tool.refresh_from_db()
    assert (tool.service_due_count, tool.service_due_on) == (61_900, days(363))
    assert tool.verification_due_on == days(60)  # a service verifies nothing
    assert kinds() == ["tool.care_recorded"]


def test_passed_verification_makes_the_next_due_and_repair_none(crib, tool):
    record_care(tool=tool, kind="verification", result="passed", note="heights in limits", by=crib, at=now())
    record_care(tool=tool, kind="repair", result="passed", note="new spring", by=crib, at=now())
    tool.refresh_from_db()
    assert (tool.verification_due_count, tool.verification_due_on) == (32_000, days(90))
    assert (tool.service_due_count, tool.service_due_on) == (500_000, days(90))  # as the factory made it


def test_measure_without_a_plan_is_no_longer_due(crib):
    tool = make_tool("AP-032", service_every_days=100)
    record_care(tool=tool, kind="service", result="passed", note="cleaned", by=crib, at=now())
    tool.refresh_from_db()
    assert (tool.service_due_count, tool.service_due_on) == (None, days(100))


def test_care_written_down_late_does_not_set_back_what_is_due(crib, tool):
    record_care(tool=tool, kind="service", result="passed", note="cleaned", by=crib, at=now())
    record_care(tool=tool, kind="service", result="passed", note="the one before", done_on=days(-200), at_count=1_000, by=crib, at=now())
    tool.refresh_from_db()
    assert (tool.service_due_count, tool.service_due_on) == (62_000, days(365))


@pytest.mark.parametrize("state", ["in verification", "on hold"])
def test_failed_verification_takes_the_tool_out_with_the_reason(crib, tool, state):
    given = {"kind": "verification", "result": "failed", "note": "height 0.04 low", "failed_state": state}
    record_care(tool=tool, by=crib, at=now(), **given)
    tool.refresh_from_db()
    assert (tool.state, tool.state_reason) == (state, "verification failed: height 0.04 low")
    assert tool.verification_due_on == days(60)


def test_failed_verification_keeps_the_crimps_it_puts_in_doubt(crib, tool):
    record_care(tool=tool, kind="verification", result="passed", note="good", done_on=days(-40), at_count=4_000, by=crib, at=now())
    record_care(tool=tool, kind="verification", result="failed", note="low", by=crib, at=now())
    assert '"crimps_since_last_passed":8000' in LedgerEntry.objects.order_by("number").last().text


def test_tool_on_hold_stays_on_hold_whatever_the_crib_finds(cast, crib, tool):
    set_tool_state(tool=tool, state="on hold", reason="complaint 26-011", by=cast.quality, at=now())
    for result in ("failed", "passed"):
        record_care(tool=tool, kind="verification", result=result, note="seen", by=crib, at=now())
        tool.refresh_from_db()
        assert (tool.state, tool.state_reason) == ("on hold", "complaint 26-011")


def test_care_that_cannot_be_is_refused(crib, tool):
    bare = make_tool("AP-033")
    assert refused(record_care, tool=bare, kind="service", result="passed", note="x", by=crib) == ["crib.care.plan"]
    assert refused(record_care, tool=bare, kind="verification", result="passed", note="x", by=crib) == ["crib.care.plan"]
    given = {"tool": tool, "kind": "verification", "result": "failed", "by": crib}
    assert refused(record_care, note="low", failed_state="available", **given) == ["crib.care.state"]
    assert refused(record_care, note=" ", done_on=days(1), at_count=12_001, **given) == [
        "crib.day.future",
        "crib.count.ahead",
        "data.required",
    ]
    assert not ToolCare.objects.exists()


def test_retired_tool_takes_no_more_care(crib):
    tool = make_tool("AP-034", state="retired")
    assert refused(fit_wear_part, tool=tool, kind="anvil", part_number="AN-1", by=crib) == ["crib.tool.retired"]
    assert refused(set_counter, tool=tool, count=5, by=crib) == ["crib.tool.retired"]


# --- Counter and states ----------------------------------------------------------------------------------------------------------


def test_counter_goes_back_only_for_a_reason(crib, tool):
    assert refused(set_counter, tool=tool, count=11_999, by=crib) == ["crib.counter.back"]
    tool.refresh_from_db()
    assert tool.crimp_count == 12_000
    set_counter(tool=tool, count=0, reason="new counter", by=crib, at=now())
    tool.refresh_from_db()
    assert tool.crimp_count == 0
    assert '"reason":"new counter"' in LedgerEntry.objects.get().text


def test_same_count_is_no_event(crib, tool):
    set_counter(tool=tool, count=12_000, by=crib, at=now())
    assert kinds() == []


def test_press_goes_out_with_a_reason(crib):
    press = make_press("PR-01")
    assert refused(set_press_state, press=press, state="out for service", reason="", by=crib) == ["data.required"]
    set_press_state(press=press, state="out for service", reason="ram play", by=crib, at=now())
    press.refresh_from_db()
    assert (press.state, press.state_reason) == ("out for service", "ram play")


def test_day_of_a_due_is_the_last_good_one(crib, tool):
    made = record_care(tool=tool, kind="verification", result="passed", note="good", by=crib, at=now())
    tool.refresh_from_db()
    assert tool.verification_due_on == made.done_on + timedelta(days=90)
