"""The two commands as a person at a prompt meets them."""

import io
import json
import stat

import pytest
from django.core.management import call_command
from django.core.management.base import CommandError

from records.shop_key import fingerprint, load_shop_key
from shop.canonical import sha256_hex
from tests.records.conftest import RECORD


@pytest.fixture
def shop(settings, key_directory):
    settings.SHOP_KEY_DIR = key_directory
    settings.SHOP_KEY_PASSPHRASE = ""
    settings.SHOP_NAME = "Alder Harness Works"
    settings.TIME_ZONE = "Europe/Oslo"
    return settings


def run(*arguments):
    out = io.StringIO()
    code = 0
    try:
        call_command(*map(str, arguments), stdout=out)
    except SystemExit as left:
        code = left.code
    return code, out.getvalue()


def test_verify_pdf_says_who_and_when_of_a_document_that_stands(shop, sealed_pdf, tmp_path):
    path = tmp_path / "record.pdf"
    path.write_bytes(sealed_pdf)
    code, told = run("verify_pdf", path)
    assert code == 0
    assert "the document stands" in told
    assert "Alder Harness Works quality records\n" in told
    assert "2026-03-02 11:15:00 CET" in told
    assert sha256_hex(RECORD) in told


def test_verify_pdf_leaves_with_one_for_a_changed_document(shop, sealed_pdf, tmp_path):
    path = tmp_path / "record.pdf"
    path.write_bytes(sealed_pdf.replace(b"Batch record issued", b"Batch record issuex", 1))
    code, told = run("verify_pdf", path)
    assert code == 1
    assert "does NOT stand" in told
    assert "changed after it was signed" in told


def test_verify_pdf_against_another_root(shop, sealed_pdf, foreign_key, tmp_path):
    from cryptography.hazmat.primitives.serialization import Encoding  # noqa: PLC0415

    path, root = tmp_path / "record.pdf", tmp_path / "root.pem"
    path.write_bytes(sealed_pdf)
    root.write_bytes(foreign_key.root.public_bytes(Encoding.PEM))
    code, told = run("verify_pdf", path, "--root", root)
    assert code == 1
    assert "(not proven)" in told


def test_verify_pdf_for_machines(shop, sealed_pdf, tmp_path):
    path = tmp_path / "record.pdf"
    path.write_bytes(sealed_pdf + b" ")
    code, told = run("verify_pdf", path, "--json")
    report = json.loads(told)
    assert code == 1
    assert (report["stands"], report["intact"], report["changes_after_signing"]) == (False, True, True)
    assert report["signed_at"] == "2026-03-02T10:15:00+00:00"


@pytest.mark.parametrize("wrong", ["absent.pdf", "folder"])
def test_verify_pdf_of_an_unreadable_file_is_one_line_and_code_two(shop, tmp_path, wrong):
    (tmp_path / "folder").mkdir()
    with pytest.raises(CommandError) as refused:
        run("verify_pdf", tmp_path / wrong)
    assert refused.value.returncode == 2
    assert "cannot be read" in str(refused.value)
    assert "\n" not in str(refused.value)


def test_verify_pdf_with_a_root_that_is_none_is_code_two(shop, sealed_pdf, tmp_path):
    path = tmp_path / "record.pdf"
    path.write_bytes(sealed_pdf)
    for root in (path, tmp_path / "absent.pem"):
        with pytest.raises(CommandError) as refused:
            run("verify_pdf", path, "--root", root)
        assert refused.value.returncode == 2


def test_verify_pdf_without_a_shop_key_says_what_to_do(shop, sealed_pdf, tmp_path):
    shop.SHOP_KEY_DIR = tmp_path
    path = tmp_path / "record.pdf"
    path.write_bytes(sealed_pdf)
    with pytest.raises(CommandError, match="shop_key --create") as refused:
        run("verify_pdf", path)
    assert refused.value.returncode == 2


def test_shop_key_creates_once_and_shows_afterwards(shop, tmp_path):
    shop.SHOP_KEY_DIR = tmp_path / "keys"
    code, told = run("shop_key", "--create")
    key = load_shop_key(shop.SHOP_KEY_DIR)
    assert code == 0
    assert fingerprint(key.root) in told
    assert str(shop.SHOP_KEY_DIR) in told
    assert "off this machine" in told
    assert stat.S_IMODE((shop.SHOP_KEY_DIR / "signing-key.pem").stat().st_mode) == 0o600

    with pytest.raises(CommandError) as refused:
        run("shop_key", "--create")
    assert refused.value.returncode == 2
    assert "\n" not in str(refused.value)

    _, shown = run("shop_key")
    assert "Alder Harness Works record authority" in shown
    assert fingerprint(key.signing) in shown


def test_shop_key_without_a_key_says_how_to_make_one(shop, tmp_path):
    shop.SHOP_KEY_DIR = tmp_path
    with pytest.raises(CommandError, match="shop_key --create") as refused:
        run("shop_key")
    assert refused.value.returncode == 2
