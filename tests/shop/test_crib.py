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
from tests.factories import days, make_gauge, make_person, make_press, make_tool, today

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


# --- Pages -----------------------------------------------------------------------------------------------------------------------


def matters(page):
    return {(line.asset, group.name, line.matter) for group in page.groups for line in group.lines}


@pytest.fixture
def stock(db):
    """One thing of every group, and a tool that needs nobody."""
    make_tool("AP-001")
    make_tool("AP-002", verification_due_on=days(-1))
    make_tool("AP-003", crimp_count=99, service_due_count=98)
    make_tool("AP-004", service_due_on=days(0))
    make_tool("AP-005", state="out for service", state_reason="crimper worn", service_due_on=days(-4))
    make_tool("AP-006", verification_due_on=None)
    make_tool("AP-007", state="retired", verification_due_on=days(-400))
    worn = make_tool("AP-008", crimp_count=5_001)
    part = {"tool": worn, "fitted_on": days(-30), "fitted_at_count": 1_000, "life_crimps": 4_000}
    by = make_person("hanne", Role.CRIB)
    WearPart.objects.create(kind="anvil", part_number="AN-12", fitted_by=by, **part)
    WearPart.objects.create(kind="cut-off", part_number="CO-1", fitted_by=by, **(part | {"life_crimps": 900_000}))
    make_press("PR-01", shut_height_due_on=days(-3), shut_height_verified_on=days(-90))
    make_press("PR-02", shut_height_due_on=None, shut_height_verified_on=None)
    make_gauge("MIC-01", "crimp-height micrometer", "mm", "0.001", due_in=5)
    make_gauge("MIC-02", "crimp-height micrometer", "mm", "0.001", due_in=200)


def test_crib_page_shows_what_needs_somebody_and_nothing_else(signed_in, crib, stock):
    page = signed_in(crib).get("/shop/crib/").context["page"]
    assert matters(page) == {
        ("AP-002", "overdue", "verification"),
        ("AP-003", "overdue", "service"),
        ("PR-01", "overdue", "shut height"),
        ("AP-006", "planned by nobody", "verification"),
        ("PR-02", "planned by nobody", "shut height"),
        ("AP-005", "out", "out for service"),
        ("AP-008", "worn past its life", "anvil AN-12"),
        ("AP-004", "due", "service"),
        ("MIC-01", "due", "calibration"),
    }
    out = next(line for group in page.groups for line in group.lines if line.asset == "AP-005")
    assert out.note == "crimper worn; also overdue: service"


@pytest.mark.parametrize(
    ("query", "assets"),
    [
        ("show=due", {"AP-004", "MIC-01"}),
        ("show=due&days=4", {"AP-004"}),
        ("show=overdue&of=presses", {"PR-01"}),
        ("of=gauges&days=300", {"MIC-01", "MIC-02"}),
        ("show=worn", {"AP-008"}),
        ("show=nonsense&of=x&days=-1&crimps=x&of=gauges", {"MIC-01"}),
    ],
)
def test_crib_page_is_narrowed_by_its_address(signed_in, crib, stock, query, assets):
    page = signed_in(crib).get(f"/shop/crib/?{query}").context["page"]
    assert {asset for asset, _group, _matter in matters(page)} == assets


def test_due_by_count_looks_as_far_as_asked(signed_in, crib):
    make_tool("AP-009", crimp_count=95_000, service_due_count=100_000)
    client = signed_in(crib)
    assert matters(client.get("/shop/crib/?crimps=5000").context["page"]) == {("AP-009", "due", "service")}
    assert matters(client.get("/shop/crib/?crimps=1000").context["page"]) == set()


def test_crib_file_holds_what_the_page_shows(signed_in, crib):
    make_tool("AP-002", verification_due_on=days(-1), description="=HYPERLINK(1)")
    make_tool("AP-003", service_due_on=days(1))
    answer = signed_in(crib).get("/shop/crib/crib.csv?show=overdue")
    assert answer["Content-Disposition"] == 'attachment; filename="tool-crib.csv"'
    assert answer.content.decode("utf-8-sig").splitlines() == [
        "state,asset number,kind,description,matter,due,left,note",
        f"overdue,AP-002,applicator,'=HYPERLINK(1),verification,{days(-1)},1 day over,",
    ]


@pytest.mark.parametrize("count", [1, 3])
def test_crib_page_queries(signed_in, crib, django_assert_num_queries, count):
    for number in range(count):
        tool = make_tool(f"AP-{number}", verification_due_on=days(-1))
        WearPart.objects.create(
            tool=tool, kind="anvil", part_number="A", life_crimps=1, fitted_on=today(), fitted_at_count=0, fitted_by=crib
        )
        make_press(f"PR-{number}", shut_height_due_on=days(1))
        make_gauge(f"MIC-{number}", "caliper", "mm", "0.01", due_in=-1)
    client = signed_in(crib)
    client.get("/shop/crib/")
    with django_assert_num_queries(7):
        page = client.get("/shop/crib/").context["page"]
    assert page.count == 4 * count


def test_acts_stand_on_the_page_of_the_tool(signed_in, crib, tool):
    client, page = signed_in(crib), f"/shop/tools/{tool.pk}/"
    for part, why in (("AN-12", ""), ("AN-13", "chipped")):
        stated = {"act": "wear-part", "kind": "anvil", "part_number": part, "life_crimps": "100000", "reason": why}
        assert client.post(f"{page}wear-part/", stated).url == page
    assert client.post(f"{page}counter/", {"act": "counter", "count": "12600"}).url == page
    stated = {"act": "care", "kind": "verification", "result": "passed", "note": "heights in limits"}
    assert client.post(f"{page}care/", stated).url == page
    shown = client.get(page).context["page"].care
    assert [(line.part_number, line.crimps, line.standing.word) for line in shown.fitted] == [("AN-13", 600, "99400 crimps left")]
    assert [(line.part_number, line.because) for line in shown.removed] == [("AN-12", "chipped")]
    assert [(line.kind, line.at_count, line.standing.word) for line in shown.cares] == [("verification", 12_600, "passed")]


def test_refused_act_keeps_what_was_typed_and_says_why_at_the_field(signed_in, crib, tool):
    answer = signed_in(crib).post(f"/shop/tools/{tool.pk}/counter/", {"act": "counter", "count": "7"})
    assert answer.status_code == 422
    opened = [act for act in answer.context["page"].care.acts if act.is_open]
    assert [act.name for act in opened] == ["counter"]
    assert opened[0].form["count"].value() == "7"
    assert list(opened[0].form.errors) == ["reason"]
    assert answer.context["refusal"].rest == []


def test_who_may_not_change_tools_sees_no_forms(signed_in, cast, tool):
    client = signed_in(cast.operator)
    assert client.get(f"/shop/tools/{tool.pk}/").context["page"].care.acts == []
    answer = client.post(f"/shop/tools/{tool.pk}/counter/", {"act": "counter", "count": "99999"})
    assert answer.status_code == 422
    tool.refresh_from_db()
    assert tool.crimp_count == 12_000


@pytest.mark.parametrize("parts", [1, 3])
def test_page_of_a_tool_queries(signed_in, crib, tool, django_assert_num_queries, parts):
    for number in range(parts):
        reason = "worn" if number else ""
        fit_wear_part(tool=tool, kind="anvil", part_number=f"AN-{number}", reason=reason, by=crib, at=now())
        record_care(tool=tool, kind="repair", result="passed", note="spring", by=crib, at=now())
    client = signed_in(crib)
    client.get(f"/shop/tools/{tool.pk}/")
    with django_assert_num_queries(14):  # five of them note the look
        shown = client.get(f"/shop/tools/{tool.pk}/").context["page"].care
    assert len(shown.fitted) + len(shown.removed) == len(shown.cares) == parts
