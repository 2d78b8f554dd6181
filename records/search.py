"""Answers a search: exact numbers first, then beginnings of numbers, then words, the newest first. Reads only.

Each question is a few looks into indexes, whatever the number of rows: nothing is counted past what is shown, and no row is read that
is not shown.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass

from django.db import connection, transaction

from records.search_index import FEW, kind_lexeme
from records.search_kinds import KINDS, SearchKind
from records.search_models import SearchEntry
from records.search_words import Asked, asked_in
from shop.long_lists import COUNTED

SHOWN = 5
"""How many things of a kind are shown where every kind is."""
FEW_READ = 3000
"""How many things of the kinds with few are sorted by kind."""
READ = 5000
"""How many matches are taken out of the index of words, however many there are."""
LAST = "\U0010ffff"
"""After every other character."""
SERIAL = "serial"


@dataclass(frozen=True, slots=True)
class Hit:
    """A thing that was found. how: "number", "beginning" or "words"; trace_url, trail_url: "" where it has none."""

    kind: SearchKind
    pk: int
    name: str
    note: str
    how: str

    @property
    def url(self) -> str:
        return self.kind.url(self.pk, self.name)

    @property
    def trace_url(self) -> str:
        return self.kind.trace_url(self.pk)

    @property
    def trail_url(self) -> str:
        return self.kind.trail_url(self.pk)


@dataclass(frozen=True, slots=True)
class Group:
    """The best hits of one kind. more: there are others."""

    kind: SearchKind
    hits: tuple[Hit, ...]
    more: bool


def overview(text: str, kinds: Sequence[SearchKind]) -> list[Group]:
    """The best of each kind that has something, kinds with an exact number first."""
    asked = asked_in(text)
    if asked.is_empty or not kinds:
        return []
    found: dict[str, dict[int, str]] = {kind.slug: {} for kind in kinds}
    _numbers(asked, kinds, found, SHOWN + 1)
    _words(asked, kinds, found, SHOWN + 1)
    hits = _hits(found)
    groups = [Group(kind, tuple(hits[kind.slug][:SHOWN]), len(hits[kind.slug]) > SHOWN) for kind in kinds if hits[kind.slug]]
    return sorted(groups, key=lambda group: group.hits[0].how != "number")


def of_kind(text: str, kind: SearchKind, limit: int = COUNTED + 1) -> list[Hit]:
    """The hits of one kind, at most `limit`."""
    asked = asked_in(text)
    if asked.is_empty:
        return []
    found: dict[str, dict[int, str]] = {kind.slug: {}}
    _numbers(asked, [kind], found, limit)
    _words(asked, [kind], found, limit)
    return _hits(found)[kind.slug]


def exactly(text: str, kinds: Sequence[SearchKind]) -> list[Hit]:
    """What carries exactly this number, written with its separators or without: a scanned label means one thing."""
    asked = asked_in(text)
    if asked.is_empty:
        return []
    slugs = [kind.slug for kind in kinds]
    rows = SearchEntry.objects.filter(kind__in=slugs, compact=asked.compact).order_by("-subject_id")[:50]
    also = SearchEntry.objects.filter(kind__in=slugs, alias=asked.compact).order_by("-subject_id")[:50]
    found: dict[str, dict[int, str]] = {slug: {} for slug in slugs}
    for row in [*rows, *also]:
        found[row.kind].setdefault(row.pk, "number")
    return [hit for hits in _hits(found).values() for hit in hits]


Found = dict[str, dict[int, str]]
"""Kind -> key of an entry -> how it was found, in the order of the ranks."""


def _hits(found: Found) -> dict[str, list[Hit]]:
    """The entries themselves, in one question. A serial number has a row for every lot it was in; the newest stands for the harness."""
    rows = SearchEntry.objects.in_bulk([pk for keys in found.values() for pk in keys])
    hits: dict[str, list[Hit]] = {}
    for slug, keys in found.items():
        listed = [Hit(KINDS[slug], rows[pk].subject_id, rows[pk].name, rows[pk].note, how) for pk, how in keys.items() if pk in rows]
        if slug == SERIAL:
            newest: dict[str, Hit] = {}
            for hit in listed:
                if hit.name not in newest or newest[hit.name].pk < hit.pk:
                    newest[hit.name] = hit
            listed = list(newest.values())
        hits[slug] = listed
    return hits


# ---- numbers


def _numbers(asked: Asked, kinds: Sequence[SearchKind], found: Found, limit: int) -> None:
    """Exact numbers, then numbers that begin so: ranges of two indexes, one statement for all kinds."""
    ask = "SELECT * FROM (SELECT kind, id, {rank} FROM records_searchentry WHERE kind = %s AND {where} LIMIT %s) AS part"
    equal = "{column} = %s ORDER BY subject_id DESC"
    # Byte by byte, as the indexes are sorted, whatever the language of the database.
    low, high = ("~>=~", "~<~") if connection.vendor == "postgresql" else (">=", "<")
    begins = f"{{column}} {low} %s AND {{column}} {high} %s ORDER BY {{column}}" + (
        " USING ~<~" if connection.vendor == "postgresql" else ""
    )
    parts: list[str] = []
    params: list[str | int] = []
    for kind in kinds:
        for column, value in (("compact", asked.compact), ("spelled", asked.spelled)):
            parts.append(ask.format(rank=0, where=equal.format(column=column)))
            params += [kind.slug, value, limit]
            parts.append(ask.format(rank=1, where=begins.format(column=column)))
            params += [kind.slug, value, value + LAST, limit]
    slugs = [kind.slug for kind in kinds]
    places = ", ".join(["%s"] * len(slugs))
    parts.append(f"SELECT * FROM (SELECT kind, id, 0 FROM records_searchentry WHERE alias = %s AND kind IN ({places}) LIMIT %s) AS part")  # noqa: S608
    params += [asked.compact, *slugs, limit]
    with connection.cursor() as cursor:
        cursor.execute(" UNION ALL ".join(parts), params)
        rows = cursor.fetchall()
    for wanted, how in ((0, "number"), (1, "beginning")):
        for slug, pk, rank in rows:
            if rank == wanted and len(found[slug]) < limit:
                found[slug].setdefault(pk, how)


# ---- words


def _words(asked: Asked, kinds: Sequence[SearchKind], found: Found, limit: int) -> None:
    """What has all the words, the newest first; then what has them with the last one going on."""
    few = [kind for kind in kinds if not kind.many]
    together = few if len(few) > 1 else []
    with _by_the_index():
        for going_on in (False, True):
            if going_on and not asked.last:
                return
            if together:
                _keep(found, limit, _matching(asked, FEW, [kind.slug for kind in together], going_on, FEW_READ))
            for kind in kinds:
                if kind not in together and len(found[kind.slug]) < limit:
                    _keep(found, limit, _matching(asked, kind_lexeme(kind), [kind.slug], going_on, limit))


def _keep(found: Found, limit: int, rows: Sequence[tuple[str, int]]) -> None:
    for slug, pk in rows:
        if len(found[slug]) < limit:
            found[slug].setdefault(pk, "words")


@contextmanager
def _by_the_index() -> Iterator[None]:
    """PostgreSQL takes runs of one number for independent, so it expects few matches where there are many and many where there are few, and
    would rather read the table from its end. A million rows read so take seconds; the index of words takes a tenth of one at worst."""
    if connection.vendor != "postgresql":
        yield
        return
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute("SET LOCAL enable_seqscan = off")
        cursor.execute("SET LOCAL enable_indexscan = off")
        yield
        cursor.execute("SET LOCAL enable_seqscan = on")
        cursor.execute("SET LOCAL enable_indexscan = on")


def _matching(asked: Asked, group: str, slugs: Sequence[str], going_on: bool, limit: int) -> list[tuple[str, int]]:
    """Entries of these kinds by the index of words, the newest of the first few thousand that it gives.

    The texts put into the question are runs of letters and digits, quoted nevertheless.
    """
    rest = asked.whole[:-1] if going_on else asked.whole
    places = ", ".join(["%s"] * len(slugs))
    if connection.vendor == "postgresql":
        parts = [f"'{word}'" for word in (group, *rest)] + ([f"'{asked.last}':*"] if going_on else [])
        question = f"({' & '.join(parts)}) | ('{group}' & '{asked.compact}'{':*' if going_on else ''})"
        sql = (
            "WITH matching AS MATERIALIZED (SELECT kind, id FROM records_searchentry "  # noqa: S608
            f"WHERE array_to_tsvector(string_to_array(words, ' ')) @@ %s::tsquery LIMIT {READ}) "
            f"SELECT kind, id FROM matching WHERE kind IN ({places}) ORDER BY id DESC LIMIT %s"
        )
    else:
        parts = [f'"{word}"' for word in (group, *rest)] + ([f'"{asked.last}" *'] if going_on else [])
        question = f'({" AND ".join(parts)}) OR ("{group}" AND "{asked.compact}"{" *" if going_on else ""})'
        # Asked for alone, the index gives the newest first without sorting; the kinds are in its question already.
        sql = (
            "SELECT e.kind, e.id FROM (SELECT rowid FROM records_searchword WHERE records_searchword MATCH %s "  # noqa: S608
            f"ORDER BY rowid DESC LIMIT {READ}) w JOIN records_searchentry e ON e.id = w.rowid WHERE e.kind IN ({places}) "
            "ORDER BY e.id DESC LIMIT %s"
        )
    with connection.cursor() as cursor:
        cursor.execute(sql, [question, *slugs, limit])
        return [(str(slug), int(pk)) for slug, pk in cursor.fetchall()]
