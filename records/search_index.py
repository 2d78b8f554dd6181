"""Keeps the search's table in step with the things it finds.

A thing is written anew when its row is saved, in the same transaction; rows that came without a save (imports write in bulk) are written
by the event that says so. All of it can be made again at any time: `manage.py rebuild_search`. Searching reads only.

The words are looked up in an index of the database's own: a GIN index over lexemes on PostgreSQL, an FTS5 table on SQLite that triggers
keep beside the table. Both get the lexemes as `search_words` made them, so both databases find the same.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from typing import Any

from django.apps import AppConfig
from django.db import connections, transaction
from django.db.backends.base.base import BaseDatabaseWrapper
from django.db.models import Model, Q
from django.db.models.signals import post_save
from django.dispatch import receiver

from records.search_kinds import BY_MODEL, KINDS, ORDER, SearchKind
from records.search_models import SearchEntry
from records.search_words import compact, lexemes, spelled
from shop.events import CatalogueImported, Event, published

CHUNK = 1000
FEW = "few0kinds"
"""The lexeme of every thing of which there are not very many: they are looked for together."""

# Triggers, because a table beside the table knows nothing of it otherwise; "delete" is how FTS5 is told what an entry was.
SQLITE_TRIGGERS = {
    "searchentry_added": "AFTER INSERT ON records_searchentry BEGIN "
    "INSERT INTO records_searchword(rowid, words) VALUES (new.id, new.words); END",
    "searchentry_gone": "AFTER DELETE ON records_searchentry BEGIN "
    "INSERT INTO records_searchword(records_searchword, rowid, words) VALUES ('delete', old.id, old.words); END",
    "searchentry_changed": "AFTER UPDATE ON records_searchentry BEGIN "
    "INSERT INTO records_searchword(records_searchword, rowid, words) VALUES ('delete', old.id, old.words); "
    "INSERT INTO records_searchword(rowid, words) VALUES (new.id, new.words); END",
}


def kind_lexeme(kind: SearchKind) -> str:
    """By which the words' index knows the kind: no run of letters and digits is written so."""
    return f"kind0{compact(kind.slug)}"


def entry_of(kind: SearchKind, item: Any) -> SearchEntry:
    """The row that the search keeps of a thing."""
    said = kind.describe(item)
    number = kind.number(said.name)
    own = [kind_lexeme(kind)] if kind.many else [kind_lexeme(kind), FEW]
    words = [*own, *lexemes([said.name, said.alias, said.note, *said.words])]
    return SearchEntry(
        kind=kind.slug,
        subject_id=item.pk,
        name=said.name[:160],
        note=said.note[:240],
        compact=compact(number)[:160],
        spelled=spelled(number)[:160],
        alias=compact(said.alias)[:160],
        words=" ".join(words),
    )


def write(kind: SearchKind, items: Iterable[Any]) -> int:
    """Keep these things as they are now; how many there were."""
    entries = [entry_of(kind, item) for item in items]
    SearchEntry.objects.bulk_create(
        entries,
        update_conflicts=True,
        unique_fields=["kind", "subject_id"],
        update_fields=["name", "note", "compact", "spelled", "alias", "words"],
        batch_size=CHUNK,
    )
    return len(entries)


@receiver(post_save, dispatch_uid="search-index")
def _saved(sender: type[Model], instance: Model, update_fields: frozenset[str] | None = None, raw: bool = False, **kwargs: Any) -> None:
    kind = BY_MODEL.get(sender)
    if kind is None or raw or (update_fields is not None and kind.reads.isdisjoint(update_fields)):
        return  # the count of a running batch is saved all the time, and nobody searches it
    if kind.rows is not None and not kind.rows().filter(pk=instance.pk).exists():
        return
    write(kind, [instance])


@receiver(published, sender=CatalogueImported, dispatch_uid="search-index-import")
def _imported(sender: type[Event], event: CatalogueImported, **kwargs: Any) -> None:
    """An import writes its rows at once and says in its event which."""
    kind = KINDS.get(str(event.content["kind"]))
    if kind is None:
        return
    changed = [str(one["key"])[:160] for one in event.content["changes"]]
    for begin in range(0, len(changed), CHUNK):
        known = SearchEntry.objects.filter(kind=kind.slug, name__in=changed[begin : begin + CHUNK]).values_list("subject_id", flat=True)
        write(kind, kind.all_rows().filter(pk__in=list(known)))
    for _done in fill(kind):
        pass


def fill(kind: SearchKind, *, anew: bool = False) -> Iterator[int]:
    """Write what is missing, or everything, chunk by chunk, each in a transaction of its own; how many so far after each chunk.

    anew: rows that are gone from the shop go, too.
    """
    done, last = 0, 0
    if anew:
        gone = SearchEntry.objects.filter(kind=kind.slug).exclude(subject_id__in=kind.all_rows().order_by().values("pk"))
        gone.delete()
    known = SearchEntry.objects.filter(kind=kind.slug).values("subject_id")
    rows = kind.all_rows().order_by("pk")
    wanted = rows if anew else rows.exclude(pk__in=known)
    while True:
        with transaction.atomic():
            items = list(wanted.filter(Q(pk__gt=last))[:CHUNK])
            if not items:
                return
            write(kind, items)
        last, done = int(items[-1].pk), done + len(items)
        yield done


def rebuild(*, progress: Callable[[str, int], None] | None = None) -> dict[str, int]:
    """Make every row of the search anew. The search goes on answering meanwhile. How many there are of each kind."""
    counts = {}
    for kind in ORDER:
        counts[kind.slug] = 0
        for done in fill(kind, anew=True):
            counts[kind.slug] = done
            if progress is not None:
                progress(kind.slug, done)
    SearchEntry.objects.exclude(kind__in=KINDS).delete()
    return counts


# ---- the words' index


def install_triggers(connection: BaseDatabaseWrapper) -> None:
    """SQLite drops a table's triggers whenever Django rebuilds the table, so they are made anew after every migrate."""
    if connection.vendor != "sqlite":
        return
    with connection.cursor() as cursor:
        if "records_searchword" in connection.introspection.table_names(cursor):
            for name, body in SQLITE_TRIGGERS.items():
                cursor.execute(f"DROP TRIGGER IF EXISTS {name}")
                cursor.execute(f"CREATE TRIGGER {name} {body}")


def after_migrate(sender: AppConfig, using: str, **kwargs: Any) -> None:
    """Triggers, and the first filling of a kind that a shop had before it was searched for: chunk by chunk, by today's models."""
    connection = connections[using]
    with connection.cursor() as cursor:
        if SearchEntry._meta.db_table not in connection.introspection.table_names(cursor):
            return
    install_triggers(connection)
    for kind in ORDER:
        if not SearchEntry.objects.filter(kind=kind.slug).exists():
            for _done in fill(kind):
                pass
