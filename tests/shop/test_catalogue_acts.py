import json

import pytest

from records.models import LedgerEntry
from shop.acts.catalogue import save_item, seen, set_gauge_state, set_lot_state, set_tool_state
from shop.catalogue import KINDS
from shop.clock import now
from shop.finding import Refused
from shop.materials import Wire
from shop.people import Person

WIRE = {"part_number": "W-9", "size": "19x0.2", "conductor_kind": "stranded", "material": "copper", "insulation_od_mm": "1.6"}


def entries(kind="catalogue.changed"):
    return [json.loads(text)["content"] for text in LedgerEntry.objects.filter(kind=kind).order_by("number").values_list("text", flat=True)]


def rules(refused):
    return {(finding.rule, finding.field) for finding in refused.value.findings}


def test_save_item_adds_and_records_it(cast):
    wire = save_item(kind="wires", values=WIRE, by=cast.planner, at=now())
    entry = LedgerEntry.objects.get(kind="catalogue.changed")
    assert (entry.subject_kind, entry.subject_id, entry.subject_name, entry.by) == ("wires", wire.pk, "W-9", cast.planner)
    assert (entries()[0]["before"], entries()[0]["after"]["csa_mm2"]) == (None, "0.5969")


def test_save_item_changes_and_records_before_and_after(cast, catalogue):
    kind, wire = KINDS["wires"], catalogue.wire
    values = kind.stated(wire) | {"insulation_od_mm": "2.05"}
    save_item(kind=kind, values=values, by=cast.planner, at=now(), instance=wire, reason="measured")
    content = entries()[0]
    assert (content["before"]["insulation_od_mm"], content["after"]["insulation_od_mm"], content["reason"]) == ("1.9", "2.05", "measured")


def test_save_item_that_changes_nothing_is_no_event(cast, catalogue):
    kind = KINDS["wires"]
    save_item(kind=kind, values=kind.stated(catalogue.wire), by=cast.planner, at=now(), instance=catalogue.wire)
    assert entries() == []


@pytest.mark.parametrize("who", ["operator", "auditor", "administrator"])
def test_save_item_by_a_role_that_may_not(who, cast):
    with pytest.raises(Refused) as refused:
        save_item(kind="wires", values=WIRE, by=getattr(cast, who), at=now())
    assert rules(refused) == {("person.role", "")}
    assert not Wire.objects.exists()


def test_save_item_tells_everything_that_is_wrong(cast):
    values = WIRE | {"part_number": "", "size": "16", "insulation_od_mm": "2 kg"}
    with pytest.raises(Refused) as refused:
        save_item(kind="wires", values=values, by=cast.planner, at=now())
    assert rules(refused) == {("data.required", "part_number"), ("data.invalid", "size"), ("data.invalid", "insulation_od_mm")}


def test_save_item_with_a_number_that_exists(cast, catalogue):
    with pytest.raises(Refused) as refused:
        save_item(kind="wires", values=WIRE | {"part_number": "W-075-RD"}, by=cast.planner, at=now())
    assert rules(refused) == {("data.unique", "part_number")}


def test_save_item_over_a_change_not_seen(cast, catalogue):
    kind, wire = KINDS["wires"], catalogue.wire
    stamp = seen(kind, wire)
    save_item(kind=kind, values=kind.stated(wire) | {"colour": "blue"}, by=cast.planner, at=now(), instance=wire)
    with pytest.raises(Refused) as refused:
        save_item(kind=kind, values=kind.stated(wire) | {"colour": "green"}, by=cast.quality, at=now(), instance=wire, seen_sha256=stamp)
    assert rules(refused) == {("data.race", "")}
    wire.refresh_from_db()
    assert wire.colour == "blue"


def test_specification_needs_the_revision_before_withdrawn(cast, catalogue):
    kind = KINDS["specifications"]
    values = kind.stated(catalogue.specification) | {"revision": "2"}
    with pytest.raises(Refused) as refused:
        save_item(kind=kind, values=values, by=cast.planner, at=now())
    assert rules(refused) == {("data.specification.current", "")}


def test_person_is_added_with_roles_and_cannot_sign_in_yet(cast):
    values = {"username": "nora", "name": "Nora Dahl", "display": "metric", "is_active": "yes", "roles": ["planner", "quality"]}
    person = save_item(kind="people", values=values, by=cast.administrator, at=now())
    assert Person.objects.get(pk=person.pk).roles == {"planner", "quality"}
    assert not person.has_usable_password()
    assert entries()[0]["after"]["roles"] == "planner, quality"
    assert LedgerEntry.objects.get(kind="catalogue.changed").subject_kind == "person"


def test_role_taken_away_is_recorded(cast):
    kind = KINDS["people"]
    save_item(kind=kind, values=kind.stated(cast.operator) | {"roles": ["inspector"]}, by=cast.quality, at=now(), instance=cast.operator)
    assert Person.objects.get(pk=cast.operator.pk).roles == {"inspector"}
    assert (entries()[0]["before"]["roles"], entries()[0]["after"]["roles"]) == ("operator", "inspector")


def test_secrets_never_reach_the_ledger(cast):
    kind = KINDS["people"]
    save_item(kind=kind, values=kind.stated(cast.operator) | {"name": "Omar R."}, by=cast.quality, at=now(), instance=cast.operator)
    text = LedgerEntry.objects.get(kind="catalogue.changed").text
    assert cast.operator.password not in text
    assert cast.operator.pin not in text
    assert not {"password", "pin"} & set(entries()[0]["after"])


def test_lot_state_changes_with_a_reason(cast, catalogue):
    lot = set_lot_state(lot=catalogue.terminal_lot, state="on hold", reason="plating flakes", by=cast.planner, at=now())
    lot.refresh_from_db()
    assert (lot.state, lot.state_reason, entries()[0]["reason"]) == ("on hold", "plating flakes", "plating flakes")


def test_lot_state_without_a_reason(cast, catalogue):
    with pytest.raises(Refused) as refused:
        set_lot_state(lot=catalogue.terminal_lot, state="on hold", reason=" ", by=cast.planner, at=now())
    assert rules(refused) == {("data.required", "state_reason")}


def test_lot_leaves_hold_only_by_who_decides_on_holds(cast, catalogue):
    with pytest.raises(Refused) as refused:
        set_lot_state(lot=catalogue.terminal_lot_held, state="released", reason="looks fine", by=cast.planner, at=now())
    assert rules(refused) == {("person.role", "")}
    assert set_lot_state(lot=catalogue.terminal_lot_held, state="released", reason="checked", by=cast.quality, at=now()).state == "released"


def test_tool_and_gauge_state(cast, catalogue):
    tool = set_tool_state(tool=catalogue.tool, state="out for service", reason="worn anvil", by=cast.planner, at=now())
    gauge = set_gauge_state(gauge=catalogue.caliper, state="in calibration", reason="due", by=cast.quality, at=now())
    assert (tool.state, gauge.state) == ("out for service", "in calibration")
    with pytest.raises(Refused):
        set_tool_state(tool=catalogue.tool, state="melted", reason="no such state", by=cast.planner, at=now())
    with pytest.raises(Refused):
        set_tool_state(tool=catalogue.tool, state="available", reason="I need it", by=cast.operator, at=now())


def test_state_is_not_changed_by_an_ordinary_edit(cast, catalogue):
    kind = KINDS["terminal-lots"]
    values = kind.stated(catalogue.terminal_lot_held) | {"state": "released"}
    save_item(kind=kind, values=values, by=cast.planner, at=now(), instance=catalogue.terminal_lot_held)
    catalogue.terminal_lot_held.refresh_from_db()
    assert catalogue.terminal_lot_held.state == "on hold"
