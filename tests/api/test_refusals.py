"""What the pages refuse, the API refuses with the same rule, and nothing is written."""

from __future__ import annotations

import pytest

from inspection.models import Batch, PullTest, Reading, Sample
from records.models import HarnessLot, LedgerEntry, Shipment
from shop.acts.catalogue import set_gauge_state
from shop.clock import now
from shop.jobs import SetupSheet, SheetStatus, Termination
from tests import factories
from tests.api.conftest import CODES, STATED, own
from tests.remembered import remembered

# --- Plan ------------------------------------------------------------------------------------------------------------------------

MISFITS = {
    "wire too small": ({"wires": ["W-035-BU"]}, "fit.conductor.csa"),
    "wire too large": ({"wires": ["W-250-BK"]}, "fit.conductor.csa"),
    "insulation outside the support": ({"wires": ["W-075-GN"]}, "fit.insulation.od"),
    "too many wires": ({"wires": ["W-035-BU", "W-035-BU", "W-035-BU"]}, "fit.conductor.count"),
    "terminal not on the tool's list": ({"tool": "HT-007"}, "fit.tool.terminal"),
    "wire outside the tool row": ({"tool": "AP-040"}, "fit.tool.csa"),
    "circuit hotter than the wire": ({"required_temperature_c": "125 °C"}, "fit.rating.temperature"),
    "no specification": ({"terminal": "T-M5-R", "tool": None}, "fit.spec.missing"),
}


@pytest.mark.parametrize("name", MISFITS)
def test_misfit_is_refused_and_nothing_is_planned(name, programs, cast, catalogue):
    changed, rule = MISFITS[name]
    sheet = factories.draft(cast, catalogue, terminations=0)

    rules = programs["planner"].refused(f"sheets/{sheet.pk}/terminations/", STATED | changed)

    assert rule in rules
    assert not Termination.objects.exists()


@pytest.mark.parametrize("name", MISFITS)
def test_misfit_is_an_answer_when_only_asked(name, programs, catalogue):
    changed, rule = MISFITS[name]
    asked = {"wires": STATED["wires"], "terminal": STATED["terminal"], "tool": STATED["tool"]} | changed

    answer = programs["operator"].post("fit/", asked)

    assert not answer["fits"]
    assert rule in [finding["rule"] for finding in answer["findings"] if finding["verdict"] != "fits"]


def test_fit_tells_tools_that_fit_and_why_others_do_not(programs, catalogue):
    answer = programs["auditor"].post("fit/", {"wires": ["W-075-RD"], "terminal": "T-250-F"})

    assert answer["fits"]
    assert (answer["tool"], answer["csa_mm2"], answer["targets"]["crimp_height_nominal_mm"]) == ("AP-031", "0.7540", "1.4")
    assert [(tool["asset_number"], tool["setting"]) for tool in answer["tools"]] == [("AP-031", "C3 I2")]
    reasons = {tool["asset_number"]: {f["rule"] for f in tool["findings"] if f["verdict"] == "misfit"} for tool in answer["other_tools"]}
    assert reasons == {"AP-040": {"fit.tool.csa"}, "HT-007": {"fit.tool.terminal"}}
    [csa] = [f for f in answer["tools"][0]["findings"] if f["rule"] == "fit.tool.csa"]
    assert csa["compared"]["low_mm2"] == "0.5"


def test_unknown_wire_of_a_list_is_named_by_its_place(programs, cast, catalogue):
    sheet = factories.draft(cast, catalogue, terminations=0)

    answer = programs["planner"].ask("POST", f"sheets/{sheet.pk}/terminations/", STATED | {"wires": ["W-075-RD", "W-none"]})

    assert [(f["rule"], f["field"]) for f in answer.json["findings"]] == [("data.unknown", "wires.1")]


def test_author_cannot_release_own_sheet(programs, cast, catalogue):
    sheet = factories.in_review(cast, catalogue)
    seen = programs["planner"].get(f"sheets/{sheet.pk}/")["content_sha256"]

    rules = programs["planner"].refused(f"sheets/{sheet.pk}/release/", {"signature": own(), "seen_sha256": seen})

    assert rules == ["sheet.release.author"]
    assert not SetupSheet.objects.in_force().exists()


def test_sheet_changed_meanwhile_is_not_signed(programs, cast, catalogue):
    sheet = factories.in_review(cast, catalogue)

    rules = programs["approver"].refused(f"sheets/{sheet.pk}/release/", {"signature": own(), "seen_sha256": "0" * 64})

    assert rules == ["sign.stale"]


def test_withdrawn_document_stops_the_release(programs, cast, catalogue):
    sheet = factories.in_review(cast, catalogue)
    catalogue.document.withdrawn_on = factories.days(-1)
    catalogue.document.save()
    seen = programs["approver"].get(f"sheets/{sheet.pk}/")["content_sha256"]

    rules = programs["approver"].refused(f"sheets/{sheet.pk}/release/", {"signature": own(), "seen_sha256": seen})

    assert rules == ["fit.spec.document_withdrawn"]
    sheet.refresh_from_db()
    assert sheet.status == SheetStatus.IN_REVIEW


PLAN = {
    "submit of an empty sheet": ("planner", "submit", {}, "sheet.empty", 422),
    "return of a draft": ("approver", "return", {"comment": "x"}, "sheet.status", 422),
    "revision of a draft": ("planner", "revise", {"reason": "x"}, "sheet.status", 422),
    "submit by an operator": ("operator", "submit", {}, "person.role", 403),
    "revision by the auditor": ("auditor", "revise", {"reason": "x"}, "person.role", 403),
}


@pytest.mark.parametrize("name", PLAN)
def test_act_out_of_place_is_refused(name, programs, cast, catalogue):
    who, act, body, rule, status = PLAN[name]
    sheet = factories.draft(cast, catalogue, terminations=0)
    entries = LedgerEntry.objects.count()

    assert programs[who].refused(f"sheets/{sheet.pk}/{act}/", body, status=status) == [rule]
    assert LedgerEntry.objects.count() == entries


# --- Make ------------------------------------------------------------------------------------------------------------------------


def open_body(cast, catalogue, quantity=96):
    sheet = factories.released(cast, catalogue, inspector_signs=True)
    return {"termination": sheet.terminations.get().pk, "quantity": quantity}


def test_unqualified_operator_opens_nothing(programs, cast, catalogue):
    body = open_body(cast, catalogue)
    cast.operator.qualifications.filter(process="crimp").update(expires_on=factories.days(-1))

    assert programs["operator"].refused("batches/", body) == ["use.person.qualification"]
    assert not Batch.objects.exists()


def test_person_of_another_trade_opens_nothing(programs, cast, catalogue):
    body = open_body(cast, catalogue)

    assert set(programs["planner"].refused("batches/", body)) == {"person.role", "use.person.qualification"}


@pytest.mark.parametrize("quantity", [0, 101])
def test_batch_of_more_pieces_than_are_open_is_refused(quantity, programs, cast, catalogue):
    assert programs["operator"].refused("batches/", open_body(cast, catalogue, quantity)) == ["batch.quantity"]


def test_batch_on_a_withdrawn_document_is_refused(programs, cast, catalogue):
    body = open_body(cast, catalogue)
    catalogue.document.withdrawn_on = factories.today()
    catalogue.document.save()

    assert programs["operator"].refused("batches/", body) == ["batch.document"]


@pytest.fixture
@remembered
def batch(programs, cast, catalogue):
    return programs["operator"].post("batches/", open_body(cast, catalogue), status=201)


SCANS = {
    "a wrong reel": ("TL-3001", "terminal", "use.lot.part"),
    "a held lot": ("TL-2002", "terminal", "use.lot.state"),
    "a gauge past its date": ("MIC-09", "inspection", "use.gauge.calibration"),
    "another tool": ("AP-040", "tool", "scan.tool.other"),
    "nothing known": ("X-1", "", "scan.unknown"),
}


@pytest.mark.parametrize("name", SCANS)
def test_wrong_scan_is_answered_with_the_reason_and_proves_nothing(name, programs, batch):
    code, part, rule = SCANS[name]

    answer = programs["operator"].post(f"batches/{batch['id']}/scan/", {"code": code}, status=200)

    assert (answer["accepted"], answer["part"]) == (False, part)
    assert [f["rule"] for f in answer["findings"] if f["verdict"] == "misfit"] == [rule]
    proven = {one["part"] for one in answer["batch"]["parts"] if one["proven"]}
    assert proven == {"people", "documents"}


@pytest.fixture
@remembered
def sample(programs, batch):
    for code in CODES:
        assert programs["operator"].post(f"batches/{batch['id']}/scan/", {"code": code})["accepted"]
    return programs["operator"].post(f"batches/{batch['id']}/samples/", {"kind": "first piece", "at_count": 5}, status=201)


HEIGHT = {"characteristic": "crimp height", "piece": 1, "value": "1.41", "unit": "mm"}

READINGS = {
    "no number": ({"value": "high"}, "reading.not_a_number"),
    "not finite": ({"value": "nan"}, "reading.not_a_number"),
    "unit of a force": ({"unit": "N"}, "reading.wrong_unit"),
    "a comma that reads two ways": ({"value": "1,410"}, "reading.ambiguous"),
    "a slipped decimal point": ({"value": "14"}, "reading.implausible"),
    "a piece beyond the plan": ({"piece": 6}, "reading.piece"),
    "a characteristic that is none": ({"characteristic": "hardness"}, "reading.piece"),
    "a correction of nothing": ({"corrects": 4711, "reason": "x"}, "data.unknown"),
    "piece zero": ({"piece": 0}, "data.invalid"),
    "a true for a number": ({"value": True}, "data.invalid"),
    "a list for a number": ({"value": ["1.41"]}, "data.invalid"),
}


@pytest.mark.parametrize("name", READINGS)
def test_wrong_reading_is_refused_and_not_kept(name, programs, sample):
    changed, rule = READINGS[name]

    assert programs["operator"].refused(f"samples/{sample['id']}/readings/", HEIGHT | changed) == [rule]
    assert not Reading.objects.exists()


def test_absurd_reading_is_kept_once_it_is_confirmed(programs, sample):
    address = f"samples/{sample['id']}/readings/"
    answer = programs["operator"].ask("POST", address, HEIGHT | {"value": "14"}, key="tablet-1")
    [finding] = answer.json["findings"]
    assert (finding["compared"]["seems"], finding["compared"]["suggestion"]) == ("decimal point", "1.4")

    kept = programs["operator"].post(address, HEIGHT | {"value": "14", "confirmed": True}, key="tablet-1", status=201)

    assert (kept["value"], kept["outcome"]) == ("14", "does not conform")


@pytest.mark.parametrize(
    ("value", "rule"),
    [
        ("9999999.5", "reading.impossible"),
        ("999999999999", "reading.impossible"),
        ("-1.40", "reading.impossible"),
        ("1e40", "reading.not_a_number"),
    ],
)
def test_figure_that_no_gauge_shows_is_refused_though_confirmed(value, rule, programs, sample):
    rules = programs["operator"].refused(f"samples/{sample['id']}/readings/", HEIGHT | {"value": value, "confirmed": True})

    assert rules == [rule]
    assert not Reading.objects.exists()


def test_pull_with_a_mode_that_is_none_is_refused(programs, sample):
    pull = {"piece": 1, "value": "131", "unit": "N", "mode": "exploded"}

    assert programs["operator"].refused(f"samples/{sample['id']}/pulls/", pull) == ["pull.mode"]
    assert programs["operator"].refused(f"samples/{sample['id']}/pulls/", pull | {"mode": "pulled out", "unit": "kg"}) == [
        "reading.wrong_unit"
    ]
    assert not PullTest.objects.exists()


def test_rejected_criterion_needs_a_note(programs, sample):
    code = sample["plan"]["criteria"][0]["code"]

    assert programs["operator"].refused(f"samples/{sample['id']}/visuals/", {"criterion": code, "accepted": False}) == ["visual.note"]


def test_gauge_put_on_hold_meanwhile_measures_nothing_more(programs, sample, cast, catalogue):
    set_gauge_state(gauge=catalogue.micrometer, state="on hold", reason="dropped", by=cast.quality, at=now())

    assert programs["operator"].refused(f"samples/{sample['id']}/readings/", HEIGHT) == ["use.gauge.state"]


def test_unfinished_sample_is_not_concluded(programs, sample):
    body = {"signature": own(), "seen_sha256": sample["content_sha256"]}

    assert programs["operator"].refused(f"samples/{sample['id']}/conclude/", body) == ["sample.incomplete"]


def test_first_piece_is_not_concluded_without_a_signature(programs, sample):
    assert programs["operator"].refused(f"samples/{sample['id']}/conclude/", {}) == ["sign.other", "sample.incomplete"]


def test_person_who_measured_cannot_countersign(shop, programs, cast):
    factories.PersonRole.objects.create(person=cast.operator, role="inspector")
    sample = shop.sample(shop.set_up(), "first piece", 5)
    shop.measure(sample)
    sample = shop.conclude(sample)
    body = {"signature": own(), "seen_sha256": sample["content_sha256"]}

    assert programs["operator"].refused(f"samples/{sample['id']}/countersign/", body) == ["sample.countersign.same"]
    assert Sample.objects.get().state == "waits for inspector"


def test_counts_that_do_not_balance_close_nothing(shop, programs):
    batch = shop.closing()
    counts = {"made": 104, "good": 104, "scrap": 0, "destroyed": 0, "held": 0, "signature": own()}

    assert programs["operator"].refused(f"batches/{batch['id']}/close/", counts) == ["batch.counts.destroyed"]
    assert programs["operator"].refused(f"batches/{batch['id']}/close/", counts | {"good": 99}) == [
        "batch.counts.balance",
        "batch.counts.destroyed",
    ]
    assert Batch.objects.get().status == "closing"


# --- Prove -----------------------------------------------------------------------------------------------------------------------


def test_lot_of_pieces_that_are_not_there_is_not_built(shop, programs):
    batch = shop.closed()
    body = {"number": "HL-1", "job": "J-9001", "quantity": 100, "signature": own()}
    line = {"batch": batch["number"], "quantity": 101}

    assert programs["planner"].refused("harness-lots/", body | {"batches": [line]}) == ["lot.batch.pieces"]
    assert programs["planner"].refused("harness-lots/", body | {"batches": []}) == ["lot.batches.none"]
    short = [line | {"quantity": 90}]
    assert programs["planner"].refused("harness-lots/", body | {"batches": short}) == ["lot.termination.short"]
    answer = programs["planner"].ask("POST", "harness-lots/", body | {"batches": [line | {"batch": "B-none"}]})
    assert [(f["rule"], f["field"]) for f in answer.json["findings"]] == [("data.unknown", "batches.0.batch")]
    twice = [line | {"quantity": 50}] * 2
    assert programs["planner"].refused("harness-lots/", body | {"batches": twice}) == ["data.invalid"]
    assert not HarnessLot.objects.exists()


def test_shipment_of_more_than_is_left_or_to_another_customer_is_refused(shop, programs):
    shop.built()
    factories.Customer.objects.create(code="OTHER", name="Other Pumps")
    body = {"number": "SH-1", "customer": "BRUNNEN", "lots": [{"lot": "HL-1", "quantity": 101}], "signature": own()}

    assert programs["quality"].refused("shipments/", body) == ["shipment.lot.quantity"]
    assert programs["quality"].refused("shipments/", body | {"customer": "OTHER", "lots": [{"lot": "HL-1", "quantity": 1}]}) == [
        "shipment.lot.customer"
    ]
    assert not Shipment.objects.exists()


def test_document_is_not_issued_before_its_step(programs, cast, catalogue, batch, shop_key):
    draft = factories.draft(cast, catalogue)
    auditor = programs["auditor"]

    assert auditor.refused("documents/", {"kind": "batch-record", "number": batch["number"]}) == ["document.subject"]
    assert auditor.refused("documents/", {"kind": "setup-sheet", "number": draft.number, "revision": 1}) == ["document.subject"]
    assert auditor.refused("documents/", {"kind": "setup-sheet", "number": draft.number}) == ["data.unknown"]
    assert auditor.refused("documents/", {"kind": "invoice", "number": "1"}) == ["data.invalid"]


def test_shop_without_its_key_says_so(shop, programs, settings, tmp_path):
    settings.SHOP_KEY_DIR = tmp_path / "no keys"
    sheet = shop.released()

    assert programs["auditor"].refused("documents/", {"kind": "setup-sheet", "number": sheet["number"]}) == ["document.key"]
