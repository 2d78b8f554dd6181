"""Lots after they were built, the trace as a graph, and containment, through the API."""

from __future__ import annotations

from tests.api.conftest import own


def test_lot_is_split_and_its_trace_is_a_graph(shop, programs):
    shop.shipped()

    parts = [{"number": "HL-1-A", "quantity": 10}, {"number": "HL-1-B", "quantity": 5}]
    made = programs["planner"].post("harness-lots/HL-1/split/", {"parts": parts, "signature": own()}, status=201)
    lot = programs["auditor"].get("harness-lots/HL-1/")
    graph = programs["auditor"].get(f"trace/graph/harness-lot/{made[0]['id']}/?direction=behind")

    assert [(one["number"], one["left"], one["parts"][0]["kind"]) for one in made] == [
        ("HL-1-A", 10, "split off"),
        ("HL-1-B", 5, "split off"),
    ]
    assert (lot["quantity"], lot["left"]) == (100, 25)
    assert {"wire lot", "terminal lot", "tool", "gauge", "person", "batch"} <= {node["kind"] for node in graph["nodes"]}
    assert graph["batches"] == 1


def test_split_of_more_than_is_left_is_refused(shop, programs):
    shop.shipped()
    body = {"parts": [{"number": "HL-1-A", "quantity": 41}], "signature": own()}

    assert programs["planner"].refused("harness-lots/HL-1/split/", body) == ["lot.lot.quantity"]


def test_return_is_kept_back_and_released(shop, programs):
    shop.shipped()
    body = {"number": "SH-1-B1", "lot": "HL-1", "quantity": 2, "reason": "bent", "signature": own()}

    back = programs["planner"].post("shipments/SH-1/returns/", body, status=201)
    free = programs["quality"].post("harness-lots/SH-1-B1/release/", {"reason": "looked at", "signature": own()})

    assert (back["kept_back"], free["kept_back"]) == ("returned: bent", "")
    assert programs["planner"].refused("shipments/SH-1/returns/", body | {"number": "X", "quantity": 59}) == ["return.quantity"]


def test_serial_numbers_are_built_in_and_shipped(shop, programs):
    batch = shop.closed()
    body = {"number": "HL-1", "job": "J-9001", "quantity": 2, "batches": [{"batch": batch["number"], "quantity": 2}], "signature": own()}
    programs["planner"].post("harness-lots/", body | {"serials": ["SN-1", "SN-2"]}, status=201)
    sent = {"number": "SH-1", "customer": "BRUNNEN", "lots": [{"lot": "HL-1", "quantity": 1}], "signature": own()}

    assert programs["quality"].refused("shipments/", sent) == ["lot.serials.count"]
    programs["quality"].post("shipments/", sent | {"lots": [{"lot": "HL-1", "quantity": 1, "serials": ["SN-2"]}]}, status=201)
    (found,) = programs["auditor"].get("trace/?number=SN-2")
    graph = programs["auditor"].get(found["address"].removeprefix("/api/v1/") + "?direction=ahead")

    assert "SH-1" in [node["name"] for node in graph["nodes"]]


def test_case_is_opened_worked_through_and_closed(shop, programs):
    shop.shipped()
    quality = programs["quality"]
    question = {"question": "terminal lot", "subject": "TL-2001"}
    found = programs["auditor"].get("containment/suspects/?question=terminal%20lot&subject=TL-2001")
    case = quality.post("containment/", question | {"reason": "flakes", "shown": len(found), "signature": own()}, status=201)
    stock, sent = case["suspects"]
    decisions = f"containment/{case['number']}/suspects/{{}}/decisions/"

    assert [(one["place"], one["quantity"]) for one in found] == [("lot in stock", 40), ("shipped", 60)]
    assert quality.refused(f"containment/{case['number']}/closure/", {"conclusion": "x", "signature": own()}) == [
        "containment.open",
        "containment.open",
        "containment.notice",
    ]
    for one, kind, quantity in ((stock, "found good", 40), (sent, "customer notified", 0), (sent, "accepted by customer", 60)):
        body = {"kind": kind, "quantity": quantity, "note": "looked at", "signature": own()}
        quality.post(decisions.format(one["id"]), body, status=201)
    closed = quality.post(f"containment/{case['number']}/closure/", {"conclusion": "supplier told", "signature": own()})

    assert closed["closed_by"] == "quality"
    assert programs["auditor"].get("containment/?open=true")["results"] == []


def test_question_about_nothing_is_refused(shop, programs):
    shop.closed()

    assert programs["quality"].refused("containment/suspects/?question=tool&subject=AP-999", method="GET") == ["data.invalid"]
    body = {"question": "tool", "subject": "AP-040", "reason": "x", "shown": 1, "signature": own()}
    assert programs["quality"].refused("containment/", body) == ["containment.empty"]
