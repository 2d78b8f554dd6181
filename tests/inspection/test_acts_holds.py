"""Stopping a run, and who may decide what becomes of it."""

from __future__ import annotations

import pytest

from inspection.acts.batches import CLOSED_MEANING, Counts, close_batch
from inspection.acts.holds import DECIDED_MEANING, decide_hold, raise_hold
from inspection.acts.samples import start_sample
from inspection.models import Batch, BatchStatus, Hold, Sample, SampleState
from records.models import LedgerEntry, Signature
from shop.clock import now
from shop.finding import Refused


def rules(refused):
    return [f.rule for f in refused.value.findings]


def stopped(batch, by, at_count=40, reason="terminal is bent"):
    return raise_hold(batch=batch, reason=reason, at_count=at_count, by=by, at=now())


def decided(
    hold, hand, decision="resume with a new first piece", reason="crimper cleaned", scrapped=0, kept_held=0, meaning=DECIDED_MEANING
):
    at = now()
    return decide_hold(
        hold=hold,
        decision=decision,
        reason=reason,
        scrapped=scrapped,
        kept_held=kept_held,
        by=hand.person,
        at=at,
        signing=hand.sign(meaning or DECIDED_MEANING, at),
    )


def test_operator_stops_the_run_and_names_the_suspect_pieces(running, cast):
    hold = stopped(running, cast.operator)

    assert (hold.suspect_from, hold.suspect_to) == (5, 40)
    assert Batch.objects.get().status == BatchStatus.ON_HOLD
    assert LedgerEntry.objects.get(kind="hold.raised").by == cast.operator


def test_inspector_who_does_not_run_batches_stops_the_run_too(running, cast):
    assert stopped(running, cast.inspector).raised_by == cast.inspector


def test_auditor_cannot_stop_the_run(running, cast):
    with pytest.raises(Refused) as refused:
        stopped(running, cast.auditor)

    assert rules(refused) == ["person.role"]


@pytest.mark.parametrize(("typed", "rule"), [({"reason": " "}, "hold.reason"), ({"at_count": 4}, "batch.counts.below")])
def test_stop_without_a_reason_or_with_a_smaller_count_is_refused(running, cast, typed, rule):
    with pytest.raises(Refused) as refused:
        stopped(running, cast.operator, **typed)

    assert rules(refused) == [rule]
    assert not Hold.objects.exists()


def test_stop_rejects_the_sample_that_is_being_measured(running, cast):
    start_sample(batch=running, kind="in process", at_count=40, by=cast.operator, at=now())

    stopped(running, cast.operator, at_count=41)

    assert Sample.objects.get(number=2).state == SampleState.REJECTED


def test_operator_cannot_decide_on_a_hold(running, cast, hand):
    hold = stopped(running, cast.operator)

    with pytest.raises(Refused) as refused:
        decided(hold, hand)

    assert rules(refused) == ["person.role"]
    assert Batch.objects.get().status == BatchStatus.ON_HOLD


@pytest.mark.parametrize(
    ("typed", "rule"),
    [
        ({"reason": ""}, "hold.reason"),
        ({"decision": "carry on"}, "data.invalid"),
        ({"scrapped": 30, "kept_held": 6}, "hold.quantity"),
        ({"scrapped": -1}, "hold.quantity"),
        ({"meaning": "measured"}, "sign.other"),
    ],
)
def test_decision_that_is_not_complete_is_refused(running, cast, quality, typed, rule):
    hold = stopped(running, cast.operator)

    with pytest.raises(Refused) as refused:
        decided(hold, quality, **typed)

    assert rules(refused) == [rule]
    hold.refresh_from_db()
    assert hold.decided_at is None


def test_decision_to_resume_asks_for_a_new_first_piece_and_is_signed(running, cast, quality):
    decided(stopped(running, cast.operator), quality, scrapped=35)

    batch = Batch.objects.get()
    assert (batch.status, batch.setup_number) == (BatchStatus.FIRST_PIECE, 2)
    signature = Signature.objects.get(meaning=DECIDED_MEANING)
    assert (signature.person, signature.entry.kind) == (cast.quality, "hold.decided")


def test_hold_is_decided_once(running, cast, quality, inspector):
    hold = stopped(running, cast.operator)
    decided(hold, quality)

    with pytest.raises(Refused) as refused:
        decided(hold, inspector)

    assert rules(refused) == ["hold.none"]


def test_batch_that_is_ended_closes_with_what_was_scrapped_and_kept(running, cast, hand, quality):
    decided(stopped(running, cast.operator), quality, decision="end the batch here", scrapped=20, kept_held=10)

    def close(**counts):
        at = now()
        return close_batch(batch=running, counts=Counts(**counts), by=hand.person, at=at, signing=hand.sign(CLOSED_MEANING, at))

    with pytest.raises(Refused) as refused:
        close(made=40, good=18, scrap=19, destroyed=3, held=0)
    assert rules(refused) == ["batch.counts.held", "batch.counts.scrap"]
    assert close(made=40, good=7, scrap=20, destroyed=3, held=10).status == BatchStatus.CLOSED
