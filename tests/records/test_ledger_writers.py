"""Four writers at once, each a process with a connection of its own; and a verification by several processes."""

from __future__ import annotations

import json

import pytest
from django.db import connection

from tests.records.throwaway import shop_of_its_own

EACH = 40
WRITERS = 4

WRITE = f"""
import django; django.setup()
from django.db import transaction
from records.models import LedgerHead
from shop.clock import now
from shop.events import JobOpened, publish
from shop.people import Person
me = Person.system()
class Undone(Exception): pass
for n in range({EACH}):
    try:
        with transaction.atomic():
            publish(JobOpened(by=me, at=now(), subject=("job", n, "J"), content={{"n": n}}))
            if n % 4 == 0:
                raise Undone  # an act that is refused after its event leaves no gap
    except Undone:
        pass
"""

FILL = """
import sys
import django; django.setup()
from django.db import transaction
from shop.clock import now
from shop.events import JobOpened, publish
from shop.people import Person
me = Person.system()
with transaction.atomic():
    for n in range(int(sys.argv[1])):
        publish(JobOpened(by=me, at=now(), subject=("job", n, "J"), content={"n": n}))
"""

# The log's place just before the commit, and how far the log is on the disk just after: the server's own log writer comes by too seldom.
COMMIT = """
import django; django.setup()
from django.db import connection, transaction
from shop.clock import now
from shop.events import JobOpened, publish
from shop.people import Person
me = Person.system()
def asked(question):
    with connection.cursor() as cursor:
        cursor.execute(question)
        return cursor.fetchone()[0]
for n in range(20):
    with transaction.atomic():
        publish(JobOpened(by=me, at=now(), subject=("job", n, "J"), content={"n": n}))
        assert asked("SHOW synchronous_commit") == "off"
        place = asked("SELECT pg_current_wal_insert_lsn()")
    assert asked(f"SELECT pg_current_wal_flush_lsn() > '{place}'"), n
    assert asked("SHOW synchronous_commit") == "on"
"""

SPOIL = """
import django; django.setup()
from django.db import connection
with connection.cursor() as cursor:
    if connection.vendor == "postgresql":
        cursor.execute("ALTER TABLE records_ledgerentry DISABLE TRIGGER USER")
    else:
        cursor.execute("DROP TRIGGER guard_records_ledgerentry_update")
    cursor.execute("UPDATE records_ledgerentry SET text = replace(text, '\\"n\\":17000', '\\"n\\":17001') WHERE number = 17001")
"""


@pytest.fixture
def own_shop(db, tmp_path):
    with shop_of_its_own(tmp_path) as run:
        yield run


def test_four_writers_leave_a_chain_without_a_gap(own_shop):
    own_shop("-c", "import django; django.setup(); from shop.people import Person; Person.system()")
    writers = [own_shop.start("-c", WRITE) for _ in range(WRITERS)]
    assert [writer.wait() for writer in writers] == [0] * WRITERS

    report = json.loads(own_shop("manage.py", "verify_ledger", "--json").stdout)

    assert (report["whole"], report["entries"]) == (True, WRITERS * EACH * 3 // 4)


@pytest.mark.skipif(connection.vendor != "postgresql", reason="on SQLite the commit itself waits for the disk")
def test_act_is_on_the_disk_before_anybody_is_told(own_shop):
    own_shop("-c", COMMIT)


def test_several_processes_verify_as_one_does(own_shop):
    own_shop("-c", FILL, "17500")  # two ranges

    one, two = (json.loads(own_shop("manage.py", "verify_ledger", "--json", "--workers", n).stdout) for n in ("1", "2"))
    assert one == two
    assert (two["whole"], two["entries"]) == (True, 17500)

    own_shop("-c", SPOIL)
    for workers in ("1", "2"):
        answer = own_shop("manage.py", "verify_ledger", "--json", "--workers", workers, check=False)
        assert answer.returncode == 1, answer.stderr
        told = json.loads(answer.stdout)
        assert (told["first_bad"], told["tampering"]) == (17001, "changed")
