"""A tablet comes back: its acts are recorded once, in order, at the right time; what does not fit any more waits for a person."""

from __future__ import annotations

import re
from datetime import timedelta
from pathlib import Path

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from inspection.acts.batches import CLOSED_MEANING, Counts, close_batch, open_batch, scan
from inspection.acts.claims import DISOWNED_MEANING, confirm_signature, disown_signature
from inspection.acts.offline import NOTE_MEANING, TAKEN_OVER_MEANING, Sent, keep_as_note, replay, take_over, ticket_for
from inspection.acts.samples import record_reading, start_sample
from inspection.models import Batch, BatchStatus, ClaimedSignature, OfflineAct, Reading, Sample, SampleState
from inspection.pack_queries import station_pack
from inspection.pages.offline_words import WORDS
from inspection.plan import sample_plan
from records.gather.batch import batch_record
from records.models import LedgerEntry, Signature
from shop.clock import now
from shop.finding import Refused
from shop.jobs import SheetStatus
from shop.materials import LotState, TerminalLot
from shop.people import Qualification
from shop.sign_on import sign
from tests import factories
from tests.remembered import remembered

TABLET = "tablet-1"


def acts_of_a_sample(batch, person, *, kind="first piece", count=5, begun=None, named="new:start", heights="1.40", ends=True):
    """What a tablet sends for one sample, as its own page writes it."""
    begun = begun or now() - timedelta(minutes=30)
    moments = (begun + timedelta(seconds=10 * n) for n in range(1000))

    def sent(key, what, **content):
        return Sent(key, what, batch.number, person.username, next(moments), content, ticket_for(person))

    plan = sample_plan(batch.termination, kind)
    listed = [sent("start", "start sample", sample_kind=kind, at_count=count, believed={"sheet": "released", "lots": True})]
    for planned in plan.readings:
        middle = planned.limits.nominal or (planned.limits.low + planned.limits.high) / 2
        for piece in range(1, planned.pieces + 1):
            text = heights if planned.characteristic == "crimp height" else f"{middle:.2f}"
            content = {"sample": named, "characteristic": planned.characteristic, "piece": piece, "text": text, "unit": "mm"}
            listed.append(sent(f"{planned.characteristic}-{piece}", "reading", **content))
    for piece in range(1, plan.pulls + 1):
        pulled = {"sample": named, "piece": piece, "text": "120.5", "unit": "N", "mode": "wire broke away from crimp"}
        listed.append(sent(f"pull-{piece}", "pull", **pulled))
    answers = [{"criterion": c.code, "accepted": True, "note": ""} for c in plan.criteria]
    listed.append(sent("look", "visual", sample=named, answers=answers))
    if ends:
        listed.append(sent("end", "conclude", sample=named, outcome="conforms"))
    return listed


def send(acts, person, *, off=timedelta(0), tablet=TABLET):
    at = now()
    return replay(acts=acts, sent_by=person, tablet=tablet, tablet_now=at - off, at=at)


def states(answers):
    return [answer.state for answer in answers]


def rules(answer):
    return [f.rule for f in answer.findings]


def signed(person, meaning):
    return sign(identifier=person.username, secret=factories.PIN, meaning=meaning, at=now())


def test_first_piece_made_without_network_is_recorded_once(proven, cast):
    acts = acts_of_a_sample(proven, cast.operator)

    answers = send(acts, cast.operator)
    again = send(acts, cast.operator)

    assert states(answers) == ["recorded"] * len(acts)
    assert states(again) == ["recorded before"] * len(acts)
    sample = Sample.objects.get()
    assert sample.state == SampleState.WAITS_FOR_INSPECTOR
    assert Reading.objects.filter(characteristic="crimp height").count() == proven.termination.first_piece_heights
    assert {r.text for r in Reading.objects.filter(characteristic="crimp height")} == {"1.40"}
    assert LedgerEntry.objects.filter(kind="offline.recorded").count() == len(acts)


def test_verdict_of_the_server_stands_beside_each_answer(proven, cast):
    answers = send(acts_of_a_sample(proven, cast.operator, heights="1.47", ends=False), cast.operator)

    by_key = {a.key: a.verdict for a in answers}
    assert (by_key["crimp height-1"], by_key["crimp width-1"], by_key["pull-1"]) == ("does not conform", "conforms", "conforms")


def test_form_that_did_reach_the_server_is_known_by_its_key(client, proven, cast):
    client.force_login(cast.operator)
    path, form = f"/make/batch/{proven.number}/first-piece/", {"at_count": "5", "act_key": "lost-answer"}
    client.post(path, form)

    same = Sent("lost-answer", "start sample", proven.number, "operator", now(), {"sample_kind": "first piece", "at_count": "5"})
    fields = [("at_count", "5")]
    (answer,) = send([Sent(**{f: getattr(same, f) for f in same.__slots__} | {"path": path, "fields": fields})], cast.operator)

    assert (answer.state, Sample.objects.count()) == ("recorded before", 1)


def test_key_with_another_value_behind_it_is_set_aside(client, proven, cast):
    client.force_login(cast.operator)
    path = f"/make/batch/{proven.number}/first-piece/"
    client.post(path, {"at_count": "5", "act_key": "typed-twice"})

    content = {"sample_kind": "first piece", "at_count": "7"}
    act = Sent("typed-twice", "start sample", proven.number, "operator", now(), content, "", path, [("at_count", "7")])
    (answer,) = send([act], cast.operator)

    assert (answer.state, rules(answer)) == ("needs a person", ["once.other"])
    assert Sample.objects.get().at_count == 5


def test_times_follow_the_servers_clock_and_both_are_kept(proven, cast):
    begun = now() - timedelta(minutes=5)
    ten_minutes_slow = timedelta(minutes=10)

    send(acts_of_a_sample(proven, cast.operator, begun=begun - ten_minutes_slow, ends=False), cast.operator, off=ten_minutes_slow)

    first = OfflineAct.objects.order_by("pk").first()
    assert (first.skew_seconds, first.tablet_time) == (600, begun - ten_minutes_slow)
    # The set-up was scanned a moment ago: nothing is recorded before it, and nothing in the future.
    times = list(Reading.objects.order_by("pk").values_list("at", flat=True))
    assert times == sorted(times)
    assert proven.scans.last().at <= times[0] <= times[-1] <= now()


def test_act_of_a_fast_clock_is_never_in_the_future(proven, cast):
    acts = acts_of_a_sample(proven, cast.operator, begun=now() + timedelta(hours=3), ends=False)[:1]

    send(acts, cast.operator)

    assert Sample.objects.get().taken_at <= now()


def test_skew_and_what_was_taken_is_told_to_the_tablet(signed_in, proven, cast):
    client = signed_in(cast.operator)
    at = now()
    act = {"key": "s", "kind": "start sample", "batch": proven.number, "by": "operator", "made_at": at.isoformat()}
    body = {"tablet": TABLET, "tablet_now": (at - timedelta(minutes=5)).isoformat()}
    body["acts"] = [act | {"content": {"sample_kind": "first piece", "at_count": 5}}]

    told = client.post("/make/acts/", body, content_type="application/json").json()

    assert [a["state"] for a in told["answers"]] == ["recorded"]
    assert "5 minutes slow" in told["clock"]


def test_sheet_superseded_meanwhile_waits_for_a_person_and_so_does_the_rest(proven, cast):
    acts = acts_of_a_sample(proven, cast.operator)
    type(proven.termination.sheet).objects.filter(pk=proven.termination.sheet_id).update(status=SheetStatus.SUPERSEDED)

    answers = send(acts, cast.operator)

    assert states(answers) == ["needs a person"] + ["waits"] * (len(acts) - 1)
    assert rules(answers[0]) == ["batch.sheet"]
    assert (Sample.objects.count(), OfflineAct.objects.filter(set_aside=True).count()) == (0, len(acts))
    assert LedgerEntry.objects.filter(kind="offline.set_aside").count() == len(acts)


def test_lot_put_on_hold_meanwhile_is_qualitys_decision(proven, cast):
    acts = acts_of_a_sample(proven, cast.operator)
    TerminalLot.objects.filter(lot_number="TL-2001").update(state=LotState.ON_HOLD)
    send(acts, cast.operator)
    act = OfflineAct.objects.get(key="start")

    with pytest.raises(Refused) as refused:
        take_over(act=act, by=cast.operator, at=now(), signing=signed(cast.operator, TAKEN_OVER_MEANING))
    taken = take_over(act=act, by=cast.quality, at=now(), signing=signed(cast.quality, TAKEN_OVER_MEANING))

    assert [f.rule for f in refused.value.findings] == ["offline.rights"]
    assert len(taken) == len(acts)
    sample = Sample.objects.get()
    assert (sample.taken_by, sample.state) == (cast.operator, SampleState.WAITS_FOR_INSPECTOR)
    entry = LedgerEntry.objects.filter(kind="offline.decided").first()
    assert entry.by == cast.quality


def test_operator_keeps_what_does_not_fit_as_a_note_with_a_reason(proven, cast):
    start_sample(batch=proven, kind="first piece", at_count=5, by=cast.operator, at=now())
    acts = acts_of_a_sample(proven, cast.operator)
    answers = send(acts, cast.operator)
    act = OfflineAct.objects.get(key="start")
    signing = signed(cast.operator, NOTE_MEANING)

    with pytest.raises(Refused) as refused:
        keep_as_note(act=act, reason=" ", by=cast.operator, at=now(), signing=signing)
    kept = keep_as_note(act=act, reason="measured at the other tablet", by=cast.operator, at=now(), signing=signing, following=True)

    assert (rules(answers[0]), [f.rule for f in refused.value.findings]) == (["sample.state"], ["offline.reason"])
    assert len(kept) == len(acts)
    assert (Sample.objects.count(), Reading.objects.count()) == (1, 0)
    assert states(send(acts, cast.operator)) == ["recorded before"] * len(acts)


def test_acts_are_decided_in_the_order_in_which_they_were_made(proven, cast):
    start_sample(batch=proven, kind="first piece", at_count=5, by=cast.operator, at=now())
    send(acts_of_a_sample(proven, cast.operator), cast.operator)
    later = OfflineAct.objects.get(key="look")

    with pytest.raises(Refused) as refused:
        take_over(act=later, by=cast.operator, at=now(), signing=signed(cast.operator, TAKEN_OVER_MEANING))

    assert [f.rule for f in refused.value.findings] == ["offline.order"]


def test_stop_of_the_run_never_waits(running, cast):
    start_sample(batch=running, kind="in process", at_count=50, by=cast.operator, at=now())
    acts = acts_of_a_sample(running, cast.operator, kind="in process", count=50)
    stop = Sent("stop", "hold", running.number, "operator", now(), {"reason": "burr", "at_count": 60}, "")

    answers = send([*acts, stop], cast.operator)

    assert states(answers)[-1] == "recorded"
    running.refresh_from_db()
    assert running.status == BatchStatus.ON_HOLD


def test_refused_scan_that_the_tablet_took_for_a_yes_waits(termination, proven, cast):
    TerminalLot.objects.filter(lot_number="TL-2001").update(state=LotState.ON_HOLD)
    said_yes = Sent("s1", "scan", proven.number, "operator", now(), {"code": "TL-2001", "accepted": True})
    said_no = Sent("s2", "scan", proven.number, "operator", now(), {"code": "TL-2002", "accepted": False})

    answers = send([said_no, said_yes], cast.operator)

    assert states(answers) == ["recorded", "needs a person"]
    assert rules(answers[1]) == ["use.lot.state"]


def test_person_who_was_not_qualified_then_is_refused(proven, cast):
    Qualification.objects.filter(person=cast.operator, process="crimp").update(withdrawn_on=factories.days(-1))

    answers = send(acts_of_a_sample(proven, cast.operator), cast.operator)

    assert states(answers)[0] == "needs a person"
    assert rules(answers[0]) == ["use.person.qualification"]


def test_act_in_another_name_needs_a_ticket_of_that_person(proven, cast):
    other = factories.make_person("other", "operator")
    act = Sent("start", "start sample", proven.number, "operator", now(), {"sample_kind": "first piece", "at_count": 5})
    forged, carried = act, Sent(**{f: getattr(act, f) for f in act.__slots__} | {"key": "k2", "ticket": ticket_for(cast.operator)})

    (refused,) = send([forged], other)
    keep_as_note(act=OfflineAct.objects.get(), reason="x", by=cast.operator, at=now(), signing=signed(cast.operator, NOTE_MEANING))
    (taken,) = send([carried], other)

    assert (refused.state, rules(refused), taken.state) == ("needs a person", ["offline.person"], "recorded")
    assert Sample.objects.get().taken_by == cast.operator


def test_two_tablets_on_one_batch_do_not_mix_their_samples(proven, cast):
    first = send(acts_of_a_sample(proven, cast.operator), cast.operator, tablet="tablet-1")
    other = [Sent(**{f: getattr(a, f) for f in a.__slots__} | {"key": f"b-{a.key}"}) for a in acts_of_a_sample(proven, cast.operator)]
    second = send(other, cast.operator, tablet="tablet-2")

    assert states(first) == ["recorded"] * len(first)
    assert states(second) == ["needs a person"] + ["waits"] * (len(second) - 1)
    assert Sample.objects.count() == 1


def test_verdict_that_differs_from_the_tablets_waits(proven, cast):
    acts = acts_of_a_sample(proven, cast.operator, heights="1.47")

    answers = send(acts, cast.operator)

    assert rules(answers[-1]) == ["offline.outcome"]
    assert Sample.objects.get().state == SampleState.OPEN


def test_verdict_that_differed_is_the_servers_when_it_is_taken_over(proven, cast):
    send(acts_of_a_sample(proven, cast.operator, heights="1.47"), cast.operator)
    act = OfflineAct.objects.get(key="end")

    take_over(act=act, by=cast.operator, at=now(), signing=signed(cast.operator, TAKEN_OVER_MEANING))

    proven.refresh_from_db()
    assert (Sample.objects.get().state, proven.status) == (SampleState.REJECTED, BatchStatus.ON_HOLD)
    act.refresh_from_db()
    assert "taken_over" not in act.content


def test_act_that_still_does_not_fit_is_refused_again_and_stays(proven, cast):
    start_sample(batch=proven, kind="first piece", at_count=5, by=cast.operator, at=now())
    send(acts_of_a_sample(proven, cast.operator), cast.operator)
    act = OfflineAct.objects.get(key="start")

    with pytest.raises(Refused) as refused:
        take_over(act=act, by=cast.operator, at=now(), signing=signed(cast.operator, TAKEN_OVER_MEANING))

    assert [f.rule for f in refused.value.findings] == ["sample.state"]
    assert not hasattr(OfflineAct.objects.get(key="start"), "decision")


@pytest.mark.parametrize(
    ("kind", "content"),
    [
        ("furlong", {}),
        ("start sample", {"sample_kind": "first piece"}),
        ("start sample", {"sample_kind": "first piece", "at_count": True}),
        ("scan", {"code": 7}),
        ("counts", {"made": "ten"}),
    ],
)
def test_act_that_cannot_be_read_is_kept_for_a_person(proven, cast, kind, content):
    (answer,) = send([Sent("x", kind, proven.number, "operator", now(), content)], cast.operator)

    assert (answer.state, rules(answer)) == ("needs a person", ["offline.content"])
    assert OfflineAct.objects.get().content["batch"] == proven.number


def test_batch_opened_without_network_is_named_by_its_key(termination, cast):
    opened = Sent("o", "open batch", "", "operator", now(), {"termination": termination.pk, "quantity": 20})
    scanned = Sent("s", "scan", "new:o", "operator", now(), {"code": "AP-031", "accepted": True})

    answers = send([opened, scanned], cast.operator)

    assert states(answers) == ["recorded", "recorded"]
    assert [s.code for s in Batch.objects.get().scans.filter(part="tool")] == ["AP-031"]


# --- Signatures -------------------------------------------------------------------------------------------------------------------


@pytest.fixture
@remembered
def claimed(proven, cast):
    """A first piece measured and approved without the network: two signatures to confirm; the batch runs."""
    acts = acts_of_a_sample(proven, cast.operator)
    approval = Sent("ok", "countersign", proven.number, "operator", now(), {"sample": "new:start", "badge": "B-inspector"})
    assert states(send([*acts, approval], cast.operator)) == ["recorded"] * (len(acts) + 1)
    return Batch.objects.get()


def test_signatures_without_network_let_the_batch_run_and_are_told_as_such(claimed, cast):
    claims = {c.meaning: c.person for c in ClaimedSignature.objects.all()}

    assert claimed.status == BatchStatus.RUNNING
    assert claims == {"measured": cast.operator, "approved first piece": cast.inspector}
    assert not Signature.objects.filter(subject_kind="sample").exists()
    printed = [s["meaning"] for s in batch_record(claimed)["signatures"]]
    assert "measured; given without network, not confirmed yet" in printed


def test_nobody_countersigns_their_own_piece_by_a_claim(proven, cast):
    acts = acts_of_a_sample(proven, cast.operator)
    own = Sent("ok", "countersign", proven.number, "operator", now(), {"sample": "new:start", "badge": "B-operator"})

    answers = send([*acts, own], cast.operator)

    assert "sample.countersign.same" in rules(answers[-1])


def closing(batch):
    Batch.objects.filter(pk=batch.pk).update(status=BatchStatus.CLOSING)
    pulled = batch.termination.first_piece_pulls
    return Counts(made=100, good=100 - pulled, scrap=0, destroyed=pulled, held=0)


def test_batch_does_not_close_before_each_signature_is_confirmed(claimed, cast):
    counts = closing(claimed)

    with pytest.raises(Refused) as refused:
        close_batch(batch=claimed, counts=counts, by=cast.operator, at=now(), signing=signed(cast.operator, CLOSED_MEANING))
    for claim in ClaimedSignature.objects.all():
        signing = signed(claim.person, claim.meaning)
        confirm_signature(claim=claim, by=claim.person, at=now(), signing=signing, seen_sha256=claim.content_sha256)
    close_batch(batch=claimed, counts=counts, by=cast.operator, at=now(), signing=signed(cast.operator, CLOSED_MEANING))

    assert [f.rule for f in refused.value.findings] == ["batch.unconfirmed"]
    claimed.refresh_from_db()
    assert claimed.status == BatchStatus.CLOSED
    printed = [s["meaning"] for s in batch_record(claimed)["signatures"] if "without network" in s["meaning"]]
    assert len(printed) == 2
    assert all("given without network" in line and "confirmed" in line for line in printed)


def test_batch_does_not_close_over_undecided_acts(claimed, cast):
    counts = closing(claimed)
    late = Sent("late", "start sample", claimed.number, "operator", now(), {"sample_kind": "in process", "at_count": 50})
    send([late], cast.operator)

    with pytest.raises(Refused) as refused:
        close_batch(batch=claimed, counts=counts, by=cast.operator, at=now(), signing=signed(cast.operator, CLOSED_MEANING))

    assert {f.rule for f in refused.value.findings} == {"batch.unconfirmed", "batch.undecided"}


def test_only_the_person_confirms_and_only_what_they_saw(claimed, cast):
    claim = ClaimedSignature.objects.get(meaning="measured")

    by_inspector, by_operator = signed(cast.inspector, "measured"), signed(cast.operator, "measured")
    with pytest.raises(Refused) as other:
        confirm_signature(claim=claim, by=cast.inspector, at=now(), signing=by_inspector, seen_sha256=claim.content_sha256)
    with pytest.raises(Refused) as stale:
        confirm_signature(claim=claim, by=cast.operator, at=now(), signing=by_operator, seen_sha256="0" * 64)

    assert [f.rule for f in other.value.findings] == ["claim.person"]
    assert [f.rule for f in stale.value.findings] == ["sign.stale"]


def test_disowned_signature_stops_the_run_with_its_suspect_pieces(claimed, cast):
    Batch.objects.filter(pk=claimed.pk).update(last_count=40)
    claim = ClaimedSignature.objects.get(meaning="approved first piece")

    disown_signature(
        claim=claim, reason="I was not at the press", by=cast.inspector, at=now(), signing=signed(cast.inspector, DISOWNED_MEANING)
    )

    claimed.refresh_from_db()
    hold = claimed.holds.get()
    assert (claimed.status, claim.sample.batch_id) == (BatchStatus.ON_HOLD, claimed.pk)
    assert (hold.suspect_from, hold.suspect_to) == (0, 40)
    assert Sample.objects.get().state == SampleState.REJECTED


# --- Pages ------------------------------------------------------------------------------------------------------------------------


def test_pages_of_decision_and_confirmation_do_the_acts(signed_in, claimed, cast):
    late = Sent("late", "start sample", claimed.number, "operator", now(), {"sample_kind": "first piece", "at_count": 50})
    send([late], cast.operator)
    client = signed_in(cast.operator)
    act, claim = OfflineAct.objects.get(key="late"), ClaimedSignature.objects.get(meaning="measured")

    listed, asked = client.get("/make/undecided/"), client.get(f"/make/undecided/{act.pk}/")
    signature = client.get(f"/make/confirm/{claim.pk}/")
    form = {"act_key": "d", "decision": "note", "reason": "taken by mistake", "secret": factories.PIN}
    client.post(f"/make/undecided/{act.pk}/", form)
    confirmed = {"act_key": "c", "answer": "confirm", "seen_sha256": claim.content_sha256, "secret": factories.PIN}
    client.post(f"/make/confirm/{claim.pk}/", confirmed)

    assert "first piece at piece 50" in listed.content.decode()
    assert "A sample of kind first piece does not belong here." in asked.content.decode()
    assert "1.40 mm" in signature.content.decode()
    assert "1.35 – 1.45" in signature.content.decode()
    assert (act.decision.taken_over, claim.answer.confirmed) == (False, True)


def test_page_of_a_signature_that_is_not_theirs_asks_why(signed_in, claimed, cast):
    claim = ClaimedSignature.objects.get(meaning="approved first piece")
    client, address = signed_in(cast.inspector), f"/make/confirm/{claim.pk}/"
    form = {"answer": "disown", "secret": factories.PIN}

    without = client.post(address, form | {"act_key": "1", "reason": ""})
    done = client.post(address, form | {"act_key": "2", "reason": "I was not there"}, follow=True)

    assert (without.status_code, "A decision needs a reason." in without.content.decode()) == (422, True)
    assert "The batch is on hold: quality decides." in done.content.decode()
    claimed.refresh_from_db()
    assert claimed.status == BatchStatus.ON_HOLD


def test_what_waits_stands_where_the_person_begins(signed_in, claimed, cast):
    late = Sent("late", "start sample", claimed.number, "operator", now(), {"sample_kind": "first piece", "at_count": 50})
    send([late], cast.operator)

    home = signed_in(cast.operator).get("/", follow=True).content.decode()

    assert "1 act from a tablet waits for a decision" in home
    assert "1 signature given without network is to be confirmed" in home


def test_prepared_counts_are_proposed_and_signed_at_the_server(signed_in, claimed, cast):
    counts = {"made": 100, "good": 90, "scrap": 5, "destroyed": 5, "held": 0}
    send([Sent("n", "counts", claimed.number, "operator", now(), counts)], cast.operator)
    closing(claimed)

    page = signed_in(cast.operator).get(f"/make/batch/{claimed.number}/close/").content.decode()

    assert 'name="good" value="90"' in page
    assert "wait to be confirmed before the batch can close" in page


@pytest.mark.parametrize(
    "body",
    [
        "[]",
        "{",
        '{"acts": 3, "tablet_now": "2026-03-02T10:00:00Z"}',
        '{"acts": [], "tablet_now": "2026-03-02T10:00:00"}',
        '{"acts": [{"made_at": "yesterday"}], "tablet_now": "2026-03-02T10:00:00Z"}',
        '{"acts": [{"made_at": "2026-03-02T10:00:00Z", "content": {"x": 1.5}}], "tablet_now": "2026-03-02T10:00:00Z"}',
        '{"acts": [{"made_at": "2026-03-02T10:00:00Z", "key": "a\\u0000"}], "tablet_now": "2026-03-02T10:00:00Z"}',
    ],
)
def test_body_that_is_no_list_of_acts_is_refused_with_words(signed_in, cast, body):
    answer = signed_in(cast.operator).post("/make/acts/", body, content_type="application/json")

    assert (answer.status_code, answer.json()["findings"][0]["rule"]) == (422, "offline.content")


# --- The pack ---------------------------------------------------------------------------------------------------------------------


def test_pack_carries_what_the_press_needs_and_no_secret(signed_in, proven, cast):
    answer = signed_in(cast.operator).get("/make/pack/")
    pack = answer.json()

    (batch,) = pack["batches"]
    (t,) = [t for t in pack["terminations"] if t["pk"] == batch["termination"]]
    height = next(line for line in t["lines"] if line["characteristic"] == "crimp height")
    assert (batch["number"], batch["status"], batch["last_count"]) == (proven.number, "first piece", 0)
    assert (height["low"], height["high"], height["unit"]) == ("1.35", "1.45", "mm")
    assert {"TL-2001", "WL-1001", "AP-031", "MIC-01"} <= {c["code"] for c in t["codes"]}
    assert not {"TL-2002", "MIC-09"} & {c["code"] for c in t["codes"]}
    people = {p["username"]: p for p in pack["people"]}
    assert (people["operator"]["run"], people["inspector"]["countersign"]) == (True, True)
    text = answer.content.decode()
    assert cast.operator.pin not in text
    assert cast.operator.password not in text


def test_pack_that_the_tablet_has_is_not_sent_again(signed_in, proven, cast):
    client = signed_in(cast.operator)
    first = client.get("/make/pack/")
    again = client.get("/make/pack/", headers={"If-None-Match": first["ETag"]})
    start_sample(batch=proven, kind="first piece", at_count=5, by=cast.operator, at=now())
    changed = client.get("/make/pack/", headers={"If-None-Match": first["ETag"]})

    assert (again.status_code, again.content, changed.status_code) == (304, b"", 200)


def test_pack_asks_the_same_number_of_questions_for_more_batches(termination, cast):
    def made():
        batch = open_batch(termination=termination, quantity=10, by=cast.operator, at=now())
        for code in ("AP-031", "TL-2001", "WL-1001", "MIC-01", "CAL-01", "PULL-01"):
            scan(batch=batch, code=code, by=cast.operator, at=now())
        sample = start_sample(batch=batch, kind="first piece", at_count=5, by=cast.operator, at=now())
        record_reading(sample=sample, characteristic="crimp height", piece=1, text="1.40", unit="mm", by=cast.operator, at=now())

    made()
    with CaptureQueriesContext(connection) as one:
        station_pack(cast.operator, now())
    made()
    made()
    with CaptureQueriesContext(connection) as three:
        station_pack(cast.operator, now())

    assert len(three) == len(one)


# --- What a tablet installs -------------------------------------------------------------------------------------------------------


def test_worker_keeps_the_floors_files_and_nobody_has_to_be_signed_on(client, db):
    worker, manifest, page = (client.get(address) for address in ("/sw.js", "/manifest.webmanifest", "/make/offline/"))

    assert (worker["Content-Type"], "no-store" in worker["Cache-Control"]) == ("text/javascript; charset=utf-8", True)
    assert "worker-src 'self'" in worker["Content-Security-Policy"]
    for kept in ("shop/js/offline/page.js", "shop/js/offline/verdict.js", "shop/css/floor.css", "/make/offline/"):
        assert kept in worker.content.decode()
    assert (manifest.json()["start_url"], manifest.json()["scope"]) == ("/make/", "/make/")
    assert 'id="offline-words"' in page.content.decode()


def test_every_text_that_the_offline_page_asks_for_is_there():
    script = (Path(__file__).parents[2] / "shop/static/shop/js/offline/page.js").read_text()

    asked = set(re.findall(r'\bw\("([^"]+)"', script))

    assert asked - set(WORDS) == set()


def test_pack_of_an_enrolled_tablet_is_its_stations(signed_in, proven, cast, catalogue):
    station = factories.make_station("ST-9", tools=[catalogue.tool_ring])
    client = signed_in(cast.operator)
    factories.make_tablet("TB-9", station, cast.administrator, client)

    pack = client.get("/make/pack/").json()
    with_batch = client.get(f"/make/pack/?batch={proven.number}").json()

    assert [b["number"] for b in pack["batches"]] == []
    assert [b["number"] for b in with_batch["batches"]] == [proven.number]
