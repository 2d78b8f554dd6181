"""Sampling schemes by API: opened, asked for a plan, lots inspected and released, ended."""

from shop.materials import TerminalLot
from tests import factories
from tests.api.conftest import SCHEME, own


def inspected(programs, lot, found=0, **more):
    plan = programs["inspector"].get(f"sampling-schemes/SS-0001/plan/?lot={lot}&lot_size=1000")
    body = {"lot": lot, "lot_size": 1000, "found": found, "signature": own(), "seen_sha256": plan["sha256"], **more}
    return programs["inspector"].post("sampling-schemes/SS-0001/lots/", body, status=201)


def test_lots_are_inspected_by_the_plan_the_history_asks_for(programs, catalogue):
    made = programs["quality"].post("sampling-schemes/", SCHEME, status=201)
    assert (made["number"], made["severity"], made["aql"], made["inspections"]) == ("SS-0001", "normal", "1", [])
    for serial in range(3):
        factories.make_terminal_lot(f"TL-7{serial}", catalogue.terminal, state="received")
    assert inspected(programs, "TL-70", 3, defects="burr")["accepted"] is False
    assert TerminalLot.objects.get(lot_number="TL-70").state == "on hold"
    assert inspected(programs, "TL-71", 3, defects="burr")["severity_after"] == "tightened"
    plan = programs["inspector"].get("sampling-schemes/SS-0001/plan/?lot=TL-72&lot_size=1000")
    assert (plan["severity"], plan["n"], plan["ac"], plan["table"]) == ("tightened", 80, 1, "MIL-STD-105E Table I, Table II-B")
    assert inspected(programs, "TL-72")["accepted"] is True
    programs["inspector"].post("sampling-schemes/SS-0001/lots/3/release/", {})
    assert TerminalLot.objects.get(lot_number="TL-72").state == "released"
    whole = programs["auditor"].get("sampling-schemes/SS-0001/")
    assert (whole["severity"], whole["why"], len(whole["inspections"])) == ("tightened", "two of five not accepted", 3)


def test_inspection_is_done_once_for_a_key(programs, catalogue):
    programs["quality"].post("sampling-schemes/", SCHEME, status=201)
    plan = programs["inspector"].get("sampling-schemes/SS-0001/plan/?lot=TL-2001&lot_size=1000")
    body = {"lot": "TL-2001", "lot_size": 1000, "found": 0, "signature": own(), "seen_sha256": plan["sha256"]}
    first, again = (programs["inspector"].post("sampling-schemes/SS-0001/lots/", body, status=201, key="k-1") for _ in range(2))
    assert first == again
    assert programs["inspector"].refused("sampling-schemes/SS-0001/lots/", body, status=422) == ["sampling.again"]


def test_refusals_name_their_rule(programs, catalogue):
    quality = programs["quality"]
    assert quality.refused("sampling-schemes/", SCHEME | {"aql": "1.2"}, status=422) == ["sampling.table"]
    assert quality.refused("sampling-schemes/", SCHEME | {"aql": "NaN"}, status=422) == ["data.invalid"]
    assert quality.refused("sampling-schemes/", SCHEME | {"terminal": "NONE"}, status=422) == ["data.unknown"]
    assert programs["inspector"].refused("sampling-schemes/", SCHEME, status=403) == ["person.role"]
    quality.post("sampling-schemes/", SCHEME, status=201)
    assert programs["inspector"].ask("GET", "sampling-schemes/SS-0001/plan/?lot=NONE&lot_size=10").rules == ["sampling.lot"]
    assert programs["inspector"].ask("GET", "sampling-schemes/SS-0001/plan/?lot=TL-2001&lot_size=x").rules == ["data.positive"]
    ended = quality.post("sampling-schemes/SS-0001/end/", {"reason": "supplier certified"})
    assert ended["ended_because"] == "supplier certified"
    assert quality.get("sampling-schemes/?in_force=true")["count"] == 0
    assert quality.get("sampling-schemes/?terminal=T-250-F")["count"] == 1
