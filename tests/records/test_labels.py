"""Travellers and bag tags: what a person reads on them, and what a scanner of another make reads from their symbols."""

import io
import re

import pikepdf
import pytest
import zxingcpp
from django.urls import reverse
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image, ImageDraw

from records import labels
from records.data_matrix import data_matrix_svg
from records.gather.setup_sheet import setup_sheet_record
from records.labels import Symbol, bag_tags, bags_needed, travellers
from records.models import IssuedDocument, LedgerEntry
from shop.planning import sheet_checks
from tests import factories
from tests.records.outside import outside_program


def text_of(pdf, path):
    path.write_bytes(pdf)
    told = outside_program("pdftotext", "-raw", path, "-").stdout
    return [" ".join(page.split()) for page in told.split("\f")[:-1]]


def scanned(pdf, path):
    """The texts of all symbols on the first page, as printed at 300 dots to the inch."""
    path.write_bytes(pdf)
    outside_program("pdftoppm", "-r", "300", "-f", "1", "-l", "1", "-png", path, path.with_suffix(""))
    picture = next(path.parent.glob(f"{path.stem}*.png"))
    return {(code.format.name, code.text) for code in zxingcpp.read_barcodes(Image.open(picture))}


@pytest.fixture
def sheet(cast, catalogue):
    return factories.released(cast, catalogue, terminations=2)


def get(client, name, sheet, **query):
    return client.get(reverse(f"prove:{name}", args=[sheet.pk]), query)


def test_traveller_says_what_the_press_needs(signed_in, cast, sheet, tmp_path):
    answer = get(signed_in(cast.operator), "travellers", sheet, symbol="qr", part="0")
    pages = text_of(answer.content, tmp_path / "t.pdf")
    assert len(pages) == 2
    for said in (sheet.job.number, f"{sheet.number} rev 1", "L1 A", "W-075-RD, 24x0.2, red", "length 450.00 mm", "T-250-F", "AP-031 C3 I2",
                 "1.40 mm", "1.35 to 1.45 mm", "3.80 to 4.40 mm", "85.0 N", "CS-250 rev 1", "Pieces 100"):  # fmt: skip
        assert said in pages[0], said
    assert "L2 A" in pages[1]
    assert "L2 A" not in pages[0]


@pytest.mark.parametrize(("symbol", "name"), [("qr", "QRCode"), ("data-matrix", "DataMatrix")])
def test_symbols_scan_to_the_text_printed_beside_them(signed_in, cast, sheet, tmp_path, symbol, name):
    client = signed_in(cast.planner)
    traveller = get(client, "travellers", sheet, symbol=symbol, part="0").content
    assert scanned(traveller, tmp_path / "t.pdf") == {(name, f"{sheet} L1/A")}
    tags = get(client, "bag-tags", sheet, symbol=symbol, per_bag="60").content
    codes = {f"{sheet} {lead} bag {bag}" for lead in ("L1", "L2") for bag in (1, 2)}
    assert scanned(tags, tmp_path / "b.pdf") == {(name, code) for code in codes}
    text = text_of(tags, tmp_path / "b.pdf")[0]
    assert all(said in text for said in ("60 pieces · bag 1 of 2", "40 pieces · bag 2 of 2", "A T-250-F"))


@pytest.mark.parametrize(("paper", "traveller", "tags"), [("A4", (298, 420), (595, 842)), ("Letter", (306, 396), (612, 792))])
def test_labels_come_on_the_shop_s_paper(signed_in, cast, sheet, settings, paper, traveller, tags):
    settings.PAPER = paper
    client = signed_in(cast.planner)

    def sizes(pdf):
        return {tuple(round(float(edge)) for edge in page.mediabox[2:]) for page in pikepdf.open(io.BytesIO(pdf)).pages}

    assert sizes(get(client, "travellers", sheet, symbol="qr", part="0").content) == {traveller}
    assert sizes(get(client, "bag-tags", sheet, symbol="qr").content) == {tags}


def test_labels_are_no_records(signed_in, cast, sheet):
    before = LedgerEntry.objects.count(), IssuedDocument.objects.count()
    answer = get(signed_in(cast.planner), "travellers", sheet, symbol="qr", part="0")
    assert (answer.status_code, answer["Content-Type"]) == (200, "application/pdf")
    assert (LedgerEntry.objects.count(), IssuedDocument.objects.count()) == before


@pytest.mark.parametrize("name", ["labels", "travellers", "bag-tags"])
def test_labels_of_a_sheet_that_is_not_released(signed_in, cast, catalogue, name):
    client = signed_in(cast.planner)
    draft = factories.draft(cast, catalogue)
    assert get(client, name, draft, symbol="qr", part="0").status_code == 422
    assert reverse("prove:labels", args=[draft.pk]) not in client.get(reverse("plan:sheet", args=[draft.pk])).content.decode()


def test_sheet_page_leads_to_the_labels(signed_in, cast, sheet):
    client = signed_in(cast.planner)
    address = reverse("prove:labels", args=[sheet.pk])
    assert address in client.get(reverse("plan:sheet", args=[sheet.pk])).content.decode()
    assert client.get(address).context["page"].travellers.fields["part"].choices == [("0", "1 to 2")]


def test_many_travellers_come_in_several_files(signed_in, cast, sheet, monkeypatch):
    monkeypatch.setattr("records.pages.labels.MOST_IN_A_FILE", 1)
    client = signed_in(cast.planner)
    assert get(client, "labels", sheet).context["page"].travellers.fields["part"].choices == [("0", "1 to 1"), ("1", "2 to 2")]
    second = get(client, "travellers", sheet, symbol="qr", part="1").content
    assert len(pikepdf.open(io.BytesIO(second)).pages) == 1
    assert get(client, "travellers", sheet, symbol="qr", part="7").status_code == 422


@pytest.mark.parametrize("query", [{"symbol": "stripes"}, {"symbol": "qr", "per_bag": "some"}, {"symbol": "qr", "per_bag": "-1"}])
def test_bag_tags_asked_for_wrongly(signed_in, cast, sheet, query):
    assert get(signed_in(cast.planner), "bag-tags", sheet, **query).status_code == 422


def test_more_tags_than_a_file_holds(signed_in, cast, sheet, monkeypatch):
    monkeypatch.setattr("records.pages.labels.MOST_TAGS", 3)
    answer = get(signed_in(cast.planner), "bag-tags", sheet, symbol="qr", per_bag="50")
    assert answer.context["page"].tags.errors["per_bag"] == ["That makes 4 tags; a file holds 3."]


@pytest.mark.parametrize(("per_bag", "quantities"), [(0, [100]), (100, [100]), (40, [40, 40, 20]), (99, [99, 1])])
def test_bags_hold_all_pieces_the_last_one_the_rest(cast, catalogue, per_bag, quantities):
    sheet = factories.released(cast, catalogue)
    terminations = list(sheet.terminations.all())
    tags = bag_tags(sheet, terminations, "metric", Symbol.QR, per_bag=per_bag)
    assert [tag.quantity for tag in tags] == quantities
    assert bags_needed(terminations, per_bag) == len(quantities)


def test_inch_reader_gets_inches(cast, sheet):
    made = travellers(sheet_checks(sheet, factories.today()), "inch", Symbol.QR)[0]
    assert (made.height, made.height_limits, made.pull) == ("0.0551 in", "0.0531 to 0.0571 in", "19.1 lbf")


@given(st.text(st.characters(min_codepoint=32, max_codepoint=126), min_size=1, max_size=80))
def test_data_matrix_scans_to_its_text(text):
    svg = data_matrix_svg(text, size_mm=20)
    assert scan_svg(svg) == text


def scan_svg(svg):
    """Read the bars of our own drawing back into a picture, four dots a module, and scan that."""
    side = int(re.search(r'viewBox="0 0 (\d+)', svg)[1])
    picture = Image.new("L", (side * 4 + 40, side * 4 + 40), 255)
    draw = ImageDraw.Draw(picture)
    for x, y, width in re.findall(r"M(\d+) (\d+)h(\d+)v1", svg):
        left, top = 20 + 4 * int(x), 20 + 4 * int(y)
        draw.rectangle((left, top, left + 4 * int(width) - 1, top + 3), fill=0)
    return zxingcpp.read_barcodes(picture)[0].text


@pytest.mark.parametrize(("text", "size_mm"), [("", 10), ("x" * 201, 10), ("x", 0)])
def test_data_matrix_refuses_what_no_scanner_reads(text, size_mm):
    with pytest.raises(ValueError, match=r"Data Matrix|size_mm"):
        data_matrix_svg(text, size_mm=size_mm)


def test_record_of_the_sheet_lists_its_set_ups(sheet):
    assert setup_sheet_record(sheet)["set_ups"] == [
        {
            "number": "1",
            "tool": "AP-031",
            "setting": "C3 I2",
            "press": "",
            "terminal": "T-250-F",
            "wires": "W-075-RD",
            "specification": "CS-250 rev 1",
            "leads": ["L1/A", "L2/A"],
            "quantity": "200",
        }
    ]


def test_both_papers_are_known():
    assert labels._QUARTER.keys() == labels._TAG_MM.keys() == {"A4", "Letter"}
