"""People's signatures behind the seal: several in sequence, seen by other programs, and broken in every way we could think of."""

import io
from datetime import timedelta

import pikepdf
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pyhanko.pdf_utils.incremental_writer import IncrementalPdfFileWriter

from records.one_use_key import one_use_key
from records.pdf import draw_paper
from records.seal import NotSealable, seal_pdf, sign_pdf
from records.shop_key import load_people_key
from records.signing_places import HEIGHT_MM, MM, WIDTH_MM, place_in
from records.verification import verify_pdf
from shop.canonical import sha256_hex
from tests.records.conftest import AT, HTML, RECORD, draw
from tests.records.outside import outside_program

BOXES = "".join(f'<div id="sign-{n}" style="width:{WIDTH_MM}mm;height:{HEIGHT_MM}mm;border:1px dotted">empty</div>' for n in (1, 2, 3))
WITH_PLACES = HTML.replace("</body>", f'<div style="break-before:page">{BOXES}</div></body>')
PEOPLE = (("performed", "Jonas Eikeland", "jonas"), ("checked", "Ines Falkeid", "ines"), ("approved", "Quirin Mosvold", "quirin"))


@pytest.fixture(scope="module")
def sealed(sealing_key):
    return seal_pdf(draw(WITH_PLACES), key=sealing_key, at=AT, reason="issued", location=None, name="Alder Harness Works")


def signed(pdf, key_directory, number, meaning, name, username, *, at=AT, place=None):
    person = one_use_key(load_people_key(key_directory), name=name, username=username, shop="Alder Harness Works", at=at)
    look = draw_paper(f"<style>@page {{ size: {WIDTH_MM}mm {HEIGHT_MM}mm; margin: 0 }}</style><p>{name}</p>", asset_root=key_directory)
    place = place or place_in(pdf, number)
    return sign_pdf(pdf, person=person, at=at, reason=meaning, name=name, place=place, appearance=look)


@pytest.fixture(scope="module")
def signed_by_three(sealed, key_directory):
    pdf = sealed
    for number, (meaning, name, username) in enumerate(PEOPLE, 1):
        pdf = signed(pdf, key_directory, number, meaning, name, username, at=AT + timedelta(minutes=number))
    return pdf


def test_document_signed_by_three_stands_and_names_them_in_order(signed_by_three, sealing_key):
    report = verify_pdf(signed_by_three, trusted_root=sealing_key.root)
    assert report.problems == ()
    assert report.stands
    assert [(one.meaning, one.name, one.username) for one in report.people] == list(PEOPLE)
    assert [one.signed_at for one in report.people] == [AT + timedelta(minutes=n) for n in (1, 2, 3)]
    assert report.signer_name == "Alder Harness Works quality records"
    assert report.attachment_sha256 == sha256_hex(RECORD)


def test_each_signature_only_appends(sealed, signed_by_three):
    assert signed_by_three.startswith(sealed)


def test_every_file_on_the_way_stands_by_itself(sealed, key_directory, sealing_key):
    once = signed(sealed, key_directory, 1, *PEOPLE[0])
    for pdf, people in ((sealed, 0), (once, 1)):
        report = verify_pdf(pdf, trusted_root=sealing_key.root)
        assert (report.stands, len(report.people)) == (True, people)


def test_pdfsig_calls_all_four_signatures_valid(signed_by_three, tmp_path):
    path = tmp_path / "signed.pdf"
    path.write_bytes(signed_by_three)
    told = outside_program("pdfsig", "-nocert", path).stdout
    assert told.count("Signature is Valid") == 4
    assert told.count("Total document signed") == told.count("otal document signed") - 3  # only the last one covers the end
    assert [name in told for _meaning, name, _username in PEOPLE] == [True] * 3


def test_qpdf_finds_no_error(signed_by_three, tmp_path):
    path = tmp_path / "signed.pdf"
    path.write_bytes(signed_by_three)
    assert outside_program("qpdf", "--check", path).returncode == 0


def test_printed_name_shows_on_the_page_where_the_place_is(signed_by_three, tmp_path):
    path = tmp_path / "signed.pdf"
    path.write_bytes(signed_by_three)
    words = outside_program("pdftotext", "-f", "2", "-l", "2", "-layout", path, "-").stdout
    with pikepdf.open(path) as pdf:
        fields = {str(field.T): field for field in pdf.Root.AcroForm.Fields}
        boxes = [[float(side) for side in fields[f"Signed{n}"].Rect] for n in (1, 2, 3)]
        fonts = [
            set((font.DescendantFonts[0] if "/DescendantFonts" in font else font).FontDescriptor.keys())
            for n in (1, 2, 3)
            for drawn in fields[f"Signed{n}"].AP.N.Resources.XObject.values()
            for font in drawn.Resources.Font.values()
        ]
    assert all(name in words for _meaning, name, _username in PEOPLE)
    assert [(round(box[2] - box[0]), round(box[3] - box[1])) for box in boxes] == [(round(WIDTH_MM * MM), round(HEIGHT_MM * MM))] * 3
    assert boxes[0][1] >= boxes[1][3] - 1  # one above the other, as they were drawn
    # ISO 19005-3 asks for embedded fonts in appearances too.
    assert fonts
    assert all({"/FontFile", "/FontFile2", "/FontFile3"} & font for font in fonts)


@settings(max_examples=60, deadline=None)
@given(at=st.floats(0, 1, exclude_max=True), bit=st.integers(0, 7))
def test_one_changed_bit_anywhere_is_noticed(signed_by_three, sealing_key, at, bit):
    spoiled = bytearray(signed_by_three)
    spoiled[int(at * len(spoiled))] ^= 1 << bit
    assert not verify_pdf(bytes(spoiled), trusted_root=sealing_key.root).stands


def test_text_added_between_two_signatures_is_noticed(sealed, key_directory, sealing_key):
    once = signed(sealed, key_directory, 1, *PEOPLE[0])
    writer = IncrementalPdfFileWriter(io.BytesIO(once))
    page = writer.root["/Pages"]["/Kids"][0].get_object()
    page["/Rotate"] = page.raw_get("/MediaBox")[0]  # rewritten with another entry: the page is another
    writer.update_container(page)
    out = io.BytesIO()
    writer.write(out)
    twice = signed(out.getvalue(), key_directory, 2, *PEOPLE[1])
    report = verify_pdf(twice, trusted_root=sealing_key.root)
    assert (report.stands, report.changes_after_signing) == (False, True)


def test_signature_certified_by_another_shop_does_not_stand(sealed, tmp_path_factory, key_directory, sealing_key):
    from records.certificates import create_shop_key  # noqa: PLC0415

    other = tmp_path_factory.mktemp("other-people")
    create_shop_key(other, shop_name="Alder Harness Works", at=AT)
    report = verify_pdf(signed(sealed, other, 1, *PEOPLE[0]), trusted_root=sealing_key.root)
    assert (report.stands, [one.holds for one in report.people], report.trusted) == (False, [False], True)
    assert "Jonas Eikeland" in " ".join(report.problems)


def test_seal_of_the_shop_is_no_signature_of_a_person(sealed, sealing_key, key_directory):
    # Somebody with the sealing key, but not the people's authority, signs for a person.
    from records.one_use_key import OneUseKey  # noqa: PLC0415

    forged = OneUseKey(sealing_key.signing, sealing_key.private_key, sealing_key.root)
    look = draw_paper("<p>Quirin Mosvold</p>", asset_root=key_directory)
    place = place_in(sealed, 1)
    pdf = sign_pdf(sealed, person=forged, at=AT, reason="approved", name="Quirin Mosvold", place=place, appearance=look)
    assert not verify_pdf(pdf, trusted_root=sealing_key.root).stands


def test_document_without_a_seal_is_not_signed(key_directory):
    with pytest.raises(NotSealable):
        signed(draw(WITH_PLACES), key_directory, 1, *PEOPLE[0])


def test_place_is_missing_in_a_document_drawn_without_it(sealed_pdf, sealed):
    assert place_in(sealed_pdf, 1) is None
    assert place_in(sealed, 4) is None
    assert place_in(sealed, 1).page == 1
