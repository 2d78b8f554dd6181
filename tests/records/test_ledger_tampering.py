"""What somebody who owns the database can do to the ledger, and how the verifier tells it. The guards are switched off as they would."""

from __future__ import annotations

import json

import pytest
from django.core.management import call_command
from django.db import connection, transaction

from records.acts.checkpoints import make_checkpoint
from records.certificates import create_shop_key
from records.chain import GENESIS, entry_hash
from records.checkpoint_text import Said, as_content
from records.checkpoints import Checkpoint, LedgerBlock
from records.ledger_check import verify_ledger
from records.models import LedgerEntry, LedgerHead
from records.shop_key import PEM, raw_signature
from shop.canonical import canonical_json
from shop.clock import now
from shop.events import JobOpened, publish

# ruff: noqa: S608  # tables of our own

ENTRY = "records_ledgerentry"
TABLES = (ENTRY, "records_signature", "records_checkpoint", "records_ledgerblock")
COLUMNS = "kind, version, at, by_id, subject_kind, subject_id, subject_name, text, previous_hash, hash"


def run(*statements):
    """As the owner of the database with the guards off. statements: SQL, or (SQL, parameters)."""
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")
        for table in TABLES:
            if connection.vendor == "postgresql":
                cursor.execute(f"ALTER TABLE {table} DISABLE TRIGGER USER")
            else:
                cursor.execute(f"DROP TRIGGER IF EXISTS guard_{table}_update")
                cursor.execute(f"DROP TRIGGER IF EXISTS guard_{table}_delete")
        for statement in statements:
            cursor.execute(*((statement,) if isinstance(statement, str) else statement))


def write(person, first, last):
    for number in range(first, last + 1):
        with transaction.atomic():
            publish(JobOpened(by=person, at=now(), subject=("job", number, f"J-{number}"), content={"quantity": number, "note": "æ"}))


@pytest.fixture
def ledger(cast):
    """Nine entries by one person, none of them signed."""
    assert LedgerHead.objects.get().count == 0
    write(cast.planner, 1, 9)


@pytest.fixture
def key(shop_key):
    return shop_key


@pytest.fixture
def exported(cast, key, settings, tmp_path, django_capture_on_commit_callbacks):
    """Six entries, a checkpoint handed to a folder (entry 7 says so), and two more entries. Gives back the folder."""
    settings.CHECKPOINT_DIR = tmp_path / "elsewhere"
    settings.CHECKPOINT_DIR.mkdir()
    write(cast.planner, 1, 6)
    with django_capture_on_commit_callbacks(execute=True):
        make_checkpoint(by=cast.quality, at=now())
    write(cast.planner, 8, 9)
    return settings.CHECKPOINT_DIR


def told():
    report = verify_ledger()
    assert report.entries == report.first_bad - 1
    return report.first_bad, report.tampering.value


def renumber(numbers, by):
    return [(f"UPDATE {ENTRY} SET number = number + %s WHERE number = %s", [by, number]) for number in numbers]


def insert(number, like, text, previous, own):
    columns = COLUMNS.replace("text, previous_hash, hash", "%s, %s, %s")
    statement = f"INSERT INTO {ENTRY} (number, {COLUMNS}) SELECT %s, {columns} FROM {ENTRY} WHERE number = %s"
    return (statement, [number, text, previous, own, like])


def rechain(first):
    """Write every hash from `first` on anew, and the head: what is left to somebody without the key."""
    previous = LedgerEntry.objects.get(number=first - 1).hash if first > 1 else GENESIS
    statements = []
    for number, text in LedgerEntry.objects.filter(number__gte=first).order_by("number").values_list("number", "text"):
        own = entry_hash(previous, number, text)
        statements.append((f"UPDATE {ENTRY} SET previous_hash = %s, hash = %s WHERE number = %s", [previous, own, number]))
        previous = own
    count = LedgerEntry.objects.count()
    return [*statements, ("UPDATE records_ledgerhead SET count = %s, hash = %s", [count, previous])]


def cut_behind(number):
    own = LedgerEntry.objects.get(number=number).hash
    return [
        (f"DELETE FROM {ENTRY} WHERE number > %s", [number]),
        ("UPDATE records_ledgerhead SET count = %s, hash = %s", [number, own]),
    ]


def change(number):
    text = LedgerEntry.objects.get(number=number).text
    other = text.replace(f'"quantity":{number}', f'"quantity":{number}00')
    assert other != text
    return (f"UPDATE {ENTRY} SET text = %s WHERE number = %s", [other, number])


def test_untouched_ledger_is_whole_and_agrees_with_its_checkpoint(exported):
    report = verify_ledger()

    assert (report.is_whole, report.entries, report.checkpoints) == (True, 9, 1)


@pytest.mark.parametrize("number", [1, 5, 9])
def test_changed_entry(ledger, number):
    run(change(number))

    assert told() == (number, "changed")


@pytest.mark.parametrize("number", [2, 5])
def test_entry_changed_and_hashed_anew(ledger, number):
    run(change(number))
    entry = LedgerEntry.objects.get(number=number)
    run((f"UPDATE {ENTRY} SET hash = %s WHERE number = %s", [entry_hash(entry.previous_hash, number, entry.text), number]))

    assert told() == (number, "changed")


@pytest.mark.parametrize("number", [1, 5, 8])
def test_removed_entry(ledger, number):
    run((f"DELETE FROM {ENTRY} WHERE number = %s", [number]))

    assert told() == (number, "removed")


@pytest.mark.parametrize("gone", [1, 3])
def test_removed_entries_with_the_rest_numbered_anew(ledger, gone):
    run(
        (f"DELETE FROM {ENTRY} WHERE number >= 4 AND number < %s", [4 + gone]),
        *renumber(range(4 + gone, 10), -gone),
        ("UPDATE records_ledgerhead SET count = %s", [9 - gone]),
    )

    assert told() == (4, "removed")


def test_inserted_entry_with_a_hash_of_nothing(ledger):
    before = LedgerEntry.objects.get(number=4)
    run(*renumber(range(9, 4, -1), 1), insert(5, 4, before.text, before.hash, "ab" * 32), "UPDATE records_ledgerhead SET count = 10")

    assert told() == (5, "inserted")


def test_inserted_entry_that_follows_the_one_before_it(ledger):
    before = LedgerEntry.objects.get(number=4)
    own = entry_hash(before.hash, 5, before.text)
    run(*renumber(range(9, 4, -1), 1), insert(5, 4, before.text, before.hash, own), "UPDATE records_ledgerhead SET count = 10")

    assert told() == (5, "inserted")


@pytest.mark.parametrize(("one", "other"), [(4, 5), (2, 8)])
def test_swapped_entries(ledger, one, other):
    run(*renumber([one], 1000), *renumber([other], one - other), *renumber([one + 1000], other - one - 1000))

    assert told() == (one, "swapped")


def test_swapped_texts_of_neighbours(ledger):
    texts = dict(LedgerEntry.objects.values_list("number", "text"))
    statement = f"UPDATE {ENTRY} SET text = %s WHERE number = %s"
    run((statement, [texts[5], 4]), (statement, [texts[4], 5]))

    assert told() == (4, "swapped")


def test_tail_cut_off_is_told_by_the_head(ledger):
    run(f"DELETE FROM {ENTRY} WHERE number > 7")

    assert told() == (8, "cut off")


def test_entry_added_past_the_head(ledger):
    last = LedgerEntry.objects.get(number=9)
    run(insert(10, 9, last.text, last.hash, entry_hash(last.hash, 10, last.text)))

    assert told() == (10, "added past the head")


def test_head_that_names_another_hash(ledger):
    run(("UPDATE records_ledgerhead SET hash = %s", ["ab" * 32]))

    report = verify_ledger()

    assert (report.first_bad, report.reason) == (9, "the head does not name entry 9")


def test_tail_cut_off_and_head_rewritten_is_told_by_the_stored_checkpoint(exported):
    run(*cut_behind(4))

    assert told() == (5, "cut off")


def test_checkpoint_removed_from_its_table_is_told_by_the_ledger(exported):
    run("DELETE FROM records_checkpoint")

    assert told() == (7, "removed")


def test_tail_cut_off_with_its_checkpoint_is_told_by_the_exported_one_only(exported, capsys):
    run(*cut_behind(4), "DELETE FROM records_checkpoint")

    assert verify_ledger().is_whole  # nothing inside the database can tell
    with pytest.raises(SystemExit) as left:
        call_command("verify_ledger", "--json", "--quiet", "--against", str(exported / "newest.json"))
    answer = json.loads(capsys.readouterr().out)
    assert (left.value.code, answer["first_bad"], answer["tampering"], answer["entries"]) == (1, 5, "cut off", 4)


def test_ledger_written_anew_is_told_by_the_stored_checkpoint(exported):
    run(change(3))
    run(*rechain(3))

    assert told() == (1, "forged")


def test_ledger_written_anew_behind_a_checkpoint_is_told_to_lie_behind_it(exported, cast):
    make_checkpoint(by=cast.quality, at=now())  # at 9
    run(change(8))
    run(*rechain(8))

    assert told() == (7, "forged")


def test_forged_checkpoint_is_not_the_shops(exported, cast, tmp_path):
    """Everything written anew, and a checkpoint over it signed with a key of the forger's own."""
    run(change(3))
    run(*rechain(3))
    forger = create_shop_key(tmp_path / "forger", shop_name="Test shop", at=now())
    sha256 = forger.signing_sha256.replace(":", "").lower()
    head = LedgerEntry.objects.get(number=6).hash
    text = canonical_json(as_content(Said(6, "0" * 64, head, now().isoformat(), "Test shop", 0, "", (), sha256)))
    run(
        (
            "UPDATE records_checkpoint SET text = %s, signature = %s, certificate = %s",
            [text, raw_signature(forger, text.encode()).hex(), forger.signing.public_bytes(PEM).decode()],
        )
    )

    report = verify_ledger()

    assert (report.first_bad, report.tampering.value) == (1, "forged")
    assert "not the shop's" in report.reason


def test_ledger_and_checkpoints_written_anew_are_told_by_the_exported_one(exported, capsys):
    run(change(3), "DELETE FROM records_checkpoint", *cut_behind(6))
    run(*rechain(3))

    assert verify_ledger().is_whole
    with pytest.raises(SystemExit):
        call_command("verify_ledger", "--json", "--quiet", "--against", str(exported))
    answer = json.loads(capsys.readouterr().out)
    assert (answer["first_bad"], answer["tampering"]) == (1, "forged")


def test_kept_head_of_a_block_that_is_not_its_entries_is_found(cast, monkeypatch):
    for module in ("records.ledger_check", "records.ledger_range"):
        monkeypatch.setattr(f"{module}.BLOCK", 4)
    monkeypatch.setattr("records.ledger_range.BLOCK_LEVEL", 2)
    write(cast.planner, 1, 9)
    LedgerBlock.objects.create(number=1, head="ab" * 32)

    assert told() == (5, "changed")


def test_exported_checkpoint_of_a_whole_ledger_agrees(exported, capsys):
    call_command("verify_ledger", "--against", str(exported / "newest.json"))

    assert "It agrees with 2 signed checkpoints." in capsys.readouterr().out


def test_ledger_is_checked_the_same_in_small_ranges(exported, monkeypatch):
    monkeypatch.setattr("records.ledger_check.RANGE", 2)
    monkeypatch.setattr("records.ledger_check.BLOCK", 2)
    monkeypatch.setattr("records.ledger_range.BLOCK", 2)
    monkeypatch.setattr("records.ledger_range.BLOCK_LEVEL", 1)

    report = verify_ledger()

    assert (report.is_whole, report.entries, report.checkpoints) == (True, 9, 1)
    run(change(5))
    assert told() == (5, "changed")


def test_progress_goes_up_to_the_whole(ledger, monkeypatch):
    monkeypatch.setattr("records.ledger_check.RANGE", 4)
    heard = []

    verify_ledger(progress=lambda done, total: heard.append((done, total)))

    assert heard == [(4, 9), (8, 9), (9, 9)]


def test_checkpoint_without_the_shops_root_is_not_taken_on_trust(exported, settings, tmp_path):
    settings.SHOP_KEY_DIR = tmp_path / "no-keys"

    assert verify_ledger().tampering == "not proven"


def test_checkpoints_are_kept_when_the_certificate_is_revoked_or_renewed(exported, cast, settings):
    from records.certificates import renew_certificates  # noqa: PLC0415

    renew_certificates(settings.SHOP_KEY_DIR, shop_name="Test shop", at=now())
    make_checkpoint(by=cast.quality, at=now())

    report = verify_ledger()

    assert (report.is_whole, report.checkpoints) == (True, 2)
    assert Checkpoint.objects.values("certificate_sha256").distinct().count() == 2
