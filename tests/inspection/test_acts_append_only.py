"""What was measured, signed and issued cannot be changed or removed straight in the database either."""

from __future__ import annotations

import pytest
from django.apps import apps
from django.db import DatabaseError, connection, transaction

from inspection.acts.samples import record_reading, start_sample
from inspection.models import (
    Cause,
    ChartSignal,
    ClaimAnswer,
    ClaimedSignature,
    ControlLimits,
    Disposition,
    EffectCheck,
    EffectMeasure,
    LotInspection,
    Nonconformance,
    NonconformanceLink,
    OfflineAct,
    OfflineDecision,
    Reaction,
    SamplingScheme,
    Study,
    StudyValue,
)
from records.acts.checkpoints import make_checkpoint
from records.acts.documents import issue_batch_record
from records.checkpoints import LedgerBlock
from records.demo.walk import run_batch
from records.document_signatures import DocumentSignature
from records.keeping_models import After, Attachment, AttachmentWithdrawal, Disposal, DisposedFile, RecordKind, RetentionRule
from records.models import (
    Containment,
    HarnessLot,
    HarnessSerial,
    IssuedDocument,
    LotLoss,
    LotPart,
    Shipment,
    ShipmentLot,
    ShippedSerial,
    Suspect,
    SuspectDecision,
)
from shop.append_only import append_only_models
from shop.clock import now
from shop.concessions import Concession, ConcessionUse
from shop.crib import PressCheck, ToolCare
from shop.desk_looks import Look
from tests import factories


@pytest.fixture
def evidence(shop_key, termination, hand, inspector, codes, cast):
    """A closed batch with its record issued, a tool's care and a concession's use: rows in every table that only grows."""
    batch = run_batch(termination, codes, 100, hand, now, inspector)
    issue_batch_record(batch=batch, by=inspector.person, at=now())
    ToolCare.objects.create(
        tool=batch.tool, kind="service", done_on=factories.today(), at_count=104, result="passed", note="cleaned", by=cast.planner, at=now()
    )
    press = factories.make_press("PR-77")
    measured = {"measured_mm": "135.8", "nominal_mm": "135.8", "tolerance_mm": "0.02", "result": "passed"}
    gauge = batch.scans.filter(gauge__isnull=False).first().gauge
    PressCheck.objects.create(press=press, done_on=factories.today(), gauge=gauge, by=cast.planner, at=now(), **measured)
    concession = Concession.objects.create(
        number="CN-1",
        rule="fit.insulation.od",
        termination=termination,
        quantity_limit=10,
        reason="verified on 20 pieces",
        granted_by=cast.quality,
        granted_at=now(),
    )
    ConcessionUse.objects.create(concession=concession, batch=batch.number, quantity=5, at=now())
    study = Study.objects.create(number="ST-1", kind="one-part", title="x", opened_by=cast.quality, opened_at=now())
    StudyValue.objects.create(study=study, place="1", text="2.000", by=cast.quality, at=now())
    limits = ControlLimits.objects.create(
        tool=batch.tool,
        characteristic="crimp height",
        chart="individuals",
        limits={},
        basis={},
        reason="x",
        frozen_by=cast.quality,
        frozen_at=now(),
    )
    sample = batch.samples.first()
    signal = ChartSignal.objects.create(
        batch=batch, sample=sample, limits=limits, characteristic="crimp height", panel="location", rule="nelson.1", points=[], at=now()
    )
    Reaction.objects.create(signal=signal, cause="setting", text="set back", by=cast.operator, at=now())
    scheme = SamplingScheme.objects.create(
        number="SS-0001",
        name="x",
        thing="batches",
        terminal=termination.terminal,
        criterion="burr",
        basis="own",
        own_n=5,
        own_ac=0,
        reason="x",
        opened_by=cast.quality,
        opened_at=now(),
    )
    LotInspection.objects.create(
        scheme=scheme,
        number=1,
        batch=batch,
        lot_size=100,
        severity="normal",
        severity_after="normal",
        n=5,
        ac=0,
        re=1,
        found=0,
        accepted=True,
        by=cast.quality,
        at=now(),
    )
    Disposition.objects.create(batch=batch, number=1, kind="scrap", quantity=1, note="burr", by=cast.quality, at=now())
    signed = {"by": cast.quality, "at": now()}
    record = Nonconformance.objects.create(
        number="NC-26-0001",
        origin="seen",
        found_at="final",
        what="x",
        requirement="x",
        defect_kind="other.else",
        opened_by=cast.quality,
        opened_at=now(),
    )
    NonconformanceLink.objects.create(nonconformance=record, kind="batch", subject_id=batch.pk, name=batch.number, **signed)
    Cause.objects.create(nonconformance=record, parts=["tool"], occurred="x", undetected="x", **signed)
    measure = EffectMeasure.objects.create(nonconformance=record, kind="text", text="x", **signed)
    EffectCheck.objects.create(measure=measure, worked=True, text="x", **signed)
    make_checkpoint(by=cast.quality, at=now())
    LedgerBlock.objects.create(number=0, head="0" * 64)
    lots_and_cases(batch, cast)
    kept_records(batch, cast)
    without_network(batch, cast)
    return batch


def without_network(batch, cast):
    """An act of a tablet that was decided about, and a signature that was confirmed."""
    times = {"tablet_time": now(), "made_at": now(), "received_at": now(), "skew_seconds": 0}
    act = OfflineAct.objects.create(
        key="k", kind="hold", batch=batch, by=cast.operator, sent_by=cast.operator, content={}, set_aside=True, **times
    )
    OfflineDecision.objects.create(act=act, taken_over=False, reason="x", by=cast.operator, at=now())
    claim = ClaimedSignature.objects.create(
        sample=batch.samples.first(),
        person=cast.operator,
        meaning="measured",
        content={},
        content_sha256="0" * 64,
        made_at=now(),
        recorded_at=now(),
    )
    ClaimAnswer.objects.create(claim=claim, confirmed=True, by=cast.operator, at=now())


def lots_and_cases(batch, cast):
    """A lot split, scrapped from, numbered, shipped, and suspected."""
    job = batch.termination.sheet.job
    lot, part = (
        HarnessLot.objects.create(number=number, job=job, quantity=10, built_at=now(), built_by=cast.quality) for number in ("HL-1", "HL-2")
    )
    LotPart.objects.create(lot=part, used=lot, kind="split off", quantity=5)
    LotLoss.objects.create(lot=lot, quantity=1, reason="cut", by=cast.quality, at=now())
    shipment = Shipment.objects.create(number="SH-1", customer=job.customer, shipped_at=now(), shipped_by=cast.quality)
    line = ShipmentLot.objects.create(shipment=shipment, lot=lot, quantity=2)
    ShippedSerial.objects.create(line=line, serial=HarnessSerial.objects.create(lot=lot, serial="S-1"))
    case = Containment.objects.create(
        number="CC-0001", question="tool", subject_id=1, subject_name="AP-031", reason="x", opened_by=cast.quality, opened_at=now()
    )
    suspect = Suspect.objects.create(case=case, place="lot in stock", lot=lot, quantity=1)
    SuspectDecision.objects.create(suspect=suspect, kind="found good", quantity=1, note="x", by=cast.quality, at=now())


def kept_records(batch, cast):
    """A document signed by a person, a file attached and withdrawn, files disposed of, and a look at the batch."""
    signed = {"by": cast.quality, "at": now()}
    document = IssuedDocument.objects.first()
    DocumentSignature.objects.create(
        document=document,
        number=1,
        meaning="x",
        person=cast.quality,
        printed_name=cast.quality.name,
        signed_at=now(),
        sha256="1" * 64,
        size=1,
        certificate_sha256="2" * 64,
    )
    about = {"subject_kind": "batch", "subject_id": batch.pk, "subject_name": batch.number}
    file = Attachment.objects.create(**about, title="x", file_name="x.pdf", file_type="application/pdf", size=1, sha256="3" * 64, **signed)
    AttachmentWithdrawal.objects.create(attachment=file, reason="x", **signed)
    rule = RetentionRule.objects.create(kind=RecordKind.values[0], years=10, after=After.values[0], reason="x", **signed)
    disposal = Disposal.objects.create(number="DP-0001", kind=rule.kind, rule=rule, **signed)
    DisposedFile.objects.create(
        disposal=disposal,
        kept_as="document",
        row_id=document.pk,
        name="x",
        stored="x",
        sha256="4" * 64,
        size=1,
        made_at=now(),
        due_on=factories.today(),
    )
    Look.objects.create(person=cast.auditor, at=now(), kind="batch", subject_id=batch.pk, name=batch.number, what="record", door="page")


def rows(table):
    with connection.cursor() as cursor:
        cursor.execute(f"SELECT * FROM {table} ORDER BY 1")  # noqa: S608  # a table's name of our own
        return cursor.fetchall()


def test_tables_that_only_grow_are_the_ones_that_carry_evidence():
    assert {m.__name__ for m in append_only_models()} >= {
        "SetupScan",
        "Reading",
        "PullTest",
        "VisualFinding",
        "LedgerEntry",
        "Signature",
        "IssuedDocument",
        "StudyValue",
        "ChartSignal",
        "Reaction",
        "Disposition",
        "LotInspection",
        "NonconformanceLink",
        "Cause",
        "EffectMeasure",
        "EffectCheck",
    }


def test_no_row_of_evidence_can_be_changed_or_removed_in_the_database(evidence):
    """All tables in one test: the evidence takes seconds to make."""
    for model in append_only_models():
        meta = model._meta
        table, key = meta.db_table, meta.pk.column
        before = rows(table)
        assert before, f"the evidence of these tests has no row in {table} yet"
        column = next(f.column for f in meta.concrete_fields if not f.primary_key)
        newest = f"WHERE {key} = (SELECT MAX({key}) FROM {table})"  # noqa: S608  # as above

        for statement in (f"UPDATE {table} SET {column} = {column} {newest}", f"DELETE FROM {table} {newest}"):  # noqa: S608  # as above
            with pytest.raises(DatabaseError, match="append-only"), transaction.atomic(), connection.cursor() as cursor:
                cursor.execute(statement)

        assert rows(table) == before, table


def test_replacing_a_ledger_row_under_its_number_is_refused(evidence):
    if connection.vendor != "sqlite":
        pytest.skip("INSERT OR REPLACE is SQLite's")
    table = apps.get_model("records.LedgerEntry")._meta.db_table
    before = rows(table)

    with pytest.raises(DatabaseError, match="append-only"), transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(f"INSERT OR REPLACE INTO {table} SELECT * FROM {table} WHERE number = 1")  # noqa: S608  # as above

    assert rows(table) == before


def test_measurement_in_work_cannot_be_changed_before_it_is_signed(proven, cast):
    sample = start_sample(batch=proven, kind="first piece", at_count=5, by=cast.operator, at=now())
    reading = record_reading(sample=sample, characteristic="crimp height", piece=1, text="1.47", unit="mm", by=cast.operator, at=now())
    reading.text = "1.41"

    with pytest.raises(DatabaseError, match="append-only"), transaction.atomic():
        reading.save()

    reading.refresh_from_db()
    assert reading.text == "1.47"


@pytest.mark.skipif(connection.vendor != "postgresql", reason="TRUNCATE is PostgreSQL's")
@pytest.mark.parametrize("model", append_only_models(), ids=lambda model: model._meta.label)
def test_table_of_evidence_cannot_be_emptied(db, model):
    with pytest.raises(DatabaseError, match="append-only"), transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(f"TRUNCATE {model._meta.db_table} CASCADE")
