import pytest
from django.urls import reverse

from shop.jobs import Job, SetupSheet, Termination
from shop.sign_on import FREE_TRIES
from tests import factories
from tests.factories import PIN

TYPED = {
    "lead": "L9",
    "end": "B",
    "quantity": "100",
    "wire_1": "W-075-RD",
    "terminal": "T-250-F",
    "tool": "AP-031",
    "first_piece_heights": "5",
    "first_piece_pulls": "3",
    "sample_every": "250",
    "sample_size": "1",
    "last_piece_pulls": "1",
}


def at(name, *args):
    return reverse(f"plan:{name}", args=args)


def rules(answer):
    return [finding.rule for finding in answer.context["refusal"].findings]


# --- Lists and jobs --------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("sheets", [1, 3])
def test_jobs_list_queries(signed_in, cast, catalogue, django_assert_num_queries, sheets):
    numbers = {factories.draft(cast, catalogue).job.number for _ in range(sheets)}
    client = signed_in(cast.planner)
    with django_assert_num_queries(11):
        page = client.get(at("jobs")).context["page"]
    assert {line.job.number for line in page.lines} == numbers


@pytest.mark.parametrize("sheets", [1, 3])
def test_sheets_list_queries(signed_in, cast, catalogue, django_assert_num_queries, sheets):
    made = {factories.draft(cast, catalogue).pk for _ in range(sheets)}
    client = signed_in(cast.planner)
    with django_assert_num_queries(10):
        page = client.get(at("sheets")).context["page"]
    assert {sheet.pk for _line, sheet in page.lines} == made


def test_lists_are_filtered_by_the_address(signed_in, cast, catalogue):
    draft, review = factories.draft(cast, catalogue), factories.in_review(cast, catalogue)
    bare = factories.make_job(catalogue.customer, cast.planner)
    client = signed_in(cast.approver)

    def jobs(query):
        return {line.job.number for line in client.get(at("jobs") + query).context["page"].lines}

    def sheets(query):
        return {sheet.pk for _line, sheet in client.get(at("sheets") + query).context["page"].lines}

    assert jobs("?sheet=none") == {bare.number}
    assert jobs("?sheet=in+review") == {review.job.number}
    assert jobs(f"?q={draft.job.number}") == {draft.job.number}
    assert jobs("?q=nowhere") == set()
    assert sheets("?state=in+review") == {review.pk}
    assert sheets("?by=planner") == {draft.pk, review.pk}
    assert sheets("?by=approver") == set()


def test_open_a_job_and_draft_its_sheet(signed_in, cast, catalogue):
    client = signed_in(cast.planner)
    typed = {
        "number": "J-77", "customer": "BRUNNEN", "part_number": "H-1", "part_name": "Harness", "drawing": "D-1", "drawing_revision": "A",
        "quantity": "20", "due_on": str(factories.days(20)),
    }  # fmt: skip
    assert client.post(at("new-job"), typed | {"customer": "NOBODY"}).status_code == 422
    assert client.post(at("new-job"), typed).status_code == 302
    job = Job.objects.get(number="J-77")
    assert client.get(at("job", job.pk)).context["page"].may_draft
    client.post(at("new-sheet", job.pk))
    assert [str(sheet) for sheet in job.sheets.all()] == ["J-77-S1 rev 1"]
    again = client.post(at("new-job"), typed)
    assert (again.status_code, list(again.context["page"].form.errors)) == (422, ["number"])


def test_plan_is_read_by_all_and_changed_by_planners(signed_in, cast, catalogue):
    sheet = factories.draft(cast, catalogue)
    client = signed_in(cast.auditor)
    page = client.get(at("sheet", sheet.pk)).context["page"]
    assert (page.may_edit, page.may_submit, page.may_review, page.rows[0].edit_url) == (False, False, False, "")
    for path in (at("new-job"), at("new-termination", sheet.pk)):
        assert client.get(path).status_code == 403
    assert client.post(at("submit", sheet.pk)).status_code == 422
    assert SetupSheet.objects.get(pk=sheet.pk).status == "draft"


# --- Termination editor ----------------------------------------------------------------------------------------------------------


def test_check_fit_offers_the_tools_that_fit_and_gives_the_reason_of_the_others(signed_in, cast, catalogue):
    sheet = factories.draft(cast, catalogue, terminations=0)
    answer = signed_in(cast.planner).post(at("new-termination", sheet.pk), {"wire_1": "W-075-RD", "terminal": "T-250-F", "check": "1"})
    fit = answer.context["page"].fit
    assert answer.status_code == 200
    assert [(offer.asset_number, offer.setting, offer.is_chosen) for offer in fit.offers] == [("AP-031", "C3 I2", True)]
    assert {other.asset_number: other.reasons for other in fit.others} == {
        "AP-040": ["Conductor 0.754 mm² lies outside the row 1.2 to 1.5 mm² of tool AP-040."],
        "HT-007": ["Terminal T-250-F is not on the approved list of tool HT-007."],
    }
    height = fit.targets[0]
    assert (height.label, height.value, height.limits) == ("Crimp height", "1.40 mm", "1.35 to 1.45 mm")
    assert fit.targets[-1].source == "AS-250 rev B, table 2"
    assert not answer.context["page"].form.errors  # half-filled is no mistake yet
    assert not Termination.objects.exists()


def test_check_fit_shows_the_numbers_of_a_misfit(signed_in, cast, catalogue):
    sheet = factories.draft(cast, catalogue, terminations=0)
    typed = {"wire_1": "W-250-BK", "terminal": "T-250-F", "check": "1"}
    answer = signed_in(cast.planner).post(at("new-termination", sheet.pk), typed, headers={"HX-Request": "true"})
    fit = answer.context["page"].fit
    assert (fit.outcome, fit.offers, fit.targets) == ("misfit", [], [])
    assert fit.findings[0].what == "Conductor 2.4544 mm² (W-250-BK) lies outside the range 0.5 to 1.5 mm² of terminal T-250-F."
    assert "<html" not in answer.content.decode()


def test_check_fit_of_a_number_that_does_not_exist(signed_in, cast, catalogue):
    sheet = factories.draft(cast, catalogue, terminations=0)
    answer = signed_in(cast.planner).post(at("new-termination", sheet.pk), {"wire_1": "W-404", "terminal": "T-250-F", "check": "1"})
    assert (answer.status_code, list(answer.context["page"].form.errors)) == (422, ["wire_1"])


def test_save_termination(signed_in, cast, catalogue):
    sheet = factories.draft(cast, catalogue, terminations=0)
    assert signed_in(cast.planner).post(at("new-termination", sheet.pk), TYPED | {"inspector_signs": "on"}).status_code == 302
    t = sheet.terminations.get()
    assert (t.lead, t.tool, t.setting, t.inspector_signs) == ("L9", catalogue.tool, "C3 I2", True)


@pytest.mark.parametrize(
    ("changed", "rule", "field"),
    [
        ({"wire_1": "W-250-BK", "tool": ""}, "fit.conductor.csa", "wire_1"),
        ({"wire_1": "W-035-BU", "tool": ""}, "fit.conductor.csa", "wire_1"),
        ({"wire_1": "W-075-GN", "tool": ""}, "fit.insulation.od", "wire_1"),
        ({"tool": "HT-007"}, "fit.tool.terminal", "tool"),
        ({"tool": "AP-040"}, "fit.tool.csa", "tool"),
        ({"first_piece_heights": "0"}, "termination.plan", "first_piece_heights"),
    ],
)
def test_save_termination_refused_stands_at_its_field(signed_in, cast, catalogue, changed, rule, field):
    sheet = factories.draft(cast, catalogue, terminations=0)
    answer = signed_in(cast.planner).post(at("new-termination", sheet.pk), TYPED | changed)
    assert answer.status_code == 422
    assert rule in rules(answer)
    assert field in answer.context["page"].form.errors
    assert answer.context["page"].form["lead"].value() == "L9"
    assert not Termination.objects.exists()


def test_termination_is_edited_and_removed(signed_in, cast, catalogue):
    sheet = factories.draft(cast, catalogue)
    t, client = sheet.terminations.get(), signed_in(cast.planner)
    page = client.get(at("termination", sheet.pk, t.pk)).context["page"]
    assert (page.form["wire_1"].value(), [o.asset_number for o in page.fit.offers if o.is_chosen]) == ("W-075-RD", ["AP-031"])
    client.post(at("termination", sheet.pk, t.pk), TYPED | {"quantity": "40"})
    assert sheet.terminations.get().quantity == 40
    client.post(page.remove_url)
    assert not sheet.terminations.exists()


def test_termination_of_another_sheet_is_not_found(signed_in, cast, catalogue):
    mine, other = factories.draft(cast, catalogue), factories.draft(cast, catalogue)
    assert signed_in(cast.planner).get(at("termination", mine.pk, other.terminations.get().pk)).status_code == 404


# --- The sheet -------------------------------------------------------------------------------------------------------------------


def test_sheet_shows_the_six_parts_and_what_breaks(signed_in, cast, catalogue):
    sheet = factories.draft(cast, catalogue, terminations=2)
    client = signed_in(cast.planner)
    page = client.get(at("sheet", sheet.pk)).context["page"]
    assert [part.code for part in page.parts] == ["people", "wire", "terminal", "tool", "documents", "inspection"]
    assert [part.state for part in page.parts] == ["open", "proven", "proven", "proven", "proven", "open"]
    assert (page.rows[0].height, page.rows[0].height_limits, page.rows[0].force) == ("1.40 mm", "1.35 to 1.45 mm", "85.0 N")
    catalogue.document.withdrawn_on = factories.today()
    catalogue.document.save()
    page = client.get(at("sheet", sheet.pk)).context["page"]
    assert [part.state for part in page.parts] == ["open", "proven", "proven", "proven", "failed", "open"]
    assert [finding.rule for row in page.broken for finding in row.blocking] == ["fit.spec.document_withdrawn"] * 2


def test_submit_refused_says_why_on_the_sheet(signed_in, cast, catalogue):
    sheet = factories.draft(cast, catalogue, tool=None)
    answer = signed_in(cast.planner).post(at("submit", sheet.pk))
    assert (answer.status_code, rules(answer)) == (422, ["termination.tool"])


def test_review_by_a_second_person_to_release(signed_in, cast, catalogue):
    sheet = factories.draft(cast, catalogue)
    client = signed_in(cast.planner)
    assert client.post(at("submit", sheet.pk)).status_code == 302
    assert client.get(at("sheet", sheet.pk)).context["page"].waits_for_another
    assert not client.get(at("release", sheet.pk)).context["page"].can_release

    client = signed_in(cast.approver)
    page = client.get(at("release", sheet.pk)).context["page"]
    assert page.sha256 in client.get(at("release", sheet.pk)).content.decode()
    answer = client.post(at("release", sheet.pk), {"secret": PIN, "seen_sha256": page.sha256})
    assert (answer.status_code, answer["Location"]) == (302, at("sheet", sheet.pk))
    assert SetupSheet.objects.get(pk=sheet.pk).released_by == cast.approver


def test_release_page_shows_every_figure_the_signature_covers(signed_in, cast, catalogue):
    sheet = factories.in_review(cast, catalogue, inspector_signs=True)
    text = signed_in(cast.approver).get(at("release", sheet.pk)).content.decode()

    def leaves(value):
        if isinstance(value, dict):
            for inner in value.values():
                yield from leaves(inner)
        elif isinstance(value, list):
            for inner in value:
                yield from leaves(inner)
        elif value not in ("", None, True, False):
            yield str(value)

    page = signed_in(cast.approver).get(at("release", sheet.pk)).context["page"]
    assert [leaf for leaf in leaves(page.content) if leaf not in text] == []


def test_release_with_a_wrong_secret_is_counted_and_changes_nothing(signed_in, cast, catalogue):
    sheet = factories.in_review(cast, catalogue)
    client = signed_in(cast.approver)
    seen = client.get(at("release", sheet.pk)).context["page"].sha256
    for _ in range(FREE_TRIES):
        answer = client.post(at("release", sheet.pk), {"secret": "000111", "seen_sha256": seen})
        assert (answer.status_code, list(answer.context["page"].form.errors)) == (422, ["secret"])
    assert rules(answer) == ["sign.locked"]
    assert rules(client.post(at("release", sheet.pk), {"secret": PIN, "seen_sha256": seen})) == ["sign.locked"]
    assert SetupSheet.objects.get(pk=sheet.pk).status == "in review"


def test_release_of_a_sheet_changed_meanwhile(signed_in, cast, catalogue):
    sheet = factories.in_review(cast, catalogue)
    client = signed_in(cast.approver)
    seen = client.get(at("release", sheet.pk)).context["page"].sha256
    sheet.terminations.update(quantity=7)
    answer = client.post(at("release", sheet.pk), {"secret": PIN, "seen_sha256": seen})
    assert (answer.status_code, rules(answer)) == (422, ["sign.stale"])
    assert answer.context["page"].sha256 != seen  # what it shows now


def test_secret_is_never_sent_back(signed_in, cast, catalogue):
    sheet = factories.in_review(cast, catalogue)
    answer = signed_in(cast.approver).post(at("release", sheet.pk), {"secret": "my-secret-words", "seen_sha256": ""})
    assert "my-secret-words" not in answer.content.decode()


def test_return_revise_and_withdraw_on_their_pages(signed_in, cast, catalogue):
    client = signed_in(cast.approver)
    review = factories.in_review(cast, catalogue)
    assert client.post(at("ask", review.pk, "return"), {"comment": ""}).status_code == 422
    client.post(at("ask", review.pk, "return"), {"comment": "Lead 4 is missing."})
    page = client.get(at("sheet", review.pk)).context["page"]
    assert (page.sheet.status, [comment.text for comment in page.comments]) == ("draft", ["Lead 4 is missing."])

    sheet = factories.released(cast, catalogue)
    answer = client.post(at("ask", sheet.pk, "revise"), {"reason": "Drawing D"})
    second = SetupSheet.objects.get(number=sheet.number, revision=2)
    assert answer["Location"] == at("sheet", second.pk)
    assert [line.label for line in client.get(at("sheet", second.pk)).context["page"].revisions] == [str(sheet)]

    refused = client.post(at("ask", sheet.pk, "withdraw"), {"reason": "", "secret": PIN})
    assert (refused.status_code, list(refused.context["page"].form.errors)) == (422, ["reason"])
    client.post(at("ask", sheet.pk, "withdraw"), {"reason": "wrong terminal", "secret": PIN})
    assert SetupSheet.objects.get(pk=sheet.pk).status == "withdrawn"
