"""What was measured, signed and issued cannot be changed or removed straight in the database either."""

from __future__ import annotations

import pytest
from django.apps import apps
from django.db import DatabaseError, connection, transaction

from inspection.acts.samples import record_reading, start_sample
from records.acts.documents import issue_batch_record
from records.demo.walk import run_batch
from records.shop_key import create_shop_key
from shop.append_only import append_only_models
from shop.clock import now
from shop.concessions import Concession, ConcessionUse
from shop.crib import ToolCare
from tests import factories


@pytest.fixture(scope="module")
def shop_key(tmp_path_factory):
    directory = tmp_path_factory.mktemp("keys")
    create_shop_key(directory, shop_name="Test shop", at=now())
    return directory


@pytest.fixture
def evidence(settings, shop_key, termination, hand, inspector, codes, cast):
    """A closed batch with its record issued, a tool's care and a concession's use: rows in every table that only grows."""
    settings.SHOP_KEY_DIR = shop_key
    batch = run_batch(termination, codes, 100, hand, now, inspector)
    issue_batch_record(batch=batch, by=inspector.person, at=now())
    ToolCare.objects.create(
        tool=batch.tool, kind="service", done_on=factories.today(), at_count=104, result="passed", note="cleaned", by=cast.planner, at=now()
    )
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
    return batch


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
    }


@pytest.mark.parametrize("model", [m._meta.label for m in append_only_models()])
def test_row_of_evidence_cannot_be_changed_or_removed_in_the_database(evidence, model):
    meta = apps.get_model(model)._meta
    table, key = meta.db_table, meta.pk.column
    before = rows(table)
    assert before, "the evidence of these tests has no row of this table yet"
    column = next(f.column for f in meta.concrete_fields if not f.primary_key)
    newest = f"WHERE {key} = (SELECT MAX({key}) FROM {table})"  # noqa: S608  # as above

    for statement in (f"UPDATE {table} SET {column} = {column} {newest}", f"DELETE FROM {table} {newest}"):  # noqa: S608  # as above
        with pytest.raises(DatabaseError, match="append-only"), transaction.atomic(), connection.cursor() as cursor:
            cursor.execute(statement)

    assert rows(table) == before


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
