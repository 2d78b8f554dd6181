"""The main job through the acts: plan, make, prove, and the documents it leaves."""

from __future__ import annotations

import io
import json
import subprocess
import sys
import zipfile

import pytest

from inspection.models import BatchStatus
from records.acts.documents import document_bytes, issue_batch_record, issue_first_article, issue_setup_sheet, issue_trace_report
from records.acts.evidence import pack_evidence
from records.acts.lots import BUILT_MEANING, SHIPPED_MEANING, build_lot, ship
from records.demo.walk import Hand, run_batch
from records.evidence_verifier import main
from records.ledger_check import verify_ledger
from records.models import LedgerEntry, Signature
from records.pdf import attached_json
from records.shop_key import load_shop_key
from records.verification import verify_pdf
from shop.clock import now
from shop.finding import Refused
from tests import factories


@pytest.fixture
def hands(cast):
    return {
        name: Hand(getattr(cast, name), getattr(cast, name).badge, factories.PIN)
        for name in ("planner", "operator", "inspector", "quality")
    }


def closed_batch(cast, catalogue, hands, **changed):
    sheet = factories.released(cast, catalogue, inspector_signs=True, **changed)
    codes = ["AP-031", "TL-2001", "WL-1001", "MIC-01", "CAL-01", "PULL-01"]
    termination = sheet.terminations.get()
    return run_batch(termination, codes, 100, hands["operator"], now, hands["inspector"])


def shipped(cast, catalogue, hands):
    batch = closed_batch(cast, catalogue, hands)
    at = now()
    lot = build_lot(
        number="HL-1",
        job=batch.termination.sheet.job,
        quantity=100,
        batches={batch.pk: 100},
        by=cast.planner,
        at=at,
        signing=hands["planner"].sign(BUILT_MEANING, at),
    )
    return ship(
        number="SH-1",
        customer=catalogue.customer,
        lots={lot.pk: 100},
        by=cast.quality,
        at=at,
        signing=hands["quality"].sign(SHIPPED_MEANING, at),
    )


def test_batch_runs_from_set_up_to_balanced_counts(cast, catalogue, hands):
    batch = closed_batch(cast, catalogue, hands)

    assert batch.status == BatchStatus.CLOSED
    assert (batch.made, batch.good, batch.destroyed) == (104, 100, 4)
    catalogue.tool.refresh_from_db()
    assert catalogue.tool.crimp_count == 104
    assert {(lot.lot.lot_number, lot.from_count, lot.to_count) for lot in batch.loaded_lots.all()} == {
        ("TL-2001", 0, 104),
        ("WL-1001", 0, 104),
    }


def test_every_signature_of_the_main_job_is_in_a_whole_ledger(cast, catalogue, hands):
    closed_batch(cast, catalogue, hands)

    assert [(s.printed_name, s.meaning) for s in Signature.objects.order_by("entry_id")] == [
        ("Aino Vik", "released"),
        ("Omar Reyes", "measured"),
        ("Ines Falk", "approved first piece"),
        ("Omar Reyes", "measured"),
        ("Omar Reyes", "batch closed, counts balanced"),
    ]
    report = verify_ledger()
    assert report.is_whole
    assert report.entries == LedgerEntry.objects.count()


def test_documents_of_the_main_job_stand(cast, catalogue, hands, shop_key):
    shipment = shipped(cast, catalogue, hands)
    batch = shipment.lots.get().batches.get()

    issued = [
        issue_setup_sheet(sheet=batch.termination.sheet, by=cast.planner, at=now()),
        issue_first_article(batch=batch, by=cast.inspector, at=now()),
        issue_batch_record(batch=batch, by=cast.operator, at=now()),
        issue_trace_report(of=shipment, by=cast.auditor, at=now()),
    ]

    for document in issued:
        pdf = document_bytes(document)
        report = verify_pdf(pdf, trusted_root=shop_key.root)
        assert report.stands, report.problems
        assert attached_json(pdf).decode() == document.record
    assert verify_ledger().is_whole


def test_same_record_is_issued_once(cast, catalogue, hands, shop_key):
    batch = closed_batch(cast, catalogue, hands)

    first = issue_batch_record(batch=batch, by=cast.operator, at=now())
    again = issue_batch_record(batch=batch, by=cast.quality, at=now())

    assert again == first


def test_evidence_package_verifies_in_a_bare_python(cast, catalogue, hands, shop_key, tmp_path):
    shipment = shipped(cast, catalogue, hands)
    package = tmp_path / "evidence.zip"
    package.write_bytes(pack_evidence(of=shipment, by=cast.auditor, at=now()))
    folder = tmp_path / "unpacked"
    zipfile.ZipFile(package).extractall(folder)

    fingerprint = load_shop_key(tmp_path / "keys").root_sha256
    run = [sys.executable, "-I", "-S", str(folder / "verify.py"), "--root-sha256", fingerprint]
    answer = subprocess.run(run, capture_output=True, text=True, check=False)

    assert answer.stdout.endswith("HOLDS\n"), answer.stdout + answer.stderr
    assert answer.returncode == 0
    names = zipfile.ZipFile(package).namelist()
    assert sum(name.endswith(".pdf") for name in names) == 4


def test_evidence_package_with_one_byte_altered_does_not_hold(cast, catalogue, hands, shop_key, tmp_path):
    data = pack_evidence(of=shipped(cast, catalogue, hands), by=cast.auditor, at=now())
    source = zipfile.ZipFile(io.BytesIO(data))
    for altered in source.namelist():
        package = tmp_path / "altered.zip"
        with zipfile.ZipFile(package, "w") as out:
            for name in source.namelist():
                content = bytearray(source.read(name))
                if name == altered:
                    content[len(content) // 2] ^= 1
                out.writestr(name, bytes(content))
        assert main([str(package)]) == 1, altered


def test_lot_refuses_pieces_that_are_not_there(cast, catalogue, hands):
    batch = closed_batch(cast, catalogue, hands)
    at = now()

    with pytest.raises(Refused) as refused:
        build_lot(
            number="HL-2",
            job=batch.termination.sheet.job,
            quantity=100,
            batches={batch.pk: 101},
            by=cast.planner,
            at=at,
            signing=hands["planner"].sign(BUILT_MEANING, at),
        )

    assert [(f.rule, f.compared["left"]) for f in refused.value.findings] == [("lot.batch.pieces", 100)]


def test_ledger_entry_carries_the_content_that_was_signed(cast, catalogue, hands):
    closed_batch(cast, catalogue, hands)

    entry = LedgerEntry.objects.get(kind="batch.closed")
    said = json.loads(entry.text)
    assert said["content"]["good"] == 100
    assert said["signature"]["meaning"] == "batch closed, counts balanced"
