"""Measuring: what is refused at the value, what a correction leaves, and who may sign a sample."""

from __future__ import annotations

from decimal import Decimal

import pytest

from inspection.acts.batches import scan
from inspection.acts.samples import (
    APPROVED_MEANING,
    MEASURED_MEANING,
    TURNED_DOWN_MEANING,
    Look,
    conclude_sample,
    countersign_first_piece,
    record_looks,
    record_pull,
    record_reading,
    record_visual,
    start_sample,
    turn_down_first_piece,
)
from inspection.contents import sample_content
from inspection.models import Batch, BatchStatus, Hold, PullTest, Reading, Sample, SampleState, VisualFinding
from records.demo.walk import measure
from records.models import LedgerEntry, Signature
from shop.canonical import content_sha256
from shop.clock import now
from shop.finding import Refused, Verdict
from shop.people import PersonRole, Role
from tests import factories

NOMINALS = ["1.400"] * 5


def rules(refused):
    return [f.rule for f in refused.value.findings]


@pytest.fixture
def sample(proven, cast):
    return start_sample(batch=proven, kind="first piece", at_count=5, by=cast.operator, at=now())


def read(sample, by, text, unit="mm", piece=1, characteristic="crimp height", **more):
    return record_reading(sample=sample, characteristic=characteristic, piece=piece, text=text, unit=unit, by=by, at=now(), **more)


def pull(sample, by, text, piece=1, mode="pulled out", unit="N", **more):
    return record_pull(sample=sample, piece=piece, text=text, unit=unit, mode=mode, by=by, at=now(), **more)


def look(sample, by, criterion, accepted, **more):
    return record_visual(sample=sample, criterion=criterion, accepted=accepted, by=by, at=now(), **more)


def concluded(sample, hand, seen=None, **more):
    at = now()
    seen = seen or content_sha256(sample_content(sample))
    return conclude_sample(sample=sample, by=hand.person, at=at, signing=hand.sign(MEASURED_MEANING, at), seen_sha256=seen, **more)


# --- The value -------------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "unit", "rule"),
    [
        ("abc", "mm", "reading.not_a_number"),
        ("", "mm", "reading.not_a_number"),
        ("NaN", "mm", "reading.not_a_number"),
        ("inf", "mm", "reading.not_a_number"),
        ("1.40", "N", "reading.wrong_unit"),
        ("1.40 kg", "mm", "reading.wrong_unit"),
        ("1,234.5", "mm", "reading.ambiguous"),
        ("1,400", "mm", "reading.ambiguous"),
    ],
)
def test_text_that_is_no_length_is_refused(sample, cast, text, unit, rule):
    with pytest.raises(Refused) as refused:
        read(sample, cast.operator, text, unit)

    assert rules(refused) == [rule]
    assert not Reading.objects.exists()


@pytest.mark.parametrize(("text", "unit"), [("1.40", "mm"), ("N/A", "N"), ("85 mm", "N")])
def test_text_that_is_no_force_is_refused(sample, cast, text, unit):
    with pytest.raises(Refused) as refused:
        pull(sample, cast.operator, text, unit=unit)

    assert rules(refused)[0].startswith("reading.")
    assert not PullTest.objects.exists()


@pytest.mark.parametrize(("text", "suggestion"), [("14", "1.4"), ("140", "1.40"), ("0.14", "1.4"), ("0.0551", "1.3995")])
def test_implausible_height_is_asked_about_with_what_was_probably_meant(sample, cast, text, suggestion):
    with pytest.raises(Refused) as refused:
        read(sample, cast.operator, text)

    (finding,) = refused.value.findings
    assert (finding.rule, finding.verdict) == ("reading.implausible", Verdict.MISFIT)
    assert finding.compared["suggestion"] == Decimal(suggestion)
    assert not Reading.objects.exists()


def test_implausible_height_that_is_confirmed_is_recorded_as_it_is(sample, cast):
    reading = read(sample, cast.operator, "14", confirmed=True)

    assert (reading.text, reading.value, reading.outcome) == ("14", Decimal(14), "does not conform")


@pytest.mark.parametrize(
    ("text", "outcome"),
    [("1.35", "conforms"), ("1.450", "conforms"), ("1.451", "does not conform"), ("1.349", "does not conform")],
)
def test_height_is_judged_against_limits_that_belong_to_it(sample, cast, text, outcome):
    assert read(sample, cast.operator, text).outcome == outcome


def test_reading_keeps_the_digits_typed(sample, cast):
    assert read(sample, cast.operator, "1.400").text == "1.400"


def test_reading_names_the_gauge_and_its_calibration(sample, cast, catalogue):
    reading = read(sample, cast.operator, "1.40")

    assert (reading.gauge, reading.calibration) == (catalogue.micrometer, catalogue.micrometer.calibrations.get())


def test_gauge_that_expires_between_set_up_and_reading_stops_the_measuring(sample, cast, catalogue):
    read(sample, cast.operator, "1.40")
    catalogue.micrometer.calibrations.update(due_on=factories.days(-1))

    with pytest.raises(Refused) as refused:
        read(sample, cast.operator, "1.40", piece=2)

    assert rules(refused) == ["use.gauge.calibration"]
    assert Reading.objects.count() == 1
    factories.make_gauge("MIC-02", "crimp-height micrometer", "mm", "0.001")
    assert scan(batch=sample.batch, code="MIC-02", by=cast.operator, at=now()).accepted
    assert read(sample, cast.operator, "1.40", piece=2).gauge.asset_number == "MIC-02"


def test_piece_that_has_a_value_or_is_not_in_the_plan_is_refused(sample, cast):
    read(sample, cast.operator, "1.40")

    for piece in (1, 0, 6):
        with pytest.raises(Refused) as refused:
            read(sample, cast.operator, "1.41", piece=piece)
        assert rules(refused) == ["reading.piece"]
    assert Reading.objects.count() == 1


def test_reading_by_somebody_not_qualified_to_inspect_is_refused(sample, cast):
    cast.operator.qualifications.filter(process="inspect").update(expires_on=factories.days(-1))

    with pytest.raises(Refused) as refused:
        read(sample, cast.operator, "1.40")

    assert rules(refused) == ["use.person.qualification"]


def test_pull_test_needs_its_own_qualification(sample, cast):
    cast.operator.qualifications.filter(process="pull test").delete()

    with pytest.raises(Refused) as refused:
        pull(sample, cast.operator, "120")

    assert rules(refused) == ["use.person.qualification"]


def test_pull_test_with_an_unknown_failure_mode_is_refused(sample, cast):
    with pytest.raises(Refused) as refused:
        pull(sample, cast.operator, "120", mode="fell off")

    assert rules(refused) == ["pull.mode"]


@pytest.mark.parametrize(("text", "outcome"), [("85", "conforms"), ("84.9", "does not conform")])
def test_pull_force_is_judged_against_its_minimum_whatever_the_mode(sample, cast, text, outcome):
    assert pull(sample, cast.operator, text, mode="wire broke away from crimp").outcome == outcome


def test_rejected_criterion_without_a_note_is_refused(sample, cast):
    with pytest.raises(Refused) as refused:
        look(sample, cast.operator, "visual.seam", False, note=" ")

    assert rules(refused) == ["visual.note"]


def test_criterion_that_is_not_for_this_terminal_is_refused(sample, cast):
    with pytest.raises(Refused) as refused:
        look(sample, cast.operator, "visual.inspection_hole", True)

    assert rules(refused) == ["visual.criterion"]


# --- Corrections -----------------------------------------------------------------------------------------------------------------


def test_correction_needs_a_reason(sample, cast):
    first = read(sample, cast.operator, "1.47")

    with pytest.raises(Refused) as refused:
        read(sample, cast.operator, "1.41", corrects=first, reason="  ")

    assert rules(refused) == ["reading.correction"]
    assert Reading.objects.count() == 1


def test_correction_keeps_the_old_row_and_reaches_the_ledger(sample, cast):
    first = read(sample, cast.operator, "1.47")

    second = read(sample, cast.operator, "1.41", corrects=first, reason="typing error")

    first.refresh_from_db()
    assert (first.text, first.outcome) == ("1.47", "does not conform")
    assert list(Reading.objects.all().standing()) == [second]
    assert second.correction_reason == "typing error"
    entry = LedgerEntry.objects.get(kind="measurement.corrected")
    for part in ("1.47 mm", "1.41 mm", "typing error"):
        assert part in entry.text


def test_value_corrected_already_is_not_corrected_again(sample, cast):
    first = read(sample, cast.operator, "1.47")
    read(sample, cast.operator, "1.41", corrects=first, reason="typing error")

    with pytest.raises(Refused) as refused:
        read(sample, cast.operator, "1.40", corrects=first, reason="typing error")

    assert rules(refused) == ["reading.correction"]


def test_looks_are_recorded_together_or_not_at_all(sample, cast):
    seam, tang = Look("visual.seam", accepted=True), Look("visual.tang", accepted=False, note="flattened")
    for wrong in (Look("visual.brush", accepted=False), Look("visual.inspection_hole", accepted=True), seam):
        with pytest.raises(Refused) as refused:
            record_looks(sample=sample, looks=[seam, tang, wrong], by=cast.operator, at=now())
        assert rules(refused) == ["visual.note" if wrong.criterion == "visual.brush" else "visual.criterion"]
    assert not sample.visual_findings.exists()

    record_looks(sample=sample, looks=[seam, tang], by=cast.operator, at=now())

    found = sample.visual_findings.values_list("criterion", "accepted", "note", "by__name")
    assert list(found) == [("visual.seam", True, "", cast.operator.name), ("visual.tang", False, "flattened", cast.operator.name)]
    with pytest.raises(Refused) as refused:
        record_looks(sample=sample, looks=[tang], by=cast.operator, at=now())
    assert rules(refused) == ["visual.criterion"]


def test_pull_and_visual_are_corrected_with_a_reason_too(sample, cast):
    pulled, seen = pull(sample, cast.operator, "80"), look(sample, cast.operator, "visual.seam", True)
    pull(sample, cast.operator, "108", corrects=pulled, reason="typing error")
    look(sample, cast.operator, "visual.seam", False, note="open", corrects=seen, reason="looked again")

    assert [p.text for p in PullTest.objects.all().standing()] == ["108"]
    assert [v.accepted for v in VisualFinding.objects.all().standing()] == [False]
    assert LedgerEntry.objects.filter(kind="measurement.corrected").count() == 2


# --- Conclusions -----------------------------------------------------------------------------------------------------------------


def test_sample_with_a_value_missing_cannot_be_concluded(sample, cast, hand):
    read(sample, cast.operator, "1.40")

    with pytest.raises(Refused) as refused:
        concluded(sample, hand)

    assert rules(refused) == ["sample.incomplete"]


def test_first_piece_without_a_signature_is_refused(sample, cast, hand):
    measure(sample, hand, now)

    with pytest.raises(Refused) as refused:
        conclude_sample(sample=sample, by=cast.operator, at=now())

    assert rules(refused) == ["sign.other"]


def test_signature_of_another_person_or_meaning_is_refused(sample, cast, hand, inspector):
    measure(sample, hand, now)
    seen, at = content_sha256(sample_content(sample)), now()

    for signing in (inspector.sign(MEASURED_MEANING, at), hand.sign(APPROVED_MEANING, at)):
        with pytest.raises(Refused) as refused:
            conclude_sample(sample=sample, by=cast.operator, at=at, signing=signing, seen_sha256=seen)
        assert rules(refused) == ["sign.other"]
    assert not Signature.objects.filter(meaning=MEASURED_MEANING).exists()


def test_signature_over_an_older_content_is_refused(sample, cast, hand):
    measure(sample, hand, now)
    seen = content_sha256(sample_content(sample))
    read(sample, cast.operator, "1.41", corrects=sample.readings.first(), reason="typing error")

    with pytest.raises(Refused) as refused:
        concluded(sample, hand, seen)

    assert rules(refused) == ["sign.stale"]


def test_one_value_outside_rejects_the_sample_although_the_mean_is_inside(sample, hand):
    measure(sample, hand, now, heights=["1.40", "1.40", "1.40", "1.40", "1.451"])

    sample = concluded(sample, hand)

    batch = Batch.objects.get()
    assert (sample.state, batch.status) == (SampleState.REJECTED, BatchStatus.ON_HOLD)
    assert "1.451" in Hold.objects.get().reason


def test_rejected_sample_makes_everything_since_the_last_good_one_suspect(running, hand, cast):
    for count, heights in ((55, ["1.40"]), (105, ["1.46"])):
        sample = start_sample(batch=running, kind="in process", at_count=count, by=cast.operator, at=now())
        measure(sample, hand, now, heights=heights)
        conclude_sample(sample=sample, by=cast.operator, at=now())

    hold = Hold.objects.get()
    assert (hold.suspect_from, hold.suspect_to, hold.suspect_quantity) == (55, 105, 50)
    assert LedgerEntry.objects.filter(kind="hold.raised").count() == 1
    with pytest.raises(Refused) as refused:
        start_sample(batch=running, kind="in process", at_count=110, by=cast.operator, at=now())
    assert "batch.status" in rules(refused)


def test_conforming_in_process_sample_needs_no_signature(running, hand, cast):
    sample = start_sample(batch=running, kind="in process", at_count=55, by=cast.operator, at=now())
    measure(sample, hand, now)

    assert conclude_sample(sample=sample, by=cast.operator, at=now()).state == SampleState.ACCEPTED


def test_value_after_the_conclusion_is_refused(running, cast):
    sample = Sample.objects.get()

    with pytest.raises(Refused) as refused:
        read(sample, cast.operator, "1.41", corrects=sample.readings.first(), reason="typing error")

    assert rules(refused) == ["sample.state"]


# --- The second person -----------------------------------------------------------------------------------------------------------


@pytest.fixture
def waiting(sample, hand):
    measure(sample, hand, now)
    return concluded(sample, hand)


def countersigned(sample, hand):
    at = now()
    seen = content_sha256(sample_content(sample))
    return countersign_first_piece(sample=sample, by=hand.person, at=at, signing=hand.sign(APPROVED_MEANING, at), seen_sha256=seen)


def test_run_waits_for_the_inspector(waiting):
    assert (waiting.state, Batch.objects.get().status) == (SampleState.WAITS_FOR_INSPECTOR, BatchStatus.FIRST_PIECE)


def test_operator_without_the_role_cannot_countersign(waiting, hand):
    with pytest.raises(Refused) as refused:
        countersigned(waiting, hand)

    assert "person.role" in rules(refused)


def test_inspector_who_measured_it_themselves_cannot_countersign(waiting, hand):
    PersonRole.objects.create(person=hand.person, role=Role.INSPECTOR)
    hand = type(hand)(type(hand.person).objects.get(pk=hand.person.pk), hand.identifier, hand.secret)

    with pytest.raises(Refused) as refused:
        countersigned(waiting, hand)

    assert rules(refused) == ["sample.countersign.same"]


def test_inspector_whose_qualification_ran_out_cannot_countersign(waiting, inspector):
    inspector.person.qualifications.filter(process="inspect").update(expires_on=factories.days(-1))

    with pytest.raises(Refused) as refused:
        countersigned(waiting, inspector)

    assert rules(refused) == ["use.person.qualification"]


def test_countersigned_first_piece_lets_the_batch_run_with_two_signatures(waiting, inspector, cast):
    countersigned(waiting, inspector)

    assert Batch.objects.get().status == BatchStatus.RUNNING
    signed = Signature.objects.filter(subject_kind="sample").values_list("person__username", "meaning")
    assert list(signed) == [("operator", MEASURED_MEANING), ("inspector", APPROVED_MEANING)]


def test_first_piece_is_not_turned_down_without_a_reason(waiting, inspector):
    at = now()
    signing = inspector.sign(TURNED_DOWN_MEANING, at)

    with pytest.raises(Refused) as refused:
        turn_down_first_piece(sample=waiting, reason="", by=inspector.person, at=at, signing=signing)

    assert rules(refused) == ["hold.reason"]
    turn_down_first_piece(sample=waiting, reason="brush too long", by=inspector.person, at=at, signing=signing)
    assert Batch.objects.get().status == BatchStatus.ON_HOLD
    assert LedgerEntry.objects.filter(kind__in=["sample.turned_down", "hold.raised"]).count() == 2
