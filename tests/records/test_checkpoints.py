"""Making checkpoints, and handing them out of the house."""

from __future__ import annotations

import http.server
import json
import threading

import pytest
from django.core import mail
from django.core.management import CommandError, call_command
from django.db import transaction

from records import listeners
from records.acts.checkpoints import inclusion_proofs, make_checkpoint
from records.checkpoint_text import NotACheckpoint, Signed, check_signed, follows, read_file
from records.checkpoints import Checkpoint
from records.merkle import inclusion_holds, leaf_hash, tree_head
from records.models import LedgerEntry, LedgerHead
from records.shop_key import load_trust
from shop.clock import now
from shop.events import JobOpened, publish
from shop.finding import Refused
from tests.records.test_ledger_tampering import change, cut_behind, rechain, run, write


@pytest.fixture
def key(shop_key):
    return shop_key


def refusal(act):
    with pytest.raises(Refused) as refused:
        act()
    return [finding.rule for finding in refused.value.findings]


def test_checkpoint_signs_the_tree_over_all_entries(cast, key, settings):
    write(cast.planner, 1, 5)

    made = make_checkpoint(by=cast.quality, at=now())

    hashes = [leaf_hash(bytes.fromhex(own)) for own in LedgerEntry.objects.filter(number__lte=5).values_list("hash", flat=True)]
    said = check_signed(made.signed, load_trust(settings.SHOP_KEY_DIR).roots)
    assert (said.entries, said.root) == (5, tree_head(hashes).hex())
    assert said.head == LedgerEntry.objects.get(number=5).hash
    entry = LedgerEntry.objects.get(number=6)
    assert (entry.kind, entry.subject_id, entry.by) == ("ledger.checkpointed", made.pk, cast.quality)


def test_next_checkpoint_is_proven_to_extend_the_one_before(cast, key):
    write(cast.planner, 1, 5)
    first = make_checkpoint(by=cast.quality, at=now())
    write(cast.planner, 7, 11)

    said = make_checkpoint(by=cast.administrator, at=now()).said

    assert (said.entries, said.previous_entries, said.previous_root) == (11, 5, first.root)
    assert follows(said)


def test_checkpoint_with_nothing_written_since_is_the_one_there(cast, key):
    write(cast.planner, 1, 2)
    first = make_checkpoint(by=cast.quality, at=now())

    assert make_checkpoint(by=cast.quality, at=now()) == first
    assert (Checkpoint.objects.count(), LedgerHead.objects.get().count) == (1, 3)


@pytest.mark.parametrize("role", ["operator", "planner", "inspector", "auditor"])
def test_checkpoint_is_made_by_quality_or_the_administrator_only(cast, key, role):
    write(cast.planner, 1, 1)

    assert refusal(lambda: make_checkpoint(by=getattr(cast, role), at=now())) == ["person.role"]
    assert not Checkpoint.objects.exists()


def test_checkpoint_of_an_empty_ledger_is_refused(cast, key):
    assert refusal(lambda: make_checkpoint(by=cast.quality, at=now())) == ["checkpoint.empty"]


def test_ledger_that_lost_its_tail_gets_no_checkpoint(cast, key):
    write(cast.planner, 1, 5)
    make_checkpoint(by=cast.quality, at=now())
    run(*cut_behind(3))

    assert refusal(lambda: make_checkpoint(by=cast.quality, at=now())) == ["checkpoint.shorter"]


def test_ledger_that_was_written_anew_gets_no_checkpoint(cast, key):
    write(cast.planner, 1, 5)
    make_checkpoint(by=cast.quality, at=now())
    run(change(2))
    run(*rechain(2))

    assert refusal(lambda: make_checkpoint(by=cast.quality, at=now())) == ["checkpoint.differs"]


def test_earlier_entries_written_anew_under_the_last_hash_get_no_checkpoint(cast, key):
    """Their hash changed, the entry that the checkpoint names did not: the tree tells."""
    write(cast.planner, 1, 5)
    make_checkpoint(by=cast.quality, at=now())
    run(("UPDATE records_ledgerentry SET hash = %s WHERE number = 2", ["ab" * 32]))
    write(cast.planner, 7, 7)

    assert refusal(lambda: make_checkpoint(by=cast.quality, at=now())) == ["checkpoint.differs"]


def test_chain_broken_since_the_last_checkpoint_gets_no_checkpoint(cast, key):
    write(cast.planner, 1, 5)
    run(change(4))

    with pytest.raises(Refused) as refused:
        make_checkpoint(by=cast.quality, at=now())

    assert [(f.rule, f.compared["entry"]) for f in refused.value.findings] == [("checkpoint.broken", 4)]


def test_inclusion_proofs_hold_for_every_entry(cast, key):
    write(cast.planner, 1, 9)
    made = make_checkpoint(by=cast.quality, at=now())

    proofs = inclusion_proofs(range(1, 10), made)

    for number, proof in proofs.items():
        leaf = leaf_hash(bytes.fromhex(LedgerEntry.objects.get(number=number).hash))
        assert inclusion_holds(leaf, number - 1, 9, [bytes.fromhex(step) for step in proof], bytes.fromhex(made.root))


def test_checkpoint_with_any_byte_altered_is_refused(cast, key, settings):
    write(cast.planner, 1, 3)
    make_checkpoint(by=cast.quality, at=now())
    write(cast.planner, 5, 6)
    signed, roots = make_checkpoint(by=cast.quality, at=now()).signed, load_trust(settings.SHOP_KEY_DIR).roots
    check_signed(signed, roots)
    for part in ("text", "signature", "certificate"):
        whole = getattr(signed, part).rstrip()
        for at in range(len(whole)):
            other = "0" if whole[at] != "0" else "1"
            altered = Signed(
                **{"text": signed.text, "signature": signed.signature, "certificate": signed.certificate}
                | {part: whole[:at] + other + whole[at + 1 :]}
            )
            with pytest.raises(NotACheckpoint):
                check_signed(altered, roots)


def test_checkpoint_reaches_folder_mail_and_another_system(cast, key, settings, tmp_path, django_capture_on_commit_callbacks):
    heard = []

    class Listener(http.server.BaseHTTPRequestHandler):
        def do_POST(self):
            heard.append(self.rfile.read(int(self.headers["Content-Length"])).decode())
            self.send_response(204)
            self.end_headers()

        def log_message(self, *arguments):
            pass

    server = http.server.HTTPServer(("127.0.0.1", 0), Listener)
    thread = threading.Thread(target=server.serve_forever)
    thread.start()
    settings.CHECKPOINT_DIR, settings.CHECKPOINT_MAIL = tmp_path, ["vault@customer.example"]
    settings.CHECKPOINT_URL = f"http://127.0.0.1:{server.server_port}/ledger"
    write(cast.planner, 1, 3)
    try:
        with django_capture_on_commit_callbacks(execute=True):
            made = make_checkpoint(by=cast.quality, at=now())
    finally:
        server.shutdown()
        thread.join()
        server.server_close()

    wanted = made.signed.as_file()
    assert (tmp_path / "checkpoint-000000000003.json").read_text() == (tmp_path / "newest.json").read_text() == wanted
    assert heard == [wanted]
    assert [(m.to, m.attachments[0].filename, m.attachments[0].content) for m in mail.outbox] == [
        (["vault@customer.example"], "checkpoint-000000000003.json", wanted)
    ]
    assert read_file(wanted) == made.signed


def test_place_that_cannot_be_reached_keeps_neither_checkpoint_nor_other_places(
    cast, key, settings, tmp_path, caplog, django_capture_on_commit_callbacks
):
    settings.CHECKPOINT_DIR, settings.CHECKPOINT_MAIL = tmp_path / "unplugged", ["vault@customer.example"]
    write(cast.planner, 1, 3)

    with django_capture_on_commit_callbacks(execute=True):
        made = make_checkpoint(by=cast.quality, at=now())

    assert Checkpoint.objects.get() == made
    assert len(mail.outbox) == 1
    assert "did not reach" in caplog.text


def test_first_act_of_a_day_makes_a_checkpoint_and_the_next_does_not(cast, key, django_capture_on_commit_callbacks):
    listeners._asked.clear()
    with django_capture_on_commit_callbacks(execute=True):
        write(cast.planner, 1, 3)

    assert list(Checkpoint.objects.values_list("entries", flat=True)) == [3]


def test_so_many_entries_make_a_checkpoint(cast, key, settings, django_capture_on_commit_callbacks):
    listeners._asked.clear()
    settings.CHECKPOINT_ENTRIES = 4
    with django_capture_on_commit_callbacks(execute=True):
        write(cast.planner, 1, 1)
    with django_capture_on_commit_callbacks(execute=True):
        write(cast.planner, 3, 9)

    assert list(Checkpoint.objects.values_list("entries", flat=True)) == [1, 9]


def test_act_stands_although_there_is_no_key_for_a_checkpoint(cast, settings, tmp_path, caplog, django_capture_on_commit_callbacks):
    settings.SHOP_KEY_DIR = tmp_path / "no-keys"
    listeners._asked.clear()
    with django_capture_on_commit_callbacks(execute=True):
        write(cast.planner, 1, 1)

    assert LedgerHead.objects.get().count == 1
    assert "No checkpoint of the ledger was made" in caplog.text


def test_command_makes_lists_and_exports_checkpoints(cast, key, tmp_path, capsys):
    write(cast.planner, 1, 3)

    call_command("checkpoint")
    call_command("checkpoint")
    call_command("checkpoint", "--if-due")
    call_command("checkpoint", "--list")
    call_command("checkpoint", "--export", str(tmp_path))

    said = capsys.readouterr().out
    for line in (
        "Made a checkpoint at 3",
        "Nothing was written since the checkpoint at 3.",
        "No checkpoint is due.",
        "Wrote 1 checkpoints",
    ):
        assert line in said
    assert json.loads((tmp_path / "newest.json").read_text())["checkpoint"] == Checkpoint.objects.get().text


@pytest.mark.parametrize("arguments", [("--export", "nowhere"), ("--hand-out",)])
def test_command_says_what_it_cannot_do(cast, key, arguments):
    with pytest.raises(CommandError):
        call_command("checkpoint", *arguments)


def test_verify_ledger_says_when_a_file_is_no_checkpoint(cast, tmp_path):
    (tmp_path / "x.json").write_text("{}")

    with pytest.raises(CommandError, match="no checkpoint that can be read"):
        call_command("verify_ledger", "--against", str(tmp_path / "x.json"))


def test_two_who_make_a_checkpoint_at_once_make_one(cast, key):
    """The second finds what the first wrote: a checkpoint of the same count can stand once only."""
    with transaction.atomic():
        publish(JobOpened(by=cast.planner, at=now(), subject=("job", 1, "J"), content={}))

    assert make_checkpoint(by=cast.quality, at=now()) == make_checkpoint(by=cast.administrator, at=now())
