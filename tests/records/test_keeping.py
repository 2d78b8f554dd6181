"""Keeping records: rules, legal holds, and disposal that leaves the hashes."""

from __future__ import annotations

import io
import json
import zipfile
from datetime import UTC, date, datetime, timedelta

import pytest
from django.apps import apps
from django.core.files.storage import default_storage
from django.core.files.uploadedfile import SimpleUploadedFile
from django.core.management import call_command
from django.db import IntegrityError, transaction
from django.urls import reverse
from hypothesis import given
from hypothesis import strategies as st

from inspection.models import Batch, Hold
from inspection.nonconformance import Nonconformance
from records.acts import keeping
from records.acts.attachments import attach, attachment_bytes, withdraw_attachment
from records.acts.containment import OPENED_MEANING, open_case
from records.acts.documents import document_bytes, issue_batch_record, issue_setup_sheet, issue_trace_report, storage_name
from records.acts.evidence import pack_evidence
from records.acts.evidence_orders import order_evidence, package_file
from records.acts.keeping import (
    DISPOSED_MEANING,
    HOLD_MEANING,
    LIFT_MEANING,
    RULE_MEANING,
    HoldInput,
    dispose,
    finish_disposals,
    lift_hold,
    place_hold,
    remove_files,
    set_rule,
)
from records.acts.lots import SHIPPED_MEANING, ship
from records.acts.reports import issue_audit_trail, issue_calibration_status, issue_disposal_certificate
from records.attachables import thing_of
from records.containment import question_about, suspects
from records.evidence_orders import EvidenceOrder
from records.evidence_verifier import main
from records.keeping_models import Disposal, DisposedFile, RecordKind, RetentionRule
from records.ledger_check import verify_ledger
from records.legal_holds import covered_by, covering
from records.models import DocumentKind, IssuedDocument, LedgerEntry
from records.retention import ALLOWED, DOCUMENTS, PROPOSED, assess, due_on, proposal, records_of, rules_in_force
from records.search import of_kind
from records.search_index import after_migrate
from records.search_kinds import KINDS as SEARCHED
from records.search_kinds import kinds_for
from records.search_models import SearchEntry
from records.trails import in_words, subject_of
from shop.acts.documents import attach_file, file_of
from shop.acts.documents import storage_name as upload_name
from shop.acts.import_runs import order_import
from shop.acts.sheets import WITHDRAWN_MEANING, withdraw_sheet
from shop.clock import now, shop_day
from shop.finding import Refused
from shop.materials import TerminalLot, WireLot
from tests import factories
from tests.remembered import remembered

PDF = b"%PDF-1.7\nsupplier certificate\n"


def later(years=11):
    """The first of February, so many years after this one."""
    return datetime(now().year + years, 2, 1, 12, tzinfo=UTC)


def refused(function, *given, **named):
    with pytest.raises(Refused) as refusal:
        function(*given, **named)
    return [finding.rule for finding in refusal.value.findings]


@pytest.fixture
def act(cast, hand):
    def perform(function, meaning, who="quality", at=None, **given):
        at = at or now()
        return function(by=getattr(cast, who), at=at, signing=hand(who).sign(meaning, at), **given)

    return perform


@pytest.fixture
def rule(act):
    def perform(kind="batch records", years=10, after="part inactive", who="quality", reason="contract"):
        return act(set_rule, RULE_MEANING, who, kind=kind, years=years, after=after, reason=reason)

    return perform


@pytest.fixture
def hold(act):
    def perform(scope="batch", name="", who="quality", **span):
        return act(place_hold, HOLD_MEANING, who, stated=HoldInput(scope, name, **span), reason="claim", reference="C-77")

    return perform


@pytest.fixture
def let_go(act):
    """Dispose of records, as due at a later time."""

    def perform(kind, keys, at=None, who="quality", seen=None):
        known = rules_in_force().get(kind)
        return act(dispose, DISPOSED_MEANING, who, at or later(), kind=kind, keys=keys, rule_seen=seen or str(known), note="by the list")

    return perform


@pytest.fixture
@remembered
def record(cast, batch, shop_key):
    """An issued batch record whose pieces went nowhere."""
    return issue_batch_record(batch=batch, by=cast.quality, at=now())


def key(document):
    return f"document:{document.pk}"


def due_of(kind, at=None):
    at = at or later()
    found = proposal(kind, at, rule=rules_in_force().get(kind), holds=covering())
    return [one.kept.key for one in found.due], [one.kept.key for one in found.held], [one.kept.key for one in found.others]


def another_batch(batch, cast):
    """One more of the same termination, just opened."""
    stated = {"termination": batch.termination, "quantity": 5, "opened_by": cast.operator, "opened_at": now()}
    return Batch.objects.create(number=f"{batch.number}-again", **stated)


# --- Rules --------------------------------------------------------------------------------------------------------------------------


def test_rule_is_signed_and_the_newest_holds(rule):
    rule(years=10)
    newer = rule(years=15, reason="new contract")

    assert rules_in_force() == {"batch records": newer}
    entry = LedgerEntry.objects.filter(kind="retention.rule_set").last()
    assert entry.signature.meaning == RULE_MEANING
    told = in_words(entry)
    assert (told.what, told.changes, told.reason) == ("Retention of batch records set", ("years: 10 → 15",), "new contract")


def test_rule_may_say_for_good(rule, record):
    rule(years=None)

    assert due_of("batch records", later(90)) == ([], [], [])


@pytest.mark.parametrize(
    ("stated", "rules"),
    [
        ({"kind": "love letters"}, ["keeping.kind"]),
        ({"after": "made"}, ["keeping.after"]),
        ({"after": "whenever"}, ["keeping.after"]),
        ({"years": 0}, ["data.invalid"]),
        ({"years": 201}, ["data.invalid"]),
        ({"reason": " "}, ["data.required"]),
        ({"who": "planner"}, ["person.role"]),
    ],
)
def test_wrong_rule_is_refused(rule, stated, rules):
    assert refused(rule, **stated) == rules
    assert not RetentionRule.objects.exists()


def test_proposals_are_for_every_kind_and_allowed_but_hold_for_nothing(db):
    assert set(PROPOSED) == set(ALLOWED) == set(RecordKind.values)
    assert all(PROPOSED[kind].after in ALLOWED[kind] for kind in RecordKind.values)
    assert rules_in_force() == {}


@given(st.dates(date(1990, 1, 1), date(2200, 12, 31)), st.integers(1, 200))
def test_due_day_lies_behind_so_many_full_years(began, years):
    day = due_on(began, years)

    assert (day.month, day.day) == (1, 1)
    assert day.year - began.year == years + 1
    assert day > date(began.year + years, 12, 31)


# --- Due ----------------------------------------------------------------------------------------------------------------------------


def test_nothing_is_due_without_a_rule(record):
    assert due_of("batch records", later(90)) == ([], [], [])


def test_record_is_due_on_new_year_after_its_time(rule, record, batch):
    rule(years=3)
    year = shop_day(now()).year

    assert due_of("batch records", datetime(year + 3, 12, 31, 12, tzinfo=UTC)) == ([], [], [])
    assert due_of("batch records", datetime(year + 4, 1, 1, 12, tzinfo=UTC)) == ([key(record)], [], [])


def test_time_of_a_part_does_not_begin_while_a_batch_of_it_is_open(rule, record, cast, batch):
    rule()
    another_batch(batch, cast)

    assert due_of("batch records") == ([], [], [])
    [one] = assess(rules_in_force()["batch records"], list(records_of("batch records")), later())
    assert [finding.rule for finding in one.findings] == ["keeping.running"]


def test_time_of_a_part_begins_anew_with_each_order(rule, record, cast, catalogue, hand):
    rule(years=2)
    factories.make_job(catalogue.customer, cast.planner, number="J-7777", part_number=Batch.objects.get().termination.sheet.job.part_number)
    part = Batch.objects.get().termination.sheet.job.part_number
    type(catalogue.customer).objects.get(pk=catalogue.customer.pk).jobs.filter(number="J-7777").update(opened_at=later(4))

    assert part
    assert due_of("batch records", later(5)) == ([], [], [])
    assert due_of("batch records", later(7)) == ([key(record)], [], [])


def test_file_is_kept_its_years_however_late_it_was_made(rule, cast, batch, shop_key):
    rule(years=2)
    late = issue_batch_record(batch=batch, by=cast.quality, at=later(2))

    assert due_of("batch records", later(4)) == ([], [], [])
    assert due_of("batch records", later(5)) == ([key(late)], [], [])


def test_sheet_in_force_is_needed_and_a_withdrawn_one_is_not(rule, cast, batch, shop_key, act):
    rule("setup sheets", 5)
    sheet = batch.termination.sheet
    document = issue_setup_sheet(sheet=sheet, by=cast.quality, at=now())
    assert due_of("setup sheets") == ([], [], [key(document)])

    act(withdraw_sheet, WITHDRAWN_MEANING, "approver", sheet=sheet, reason="replaced")
    assert due_of("setup sheets") == ([key(document)], [], [])


def test_harnesses_in_stock_keep_their_papers(rule, shipment, lot, cast, shop_key):
    rule("lot reports", 5)
    report = issue_trace_report(of=lot, by=cast.quality, at=now())

    assert due_of("lot reports") == ([], [], [key(report)])  # 40 of 100 are left


def test_reel_that_is_not_used_up_keeps_its_certificate(rule, batch, cast, catalogue):
    rule("material papers", 5)
    row = attach(thing=thing_of(catalogue.terminal_lot), title="x", name="x.pdf", data=PDF, by=cast.quality, at=now())
    assert due_of("material papers") == ([], [], [f"attachment:{row.pk}"])

    TerminalLot.objects.filter(pk=catalogue.terminal_lot.pk).update(state="used up")
    assert due_of("material papers") == ([f"attachment:{row.pk}"], [], [])


def test_newest_calibration_of_a_gauge_in_use_keeps_its_certificate(rule, cast, catalogue):
    rule("equipment papers", 5, "made")
    gauge = catalogue.micrometer
    old = gauge.calibrations.get()
    new = factories.make_calibration(gauge, calibrated_on=factories.today())
    rows = [
        attach(thing=thing_of(one), title="x", name="x.pdf", data=PDF + bytes([48 + n]), by=cast.quality, at=now())
        for n, one in enumerate((old, new, gauge))
    ]
    free, needed, with_gauge = (f"attachment:{row.pk}" for row in rows)

    assert due_of("equipment papers") == ([free], [], [needed, with_gauge])
    type(gauge).objects.filter(pk=gauge.pk).update(state="retired")
    assert due_of("equipment papers") == ([free, needed, with_gauge], [], [])


def test_document_that_specifications_rely_on_is_needed(rule, cast, catalogue):
    rule("controlled documents", 5, "over")
    attach_file(document=catalogue.document, name="x.pdf", data=PDF, by=cast.planner, at=now())
    type(catalogue.document).objects.filter(pk=catalogue.document.pk).update(withdrawn_on=factories.today())

    assert due_of("controlled documents") == ([], [], [f"controlled document:{catalogue.document.pk}"])


def test_open_hold_and_open_case_forbid(rule, record, batch, act, cast):
    rule()
    waiting = Hold.objects.create(batch=batch, reason="burr", suspect_from=0, suspect_to=5, raised_by=cast.operator, raised_at=now())
    assert due_of("batch records") == ([], [], [key(record)])
    Hold.objects.filter(pk=waiting.pk).update(decided_at=now(), decided_by=cast.quality)

    asked = question_about("tool", "AP-031")
    act(open_case, OPENED_MEANING, asked=asked, reason="worn", shown=len(suspects(asked)))
    assert due_of("batch records") == ([], [], [key(record)])
    [one] = assess(rules_in_force()["batch records"], list(records_of("batch records")), later())
    assert [finding.rule for finding in one.findings] == ["keeping.open_case"]


def test_open_nonconformance_forbids(rule, record, batch, cast):
    rule()
    said = {"what": "burr", "requirement": "drawing", "defect_kind": "burr", "origin": "by hand", "found_at": "final"}
    Nonconformance.objects.create(number="NC-26-0001", batch=batch, opened_by=cast.quality, opened_at=now(), **said)

    assert due_of("batch records") == ([], [], [key(record)])
    [one] = assess(rules_in_force()["batch records"], list(records_of("batch records")), later())
    assert [(f.rule, f.compared["case"]) for f in one.findings] == [("keeping.open_case", "nonconformance NC-26-0001")]


def test_every_kind_of_record_comes_up(rule, cast, batch, shop_key, catalogue, django_capture_on_commit_callbacks):
    for kind in RecordKind.values:
        rule(kind, 5, ALLOWED[kind][-1])
    issue_calibration_status(by=cast.quality, at=now())
    issue_audit_trail(subject=subject_of("tools", catalogue.tool.pk), by=cast.quality, at=now())
    with django_capture_on_commit_callbacks(execute=True):
        run = order_import(kind="wires", file_name="w.csv", data=b"part_number\n", by=cast.planner, at=now())
        order = order_evidence(of="period", since=factories.today(), until=factories.today(), by=cast.quality, at=now())

    found = {kind: due_of(kind)[0] for kind in ("status lists", "audit trails", "import files", "evidence packages")}
    assert [len(keys) for keys in found.values()] == [1, 1, 1, 1]
    assert found["import files"] == [f"import:{run.pk}"]
    assert found["evidence packages"] == [f"evidence package:{order.pk}"]


@pytest.mark.parametrize("records", [1, 3])
def test_due_list_queries(rule, cast, batch, shop_key, records, django_assert_max_num_queries):
    rule("audit trails", 5, "made")
    for _ in range(records):
        issue_audit_trail(subject=subject_of("batch", batch.pk), by=cast.quality, at=now())
    known = rules_in_force()["audit trails"]

    with django_assert_max_num_queries(40):
        assert len(proposal("audit trails", later(), rule=known, holds=[]).due) == records


# --- Legal holds ----------------------------------------------------------------------------------------------------------------------


def scopes(batch, customer):
    job = batch.termination.sheet.job
    today = factories.today()
    return {
        "shipment": {"name": "SH-1"},
        "harness lot": {"name": "HL-1"},
        "batch": {"name": batch.number},
        "job": {"name": job.number},
        "customer": {"name": customer.code},
        "part number": {"name": job.part_number},
        "period": {"since": today, "until": today},
    }


@pytest.mark.parametrize("scope", ["shipment", "harness lot", "batch", "job", "customer", "part number", "period"])
def test_hold_covers_everything_behind_and_all_that_came_of_it(scope, hold, shipment, lot, batch, catalogue):
    covered = covered_by(hold(scope, **scopes(batch, catalogue.customer)[scope]))

    for kind, item in (
        ("batch", batch),
        ("harness lot", lot),
        ("shipment", shipment),
        ("setup sheet", batch.termination.sheet),
        ("terminal-lots", catalogue.terminal_lot),
        ("wire-lots", WireLot.objects.get(lot_number="WL-1001")),
        ("gauges", catalogue.micrometer),
        ("calibrations", catalogue.micrometer.calibrations.get()),
        ("documents", catalogue.document),
    ):
        assert covered.covers(kind, item.pk), kind
    assert not covered.covers("terminal-lots", catalogue.ring_lot.pk)
    assert not covered.covers("gauges", catalogue.micrometer_overdue.pk)


@pytest.mark.parametrize("part", ["T-250-F", "W-075-RD"])
def test_hold_on_a_part_number_covers_what_was_made_with_it(part, hold, batch):
    assert covered_by(hold("part number", part)).covers("batch", batch.pk)


def test_hold_covers_what_comes_later(hold, cast, batch):
    placed = hold("job", batch.termination.sheet.job.number)
    later_one = another_batch(batch, cast)

    assert covered_by(placed).covers("batch", later_one.pk)


def test_hold_on_something_else_covers_nothing_of_it(hold, batch, cast, catalogue):
    other = type(catalogue.customer).objects.create(code="OTHER", name="Other")
    factories.make_job(other, cast.planner, number="J-8888", part_number="X-1")

    for covered in (hold("job", "J-8888"), hold("customer", "OTHER"), hold("part number", "X-1")):
        assert not covered_by(covered).covers("batch", batch.pk)
    past = {"since": date(2001, 1, 1), "until": date(2001, 12, 31)}
    assert not covered_by(hold("period", **past)).covers("batch", batch.pk, now())


@pytest.mark.parametrize(
    ("stated", "rules"),
    [
        ({"scope": "shipment", "name": "nowhere"}, ["legal_hold.scope"]),
        ({"scope": "moon", "name": "x"}, ["legal_hold.scope"]),
        ({"scope": "job", "name": " "}, ["data.required"]),
        ({"scope": "period"}, ["data.required", "data.required"]),
        ({"scope": "period", "since": date(2026, 2, 2), "until": date(2026, 2, 1)}, ["legal_hold.period"]),
        ({"scope": "customer", "name": "BRUNNEN", "who": "inspector"}, ["person.role"]),
    ],
)
def test_wrong_hold_is_refused(hold, catalogue, stated, rules):
    assert refused(hold, **stated) == rules


def test_administrator_may_place_and_lift_a_hold_but_dispose_of_nothing(hold, act, rule, record, let_go, batch):
    rule()
    placed = hold("batch", batch.number, "administrator")
    act(lift_hold, LIFT_MEANING, "administrator", hold=placed, reason="settled")

    assert refused(let_go, "batch records", [key(record)], who="administrator") == ["person.role"]


def test_lifted_hold_holds_no_longer_and_stays_on_record(rule, hold, act, record, batch, let_go):
    rule()
    placed = hold("batch", batch.number)
    assert due_of("batch records") == ([], [key(record)], [])
    assert refused(let_go, "batch records", [key(record)]) == ["keeping.legal_hold"]
    assert refused(act, lift_hold, LIFT_MEANING, hold=placed, reason="") == ["data.required"]

    act(lift_hold, LIFT_MEANING, hold=placed, reason="claim settled")

    assert refused(act, lift_hold, LIFT_MEANING, hold=placed, reason="again") == ["legal_hold.lifted"]
    assert due_of("batch records") == ([key(record)], [], [])
    told = [in_words(entry) for entry in LedgerEntry.objects.filter(kind__startswith="legal_hold.").order_by("number")]
    assert [(one.what, one.reason) for one in told] == [
        (f"Legal hold placed on batch {batch.number}", "claim"),
        (f"Legal hold on batch {batch.number} lifted", "claim settled"),
    ]


# --- Disposal ---------------------------------------------------------------------------------------------------------------------------


def test_disposal_takes_the_file_and_leaves_everything_else(rule, record, let_go, django_capture_on_commit_callbacks):
    rule()
    assert document_bytes(record)
    entries = list(LedgerEntry.objects.values_list("hash", flat=True))

    with django_capture_on_commit_callbacks(execute=True):
        act = let_go("batch records", [key(record)])

    assert not default_storage.exists(storage_name(record.sha256))
    act.refresh_from_db()
    assert act.finished_at is not None
    [file] = act.files.all()
    assert (file.name, file.sha256, file.size, file.row_id) == (str(record), record.sha256, record.size, record.pk)
    assert refused(document_bytes, record) == ["file.disposed"]
    assert IssuedDocument.objects.get(pk=record.pk).sha256 == record.sha256
    assert list(LedgerEntry.objects.values_list("hash", flat=True))[: len(entries)] == entries
    assert verify_ledger().is_whole
    entry = LedgerEntry.objects.get(kind="records.disposed")
    assert entry.signature.meaning == DISPOSED_MEANING
    assert record.sha256 in entry.text
    told = in_words(entry)
    assert (told.what, told.reason) == (f"1 files of batch records disposed of under rule {act.rule}", "by the list")


def test_disposed_document_answers_410_on_page_and_api(rule, record, let_go, signed_in, cast, client):
    rule()
    act = let_go("batch records", [key(record)])

    answer = signed_in(cast.auditor).get(f"/prove/documents/{record.number}/1/file/")
    assert answer.status_code == 410
    assert f"was disposed of on {shop_day(act.at)} under rule {act.rule}, by act {act.number}" in answer.content.decode()
    told = client.get(f"/api/v1/documents/{record.number}/1/file/")
    assert (told.status_code, told["Content-Type"]) == (410, "application/problem+json")
    assert told.json()["findings"][0]["rule"] == "file.disposed"
    page = client.get(f"/prove/documents/{record.number}/1/")
    assert page.status_code == 200
    assert act.number in page.content.decode()
    assert record.sha256 in page.content.decode()


@pytest.mark.parametrize(
    ("keys", "rules"),
    [
        ([], ["keeping.nothing"]),
        (["document:999999"], ["data.unknown"]),
        (["love letter:1"], ["data.unknown"]),
        (["document:x"], ["data.unknown"]),
    ],
)
def test_disposal_of_nothing_known_is_refused(rule, record, let_go, keys, rules):
    rule()

    assert refused(let_go, "batch records", keys) == rules


def test_disposal_before_its_time_without_rule_or_under_another_is_refused(rule, record, let_go):
    assert refused(let_go, "batch records", [key(record)]) == ["keeping.no_rule"]
    assert refused(let_go, "love letters", [key(record)]) == ["keeping.kind"]
    rule(years=20)
    assert refused(let_go, "batch records", [key(record)]) == ["keeping.not_due"]
    first = rule(years=10)
    rule(years=9)
    assert refused(let_go, "batch records", [key(record)], seen=str(first)) == ["sign.stale"]
    assert document_bytes(record)
    assert not Disposal.objects.exists()


def test_one_that_may_not_go_keeps_all_of_them(rule, cast, batch, shop_key, let_go):
    rule("audit trails", 5, "made")
    old = issue_audit_trail(subject=subject_of("batch", batch.pk), by=cast.quality, at=now())
    new = issue_audit_trail(subject=subject_of("batch", batch.pk), by=cast.quality, at=later(2))

    assert refused(let_go, "audit trails", [key(old), key(new)], at=later(6)) == ["keeping.not_due"]
    assert not DisposedFile.objects.exists()


def test_what_was_disposed_of_is_not_disposed_of_again(rule, record, let_go):
    rule()
    let_go("batch records", [key(record)])

    assert due_of("batch records") == ([], [], [])
    assert refused(let_go, "batch records", [key(record)]) == ["keeping.disposed"]


def test_bytes_stay_while_another_record_holds_them(rule, cast, catalogue, batch, let_go):
    rule("material papers", 5)
    rule("production papers", 5, "made")
    used = TerminalLot.objects.filter(pk=catalogue.terminal_lot.pk)
    used.update(state="used up")
    on_reel = attach(thing=thing_of(catalogue.terminal_lot), title="x", name="x.pdf", data=PDF, by=cast.quality, at=now())
    on_batch = attach(thing=thing_of(batch), title="x", name="x.pdf", data=PDF, by=cast.quality, at=now())

    let_go("material papers", [f"attachment:{on_reel.pk}"])
    assert remove_files() == 0
    assert refused(attachment_bytes, on_reel) == ["file.disposed"]
    assert attachment_bytes(on_batch) == PDF

    let_go("production papers", [f"attachment:{on_batch.pk}"])
    assert remove_files() == 1
    assert not default_storage.exists(upload_name(on_batch.sha256))


def test_bytes_that_a_controlled_document_holds_stay(rule, cast, catalogue, batch, let_go):
    rule("production papers", 5, "made")
    paper = attach_file(document=catalogue.document, name="x.pdf", data=PDF, by=cast.planner, at=now())
    row = attach(thing=thing_of(batch), title="x", name="x.pdf", data=PDF, by=cast.quality, at=now())

    let_go("production papers", [f"attachment:{row.pk}"])

    assert remove_files() == 0
    assert file_of(paper) == PDF


def test_file_attached_again_after_disposal_is_stored_again(rule, cast, batch, let_go):
    rule("production papers", 5, "made")
    stated = {"title": "x", "name": "x.pdf", "data": PDF, "by": cast.quality}
    first = attach(thing=thing_of(batch), at=now(), **stated)
    let_go("production papers", [f"attachment:{first.pk}"])
    remove_files()
    withdraw_attachment(attachment=first, reason="its file went", by=cast.quality, at=now())

    again = attach(thing=thing_of(batch), at=now(), **stated)

    assert attachment_bytes(again) == PDF
    assert refused(attachment_bytes, first) == ["file.disposed"]
    assert remove_files() == 0


def test_worker_killed_between_files_is_finished_by_the_next_run(rule, cast, batch, shop_key, let_go, monkeypatch):
    rule("audit trails", 5, "made")
    about, at = subject_of("batch", batch.pk), now()
    documents = [issue_audit_trail(subject=about, by=cast.quality, at=at + timedelta(minutes=n)) for n in range(3)]
    act = let_go("audit trails", [key(document) for document in documents])
    real, gone = default_storage.delete, []

    def dies_at_the_second(name):
        if gone:
            raise SystemExit("killed")
        gone.append(name)
        real(name)

    monkeypatch.setattr(keeping.default_storage, "delete", dies_at_the_second, raising=False)
    with pytest.raises(SystemExit):
        remove_files()
    monkeypatch.undo()
    act.refresh_from_db()
    assert act.finished_at is None
    assert sum(default_storage.exists(storage_name(one.sha256)) for one in documents) == 2
    assert [refused(document_bytes, one) for one in documents] == [["file.disposed"]] * 3

    out = io.StringIO()
    call_command("finish_disposals", stdout=out)
    act.refresh_from_db()

    assert out.getvalue() == "2 files taken away\n"
    assert act.finished_at is not None
    assert not any(default_storage.exists(storage_name(one.sha256)) for one in documents)
    assert remove_files() == 0


def test_act_that_is_lost_before_it_commits_takes_nothing(rule, record, let_go, monkeypatch, django_capture_on_commit_callbacks):
    rule()

    def broken(event):
        raise OSError("disk full")

    monkeypatch.setattr(keeping, "publish", broken)
    with django_capture_on_commit_callbacks(execute=True), pytest.raises(OSError, match="disk full"):
        let_go("batch records", [key(record)])

    assert remove_files() == 0
    assert document_bytes(record)


def test_act_stands_although_the_queue_cannot_be_written(rule, record, let_go, monkeypatch, django_capture_on_commit_callbacks):
    class Broken:
        def enqueue(self):
            raise OSError("queue is full")

    rule()
    monkeypatch.setattr("records.tasks.remove_disposed_files", Broken())
    with django_capture_on_commit_callbacks(execute=True):
        act = let_go("batch records", [key(record)])

    assert act.finished_at is None
    assert default_storage.exists(storage_name(record.sha256))
    assert remove_files() == 1


def test_finishing_by_hand_is_quality_alone(rule, record, let_go, cast):
    rule()
    let_go("batch records", [key(record)])

    assert refused(finish_disposals, by=cast.inspector, at=now()) == ["person.role"]
    assert finish_disposals(by=cast.quality, at=now()) == 1


def test_disposed_rows_are_never_changed_and_never_doubled(rule, record, let_go):
    rule()
    act = let_go("batch records", [key(record)])
    row = act.files.get()

    row.pk = None
    with pytest.raises(IntegrityError), transaction.atomic():
        row.save()


def test_package_goes_whole_and_others_say_what_is_missing(rule, cast, shipment, shop_key, let_go, act, batch, tmp_path, catalogue):
    rule("batch records", 5, "over")
    record = issue_batch_record(batch=batch, by=cast.quality, at=now())
    act(ship, SHIPPED_MEANING, number="SH-2", customer=catalogue.customer, lots={shipment.lots.get().pk: 40})  # nothing is left in stock
    let_go("batch records", [key(record)])
    remove_files()

    package = pack_evidence(of=shipment, by=cast.auditor, at=now())

    manifest = json.loads(zipfile.ZipFile(io.BytesIO(package)).read("manifest.json"))
    assert [(one["record"], one["sha256"]) for one in manifest["disposed"]] == [(str(record), record.sha256)]
    assert "BR-" in " ".join(one["title"] + one["pdf"] for one in manifest["documents"])  # issued anew, as another issue
    assert f"{record.number}-1.pdf" not in " ".join(one["pdf"] for one in manifest["documents"])
    (tmp_path / "package.zip").write_bytes(package)
    assert main([str(tmp_path / "package.zip")]) == 0


def test_disposed_package_and_import_say_so(rule, cast, catalogue, shop_key, let_go, django_capture_on_commit_callbacks):
    rule("evidence packages", 1, "made")
    with django_capture_on_commit_callbacks(execute=True):
        order = order_evidence(of="period", since=factories.today(), until=factories.today(), by=cast.quality, at=now())
    order = EvidenceOrder.objects.get(pk=order.pk)
    with package_file(order):
        pass

    let_go("evidence packages", [f"evidence package:{order.pk}"])
    remove_files()

    assert refused(package_file, order) == ["file.disposed"]


def test_certificate_lists_what_went_with_its_hashes(rule, record, let_go, cast, tmp_path):
    rule()
    act = let_go("batch records", [key(record)])

    document = issue_disposal_certificate(act=act, by=cast.quality, at=now())

    said = json.loads(document.record)
    assert document.number == f"DC-{act.number}"
    assert [(one["record"], one["sha256"]) for one in said["files"]] == [(str(record), record.sha256)]
    assert [one["meaning"] for one in said["signatures"]] == [DISPOSED_MEANING]
    assert document_bytes(document).startswith(b"%PDF-")
    assert issue_disposal_certificate(act=act, by=cast.quality, at=now()).pk == document.pk


def test_certificate_of_disposal_belongs_to_no_kind_that_goes():
    listed = [one for kinds in DOCUMENTS.values() for one in kinds]

    assert set(DocumentKind) - set(listed) == {DocumentKind.DISPOSAL}
    assert len(listed) == len(set(listed))


# --- Pages ---------------------------------------------------------------------------------------------------------------------------


def test_page_lists_kinds_rules_and_counts(rule, record, hold, batch, signed_in, cast):
    client = signed_in(cast.auditor)
    empty = client.get("/prove/keeping/").content.decode()
    assert "13 kinds of records have no rule yet" in empty
    assert "Nothing was ever put on legal hold" in empty

    set_by_quality = rule()
    page = client.get("/prove/keeping/").context["page"]
    row = next(row for row in page.rows if row.kind == "batch records")
    assert (row.rule, row.due, row.held, page.may_keep, page.may_hold) == (set_by_quality, 0, 0, False, False)


def test_rule_is_set_on_its_page(signed_in, cast):
    client = signed_in(cast.quality)
    page = client.get("/prove/keeping/rules/import-files/")
    assert page.context["page"].proposed

    stated = {"years": "3", "after": "made", "reason": "contract", "secret": factories.PIN}
    assert client.post("/prove/keeping/rules/import-files/", stated | {"years": "x"}).status_code == 422
    assert client.post("/prove/keeping/rules/import-files/", stated | {"secret": "000000"}).status_code == 422
    assert client.post("/prove/keeping/rules/import-files/", stated)["Location"] == "/prove/keeping/"
    assert rules_in_force()["import files"].years == 3
    assert client.post("/prove/keeping/rules/import-files/", stated | {"for_good": "on"}).status_code == 302
    assert rules_in_force()["import files"].years is None
    assert client.get("/prove/keeping/rules/love-letters/").status_code == 404


def test_disposal_on_the_page(rule, record, signed_in, cast, time_machine):
    rule()
    today = now()
    assert "Nothing of this kind is free to go" in signed_in(cast.quality).get("/prove/keeping/due/batch-records/").content.decode()
    time_machine.move_to(later(), tick=False)
    client = signed_in(cast.quality)
    page = client.get("/prove/keeping/due/batch-records/").context["page"]
    assert [row.key for row in page.due] == [key(record)]
    given = {"rule": str(page.rule), "record": [key(record)], "secret": factories.PIN, "note": "list of January"}

    assert client.post("/prove/keeping/due/batch-records/", given | {"record": []}).status_code == 422
    answer = client.post("/prove/keeping/due/batch-records/", given)
    act = Disposal.objects.get()
    assert answer["Location"] == f"/prove/keeping/disposals/{act.number}/"
    shown = client.get(answer["Location"]).content.decode()
    assert "waits for the worker" in shown
    assert record.sha256 in shown
    assert client.post(f"{answer['Location']}finish/").status_code == 302
    assert "files are gone" in client.get(answer["Location"]).content.decode()
    time_machine.move_to(today)  # the shop's key of today seals nothing in eleven years
    client = signed_in(cast.quality)
    certificate = client.post(f"{answer['Location']}certificate/")
    assert certificate["Location"] == f"/prove/documents/DC-{act.number}/1/"
    assert act.number in client.get(certificate["Location"]).content.decode()


def test_hold_on_the_pages_of_what_it_covers(signed_in, cast, shipment, lot, batch, catalogue, hold):
    client = signed_in(cast.quality)
    stated = {"scope": "shipment", "name": "SH-1", "reason": "claim", "reference": "C-9", "secret": factories.PIN}
    assert client.post("/prove/keeping/holds/new/", stated | {"name": "SH-none"}).status_code == 422
    answer = client.post("/prove/keeping/holds/new/", stated)
    assert answer["Location"] == "/prove/keeping/holds/LH-0001/"

    job = batch.termination.sheet.job
    reel = f"/shop/terminal-lots/{catalogue.terminal_lot.pk}/"
    pages = ["/prove/shipment/SH-1/", "/prove/lot/HL-1/", f"/prove/batch/{batch.number}/", reel]
    for address in pages:
        assert "LH-0001" in client.get(address).content.decode(), address
    assert "LH-" not in client.get(f"/shop/terminal-lots/{catalogue.ring_lot.pk}/").content.decode()
    hold("job", job.number)
    assert "LH-0002" in client.get(f"/plan/jobs/{job.pk}/").content.decode()
    hold("customer", catalogue.customer.code)
    assert "LH-0003" in client.get(f"/shop/customers/{catalogue.customer.pk}/").content.decode()

    assert client.post("/prove/keeping/holds/LH-0001/", {"reason": "", "secret": factories.PIN}).status_code == 422
    assert client.post("/prove/keeping/holds/LH-0001/", {"reason": "settled", "secret": factories.PIN}).status_code == 302
    assert "settled" in client.get("/prove/keeping/holds/LH-0001/").content.decode()
    assert signed_in(cast.operator).get("/prove/keeping/holds/new/").status_code == 403


def test_disposed_attachment_says_so_on_the_page_of_its_thing(rule, cast, batch, let_go, signed_in):
    rule("production papers", 5, "made")
    client = signed_in(cast.quality)
    client.post(f"/prove/attachments/batch/{batch.pk}/", {"title": "Letter", "file": SimpleUploadedFile("x.pdf", PDF)})
    act = let_go("production papers", [one.key for one in records_of("production papers")])

    page = client.get(f"/prove/batch/{batch.number}/").content.decode()

    assert f"/prove/keeping/disposals/{act.number}/" in page


# --- Found ----------------------------------------------------------------------------------------------------------------------------


def test_holds_disposals_and_attachments_are_found_and_open(signed_in, cast, batch, record, rule, hold, act, let_go):
    rule()
    disposal = let_go("batch records", [key(record)])
    held = hold(name=batch.number)
    file = attach(thing=thing_of(batch), title="Supplier certificate", name="mill-4711.pdf", data=PDF, by=cast.quality, at=now())
    client = signed_in(cast.auditor)

    for kind, words, name in (
        ("legal-hold", "C-77", held.number),
        ("legal-hold", "claim", held.number),
        ("disposal", disposal.number, disposal.number),
        ("disposal", "by the list", disposal.number),
        ("attachment", "supplier certificate", "Supplier certificate"),
        ("attachment", "mill 4711", "Supplier certificate"),
        ("attachment", file.sha256[:12], "Supplier certificate"),
        ("attachment", batch.number, "Supplier certificate"),
    ):
        hits = of_kind(words, SEARCHED[kind])
        assert [hit.name for hit in hits] == [name], words
        assert client.get(hits[0].url, follow=True).status_code == 200
        assert not hits[0].trail_url or client.get(hits[0].trail_url).status_code == 200
    # Whose number a batch's is stays the batch's: its files and its hold do not stand in the way.
    assert client.get(reverse("prove:search"), {"number": batch.number})["Location"] == reverse("prove:batch", args=[batch.number])
    assert {"legal-hold", "disposal"}.isdisjoint(kind.slug for kind in kinds_for(cast.operator))


def test_kind_that_was_not_searched_for_before_is_filled_by_the_next_migrate(batch, hold):
    held = hold(name=batch.number)
    SearchEntry.objects.filter(kind="legal-hold").delete()

    after_migrate(sender=apps.get_app_config("records"), using="default")

    assert [hit.name for hit in of_kind("C-77", SEARCHED["legal-hold"])] == [held.number]
