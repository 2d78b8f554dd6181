"""Certificates, calibration status and what hinders them."""

from __future__ import annotations

import json
from datetime import timedelta

import pytest
from django.urls import reverse

from inspection.models import Hold
from records.acts.containment import OPENED_MEANING, open_case
from records.acts.lot_changes import SPLIT_MEANING, SplitPart, split_lot
from records.acts.lots import SHIPPED_MEANING, ship
from records.acts.reports import CERTIFIED_MEANING, certify_shipment, issue_calibration_status, issue_certificate
from records.containment import question_about, suspects
from records.gather.calibration import SOON_DAYS, gauge_statuses, standing_of
from records.gather.certificate import certificate_content
from records.models import IssuedDocument, LedgerEntry, Signature
from shop.canonical import content_sha256
from shop.clock import now
from shop.finding import Refused
from shop.tools import Calibration, Gauge
from tests import factories
from tests.records.test_prove_pages import text_of


def certify(shipment, hand, name="quality", seen=None):
    at = now()
    person = hand(name)
    signing = person.sign(CERTIFIED_MEANING, at)
    seen = seen or content_sha256(certificate_content(shipment))
    return certify_shipment(shipment=shipment, by=signing.person, at=at, signing=signing, seen_sha256=seen)


def codes(refused):
    return [finding.rule for finding in refused.value.findings]


def test_certificate_says_what_was_sent_and_inspected(shipment, batch):
    content = certificate_content(shipment)

    assert [(one["lot"], one["quantity"], one["part_number"]) for one in content["lots"]] == [("HL-1", "60", "H-5501")]
    (inspected,) = content["inspected"]
    assert (inspected["batch"], inspected["samples"]) == (batch.number, str(batch.samples.count()))
    assert {one["lot"] for one in content["materials"]} == {"WL-1001", "TL-2001"}
    assert [one["number"] for one in content["documents"]] == [batch.termination.specification.document.number]


def test_certificate_is_issued_with_the_signature_of_quality(shipment, hand, cast, shop_key):
    certify(shipment, hand)
    document = issue_certificate(shipment=shipment, by=cast.quality, at=now())
    record = json.loads(document.record)

    assert [(s["printed_name"], s["meaning"]) for s in record["signatures"]] == [(cast.quality.name, CERTIFIED_MEANING)]
    assert record["signatures"][0]["content_sha256"] == content_sha256({k: v for k, v in record.items() if k != "signatures"})


def test_certificate_nobody_signed_is_not_issued(shipment, cast, shop_key):
    with pytest.raises(Refused) as refused:
        issue_certificate(shipment=shipment, by=cast.quality, at=now())

    assert codes(refused) == ["document.subject"]
    assert not IssuedDocument.objects.filter(kind="certificate").exists()


def test_certificate_by_the_planner_is_refused(shipment, hand):
    with pytest.raises(Refused) as refused:
        certify(shipment, hand, "planner")

    assert codes(refused) == ["person.role"]
    assert not Signature.objects.filter(meaning=CERTIFIED_MEANING).exists()


def test_certificate_of_what_was_not_on_the_screen_is_refused(shipment, hand):
    with pytest.raises(Refused) as refused:
        certify(shipment, hand, seen="0" * 64)

    assert codes(refused) == ["sign.stale"]


def test_certificate_with_an_open_hold_behind_it_is_refused(shipment, hand, batch, cast):
    Hold.objects.create(batch=batch, reason="strands cut", suspect_from=1, suspect_to=9, raised_by=cast.operator, raised_at=now())
    with pytest.raises(Refused) as refused:
        certify(shipment, hand)

    assert codes(refused) == ["certificate.hold"]


def signed(function, meaning, hand, **given):
    at = now()
    signing = hand("quality").sign(meaning, at)
    return function(by=signing.person, at=at, signing=signing, **given)


def test_certificate_of_a_split_lot_reaches_the_batches_before_the_split(lot, batch, hand, cast, catalogue):
    (part,) = signed(split_lot, SPLIT_MEANING, hand, lot=lot, parts=[SplitPart("HL-1-A", 30)])
    shipment = signed(ship, SHIPPED_MEANING, hand, number="SH-2", customer=catalogue.customer, lots={part.pk: 30})
    content = certificate_content(shipment)

    assert [(one["lot"], one["quantity"]) for one in content["lots"]] == [("HL-1-A", "30")]
    assert [(one["lot"], one["batch"]) for one in content["inspected"]] == [("HL-1", batch.number)]
    assert {one["lot"] for one in content["materials"]} == {"WL-1001", "TL-2001"}
    assert [one["state"] for one in content["parts"]] == ["proven"] * 6

    Hold.objects.create(batch=batch, reason="strands cut", suspect_from=1, suspect_to=9, raised_by=cast.operator, raised_at=now())
    with pytest.raises(Refused) as refused:
        certify(shipment, hand)
    assert codes(refused) == ["certificate.hold"]


def test_certificate_of_what_a_containment_case_suspects_is_refused(shipment, hand):
    asked = question_about("terminal lot", "TL-2001")
    signed(open_case, OPENED_MEANING, hand, asked=asked, reason="plating flakes", shown=len(suspects(asked)))
    with pytest.raises(Refused) as refused:
        certify(shipment, hand)

    assert codes(refused) == ["certificate.contained"]
    assert not Signature.objects.filter(meaning=CERTIFIED_MEANING).exists()


def test_certificate_asked_for_twice_is_one_document(shipment, hand, cast, shop_key):
    certify(shipment, hand)
    first, second = (issue_certificate(shipment=shipment, by=cast.quality, at=now()) for _ in range(2))

    assert first == second


def test_quality_certifies_on_the_page_and_gets_the_document(signed_in, cast, shipment, shop_key):
    client = signed_in(cast.quality)
    url = reverse("prove:certificate", args=["SH-1"])
    page = client.get(url)
    assert "HL-1" in text_of(page)

    answer = client.post(url, {"secret": factories.PIN, "seen_sha256": page.context["page"].sha256})

    assert answer.status_code == 302
    document = IssuedDocument.objects.get(kind="certificate")
    assert answer.url == reverse("prove:document", args=[document.number, 1])
    assert client.get(answer.url).status_code == 200
    assert LedgerEntry.objects.filter(kind="shipment.certified").count() == 1


def test_auditor_reads_the_certificate_but_cannot_sign(signed_in, cast, shipment, shop_key):
    client = signed_in(cast.auditor)
    url = reverse("prove:certificate", args=["SH-1"])

    assert "Quality certifies." in text_of(client.get(url))
    assert client.post(url, {"secret": factories.PIN}).status_code == 422
    assert not IssuedDocument.objects.filter(kind="certificate").exists()


@pytest.mark.parametrize(
    ("due_in", "result", "standing"),
    [
        (-1, "in tolerance", "overdue"),
        (0, "in tolerance", "due soon"),
        (SOON_DAYS, "in tolerance", "due soon"),
        (SOON_DAYS + 1, "in tolerance", "in calibration"),
        (SOON_DAYS + 1, "out of tolerance", "out of tolerance"),
        (-1, "out of tolerance", "out of tolerance"),
    ],
)
def test_gauge_stands_as_its_newest_calibration_says(due_in, result, standing):
    last = Calibration(due_on=factories.days(due_in), result=result)

    assert standing_of(last, factories.today())[0] == standing


def test_gauge_never_calibrated_cannot_be_decided():
    assert standing_of(None, factories.today()) == ("never calibrated", "cannot be decided")


def test_status_of_a_day_before_the_calibration_does_not_know_it(catalogue):
    made = catalogue.micrometer.calibrations.get().calibrated_on

    known = {one["asset_number"]: one["certificate"] for one in gauge_statuses(made)}
    before = {one["asset_number"]: one["certificate"] for one in gauge_statuses(made - timedelta(days=1))}

    assert known["MIC-01"]
    assert before["MIC-01"] == ""


def test_status_leaves_out_retired_gauges_and_other_kinds(catalogue):
    Gauge.objects.filter(asset_number="CAL-01").update(state="retired")

    assert [one["asset_number"] for one in gauge_statuses(factories.today())] == ["MIC-01", "MIC-09", "PULL-01"]
    assert [one["asset_number"] for one in gauge_statuses(factories.today(), "pull tester")] == ["PULL-01"]


def test_status_page_marks_the_overdue_gauge_and_issues_the_list(signed_in, cast, catalogue, shop_key):
    client = signed_in(cast.auditor)
    page = client.get(reverse("prove:calibration"), {"kind": "crimp-height micrometer"})
    assert "1 overdue" in text_of(page)

    answer = client.post(page.context["page"].issue_url)

    record = json.loads(IssuedDocument.objects.get(kind="calibration status").record)
    assert answer.status_code == 302
    assert [(one["asset_number"], one["standing"]) for one in record["gauges"]][1] == ("MIC-09", "overdue")
    assert client.get(answer.url).status_code == 200


def test_status_of_a_kind_of_gauge_there_is_not_is_refused(cast, catalogue):
    with pytest.raises(Refused):
        issue_calibration_status(by=cast.auditor, at=now(), kind="ruler")
