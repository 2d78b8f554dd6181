"""Sealed documents to test with: made once, real bytes."""

from datetime import UTC, datetime

import pytest

from records.acts.lots import BUILT_MEANING, SHIPPED_MEANING, build_lot, ship
from records.certificates import create_shop_key
from records.demo.walk import Hand, run_batch
from records.pdf import render_pdf
from records.seal import seal_pdf
from records.shop_key import load_shop_key
from shop.canonical import canonical_json
from shop.clock import now
from tests import factories
from tests.remembered import remembered

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


@pytest.fixture
def hand(cast):
    return lambda name: Hand(getattr(cast, name), getattr(cast, name).badge, factories.PIN)


@pytest.fixture
@remembered
def batch(cast, catalogue, hand):
    sheet = factories.released(cast, catalogue)
    codes = ["AP-031", "TL-2001", "WL-1001", "MIC-01", "CAL-01", "PULL-01"]
    return run_batch(sheet.terminations.get(), codes, 100, hand("operator"), now)


@pytest.fixture
@remembered
def lot(cast, batch, hand):
    at = now()
    signing = hand("planner").sign(BUILT_MEANING, at)
    job = batch.termination.sheet.job
    return build_lot(number="HL-1", job=job, quantity=100, batches={batch.pk: 100}, by=cast.planner, at=at, signing=signing)


@pytest.fixture
@remembered
def shipment(cast, catalogue, lot, hand):
    at = now()
    signing = hand("quality").sign(SHIPPED_MEANING, at)
    return ship(number="SH-1", customer=catalogue.customer, lots={lot.pk: 60}, by=cast.quality, at=at, signing=signing)
