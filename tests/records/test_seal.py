"""The seal: made once, checked by other programs, and broken in every way we could think of."""

import io
import stat
from datetime import timedelta

import pikepdf
import pytest
from cryptography.x509.oid import ExtendedKeyUsageOID, ExtensionOID
from hypothesis import given, settings
from hypothesis import strategies as st
from pyhanko.pdf_utils.incremental_writer import IncrementalPdfFileWriter

from records.certificates import DOCUMENT_SIGNING, create_shop_key
from records.seal import NotSealable, seal_pdf
from records.shop_key import FILES, KeyExists, KeyMissing, KeyUnreadable, load_shop_key
from records.verification import B_B, verify_pdf
from shop.canonical import sha256_hex
from tests.records.conftest import AT, RECORD
from tests.records.outside import outside_program


def seal(pdf, key, **changed):
    arguments = {"at": AT, "reason": "Batch record issued", "location": None, "name": "Alder Harness Works"}
    return seal_pdf(pdf, key=key, **(arguments | changed))


def hole(pdf):
    """Where the signature's hex string lies: between the two ranges it covers."""
    with pikepdf.open(io.BytesIO(pdf)) as document:
        _, before, resume, _ = (int(n) for n in document.Root.AcroForm.Fields[0].V.ByteRange)
    return before, resume


# ---- what a good seal says


def test_sealed_document_stands_and_says_who_and_when(sealed_pdf, sealing_key):
    report = verify_pdf(sealed_pdf, trusted_root=sealing_key.root)
    assert report.problems == ()
    assert report.stands
    assert report.signer_name == "Alder Harness Works quality records"
    assert report.signed_at == AT
    assert report.level == B_B
    assert report.attachment_sha256 == sha256_hex(RECORD)


def test_seal_appends_and_leaves_the_drawn_bytes_alone(drawn_pdf, sealed_pdf):
    assert sealed_pdf.startswith(drawn_pdf)


def test_seal_is_repeatable(drawn_pdf, sealed_pdf, sealing_key):
    assert seal(drawn_pdf, sealing_key, location="Hall 2") == sealed_pdf


def test_sealed_document_keeps_its_archive_structure(sealed_pdf):
    with pikepdf.open(io.BytesIO(sealed_pdf)) as pdf:
        assert pdf.pdf_version == "1.7"
        assert "/Version" not in pdf.Root
        assert pdf.Root.AF[0].AFRelationship == "/Data"
        assert pdf.Root.StructTreeRoot.K
        with pdf.open_metadata() as xmp:
            assert (xmp["pdfaid:part"], xmp["pdfaid:conformance"]) == ("3", "A")
            assert xmp["xmp:ModifyDate"] == "2026-03-02T10:15:00+00:00"
        (field,) = pdf.Root.AcroForm.Fields
        assert pdf.Root.AcroForm.SigFlags == 3
        assert "/NeedAppearances" not in pdf.Root.AcroForm
        assert [float(n) for n in field.Rect] == [0, 0, 0, 0]
        assert int(field.F) & 0b111 == 0b100  # printed, not hidden, not invisible: what PDF/A asks of an annotation
        assert "Alder Harness Works" in str(field.TU)
        assert (field.V.SubFilter, str(field.V.Reason)) == ("/ETSI.CAdES.detached", "Batch record issued")
        assert str(field.V.M).startswith("D:20260302101500")


def test_pdfsig_calls_the_signature_valid(sealed_pdf, tmp_path):
    path = tmp_path / "record.pdf"
    path.write_bytes(sealed_pdf)
    told = outside_program("pdfsig", path).stdout
    assert "Signature is Valid" in told
    assert "Total document signed" in told
    assert "ETSI.CAdES.detached" in told


def test_pdfsig_trusts_the_signer_once_it_knows_the_root(sealed_pdf, key_directory, tmp_path):
    path, database = tmp_path / "record.pdf", tmp_path / "nss"
    path.write_bytes(sealed_pdf)
    database.mkdir()
    assert outside_program("certutil", "-N", "-d", f"sql:{database}", "--empty-password").returncode == 0
    added = outside_program("certutil", "-A", "-d", f"sql:{database}", "-n", "root", "-t", "CT,C,C", "-i", key_directory / "root.pem")
    assert added.returncode == 0, added.stderr
    assert "Certificate is Trusted" in outside_program("pdfsig", "-nssdir", database, path).stdout


def test_pdfsig_sees_a_changed_page(sealed_pdf, tmp_path):
    path = tmp_path / "record.pdf"
    path.write_bytes(changed(sealed_pdf, len(sealed_pdf) // 4))
    assert "Signature is Valid" not in outside_program("pdfsig", path).stdout


# ---- tampering


def changed(pdf, position, mask=0x01):
    copy = bytearray(pdf)
    copy[position] ^= mask
    return bytes(copy)


def test_byte_changed_in_the_body_does_not_stand(sealed_pdf, sealing_key):
    report = verify_pdf(changed(sealed_pdf, 40), trusted_root=sealing_key.root)
    assert not report.stands
    assert not report.intact


def test_attachment_exchanged_for_another_of_the_same_length_does_not_stand(drawn_pdf, sealing_key):
    # An uncompressed attachment can be changed in place, with the file still in perfect order for every reader.
    with pikepdf.open(io.BytesIO(drawn_pdf)) as pdf:
        stream = pdf.Root.AF[0].EF.F
        stream.write(RECORD, filter=None)
        out = io.BytesIO()
        pdf.save(out, compress_streams=False, stream_decode_level=pikepdf.StreamDecodeLevel.none)
    sealed = seal(out.getvalue(), sealing_key)
    assert sealed.count(b'"1.40"') == 1

    tampered = sealed.replace(b'"1.40"', b'"1.30"')
    report = verify_pdf(tampered, trusted_root=sealing_key.root)

    assert verify_pdf(sealed, trusted_root=sealing_key.root).stands
    assert not report.stands
    assert not report.intact
    assert report.attachment_sha256 == sha256_hex(RECORD.replace(b"1.40", b"1.30"))
    assert "changed after it was signed" in report.problems[0]


@pytest.mark.parametrize("mask", [0x01, 0x20], ids=["other digit", "other case"])
def test_byte_changed_in_the_signature_does_not_stand(sealed_pdf, sealing_key, mask):
    before, resume = hole(sealed_pdf)
    letters = [i for i in range(before, resume) if sealed_pdf[i : i + 1] in b"ABCDEFabcdef"]
    for position in letters[:: len(letters) // 25]:
        assert not verify_pdf(changed(sealed_pdf, position, mask), trusted_root=sealing_key.root).stands


def test_filling_behind_the_signature_changed_does_not_stand(sealed_pdf, sealing_key):
    _, resume = hole(sealed_pdf)
    assert sealed_pdf[resume - 2 : resume] == b"0>"
    assert not verify_pdf(changed(sealed_pdf, resume - 2), trusted_root=sealing_key.root).stands


def test_bytes_after_the_signature_do_not_stand(sealed_pdf, sealing_key):
    report = verify_pdf(sealed_pdf + b"\n", trusted_root=sealing_key.root)
    assert report.intact
    assert report.trusted
    assert report.changes_after_signing
    assert not report.covers_whole_file
    assert not report.stands


def test_page_added_after_the_signature_does_not_stand(sealed_pdf, sealing_key):
    writer = IncrementalPdfFileWriter(io.BytesIO(sealed_pdf))
    writer.root["/Lang"] = writer.root["/Lang"]
    writer.update_root()
    out = io.BytesIO()
    writer.write(out)
    report = verify_pdf(out.getvalue(), trusted_root=sealing_key.root)
    assert report.intact
    assert report.changes_after_signing
    assert not report.stands


def test_truncated_file_does_not_stand(sealed_pdf, sealing_key):
    for kept in (0, 1, 9, 500, len(sealed_pdf) // 2, len(sealed_pdf) - 600, len(sealed_pdf) - 7, len(sealed_pdf) - 1):
        report = verify_pdf(sealed_pdf[:kept], trusted_root=sealing_key.root)
        assert not report.stands
        assert report.problems


@pytest.mark.parametrize("content", [b"", b"hello", b"%PDF-1.7\n%%EOF\n", b"PK\x03\x04" * 50, b"%PDF-" + bytes(5000)])
def test_something_else_than_a_pdf_does_not_stand(sealing_key, content):
    report = verify_pdf(content, trusted_root=sealing_key.root)
    assert not report.stands
    assert not report.signed
    assert len(report.problems) == 1


def test_unsigned_document_does_not_stand(drawn_pdf, sealing_key):
    report = verify_pdf(drawn_pdf, trusted_root=sealing_key.root)
    assert not report.signed
    assert report.attachment_present
    assert report.problems == ("The document is not signed.",)
    assert not report.stands


def test_document_sealed_by_another_authority_of_the_same_name_does_not_stand(drawn_pdf, sealing_key, foreign_key, caplog):
    report = verify_pdf(seal(drawn_pdf, foreign_key), trusted_root=sealing_key.root)
    assert report.signed
    assert report.intact
    assert not report.trusted
    assert not report.stands
    assert "was not issued by" in report.problems[0]
    assert caplog.records == []  # the report says it all


def test_document_without_its_record_does_not_stand(drawn_pdf, sealing_key):
    with pikepdf.open(io.BytesIO(drawn_pdf)) as pdf:
        del pdf.Root.AF
        out = io.BytesIO()
        pdf.save(out)
    report = verify_pdf(seal(out.getvalue(), sealing_key), trusted_root=sealing_key.root)
    assert report.intact
    assert not report.attachment_present
    assert not report.stands


@settings(max_examples=120, deadline=None)
@given(st.data())
def test_any_one_byte_changed_does_not_stand(sealed_pdf, sealing_key, data):
    position = data.draw(st.integers(0, len(sealed_pdf) - 1), label="position")
    mask = data.draw(st.integers(1, 255), label="mask")
    assert not verify_pdf(changed(sealed_pdf, position, mask), trusted_root=sealing_key.root).stands


# ---- what cannot be sealed


@pytest.mark.parametrize("content", [b"", b"hello", b"%PDF-1.7\n%%EOF\n"])
def test_something_else_than_a_pdf_is_not_sealed(sealing_key, content):
    with pytest.raises(NotSealable):
        seal(content, sealing_key)


def test_sealed_document_is_not_sealed_again(sealed_pdf, sealing_key):
    with pytest.raises(NotSealable, match="already"):
        seal(sealed_pdf, sealing_key)


@pytest.mark.parametrize("off", [timedelta(days=-1), timedelta(days=3 * 365 + 1)])
def test_time_outside_the_certificate_is_refused(drawn_pdf, sealing_key, off):
    with pytest.raises(ValueError, match="valid from"):
        seal(drawn_pdf, sealing_key, at=AT + off)


# ---- the key


def test_certificates_are_made_for_their_purpose(sealing_key):
    root, signing = sealing_key.root, sealing_key.signing
    assert root.public_key().key_size == signing.public_key().key_size == 3072
    assert root.extensions.get_extension_for_oid(ExtensionOID.BASIC_CONSTRAINTS).value.ca is True
    usage = signing.extensions.get_extension_for_oid(ExtensionOID.KEY_USAGE)
    assert usage.critical
    assert (usage.value.digital_signature, usage.value.content_commitment, usage.value.key_cert_sign) == (True, True, False)
    purposes = list(signing.extensions.get_extension_for_oid(ExtensionOID.EXTENDED_KEY_USAGE).value)
    assert purposes == [DOCUMENT_SIGNING, ExtendedKeyUsageOID.EMAIL_PROTECTION]
    assert (root.not_valid_after_utc - AT).days >= 20 * 365
    assert (signing.not_valid_after_utc - AT).days == 3 * 365
    identifier = root.extensions.get_extension_for_oid(ExtensionOID.SUBJECT_KEY_IDENTIFIER).value.digest
    assert signing.extensions.get_extension_for_oid(ExtensionOID.AUTHORITY_KEY_IDENTIFIER).value.key_identifier == identifier


def test_openssl_accepts_the_chain(key_directory):
    root, signing = key_directory / "root.pem", key_directory / "signing.pem"
    done = outside_program("openssl", "verify", "-x509_strict", "-attime", int(AT.timestamp()) + 60, "-CAfile", root, signing)
    assert done.returncode == 0, done.stderr


def test_key_files_are_for_their_owner_only(key_directory):
    assert stat.S_IMODE(key_directory.stat().st_mode) == 0o700
    assert {path.name for path in key_directory.iterdir()} == set(FILES)
    assert {stat.S_IMODE(path.stat().st_mode) for path in key_directory.iterdir()} == {0o600}


@pytest.mark.parametrize("left", FILES)
def test_existing_key_is_never_overwritten(tmp_path, left):
    (tmp_path / left).write_bytes(b"precious")
    with pytest.raises(KeyExists):
        create_shop_key(tmp_path, shop_name="Alder", at=AT)
    assert [(path.name, path.read_bytes()) for path in tmp_path.iterdir()] == [(left, b"precious")]


def test_key_loads_without_the_roots_private_key(key_directory, tmp_path):
    for name in FILES:
        if name != "root-key.pem":
            (tmp_path / name).write_bytes((key_directory / name).read_bytes())
    assert load_shop_key(tmp_path).root_sha256 == load_shop_key(key_directory).root_sha256


def test_key_is_loaded_once(key_directory):
    assert load_shop_key(key_directory) is load_shop_key(key_directory)


def test_missing_key_says_how_to_make_one(tmp_path):
    with pytest.raises(KeyMissing, match="shop_key --create"):
        load_shop_key(tmp_path / "nowhere")


@pytest.mark.parametrize(("file", "content"), [("signing-key.pem", b"junk"), ("signing.pem", b""), ("root.pem", b"-----BEGIN")])
def test_damaged_key_file_is_named(key_directory, tmp_path, file, content):
    for name in FILES:
        (tmp_path / name).write_bytes((key_directory / name).read_bytes())
    (tmp_path / file).write_bytes(content)
    with pytest.raises(KeyUnreadable, match=file):
        load_shop_key(tmp_path)


def test_key_of_another_shop_under_our_root_is_refused(key_directory, tmp_path):
    create_shop_key(tmp_path, shop_name="Other", at=AT, passphrase="open sesame 42")
    assert load_shop_key(tmp_path, "open sesame 42").private_key
    with pytest.raises(KeyUnreadable, match="passphrase"):
        load_shop_key(tmp_path)
    with pytest.raises(KeyUnreadable, match="passphrase is wrong"):
        load_shop_key(tmp_path, "open sesame 43")
    (tmp_path / "root.pem").write_bytes((key_directory / "root.pem").read_bytes())
    with pytest.raises(KeyUnreadable, match="not issued by"):
        load_shop_key(tmp_path, "open sesame 42")
