"""Appending to the ledger. There is one chain; its head row is the lock, so numbers have no gaps.

On PostgreSQL an entry is the last statement of its act's transaction and goes to the server with the commit, unless something is asked of
the database after it (shop.postgresql): the shorter the lock is held, the less do writers wait for each other.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, cast

from django.apps import AppConfig
from django.db import DEFAULT_DB_ALIAS, connection, connections

from records.chain import entry_hash
from records.models import Signature
from shop.canonical import canonical_json, content_sha256
from shop.events import Event
from shop.tablets import present_tablet

if TYPE_CHECKING:
    from shop.postgresql.base import DatabaseWrapper  # loads psycopg, which SQLite does without

HEAD_MISSING = "The head of the ledger is missing. Restore the database from a backup."

# Takes the lock, hashes, writes the entry and moves the head: nothing is waited for in between, and its statements are planned once for a
# connection, not once for an entry.
POSTGRES_FUNCTION = """
CREATE OR REPLACE FUNCTION append_to_ledger(
  its_kind varchar, its_version smallint, its_at timestamptz, its_author bigint, its_subject_kind varchar, its_subject_id bigint,
  its_subject_name varchar, its_text text, OUT its_number bigint, OUT before varchar, OUT own varchar
) LANGUAGE plpgsql AS $$
DECLARE
  unused text;
BEGIN
  SELECT count + 1, hash INTO its_number, before FROM records_ledgerhead WHERE id = 1 FOR UPDATE;
  IF NOT FOUND THEN RAISE no_data_found USING MESSAGE = '{missing}'; END IF;
  own := encode(sha256(decode(before, 'hex') || convert_to(its_number::text || E'\\n' || its_text, 'UTF8')), 'hex');
  INSERT INTO records_ledgerentry
    (number, kind, version, at, by_id, subject_kind, subject_id, subject_name, text, previous_hash, hash)
    VALUES (its_number, its_kind, its_version, its_at, its_author, its_subject_kind, its_subject_id, its_subject_name, its_text, before,
            own);
  UPDATE records_ledgerhead SET count = its_number, hash = own WHERE id = 1;
  unused := set_config('synchronous_commit', 'off', true);  -- an assignment costs less than PERFORM, which runs a query
END $$
"""
POSTGRES_APPEND = "SELECT its_number, before, own FROM append_to_ledger(%s, %s::smallint, %s, %s, %s, %s, %s, %s)"


def install_after_migrate(sender: AppConfig, using: str, **kwargs: Any) -> None:
    """(Re)create the function, as the guards of the append-only tables are. Nothing on SQLite."""
    if connections[using].vendor == "postgresql":
        with connections[using].cursor() as cursor:
            cursor.execute(POSTGRES_FUNCTION.replace("{missing}", HEAD_MISSING))


def entry_text(event: Event) -> str:
    """The canonical text of an event, which the chain covers."""
    signing, tablet = event.signing, present_tablet()
    # Beside what the act says, not in it: a signature covers the content, and where it was given is the door's to know, not the act's.
    place = {"tablet": {"name": tablet.name, "station": tablet.station.code}} if tablet is not None else {}
    return canonical_json(
        {
            **place,
            "kind": event.kind,
            "version": event.version,
            "at": event.at,
            "by": {"id": event.by.pk, "username": event.by.username, "name": event.by.name},
            "subject": {"kind": event.subject[0], "id": event.subject[1], "name": event.subject[2]},
            "content": event.content,
            "signature": signing
            and {
                "username": signing.person.username,
                "printed_name": signing.person.name,
                "meaning": signing.meaning,
                "at": signing.at,
                "how": signing.how,
                "content_sha256": content_sha256(event.content),
            },
        }
    )


class HeadMissing(RuntimeError):  # noqa: N818
    """The head row is gone: nothing can be appended until a backup is restored."""

    def __init__(self) -> None:
        super().__init__(HEAD_MISSING)


@dataclass(slots=True)
class Appended:
    """Where an event came to stand. On PostgreSQL this is known when the transaction is committed, or something was asked after it."""

    number: int = 0
    previous_hash: str = ""
    hash: str = ""


def append(event: Event) -> Appended:
    """Write `event` into the ledger, with its signature if it has one. Must run inside the act's transaction.

    Raises HeadMissing; on PostgreSQL, where the entry goes with the commit, this raises DatabaseError with the same sentence.
    """
    text = entry_text(event)
    appended = _append_at_commit(event, text) if connection.vendor == "postgresql" else _append_under_the_lock(event, text)
    if event.signing:
        subject_kind, subject_id, _name = event.subject
        Signature.objects.create(
            entry_id=appended.number,
            person=event.signing.person,
            printed_name=event.signing.person.name,
            meaning=event.signing.meaning,
            signed_at=event.signing.at,
            how=event.signing.how,
            content_sha256=content_sha256(event.content),
            subject_kind=subject_kind,
            subject_id=subject_id,
        )
    return appended


def _append_at_commit(event: Event, text: str) -> Appended:
    appended = Appended()

    def told(row: tuple[Any, ...]) -> None:
        appended.number, appended.previous_hash, appended.hash = row

    values = [event.kind, event.version, event.at, event.by.pk, *event.subject, text]
    wrapper = cast("DatabaseWrapper", connections[DEFAULT_DB_ALIAS])
    wrapper.at_commit(POSTGRES_APPEND, values, told)
    if event.signing:
        wrapper.say_now()  # the signature names the entry
    return appended


def _append_under_the_lock(event: Event, text: str) -> Appended:
    """On SQLite, whose transactions begin as the only writer: the head can be read and written without a word about locks."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT count, hash FROM records_ledgerhead WHERE id = 1")
        head = cursor.fetchone()
        if head is None:
            raise HeadMissing
        number, previous = head[0] + 1, head[1]
        own = entry_hash(previous, number, text)
        at = connection.ops.adapt_datetimefield_value(event.at)
        values = [number, event.kind, event.version, at, event.by.pk, *event.subject, text, previous, own]
        cursor.execute(
            "INSERT INTO records_ledgerentry"
            " (number, kind, version, at, by_id, subject_kind, subject_id, subject_name, text, previous_hash, hash)"
            " VALUES (%s, %s, %s, %s, %s, %s, %s, %s, %s, %s, %s)",
            values,
        )
        cursor.execute("UPDATE records_ledgerhead SET count = %s, hash = %s WHERE id = 1", [number, own])
    return Appended(number, previous, own)
