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
        asked("SELECT 1")
        place = asked("SELECT pg_current_wal_insert_lsn()")
        publish(JobOpened(by=me, at=now(), subject=("job", n, "J"), content={"n": n}))
        if n % 2:  # written before the commit, as something is asked after it
            assert asked("SHOW synchronous_commit") == "off"
            place = asked("SELECT pg_current_wal_insert_lsn()")
    assert asked(f"SELECT pg_current_wal_flush_lsn() > '{place}'"), n
    assert asked("SHOW synchronous_commit") == "on"
"""

LATE = """
import django; django.setup()
from django.db import connection, transaction
from django.test.utils import CaptureQueriesContext
from records.models import LedgerEntry, LedgerHead
from shop.clock import now
from shop.events import JobOpened, publish
from shop.people import Person
me = Person.system()
class Undone(Exception): pass
def write(name):
    publish(JobOpened(by=me, at=now(), subject=("job", 1, name), content={}))
def names():
    return list(LedgerEntry.objects.order_by("number").values_list("subject_name", flat=True))

with transaction.atomic():
    write("first of the day")  # which asks for a checkpoint
with CaptureQueriesContext(connection) as asked, transaction.atomic():
    write("alone")
assert names() == ["first of the day", "alone"]
if connection.vendor == "postgresql":  # nothing but BEGIN and the commit, which carries the entry
    assert [q["sql"] for q in asked.captured_queries] in (["BEGIN", "COMMIT"], ["COMMIT"]), asked.captured_queries

with transaction.atomic():
    write("first")
    write("second")
assert names()[1:] == ["alone", "first", "second"]

with transaction.atomic():
    write("seen")
    assert names()[-1] == "seen" and LedgerHead.objects.get().count == 5
    write("after it")

with transaction.atomic():
    write("outside")
    try:
        with transaction.atomic():
            write("inside, undone")
            raise Undone
    except Undone:
        pass
    with transaction.atomic():
        write("inside")
assert names()[5:] == ["after it", "outside", "inside"]

try:
    with transaction.atomic():
        write("undone")
        raise Undone
except Undone:
    pass
with transaction.atomic():
    list(Person.objects.all())  # nothing is left of what was undone
with transaction.atomic():
    for n in range(120):
        write(f"many {n}")
assert names()[8:] == [f"many {n}" for n in range(120)]
assert [e.number for e in LedgerEntry.objects.order_by("number")] == list(range(1, 129))
"""

BEHEAD = """
import django; django.setup()
from django.db import connection, transaction
from shop.clock import now
from shop.events import JobOpened, publish
from shop.people import Person
me = Person.system()
with connection.cursor() as cursor:
    cursor.execute("DELETE FROM records_ledgerhead")
try:
    with transaction.atomic():
        Person.objects.filter(pk=me.pk).update(name="Not to be")
        publish(JobOpened(by=me, at=now(), subject=("job", 1, "J"), content={}))
except Exception as error:
    assert "The head of the ledger is missing. Restore the database from a backup." in str(error), error
else:
    raise SystemExit("an act happened without evidence")
assert not Person.objects.filter(name="Not to be").exists()
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


def test_entry_goes_with_the_commit_and_whatever_is_asked_before_finds_it(own_shop):
    own_shop("-c", LATE)
    assert json.loads(own_shop("manage.py", "verify_ledger", "--json").stdout)["whole"]


def test_act_whose_entry_cannot_be_written_at_the_commit_did_not_happen(own_shop):
    own_shop("-c", BEHEAD)


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
