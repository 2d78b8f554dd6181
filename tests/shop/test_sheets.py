import dataclasses
import json
from datetime import timedelta

import pytest
import time_machine

from records.models import LedgerEntry, Signature
from shop.acts.sheets import (
    RELEASED_MEANING,
    WITHDRAWN_MEANING,
    plan_termination,
    release_sheet,
    remove_termination,
    return_sheet,
    revise_sheet,
    submit_sheet,
    withdraw_sheet,
)
from shop.canonical import content_sha256
from shop.clock import now
from shop.finding import Refused
from shop.jobs import SetupSheet, Termination
from shop.sheet_content import sheet_content
from shop.sign_on import sign
from tests import factories
from tests.factories import PIN


def refused(call, **named):
    with pytest.raises(Refused) as caught:
        call(**named)
    return [finding.rule for finding in caught.value.findings]


def plan(cast, catalogue, **changed):
    sheet = factories.draft(cast, catalogue, terminations=0)
    return plan_termination(sheet=sheet, stated=factories.stated(catalogue, **changed), by=cast.planner, at=now())


def plan_refused(cast, catalogue, **changed):
    sheet = factories.draft(cast, catalogue, terminations=0)
    rules = refused(plan_termination, sheet=sheet, stated=factories.stated(catalogue, **changed), by=cast.planner, at=now())
    assert not Termination.objects.exists()
    assert not LedgerEntry.objects.filter(kind="sheet.termination_planned").exists()
    return rules


def signing(person, meaning=RELEASED_MEANING):
    return sign(identifier=person.username, secret=PIN, meaning=meaning, at=now())


def hash_of(sheet):
    return content_sha256(sheet_content(sheet))


# --- Terminations ----------------------------------------------------------------------------------------------------------------


def test_plan_termination_fills_setting_and_targets(cast, catalogue):
    t = plan(cast, catalogue)
    assert (t.tool_row, t.setting, t.specification) == (catalogue.row, "C3 I2", catalogue.specification)
    assert (str(t.csa_mm2), str(t.crimp_height_nominal_mm), str(t.pull_force_min_n)) == ("0.7540", "1.4000", "85.00")
    assert t.ordered_wires() == [catalogue.wire]


def test_plan_termination_of_two_wires_adds_their_areas(cast, catalogue):
    thin = factories.make_wire("W-035-GY", "7x0.25", "1.2")
    t = plan(cast, catalogue, wires=[thin, thin])
    assert str(t.csa_mm2) == "0.6872"


@pytest.mark.parametrize(
    ("changed", "rules"),
    [
        ({"wires": ["wire_large"], "tool": None}, {"fit.conductor.csa", "fit.spec.missing"}),
        ({"wires": ["wire_small"], "tool": None}, {"fit.conductor.csa", "fit.spec.missing"}),
        ({"wires": ["wire_thick"], "tool": None}, {"fit.insulation.od"}),
        ({"wires": ["wire", "wire_small", "wire_small"], "tool": None}, {"fit.conductor.count", "fit.insulation.od"}),
        ({"tool": "tool_ring"}, {"fit.tool.terminal"}),
        ({"tool": "tool_narrow"}, {"fit.tool.csa"}),
        ({"wires": []}, {"termination.wires"}),
        ({"required_temperature_c": 150}, {"fit.rating.temperature"}),
        ({"required_voltage_v": 1000}, {"fit.rating.voltage"}),
        ({"first_piece_heights": 0}, {"termination.plan"}),
        ({"first_piece_pulls": 0}, {"termination.plan"}),
    ],
)
def test_plan_termination_refuses(cast, catalogue, changed, rules):
    changed = dict(changed)
    if "wires" in changed:
        changed["wires"] = [getattr(catalogue, name) for name in changed["wires"]]
    if isinstance(changed.get("tool"), str):
        changed["tool"] = getattr(catalogue, changed["tool"])
    assert set(plan_refused(cast, catalogue, **changed)) == rules


def test_plan_termination_refuses_a_wire_outside_the_tool_row_in_diameter(cast, catalogue):
    catalogue.row.od_max_mm = "1.8"
    catalogue.row.save()
    assert plan_refused(cast, catalogue) == ["fit.tool.od"]


def test_plan_termination_refuses_without_a_specification(cast, catalogue):
    assert "fit.spec.missing" in plan_refused(cast, catalogue, terminal=catalogue.ring, wires=[catalogue.wire_large], tool=None)


def test_plan_termination_refuses_by_a_role_that_may_not(cast, catalogue):
    sheet = factories.draft(cast, catalogue)
    assert refused(plan_termination, sheet=sheet, stated=factories.stated(catalogue), by=cast.operator, at=now()) == ["person.role"]


def test_plan_termination_changes_a_draft_and_records_before_and_after(cast, catalogue):
    t = plan(cast, catalogue)
    stated = dataclasses.replace(factories.stated(catalogue), quantity=40)
    plan_termination(sheet=t.sheet, stated=stated, by=cast.planner, at=now(), termination=t)
    content = json.loads(LedgerEntry.objects.filter(kind="sheet.termination_planned").latest("number").text)["content"]
    assert (content["before"]["quantity"], content["after"]["quantity"]) == (100, 40)
    assert Termination.objects.count() == 1


def test_released_sheet_takes_no_change(cast, catalogue):
    sheet = factories.released(cast, catalogue)
    t = sheet.terminations.get()
    stated = factories.stated(catalogue, quantity=1)
    assert refused(plan_termination, sheet=sheet, stated=stated, by=cast.planner, at=now(), termination=t) == ["sheet.status"]
    assert refused(remove_termination, termination=t, by=cast.planner, at=now()) == ["sheet.status"]
    assert sheet.terminations.get().quantity == 100


# --- Review ----------------------------------------------------------------------------------------------------------------------


def test_submit_refuses_an_empty_sheet(cast, catalogue):
    sheet = factories.draft(cast, catalogue, terminations=0)
    assert refused(submit_sheet, sheet=sheet, by=cast.planner, at=now()) == ["sheet.empty"]


def test_submit_refuses_a_termination_without_a_tool(cast, catalogue):
    sheet = factories.draft(cast, catalogue, tool=None)
    assert refused(submit_sheet, sheet=sheet, by=cast.planner, at=now()) == ["termination.tool"]


def test_submit_refuses_what_no_longer_fits(cast, catalogue):
    sheet = factories.draft(cast, catalogue, terminations=2)
    catalogue.row.is_active = False
    catalogue.row.save()
    assert set(refused(submit_sheet, sheet=sheet, by=cast.planner, at=now())) == {"fit.tool.terminal"}


def test_return_needs_a_comment_and_makes_a_draft_again(cast, catalogue):
    sheet = factories.in_review(cast, catalogue)
    assert refused(return_sheet, sheet=sheet, comment=" ", by=cast.approver, at=now()) == ["sheet.reason"]
    assert return_sheet(sheet=sheet, comment="Lead 4 is missing.", by=cast.approver, at=now()).status == "draft"


def test_release_puts_in_force_with_signature_and_ledger_entry(cast, catalogue):
    sheet = factories.in_review(cast, catalogue)
    seen = hash_of(sheet)
    sheet = release_sheet(sheet=sheet, by=cast.approver, at=now(), signing=signing(cast.approver), seen_sha256=seen)
    assert (sheet.status, sheet.released_by) == ("released", cast.approver)
    signature = Signature.objects.get(meaning=RELEASED_MEANING)
    assert (signature.printed_name, signature.content_sha256, signature.entry.kind) == ("Aino Vik", seen, "sheet.released")


def release_refused(sheet, by, **changed):
    given = {"signing": signing(by), "seen_sha256": hash_of(sheet)} | changed
    rules = refused(release_sheet, sheet=sheet, by=by, at=now(), **given)
    assert SetupSheet.objects.get(pk=sheet.pk).status != "released"
    assert not LedgerEntry.objects.filter(kind="sheet.released").exists()
    return rules


def test_release_by_the_author(cast, catalogue):
    assert release_refused(factories.in_review(cast, catalogue), cast.planner) == ["sheet.release.author"]


def test_release_by_a_role_that_may_not(cast, catalogue):
    assert release_refused(factories.in_review(cast, catalogue), cast.inspector) == ["person.role"]


def test_release_on_a_withdrawn_document(cast, catalogue):
    sheet = factories.in_review(cast, catalogue)
    catalogue.document.withdrawn_on = factories.today()
    catalogue.document.save()
    assert release_refused(sheet, cast.approver) == ["fit.spec.document_withdrawn"]


def test_release_when_the_specification_was_replaced_meanwhile(cast, catalogue):
    sheet = factories.in_review(cast, catalogue)
    catalogue.specification.withdrawn_on = factories.today()
    catalogue.specification.save()
    factories.make_specification("CS-250", catalogue.terminal, catalogue.document, ("0.5", "1.5"), revision="2")
    assert release_refused(sheet, cast.approver) == ["fit.spec.not_in_force"]


def test_release_of_something_else_than_was_seen(cast, catalogue):
    sheet = factories.in_review(cast, catalogue)
    seen = hash_of(sheet)
    sheet.terminations.update(quantity=7)
    assert release_refused(sheet, cast.approver, seen_sha256=seen) == ["sign.stale"]


def test_release_with_a_signature_meant_for_something_else(cast, catalogue):
    sheet = factories.in_review(cast, catalogue)
    assert release_refused(sheet, cast.approver, signing=signing(cast.approver, WITHDRAWN_MEANING)) == ["sign.other"]
    assert release_refused(sheet, cast.approver, signing=signing(cast.quality)) == ["sign.other"]


def test_release_of_a_draft(cast, catalogue):
    assert release_refused(factories.draft(cast, catalogue), cast.approver) == ["sheet.status"]


# --- Revisions -------------------------------------------------------------------------------------------------------------------


def test_new_revision_supersedes_the_one_before(cast, catalogue):
    first = factories.released(cast, catalogue)
    second = revise_sheet(sheet=first, reason="Drawing D", by=cast.planner, at=now())
    assert (second.revision, second.status, SetupSheet.objects.get(pk=first.pk).status) == (2, "draft", "released")
    factories.release(submit_sheet(sheet=second, by=cast.planner, at=now()), cast.approver)
    assert SetupSheet.objects.get(pk=first.pk).status == "superseded"
    assert [str(sheet) for sheet in SetupSheet.objects.in_force()] == [str(second)]


def test_new_revision_takes_the_targets_in_force_now(cast, catalogue):
    first = factories.released(cast, catalogue)
    catalogue.specification.withdrawn_on = factories.today()
    catalogue.specification.save()
    newer = factories.make_specification(
        "CS-250", catalogue.terminal, catalogue.document, ("0.5", "1.5"), revision="2", crimp_height_nominal_mm="1.38"
    )
    second = revise_sheet(sheet=first, reason="CS-250 rev 2", by=cast.planner, at=now())
    assert second.terminations.get().specification == newer
    assert str(second.terminations.get().crimp_height_nominal_mm) == "1.3800"
    assert str(first.terminations.get().crimp_height_nominal_mm) == "1.4000"


def test_new_revision_needs_a_reason(cast, catalogue):
    assert refused(revise_sheet, sheet=factories.released(cast, catalogue), reason="", by=cast.planner, at=now()) == ["sheet.reason"]


def test_only_one_revision_is_in_work(cast, catalogue):
    first = factories.released(cast, catalogue)
    revise_sheet(sheet=first, reason="Drawing D", by=cast.planner, at=now())
    assert "sheet.in_work.one" in refused(revise_sheet, sheet=first, reason="Drawing E", by=cast.approver, at=now())
    assert SetupSheet.objects.filter(number=first.number).count() == 2


def test_withdraw_takes_out_of_force(cast, catalogue):
    sheet = factories.released(cast, catalogue)
    named = {"sheet": sheet, "by": cast.quality, "at": now()}
    withdrawing = signing(cast.quality, WITHDRAWN_MEANING)
    assert refused(withdraw_sheet, reason="", signing=withdrawing, **named) == ["sheet.reason"]
    assert refused(withdraw_sheet, reason="wrong terminal", signing=signing(cast.quality), **named) == ["sign.other"]
    assert withdraw_sheet(reason="wrong terminal", signing=withdrawing, **named).status == "withdrawn"


def test_document_that_is_not_yet_in_force(cast, catalogue):
    catalogue.document.effective_on = factories.days(1)
    catalogue.document.save()
    assert "fit.spec.document_withdrawn" in plan_refused(cast, catalogue)
    with time_machine.travel(now() + timedelta(days=1)):
        assert plan(cast, catalogue).pk
