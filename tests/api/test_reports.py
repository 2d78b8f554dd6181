"""Certificates, calibration status and audit trails through the API."""

from __future__ import annotations

from records.models import IssuedDocument
from shop.tools import Tool
from tests.api.conftest import own


def test_quality_certifies_a_shipment_and_anybody_downloads_it(shop, programs, shop_key):
    shop.shipped()
    quality = programs["quality"]
    read = quality.get("shipments/SH-1/certificate/")
    assert [lot["lot"] for lot in read["content"]["lots"]] == ["HL-1"]

    body = {"seen_sha256": read["seen_sha256"], "signature": own()}
    issued = quality.post("shipments/SH-1/certificate/", body, status=201)

    assert (issued["number"], issued["kind"], issued["record"]["signatures"][0]["meaning"]) == (
        "CC-SH-1",
        "certificate",
        "conformity certified",
    )
    assert programs["auditor"].ask("GET", f"documents/{issued['number']}/1/file/").response.content.startswith(b"%PDF-1.7")


def test_certificate_of_something_else_than_was_read_is_refused(shop, programs, shop_key):
    shop.shipped()

    answer = programs["quality"].ask("POST", "shipments/SH-1/certificate/", {"seen_sha256": "0" * 64, "signature": own()})

    assert (answer.status, answer.rules) == (422, ["sign.stale"])
    assert not IssuedDocument.objects.filter(kind="certificate").exists()


def test_calibration_status_lists_and_is_issued(shop, programs, shop_key):
    auditor = programs["auditor"]

    listed = auditor.get("calibration-status/?kind=crimp-height%20micrometer")["results"]
    issued = auditor.post("calibration-status/", {"kind": "crimp-height micrometer"}, status=201)

    assert [(one["asset_number"], one["standing"]) for one in listed][-1] == ("MIC-09", "overdue")
    assert [one["asset_number"] for one in issued["record"]["gauges"]] == [one["asset_number"] for one in listed]


def test_calibration_status_of_no_day_is_refused(shop, programs):
    assert programs["auditor"].ask("GET", "calibration-status/?on=soon").status in (400, 422)


def test_trail_tells_a_change_and_is_issued(shop, programs, shop_key):
    tool = Tool.objects.get(asset_number="AP-031")
    programs["quality"].post(f"catalogue/tools/{tool.pk}/state/", {"state": "on hold", "reason": "jaw chipped"})
    auditor = programs["auditor"]

    (line,) = auditor.get(f"trail/tools/{tool.pk}/")["results"]
    issued = auditor.post(f"trail/tools/{tool.pk}/", status=201)

    assert (line["reason"], line["by"]) == ("jaw chipped", issued["record"]["entries"][0]["by"])
    assert "state: available → on hold" in line["changes"]


def test_trail_of_a_thing_nobody_knows_is_not_found(shop, programs):
    assert programs["auditor"].ask("GET", "trail/tools/99999/").status == 404
