"""Certificates, status lists and audit trails on paper: everything printed, nothing cut, headings on every page, both paper sizes."""

from __future__ import annotations

import io
import re

import pikepdf
import pytest

from records.documents_html import asset_root, document_html
from records.pdf import attached_json, render_pdf
from shop.canonical import canonical_json
from tests.records.conftest import AT
from tests.records.outside import outside_program
from tests.records.sample_reports import LONG, REPORTS, audit_trail, calibration_status, certificate, disposal, nonconformance, report_frame
from tests.records.test_documents import pages_of, texts_in

KINDS = tuple(REPORTS)
LONG_ONES = {
    "certificate": lambda: certificate(lots=40, batches=120),
    "calibration status": lambda: calibration_status(90),
    "audit trail": lambda: audit_trail(120),
    "disposal": lambda: disposal(150),
    "nonconformance": lambda: nonconformance(90),
}
HEADS = {
    "certificate": "Batch, lot",
    "calibration status": "Days left",
    "audit trail": "What happened, and what changed",
    "disposal": "SHA-256 of the file",
    "nonconformance": "Who sees to it",
}
SIZES = {"A4": (595.28, 841.89), "Letter": (612.0, 792.0)}


def printed(record, paper="A4"):
    document = report_frame(record, paper)
    return render_pdf(
        document_html(record["kind"], record, document),
        title=document["title"],
        attachment=canonical_json(record).encode(),
        attachment_description="The record as canonical JSON",
        created_at=AT,
        asset_root=asset_root(),
    )


def missing_from(record, pages):
    paper = re.sub(r"\s", "", "".join(pages))
    return [(way, text) for way, text in texts_in(record) if re.sub(r"\s", "", text) not in paper]


@pytest.fixture(scope="module")
def long_ones():
    return {kind: printed(make()) for kind, make in LONG_ONES.items()}


@pytest.mark.parametrize("kind", KINDS)
def test_every_text_of_the_record_is_printed(kind, tmp_path):
    record = REPORTS[kind]()
    pdf = printed(record)

    # The outcome of a gauge is the shape beside the word that is printed.
    assert [one for one in missing_from(record, pages_of(pdf, tmp_path / "d.pdf")) if not one[0].endswith("outcome.")] == []
    assert attached_json(pdf) == canonical_json(record).encode()


@pytest.mark.parametrize("kind", KINDS)
def test_words_without_a_space_stay_on_the_paper(kind, tmp_path):
    """A text that cannot be broken between words is broken within, and nothing runs over the edge."""
    record = REPORTS[kind](word=LONG)
    path = tmp_path / "d.pdf"
    pages = pages_of(printed(record), path)

    assert [one for one in missing_from(record, pages) if LONG in one[1]] == []
    boxes = outside_program("pdftotext", "-bbox", path, "-").stdout
    width = float(re.search(r'<page width="([\d.]+)"', boxes)[1])
    right = max(float(x) for x in re.findall(r'xMax="([\d.]+)"', boxes))
    assert right <= width - 17 * 72 / 25.4 + 1


@pytest.mark.parametrize("kind", KINDS)
def test_long_table_repeats_its_heading_on_each_page(long_ones, kind, tmp_path):
    pages = pages_of(long_ones[kind], tmp_path / "d.pdf")
    rows = {
        "certificate": "J-2041-S1-B",
        "calibration status": "MIC-",
        "audit trail": "crimp height nominal",
        "disposal": "BR-J-2041",
        "nonconformance": "Blow out",
    }[kind]
    with_rows = [page for page in pages if rows in page]

    assert len(with_rows) > 3
    assert all(HEADS[kind] in page for page in with_rows)


@pytest.mark.parametrize("kind", KINDS)
def test_rows_are_never_split_between_pages(long_ones, kind, tmp_path):
    """The first and the last line of a row stand on one page."""
    pages = pages_of(long_ones[kind], tmp_path / "d.pdf")
    first, last = {
        "certificate": (r"J-2041-S1-B\d+", r"CS-104-07 rev 1"),
        "calibration status": (r"MIC-\d+ blade", r"Ridge Calibration"),
        "audit trail": (r"Changed in the catalogue", r"after the study of March"),
        "disposal": (r"BR-J-2041-S1-B\d+", r"issued document"),
        "nonconformance": (r"Blow out", r"so that"),
    }[kind]
    counts = [(len(re.findall(first, page)), len(re.findall(last, page))) for page in pages]

    assert all(begun == ended for begun, ended in counts), counts


@pytest.mark.parametrize("kind", KINDS)
def test_headings_are_bookmarks_of_the_document(long_ones, kind):
    with pikepdf.open(io.BytesIO(long_ones[kind])) as pdf:
        (top,) = pdf.open_outline().root
        assert len(top.children) >= 2
        assert "Signed on this document" in [str(item.title) for item in top.children]


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("paper", SIZES)
def test_page_has_the_size_of_the_papers_name(kind, paper):
    with pikepdf.open(io.BytesIO(printed(REPORTS[kind](), paper))) as pdf:
        sizes = {tuple(round(float(x)) for x in page.mediabox[2:]) for page in pdf.pages}
    expected = tuple(round(x) for x in SIZES[paper])
    assert sizes == {expected[::-1] if kind == "calibration status" else expected}


@pytest.mark.parametrize("kind", KINDS)
def test_file_is_whole_for_another_reader(long_ones, kind, tmp_path):
    path = tmp_path / "d.pdf"
    path.write_bytes(long_ones[kind])

    assert "No syntax or stream encoding errors" in outside_program("qpdf", "--check", path).stdout
    assert re.search(r"Tagged:\s+yes", outside_program("pdfinfo", path).stdout)


def test_empty_lists_say_so(tmp_path):
    assert "There is no gauge to report on." in " ".join(pages_of(printed(calibration_status(0)), tmp_path / "a.pdf"))
    assert "Nothing happened to it in this time." in " ".join(pages_of(printed(audit_trail(0)), tmp_path / "b.pdf"))
    bare = nonconformance(0) | {name: [] for name in ("corrections", "causes", "proofs", "closings", "signatures")}
    said = " ".join(pages_of(printed(bare), tmp_path / "n.pdf"))
    assert all(
        word in said for word in ("Nothing is decided about the pieces.", "No cause is stated.", "No corrective action.", "None stated.")
    )
    without = certificate() | {"concessions": [], "materials": [], "documents": []}
    assert "nothing in this shipment was let through by a concession" in " ".join(pages_of(printed(without), tmp_path / "c.pdf"))
