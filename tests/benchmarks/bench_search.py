"""Searches over a shop with very many batches, against the bare look into the index of words.

By hand:  DATA_DIR=EMPTY_FOLDER .venv/bin/python -m tests.benchmarks.bench_search [batches]
The table of things that can be found is filled as the program fills it, without the things themselves: use an empty database. An answer
is all kinds sorted and ranked, without the page around it; the bare query asks the index for the newest fifty with the same words. Ratios
travel between machines, milliseconds do not.
"""

from __future__ import annotations

import os
import statistics
import sys
import time
from collections.abc import Callable, Iterator
from typing import Any

import django

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "shop.settings")

REPEATED = 9
QUESTIONS = (
    ("one batch, as printed", "J-0042-S1-B07"),
    ("one batch, loosely", "j 42 s1 b 7"),
    ("beginning of a number", "J-00"),
    ("what every batch has", "lead end"),
    ("a terminal in a tenth of all", "t-250-3"),
    ("common and rare together", "lead 4217"),
    ("last word going on", "pump harn"),
    ("nothing", "zzyzx 77"),
)


def entries(batches: int) -> Iterator[Any]:
    """As `search_index.entry_of` makes them: batches in jobs of fifty, lots, and some of the catalogue."""
    from records.models import SearchEntry  # noqa: PLC0415  # after django.setup()
    from records.search_index import FEW, kind_lexeme  # noqa: PLC0415
    from records.search_kinds import KINDS  # noqa: PLC0415
    from records.search_words import compact, lexemes, spelled  # noqa: PLC0415

    def entry(slug: str, pk: int, name: str, note: str) -> SearchEntry:
        kind = KINDS[slug]
        own = [kind_lexeme(kind)] if kind.many else [kind_lexeme(kind), FEW]
        words = " ".join([*own, *lexemes([name, note])])
        return SearchEntry(kind=slug, subject_id=pk, name=name, note=note, compact=compact(name), spelled=spelled(name), words=words)

    for n in range(batches):
        job = n // 50
        yield entry("batch", n, f"J-{job:04d}-S1-B{n % 50:02d}", f"lead L{n % 40}, end {'AB'[n % 2]}, T-250-{n % 10}")
        if n % 50 == 0:
            yield entry("job", job, f"J-{job:04d}", f"H-{job % 300} Pump harness, Brunnen Pumps")
            yield entry("lot", job, f"J-{job:04d}-L1", f"100 harnesses, job J-{job:04d}")
            yield entry("shipment", job, f"SH-{job:06d}", "Brunnen Pumps, DN-77")
    for n in range(2000):
        yield entry("tools", n, f"AP-{n:03d}", "applicator, side feed")
        yield entry("wires", n, f"W-{n:04d}-RD", "pump wire, red, 24x0.2")


def timed(ask: Callable[[], object]) -> float:
    """Median of several runs, in milliseconds."""
    ask()
    taken = []
    for _ in range(REPEATED):
        begin = time.perf_counter()
        ask()
        taken.append((time.perf_counter() - begin) * 1000)
    return statistics.median(taken)


def main() -> None:
    django.setup()
    from django.core.management import call_command  # noqa: PLC0415
    from django.db import connection  # noqa: PLC0415

    from records.models import SearchEntry  # noqa: PLC0415
    from records.search import _matching, of_kind, overview  # noqa: PLC0415
    from records.search_index import kind_lexeme  # noqa: PLC0415
    from records.search_kinds import KINDS, ORDER  # noqa: PLC0415
    from records.search_words import asked_in  # noqa: PLC0415

    call_command("migrate", verbosity=0)
    if not SearchEntry.objects.exists():
        begin = time.perf_counter()
        SearchEntry.objects.bulk_create(entries(int(sys.argv[1]) if len(sys.argv) > 1 else 200_000), batch_size=2000)
        print(f"filled in {time.perf_counter() - begin:.0f} s")
        with connection.cursor() as cursor:
            cursor.execute("ANALYZE")
    batch = KINDS["batch"]
    print(f"{connection.vendor}, {SearchEntry.objects.count():,} things")
    print(f"{'question':32}{'bare ms':>10}{'all kinds':>12}{'ratio':>8}{'batches':>12}{'ratio':>8}")
    for name, text in QUESTIONS:
        asked = asked_in(text)
        bare = timed(lambda asked=asked: _matching(asked, kind_lexeme(batch), ["batch"], False, 50))
        every = timed(lambda text=text: overview(text, ORDER))
        one = timed(lambda text=text: of_kind(text, batch))
        print(f"{name:32}{bare:10.2f}{every:12.1f}{every / bare:8.1f}{one:12.1f}{one / bare:8.1f}")


if __name__ == "__main__":
    main()
