"""What recurs: findings by tool, terminal, wire, press, sheet, job and, for quality alone, by person."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.urls import reverse

from inspection.acts.samples import conclude_sample, start_sample
from inspection.defect_kinds import is_kind, kind_choices, kind_words
from inspection.defects import asked
from inspection.models import Batch, Nonconformance
from inspection.occurrences import By, recurring
from records.demo.walk import measure
from shop.clock import now, shop_day
from tests import factories
from tests.inspection.test_nonconformances import HEIGHT, closed, opened

PAGE = reverse("studies:recurring")


@pytest.fixture
def found(running, hand):
    """A batch of which an in-process sample found one height too high."""
    sample = start_sample(batch=running, kind="in process", at_count=50, by=hand.person, at=now())
    measure(sample, hand, now, heights=["1.47"])
    conclude_sample(sample=sample, by=hand.person, at=now())
    return Batch.objects.get()


def lines(by, **query):
    return [(line.of.kind, line.number, line.of.count, line.pieces) for line in recurring(asked(query, shop_day(now())), by)]


@pytest.mark.parametrize(
    ("by", "number"),
    [(By.TOOL, "AP-031"), (By.TERMINAL, "T-250-F"), (By.WIRE, "W-075-RD"), (By.SHEET, None), (By.JOB, None), (By.PERSON, "operator")],
)
def test_finding_of_a_sample_is_counted_by_everything_it_has_to_do_with(found, by, number):
    sheet = found.termination.sheet
    expected = number or (str(sheet) if by is By.SHEET else str(sheet.job))

    assert lines(by) == [(HEIGHT, expected, 1, found.last_count)]


def test_press_is_counted_where_the_batch_was_set_up_on_one(found):
    assert lines(By.PRESS) == []
    press = factories.make_press("PR-03")
    found.scans.create(setup_number=1, part="tool", code="PR-03", accepted=True, findings=[], by=found.opened_by, at=now(), press=press)

    assert lines(By.PRESS) == [(HEIGHT, "PR-03", 1, found.last_count)]


def test_record_without_a_sample_counts_and_one_from_a_hold_is_not_counted_twice(found, cast, catalogue):
    opened(cast.quality, tool=catalogue.tool)
    opened(cast.quality, tool=catalogue.tool, origin="hold")

    assert lines(By.TOOL) == [(HEIGHT, "AP-031", 2, found.last_count)]
    assert lines(By.TOOL, tool="AP-040") == []
    assert lines(By.TOOL, job="J-0") == []


def test_defect_recurs_from_the_shops_own_number_on(found, cast, catalogue, settings, signed_in):
    settings.RECURRING_FINDINGS = 2
    page = signed_in(cast.quality).get(PAGE).context["page"]
    assert [(row.recurs, row.per_thousand) for row in page.rows] == [(False, "20")]
    opened(cast.quality, tool=catalogue.tool)

    page = signed_in(cast.quality).get(PAGE).context["page"]
    assert [(row.recurs, row.count, len(row.records), row.open_url) for row in page.rows] == [(True, 2, 1, "")]


def test_closed_record_is_offered_to_be_reopened_once_something_is_found_after_it(found, cast, catalogue, signed_in):
    record = opened(cast.quality, tool=catalogue.tool, origin="hold")
    closed(record, cast.quality, without_action_because="single")
    assert signed_in(cast.quality).get(PAGE).context["page"].rows[0].reopen_url == ""

    Nonconformance.objects.update(closed_at=now() - timedelta(days=1))
    row = signed_in(cast.quality).get(PAGE).context["page"].rows[0]
    assert row.reopen_url == reverse("prove:nonconformance-step", args=[record.number, "reopen"])
    assert signed_in(cast.planner).get(PAGE).context["page"].rows[0].reopen_url == ""
    later = opened(cast.quality, tool=catalogue.tool)
    row = signed_in(cast.quality).get(PAGE).context["page"].rows[0]
    assert (row.reopen_url, row.open_url, row.records[0].number) == ("", "", later.number)  # somebody works on it


def test_by_person_is_for_quality_and_the_administrator(found, cast, signed_in):
    for reader in (cast.planner, cast.inspector, cast.operator, cast.auditor):
        client = signed_in(reader)
        assert client.get(PAGE, {"by": "person"}).status_code == 403
        assert "person" not in [value for value, _word in client.get(PAGE).context["page"].choices]
    for reader in (cast.quality, cast.administrator):
        page = signed_in(reader).get(PAGE, {"by": "person"})
        assert [row.name for row in page.context["page"].rows] == [cast.operator.name]
        assert "planning training, not for judging people" in page.content.decode()


def test_nothing_found_says_so(cast, signed_in):
    assert "Nothing was rejected in this time." in signed_in(cast.auditor).get(PAGE, {"by": "moon"}).content.decode()


@pytest.mark.parametrize("count", [1, 5])
def test_list_asks_seven_questions_however_much_was_found(found, cast, catalogue, django_assert_num_queries, count):
    for kind in [HEIGHT, "visual.seam", "visual.brush", "pull.pulled out", "other.paper"][:count]:
        opened(cast.quality, tool=catalogue.tool, defect_kind=kind)
    ask = asked({}, shop_day(now()))

    with django_assert_num_queries(7):
        assert len(recurring(ask, By.TOOL)) == count


def test_every_kind_that_is_offered_is_one_and_has_words_of_its_own():
    kinds = [(kind, word) for _group, listed in kind_choices() for kind, word in listed]

    assert all(is_kind(kind) and word == kind_words(kind) and word != kind for kind, word in kinds)
    assert len({word for _kind, word in kinds}) == len(kinds)
    assert [is_kind(kind) for kind in ("", "limits.pull force", "limits.colour", "pull.off", "visual.moon", "own.", "own.no gap")] == [
        False,
        False,
        False,
        False,
        False,
        False,
        True,
    ]
