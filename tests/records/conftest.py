"""Sealed documents to test with: made once, real bytes."""

from datetime import UTC, datetime

import pytest

from records.pdf import render_pdf
from records.seal import seal_pdf
from records.shop_key import create_shop_key, load_shop_key
from shop.canonical import canonical_json

AT = datetime(2026, 3, 2, 10, 15, tzinfo=UTC)
RECORD = canonical_json({"number": "BR-0007", "height_mm": "1.40", "operator": "Ada Søreth"}).encode()
HTML = """<!doctype html><html lang="en"><head><title>Batch record</title>
<style>@page { size: A4; @bottom-left { content: "BR-0007" } }</style></head>
<body><h1>Batch record BR-0007</h1><p>Crimp height 1.40 mm, measured by Ada Søreth.</p>
<table><thead><tr><th scope="col">Piece</th><th scope="col">mm</th></tr></thead><tbody><tr><td>1</td><td>1.40</td></tr></tbody></table>
<p><a href="https://records.example/BR-0007">Open the record</a></p>
<svg width="20" height="20" role="img"><title>Limit bar</title><rect width="9" height="9"/></svg>
</body></html>"""


def draw(html=HTML, **changed):
    arguments = {
        "title": "Batch record BR-0007",
        "attachment": RECORD,
        "attachment_description": "The record as canonical JSON",
        "created_at": AT,
        "asset_root": None,
    }
    return render_pdf(html, **(arguments | changed))


@pytest.fixture(scope="session")
def drawn_pdf():
    return draw()


@pytest.fixture(scope="session")
def key_directory(tmp_path_factory):
    directory = tmp_path_factory.mktemp("keys")
    create_shop_key(directory, shop_name="Alder Harness Works", at=AT)
    return directory


@pytest.fixture(scope="session")
def sealing_key(key_directory):
    return load_shop_key(key_directory)


@pytest.fixture(scope="session")
def foreign_key(tmp_path_factory):
    return create_shop_key(tmp_path_factory.mktemp("foreign"), shop_name="Alder Harness Works", at=AT)


@pytest.fixture(scope="session")
def sealed_pdf(drawn_pdf, sealing_key):
    return seal_pdf(drawn_pdf, key=sealing_key, at=AT, reason="Batch record issued", location="Hall 2", name="Alder Harness Works")
