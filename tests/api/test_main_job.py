"""Plan, make and prove through the API alone, each act by the person whose it is."""

from __future__ import annotations

import hashlib
import io
import zipfile

import rfc8785

from records.ledger_check import verify_ledger
from records.models import LedgerEntry, Signature
from records.verification import verify_pdf
from tests.api.conftest import own


def test_main_job_runs_from_job_to_evidence(shop, programs, shop_key):
    shipment = shop.shipped()
    auditor = programs["auditor"]

    assert shipment["lots"] == [{"lot": "HL-1", "quantity": 60}]
    assert auditor.get("trace/?number=sh-1") == [
        {"kind": "shipment", "id": shipment["id"], "name": "SH-1", "address": "/api/v1/trace/shipment/SH-1/"}
    ]
    record = auditor.get("trace/shipment/SH-1/")
    assert [part["state"] for part in record["parts"]] == ["proven"] * 6
    assert [batch["number"] for lot in record["lots"] for batch in lot["batches"]] == ["J-9001-S1-B01"]
    assert record["asked_by"] == "Audun Helle"

    document = auditor.post("documents/", {"kind": "shipment-trace", "number": "SH-1"}, status=201)
    pdf = auditor.ask("GET", f"documents/{document['number']}/{document['issue']}/file/")
    assert (pdf.status, pdf.media_type) == (200, "application/pdf")
    assert hashlib.sha256(pdf.response.content).hexdigest() == document["sha256"]
    report = verify_pdf(pdf.response.content, trusted_root=shop_key.root)
    assert report.stands, report.problems

    package = auditor.ask("POST", "evidence/shipment/SH-1/")
    assert (package.status, package.media_type) == (200, "application/zip")
    names = zipfile.ZipFile(io.BytesIO(package.response.content)).namelist()
    assert {"manifest.json", "manifest.sig", "verify.py"} <= set(names)

    verified = auditor.get("ledger/verify/")
    assert (verified["is_whole"], verified["entries"]) == (True, LedgerEntry.objects.count())


def test_signatures_given_through_the_api_are_those_of_the_main_job(shop):
    shop.shipped()

    assert [(s.person.username, s.meaning, s.how) for s in Signature.objects.order_by("entry_id")] == [
        ("approver", "released", "user name and secret"),
        ("operator", "measured", "user name and secret"),
        ("inspector", "approved first piece", "user name and secret"),
        ("operator", "measured", "user name and secret"),
        ("operator", "batch closed, counts balanced", "user name and secret"),
        ("planner", "lot complete", "user name and secret"),
        ("quality", "released for shipment", "user name and secret"),
    ]
    assert verify_ledger().is_whole


def test_hash_to_be_signed_is_that_of_the_content_as_sent(shop, programs):
    sheet = shop.in_review()

    assert hashlib.sha256(rfc8785.dumps(sheet["content"])).hexdigest() == sheet["content_sha256"]
    assert sheet["content"]["terminations"][0]["targets"]["crimp_height_mm"] == {"low": "1.35", "nominal": "1.40", "high": "1.45"}


def test_hash_of_a_measured_sample_is_that_of_the_content_as_sent(shop):
    batch = shop.set_up()
    sample = shop.measure(shop.sample(batch, "first piece", 5))

    assert sample["missing"] == []
    assert hashlib.sha256(rfc8785.dumps(sample["content"])).hexdigest() == sample["content_sha256"]


def test_inspector_signs_with_badge_at_the_operators_tablet(shop, programs):
    batch = shop.set_up()
    sample = shop.sample(batch, "first piece", 5)
    shop.measure(sample)
    sample = shop.conclude(sample)

    body = {"signature": {"identifier": "B-inspector", "secret": "482915"}, "seen_sha256": sample["content_sha256"]}
    approved = programs["operator"].post(f"samples/{sample['id']}/countersign/", body)

    assert approved["state"] == "accepted"
    signature = Signature.objects.get(meaning="approved first piece")
    assert (signature.person.username, signature.how) == ("inspector", "badge and PIN")


def test_batch_shows_its_step_parts_and_next_sample(shop, programs):
    batch = shop.running()

    assert batch["status"] == "running"
    assert batch["next_sample_due"] == 5 + 250
    assert [(part["part"], part["proven"]) for part in batch["parts"]] == [
        ("people", True),
        ("wire", True),
        ("terminal", True),
        ("tool", True),
        ("documents", True),
        ("inspection", True),
    ]
    assert [lot["lot"] for lot in batch["loaded_lots"]] == ["TL-2001", "WL-1001"]
    plans = {one["kind"]: one["plan"] for one in batch["sample_plans"]}
    assert (plans["first piece"]["pulls"], plans["in process"]["pulls"], plans["last piece"]["pulls"]) == (3, 0, 1)


def test_in_process_sample_needs_no_signature(shop):
    batch = shop.running()
    sample = shop.sample(batch, "in process", 50)
    shop.measure(sample)

    assert shop.conclude(sample, signature=False)["state"] == "accepted"


def test_rejected_sample_holds_the_batch_and_quality_decides(shop, programs):
    batch = shop.running()
    sample = shop.sample(batch, "in process", 50)
    shop.measure(sample, p1="1.47")
    assert shop.conclude(sample, signature=False)["state"] == "rejected"

    [hold] = programs["quality"].get("holds/?open=true")["results"]
    assert (hold["batch"], hold["suspect_from"], hold["suspect_to"], hold["decision"]) == (batch["id"], 5, 50, "")
    body = {
        "decision": "resume with a new first piece",
        "reason": "applicator reset, pieces 6 to 50 cut off",
        "scrapped": 45,
        "kept_held": 0,
        "signature": own(),
    }
    decided = programs["quality"].post(f"holds/{hold['id']}/decide/", body)

    assert (decided["decided_by"], decided["scrapped"]) == ("quality", 45)
    assert programs["quality"].get("holds/?open=true")["results"] == []
    assert programs["operator"].get(f"batches/{batch['id']}/")["status"] == "first piece"


def test_turned_down_first_piece_holds_the_batch(shop, programs):
    batch = shop.set_up()
    sample = shop.sample(batch, "first piece", 5)
    shop.measure(sample)
    shop.conclude(sample)

    body = {"reason": "brush of the strands is frayed", "signature": own()}
    turned_down = programs["inspector"].post(f"samples/{sample['id']}/turn-down/", body)

    assert turned_down["state"] == "rejected"
    assert programs["operator"].get(f"batches/{batch['id']}/")["status"] == "on hold"


def test_operator_stops_a_run(shop, programs):
    batch = shop.running()

    hold = programs["operator"].post(f"batches/{batch['id']}/hold/", {"reason": "burr at the bellmouth", "at_count": 31}, status=201)

    assert (hold["suspect_from"], hold["suspect_to"], hold["raised_by"]) == (5, 31, "operator")


def test_corrected_reading_stands_beside_the_one_it_corrects(shop, programs):
    batch = shop.set_up()
    sample = shop.sample(batch, "first piece", 5)
    stated = {"characteristic": "crimp height", "piece": 1, "value": "1.44", "unit": "mm"}
    first = programs["operator"].post(f"samples/{sample['id']}/readings/", stated, status=201)

    corrected = stated | {"value": "1.41", "corrects": first["id"], "reason": "read the wrong piece"}
    second = programs["operator"].post(f"samples/{sample['id']}/readings/", corrected, status=201)

    rows = programs["auditor"].get(f"samples/{sample['id']}/")["readings"]
    assert [(row["value"], row["stands"], row["corrects"]) for row in rows] == [("1.44", False, None), ("1.41", True, first["id"])]
    assert second["correction_reason"] == "read the wrong piece"


def test_sheet_goes_back_is_revised_and_withdrawn(shop, programs):
    sheet = shop.in_review()
    planner, approver = programs["planner"], programs["approver"]

    returned = approver.post(f"sheets/{sheet['id']}/return/", {"comment": "lead L1 is 470 mm"})
    assert (returned["status"], returned["comments"][0]["text"]) == ("draft", "lead L1 is 470 mm")
    termination = returned["terminations"][0]["id"]
    stated = {"lead": "L1", "end": "A", "wires": ["W-075-RD"], "terminal": "T-250-F", "tool": "AP-031", "quantity": 100}
    changed = planner.ask("PUT", f"sheets/{sheet['id']}/terminations/{termination}/", stated | {"wire_length_mm": "18.5 in"}).json
    assert changed["content"]["terminations"][0]["wire_length_mm"] == "469.9"

    planner.post(f"sheets/{sheet['id']}/submit/")
    seen = approver.get(f"sheets/{sheet['id']}/")["content_sha256"]
    approver.post(f"sheets/{sheet['id']}/release/", {"signature": own(), "seen_sha256": seen})
    revision = planner.post(f"sheets/{sheet['id']}/revise/", {"reason": "longer lead"}, status=201)
    assert (revision["revision"], revision["status"], revision["supersedes"]) == (2, "draft", sheet["id"])
    removed = planner.ask("DELETE", f"sheets/{revision['id']}/terminations/{revision['terminations'][0]['id']}/")
    assert removed.status == 204
    assert planner.get(f"sheets/{revision['id']}/")["terminations"] == []

    withdrawn = approver.post(f"sheets/{sheet['id']}/withdraw/", {"reason": "order cancelled", "signature": own()})
    assert withdrawn["status"] == "withdrawn"


def test_reel_tool_and_gauge_are_traced_to_the_customer(shop, programs):
    shop.shipped()
    auditor = programs["auditor"]

    for address in ("terminal-lot/TL-2001", "wire-lot/WL-1001", "tool/AP-031", "gauge/MIC-01"):
        reached = auditor.get(f"trace/where/{address}/")
        assert reached["customers"] == ["Brunnen Pumps"], address
        [batch] = reached["batches"]
        assert batch["shipments"] == [{"shipment": "SH-1", "lot": "HL-1", "customer": "Brunnen Pumps", "harnesses": 60}]
    assert auditor.get("trace/where/gauge/MIC-01/?to=2001-01-01")["batches"] == []
