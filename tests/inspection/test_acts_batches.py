"""Opening a batch, proving its set-up scan by scan, changing reels during the run, closing it: what is refused, and what it leaves."""

from __future__ import annotations

from dataclasses import replace

import pytest

from inspection.acts.batches import CLOSED_MEANING, Counts, close_batch, open_batch, pieces_open, scan
from inspection.acts.samples import start_sample
from inspection.models import Batch, BatchStatus, LoadedLot, SetupScan
from records.demo.walk import run_batch, sample_at
from records.models import LedgerEntry, Signature
from shop.acts.sheets import WITHDRAWN_MEANING, revise_sheet, submit_sheet, withdraw_sheet
from shop.clock import now
from shop.finding import Refused
from shop.sign_on import sign
from tests import factories


def rules(refused):
    return [f.rule for f in refused.value.findings]


def blocking(answer):
    return [f.rule for f in answer.findings if f.blocks]


def opened(termination, by, quantity=100):
    return open_batch(termination=termination, quantity=quantity, by=by, at=now())


def scanned(batch, code, by, **more):
    return scan(batch=batch, code=code, by=by, at=now(), **more)


@pytest.fixture
def batch(termination, cast):
    return opened(termination, cast.operator)


# --- Opening ---------------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "changed",
    [
        {"expires_on": factories.days(-1)},
        {"withdrawn_on": factories.days(-5)},
        {"tool_kind": "hand tool"},
        {"granted_on": factories.days(1), "expires_on": factories.days(200)},
    ],
    ids=["expired", "withdrawn", "for another kind of tool", "not granted yet"],
)
def test_open_by_operator_without_current_qualification_is_refused(termination, cast, changed):
    cast.operator.qualifications.filter(process="crimp").update(**changed)

    with pytest.raises(Refused) as refused:
        opened(termination, cast.operator)

    assert rules(refused) == ["use.person.qualification"]
    assert not Batch.objects.exists()


def test_open_on_the_last_day_of_a_qualification_is_allowed(termination, cast):
    cast.operator.qualifications.filter(process="crimp").update(expires_on=factories.today())

    assert opened(termination, cast.operator).status == BatchStatus.SET_UP


def test_open_by_a_planner_is_refused(termination, cast):
    factories.make_qualification(cast.planner, "crimp")

    with pytest.raises(Refused) as refused:
        opened(termination, cast.planner)

    assert rules(refused) == ["person.role"]


@pytest.mark.parametrize("quantity", [0, 101])
def test_open_with_a_quantity_that_is_not_open_is_refused(termination, cast, quantity):
    with pytest.raises(Refused) as refused:
        opened(termination, cast.operator, quantity)

    assert rules(refused) == ["batch.quantity"]


def test_open_counts_what_other_batches_have_planned(termination, cast):
    opened(termination, cast.operator, 70)

    with pytest.raises(Refused) as refused:
        opened(termination, cast.operator, 31)

    assert rules(refused) == ["batch.quantity"]
    assert opened(termination, cast.operator, 30).number.endswith("-B02")


def test_open_on_a_superseded_sheet_is_refused(termination, cast):
    revision = revise_sheet(sheet=termination.sheet, reason="tool changed", by=cast.planner, at=now())
    factories.release(submit_sheet(sheet=revision, by=cast.planner, at=now()), cast.approver)

    with pytest.raises(Refused) as refused:
        opened(termination, cast.operator)

    assert rules(refused) == ["batch.sheet"]


def test_open_on_a_withdrawn_sheet_is_refused(termination, cast):
    signing = sign(identifier="quality", secret=factories.PIN, meaning=WITHDRAWN_MEANING, at=now())
    withdraw_sheet(sheet=termination.sheet, reason="wrong terminal", by=cast.quality, at=now(), signing=signing)

    with pytest.raises(Refused) as refused:
        opened(termination, cast.operator)

    assert rules(refused) == ["batch.sheet"]


def test_open_on_a_draft_is_refused(cast, catalogue):
    draft = factories.draft(cast, catalogue)

    with pytest.raises(Refused) as refused:
        opened(draft.terminations.get(), cast.operator)

    assert "batch.sheet" in rules(refused)


def test_open_on_a_withdrawn_document_is_refused(termination, cast, catalogue):
    catalogue.document.withdrawn_on = factories.today()
    catalogue.document.save()

    with pytest.raises(Refused) as refused:
        opened(termination, cast.operator)

    assert "batch.document" in rules(refused)
    assert not Batch.objects.exists()


def test_open_reaches_the_ledger_with_who_and_what(batch, cast):
    entry = LedgerEntry.objects.get(kind="batch.opened")

    assert (entry.by, entry.subject_name) == (cast.operator, batch.number)
    assert '"quantity":100' in entry.text


# --- Scans -----------------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("code", "rule"),
    [
        ("MIC-09", "use.gauge.calibration"),
        ("TL-3001", "use.lot.part"),
        ("TL-2002", "use.lot.state"),
        ("AP-040", "scan.tool.other"),
        ("HT-007", "scan.tool.other"),
    ],
    ids=["gauge past its date", "wrong reel", "held lot", "other tool", "tool of another kind"],
)
def test_scan_of_what_does_not_fit_is_refused_and_stays_on_record(batch, cast, code, rule):
    answer = scanned(batch, code, cast.operator)

    assert not answer.accepted
    assert blocking(answer) == [rule]
    row = SetupScan.objects.get(code=code)
    assert (row.accepted, row.by) == (False, cast.operator)
    assert not LoadedLot.objects.exists()
    assert not LedgerEntry.objects.filter(kind="batch.set_up_proven").exists()


def test_scan_of_a_wrong_spool_is_refused(batch, cast, catalogue):
    factories.make_wire_lot("WL-1009", catalogue.wire_small)

    assert blocking(scanned(batch, "WL-1009", cast.operator)) == ["use.lot.part"]


def test_scan_of_a_lot_past_its_shelf_life_is_refused(batch, cast, catalogue):
    factories.make_terminal_lot("TL-2008", catalogue.terminal, usable_until=factories.days(-1))

    assert blocking(scanned(batch, "TL-2008", cast.operator)) == ["use.lot.shelf_life"]


@pytest.mark.parametrize(("resolution", "accepted"), [("0.01", True), ("0.02", False)])
def test_gauge_has_to_resolve_a_tenth_of_the_tolerance(batch, cast, resolution, accepted):
    factories.make_gauge("MIC-02", "crimp-height micrometer", "mm", resolution)

    answer = scanned(batch, "MIC-02", cast.operator)

    assert answer.accepted is accepted
    assert blocking(answer) == ([] if accepted else ["use.gauge.resolution"])


def test_gauge_of_a_kind_the_sheet_does_not_need_is_refused(batch, cast):
    factories.make_gauge("OHM-01", "milliohm meter", "mΩ", "0.01")

    assert "scan.gauge.kind" in blocking(scanned(batch, "OHM-01", cast.operator))


def test_gauge_last_found_out_of_tolerance_is_refused_although_an_older_certificate_runs_on(batch, cast, catalogue):
    factories.make_calibration(catalogue.micrometer, calibrated_on=factories.days(-1), result="out of tolerance")

    assert blocking(scanned(batch, "MIC-01", cast.operator)) == ["use.gauge.calibration"]


@pytest.mark.parametrize(
    ("changed", "rule"),
    [
        ({"state": "out for service"}, "use.tool.state"),
        ({"state": "on hold"}, "use.tool.state"),
        ({"service_due_on": factories.days(-1)}, "use.tool.service_date"),
        ({"crimp_count": 500_001}, "use.tool.service_count"),
        ({"verification_due_on": factories.days(-1)}, "use.tool.verification"),
    ],
    ids=["out for service", "on hold", "service overdue in days", "service overdue in crimps", "verification overdue"],
)
def test_tool_out_of_order_is_refused(batch, cast, catalogue, changed, rule):
    type(catalogue.tool).objects.filter(pk=catalogue.tool.pk).update(**changed)

    assert blocking(scanned(batch, "AP-031", cast.operator)) == [rule]


def test_scan_by_somebody_unqualified_is_refused(batch, cast):
    cast.operator.qualifications.filter(process="crimp").update(withdrawn_on=factories.today())

    with pytest.raises(Refused) as refused:
        scanned(batch, "AP-031", cast.operator)

    assert rules(refused) == ["use.person.qualification"]


def test_set_up_is_proven_by_the_last_part_only(batch, cast, codes):
    for code in codes[:-1]:
        assert scanned(batch, code, cast.operator).batch.status == BatchStatus.SET_UP

    assert scanned(batch, codes[-1], cast.operator).batch.status == BatchStatus.FIRST_PIECE
    assert LedgerEntry.objects.filter(kind="batch.set_up_proven").count() == 1


def test_first_piece_before_the_set_up_is_proven_is_refused(batch, cast):
    with pytest.raises(Refused) as refused:
        start_sample(batch=batch, kind="first piece", at_count=5, by=cast.operator, at=now())

    assert "batch.status" in rules(refused)


# --- Changes during the run ------------------------------------------------------------------------------------------------------


def test_reel_change_splits_the_lots_by_count_and_asks_for_a_new_first_piece(running, cast, catalogue, hand, inspector):
    factories.make_terminal_lot("TL-2009", catalogue.terminal)

    answer = scanned(running, "TL-2009", cast.operator, at_count=40)

    assert answer.batch.status == BatchStatus.FIRST_PIECE
    loaded = LoadedLot.objects.filter(terminal_lot__isnull=False).order_by("pk")
    assert [(row.lot.lot_number, row.from_count, row.to_count) for row in loaded] == [("TL-2001", 0, 40), ("TL-2009", 40, None)]
    assert LedgerEntry.objects.filter(kind="batch.set_up_changed").count() == 1
    with pytest.raises(Refused) as refused:
        start_sample(batch=running, kind="in process", at_count=50, by=cast.operator, at=now())
    assert rules(refused) == ["sample.kind"]
    sample = sample_at(running, "after change", 45, hand, now, inspector)
    assert sample.setup_number == 2


def test_gauge_change_during_the_run_needs_no_first_piece(running, cast):
    factories.make_gauge("MIC-02", "crimp-height micrometer", "mm", "0.001")

    assert scanned(running, "MIC-02", cast.operator).batch.status == BatchStatus.RUNNING


def test_same_reel_scanned_again_changes_nothing(running, cast):
    assert scanned(running, "TL-2001", cast.operator, at_count=20).batch.status == BatchStatus.RUNNING
    assert LoadedLot.objects.filter(terminal_lot__isnull=False).count() == 1


def test_change_at_a_count_below_the_last_one_is_refused(running, cast, catalogue):
    factories.make_terminal_lot("TL-2009", catalogue.terminal)

    with pytest.raises(Refused) as refused:
        scanned(running, "TL-2009", cast.operator, at_count=4)

    assert rules(refused) == ["batch.counts.below"]


# --- Closing ---------------------------------------------------------------------------------------------------------------------

BALANCED = Counts(made=104, good=100, scrap=0, destroyed=4, held=0)


def closed(batch, hand, counts, signing=None):
    at = now()
    return close_batch(batch=batch, counts=counts, by=hand.person, at=at, signing=signing or hand.sign(CLOSED_MEANING, at))


@pytest.fixture
def closing(running, hand):
    sample_at(running, "last piece", 104, hand, now)
    return Batch.objects.get()


@pytest.mark.parametrize(
    ("changed", "rule"),
    [
        ({"good": 101}, "batch.counts.balance"),
        ({"good": 99}, "batch.counts.balance"),
        ({"good": 105, "scrap": -1, "destroyed": 0}, "batch.counts.balance"),
        ({"made": 103, "good": 99}, "batch.counts.below"),
        ({"good": 101, "destroyed": 3}, "batch.counts.destroyed"),
        ({"good": 90, "held": 10}, "batch.counts.held"),
    ],
    ids=["too many good", "one missing", "negative", "made below the last count", "destroyed below tested", "held without a decision"],
)
def test_counts_that_do_not_add_up_are_refused(closing, hand, changed, rule):
    with pytest.raises(Refused) as refused:
        closed(closing, hand, replace(BALANCED, **changed))

    assert rule in rules(refused)
    closing.refresh_from_db()
    assert (closing.status, closing.made) == (BatchStatus.CLOSING, None)


def test_close_with_another_persons_signature_is_refused(closing, hand, inspector):
    with pytest.raises(Refused) as refused:
        closed(closing, hand, BALANCED, signing=inspector.sign(CLOSED_MEANING, now()))

    assert rules(refused) == ["sign.other"]


def test_close_before_the_last_piece_is_refused(running, hand):
    with pytest.raises(Refused) as refused:
        closed(running, hand, replace(BALANCED, made=100, good=97, destroyed=3))

    assert "batch.status" in rules(refused)


def test_close_ends_the_lots_counts_the_tool_and_signs(closing, hand, catalogue, cast):
    closed(closing, hand, BALANCED)

    assert set(LoadedLot.objects.values_list("to_count", flat=True)) == {104}
    catalogue.tool.refresh_from_db()
    assert catalogue.tool.crimp_count == 104
    signature = Signature.objects.get(meaning=CLOSED_MEANING)
    assert (signature.person, signature.entry.kind) == (cast.operator, "batch.closed")


def test_whole_batch_leaves_its_events_in_the_ledger_in_order(termination, hand, inspector, codes):
    run_batch(termination, codes, 100, hand, now, inspector)

    kinds = list(LedgerEntry.objects.filter(subject_kind__in=["batch", "sample"]).values_list("kind", flat=True))
    assert kinds == [
        "batch.opened",
        "batch.set_up_proven",
        "sample.concluded",
        "sample.countersigned",
        "sample.concluded",
        "sample.concluded",
        "batch.closed",
    ]


def test_new_revision_of_a_sheet_does_not_offer_the_pieces_made_on_the_old_one_again(cast, catalogue):
    old = factories.released(cast, catalogue)
    open_batch(termination=old.terminations.get(), quantity=70, by=cast.operator, at=now())
    draft = revise_sheet(sheet=old, reason="Longer wire", by=cast.planner, at=now())
    new = factories.release(submit_sheet(sheet=draft, by=cast.planner, at=now()), cast.approver)

    assert pieces_open(new.terminations.get()) == 30
    with pytest.raises(Refused) as refused:
        open_batch(termination=new.terminations.get(), quantity=31, by=cast.operator, at=now())

    assert [f.rule for f in refused.value.findings] == ["batch.quantity"]
