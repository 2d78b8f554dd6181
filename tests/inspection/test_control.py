"""Control limits frozen by a signed act, what new samples signal on them, and the reaction that is asked for."""

from decimal import Decimal
from itertools import pairwise

import pytest
from django.urls import reverse

from inspection.acts.control import (
    ENDED_MEANING,
    FROZEN_MEANING,
    answer_signals,
    end_limits,
    freeze_limits,
    in_force,
    open_signals,
    propose_limits,
)
from inspection.acts.samples import Look, conclude_sample, record_looks, record_reading, start_sample
from inspection.models import Batch, ChartSignal, ControlLimits, Reaction, Sample
from inspection.plan import plan_of
from inspection.streams import Stream, stream_samples
from records.demo.walk import sample_at, set_up
from records.models import LedgerEntry
from shop.canonical import content_sha256
from shop.clock import now
from shop.finding import Refused
from shop.jobs import ChartKind
from shop.sign_on import sign
from shop.wording import worded
from tests import factories
from tests.factories import PIN
from tests.inspection.conftest import CODES
from tests.remembered import remembered

HEIGHTS = ["1.398", "1.402", "1.400", "1.404", "1.396", "1.401", "1.399", "1.403", "1.397", "1.400"]


def refused(act, *args, **given):
    with pytest.raises(Refused) as error:
        act(*args, **given)
    assert all(worded(finding).sentence for finding in error.value.findings)
    return [finding.rule for finding in error.value.findings]


def measure_one(batch, hand, height, at_count):
    """An in-process sample with this crimp height."""
    sample = start_sample(batch=batch, kind="in process", at_count=at_count, by=hand.person, at=now())
    record_reading(sample=sample, characteristic="crimp height", piece=1, text=height, unit="mm", by=hand.person, at=now())
    looks = [Look(criterion.code, accepted=True) for criterion in plan_of(sample).criteria]
    record_looks(sample=sample, looks=looks, by=hand.person, at=now())
    return conclude_sample(sample=sample, by=hand.person, at=now())


@pytest.fixture
@remembered
def run(cast, catalogue, hand):
    """A batch with 22 samples of single heights about 1.400."""
    t = factories.released(cast, catalogue, sample_every=10, first_piece_heights=1, quantity=5000).terminations.get()
    batch = set_up(t, CODES, 5000, hand, now)
    sample_at(batch, "first piece", 5, hand, now)
    for number in range(21):
        measure_one(Batch.objects.get(), hand, HEIGHTS[number % len(HEIGHTS)], 10 * (number + 1))
    return Batch.objects.get()


@pytest.fixture
def stream(run):
    t = run.termination
    return Stream(t.tool, t.terminal, t.csa_mm2, "crimp height")


def freeze(stream, person, kind=ChartKind.INDIVIDUALS.value, rules=("nelson.1", "nelson.2"), reason="25 samples, no signal", seen=None):
    proposal, at = propose_limits(stream, kind, rules), now()
    signing = sign(identifier=person.username, secret=PIN, meaning=FROZEN_MEANING, at=at)
    seen = seen or content_sha256(proposal.content)
    return freeze_limits(proposal=proposal, reason=reason, by=person, at=at, signing=signing, seen_sha256=seen)


@pytest.fixture
def frozen(stream, cast):
    return freeze(stream, cast.quality)


def test_stream_has_the_samples_of_its_tool_terminal_and_area_in_order(run, stream):
    samples = stream_samples(stream)
    assert [(s.number, s.values[0].text) for s in samples[1:4]] == [(2, "1.398"), (3, "1.402"), (4, "1.400")]
    assert len(samples) == 22
    assert {(s.part, s.nominal) for s in samples} == {("T-250-F 0.754", 1.4)}
    other = Stream(stream.tool, stream.terminal, Decimal("1.0"), "crimp height")
    assert stream_samples(other) == []
    assert len(stream_samples(stream, most=5)) == 5


def test_frozen_limits_are_those_of_the_samples_and_signed(frozen, stream, cast):
    values = [s.values[0].value for s in stream_samples(stream)]
    center, moving = sum(values) / 22, [abs(b - a) for a, b in pairwise(values)]
    assert float(frozen.limits["center"]) == pytest.approx(center)
    assert float(frozen.limits["sigma"]) == pytest.approx(sum(moving) / 21 / 1.128379, rel=1e-6)
    assert (frozen.basis["samples"], frozen.rules) == (22, ["nelson.1 1/1", "nelson.2 9/9"])
    assert in_force(stream) == frozen
    entry = LedgerEntry.objects.get(kind="control.limits_frozen")
    assert entry.signature.person == cast.quality


def test_limits_are_frozen_once_by_quality_for_a_reason_over_what_was_seen(frozen, stream, cast):
    assert refused(freeze, stream, cast.quality) == ["control.frozen"]
    assert set(refused(freeze, stream, cast.operator, reason=" ", seen="0" * 64)) == {
        "person.role",
        "sign.stale",
        "control.reason",
        "control.frozen",
    }
    assert ControlLimits.objects.count() == 1


def test_too_few_samples_or_unknown_rules_freeze_nothing(stream, cast):
    since = stream_samples(stream)[5].at
    assert refused(propose_limits, stream, "individuals", (), since=since) == ["control.too_few"]
    assert refused(propose_limits, stream, "individuals", ("nelson.9",)) == ["control.rules"]
    assert refused(propose_limits, stream, "none", ()) == ["plan.chart.unknown"]
    short = Stream(stream.tool, None, None, "crimp height")
    assert refused(propose_limits, short, "EWMA", ()) == ["plan.chart.unknown"]
    assert refused(propose_limits, stream, "mean and range", ()) == ["control.too_few"]  # samples of one have no range


def test_quiet_sample_raises_no_signal(frozen, run, hand):
    measure_one(run, hand, "1.401", 300)
    assert not ChartSignal.objects.exists()


def test_point_beyond_the_limits_signals_though_it_conforms_and_asks_for_a_reaction(frozen, run, hand, cast):
    sample = measure_one(run, hand, "1.430", 300)  # within 1.35 to 1.45, far beyond three sigma
    assert sample.state == "accepted"
    signals = {(s.panel, s.rule) for s in ChartSignal.objects.all()}
    assert ("location", "nelson.1") in signals
    batch = Batch.objects.get()
    rules = refused(start_sample, batch=batch, kind="in process", at_count=310, by=cast.operator, at=now())
    assert set(rules) == {"control.reaction"}

    assert refused(answer_signals, signals=open_signals(batch), cause="", text=" ", by=cast.operator, at=now()) == ["control.reaction.text"]
    assert refused(answer_signals, signals=open_signals(batch), cause="setting", text="x", by=cast.auditor, at=now()) == ["person.role"]
    answered = open_signals(batch)
    answer_signals(signals=answered, cause="setting", text="dial had slipped, set back", by=cast.operator, at=now())
    assert Reaction.objects.count() == len(answered)
    assert refused(answer_signals, signals=answered, cause="setting", text="again", by=cast.operator, at=now()) == ["control.reaction.once"]
    measure_one(batch, hand, "1.400", 310)
    kinds = list(LedgerEntry.objects.filter(kind__startswith="control.").order_by("number").values_list("kind", flat=True))
    assert kinds[:3] == ["control.limits_frozen", "control.signalled", "control.answered"]


def test_nine_on_one_side_signal_at_the_ninth(frozen, run, hand):
    for number in range(8):
        measure_one(run, hand, "1.402", 300 + 10 * number)
    assert not ChartSignal.objects.filter(rule="nelson.2").exists()
    ninth = measure_one(run, hand, "1.402", 380)
    signal = ChartSignal.objects.get(rule="nelson.2", panel="location")
    assert (signal.sample, len(signal.points)) == (ninth, 9)


def test_short_run_limits_watch_everything_the_tool_makes(run, stream, hand, cast):
    freeze(Stream(stream.tool, None, None, "crimp height"), cast.quality)
    measure_one(run, hand, "1.430", 300)
    assert ChartSignal.objects.filter(rule="nelson.1", limits__terminal=None).exists()


def test_ended_limits_watch_no_more_and_others_may_follow(frozen, stream, run, hand, cast):
    def end(person, reason="new crimper"):
        at = now()
        signing = sign(identifier=person.username, secret=PIN, meaning=ENDED_MEANING, at=at)
        return end_limits(limits=frozen, reason=reason, by=person, at=at, signing=signing)

    assert set(refused(end, cast.inspector, reason="")) == {"person.role", "control.reason"}
    end(cast.quality)
    measure_one(run, hand, "1.430", 300)
    assert not ChartSignal.objects.exists()
    assert refused(end, cast.quality) == ["control.ended"]
    assert freeze(stream, cast.quality).pk != frozen.pk


def test_tablet_asks_for_the_reaction_before_the_next_sample(frozen, run, hand, cast, signed_in):
    measure_one(run, hand, "1.430", 300)
    client = signed_in(cast.operator)
    shown = client.get(reverse("make:run", args=[run.number]))
    assert "a point beyond a control limit" in shown.content.decode()
    asked = reverse("make:reaction", args=[run.number])
    assert client.get(reverse("make:new-sample", args=[run.number, "in-process"]))["Location"] == asked
    page = client.get(asked)
    key = page.context["screen"].key
    assert client.post(asked, {"act_key": key, "cause": "setting", "text": ""}).status_code == 422
    key = client.get(asked).context["screen"].key
    assert client.post(asked, {"act_key": key, "cause": "setting", "text": "set back"}).status_code == 302
    assert client.get(reverse("make:new-sample", args=[run.number, "in-process"])).status_code == 200
    assert Sample.objects.count() == 23
