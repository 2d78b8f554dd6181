"""Nonconformances at the desk: opened from where something was found, worked through step by step, found again, issued as a report."""

from __future__ import annotations

from datetime import timedelta

import pytest
import time_machine
from django.urls import reverse

from inspection.acts.nonconformances import (
    Link,
    OpenInput,
    open_nonconformance,
)
from inspection.acts.samples import conclude_sample, start_sample
from inspection.models import Batch, Nonconformance
from records.acts.containment import CLOSED_MEANING as CASE_CLOSED
from records.acts.containment import close_case
from records.acts.documents import document_bytes
from records.acts.reports import issue_nonconformance_report
from records.demo.walk import measure
from records.gather.certificate import certificate_content
from records.gather.first_article import characteristics_of, first_article_record
from records.gather.nonconformance import load_nonconformance, nonconformance_record
from records.models import Containment, IssuedDocument, Shipment
from records.pdf import attached_json
from shop.canonical import canonical_json
from shop.clock import now
from shop.sign_on import sign
from tests import factories
from tests.factories import PIN
from tests.inspection.conftest import codes, hand, inspector, proven, quality, running, termination  # noqa: F401  # fixtures
from tests.inspection.test_nonconformances import HEIGHT, closed, done, opened, proven_in_words, rules_of, with_action, with_cause
from tests.records.test_prove_pages import text_of

LIST = reverse("prove:nonconformances")
NEW = reverse("prove:nonconformance-new")


def at_step(record, step):
    return reverse("prove:nonconformance-step", args=[record.number, step])


def page_of(client, record):
    return client.get(reverse("prove:nonconformance", args=[record.number]))


@pytest.fixture
def held(running, hand):  # noqa: F811
    """A batch on hold: its in-process sample found one height too high."""
    sample = start_sample(batch=running, kind="in process", at_count=50, by=hand.person, at=now())
    measure(sample, hand, now, heights=["1.47"])
    conclude_sample(sample=sample, by=hand.person, at=now())
    return Batch.objects.get().holds.get()


# --- Opening ---------------------------------------------------------------------------------------------------------------------


def test_opened_from_the_hold_of_a_batch(held, cast, signed_in):
    client = signed_in(cast.inspector)
    batch_page = text_of(client.get(reverse("prove:batch", args=[held.batch.number])))
    assert "What was found in this batch is in no nonconformance." in batch_page

    form = client.get(NEW, {"hold": held.pk}).context["page"].form
    posted = {name: form[name].value() or "" for name in form.fields} | {"hold": held.pk, "terminal": "T-250-F", "tool": "AP-031"}
    posted |= {"batch": held.batch.number, "wire": "W-075-RD"}
    answer = client.post(NEW, posted)

    record = Nonconformance.objects.get()
    assert answer["Location"] == reverse("prove:nonconformance", args=[record.number])
    assert (record.defect_kind, record.batch, record.links.get().subject_id) == (HEIGHT, held.batch, held.pk)
    assert record.number in text_of(client.get(reverse("prove:batch", args=[held.batch.number])))


def test_form_keeps_what_was_typed_and_says_what_is_missing(cast, catalogue, signed_in):
    answer = signed_in(cast.planner).post(NEW, {"what": "torn", "origin": "seen", "found_at": "final", "tool": "AP-000"})

    assert answer.status_code == 422
    form = answer.context["page"].form
    assert form["what"].value() == "torn"
    assert set(form.errors) >= {"requirement", "defect_kind", "tool"}
    assert not Nonconformance.objects.exists()


def test_operator_is_told_who_opens_one(cast, signed_in):
    answer = signed_in(cast.operator).get(NEW)

    assert answer.status_code == 403
    assert "quality" in text_of(answer)


@pytest.mark.parametrize("asked", [{"hold": "99"}, {"hold": "x"}, {"held": "J-0"}, {"inspection": "7"}, {"case": "CC-9"}, {"about": "J-0"}])
def test_what_is_not_there_cannot_be_begun_with(cast, signed_in, asked):
    assert signed_in(cast.quality).get(NEW, asked).status_code == 404


def case_about(tool, by):
    given = {"question": "tool", "subject_id": tool.pk, "subject_name": tool.asset_number, "reason": "jaw chipped"}
    return Containment.objects.create(number="CC-0001", opened_by=by, opened_at=now(), **given)


def test_containment_case_is_what_it_begins_with_and_closing_waits_for_it(cast, catalogue, signed_in):
    case, client = case_about(catalogue.tool, cast.quality), signed_in(cast.quality)
    form = client.get(NEW, {"case": case.number}).context["page"].form
    assert (form["what"].value(), form.initial["tool"], form["origin"].value()) == ("jaw chipped", catalogue.tool, "containment case")

    posted = {
        "what": "jaw chipped",
        "requirement": "x",
        "defect_kind": "visual.seam",
        "origin": "containment case",
        "found_at": "in process",
    }
    client.post(NEW, posted | {"case": case.number, "tool": "AP-031"})
    record = Nonconformance.objects.get()
    assert record.number in text_of(client.get(reverse("prove:case", args=[case.number])))
    proven_in_words(record, cast)
    assert rules_of(closed, record=record, person=cast.quality) == ["nc.close.case"]
    assert "Containment case CC-0001 is open." in text_of(page_of(client, record))
    at = now()
    close_case(
        case=case, conclusion="x", by=cast.quality, at=at, signing=sign(identifier="quality", secret=PIN, meaning=CASE_CLOSED, at=at)
    )
    assert closed(record, cast.quality)


def test_same_before_is_said_and_the_finding_is_added_to_the_open_one(held, cast, catalogue, signed_in):
    record, client = opened(cast.quality, tool=catalogue.tool), signed_in(cast.quality)
    page = client.get(NEW, {"hold": held.pk}).context["page"]
    assert [(row.number, row.at, row.word) for row in page.same] == [(record.number, "tool AP-031", "open")]
    assert record.number in text_of(client.get(reverse("prove:batch", args=[held.batch.number])))

    client.post(reverse("prove:nonconformance-add-finding", args=[record.number]), {"hold": held.pk})

    assert record.links.get().subject_id == held.pk
    assert Nonconformance.objects.count() == 1


def test_closed_one_of_the_same_is_offered_to_be_reopened_by_quality_only(held, cast, catalogue, signed_in):
    record = proven_in_words(opened(cast.quality, tool=catalogue.tool), cast)
    closed(record, cast.quality)

    page = signed_in(cast.quality).get(NEW, {"hold": held.pk}).context["page"]
    assert [row.reopen_url for row in page.same] == [at_step(record, "reopen")]
    assert signed_in(cast.planner).get(NEW, {"hold": held.pk}).context["page"].same[0].reopen_url == ""


# --- Step by step ----------------------------------------------------------------------------------------------------------------


def test_worked_through_to_the_end_on_the_pages(cast, catalogue, signed_in):
    record = opened(cast.quality, tool=catalogue.tool)
    client = signed_in(cast.quality)

    def step(name, posted, *, person=cast.quality):
        answer = signed_in(person).post(at_step(record, name), posted | {"secret": PIN})
        assert answer.status_code == 302, answer.context["page"].form.errors
        return page_of(signed_in(cast.quality), record).context["page"]

    assert page_of(client, record).context["page"].next[0].word == "State the cause"
    page = step("cause", {"parts": ["tool"], "occurred": "fouled", "undetected": "no look", "because": "no card\nno plan"})
    assert [(part.code, part.state) for part in page.parts if part.state == "failed"] == [("tool", "failed")]
    assert page.content["causes"][0]["because"] == ["no card", "no plan"]
    due = factories.days(3).isoformat()
    page = step("action", {"kind": "occurrence", "what": "clean", "responsible": "operator", "due_on": due})
    assert page.next[0].word == "State what will prove it"
    page = step("measure", {"kind": "text", "text": "no complaint"})
    page = step("action-1", {"result": "done", "evidence": "card"}, person=cast.operator)
    assert (page.content["actions"][0]["result"], page.next[0].word) == ("done", "Verify that it worked")
    page = step("verify", {"worked": "yes", "text": "asked"}, person=cast.inspector)
    assert (page.next[0].word, page.waiting) == ("Close", [])
    page = step("close", {"conclusion": "gone"})
    assert [line.what for line in page.timeline][-2:] == ["verified: it worked", "closed"]
    assert [one.word for one in page.next] == ["Reopen"]
    page = step("reopen", {"reason": "came back"})
    assert (page.content["state"], len(page.waiting)) == ("open", 2)


def test_refused_step_shows_the_finding_at_its_field(cast, signed_in):
    record = opened(cast.quality)
    answer = signed_in(cast.quality).post(
        at_step(record, "action"), {"kind": "spread", "what": "x", "responsible": "operator", "due_on": "2020-01-01"}
    )

    assert answer.status_code == 422
    assert "is over already" in str(answer.context["page"].form.errors["due_on"])


def test_closing_too_early_lists_what_is_open(cast, signed_in):
    record = opened(cast.quality)
    answer = signed_in(cast.quality).post(at_step(record, "close"), {"conclusion": "x", "secret": PIN})

    assert (answer.status_code, len(answer.context["refusal"].findings)) == (422, 3)
    assert "No cause is stated." in text_of(answer)


def test_verifying_without_a_measure_says_so(cast, signed_in):
    record = opened(cast.quality)
    client = signed_in(cast.quality)

    assert client.get(at_step(record, "verify")).status_code == 200
    answer = client.post(at_step(record, "verify"), {"text": "x", "secret": PIN})
    assert answer.status_code == 422
    assert "Nobody stated yet" in text_of(answer)


@pytest.mark.parametrize("step", ["moon", "action-7", "action-x", "action-"])
def test_step_that_is_none_is_not_found(cast, signed_in, step):
    assert signed_in(cast.quality).get(at_step(opened(cast.quality), step)).status_code == 404


@pytest.mark.parametrize("step", ["cause", "action", "measure", "verify", "close", "correction-only", "reopen", "add"])
def test_auditor_reads_the_record_and_is_offered_no_step(cast, signed_in, step):
    record, client = opened(cast.quality), signed_in(cast.auditor)

    assert page_of(client, record).context["page"].next == []
    assert client.get(at_step(record, step)).status_code == 403


def test_lots_and_shipments_are_added_by_their_number(cast, catalogue, signed_in):
    record, client = opened(cast.quality), signed_in(cast.quality)
    Shipment.objects.create(number="SH-7", customer=catalogue.customer, shipped_at=now(), shipped_by=cast.quality)

    assert client.post(at_step(record, "add"), {"kind": "shipment", "number": "SH-8"}).status_code == 422
    assert client.post(at_step(record, "add"), {"kind": "shipment", "number": " SH-7"}).status_code == 302
    assert [(row.name, row.url) for row in page_of(client, record).context["page"].about] == [
        ("SH-7", reverse("prove:shipment", args=["SH-7"]))
    ]


def test_person_is_shown_to_quality_alone(cast, signed_in):
    record = opened(cast.quality, person=cast.operator)

    assert page_of(signed_in(cast.quality), record).context["page"].person == cast.operator.name
    for reader in (cast.auditor, cast.inspector, cast.planner):
        assert cast.operator.name not in text_of(page_of(signed_in(reader), record))
    assert page_of(signed_in(cast.operator), record).context["page"].person == ""
    assert cast.operator.name not in canonical_json(nonconformance_record(load_nonconformance(record.number), now()))
    person_page = reverse("shop:detail", args=["people", cast.operator.pk])
    assert record.number in text_of(signed_in(cast.quality).get(person_page))
    assert record.number not in text_of(signed_in(cast.inspector).get(person_page))


def test_corrections_are_read_from_where_they_were_decided(held, cast, quality):  # noqa: F811
    from inspection.acts.holds import DECIDED_MEANING, decide_hold  # noqa: PLC0415  # one name of three modules
    from inspection.nonconformance_from import from_hold  # noqa: PLC0415

    given, links = from_hold(held)
    record = open_nonconformance(stated=given, links=links, by=cast.quality, at=now())
    assert nonconformance_record(load_nonconformance(record.number), now())["corrections"] == []
    at = now()
    decide_hold(
        hold=held, decision="resume with a new first piece", reason="cleaned", scrapped=45, kept_held=0, by=cast.quality, at=at,
        signing=quality.sign(DECIDED_MEANING, at),
    )  # fmt: skip
    (line,) = nonconformance_record(load_nonconformance(record.number), now())["corrections"]

    assert (line["of"], line["why"], line["by"]) == (held.batch.number, "cleaned", cast.quality.name)
    assert line["quantity"] == "45 suspect; 45 scrapped, 0 kept on hold"


# --- The list --------------------------------------------------------------------------------------------------------------------


def numbers_on(page):
    return [line.record.number for line in page.context["page"].lines]


def test_list_is_asked_by_a_sentence_kept_in_the_address(cast, catalogue, signed_in):
    first = opened(cast.quality, tool=catalogue.tool, found_at="customer")
    second = opened(cast.quality, what="torn sleeve")
    closed(second, cast.quality, without_action_because="single")
    third = opened(cast.quality)
    with_action(third, cast.quality, cast.operator)
    client = signed_in(cast.operator)

    assert numbers_on(client.get(LIST)) == [third.number, first.number]
    assert numbers_on(client.get(LIST, {"state": "closed"})) == [second.number]
    assert numbers_on(client.get(LIST, {"state": "all", "q": "sleeve"})) == [second.number]
    assert numbers_on(client.get(LIST, {"q": "AP-031"})) == [first.number]
    assert numbers_on(client.get(LIST, {"found_at": "customer"})) == [first.number]
    assert numbers_on(client.get(LIST, {"mine": "on"})) == [third.number]
    assert "Show those that are open" in text_of(client.get(LIST, {"q": "nothing\0 like this"}))


def test_empty_list_says_where_one_comes_from(cast, signed_in):
    assert "One is opened from a hold on a batch" in text_of(signed_in(cast.auditor).get(LIST))


def test_overdue_action_shows_on_the_list_and_where_quality_begins(cast, signed_in):
    record = opened(cast.quality)
    with_action(record, cast.quality, cast.operator, due_on=factories.today())
    home = reverse("shop:catalogue")
    assert "Waits for you" not in text_of(signed_in(cast.quality).get(home))

    with time_machine.travel(now() + timedelta(days=2), tick=False):
        for reader, told in ((cast.quality, True), (cast.operator, True), (cast.planner, False)):
            assert ("overdue since" in text_of(signed_in(reader).get(home))) is told
        page = signed_in(cast.quality).get(LIST)
        assert (page.context["page"].overdue, page.context["page"].lines[0].word) == (1, "overdue")
        assert numbers_on(signed_in(cast.quality).get(LIST, {"state": "overdue"})) == [record.number]
        assert page_of(signed_in(cast.quality), record).context["page"].content["standing"] == "1 action overdue"


@pytest.mark.parametrize("count", [1, 4])
def test_list_asks_a_fixed_number_of_questions(cast, catalogue, signed_in, django_assert_num_queries, count):
    for _ in range(count):
        with_action(opened(cast.quality, tool=catalogue.tool), cast.quality, cast.operator)
    client = signed_in(cast.quality)
    client.get(LIST)

    with django_assert_num_queries(6):
        assert len(numbers_on(client.get(LIST))) == count


@pytest.mark.parametrize("count", [1, 4])
def test_record_asks_a_fixed_number_of_questions(cast, catalogue, signed_in, django_assert_num_queries, count):
    record = opened(cast.quality, tool=catalogue.tool)
    for _ in range(count):
        with_cause(record, cast.quality)
        done(with_action(record, cast.quality, cast.planner), cast.planner)
    client = signed_in(cast.quality)
    page_of(client, record)

    with django_assert_num_queries(RECORD_QUERIES):
        assert len(page_of(client, record).context["page"].actions) == count


RECORD_QUERIES = 28


# --- Beside the catalogue, on documents ------------------------------------------------------------------------------------------


def test_tool_shows_its_nonconformances_and_offers_to_open_one(cast, catalogue, signed_in):
    record = opened(cast.quality, tool=catalogue.tool)
    page = signed_in(cast.quality).get(reverse("shop:detail", args=["tools", catalogue.tool.pk]))

    assert record.number in text_of(page)
    assert f"{NEW}?tool=AP-031" in page.content.decode()
    begun = signed_in(cast.quality).get(f"{NEW}?tool=AP-031").context["page"].form
    assert begun.initial["tool"] == catalogue.tool


def test_report_is_sealed_and_carries_what_the_page_says(cast, catalogue, shop_key, settings, tmp_path, signed_in):
    record = proven_in_words(opened(cast.quality, tool=catalogue.tool), cast)
    client = signed_in(cast.auditor)

    answer = client.post(reverse("prove:nonconformance-report", args=[record.number]))

    document = IssuedDocument.objects.get()
    assert (document.kind, document.number) == ("nonconformance", f"NR-{record.number}")
    assert answer["Location"] == reverse("prove:document", args=[document.number, 1])
    assert attached_json(document_bytes(document)) == document.record.encode()
    assert str(document) in text_of(page_of(client, record))
    assert reverse("prove:nonconformance", args=[record.number]) in client.get(answer["Location"]).content.decode()
    again = issue_nonconformance_report(record=load_nonconformance(record.number), by=cast.auditor, at=now())
    assert again == document


def test_first_article_report_and_certificate_name_the_nonconformance_of_a_batch(held, cast, quality, hand, inspector):  # noqa: F811
    from inspection.nonconformance_from import from_hold  # noqa: PLC0415

    given, links = from_hold(held)
    record = open_nonconformance(stated=given, links=links, by=cast.quality, at=now())
    batch = held.batch
    report = first_article_record(batch)

    assert report["article"]["comments"] == f"nonconformance {record.number}, open"
    # The first piece itself conforms: the number of a later one stands beside no characteristic of it.
    assert {row["nonconformance"] for row in report["characteristics"]} == {""}
    bad = characteristics_of(held.sample, batch.termination, [record])
    assert {row["nonconformance"] for row in bad if row["outcome"] == "does not conform"} == {record.number}


def test_certificate_names_the_nonconformance_behind_the_shipment(cast, catalogue, termination, codes, hand, inspector):  # noqa: F811
    from records.acts.lots import BUILT_MEANING, SHIPPED_MEANING, build_lot, ship  # noqa: PLC0415
    from records.demo.walk import run_batch  # noqa: PLC0415

    batch, at = run_batch(termination, codes, 100, hand, now, inspector), now()

    def signing(meaning):
        return sign(identifier="quality", secret=PIN, meaning=meaning, at=at)

    job = termination.sheet.job
    lot = build_lot(number="HL-1", job=job, quantity=100, batches={batch.pk: 100}, by=cast.quality, at=at, signing=signing(BUILT_MEANING))
    sent = ship(
        number="SH-1",
        customer=job.customer,
        lots={lot.pk: 100},
        by=cast.quality,
        at=at,
        signing=signing(SHIPPED_MEANING),
        delivery_note="D",
    )
    assert [one["answer"] for one in certificate_content(sent)["inspected"]] == ["accepted"]
    record = open_nonconformance(
        stated=OpenInput(what="x", requirement="x", defect_kind=HEIGHT),
        links=[Link("batch", batch.pk, batch.number)],
        by=cast.quality,
        at=at,
    )

    assert [one["answer"] for one in certificate_content(sent)["inspected"]] == [f"accepted; nonconformance {record.number}"]
