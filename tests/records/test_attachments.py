"""Files attached to things: told by content, kept under their hash, refused when they changed, withdrawn but never deleted."""

from __future__ import annotations

import hashlib
import io
import json
import zipfile

import pytest
from django.core.files.base import ContentFile
from django.core.files.storage import default_storage
from django.core.files.uploadedfile import SimpleUploadedFile
from openpyxl import Workbook

from inspection.nonconformance import Nonconformance
from records.acts.attachments import attach, attachment_bytes, attachments_of, withdraw_attachment
from records.acts.evidence import pack_evidence
from records.attachables import ATTACHABLE, thing, thing_of
from records.evidence_verifier import main
from records.ledger_check import verify_ledger
from records.models import Attachment, LedgerEntry
from records.trails import in_words, subject_of_item
from shop.acts.documents import storage_name
from shop.clock import now
from shop.file_kind import kind_of_file
from shop.finding import Refused
from tests import factories

PDF = b"%PDF-1.7\nsupplier certificate\n"
HASH = hashlib.sha256(PDF).hexdigest()


def workbook(*, macros=False):
    out, book = io.BytesIO(), Workbook()
    book.save(out)
    if macros:
        with zipfile.ZipFile(out, "a") as archive:
            archive.writestr("xl/vbaProject.bin", b"x")
    return out.getvalue()


@pytest.fixture
def reel(catalogue):
    return thing_of(catalogue.terminal_lot)


@pytest.fixture
def put(cast, reel):
    def perform(to=None, title="Supplier certificate", name="certificate.pdf", data=PDF, who="inspector"):
        return attach(thing=to or reel, title=title, name=name, data=data, by=getattr(cast, who), at=now())

    return perform


def refused(function, *given, **named):
    with pytest.raises(Refused) as refusal:
        function(*given, **named)
    return [finding.rule for finding in refusal.value.findings]


def test_attached_file_is_kept_under_its_hash_and_stands_in_the_trail(put, catalogue):
    row = put(name="C:\\scans\\certificate.pdf")

    assert attachment_bytes(row) == PDF
    assert default_storage.exists(storage_name(HASH))
    entry = LedgerEntry.objects.get(kind="attachment.added")
    said = json.loads(entry.text)["content"]
    assert (said["file_name"], said["file_size"]) == ("certificate.pdf", len(PDF))
    assert (said["file_type"], said["sha256"]) == ("application/pdf", HASH)
    subject = subject_of_item(catalogue.terminal_lot)
    assert (entry.subject_kind, entry.subject_id) == (subject.kind, subject.pk)
    told = in_words(entry)
    assert (told.what, told.changes[0]) == ("File attached: Supplier certificate", "file name: certificate.pdf")


@pytest.mark.parametrize(
    ("name", "data", "rules"),
    [
        ("x.exe", b"MZ\x90\x00", ["document.file.kind"]),
        ("x.pdf", b"", ["data.required"]),
        ("x.png", PDF, ["document.file.name"]),
        ("x.xlsx", b"PK\x03\x04 no workbook", ["document.file.kind"]),
        ("x.xlsx", workbook(macros=True), ["document.file.kind"]),
    ],
)
def test_file_that_is_none_of_ours_is_refused(put, name, data, rules):
    assert refused(put, name=name, data=data) == rules
    assert not Attachment.objects.exists()


def test_file_above_the_limit_is_refused(put, settings):
    settings.UPLOAD_LIMIT_BYTES = 20

    assert refused(put) == ["document.file.size"]


@pytest.mark.parametrize(
    ("name", "data", "kind"),
    [
        ("a.webp", b"RIFF\x1a\x00\x00\x00WEBPVP8 " + bytes(10), "image/webp"),
        ("a.xlsx", workbook(), "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"),
        ("a.csv", b"n;mm\n1;1,40\n", "text/csv"),
    ],
)
def test_kinds_of_files_that_are_taken(put, name, data, kind):
    assert kind_of_file(name, data) == kind
    assert put(name=name, data=data).file_type == kind


def test_attachment_needs_a_title_and_a_role(put):
    assert refused(put, title=" ", who="auditor") == ["person.role", "data.required"]


def test_same_bytes_are_attached_to_one_thing_once_and_to_others_too(put, batch):
    put()

    assert refused(put, title="again") == ["attachment.twice"]
    assert put(to=thing_of(batch)).sha256 == HASH


def test_changed_file_is_refused_with_words(put, signed_in, cast):
    row = put()
    default_storage.delete(storage_name(HASH))
    default_storage.save(storage_name(HASH), ContentFile(PDF + b" "))

    assert refused(attachment_bytes, row) == ["attachment.damaged"]
    page = signed_in(cast.auditor).get(f"/prove/attachments/{row.pk}/file/")
    assert page.status_code == 422
    assert "no longer the one that was attached" in page.content.decode()


def test_withdrawn_attachment_stays_readable_and_says_why(put, cast, reel):
    row = put()
    withdraw_attachment(attachment=row, reason="of another reel", by=cast.quality, at=now())

    assert attachment_bytes(row) == PDF
    [shown] = attachments_of(reel)
    assert shown.withdrawal.reason == "of another reel"
    assert put().pk != row.pk  # what was withdrawn is no obstacle
    told = in_words(LedgerEntry.objects.get(kind="attachment.withdrawn"))
    assert (told.what, told.reason) == ("Attachment withdrawn: Supplier certificate", "of another reel")


def test_withdrawing_needs_a_reason_a_role_and_an_attachment_that_counts(put, cast):
    row = put()
    withdraw_attachment(attachment=row, reason="wrong", by=cast.quality, at=now())

    found = refused(withdraw_attachment, attachment=row, reason="", by=cast.inspector, at=now())
    assert found == ["person.role", "data.required", "attachment.withdrawn"]


def test_thing_that_takes_no_files_is_none(catalogue):
    assert thing("wires", catalogue.wire.pk) is None
    assert thing("tools", 0) is None
    with pytest.raises(KeyError):
        thing_of(catalogue.wire)


def test_package_carries_attachments_with_what_they_belong_to(put, cast, shipment, batch, shop_key, tmp_path, capsys):
    put()
    wrong = put(to=thing_of(batch), title="Photograph", name="photo.txt", data=b"not a picture")
    withdraw_attachment(attachment=wrong, reason="blurred", by=cast.quality, at=now())
    put(to=thing_of(shipment), title="Delivery note", data=PDF + b"2")
    idle = factories.make_gauge("MIC-77", "crimp-height micrometer", "mm", "0.001")
    put(to=thing_of(idle), title="Of a gauge that measured nothing here", data=PDF + b"3")

    package = pack_evidence(of=shipment, by=cast.auditor, at=now())

    source = zipfile.ZipFile(io.BytesIO(package))
    manifest = json.loads(source.read("manifest.json"))
    assert [(one["title"], one["withdrawn"]) for one in manifest["attachments"]] == [
        ("Supplier certificate", ""),
        ("Photograph", "blurred"),
        ("Delivery note", ""),
    ]
    assert source.read(manifest["attachments"][0]["file"]) == PDF
    kinds = [json.loads(json.loads(line)["text"])["kind"] for line in source.read("ledger/entries.jsonl").splitlines()]
    assert (kinds.count("attachment.added"), kinds.count("attachment.withdrawn")) == (3, 1)
    (tmp_path / "package.zip").write_bytes(package)
    assert main([str(tmp_path / "package.zip")]) == 0
    assert verify_ledger().is_whole


# --- Pages --------------------------------------------------------------------------------------------------------------------------


@pytest.fixture
def things(shipment, lot, batch, catalogue):
    of_catalogue = {"terminal-lots": catalogue.terminal_lot, "gauges": catalogue.micrometer}
    return {"shipment": shipment, "harness-lot": lot, "batch": batch} | of_catalogue


@pytest.mark.parametrize("kind", ["shipment", "harness-lot", "batch", "terminal-lots", "gauges"])
def test_page_of_a_thing_shows_its_files_and_takes_another(kind, things, signed_in, cast):
    found, client = thing(kind, things[kind].pk), signed_in(cast.quality)
    address = f"/prove/attachments/{kind}/{found.pk}/"

    answer = client.post(address, {"title": "Customer's letter", "file": SimpleUploadedFile("letter.pdf", PDF)})

    assert (answer.status_code, answer["Location"]) == (302, f"{found.url}#h-attachments")
    page = client.get(found.url).content.decode()
    row = Attachment.objects.get()
    assert f'href="/prove/attachments/{row.pk}/file/"' in page
    assert "Customer&#x27;s letter" in page
    assert address in page  # the form for another
    assert address not in signed_in(cast.auditor).get(found.url).content.decode()


def test_page_of_a_nonconformance_shows_its_files(put, signed_in, cast, batch):
    said = {"what": "burr", "requirement": "drawing", "defect_kind": "burr", "origin": "by hand", "found_at": "final"}
    record = Nonconformance.objects.create(number="NC-26-0001", batch=batch, opened_by=cast.quality, opened_at=now(), **said)
    row = put(to=thing_of(record), title="Photograph of the burr")

    page = signed_in(cast.auditor).get("/prove/nonconformance/NC-26-0001/").content.decode()

    assert f'href="/prove/attachments/{row.pk}/file/"' in page


def test_file_is_handed_out_to_be_kept(put, signed_in, cast):
    answer = signed_in(cast.auditor).get(f"/prove/attachments/{put().pk}/file/")

    assert answer.content == PDF
    assert answer["X-Content-Type-Options"] == "nosniff"
    assert answer["Content-Disposition"] == 'attachment; filename="certificate.pdf"'


def test_refused_file_shows_the_form_again_with_its_title(signed_in, cast, reel):
    client, wrong = signed_in(cast.quality), SimpleUploadedFile("x.exe", b"MZ\x00")
    answer = client.post(f"/prove/attachments/terminal-lots/{reel.pk}/", {"title": "Letter", "file": wrong})

    assert answer.status_code == 422
    page = answer.content.decode()
    assert 'value="Letter"' in page
    assert "none of the files kept here" in page
    assert client.post(f"/prove/attachments/terminal-lots/{reel.pk}/", {"title": "Letter"}).status_code == 422
    assert client.get("/prove/attachments/wires/1/").status_code == 404


def test_withdrawing_on_the_page(put, signed_in, cast, reel):
    row, client = put(), signed_in(cast.quality)
    address = f"/prove/attachments/{row.pk}/withdraw/"

    assert client.get(address).status_code == 200
    assert client.post(address, {"reason": ""}).status_code == 422
    assert client.post(address, {"reason": "wrong reel"})["Location"] == f"{reel.url}#h-attachments"
    assert "wrong reel" in client.get(reel.url).content.decode()
    assert signed_in(cast.operator).get(address).status_code == 403


def test_every_kind_has_an_address_of_its_own():
    assert {one.slug for one in ATTACHABLE.values()} == set(ATTACHABLE)
