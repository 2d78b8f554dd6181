"""The press at the set-up check: wanted where the sheet names it, held against rule 5 on that day, and traced afterwards."""

from __future__ import annotations

from decimal import Decimal

import pytest
from django.urls import reverse

from inspection.acts.batches import open_batch, scan
from inspection.models import Batch, BatchStatus
from inspection.set_up import six_parts
from records.demo.walk import sample_at
from records.gather.batch import batch_parts
from records.trace import batches_with, find
from shop.clock import now
from shop.crib import Press
from tests import factories


@pytest.fixture
def press(catalogue):
    return factories.set_up_press(catalogue)


@pytest.fixture
def batch(cast, catalogue, press):
    """Set-up under way on a sheet that names the press."""
    t = factories.released(cast, catalogue, press=press).terminations.get()
    return open_batch(termination=t, quantity=100, by=cast.operator, at=now())


def scanned(batch, cast, *codes):
    return [scan(batch=batch, code=code, by=cast.operator, at=now()) for code in codes]


def blocking(answer):
    return [finding.rule for finding in answer.findings if finding.blocks]


def tool_part(batch):
    return next(part for part in six_parts(Batch.objects.get(pk=batch.pk)) if part.part == "tool")


def test_set_up_is_proven_only_with_the_press_of_the_sheet(cast, batch, codes):
    scanned(batch, cast, *codes)
    assert (tool_part(batch).proven, tool_part(batch).missing) == (False, ("press PR-02",))
    assert Batch.objects.get().status == BatchStatus.SET_UP
    (answer,) = scanned(batch, cast, "PR-02")
    assert (answer.accepted, answer.part) == (True, "tool")
    assert {f.rule for f in answer.findings} == {
        "scan.press.other",
        "use.press.state",
        "fit.press.mount",
        "fit.press.feed",
        "fit.press.force",
        "fit.press.shut_height",
    }
    assert Batch.objects.get().status == BatchStatus.FIRST_PIECE


@pytest.mark.parametrize(
    ("changed", "rules"),
    [
        ({"state": "on hold"}, ["use.press.state"]),
        ({"shut_height_due_on": factories.days(-1)}, ["fit.press.shut_height"]),
        ({"force_rating_n": Decimal(100)}, ["fit.press.force"]),
    ],
)
def test_press_that_changed_since_the_release_is_refused_at_the_press(cast, batch, press, changed, rules):
    Press.objects.filter(pk=press.pk).update(**changed)
    (answer,) = scanned(batch, cast, "PR-02")
    assert (answer.accepted, blocking(answer)) == (False, rules)
    assert tool_part(batch).missing[-1] == "press PR-02"


def test_press_that_is_not_on_the_sheet_is_refused_though_it_would_fit(cast, batch):
    factories.make_press("PR-05")
    (answer,) = scanned(batch, cast, "PR-05")
    assert blocking(answer) == ["scan.press.other"]


def test_sheet_that_names_no_press_needs_none_and_keeps_one_as_evidence(cast, catalogue, press, codes):
    t = factories.released(cast, catalogue).terminations.get()
    batch = open_batch(termination=t, quantity=100, by=cast.operator, at=now())
    *_, answer = scanned(batch, cast, "PR-02", *codes)
    assert answer.batch.status == BatchStatus.FIRST_PIECE
    assert [scan.code for scan in tool_part(batch).scans] == ["AP-031", "PR-02"]


def test_another_press_during_the_run_asks_for_a_new_first_piece(cast, catalogue, press, codes, hand):
    t = factories.released(cast, catalogue).terminations.get()
    batch = open_batch(termination=t, quantity=100, by=cast.operator, at=now())
    scanned(batch, cast, "PR-02", *codes)
    sample_at(batch, "first piece", 5, hand, now)
    factories.make_press("PR-05")
    scan(batch=batch, code="PR-05", by=cast.operator, at=now(), at_count=20)
    batch = Batch.objects.get()
    assert (batch.status, batch.setup_number) == (BatchStatus.FIRST_PIECE, 2)


def test_press_stands_in_the_evidence_and_leads_back_to_its_batches(signed_in, cast, batch, codes):
    scanned(batch, cast, *codes, "PR-02")
    evidence = next(part["evidence"] for part in batch_parts(Batch.objects.get()) if part["part"] == "tool")
    assert evidence[1] == f"PR-02, bench press, shut height verified until {factories.days(70)}"
    (found,) = find("pr-02")
    assert (found.kind, list(batches_with(found))) == ("press", [batch])
    page = signed_in(cast.auditor).get(reverse("prove:where", args=["press", "PR-02"]))
    assert [row.batch for row in page.context["page"].rows] == [batch]


def test_press_that_was_refused_leads_to_no_batch(cast, batch, press):
    Press.objects.filter(pk=press.pk).update(state="on hold")
    scanned(batch, cast, "PR-02")
    assert list(batches_with(find("PR-02")[0])) == []
