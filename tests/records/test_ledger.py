"""The ledger finds what somebody with the database in their hands did to it."""

from __future__ import annotations

import hashlib
import json

import pytest
from django.core.management import call_command
from django.db import connection, transaction
from hypothesis import given
from hypothesis import strategies as st

from records.chain import GENESIS, Link, entry_hash, verify_chain
from records.ledger_check import verify_ledger
from records.models import LedgerEntry, LedgerHead, Signature
from shop.events import JobOpened, publish
from shop.finding import Refused
from shop.jobs import Job
from tests import factories


@pytest.fixture
def filled(cast, catalogue):
    """A ledger with a released sheet in it: several entries, one of them signed."""
    return factories.released(cast, catalogue)


def without_guards(model, statement, parameters=()):
    """Run a statement as somebody would who owns the database and has switched the guards off."""
    table = model._meta.db_table
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            # Constraint checks wait at the end of the statement; ALTER TABLE will not pass them by.
            cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")
            cursor.execute(f"ALTER TABLE {table} DISABLE TRIGGER USER")
            cursor.execute(statement, parameters)
            cursor.execute(f"ALTER TABLE {table} ENABLE TRIGGER USER")
        else:
            cursor.execute(f"DROP TRIGGER guard_{table}_update")
            cursor.execute(f"DROP TRIGGER guard_{table}_delete")
            cursor.execute(statement, parameters)


def number_of(kind):
    return LedgerEntry.objects.get(kind=kind).number


def test_ledger_of_a_working_day_is_whole(filled):
    report = verify_ledger()

    assert report.is_whole
    assert report.entries == LedgerHead.objects.get().count == LedgerEntry.objects.count()


def test_changed_text_is_found_at_its_entry(filled):
    number = number_of("sheet.released")
    text = LedgerEntry.objects.get(pk=number).text.replace('"quantity":100', '"quantity":900')
    without_guards(LedgerEntry, "UPDATE records_ledgerentry SET text = %s WHERE number = %s", (text, number))

    assert verify_ledger().first_bad == number


def test_changed_column_beside_an_unchanged_text_is_found(filled):
    number = number_of("sheet.submitted")
    without_guards(LedgerEntry, "UPDATE records_ledgerentry SET subject_name = 'another' WHERE number = %s", (number,))

    report = verify_ledger()

    assert report.first_bad == number
    assert "columns" in report.reason


def test_changed_signature_is_found_at_its_entry(filled):
    without_guards(Signature, "UPDATE records_signature SET printed_name = 'Somebody Else'")

    report = verify_ledger()

    assert report.first_bad == number_of("sheet.released")
    assert "signature" in report.reason


def test_removed_entry_is_found(filled):
    number = number_of("sheet.submitted")
    without_guards(LedgerEntry, "DELETE FROM records_ledgerentry WHERE number = %s", (number,))

    assert verify_ledger().first_bad == number


def test_removed_tail_is_found_by_the_head(filled):
    last = LedgerHead.objects.get().count
    without_guards(Signature, "DELETE FROM records_signature")
    without_guards(LedgerEntry, "DELETE FROM records_ledgerentry WHERE number = %s", (last,))

    assert verify_ledger().first_bad == last


def test_entry_added_past_the_head_is_found(filled):
    last = LedgerEntry.objects.order_by("-number").first()
    text = last.text
    LedgerEntry.objects.create(
        number=last.number + 1,
        kind=last.kind,
        version=1,
        at=last.at,
        by=last.by,
        subject_kind=last.subject_kind,
        subject_id=last.subject_id,
        subject_name=last.subject_name,
        text=text,
        previous_hash=last.hash,
        hash=entry_hash(last.hash, last.number + 1, text),
    )

    assert verify_ledger().first_bad == last.number + 1


def test_verify_ledger_names_the_first_bad_entry_and_leaves_with_1(filled, capsys):
    number = number_of("job.opened")
    without_guards(LedgerEntry, "UPDATE records_ledgerentry SET text = %s WHERE number = %s", ("{}", number))

    with pytest.raises(SystemExit) as left:
        call_command("verify_ledger", "--json")

    assert left.value.code == 1
    assert json.loads(capsys.readouterr().out)["first_bad"] == number


def test_verify_ledger_of_a_whole_ledger_says_so(filled, capsys):
    call_command("verify_ledger")

    assert capsys.readouterr().out.startswith("The ledger is whole: ")


def test_refused_act_leaves_no_entry(cast, catalogue):
    sheet = factories.in_review(cast, catalogue)
    before = LedgerHead.objects.get().count

    with pytest.raises(Refused):
        factories.release(sheet, cast.planner)  # its author

    assert LedgerHead.objects.get().count == before == LedgerEntry.objects.count()


def test_event_that_cannot_be_recorded_undoes_its_act(cast, catalogue, monkeypatch):
    def full_disk(event):
        raise OSError("no space left")

    monkeypatch.setattr("records.listeners.append", full_disk)
    with pytest.raises(OSError, match="no space left"):
        factories.make_job(catalogue.customer, cast.planner, number="J-7777")

    assert not Job.objects.filter(number="J-7777").exists()


@pytest.mark.django_db(transaction=False)
def test_event_outside_a_transaction_is_refused(cast, monkeypatch):
    event = JobOpened(by=cast.planner, at=factories.now(), subject=("job", 1, "J"), content={})
    monkeypatch.setattr(transaction.get_connection(), "in_atomic_block", False)

    with pytest.raises(RuntimeError, match="outside a transaction"):
        publish(event)


# --- The chain by itself ---------------------------------------------------------------------------------------------------------

texts = st.lists(st.text(), min_size=1, max_size=12)


def chain(said):
    links, previous = [], GENESIS
    for number, text in enumerate(said, start=1):
        own = entry_hash(previous, number, text)
        links.append(Link(number, text, previous, own))
        previous = own
    return links


@given(texts)
def test_chain_of_any_texts_is_whole(said):
    links = chain(said)

    report = verify_chain(links, expected_count=len(said), expected_head=links[-1].hash)

    assert report.is_whole
    assert report.entries == len(said)


@given(texts, st.data())
def test_changed_text_breaks_the_chain_there(said, data):
    links = chain(said)
    at = data.draw(st.integers(0, len(links) - 1))
    other = data.draw(st.text().filter(lambda text: text != links[at].text))
    links[at] = Link(links[at].number, other, links[at].previous_hash, links[at].hash)

    assert verify_chain(links).first_bad == at + 1


@given(st.lists(st.text(), min_size=2, max_size=12), st.data())
def test_swapped_neighbours_break_the_chain(said, data):
    links = chain(said)
    at = data.draw(st.integers(0, len(links) - 2))
    links[at], links[at + 1] = links[at + 1], links[at]

    assert verify_chain(links).first_bad == at + 1


def test_first_hash_is_that_of_its_definition():
    wanted = hashlib.sha256(bytes(32) + b"1\n" + b"{}").hexdigest()

    assert entry_hash(GENESIS, 1, "{}") == wanted
