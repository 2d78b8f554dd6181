"""Documents as an archive reader sees them: PDF/A-3a structure, embedded fonts, the record inside, nothing fetched."""

import ctypes
import io
import re
from datetime import datetime

import pikepdf
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

import records.pdf
from records.pdf import AttachmentMissing, FetchRefused, PangoMissing, attached_json, render_pdf, require_pango
from records.qr import qr_svg
from tests.records.conftest import AT, HTML, RECORD, draw
from tests.records.outside import outside_program


@pytest.fixture
def opened(drawn_pdf):
    with pikepdf.open(io.BytesIO(drawn_pdf)) as pdf:
        yield pdf


def test_document_names_itself_pdf_a_3a(opened):
    assert opened.pdf_version == "1.7"
    with opened.open_metadata() as xmp:
        assert (xmp["pdfaid:part"], xmp["pdfaid:conformance"]) == ("3", "A")
        assert xmp["dc:title"] == "Batch record BR-0007"


def test_document_is_tagged_with_language_and_shown_title(opened):
    root = opened.Root
    assert root.MarkInfo.Marked is True
    assert root.StructTreeRoot.K[0].S == "/Document"
    assert root.Lang == "en"
    assert root.ViewerPreferences.DisplayDocTitle is True
    assert opened.docinfo.Title == "Batch record BR-0007"


def test_document_carries_an_output_intent_with_its_profile(opened):
    (intent,) = opened.Root.OutputIntents
    assert intent.S == "/GTS_PDFA1"
    assert len(intent.DestOutputProfile.read_bytes()) > 1000


def test_dates_agree_between_information_and_xmp(opened):
    assert opened.docinfo.CreationDate == opened.docinfo.ModDate == "D:20260302101500+00'00'"
    with opened.open_metadata() as xmp:
        assert xmp["xmp:CreateDate"] == xmp["xmp:ModifyDate"] == "2026-03-02T10:15:00+00:00"


def test_attachment_is_one_associated_file_with_all_entries(opened):
    (spec,) = opened.Root.AF
    assert spec.AFRelationship == "/Data"
    assert (spec.F, spec.UF, spec.Desc) == ("record.json", "record.json", "The record as canonical JSON")
    assert spec.EF.F.objgen == spec.EF.UF.objgen
    assert spec.EF.F.Subtype == "/application/json"
    assert spec.EF.F.Params.Size == len(RECORD)
    assert spec.EF.F.Params.ModDate == "D:20260302101500+00'00'"
    assert list(opened.attachments) == ["record.json"]


def test_attachment_comes_back_unchanged(drawn_pdf, sealed_pdf):
    assert attached_json(drawn_pdf) == RECORD
    assert attached_json(sealed_pdf) == RECORD


@settings(max_examples=10, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.binary(max_size=400))
def test_any_attachment_comes_back_unchanged(content):
    assert attached_json(draw("<html lang=en><title>t</title><body><p>x", attachment=content)) == content


def test_same_arguments_give_the_same_bytes(drawn_pdf):
    assert draw() == drawn_pdf


def test_document_id_follows_the_content(drawn_pdf):
    def identity(pdf):
        with pikepdf.open(io.BytesIO(pdf)) as document:
            return bytes(document.trailer.ID[0]), bytes(document.trailer.ID[1])

    assert identity(draw(attachment=b"{}"))[1] != identity(drawn_pdf)[1]


def test_figure_and_table_heads_are_told_to_those_who_listen(opened):
    kinds = {}
    for element in opened.objects:
        if isinstance(element, pikepdf.Dictionary) and element.get("/Type") == "/StructElem":
            kinds.setdefault(str(element.S), []).append(element)
    assert [str(figure.Alt) for figure in kinds["/Figure"]] == ["Limit bar"]
    assert len(kinds["/TH"]) == 2
    assert {"/H1", "/P", "/Table", "/Link"} <= kinds.keys()


def test_no_encryption_script_or_outside_stream(opened):
    assert not opened.is_encrypted
    forbidden = {"/JavaScript", "/Launch", "/Movie", "/Sound"}
    for element in opened.objects:
        if isinstance(element, pikepdf.Dictionary):
            assert element.get("/S") not in forbidden
            assert "/JS" not in element


def test_qpdf_finds_no_error(sealed_pdf, tmp_path):
    path = tmp_path / "record.pdf"
    path.write_bytes(sealed_pdf)
    done = outside_program("qpdf", "--check", path)
    assert done.returncode == 0, done.stdout + done.stderr
    assert "No syntax or stream encoding errors" in done.stdout


def test_every_font_is_embedded(sealed_pdf, tmp_path):
    path = tmp_path / "record.pdf"
    path.write_bytes(sealed_pdf)
    rows = outside_program("pdffonts", path).stdout.splitlines()[2:]
    embedded = [re.search(r"\s(yes|no)\s+(yes|no)\s+(yes|no)\s+\d+\s+\d+$", row).groups() for row in rows]
    assert rows
    assert set(embedded) == {("yes", "yes", "yes")}, rows  # embedded, subset, with Unicode map


@pytest.mark.parametrize(
    "address", ["http://127.0.0.1:1/x.png", "https://example.org/x.png", "ftp://127.0.0.1/x.png", "file:///etc/hostname"]
)
def test_document_that_asks_for_something_outside_is_refused(address):
    with pytest.raises(FetchRefused):
        draw(f'<html lang="en"><title>t</title><body><img alt="x" src="{address}">')


def test_assets_under_the_root_are_drawn_and_nothing_beside_it(tmp_path):
    root = tmp_path / "static"
    root.mkdir()
    picture = '<svg xmlns="http://www.w3.org/2000/svg" width="9" height="9"><rect width="9" height="9"/></svg>'
    (root / "inside.svg").write_text(picture)
    (tmp_path / "beside.svg").write_text(picture)
    (root / "link.svg").symlink_to(tmp_path / "beside.svg")
    page = '<html lang="en"><title>t</title><body><img alt="picture" src="{}">'

    assert draw(page.format("inside.svg"), asset_root=root).startswith(b"%PDF-1.7")
    for outside in ("../beside.svg", "link.svg", "%2e%2e/beside.svg", (tmp_path / "beside.svg").as_uri()):
        with pytest.raises(FetchRefused):
            draw(page.format(outside), asset_root=root)


def test_stylesheet_from_outside_is_refused():
    with pytest.raises(FetchRefused):
        draw('<html lang="en"><link rel="stylesheet" href="https://example.org/a.css"><title>t</title><body>x')


def test_naive_time_is_refused():
    with pytest.raises(ValueError, match="zone"):
        draw(created_at=datetime(2026, 3, 2))  # noqa: DTZ001  # the case


def test_missing_pango_is_one_line_that_says_what_to_install(monkeypatch):
    real = ctypes.CDLL

    def without_pango(name, *arguments, **options):
        if "pango-1.0" in name:
            raise OSError(name)
        return real(name, *arguments, **options)

    monkeypatch.setattr(records.pdf.ctypes, "CDLL", without_pango)
    with pytest.raises(PangoMissing) as refused:
        require_pango()
    sentence = str(refused.value)
    assert "\n" not in sentence
    assert "libpango-1.0-0 libpangoft2-1.0-0" in sentence
    assert "macOS" in sentence
    with pytest.raises(PangoMissing):
        render_pdf(HTML, title="t", attachment=b"{}", attachment_description="d", created_at=AT, asset_root=None)


@pytest.mark.parametrize("content", [b"", b"not a PDF", b"%PDF-1.7\n"])
def test_attachment_of_something_else_is_missing(content):
    with pytest.raises(AttachmentMissing):
        attached_json(content)


def test_qr_code_is_plain_svg_with_its_title():
    svg = qr_svg("https://records.example/v/BR-0007?a=1&b=2", size_mm=18)
    assert "<title>QR code: https://records.example/v/BR-0007?a=1&amp;b=2</title>" in svg
    assert 'width="18mm"' in svg
    assert "style" not in svg


def test_qr_code_reads_back_as_its_text():
    # The drawn modules must be the symbol's: the three finder patterns are 7 by 7 with a dark frame.
    svg = qr_svg("BR-0007", size_mm=20)
    side = int(re.search(r'viewBox="0 0 (\d+)', svg).group(1))
    dark = set()
    for x, y, run in re.findall(r"M(\d+) (\d+)h(\d+)v1", svg):
        dark |= {(int(x) + i, int(y)) for i in range(int(run))}
    modules = side - 8
    for left, top in ((4, 4), (4 + modules - 7, 4), (4, 4 + modules - 7)):
        frame = {(left + i, top) for i in range(7)} | {(left + i, top + 6) for i in range(7)}
        frame |= {(left, top + i) for i in range(7)} | {(left + 6, top + i) for i in range(7)}
        assert frame <= dark
    assert all(4 <= x < side - 4 and 4 <= y < side - 4 for x, y in dark)


@pytest.mark.parametrize(("text", "size_mm"), [("", 20), ("x", 0), ("x", -1), ("x" * 3000, 20)])
def test_qr_code_of_nothing_or_too_much_is_refused(text, size_mm):
    with pytest.raises(ValueError):  # noqa: PT011  # each case has its own words
        qr_svg(text, size_mm=size_mm)
