"""The auditor reads everything and writes nothing but documents and evidence."""

from __future__ import annotations

import re

from records.models import IssuedDocument, LedgerEntry
from shop.acts.documents import attach_file
from shop.clock import now
from shop.jobs import Job
from shop.models import Document, Tool
from shop.rechecks import PartsList
from tests import factories
from tests.api.conftest import (
    STUDY,
    a_case,
    a_nonconformance,
    every_write,
    keeping_addresses,
    limits_address,
    scheme_address,
    study_address,
    template_for,
)

TEMPLATE = re.compile(r"\{(\w+)\}")


def test_auditor_reads_every_address(shop, programs, spec, shop_key, django_capture_on_commit_callbacks):
    """Every address with GET of the schema, with keys of things that exist."""
    shop.shipped()
    factories.make_press("PR-01")
    auditor = programs["auditor"]
    document = auditor.post("documents/", {"kind": "lot-trace", "number": "HL-1"})
    batch = auditor.get("batches/")["results"][0]
    shop.programs["quality"].post("catalogue/wires/", {"part_number": "W-9", "size": "1 mm2", "insulation_od_mm": "2"})
    shop.programs["quality"].post("catalogue/presses/", {"asset_number": "PR-9"})
    parts = PartsList.objects.create(
        job=Job.objects.first(), file_name="x.csv", sha256="0" * 64, header=["lead"], by=factories.make_person("u-parts"), at=now()
    )
    with_file = {"name": "as.pdf", "data": b"%PDF-1.4 %%EOF", "by": programs["quality"].person, "at": now()}
    attach_file(document=Document.objects.first(), **with_file)
    shop.programs["quality"].post("studies/", STUDY)
    with django_capture_on_commit_callbacks(execute=True):
        package = auditor.post("evidence-packages/", {"of": "lot", "number": "HL-1"}, status=201)
        order = auditor.post("document-orders/", {"document_kind": "lot-trace", "number": "HL-1"}, status=201)
    keeping_addresses()
    numbers = {
        "containment": a_case()[0].number,
        "nonconformances": a_nonconformance().number,
        "studies": "ST-0001",
        "sampling-schemes": scheme_address().split("/")[1],
        "harness-lots": "HL-1",
        "shipments": "SH-1",
        "shipment": "SH-1",
        "lot": "HL-1",
        "documents": document["number"],
        "legal-holds": "LH-0001",
        "disposals": "DP-0001",
    }

    for path in spec["paths"]:
        if "get" not in spec["paths"][path]:
            continue
        address = path.removeprefix("/api/v1/")
        place = address.split("/")
        if place[0] == "catalogue" and "{id}" in address:
            first = auditor.get(f"catalogue/{place[1]}/?limit=1")["results"][0]["id"]
            first = Document.objects.first().pk if place[1] == "documents" else first
            address = address.replace("{id}", str(first))
        elif place[0] == "parts-lists":
            address = address.replace("{id}", str(parts.pk))
        elif address.endswith("{number}/plan/"):
            address = f"{scheme_address()}plan/?lot=TL-2001&lot_size=1000"
        elif place[0] == "document-orders":
            address = address.replace("{id}", str(order["id"]))
        elif place[0] == "evidence-packages":
            address = address.replace("{id}", str(package["id"]))
        elif place[0] == "people":
            address = address.replace("{username}", "quality")
        elif address == "charts/":
            address += "?tool=AP-031&terminal=T-250-F&csa=0.754"
        elif address == "fit/matrix/":
            address += "?of=terminal&number=T-250-F"
        elif place[0] == "holds" and "{id}" in address:
            continue  # there is none in a job that went well
        elif place[0] in ("jobs", "sheets", "batches", "samples") and "{id}" in address:
            pk = auditor.get(f"{place[0]}/")["results"][0]["id"] if place[0] != "samples" else batch_sample(auditor, batch)
            address = address.replace("{id}", str(pk)).replace("{termination_pk}", str(batch["termination"]))
        elif place[0] == "attachments":
            paper = keeping_addresses()[0]
            address = f"attachments/tools/{Tool.objects.first().pk}/" if "{kind}" in address else f"{paper}file/"
        elif address == "disposals/due/":
            address += "?kind=audit+trails"
        elif place[0] == "trail":
            address = f"trail/tools/{Tool.objects.first().pk}/"
        elif "graph" in place:
            address = f"trace/graph/tool/{Tool.objects.get(asset_number='AP-031').pk}/"
        elif address == "containment/suspects/":
            address += "?question=tool&subject=AP-031"
        elif place[0] == "search":
            address += "?text=ap 31"
        elif "where" in place:
            address = "trace/where/tool/AP-031/"
        elif place[0] == "trace":
            address = address.replace("{number}", numbers.get(place[1], "")) if len(place) > 2 else "trace/?number=AP-031"
        else:
            address = address.replace("{number}", numbers.get(place[0], "")).replace("{issue}", str(document["issue"]))
        assert not TEMPLATE.search(address), address
        answer = auditor.ask("GET", address)
        text = answer.text
        assert answer.status == 200, (address, text)


def batch_sample(auditor, batch):
    return auditor.get(f"batches/{batch['id']}/samples/")[0]["id"]


FREE = {
    ("POST", "/api/v1/token/"),
    ("DELETE", "/api/v1/me/token/"),
    ("POST", "/api/v1/fit/"),  # writes nothing
    ("POST", "/api/v1/documents/"),
    ("POST", "/api/v1/jobs/{id}/parts-lists/"),  # takes a file: test_planning_aids has it refused
    ("POST", "/api/v1/evidence/{kind}/{number}/"),
    ("POST", "/api/v1/evidence-packages/"),
    ("POST", "/api/v1/document-orders/"),
    ("POST", "/api/v1/calibration-status/"),
    ("POST", "/api/v1/nonconformances/{number}/report/"),
    ("POST", "/api/v1/attachments/{kind}/{id}/"),  # takes a file: test_keeping has it refused
    ("POST", "/api/v1/disposals/{number}/certificate/"),
    ("POST", "/api/v1/trail/{kind}/{id}/"),
    # Saved questions are no records: everybody keeps their own.
    ("POST", "/api/v1/saved-searches/"),
    ("PUT", "/api/v1/saved-searches/{id}/"),
    ("DELETE", "/api/v1/saved-searches/{id}/"),
}


def test_auditor_writes_nothing(shop, programs, spec, catalogue):
    """Every write of the schema is tried as the auditor and refused for the role; no entry is made."""
    batch = shop.running()
    sample = shop.sample(batch, "in process", 50)
    hold = programs["operator"].post(f"batches/{batch['id']}/hold/", {"reason": "burr", "at_count": 50})
    sheet = programs["auditor"].get("sheets/")["results"][0]
    study_address()
    limits_address()
    writes = every_write(batch, sample, hold, sheet, catalogue)
    entries = LedgerEntry.objects.count()

    for method, address, body in writes:
        answer = programs["auditor"].ask(method, address, body)
        assert answer.status in (403, 422), (address, answer.response.content)
        assert "person.role" in answer.rules, (address, answer.rules)
    imported = programs["auditor"].ask("POST", "catalogue/wires/import/", raw="part_number\nW-9\n", content_type="text/csv")
    assert (imported.status, imported.rules) == (403, ["person.role"])

    assert LedgerEntry.objects.count() == entries
    tried = {(method, template_for(spec, address)) for method, address, _body in writes}
    every = {(method.upper(), path) for path, methods in spec["paths"].items() for method in methods if method != "get"}
    # Every kind of the catalogue has the same views: one kind stands for all.
    assert {one for one in every - tried - FREE if "/catalogue/" not in one[1]} == set()


def test_auditor_issues_documents_and_packs_evidence(shop, programs, shop_key):
    shop.shipped()

    programs["auditor"].post("documents/", {"kind": "batch-record", "number": "J-9001-S1-B01"}, status=201)
    again = programs["auditor"].post("documents/", {"kind": "batch-record", "number": "J-9001-S1-B01"}, status=201)

    assert (again["issue"], again["issued_by"], IssuedDocument.objects.count()) == (1, "auditor", 1)
    assert programs["auditor"].ask("POST", "evidence/lot/HL-1/").status == 200
    assert programs["auditor"].refused("evidence/batch/HL-1/", status=404) == ["api.not_found"]


def test_long_documents_are_asked_for_and_followed(shop, programs, shop_key, django_capture_on_commit_callbacks):
    shop.shipped()
    auditor = programs["auditor"]
    batch = auditor.get("batches/")["results"][0]
    bodies = [
        {"document_kind": "batch-record", "number": batch["number"]},
        {"document_kind": "lot-trace", "number": "HL-1"},
        {"document_kind": "shipment-trace", "number": "SH-1"},
        {"document_kind": "audit-trail", "about": "batch", "id": batch["id"]},
    ]
    for body in bodies:
        with django_capture_on_commit_callbacks(execute=True):
            asked = auditor.post("document-orders/", body, status=201)
        assert (asked["document_kind"], asked["state"], asked["document"]) == (body["document_kind"], "waiting", "")
        told = auditor.get(f"document-orders/{asked['id']}/")
        assert (told["state"], told["fault"], told["is_lost"]) == ("done", "", False)
        document = auditor.get(told["document"].removeprefix("/api/v1/"))
        assert document["kind"] == {"batch-record": "batch record", "audit-trail": "audit trail"}.get(body["document_kind"], "trace report")
    assert [one["document_kind"] for one in auditor.get("document-orders/")["results"]] == [
        body["document_kind"] for body in reversed(bodies)
    ]
    for body in (
        {"document_kind": "audit-trail"},
        {"document_kind": "audit-trail", "about": "batch", "id": 999_999},
        {"document_kind": "batch-record"},
    ):
        auditor.post("document-orders/", body, status=422)
