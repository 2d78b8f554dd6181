"""Drawing a long batch record, against WeasyPrint drawing the same rows as one plain table.

By hand:  DATA_DIR=EMPTY_FOLDER .venv/bin/python -m tests.benchmarks.bench_documents [samples]
The baseline has the same number of rows and columns and the same texts, without style, tags or attachment: what the drawing itself costs.
Both run in this process, one after the other. Ratios travel between machines, seconds do not.
"""

from __future__ import annotations

import io
import os
import sys
import time
from datetime import UTC, datetime
from html import escape
from typing import Any

import django

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "shop.settings")

HEADS = ("Characteristic", "Piece", "Value", "Unit", "Limits", "Outcome", "Gauge", "Measured by, time")


def long_record(samples: int) -> dict[str, Any]:
    """A batch record with so many samples of 12 readings and one pull test each."""
    from tests.records.sample_records import batch_record  # noqa: PLC0415  # after django.setup()

    record = batch_record()
    first = record["samples"][0]
    reading, pull = first["readings"][0], first["pull_tests"][0]
    record["samples"] = [
        first
        | {
            "number": str(n),
            "at_count": str(n * 25),
            "readings": [reading | {"piece": str(piece), "value": f"1.{380 + (n * 7 + piece) % 40}"} for piece in range(1, 13)],
            "pull_tests": [pull | {"piece": "1"}],
        }
        for n in range(1, samples + 1)
    ]
    return record


def plain_table(record: dict[str, Any]) -> str:
    """The rows of `long_record` in one table whose columns are fixed, as ours are; nothing else is styled."""
    rows = []
    for sample in record["samples"]:
        for r in sample["readings"]:
            who = f"{r['by']}, {r['at']}"
            rows.append(
                (r["characteristic"], r["piece"], r["value"], r["unit"], f"{r['low']} to {r['high']}", r["outcome"], r["gauge"], who)
            )
        for p in sample["pull_tests"]:
            who = f"{p['by']}, {p['at']}"
            rows.append(("pull force", p["piece"], p["value"], p["unit"], f"at least {p['minimum']}", p["outcome"], p["gauge"], who))
    body = "".join("<tr>" + "".join(f"<td>{escape(cell)}</td>" for cell in row) + "</tr>" for row in rows)
    head = "".join(f"<th>{one}</th>" for one in HEADS)
    style = "<style>table { table-layout: fixed; width: 100%; font-size: 8.5pt }</style>"
    return (
        f"<!doctype html><html><head>{style}</head><body><table><thead><tr>{head}</tr></thead><tbody>{body}</tbody></table></body></html>"
    )


def timed(draw: Any) -> tuple[float, int]:
    """Seconds, and pages drawn."""
    import pikepdf  # noqa: PLC0415

    begin = time.perf_counter()
    pdf = draw()
    seconds = time.perf_counter() - begin
    with pikepdf.open(io.BytesIO(pdf)) as document:
        return seconds, len(document.pages)


def main(samples: int) -> None:
    django.setup()
    from weasyprint import HTML  # noqa: PLC0415

    from records.documents_html import asset_root, document_html  # noqa: PLC0415
    from records.pdf import render_pdf  # noqa: PLC0415
    from shop.canonical import canonical_json  # noqa: PLC0415
    from tests.records.sample_records import frame  # noqa: PLC0415

    record = long_record(samples)
    begin = time.perf_counter()
    html = document_html("batch record", record, frame(record))
    templating = time.perf_counter() - begin
    text = canonical_json(record).encode()
    ours, pages = timed(
        lambda: render_pdf(
            html,
            title="Batch record",
            attachment=text,
            attachment_description="The record as canonical JSON",
            created_at=datetime(2026, 3, 2, 10, 15, tzinfo=UTC),
            asset_root=asset_root(),
        )
    )
    plain = plain_table(record)
    bare, bare_pages = timed(lambda: bytes(HTML(string=plain).write_pdf()))
    print(f"{samples} samples, {samples * 13} rows")
    print(f"template            {templating:8.1f} s")
    minutes = (ours + templating) / pages * 200 / 60
    print(f"our document        {ours:8.1f} s, {pages} pages, {ours / pages:.3f} s a page, {minutes:.2f} min for 200")
    print(f"plain table         {bare:8.1f} s, {bare_pages} pages")
    print(f"ours / plain        {(ours + templating) / bare:8.2f}")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 120)
