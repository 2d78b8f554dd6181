"""The inspection plan of a termination: what is measured how often, with which gauge, and what is looked at."""

import dataclasses
from decimal import Decimal

import pytest
from django.urls import reverse

from shop.acts.inspection_plans import InspectionInput, LineInput, plan_inspection
from shop.acts.sheets import revise_sheet, submit_sheet
from shop.characteristics import MEASURED, Characteristic
from shop.clock import now
from shop.finding import Refused
from shop.jobs import PlanLine, Termination
from shop.pages.changes import change_groups
from shop.plan_lines import plan_criteria, plan_lines
from shop.sheet_content import termination_content
from shop.wording import worded
from tests import factories


def usual(termination):
    """The usual plan as a planner would state it."""
    return [
        LineInput(line.characteristic, line.first, line.sample, line.last, line.gauge_kind, line.chart, line.every_nth)
        for line in plan_lines(termination)
    ]


def changed(lines, which, /, **fields):
    return [dataclasses.replace(line, **fields) if line.characteristic == which else line for line in lines]


def state(termination, by, lines, **more):
    return plan_inspection(termination=termination, stated=InspectionInput(lines, **more), by=by, at=now())


def refused(termination, by, lines, **more):
    with pytest.raises(Refused) as error:
        state(termination, by, lines, **more)
    assert all(worded(finding).sentence for finding in error.value.findings)
    return [finding.rule for finding in error.value.findings]


def line_of(termination, characteristic):
    return next(line for line in plan_lines(termination) if line.characteristic == characteristic)


@pytest.fixture
def termination(cast, catalogue):
    return factories.draft(cast, catalogue, first_piece_heights=5, first_piece_pulls=3, sample_size=1).terminations.get()


@pytest.mark.parametrize("characteristic", Characteristic.values)
def test_every_characteristic_finds_its_limits_in_the_termination(characteristic):
    fields = {field.name for field in Termination._meta.get_fields()}
    named = [MEASURED[characteristic].limit_field(which) for which in ("min", "nominal", "max")]
    assert {name for name in named if name} <= fields
    assert any(named)


def test_usual_plan_measures_what_has_limits(termination):
    counts = {line.characteristic: (line.first, line.sample, line.last) for line in plan_lines(termination)}
    assert counts == {
        "crimp height": (5, 1, 1),
        "crimp width": (1, 0, 0),
        "insulation crimp height": (1, 0, 0),
        "strip length": (1, 0, 0),
        "pull force": (3, 0, 1),
    }
    assert line_of(termination, "crimp height").chart == "individuals"


def test_usual_plan_stated_again_leaves_no_line_and_the_same_content(termination, cast):
    before = termination_content(termination)
    after = state(termination, cast.planner, usual(termination))
    assert not PlanLine.objects.exists()
    assert termination_content(after) == before


def test_counts_that_the_termination_states_itself_stay_there(termination, cast):
    lines = changed(usual(termination), "crimp height", first=7, sample=5, chart="mean and range")
    after = state(termination, cast.planner, changed(lines, "pull force", first=4, sample=1, last=2))
    assert (after.first_piece_heights, after.sample_size, after.first_piece_pulls, after.last_piece_pulls) == (7, 5, 4, 2)
    assert (line_of(after, "crimp height").first, line_of(after, "crimp height").chart) == (7, "mean and range")
    pull = line_of(after, "pull force")
    assert (pull.first, pull.sample, pull.last) == (4, 1, 2)


def test_line_is_printed_compared_and_copied_to_the_next_revision(cast, catalogue):
    sheet = factories.released(cast, catalogue)
    draft = revise_sheet(sheet=sheet, reason="wider watch", by=cast.planner, at=now())
    t = draft.terminations.get()
    state(t, cast.planner, changed(usual(t), "crimp width", sample=2, every_nth=4, gauge_kind="measuring microscope"))

    groups = change_groups(sheet, draft)
    whats = {line.what: (line.old, line.new) for group in groups for line in group.lines}
    new = whats["Inspection of crimp width"][1]
    assert new == "first piece 1, in process 2 (in every 4. sample), last piece 0; measuring microscope; chart: none"

    factories.release(submit_sheet(sheet=draft, by=cast.planner, at=now()), cast.approver)
    next_one = revise_sheet(sheet=draft.__class__.objects.get(pk=draft.pk), reason="again", by=cast.planner, at=now())
    width = line_of(next_one.terminations.get(), "crimp width")
    assert (width.sample, width.every_nth, width.gauge_kind) == (2, 4, "measuring microscope")
    assert line_of(draft.terminations.get(), "crimp width").sample == 2  # the old revision kept its own


def test_criteria_are_left_out_and_added(termination, cast):
    codes = [c.code for c in plan_criteria(termination)]
    after = state(termination, cast.planner, usual(termination), left_out=[codes[1]], added=["Seal sits behind the tabs"])
    assert [c.code for c in plan_criteria(after)] == [codes[0], *codes[2:], "own.Seal sits behind the tabs"]
    content = termination_content(after)["plan"]
    assert (content["criteria_added"], len(content["criteria_left_out"])) == (["Seal sits behind the tabs"], 1)


@pytest.mark.parametrize(
    ("characteristic", "fields", "rule"),
    [
        ("crimp height", {"first": 0}, "plan.pieces"),
        ("crimp height", {"sample": 0}, "plan.pieces"),
        ("pull force", {"first": 0}, "plan.pieces"),
        ("crimp width", {"first": 1001}, "plan.pieces"),
        ("crimp width", {"every_nth": 0}, "plan.every_nth"),
        ("crimp height", {"gauge_kind": "caliper"}, "plan.gauge"),
        ("pull force", {"gauge_kind": "caliper"}, "plan.gauge"),
        ("crimp width", {"chart": "mean and s", "sample": 1}, "plan.chart"),
        ("crimp width", {"chart": "tea leaves"}, "plan.chart.unknown"),
        ("crimp width", {"characteristic": "resistance"}, "plan.characteristic"),
    ],
)
def test_plan_that_cannot_be_carried_out_is_refused(termination, cast, characteristic, fields, rule):
    lines = changed(usual(termination), characteristic, **fields)
    assert rule in refused(termination, cast.planner, lines)
    assert not PlanLine.objects.exists()


def test_plan_without_a_characteristic_that_has_limits_is_refused(termination, cast):
    lines = [line for line in usual(termination) if line.characteristic != "strip length"]
    assert refused(termination, cast.planner, lines) == ["plan.characteristic.missing"]


@pytest.mark.parametrize("added", [["", "x"], ["twice", "twice"], ["y" * 71]])
def test_own_criteria_are_short_and_said_once(termination, cast, added):
    assert refused(termination, cast.planner, usual(termination), added=added) == ["plan.criterion.own"]


def test_looking_at_nothing_is_refused(termination, cast):
    codes = [c.code for c in plan_criteria(termination)]
    assert refused(termination, cast.planner, usual(termination), left_out=codes) == ["plan.criteria.none"]
    assert refused(termination, cast.planner, usual(termination), left_out=["visual.nothing"]) == ["plan.criterion"]


def test_plan_of_a_released_sheet_is_not_changed(cast, catalogue):
    t = factories.released(cast, catalogue).terminations.get()
    assert refused(t, cast.planner, usual(t)) == ["sheet.status"]
    assert refused(t, cast.operator, usual(t)) == ["person.role"]


# --- The page --------------------------------------------------------------------------------------------------------------------


def typed(page):
    return {cell.html_name: cell.value() for row in page.rows for cell in row.row.cells} | {
        "criteria": page.criteria.value(),
        "added": "",
    }


def test_planner_states_the_plan_on_the_page(termination, signed_in, cast):
    client, address = signed_in(cast.planner), reverse("plan:inspection-plan", args=[termination.sheet_id, termination.pk])
    page = client.get(address).context["page"]
    assert page.rows[0].limits == "1.35 to 1.45 mm"
    given = typed(page) | {"sample-crimp-width": "1", "every_nth-crimp-width": "2", "added": "Seal sits\n\n Marking legible "}
    assert client.post(address, given)["Location"] == reverse("plan:sheet", args=[termination.sheet_id])
    after = Termination.objects.get()
    assert (line_of(after, "crimp width").sample, line_of(after, "crimp width").every_nth) == (1, 2)
    assert after.criteria_added == ["Seal sits", "Marking legible"]


def test_page_shows_a_refusal_at_its_cell_and_keeps_what_was_typed(termination, signed_in, cast):
    client, address = signed_in(cast.planner), reverse("plan:inspection-plan", args=[termination.sheet_id, termination.pk])
    given = typed(client.get(address).context["page"]) | {"first-crimp-height": "0", "sample-crimp-width": "9"}
    answer = client.post(address, given)
    assert answer.status_code == 422
    form = answer.context["page"].form
    assert list(form.errors) == ["first-crimp-height"]
    assert form["sample-crimp-width"].value() == "9"


def test_limits_of_every_quantity_are_shown_with_their_unit(catalogue, cast, signed_in):
    spec = catalogue.specification
    spec.resistance_max_mohm, spec.compaction_min_pct, spec.compaction_max_pct = Decimal("0.85"), Decimal(80), Decimal(90)
    spec.cut_off_tab_max_mm = Decimal("0.3")
    spec.save()
    t = factories.draft(cast, catalogue).terminations.get()
    page = signed_in(cast.planner).get(reverse("plan:inspection-plan", args=[t.sheet_id, t.pk])).context["page"]
    shown = {row.row.characteristic: row.limits for row in page.rows}
    assert shown["resistance"] == "at most 0.85 mΩ"
    assert shown["compaction"] == "80 to 90 %"
    assert shown["cut-off tab"] == "at most 0.30 mm"
    assert shown["pull force"].startswith("at least 85")
