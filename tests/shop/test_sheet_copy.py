import json

import pytest

from records.models import LedgerEntry
from shop.acts.sheets import arrange_sheet, comment_on_sheet, copy_sheet, plan_termination, submit_sheet
from shop.clock import now
from shop.finding import Refused
from shop.jobs import ReviewComment, SetupSheet
from shop.planning import blocking_of, sheet_checks
from tests import factories


def refused(act, **named):
    with pytest.raises(Refused) as caught:
        act(at=now(), **named)
    return [finding.rule for finding in caught.value.findings]


# --- Copy -------------------------------------------------------------------------------------------------------------------------


def test_copy_has_the_same_terminations_with_the_pieces_of_the_other_job(cast, catalogue):
    sheet = factories.released(cast, catalogue, terminations=2, sample_every=60, inspector_signs=True)
    job = factories.make_job(catalogue.customer, cast.planner, quantity=25)
    draft = copy_sheet(sheet=sheet, job=job, by=cast.approver, at=now())
    assert (draft.job, draft.status, draft.revision, draft.author) == (job, "draft", 1, cast.approver)
    assert [(t.lead, t.quantity, t.tool, t.setting, t.sample_every, t.inspector_signs) for t in draft.terminations.all()] == [
        ("L1", 25, catalogue.tool, "C3 I2", 60, True),
        ("L2", 25, catalogue.tool, "C3 I2", 60, True),
    ]
    assert [t.ordered_wires() for t in draft.terminations.all()] == [[catalogue.wire]] * 2
    assert [t.quantity for t in sheet.terminations.all()] == [100, 100]
    submit_sheet(sheet=draft, by=cast.approver, at=now())


@pytest.mark.parametrize(("pieces", "harnesses", "expected"), [(100, 33, 33), (250, 33, 83), (1, 10, 1)])
def test_copy_rounds_pieces_up(cast, catalogue, pieces, harnesses, expected):
    sheet = factories.draft(cast, catalogue, quantity=pieces)  # of a job with 100 harnesses
    job = factories.make_job(catalogue.customer, cast.planner, quantity=harnesses)
    assert copy_sheet(sheet=sheet, job=job, by=cast.planner, at=now()).terminations.get().quantity == expected


def test_copy_takes_the_targets_in_force_now(cast, catalogue):
    sheet = factories.released(cast, catalogue)
    catalogue.specification.withdrawn_on = factories.today()
    catalogue.specification.save()
    newer = factories.make_specification(
        "CS-250", catalogue.terminal, catalogue.document, ("0.5", "1.5"), revision="2", crimp_height_nominal_mm="1.38"
    )
    draft = copy_sheet(sheet=sheet, job=factories.make_job(catalogue.customer, cast.planner), by=cast.planner, at=now())
    copied = draft.terminations.get()
    assert (copied.specification, str(copied.crimp_height_nominal_mm)) == (newer, "1.3800")


def test_copy_brings_along_what_no_longer_fits_and_the_sheet_says_so(signed_in, cast, catalogue):
    sheet = factories.released(cast, catalogue)
    catalogue.row.is_active = False
    catalogue.row.save()
    draft = copy_sheet(sheet=sheet, job=factories.make_job(catalogue.customer, cast.planner), by=cast.planner, at=now())
    assert {f.rule for f in blocking_of(sheet_checks(draft, factories.today()))} == {"fit.tool.terminal"}
    assert [row.lead for row in signed_in(cast.planner).get(f"/plan/sheets/{draft.pk}/").context["page"].broken] == ["L1"]
    assert refused(submit_sheet, sheet=draft, by=cast.planner) == ["fit.tool.terminal"]


def test_copy_records_where_it_came_from(cast, catalogue):
    sheet = factories.released(cast, catalogue)
    copy_sheet(sheet=sheet, job=factories.make_job(catalogue.customer, cast.planner), by=cast.planner, at=now())
    content = json.loads(LedgerEntry.objects.get(kind="sheet.terminations_planned").text)["content"]
    assert content["source"] == {"sheet": str(sheet)}
    assert [t["lead"] for t in content["terminations"]] == ["L1"]


def test_copy_is_refused_by_a_role_that_may_not_and_of_an_empty_sheet(cast, catalogue):
    sheet = factories.released(cast, catalogue)
    job = factories.make_job(catalogue.customer, cast.planner)
    assert refused(copy_sheet, sheet=sheet, job=job, by=cast.quality) == ["person.role"]
    empty = factories.draft(cast, catalogue, terminations=0)
    assert refused(copy_sheet, sheet=empty, job=job, by=cast.planner) == ["sheet.empty"]
    assert not SetupSheet.objects.filter(job=job).exists()


@pytest.mark.parametrize("terminations", [2, 12])
def test_copy_queries(cast, catalogue, django_assert_max_num_queries, terminations):
    sheet = factories.draft(cast, catalogue, terminations=terminations)
    job = factories.make_job(catalogue.customer, cast.planner)
    with django_assert_max_num_queries(43):  # one keeps the new sheet in the search; PostgreSQL needs fewer
        copy_sheet(sheet=sheet, job=job, by=cast.planner, at=now())


# --- Arrange ----------------------------------------------------------------------------------------------------------------------


@pytest.fixture
def mixed(cast, catalogue):
    """L1 and L3 share a set-up; L2 needs the ring's hand tool."""
    factories.make_specification("CS-M5", catalogue.ring, catalogue.document, ("1.0", "2.5"))
    sheet = factories.draft(cast, catalogue, terminations=1)
    ring = {"terminal": catalogue.ring, "wires": [catalogue.wire_large], "tool": catalogue.tool_ring}
    for lead, changed in (("L2", ring), ("L3", {})):
        plan_termination(sheet=sheet, stated=factories.stated(catalogue, lead=lead, **changed), by=cast.planner, at=now())
    return sheet


def test_arrange_puts_leads_with_one_set_up_together(cast, mixed):
    arrange_sheet(sheet=mixed, by=cast.planner, at=now())
    assert [(t.position, t.lead) for t in mixed.terminations.all()] == [(1, "L1"), (2, "L3"), (3, "L2")]
    content = json.loads(LedgerEntry.objects.get(kind="sheet.arranged").text)["content"]
    assert content == {"order": ["L1 A", "L3 A", "L2 A"]}
    arrange_sheet(sheet=mixed, by=cast.planner, at=now())
    assert LedgerEntry.objects.filter(kind="sheet.arranged").count() == 1


def test_arrange_is_for_drafts_and_planners(cast, catalogue, mixed):
    assert refused(arrange_sheet, sheet=mixed, by=cast.inspector) == ["person.role"]
    assert refused(arrange_sheet, sheet=factories.in_review(cast, catalogue), by=cast.planner) == ["sheet.status"]
    assert [t.lead for t in mixed.terminations.all()] == ["L1", "L2", "L3"]


# --- Comment ----------------------------------------------------------------------------------------------------------------------


def test_comment_leaves_the_sheet_in_review(cast, catalogue):
    sheet = factories.in_review(cast, catalogue)
    comment_on_sheet(sheet=sheet, text=" Is lead 4 twisted? ", by=cast.approver, at=now())
    comment_on_sheet(sheet=sheet, text="Yes, with lead 5.", by=cast.planner, at=now())
    assert [(c.by, c.text) for c in sheet.comments.all()] == [(cast.approver, "Is lead 4 twisted?"), (cast.planner, "Yes, with lead 5.")]
    assert SetupSheet.objects.get(pk=sheet.pk).status == "in review"
    assert LedgerEntry.objects.filter(kind="sheet.commented").count() == 2


def test_comment_that_says_nothing_or_too_much_or_comes_too_late(cast, catalogue):
    sheet = factories.in_review(cast, catalogue)
    assert refused(comment_on_sheet, sheet=sheet, text="  ", by=cast.approver) == ["sheet.comment"]
    assert refused(comment_on_sheet, sheet=sheet, text="x" * 501, by=cast.approver) == ["data.invalid"]
    assert refused(comment_on_sheet, sheet=sheet, text="x", by=cast.operator) == ["person.role"]
    factories.release(sheet, cast.approver)
    assert refused(comment_on_sheet, sheet=sheet, text="x", by=cast.approver) == ["sheet.status"]
    assert not ReviewComment.objects.exists()
