"""Printed documents: what stands in the record stands on paper, on every page one knows what one holds, and nothing else slips in."""

import io
import re

import pikepdf
import pytest

from records.content import PART_NAMES
from records.documents_html import asset_root, document_html
from records.pdf import attached_json, render_pdf
from shop.canonical import canonical_json, sha256_hex
from tests.records.conftest import AT
from tests.records.outside import outside_program
from tests.records.sample_records import RECORDS, batch_record, first_article, frame, setup_sheet, trace_report

KINDS = tuple(RECORDS)


def printed(record, paper="A4"):
    document = frame(record, paper)
    return render_pdf(
        document_html(record["kind"], record, document),
        title=document["title"],
        attachment=canonical_json(record).encode(),
        attachment_description=f"The record of {document['number']} as canonical JSON",
        created_at=AT,
        asset_root=asset_root(),
    )


@pytest.fixture(scope="module")
def issued():
    """Each sample printed once."""
    return {kind: printed(make()) for kind, make in RECORDS.items()}


def pages_of(pdf, path):
    """The text of each page in reading order, white space folded."""
    path.write_bytes(pdf)
    told = outside_program("pdftotext", "-raw", path, "-").stdout
    return [" ".join(page.split()) for page in told.split("\f")[:-1]]


def texts_in(value):
    """Every text of a record that a reader has to find on paper, with the way to it."""
    if isinstance(value, dict):
        for key, inner in value.items():
            # A chart is a picture; which kind and version of record it is stands in the template chosen.
            if key not in {"svg", "kind", "version"}:
                yield from ((f"{key}.{way}", text) for way, text in texts_in(inner))
    elif isinstance(value, list):
        for position, inner in enumerate(value):
            yield from ((f"{position}.{way}", text) for way, text in texts_in(inner))
    elif value:
        yield "", value


@pytest.mark.parametrize("kind", KINDS)
def test_every_text_of_the_record_is_printed(issued, kind, tmp_path):
    paper = re.sub(r"\s", "", "".join(pages_of(issued[kind], tmp_path / "document.pdf")))
    missing = [(way, text) for way, text in texts_in(RECORDS[kind]()) if re.sub(r"\s", "", text) not in paper]
    assert missing == []


@pytest.mark.parametrize("kind", KINDS)
def test_attachment_is_the_records_canonical_json(issued, kind):
    record = RECORDS[kind]()
    assert attached_json(issued[kind]) == canonical_json(record).encode()
    assert sha256_hex(attached_json(issued[kind])) == frame(record)["sha256"]


@pytest.mark.parametrize("kind", KINDS)
def test_every_page_names_document_page_and_hash(issued, kind, tmp_path):
    document = frame(RECORDS[kind]())
    word = "revision" if kind == "setup sheet" else "issue"
    pages = pages_of(issued[kind], tmp_path / "document.pdf")
    assert len(pages) > 1
    for number, page in enumerate(pages, start=1):
        assert f"{document['number']} {word} {document['revision']} page {number} of {len(pages)}" in page
        assert document["sha256"] in page
        assert document["verify_url"] in page


@pytest.mark.parametrize("kind", KINDS)
def test_first_page_shows_the_six_parts_in_their_order(issued, kind, tmp_path):
    first = pages_of(issued[kind], tmp_path / "document.pdf")[0]
    states = {part["part"]: part["state"] for part in RECORDS[kind]()["parts"]}
    found = [first.index(f"{name} {states[name]}") for name in PART_NAMES]
    assert found == sorted(found)


@pytest.mark.parametrize("kind", KINDS)
def test_cautions_are_printed(issued, kind, tmp_path):
    paper = " ".join(pages_of(issued[kind], tmp_path / "document.pdf")).lower()
    assert "application specification, the customer's requirement, local electrical codes and licensed practice" in paper
    assert re.search(r"destroyed in a test are never shipped", paper)


def test_setup_sheet_warns_at_the_press(issued, tmp_path):
    first = pages_of(issued["setup sheet"], tmp_path / "document.pdf")[0]
    assert "lock out and tag out the press" in first
    assert "every guard closed" in first
    assert "A passed pull test alone does not prove a good crimp" in first


@pytest.mark.parametrize("kind", KINDS)
def test_document_speaks_to_those_who_listen(issued, kind):
    with pikepdf.open(io.BytesIO(issued[kind])) as pdf:
        bookmarks = [str(item.title) for item in pdf.open_outline().root[0].children]
        assert "Signatures" in bookmarks
        elements = [e for e in pdf.objects if isinstance(e, pikepdf.Dictionary) and e.get("/Type") == "/StructElem"]
        for figure in (e for e in elements if e.S == "/Figure"):
            assert str(figure.get("/Alt", "")), "a picture without words"
        cells = [e for e in elements if e.S == "/TD" and "/A" in e and "/Headers" in e.A]
        assert cells


@pytest.mark.parametrize("kind", KINDS)
def test_only_our_typeface_is_used_and_embedded(issued, kind, tmp_path):
    path = tmp_path / "document.pdf"
    path.write_bytes(issued[kind])
    rows = outside_program("pdffonts", path).stdout.splitlines()[2:]
    assert rows
    for row in rows:
        assert re.match(r"[A-Z]{6}\+Proof-(Text|Symbols)", row), row
        assert re.search(r"\s+yes\s+yes\s+yes\s+\d+\s+\d+$", row), row


@pytest.mark.parametrize(
    ("kind", "paper", "points"),
    [
        ("setup sheet", "A4", (595, 842)),
        ("setup sheet", "Letter", (612, 792)),
        ("trace report", "A4", (842, 595)),
        ("trace report", "Letter", (792, 612)),
    ],
)
def test_paper_is_what_the_shop_uses(kind, paper, points):
    with pikepdf.open(io.BytesIO(printed(RECORDS[kind](), paper))) as pdf:
        assert {tuple(round(float(n)) for n in page.mediabox[2:]) for page in pdf.pages} == {points}


def test_table_head_stands_on_every_page_of_a_long_table(tmp_path):
    record = batch_record()
    record["samples"] *= 6
    pages = pages_of(printed(record), tmp_path / "document.pdf")
    with_readings = [page for page in pages if re.search(r"1\.35 to 1\.45 (conforms|does not conform)", page)]
    assert len(with_readings) > 3
    assert all("Characteristic Piece Value Unit Limits Outcome" in page for page in with_readings)


def test_rejected_value_and_its_hold_are_told_in_words(issued, tmp_path):
    paper = " ".join(pages_of(issued["batch record"], tmp_path / "document.pdf"))
    assert "1.462 mm 1.35 to 1.45 does not conform" in paper
    assert "rejected Jonas Birk, 2026-03-02 09:19 CET: cut-off tab and burr within limit (burr 0.3 mm, photo 2)" in paper
    assert "resume with a new first piece" in paper


def test_open_hold_and_missing_counts_are_said_to_be_open(tmp_path):
    record = batch_record()
    record["holds"][0] |= {"decision": "", "decision_reason": "", "decided_by": "", "decided_at": ""}
    record["counts"] |= {"made": "", "good": "", "scrap": "", "destroyed": "", "held": ""}
    record["signatures"] = []
    paper = " ".join(pages_of(printed(record), tmp_path / "document.pdf"))
    assert "Ines Quandt" not in paper.split("Holds", 1)[1].split("Governing documents")[0]
    assert "251 to 500 (250 pieces) Jonas Birk 2026-03-02 09:19 CET open" in paper
    assert "800 – = – + – + – + –" in paper
    assert "Nobody has signed yet." in paper


def test_one_sided_limits_are_worded(tmp_path):
    record = batch_record()
    reading = record["samples"][1]["readings"][0]
    record["samples"][1]["readings"] = [reading | {"low": "", "high": "1.45"}, reading | {"low": "", "high": ""}]
    paper = " ".join(pages_of(printed(record), tmp_path / "document.pdf"))
    assert "1.404 mm at most 1.45 conforms" in paper
    assert "1.404 mm – conforms" in paper


def test_lot_that_was_not_shipped_says_so(tmp_path):
    record = trace_report() | {"shipments": []}
    assert "Shipment not shipped yet" in pages_of(printed(record), tmp_path / "document.pdf")[0]


def test_text_of_a_record_never_becomes_markup(tmp_path):
    record = setup_sheet()
    hostile = '<b>bold</b> & <img src="https://example.org/x.png">'
    record["change_reason"] = hostile
    record["shop"] = record["shop"] | {"address": hostile}
    assert hostile in " ".join(pages_of(printed(record), tmp_path / "document.pdf"))


def test_record_is_not_printed_as_another_kind():
    record = first_article()
    with pytest.raises(ValueError, match="cannot be printed"):
        document_html("batch record", record, frame(record))
    with pytest.raises(KeyError):
        document_html("binder", record, frame(record))


def test_evidence_that_fills_pages_is_not_cut_off(tmp_path):
    record = trace_report()
    record["parts"][1]["evidence"] = [f"wire lot WL-{number}" for number in range(7000, 7090)]
    paper = " ".join(pages_of(printed(record), tmp_path / "document.pdf"))
    assert [number for number in range(7000, 7090) if f"wire lot WL-{number}" not in paper] == []


def left_edges_mm(pdf, path):
    """Where the shop's name begins in the header of each page, in mm from the left edge of the paper."""
    path.write_bytes(pdf)
    told = outside_program("pdftotext", "-bbox", path, "-").stdout
    pages = told.split("<page ")[1:]
    return [round(float(re.search(r'<word xMin="([0-9.]+)"', page)[1]) / 72 * 25.4) for page in pages]


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_setup_sheet_is_bound_on_the_inner_side_of_both_pages(paper, tmp_path):
    record = setup_sheet()
    record["terminations"] *= 2
    edges = left_edges_mm(printed(record, paper), tmp_path / "sheet.pdf")
    assert edges[:3] == [24, 13, 24]


def test_other_documents_have_the_same_margin_on_every_page(issued, tmp_path):
    assert set(left_edges_mm(issued["batch record"], tmp_path / "record.pdf")) == {20}
