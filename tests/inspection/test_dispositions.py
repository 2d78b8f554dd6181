"""What becomes of held pieces: scrap, rework where the plan allows it, use as is by concession, return to the supplier."""

import json

import pytest
from django.urls import reverse

from inspection.acts.batches import CLOSED_MEANING, Counts, close_batch, pieces_open
from inspection.acts.dispositions import DISPOSED_MEANING, DispositionInput, batches_with_held_pieces, dispose, held_left
from inspection.acts.holds import DECIDED_MEANING, decide_hold, raise_hold
from inspection.models import Batch, Disposition
from records.balances import pieces_left
from records.gather.batch import batch_record
from records.models import LedgerEntry
from shop.acts.concessions import GRANTED_MEANING, PIECE_RULE, Scope, grant_concession
from shop.clock import now
from shop.concessions import ConcessionUse
from shop.finding import Refused
from shop.sign_on import sign
from shop.wording import worded
from tests import factories
from tests.factories import PIN


@pytest.fixture
def batch(running, hand, quality):
    """Closed with 60 made: 3 destroyed, 37 good, 20 held."""
    at = now()
    hold = raise_hold(batch=running, reason="burr", at_count=60, by=hand.person, at=at)
    signing = quality.sign(DECIDED_MEANING, at)
    decide_hold(
        hold=hold, decision="end the batch here", reason="contained", scrapped=0, kept_held=20, by=quality.person, at=at, signing=signing
    )
    batch = Batch.objects.get()
    counts = Counts(made=60, good=37, scrap=0, destroyed=3, held=20)
    return close_batch(batch=batch, counts=counts, by=hand.person, at=at, signing=hand.sign(CLOSED_MEANING, at))


def decide(batch, person, kind, quantity, note="burr beyond the limit", concession=""):
    at = now()
    signing = sign(identifier=person.username, secret=PIN, meaning=DISPOSED_MEANING, at=at)
    return dispose(batch=batch, stated=DispositionInput(kind, quantity, note, concession), by=person, at=at, signing=signing)


def refused(*args, **given):
    with pytest.raises(Refused) as error:
        decide(*args, **given)
    assert all(worded(finding).sentence for finding in error.value.findings)
    return [finding.rule for finding in error.value.findings]


def grant(person, termination, quantity):
    at = now()
    signing = sign(identifier=person.username, secret=PIN, meaning=GRANTED_MEANING, at=at)
    return grant_concession(
        rule=PIECE_RULE,
        scope=Scope(termination=termination),
        quantity_limit=quantity,
        reason="customer agreed",
        by=person,
        at=at,
        signing=signing,
    )


def test_scrap_takes_pieces_off_what_waits_and_frees_nothing(batch, cast):
    good = pieces_left(batch)
    decide(batch, cast.quality, "scrap", 12)
    assert (held_left(batch), pieces_left(batch)) == (8, good)
    assert list(batches_with_held_pieces()) == [batch]
    decide(batch, cast.quality, "return to supplier", 8)
    assert not batches_with_held_pieces().exists()
    entry = LedgerEntry.objects.filter(kind="batch.disposed").order_by("number").first()
    assert json.loads(entry.text)["content"]["held_before"] == 20


@pytest.mark.parametrize("quantity", [0, 21])
def test_only_what_is_held_is_decided_on(batch, cast, quantity):
    assert refused(batch, cast.quality, "scrap", quantity) == ["disposition.quantity"]


def test_decision_needs_quality_and_a_reason(batch, cast):
    assert refused(batch, cast.operator, "scrap", 1) == ["person.role"]
    assert refused(batch, cast.quality, "scrap", 1, note=" ") == ["disposition.note"]
    assert refused(batch, cast.quality, "paint over", 1) == ["data.invalid"]
    assert not Disposition.objects.exists()


def test_rework_only_where_the_plan_allows_it(batch, cast):
    assert refused(batch, cast.quality, "rework", 5) == ["disposition.rework"]
    batch.termination.__class__.objects.update(rework_allowed=True)
    decide(batch, cast.quality, "rework", 5)
    assert held_left(batch) == 15


def test_use_as_is_needs_a_concession_with_pieces_left_and_counts_them(batch, cast):
    assert refused(batch, cast.quality, "use as is", 5) == ["disposition.concession"]
    concession = grant(cast.quality, batch.termination, 8)
    assert refused(batch, cast.quality, "use as is", 9, concession=concession.number) == ["concession.left"]
    good, still_open = pieces_left(batch), pieces_open(batch.termination)
    decide(batch, cast.quality, "use as is", 6, concession=concession.number)
    assert (pieces_left(batch), pieces_open(batch.termination)) == (good + 6, still_open - 6)
    assert ConcessionUse.objects.get().quantity == 6
    assert refused(batch, cast.quality, "use as is", 3, concession=concession.number) == ["concession.left"]
    record = batch_record(batch)
    assert [(d["kind"], d["quantity"], d["concession"]) for d in record["dispositions"]] == [("use as is", "6", concession.number)]
    assert concession.number in [c["number"] for c in record["concessions"]]


def test_concession_of_another_rule_lets_no_piece_through(batch, cast):
    other = grant(cast.quality, batch.termination, 8)
    other.__class__.objects.update(rule="fit.conductor.csa")
    assert refused(batch, cast.quality, "use as is", 5, concession=other.number) == ["disposition.concession"]


def test_open_batch_has_no_held_pieces_to_decide_on(running, cast):
    assert refused(running, cast.quality, "scrap", 1) == ["disposition.quantity"]


def test_quality_decides_on_the_page(batch, cast, signed_in):
    client = signed_in(cast.quality)
    listed = client.get(reverse("studies:held")).context["page"].lines
    assert [(line.batch.number, line.left) for line in listed] == [(batch.number, 20)]
    address = reverse("studies:dispose", args=[batch.number])
    page = client.get(address).context["page"]
    assert (page.left, page.may_decide, "piece.nonconforming" in page.grant_url) == (20, True, True)
    bad = client.post(address, {"kind": "scrap", "quantity": "99", "note": "x", "secret": PIN})
    assert (bad.status_code, "quantity" in bad.context["page"].form.errors) == (422, True)
    assert client.post(address, {"kind": "scrap", "quantity": "20", "note": "burr", "secret": PIN})["Location"] == address
    assert client.get(address).context["page"].may_decide is False
    assert not signed_in(cast.operator).get(address).context["page"].may_decide
    assert "no held pieces wait" in client.get(reverse("studies:held")).content.decode().lower()


def test_planner_allows_rework_in_the_plan(cast, catalogue):
    t = factories.draft(cast, catalogue, rework_allowed=True).terminations.get()
    assert t.rework_allowed
