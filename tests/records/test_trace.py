"""Forward and backward through any depth: what a trace finds, its tree, its picture, its rows."""

from __future__ import annotations

import copy
import csv
import io
import re
import xml.etree.ElementTree as ET
from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from hypothesis import given
from hypothesis import strategies as st

from inspection.models import Batch
from records.acts.lot_changes import RETURNED_MEANING, SPLIT_MEANING, SplitPart, receive_return, split_lot
from records.acts.lots import BUILT_MEANING, build_lot
from records.models import HarnessLot, HarnessSerial, ShipmentLot
from records.trace import MOST_BATCHES, Found, Totals, batches_with, find, first_batches, totals, totals_with
from records.trace_drawing import MOST_IN_A_LAYER, drawing
from records.trace_graph import KINDS, Graph, Node
from records.trace_walk import ahead, behind
from shop.clock import now
from shop.crib import WearPart
from shop.tools import Calibration
from tests import factories


@pytest.fixture
def split(cast, lot, hand):
    at = now()
    signing = hand("planner").sign(SPLIT_MEANING, at)
    return split_lot(lot=lot, parts=[SplitPart("HL-1-A", 30)], by=cast.planner, at=at, signing=signing)[0]


def names(graph, kind):
    return sorted(node.name for node in graph.nodes.values() if node.kind == kind)


def notes(graph, kind, name):
    """What the edges between a thing and its batches say."""
    key = next(node.key for node in graph.nodes.values() if (node.kind, node.name) == (kind, name))
    return [edge.words for edge in graph.edges.values() if edge.source == key]


def test_everything_stands_behind_a_shipment_with_quantities(shipment, batch, catalogue):
    graph = behind(Found("shipment", shipment.pk, "SH-1"))

    assert names(graph, "harness lot") == ["HL-1"]
    assert names(graph, "batch") == [batch.number]
    assert names(graph, "wire lot") == ["WL-1001"]
    assert names(graph, "terminal lot") == ["TL-2001"]
    assert names(graph, "tool") == ["AP-031"]
    assert names(graph, "gauge") == ["CAL-01", "MIC-01", "PULL-01"]
    assert names(graph, "sheet") == [f"{batch.termination.sheet.number} 1"]
    assert names(graph, "document") == ["AS-250 B"]
    assert names(graph, "person") == ["operator"]
    assert notes(graph, "harness lot", "HL-1") == ["60 harnesses"]
    assert notes(graph, "batch", batch.number) == ["100 pieces"]
    assert notes(graph, "terminal lot", "TL-2001") == ["104 pieces, pieces 1 to 104"]


def test_gauge_stands_with_the_calibration_that_was_in_force(shipment, catalogue):
    then = Calibration.objects.get(gauge=catalogue.micrometer)
    factories.make_calibration(catalogue.micrometer, calibrated_on=factories.days(1), certificate="CC-LATER")

    graph = behind(Found("shipment", shipment.pk, "SH-1"))

    (words,) = notes(graph, "gauge", "MIC-01")
    assert words == f"calibration {then.certificate}, in tolerance, until {then.due_on}"


def test_person_stands_with_what_they_did_and_the_qualification_in_force(shipment):
    graph = behind(Found("shipment", shipment.pk, "SH-1"))

    (words,) = notes(graph, "person", "operator")
    assert words.startswith("opened, set up, measured, looked at pieces, closed; qualified for ")
    assert "crimp (TR-118)" in words


def test_wear_part_counts_where_it_was_fitted_then(batch, catalogue, cast):
    fitted = {"tool": catalogue.tool, "kind": "anvil", "part_number": "AN-1", "fitted_by": cast.quality}
    WearPart.objects.create(
        serial="A-OLD",
        fitted_on=factories.days(-90),
        fitted_at_count=0,
        removed_on=factories.days(-30),
        removed_at_count=0,
        removed_by=cast.quality,
        **fitted,
    )
    now_in = WearPart.objects.create(serial="A-NOW", fitted_on=factories.days(-30), fitted_at_count=0, **fitted)

    assert names(behind(Found("batch", batch.pk, batch.number)), "wear part") == ["A-NOW"]
    assert list(batches_with(Found("wear part", now_in.pk, "A-NOW"))) == [batch]


def test_reel_reaches_the_customer_through_lots_in_lots(shipment, split, catalogue):
    graph = ahead(Found("terminal lot", catalogue.terminal_lot.pk, "TL-2001"))

    assert names(graph, "harness lot") == ["HL-1", "HL-1-A"]
    assert names(graph, "shipment") == ["SH-1"]
    assert names(graph, "customer") == ["BRUNNEN"]
    assert "30 harnesses, split off" in notes(graph, "harness lot", "HL-1")
    assert graph.nodes["harness lot", split.pk].note.endswith("30 in stock")


def test_more_lots_and_gauges_ask_no_more_questions(signed_in, cast, shipment, split, lot, catalogue, hand, django_assert_num_queries):
    client = signed_in(cast.auditor)
    pages = [
        reverse("prove:trace", args=["terminal-lot", catalogue.terminal_lot.pk]),
        reverse("prove:trace", args=["shipment", shipment.pk]),
        reverse("prove:shipment", args=[shipment.number]),
        reverse("prove:lot", args=["HL-1-A"]),
    ]
    for page in pages:
        client.get(page)  # who looked is noted once
    asked = []
    for page in pages:
        with CaptureQueriesContext(connection) as questions:
            assert client.get(page).status_code == 200
        asked.append(len(questions))

    at = now()
    for name in ("HL-1-B", "HL-1-C"):
        split_lot(lot=lot, parts=[SplitPart(name, 2)], by=cast.planner, at=at, signing=hand("planner").sign(SPLIT_MEANING, at))
    ShipmentLot.objects.create(shipment=shipment, lot=HarnessLot.objects.get(number="HL-1-B"), quantity=2)

    for page, count in zip(pages, asked, strict=True):
        assert client.get(page).status_code == 200
        with django_assert_num_queries(count):
            client.get(page)


def test_lot_split_off_has_the_batches_of_its_lot_behind_it(split, batch):
    found = Found("harness lot", split.pk, "HL-1-A")

    assert names(behind(found), "batch") == [batch.number]
    assert list(batches_with(found)) == [batch]


def test_return_is_ahead_of_its_shipment(shipment, lot, cast, hand):
    at = now()
    receive_return(
        shipment=shipment,
        lot=lot,
        number="SH-1-B1",
        quantity=3,
        reason="bent",
        by=cast.planner,
        at=at,
        signing=hand("planner").sign(RETURNED_MEANING, at),
    )

    graph = ahead(Found("shipment", shipment.pk, "SH-1"))

    assert names(graph, "harness lot") == ["SH-1-B1"]
    assert "3 harnesses, returned: bent" in [edge.words for edge in graph.edges.values()]


def test_serial_number_finds_its_lot_and_what_is_behind_it(batch, cast, hand):
    at = now()
    signing = hand("planner").sign(BUILT_MEANING, at)
    job = batch.termination.sheet.job
    build_lot(number="HL-7", job=job, quantity=2, batches={batch.pk: 2}, serials=["SN-1", "SN-2"], by=cast.planner, at=at, signing=signing)

    (found,) = find("sn-2")

    assert (found.kind, found.pk) == ("serial", HarnessSerial.objects.get(serial="SN-2").pk)
    assert names(behind(found), "batch") == [batch.number]
    assert names(ahead(found), "harness lot") == ["HL-7"]


@pytest.mark.parametrize(
    ("text", "kind"),
    [
        ("SH-1", "shipment"),
        ("hl-1", "harness lot"),
        ("WL-1001", "wire lot"),
        ("TL-2001", "terminal lot"),
        ("AP-031", "tool"),
        ("MIC-01", "gauge"),
        ("B-operator", "person"),
        ("AS-250 B", "document"),
        ("BRUNNEN", "customer"),
    ],
)
def test_number_of_anything_opens_its_page(signed_in, cast, shipment, text, kind):
    client = signed_in(cast.auditor)

    answer = client.get(reverse("prove:search"), {"number": text})

    assert answer.status_code == 302
    assert client.get(answer.url).status_code == 200
    assert [one.kind for one in find(text)] == [kind]


def test_totals_are_true_however_little_is_read(signed_in, cast, shipment, split, batch, catalogue):
    found = Found("tool", catalogue.tool.pk, "AP-031")
    assert totals_with(found) == Totals(1, 104, 2, 1, ("Brunnen Pumps",))

    more = [copy.copy(batch) for _one in range(MOST_BATCHES)]
    for number, one in enumerate(more):
        one.pk, one.number, one.opened_at = None, f"B-LATER-{number:03}", batch.opened_at + timedelta(minutes=number + 1)
    Batch.objects.bulk_create(more)

    assert totals_with(found) == Totals(201, 201 * 104, 2, 1, ("Brunnen Pumps",)) == totals(batches_with(found))
    assert sorted(names(ahead(found), "batch")) == sorted([batch.number, *(one.number for one in more[:-1])])  # the oldest
    page = signed_in(cast.auditor).get(reverse("prove:trace", args=["tool", catalogue.tool.pk]))
    assert "Only the oldest 200 batches are drawn and listed below" in page.content.decode()


@pytest.mark.parametrize("days", [(None, None), (-1, None), (None, 1), (-1, 1), (1, None), (None, -1)])
def test_totals_asked_at_once_are_those_of_the_batches_in_the_time(shipment, split, batch, catalogue, cast, days):
    """The composed question answers as the plain one, whatever of the time is told."""
    begin, end = (batch.opened_at + timedelta(days=day) if day else None for day in days)
    inside = not (days[0] == 1 or days[1] == -1)
    for found in (
        Found("terminal lot", catalogue.terminal_lot.pk, "TL-2001"),
        Found("gauge", batch.scans.filter(gauge__isnull=False).first().gauge_id, "a gauge"),
        Found("person", cast.operator.pk, "operator"),
        Found("shipment", shipment.pk, "SH-1"),
        Found("customer", catalogue.customer.pk, "a customer"),
    ):
        assert totals_with(found, begin, end) == totals(batches_with(found, begin, end))
        assert first_batches(found, begin, end) == ([batch.pk] if inside else []), found


@pytest.mark.parametrize("kind", KINDS)
def test_every_kind_is_asked_about_without_finding_what_is_not_there(signed_in, cast, shipment, kind):
    """A thing that exists opens its trace; one that does not is no page."""
    client = signed_in(cast.auditor)
    address = reverse("prove:trace", args=[kind.replace(" ", "-"), 999_999])

    assert client.get(address).status_code == 404


def test_trace_page_shows_tree_and_picture_and_links_every_record(signed_in, cast, shipment):
    client = signed_in(cast.auditor)

    page = client.get(reverse("prove:trace", args=["shipment", shipment.pk])).content.decode()

    assert "<svg" in page
    assert "<details open><summary>" in page
    for name in ("HL-1", "WL-1001", "AP-031", "MIC-01", "Rows (CSV)"):
        assert name in page
    for url in set(re.findall(r'<a href="(/[^"]+)">', page[page.index('class="trace-tree"') :])):
        assert client.get(url).status_code == 200, url


def test_days_without_the_thing_show_nothing(signed_in, cast, shipment, catalogue):
    client = signed_in(cast.auditor)
    address = reverse("prove:trace", args=["tool", catalogue.tool.pk])

    page = client.get(address, {"from": factories.days(1).isoformat()}).content.decode()

    assert "It went into nothing in this time." in page


def test_rows_for_a_spreadsheet_hold_every_edge(signed_in, cast, shipment, batch):
    client = signed_in(cast.auditor)

    answer = client.get(reverse("prove:trace-rows", args=["shipment", shipment.pk]))
    rows = list(csv.DictReader(io.StringIO(answer.content.decode("utf-8-sig"))))

    assert answer["Content-Type"].startswith("text/csv")
    assert len(rows) == len(behind(Found("shipment", shipment.pk, "SH-1")).edges)
    (sent,) = [row for row in rows if row["to kind"] == "shipment"]
    assert (sent["from"], sent["to"], sent["quantity"], sent["unit"]) == ("HL-1", "SH-1", "60", "harnesses")


def test_where_page_gives_true_sums_and_a_page_of_batches(signed_in, cast, shipment, catalogue):
    page = signed_in(cast.quality).get(reverse("prove:where", args=["person", "operator"])).context["page"]

    assert (page.batches, page.pieces, page.lots, page.shipments, page.customers) == (1, 104, 1, 1, ["Brunnen Pumps"])
    assert page.contain_url == "/prove/containment/new/?question=person&subject=operator"


# --- Pure ------------------------------------------------------------------------------------------------------------------------


@st.composite
def graphs(draw):
    """Graphs without a circle: every edge leads to a later node."""
    count = draw(st.integers(1, 25))
    graph = Graph()
    for number in range(count):
        graph.add(Node(KINDS[min(number // 3, len(KINDS) - 1)], number, f"N-{number}<&>"))
    keys = list(graph.nodes)
    pairs = st.tuples(st.integers(0, count - 1), st.integers(0, count - 1)).filter(lambda pair: pair[0] < pair[1])
    for first, second in draw(st.lists(pairs, max_size=40)) if count > 1 else []:
        graph.join(keys[first], keys[second], draw(st.none() | st.integers(0, 10**6)), "pieces")
    return graph


@given(graphs())
def test_every_edge_leads_to_a_later_layer(graph):
    layer = {node.key: index for index, nodes in enumerate(graph.layers()) for node in nodes}

    assert set(layer) == set(graph.nodes)
    assert all(layer[edge.source] < layer[edge.target] for edge in graph.edges.values())


@given(graphs())
def test_tree_holds_exactly_what_can_be_reached(graph):
    root = next(iter(graph.nodes))
    reached, waiting = {root}, [root]
    while waiting:
        key = waiting.pop()
        for edge in graph.edges.values():
            if edge.source == key and edge.target not in reached:
                reached.add(edge.target)
                waiting.append(edge.target)

    twigs = list(graph.tree(root, behind=False))

    assert {twig.node.key for twig in twigs} == reached
    assert sum(1 for twig in twigs if twig.twigs) <= len(reached)  # nothing branches twice


@given(graphs())
def test_picture_is_sound_xml_with_every_box_that_is_not_left_out(graph):
    picture, left_out = drawing(graph, next(iter(graph.nodes)))

    boxes = ET.fromstring(picture).findall(".//{http://www.w3.org/2000/svg}rect")  # noqa: S314  # our own drawing
    assert len(boxes) == len(graph.nodes) - left_out
    assert "<script" not in picture
    assert " style=" not in picture


def test_picture_leaves_out_what_is_too_much_but_never_the_thing_asked_about():
    graph = Graph()
    keys = [graph.add(Node("tool", number, f"T-{number:02d}")) for number in range(MOST_IN_A_LAYER + 5)]
    batch = graph.add(Node("batch", 1, "B-1"))
    for key in keys:
        graph.join(key, batch)

    picture, left_out = drawing(graph, keys[-1])

    assert left_out == 5
    assert f"T-{MOST_IN_A_LAYER + 4:02d}" in picture


def test_circle_is_an_error_and_no_endless_tree():
    graph = Graph()
    first, second = graph.add(Node("harness lot", 1, "A")), graph.add(Node("harness lot", 2, "B"))
    graph.join(first, second)
    graph.join(second, first)

    assert len(list(graph.tree(first, behind=False))) == 3
    with pytest.raises(ValueError, match="circle"):
        graph.layers()
