"""Containment: what is suspect, one act that holds all of it, the list, and closure when nothing is open."""

from __future__ import annotations

import pytest
from django.urls import reverse

from inspection.acts.batches import open_batch, scan
from inspection.models import Hold
from records.acts.containment import (
    CLOSED_MEANING,
    DECIDED_MEANING,
    OPENED_MEANING,
    DecisionInput,
    close_case,
    decide_suspect,
    open_case,
)
from records.acts.lot_changes import RETURNED_MEANING, SPLIT_MEANING, SplitPart, receive_return, split_lot
from records.acts.lots import BUILT_MEANING, SHIPPED_MEANING, build_lot, ship
from records.balances import harnesses_left, pieces_left
from records.containment import gauge_question, question_about, suspects
from records.models import Containment, LedgerEntry, Suspect
from shop.clock import midnight, now
from shop.finding import Refused
from tests import factories


@pytest.fixture
def act(cast, hand):
    def perform(function, meaning, who="quality", **given):
        at = now()
        return function(by=getattr(cast, who), at=at, signing=hand(who).sign(meaning, at), **given)

    return perform


@pytest.fixture
def contain(act):
    """Open a case about the terminal lot of the catalogue, or something else."""

    def perform(question="terminal lot", name="TL-2001", who="quality", **span):
        asked = question_about(question, name, **span)
        return act(open_case, OPENED_MEANING, who, asked=asked, reason="plating flakes", shown=len(suspects(asked)))

    return perform


@pytest.fixture
def decide(act):
    def perform(suspect, kind, quantity, note="looked at each", who="quality", concession=""):
        return act(decide_suspect, DECIDED_MEANING, who, suspect=suspect, stated=DecisionInput(kind, quantity, note, concession))

    return perform


def refused(function, *given, **named):
    with pytest.raises(Refused) as refusal:
        function(*given, **named)
    return [finding.rule for finding in refusal.value.findings]


def lines(asked):
    return [(line.place, (line.batch or line.lot).number, line.quantity) for line in suspects(asked)]


def test_suspects_of_a_reel_are_listed_where_they_are(shipment, batch):
    assert lines(question_about("terminal lot", "TL-2001")) == [("lot in stock", "HL-1", 40), ("shipped", "HL-1", 60)]


def test_pieces_in_no_lot_are_suspect_too(batch):
    assert lines(question_about("tool", "AP-031")) == [("pieces in stock", batch.number, 100)]


def test_nothing_is_suspect_outside_the_time_asked_about(batch):
    tomorrow = midnight(factories.days(1))

    assert lines(question_about("tool", "AP-031", since=tomorrow)) == []
    assert refused(question_about, "tool", "AP-031", since=tomorrow, until=midnight(factories.today())) == ["containment.span"]


def test_tool_since_a_count_leaves_batches_before_it_alone(batch):
    # The samples of the batch were taken while the tool's counter stood between 0 and 104.
    assert lines(question_about("tool", "AP-031", since_count=50)) == [("pieces in stock", batch.number, 100)]
    assert lines(question_about("tool", "AP-031", since_count=100_000)) == []


@pytest.mark.parametrize(
    ("question", "name"), [("person", "operator"), ("document", "AS-250 B"), ("wire lot", "WL-1001"), ("gauge", "MIC-01")]
)
def test_each_question_reaches_the_batch(batch, question, name):
    assert lines(question_about(question, name)) == [("pieces in stock", batch.number, 100)]


def test_bad_calibration_asks_about_everything_since_the_good_one(batch, catalogue):
    gauge = catalogue.micrometer
    good = gauge.calibrations.get()
    assert gauge_question(gauge) is None
    factories.make_calibration(gauge, calibrated_on=factories.today(), result="out of tolerance")

    asked = gauge_question(gauge)

    assert (asked.since, asked.until) == (midnight(good.calibrated_on), midnight(factories.days(1)))
    assert lines(asked) == [("pieces in stock", batch.number, 100)]


def test_one_act_holds_lots_in_stock_and_pieces(shipment, contain, act, catalogue, lot):
    contain()

    assert refused(act, ship, SHIPPED_MEANING, number="SH-2", customer=catalogue.customer, lots={lot.pk: 5}) == ["lot.contained"]
    assert refused(act, split_lot, SPLIT_MEANING, "planner", lot=lot, parts=[SplitPart("X", 5)]) == ["lot.contained"]
    entry = LedgerEntry.objects.get(kind="containment.opened")
    assert entry.signature.meaning == OPENED_MEANING


def test_held_batch_goes_into_no_lot(batch, contain, act):
    contain()
    given = {"number": "HL-1", "job": batch.termination.sheet.job, "quantity": 100, "batches": {batch.pk: 100}}

    assert refused(act, build_lot, BUILT_MEANING, "planner", **given) == ["lot.batch.contained"]


def test_running_batch_is_stopped(cast, catalogue, contain, decide):
    sheet = factories.released(cast, catalogue)
    running = open_batch(termination=sheet.terminations.get(), quantity=50, by=cast.operator, at=now())
    for code in ("AP-031", "TL-2001", "WL-1001", "MIC-01", "CAL-01", "PULL-01"):
        scan(batch=running, code=code, by=cast.operator, at=now())

    case = contain()

    running.refresh_from_db()
    assert running.status == "on hold"
    assert Hold.objects.get(batch=running).reason == f"containment {case.number}: plating flakes"
    assert refused(decide, case.suspects.get(), "found good", 1) == ["containment.quantity", "containment.running"]


def test_case_with_nothing_suspect_is_refused(catalogue, contain):
    assert refused(contain) == ["containment.empty"]


def test_case_opened_by_an_inspector_is_refused(batch, contain):
    assert refused(contain, who="inspector") == ["person.role"]
    assert not Containment.objects.exists()


def test_list_that_changed_since_it_was_shown_is_refused(batch, act):
    asked = question_about("terminal lot", "TL-2001")

    assert refused(act, open_case, OPENED_MEANING, asked=asked, reason="x", shown=7) == ["containment.changed"]


def test_stock_found_good_is_free_again(shipment, contain, decide, act, lot, catalogue):
    stock = contain().suspects.get(place="lot in stock")
    sent = {"number": "SH-2", "customer": catalogue.customer, "lots": {lot.pk: 5}}

    decide(stock, "found good", 39)
    assert refused(act, ship, SHIPPED_MEANING, **sent) == ["lot.contained"]
    decide(stock, "scrap", 1)
    act(ship, SHIPPED_MEANING, **sent)

    assert harnesses_left(lot) == 34


def test_scrapped_pieces_are_gone(batch, contain, decide):
    decide(contain().suspects.get(), "scrap", 30)

    assert pieces_left(batch) == 70


@pytest.mark.parametrize(
    ("kind", "quantity", "rules"),
    [
        ("found good", 101, ["containment.quantity"]),
        ("found good", 0, ["containment.quantity"]),
        ("customer notified", 0, ["containment.kind"]),
        ("rework", 5, ["disposition.rework"]),
        ("use as is", 5, ["disposition.concession"]),
    ],
)
def test_decision_that_does_not_fit_is_refused(batch, contain, decide, kind, quantity, rules):
    assert refused(decide, contain().suspects.get(), kind, quantity) == rules


def test_decision_without_a_reason_is_refused(batch, contain, decide):
    assert refused(decide, contain().suspects.get(), "found good", 5, note=" ") == ["data.required"]


def test_return_is_received_before_it_is_decided(shipment, contain, decide, act, lot):
    sent = contain().suspects.get(place="shipped")

    assert refused(decide, sent, "returned", 2) == ["containment.returned"]
    act(receive_return, RETURNED_MEANING, shipment=shipment, lot=lot, number="SH-1-B1", quantity=2, reason="recall")
    decide(sent, "returned", 2)

    assert refused(decide, sent, "returned", 1) == ["containment.returned"]


def test_case_is_closed_only_when_nothing_is_open_and_customers_know(shipment, contain, decide, act):
    case = contain()
    stock, sent = case.suspects.get(place="lot in stock"), case.suspects.get(place="shipped")
    closing = {"case": case, "conclusion": "reel returned to the supplier"}

    assert refused(act, close_case, CLOSED_MEANING, **closing) == ["containment.open", "containment.open", "containment.notice"]
    decide(stock, "found good", 40)
    decide(sent, "accepted by customer", 60)
    assert refused(act, close_case, CLOSED_MEANING, **closing) == ["containment.notice"]
    decide(sent, "customer notified", 0, note="mail of today")
    closed = act(close_case, CLOSED_MEANING, **closing)

    assert closed.closed_at is not None
    assert refused(act, close_case, CLOSED_MEANING, **closing) == ["containment.closed"]
    assert refused(decide, stock, "found good", 1) == ["containment.closed", "containment.quantity"]
    assert LedgerEntry.objects.filter(kind="containment.closed").count() == 1


# --- Pages -----------------------------------------------------------------------------------------------------------------------


def text_of(answer):
    return " ".join(answer.content.decode().split())


def test_question_shows_its_suspects_and_one_signature_holds_them(signed_in, cast, shipment):
    client = signed_in(cast.quality)
    question = {"question": "terminal lot", "subject": "TL-2001", "from": "", "to": "", "since_count": ""}

    asked = client.get(reverse("prove:contain"), question)
    signed = client.post(reverse("prove:contain"), question | {"reason": "flakes", "shown": "2", "secret": factories.PIN})
    case = text_of(client.get(signed.url))

    assert "Terminal lot TL-2001 is not fit for use." in text_of(asked)
    assert "Brunnen Pumps" in text_of(asked)
    assert signed.status_code == 302
    assert "Draft of the notice" in case
    assert "3 things are open" in case
    assert "Held by containment" in text_of(client.get(reverse("prove:lot", args=["HL-1"])))


def test_unknown_number_is_said_on_the_page(signed_in, cast, shipment):
    answer = signed_in(cast.quality).get(reverse("prove:contain"), {"question": "tool", "subject": "AP-999"})

    assert answer.status_code == 422
    assert "No tool carries the number AP-999." in text_of(answer)


def test_auditor_reads_a_case_and_decides_nothing(signed_in, cast, shipment, contain):
    case = contain()
    client = signed_in(cast.auditor)
    pk = Suspect.objects.first().pk

    assert "Decide on" not in text_of(client.get(reverse("prove:case", args=[case.number])))
    assert client.get(reverse("prove:case-decide", args=[case.number, pk])).status_code == 403
    answer = client.post(reverse("prove:contain"), {"question": "tool", "subject": "AP-031", "secret": factories.PIN})
    assert answer.status_code == 422


def test_line_is_decided_and_the_case_closed_on_its_pages(signed_in, cast, batch, contain):
    case = contain()
    client = signed_in(cast.quality)
    decide = reverse("prove:case-decide", args=[case.number, Suspect.objects.get().pk])
    close = reverse("prove:case-close", args=[case.number])

    too_many = client.post(decide, {"kind": "found good", "quantity": "101", "note": "x", "secret": factories.PIN})
    early = client.post(close, {"conclusion": "done", "secret": factories.PIN})
    decided = client.post(decide, {"kind": "found good", "quantity": "100", "note": "heights measured", "secret": factories.PIN})
    closed = client.post(close, {"conclusion": "all good", "secret": factories.PIN})

    assert (too_many.status_code, early.status_code, decided.status_code, closed.status_code) == (422, 422, 302, 302)
    page = text_of(client.get(closed.url))
    assert "all good" in page
    assert "heights measured" in page


def test_notice_is_a_draft_with_facts_only(signed_in, cast, shipment, contain):
    case = contain()
    address = reverse("prove:case-notice", args=[case.number, "BRUNNEN"])

    page, plain = signed_in(cast.quality).get(address), signed_in(cast.quality).get(address, {"text": ""})

    assert "DRAFT" in text_of(page)
    assert plain["Content-Type"].startswith("text/plain")
    text = plain.content.decode()
    assert text.startswith("DRAFT")
    assert "60 of H-5501 Pump harness, drawing D-5501 C, lot HL-1" in text
    assert signed_in(cast.quality).get(reverse("prove:case-notice", args=[case.number, "NOBODY"])).status_code == 404


@pytest.mark.parametrize("count", [1, 3])
def test_list_of_cases_asks_the_same_questions_for_many(signed_in, cast, batch, contain, count, django_assert_num_queries):
    for _n in range(count):
        contain()
    client = signed_in(cast.auditor)

    with django_assert_num_queries(8):
        page = client.get(reverse("prove:containment")).context["page"]

    assert len(page.rows.object_list) == count


# --- Beside the catalogue --------------------------------------------------------------------------------------------------------


def offered(answer):
    return [opening.url for section in answer.context["page"].beside if section.slug == "containment" for opening in section.openings]


def test_gauge_found_bad_offers_the_question_filled_in(signed_in, cast, batch, catalogue):
    client, address = signed_in(cast.quality), reverse("shop:detail", args=["gauges", catalogue.micrometer.pk])
    good = catalogue.micrometer.calibrations.get()

    before = offered(client.get(address))
    factories.make_calibration(catalogue.micrometer, calibrated_on=factories.today(), result="out of tolerance")
    (url,) = offered(client.get(address))

    assert before == []
    assert f"question=gauge&subject=MIC-01&from={good.calibrated_on}&to={factories.today()}" in url
    assert client.get(url).context["page"].shown == 1


def test_lot_on_hold_and_withdrawn_document_offer_to_contain(signed_in, cast, batch, catalogue):
    catalogue.document.withdrawn_on = factories.today()
    catalogue.document.save()
    client = signed_in(cast.quality)

    lot = offered(client.get(reverse("shop:detail", args=["terminal-lots", catalogue.terminal_lot_held.pk])))
    paper = offered(client.get(reverse("shop:detail", args=["documents", catalogue.document.pk])))
    free = offered(client.get(reverse("shop:detail", args=["terminal-lots", catalogue.terminal_lot.pk])))

    assert lot == ["/prove/containment/new/?question=terminal+lot&subject=TL-2002"]
    assert paper == [f"/prove/containment/new/?question=document&subject=AS-250+B&from={factories.today()}"]
    assert free == []
    assert offered(signed_in(cast.planner).get(reverse("shop:detail", args=["terminal-lots", catalogue.terminal_lot_held.pk]))) == []
