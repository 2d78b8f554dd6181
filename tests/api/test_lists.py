"""Lists: the same number of queries for one item and for three, and pages that can be walked."""

from __future__ import annotations

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from inspection.acts.batches import open_batch
from inspection.acts.holds import raise_hold
from inspection.models import Batch, Hold
from records.models import DocumentKind, HarnessLot, HarnessLotBatch, IssuedDocument, Shipment, ShipmentLot
from shop.catalogue import KINDS
from shop.clock import now
from shop.tools import GaugeOutput
from tests import factories


def queries_of(program, address):
    program.get(address)  # what is cached once is not the list's
    with CaptureQueriesContext(connection) as asked:
        listed = program.get(address)
    return len(asked), len(listed.get("results", listed.get("batches")))


def more_of_everything(number):
    """One more item of every kind, none sharing what it refers to with another."""
    name = f"X-{number}"
    document = factories.make_document(name)
    wire, terminal = factories.make_wire(name, "24x0.2", "1.9"), factories.make_terminal(name, ("0.5", "1.5"), ("1.4", "2.6"))
    tool = factories.make_tool(name)
    press = factories.make_press(name)
    gauge = factories.make_gauge(name, "caliper", "mm", "0.01")
    gauge.output = GaugeOutput.objects.create(name=name)
    gauge.save()
    person = factories.make_person(f"x{number}", "operator", "inspector")
    factories.make_qualification(person, "crimp")
    factories.make_row(tool, terminal, ("0.5", "1.5"), ("1.4", "2.6"))
    factories.make_specification(name, terminal, document, ("0.5", "1.5"))
    factories.make_wire_lot(name, wire)
    factories.make_terminal_lot(f"{name}T", terminal)
    factories.Customer.objects.create(code=name, name=name)
    factories.make_station(name, tools=[tool], press=press)


@pytest.mark.parametrize("slug", KINDS)
def test_catalogue_list_asks_the_same_for_more_items(slug, program, cast):
    asking = program(cast.auditor)
    more_of_everything(1)
    few, listed_few = queries_of(asking, f"catalogue/{slug}/")
    more_of_everything(2)
    more_of_everything(3)
    many, listed_many = queries_of(asking, f"catalogue/{slug}/")

    assert listed_many == listed_few + 2
    assert many == few


def jobs(cast, catalogue, number):
    factories.released(cast, catalogue)


def batches(cast, catalogue, number):
    sheet = factories.released(cast, catalogue)
    open_batch(termination=sheet.terminations.get(), quantity=50, by=cast.operator, at=now())


def holds(cast, catalogue, number):
    batches(cast, catalogue, number)
    batch = Batch.objects.order_by("-pk").first()
    batch.status = "running"
    batch.save()
    raise_hold(batch=batch, reason="burr", at_count=3, by=cast.operator, at=now())


def lots(cast, catalogue, number):
    batches(cast, catalogue, number)
    batch = Batch.objects.order_by("-pk").first()
    lot = HarnessLot.objects.create(
        number=f"HL-{number}", job=batch.termination.sheet.job, quantity=5, built_at=now(), built_by=cast.planner
    )
    HarnessLotBatch.objects.create(lot=lot, batch=batch, quantity=5)
    shipment = Shipment.objects.create(number=f"SH-{number}", customer=catalogue.customer, shipped_at=now(), shipped_by=cast.quality)
    ShipmentLot.objects.create(shipment=shipment, lot=lot, quantity=2)


def documents(cast, catalogue, number):
    IssuedDocument.objects.create(
        number=f"SS-{number}",
        issue=1,
        kind=DocumentKind.SETUP_SHEET,
        title="Setup sheet",
        subject_kind="setup sheet",
        subject_id=number,
        record="{}",
        record_sha256="0" * 64,
        sha256="0" * 64,
        size=1,
        issued_at=now(),
        issued_by=cast.planner,
    )


LISTS = {
    "jobs/": jobs,
    "sheets/": jobs,
    "batches/": batches,
    "holds/": holds,
    "harness-lots/": lots,
    "shipments/": lots,
    "trace/where/tool/AP-031/": lots,
    "documents/": documents,
    "ledger/?kind=sheet.released": jobs,
}


@pytest.mark.parametrize("address", LISTS)
def test_list_asks_the_same_for_one_and_for_three(address, program, cast, catalogue):
    asking, make = program(cast.auditor), LISTS[address]
    make(cast, catalogue, 1)
    if "where" in address:
        Batch.objects.update(tool=catalogue.tool)
    few, one = queries_of(asking, address)
    make(cast, catalogue, 2)
    make(cast, catalogue, 3)
    if "where" in address:
        Batch.objects.update(tool=catalogue.tool)
    many, three = queries_of(asking, address)

    assert (one, three) == (1, 3)
    assert many == few


def test_ledger_is_read_on_from_where_one_was(program, cast, catalogue):
    factories.released(cast, catalogue)
    asking = program(cast.auditor)
    everything = asking.get("ledger/")["results"]

    rest = asking.get(f"ledger/?after={everything[1]['number']}")["results"]

    assert rest == everything[2:]
    assert [entry["kind"] for entry in everything] == [
        "job.opened",
        "sheet.drafted",
        "sheet.termination_planned",
        "sheet.submitted",
        "sheet.released",
    ]
    assert (everything[-1]["signature"]["meaning"], everything[0]["signature"]) == ("released", None)
    assert [entry["previous_hash"] for entry in everything[1:]] == [entry["hash"] for entry in everything[:-1]]


def test_pages_are_walked_by_their_links(program, cast, catalogue):
    factories.released(cast, catalogue)
    asking, numbers, address = program(cast.auditor), [], "ledger/?limit=2"

    while address:
        page = asking.get(address)
        numbers += [entry["number"] for entry in page["results"]]
        address = (page["next"] or "").rpartition("/api/v1/")[2]

    assert numbers == [1, 2, 3, 4, 5]


def test_lists_are_narrowed(program, cast, catalogue):
    released, draft = factories.released(cast, catalogue), factories.draft(cast, catalogue)
    batches(cast, catalogue, 1)
    asking = program(cast.auditor)

    assert [s["id"] for s in asking.get("sheets/?status=draft")["results"]] == [draft.pk]
    assert [s["id"] for s in asking.get(f"sheets/?search={released.number}")["results"]] == [released.pk]
    assert [j["number"] for j in asking.get("jobs/?sheet=draft")["results"]] == [draft.job.number]
    batch = Batch.objects.get()
    assert [b["number"] for b in asking.get(f"batches/?number={batch.number}&status=set-up")["results"]] == [batch.number]
    assert asking.get("batches/?status=closed")["count"] == 0
    assert Hold.objects.count() == asking.get("holds/")["count"] == 0
