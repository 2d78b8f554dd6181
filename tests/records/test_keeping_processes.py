"""Disposal in real processes with real commits: one is killed between two files, one takes a file away while another names it again."""

from __future__ import annotations

import pytest

from tests.records.throwaway import shop_of_its_own

SET_UP = """
import django; django.setup()
from datetime import datetime, UTC
from django.core.files.storage import default_storage
from records.acts.attachments import attach
from records.acts.keeping import DISPOSED_MEANING, RULE_MEANING, dispose, remove_files, set_rule
from records.attachables import thing_of
from records.models import Attachment, Disposal
from shop.clock import now
from shop.models import Person, Tool
from shop.sign_on import sign
from tests import factories
"""

DISPOSE = """
cast = factories.make_cast()
quality, tool = cast.quality, factories.make_tool("AP-031")
def put(data, tool=tool):
    return attach(thing=thing_of(tool), title="x", name="x.txt", data=data, by=quality, at=now())
rows = [put(b"first"), put(b"second"), put(b"third")]
Tool.objects.update(state="retired")
later = datetime(now().year + 11, 2, 1, tzinfo=UTC)
def signing(meaning, at):
    return sign(identifier="quality", secret=factories.PIN, meaning=meaning, at=at)
rule = set_rule(kind="equipment papers", years=10, after="made", reason="x", by=quality, at=now(), signing=signing(RULE_MEANING, now()))
keys = [f"attachment:{row.pk}" for row in rows]
stated = {"kind": "equipment papers", "keys": keys, "rule_seen": str(rule), "note": ""}
"""

ACT = """
at = now()
import records.acts.keeping as keeping
keeping.shop_day = lambda moment: later.date() if moment == at else moment.date()
import records.retention as retention
retention.shop_day = keeping.shop_day
dispose(**stated, by=quality, at=at, signing=signing(DISPOSED_MEANING, at))
"""

KILLED = """
import os
from django.core.files.storage import FileSystemStorage
real, gone = FileSystemStorage.delete, []
def dies(self, name):
    if gone:
        os.kill(os.getpid(), 9)
    gone.append(name)
    real(self, name)
FileSystemStorage.delete = dies
remove_files()
"""

LEFT = """
import pathlib
there = [path for path in pathlib.Path(default_storage.location).rglob("*") if path.is_file()]
print(Disposal.objects.get().finished_at is None, len(there))
"""

NAMING = """
import pathlib, sys, time
from django.db import transaction
folder = pathlib.Path(sys.argv[1])
quality, other = Person.objects.get(username="quality"), factories.make_tool("AP-099")
with transaction.atomic():
    attach(thing=thing_of(other), title="x", name="x.txt", data=b"first", by=quality, at=now())
    (folder / "named").touch()
    while not (folder / "removing").exists():
        time.sleep(0.01)
"""

REMOVING = """
import pathlib, sys, time
folder = pathlib.Path(sys.argv[1])
while not (folder / "named").exists():
    time.sleep(0.01)
(folder / "removing").touch()
remove_files()
"""


@pytest.fixture
def run(db, tmp_path):
    with shop_of_its_own(tmp_path) as run:
        run("-c", SET_UP + DISPOSE + ACT)
        yield run


def lines(done):
    return done.stdout.strip().splitlines()


def test_worker_killed_between_two_files_is_finished_by_the_next(run):
    killed = run("-c", SET_UP + KILLED, check=False)
    assert killed.returncode == -9
    assert lines(run("-c", SET_UP + LEFT)) == ["True 2"]

    assert lines(run("manage.py", "finish_disposals")) == ["2 files taken away"]

    assert lines(run("-c", SET_UP + LEFT)) == ["False 0"]
    assert lines(run("manage.py", "finish_disposals")) == ["0 files taken away"]
    assert run("manage.py", "verify_ledger").returncode == 0


def test_file_that_is_named_again_meanwhile_stays(run, tmp_path):
    naming = run.start("-c", SET_UP + NAMING, str(tmp_path))
    removing = run.start("-c", SET_UP + REMOVING, str(tmp_path))
    assert (naming.wait(), removing.wait()) == (0, 0)

    said = run("-c", SET_UP + "from records.acts.attachments import attachment_bytes; print(attachment_bytes(Attachment.objects.last()))")

    assert lines(said) == ["b'first'"]
