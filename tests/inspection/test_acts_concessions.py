"""Concessions at the press: what they let through, what they print, and how they are used up."""

from __future__ import annotations

import pytest

from inspection.acts.batches import concessions_used_in, open_batch, scan
from inspection.models import Batch
from inspection.set_up import read_scans, six_parts
from records.demo.walk import Hand, run_batch
from records.gather.batch import batch_record
from records.gather.setup_sheet import setup_sheet_record
from shop.acts.catalogue import set_lot_state
from shop.acts.concessions import GRANTED_MEANING, Scope, grant_concession
from shop.acts.sheets import draft_sheet, plan_termination, submit_sheet
from shop.clock import now
from shop.concessions import Concession
from shop.finding import Refused
from shop.sign_on import sign
from shop.tools import ToolRow
from tests import factories

CODES = ["AP-031", "TL-2001", "WL-1001", "MIC-01", "CAL-01", "PULL-01"]


def grant(by, scope, rule, **limit):
    signing = sign(identifier=by.username, secret=factories.PIN, meaning=GRANTED_MEANING, at=now())
    given = {"quantity_limit": 500} | limit
    return grant_concession(rule=rule, scope=scope, reason="Sectioned, report TR-9", by=by, at=now(), signing=signing, **given)


def rules(refused):
    return [f.rule for f in refused.value.findings]


@pytest.fixture
def operator(cast):
    return Hand(cast.operator, cast.operator.badge, factories.PIN)


@pytest.fixture
def thick_sheet(cast, catalogue):
    """A sheet on a wire too thick for the support, let through by a concession."""
    sheet = draft_sheet(job=factories.make_job(catalogue.customer, cast.planner), by=cast.planner, at=now())
    for rule in ("fit.insulation.od", "fit.tool.od"):
        grant(cast.quality, Scope(sheet=sheet), rule)
    stated = factories.stated(catalogue, wires=[catalogue.wire_thick])
    plan_termination(sheet=sheet, stated=stated, by=cast.planner, at=now())
    return factories.release(submit_sheet(sheet=sheet, by=cast.planner, at=now()), cast.approver)


def test_misfit_without_a_concession_is_refused_and_with_one_is_released(cast, catalogue, thick_sheet):
    other = draft_sheet(job=factories.make_job(catalogue.customer, cast.planner), by=cast.planner, at=now())
    with pytest.raises(Refused) as refused:
        plan_termination(sheet=other, stated=factories.stated(catalogue, wires=[catalogue.wire_thick]), by=cast.planner, at=now())

    assert rules(refused) == ["fit.insulation.od", "fit.tool.od"]
    assert thick_sheet.is_released


def test_concession_is_printed_on_the_sheet_the_batch_and_behind_the_lot(cast, catalogue, thick_sheet, operator):
    factories.make_wire_lot("WL-GN", catalogue.wire_thick)
    codes = [code if code != "WL-1001" else "WL-GN" for code in CODES]
    batch = run_batch(thick_sheet.terminations.get(), codes, 100, operator, now)

    printed = [c["number"] for c in setup_sheet_record(thick_sheet)["concessions"]]
    record = batch_record(batch)
    assert printed == ["C-0001", "C-0002"]
    assert [c["number"] for c in record["concessions"]] == printed
    assert {p["part"]: p["state"] for p in record["parts"]}["documents"] == "conceded"
    assert concessions_used_in([]) == []

    read = Batch.objects.get()
    read_scans([read])
    assert concessions_used_in([read]) == concessions_used_in([Batch.objects.get()]) == printed


def test_pieces_made_under_a_concession_are_counted_against_it(cast, catalogue, thick_sheet, operator):
    factories.make_wire_lot("WL-GN", catalogue.wire_thick)
    codes = [code if code != "WL-1001" else "WL-GN" for code in CODES]
    run_batch(thick_sheet.terminations.get(), codes, 60, operator, now)

    uses = {c.number: [(u.quantity) for u in c.uses.all()] for c in Concession.objects.all()}
    assert uses == {"C-0001": [60], "C-0002": [60]}


def test_batch_larger_than_what_is_left_of_the_concession_is_refused(cast, catalogue, thick_sheet):
    Concession.objects.update(quantity_limit=50)

    with pytest.raises(Refused) as refused:
        open_batch(termination=thick_sheet.terminations.get(), quantity=51, by=cast.operator, at=now())

    assert rules(refused) == ["concession.left", "concession.left"]
    assert open_batch(termination=thick_sheet.terminations.get(), quantity=50, by=cast.operator, at=now()).pk


def test_batch_does_not_start_once_the_concession_has_expired(cast, catalogue, thick_sheet):
    Concession.objects.update(expires_on=factories.days(-1))

    with pytest.raises(Refused) as refused:
        open_batch(termination=thick_sheet.terminations.get(), quantity=10, by=cast.operator, at=now())

    assert rules(refused) == ["fit.insulation.od", "fit.tool.od"]


def test_held_lot_is_accepted_under_a_concession_of_that_lot_only(cast, catalogue):
    set_lot_state(lot=catalogue.terminal_lot, state="on hold", reason="box torn", by=cast.quality, at=now())
    batch = open_batch(termination=factories.released(cast, catalogue).terminations.get(), quantity=10, by=cast.operator, at=now())
    assert not scan(batch=batch, code="TL-2001", by=cast.operator, at=now()).accepted

    grant(cast.quality, Scope(terminal_lot=catalogue.terminal_lot), "use.lot.state")

    assert scan(batch=batch, code="TL-2001", by=cast.operator, at=now()).accepted
    assert not scan(batch=batch, code="TL-2002", by=cast.operator, at=now()).accepted
    assert {p.part: p.is_conceded for p in six_parts(batch)}["terminal"]


def test_row_taken_from_a_tool_after_the_release_stops_the_start(cast, catalogue):
    termination = factories.released(cast, catalogue).terminations.get()
    ToolRow.objects.filter(pk=catalogue.row.pk).update(is_active=False)

    with pytest.raises(Refused) as refused:
        open_batch(termination=termination, quantity=10, by=cast.operator, at=now())

    assert rules(refused) == ["fit.tool.terminal"]
