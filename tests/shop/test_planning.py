"""What the plan says of a termination beyond wires, terminal and tool: press, dipped end, every target, concessions."""

from dataclasses import replace
from decimal import Decimal
from types import SimpleNamespace

import pytest
from django.urls import reverse

from shop.acts.sheets import plan_termination
from shop.clock import now
from shop.concessions import Concession
from shop.finding import Finding, Refused, Verdict
from shop.jobs import Termination
from shop.planning import TARGETS, conceded, press_offers, sheet_checks
from shop.sheet_content import sheet_content, termination_content
from shop.specifications import CrimpSpecification
from shop.wording import worded
from tests import factories
from tests.factories import days, today


def rules(refused):
    return {finding.rule for finding in refused.value.findings}


def plan(cast, catalogue, sheet=None, **changed):
    sheet = sheet or factories.draft(cast, catalogue, terminations=0)
    return plan_termination(sheet=sheet, stated=factories.stated(catalogue, **changed), by=cast.planner, at=now())


# --- Press -----------------------------------------------------------------------------------------------------------------------


def test_presses_that_take_the_tool_are_offered_and_the_others_say_why(cast, catalogue):
    takes = factories.set_up_press(catalogue)
    factories.make_press("PR-03", force_rating_n=Decimal(8000), shut_height_due_on=days(-1))
    factories.make_press("PR-04", state="retired")
    fitting, others = press_offers(catalogue.tool, catalogue.terminal, today())
    assert [offer.press for offer in fitting] == [takes]
    assert {offer.press.asset_number: [f.rule for f in offer.findings if f.blocks] for offer in others} == {
        "PR-03": ["fit.press.force", "fit.press.shut_height"]
    }


def test_press_that_takes_the_tool_is_planned_and_signed_for(cast, catalogue):
    press = factories.set_up_press(catalogue)
    planned = plan(cast, catalogue, press=press)
    assert planned.press == press
    assert termination_content(planned)["press"] == "PR-02"
    assert [check.blocking for check in sheet_checks(planned.sheet, today())] == [()]
    assert {f.rule for check in sheet_checks(planned.sheet, today()) for f in check.findings} >= {"fit.press.mount", "fit.press.force"}


def test_press_whose_verification_runs_out_breaks_the_sheet_on_that_day(cast, catalogue):
    planned = plan(cast, catalogue, press=factories.set_up_press(catalogue, shut_height_due_on=days(3)))
    assert [check.blocking for check in sheet_checks(planned.sheet, days(3))] == [()]
    (check,) = sheet_checks(planned.sheet, days(4))
    assert [finding.rule for finding in check.blocking] == ["fit.press.shut_height"]


@pytest.mark.parametrize(
    ("stated", "rule"),
    [
        ({"mount": "ML-40"}, "fit.press.mount"),
        ({"feed": "end feed"}, "fit.press.feed"),
        ({"force_rating_n": None}, "fit.press.force"),
        ({"shut_height_mm": Decimal("136")}, "fit.press.shut_height"),
    ],
)
def test_press_that_does_not_take_the_tool_is_refused(cast, catalogue, stated, rule):
    press = factories.set_up_press(catalogue, **stated)
    with pytest.raises(Refused) as refused:
        plan(cast, catalogue, press=press)
    assert rules(refused) == {rule}
    assert not Termination.objects.exists()


def test_press_without_a_tool_is_refused(cast, catalogue):
    with pytest.raises(Refused) as refused:
        plan(cast, catalogue, press=factories.set_up_press(catalogue), tool=None)
    assert rules(refused) == {"termination.press"}


def test_editor_offers_presses_for_the_tool_picked(signed_in, cast, catalogue):
    factories.set_up_press(catalogue)
    factories.make_press("PR-03", mount="ML-40")
    sheet = factories.draft(cast, catalogue, terminations=0)
    typed = {"wire_1": "W-075-RD", "terminal": "T-250-F", "tool": "AP-031", "press": "PR-02", "check": "1"}
    address = reverse("plan:new-termination", args=[sheet.pk])
    presses = signed_in(cast.planner).post(address, typed).context["page"].fit.presses
    assert [(offer.asset_number, offer.is_chosen) for offer in presses.offers] == [("PR-02", True)]
    assert [(other.asset_number, other.reasons) for other in presses.others] == [
        ("PR-03", ["Tool AP-031 (applicator) asks for mount ML-30; press PR-03 has mount ML-40."])
    ]


def test_editor_saves_press_minutes_and_cross_sections(signed_in, cast, catalogue):
    press = factories.set_up_press(catalogue)
    sheet = factories.draft(cast, catalogue, terminations=0)
    typed = {
        "lead": "L9", "end": "B", "quantity": "100", "wire_1": "W-075-RD", "terminal": "T-250-F", "tool": "AP-031", "press": "PR-02",
        "first_piece_heights": "5", "first_piece_pulls": "3", "cross_sections": "1", "sample_every": "250", "sample_every_minutes": "60",
        "sample_size": "1", "last_piece_pulls": "1",
    }  # fmt: skip
    assert signed_in(cast.planner).post(reverse("plan:new-termination", args=[sheet.pk]), typed).status_code == 302
    t = sheet.terminations.get()
    assert (t.press, t.sample_every_minutes, t.cross_sections, t.dipped_end) == (press, 60, 1, False)
    assert termination_content(t)["plan"]["sample_every_minutes"] == 60
    assert termination_content(t)["plan"]["cross_sections"] == 1


# --- Dipped end ------------------------------------------------------------------------------------------------------------------


def test_end_dipped_in_solder_is_refused_and_no_concession_helps(cast, catalogue):
    sheet = factories.draft(cast, catalogue, terminations=0)
    concede(cast, "fit.conductor.dipped", sheet=sheet)
    with pytest.raises(Refused) as refused:
        plan(cast, catalogue, sheet, dipped_end=True)
    assert rules(refused) == {"fit.conductor.dipped"}


# --- Targets and content ---------------------------------------------------------------------------------------------------------


def test_every_target_a_specification_and_a_termination_share_is_copied():
    judged = ("_mm", "_n", "_mohm", "_pct", "_source")
    shared = {f.name for f in CrimpSpecification._meta.fields} & {f.name for f in Termination._meta.fields}
    assert {name for name in shared if name.endswith(judged)} == set(TARGETS)


def test_further_targets_reach_the_termination_and_what_is_signed(cast, catalogue):
    CrimpSpecification.objects.update(
        bell_mouth_min_mm=Decimal("0.2"),
        bell_mouth_max_mm=Decimal("0.5"),
        cut_off_tab_max_mm=Decimal("0.25"),
        compaction_min_pct=Decimal(80),
        compaction_max_pct=Decimal(90),
        resistance_max_mohm=Decimal("1.5"),
        strip_length_nominal_mm=Decimal("4.1"),
    )
    targets = termination_content(plan(cast, catalogue))["targets"]
    assert targets["bell_mouth_mm"] == {"low": "0.20", "high": "0.50"}
    assert targets["cut_off_tab_max_mm"] == "0.25"
    assert targets["compaction_pct"] == {"low": "80", "high": "90"}
    assert targets["resistance_max_mohm"] == "1.50"
    assert targets["strip_length_mm"] == {"low": "3.80", "high": "4.40", "nominal": "4.10"}


def test_content_of_a_sheet_that_states_nothing_new_has_the_keys_it_was_signed_with(cast, catalogue):
    (t,) = sheet_content(plan(cast, catalogue).sheet)["terminations"]
    assert set(t) == {
        "position", "lead", "end", "circuit", "quantity", "wires", "csa_mm2", "wire_length_mm", "terminal", "tool", "specification",
        "targets", "plan",
    }  # fmt: skip
    assert set(t["targets"]) == {
        "crimp_height_mm", "crimp_width_mm", "insulation_height_mm", "strip_length_mm", "pull_force_min_n", "pull_force_source",
    }  # fmt: skip
    assert set(t["plan"]) == {
        "first_piece_heights", "first_piece_pulls", "sample_every", "sample_size", "last_piece_pulls", "inspector_signs",
    }  # fmt: skip


# --- Concessions -----------------------------------------------------------------------------------------------------------------


def concede(cast, rule, number="C-0001", **scope):
    given = {"expires_on": days(5), "reason": "tested on ten pieces", "granted_by": cast.quality, "granted_at": now()}
    return Concession.objects.create(number=number, rule=rule, **(given | scope))


BROKEN = Finding("fit.conductor.csa", Verdict.MISFIT, "wires", {"wires_mm2": Decimal("2.5"), "low_mm2": 1, "high_mm2": 2})


def test_conceded_finding_no_longer_blocks_and_names_the_concession():
    (finding,) = conceded([BROKEN], [SimpleNamespace(rule="fit.conductor.csa", number="C-7")])
    assert (finding.verdict, finding.blocks) == (Verdict.CONCEDED, False)
    assert finding.compared["concession"] == "C-7"
    assert finding.compared["wires_mm2"] == Decimal("2.5")


@pytest.mark.parametrize("verdict", [Verdict.MISFIT, Verdict.UNDECIDABLE])
def test_conceded_finding_says_what_it_would_have_said_and_who_let_it_through(verdict):
    broken = Finding("fit.rating.voltage", verdict, "wires", {"wire": "W-1", "wire_v": "?", "circuit_v": 600})
    (finding,) = conceded([broken], [SimpleNamespace(rule="fit.rating.voltage", number="C-7")])
    words = worded(finding)
    assert words.what == f"{worded(broken).what} Let through by concession C-7."
    assert (words.expected, words.next_step) == ("", "")


@pytest.mark.parametrize(
    ("finding", "rule"),
    [
        (BROKEN, "fit.conductor.count"),  # another rule
        (replace(BROKEN, verdict=Verdict.FITS), "fit.conductor.csa"),  # nothing to let through
        (Finding("use.gauge.calibration", Verdict.MISFIT, "gauge"), "use.gauge.calibration"),  # never
        (Finding("fit.conductor.dipped", Verdict.MISFIT, "wires"), "fit.conductor.dipped"),
        (Finding("use.person.qualification", Verdict.MISFIT, "person"), "use.person.qualification"),
    ],
)
def test_finding_stays_as_it_is_without_a_concession_that_may_let_it_through(finding, rule):
    assert conceded([finding], [SimpleNamespace(rule=rule, number="C-7")]) == [finding]


def test_live_concession_on_the_sheet_lets_its_rule_through_at_planning_and_at_release(cast, catalogue):
    sheet = factories.draft(cast, catalogue, terminations=0)
    concede(cast, "fit.insulation.od", sheet=sheet)
    concede(cast, "fit.tool.od", "C-0002", sheet=sheet)
    with pytest.raises(Refused):
        plan(cast, catalogue, wires=[catalogue.wire_thick])  # another sheet
    plan(cast, catalogue, sheet, wires=[catalogue.wire_thick])
    (check,) = sheet_checks(sheet, today())
    assert check.blocking == ()
    assert {f.rule: f.compared["concession"] for f in check.findings if f.verdict is Verdict.CONCEDED} == {
        "fit.insulation.od": "C-0001",
        "fit.tool.od": "C-0002",
    }


def test_concession_that_ran_out_lets_nothing_through(cast, catalogue):
    sheet = factories.draft(cast, catalogue, terminations=0)
    for number, rule in enumerate(("fit.insulation.od", "fit.tool.od")):
        concede(cast, rule, f"C-{number}", sheet=sheet, expires_on=days(2))
    plan(cast, catalogue, sheet, wires=[catalogue.wire_thick])
    (check,) = sheet_checks(sheet, days(3))
    assert {f.rule for f in check.blocking} == {"fit.insulation.od", "fit.tool.od"}


def test_concession_on_one_termination_does_not_reach_its_neighbour(cast, catalogue):
    sheet = factories.draft(cast, catalogue, terminations=2)
    first, second = sheet.terminations.all()
    catalogue.row.is_active = False
    catalogue.row.save()
    concede(cast, "fit.tool.terminal", termination=first)
    kept, broken = sheet_checks(sheet, today())
    assert (kept.blocking, [f.rule for f in broken.blocking]) == ((), ["fit.tool.terminal"])
    assert (kept.termination, broken.termination) == (first, second)


@pytest.mark.parametrize("terminations", [1, 4])
def test_sheet_is_checked_in_a_fixed_number_of_queries(cast, catalogue, terminations, django_assert_num_queries):
    sheet = factories.draft(cast, catalogue, terminations=terminations)
    with django_assert_num_queries(6):
        assert len(sheet_checks(sheet, today())) == terminations
