"""The file of a document's revision, and what withdrawing a document or specification asks of who does it."""

import hashlib

import pytest
from django.core.files.storage import default_storage
from django.core.files.uploadedfile import SimpleUploadedFile
from hypothesis import given
from hypothesis import strategies as st

from records.models import LedgerEntry
from shop.acts.documents import attach_file, storage_name, withdraw
from shop.clock import now
from shop.file_kind import kind_of_file
from shop.finding import Refused
from tests import factories
from tests.factories import days, today

PDF = b"%PDF-1.7\n1 0 obj\n<<>>\nendobj\n"
PNG = b"\x89PNG\r\n\x1a\n" + bytes(20)
JPEG = b"\xff\xd8\xff\xe0" + bytes(20)


def refused(act, **stated):
    with pytest.raises(Refused) as refusal:
        act(at=now(), **stated)
    return [finding.rule for finding in refusal.value.findings]


@pytest.mark.parametrize(
    ("name", "data", "kind"),
    [
        ("a.pdf", PDF, "application/pdf"),
        ("a.pdf", PNG, "image/png"),
        ("a.jpg", JPEG, "image/jpeg"),
        ("a.csv", b"size;force\n0,5;56\n", "text/csv"),
        ("a.txt", "Höhe ±0.05".encode(), "text/plain"),
        ("a.txt", b"\xef\xbb\xbfwith a mark", "text/plain"),
        ("a.txt", "Höhe".encode("latin-1"), None),
        ("a.txt", b"a\x00b", None),
        ("a.exe", b"MZ\x90\x00", None),
        ("a.pdf", b"", None),
        ("a.pdf", b"PK\x03\x04\x14\x00", None),
    ],
)
def test_kind_of_a_file_is_its_content(name, data, kind):
    assert kind_of_file(name, data) == kind


@given(st.binary(max_size=60), st.text(max_size=12))
def test_kind_of_any_bytes_is_one_of_ours_or_none(data, name):
    kind = kind_of_file(name, data)
    assert (kind is None) or data
    if kind in ("text/plain", "text/csv"):
        assert b"\x00" not in data
    assert kind_of_file(name, b"%PDF-" + data) == "application/pdf"


def test_attached_file_is_kept_under_its_hash_and_in_the_ledger(cast, catalogue):
    document = attach_file(document=catalogue.document, name="C:\\papers\\AS 250.pdf", data=PDF, by=cast.planner, at=now())
    sha256 = hashlib.sha256(PDF).hexdigest()
    stated = (document.file_name, document.file_type, document.file_size, document.file_sha256)
    assert stated == ("AS 250.pdf", "application/pdf", len(PDF), sha256)
    with default_storage.open(storage_name(sha256)) as file:
        assert file.read() == PDF
    entry = LedgerEntry.objects.get()
    assert entry.kind == "document.file_attached"
    assert sha256 in entry.text


def test_file_of_a_revision_never_changes(cast, catalogue):
    attach_file(document=catalogue.document, name="a.pdf", data=PDF, by=cast.planner, at=now())
    assert refused(attach_file, document=catalogue.document, name="b.pdf", data=PDF + b"x", by=cast.quality) == ["document.file.set"]
    catalogue.document.refresh_from_db()
    assert (catalogue.document.file_name, catalogue.document.file_size) == ("a.pdf", len(PDF))


@pytest.mark.parametrize(
    ("name", "data", "rule"),
    [
        ("a.pdf", b"", "data.required"),
        ("a.zip", b"PK\x03\x04\x00", "document.file.kind"),
        ("a.html", b"<script>alert(1)</script>", "document.file.name"),
        ("a.png", PDF, "document.file.name"),
        ("a.pdf", PDF + b" " * 200, "document.file.size"),
    ],
)
def test_file_that_is_none_of_ours_is_refused(cast, catalogue, settings, name, data, rule):
    settings.UPLOAD_LIMIT_BYTES = 150
    assert refused(attach_file, document=catalogue.document, name=name, data=data, by=cast.planner) == [rule]
    catalogue.document.refresh_from_db()
    assert catalogue.document.file_sha256 == ""
    assert not LedgerEntry.objects.exists()


def test_attaching_takes_a_role(cast, catalogue):
    assert refused(attach_file, document=catalogue.document, name="a.pdf", data=PDF, by=cast.operator) == ["person.role"]


def test_file_goes_in_and_out_through_the_pages(signed_in, cast, catalogue):
    page = f"/shop/documents/{catalogue.document.pk}/"
    answer = signed_in(cast.planner).post(f"{page}file/", {"file": SimpleUploadedFile("AS-250.pdf", PDF, "text/html")})
    assert answer.url == page
    client = signed_in(cast.operator)
    assert client.get(page).context["page"].paper.file.sha256 == hashlib.sha256(PDF).hexdigest()
    given = client.get(f"{page}file/")
    assert given.content == PDF
    wanted = ("application/pdf", 'attachment; filename="AS-250.pdf"', "nosniff")
    assert (given["Content-Type"], given["Content-Disposition"], given["X-Content-Type-Options"]) == wanted


def test_file_is_handed_to_nobody_who_is_not_signed_in(client, cast, catalogue):
    attach_file(document=catalogue.document, name="a.pdf", data=PDF, by=cast.planner, at=now())
    answer = client.get(f"/shop/documents/{catalogue.document.pk}/file/")
    assert answer.status_code == 302
    assert answer.url.startswith("/sign-in/")


def test_document_without_a_file_hands_out_none(signed_in, cast, catalogue):
    assert signed_in(cast.planner).get(f"/shop/documents/{catalogue.document.pk}/file/").status_code == 404


def test_damaged_file_is_not_handed_out(signed_in, cast, catalogue, settings):
    document = attach_file(document=catalogue.document, name="a.pdf", data=PDF, by=cast.planner, at=now())
    (settings.MEDIA_ROOT / storage_name(document.file_sha256)).write_bytes(PDF.replace(b"1.7", b"1.6"))
    answer = signed_in(cast.planner).get(f"/shop/documents/{document.pk}/file/")
    assert answer.status_code == 422
    assert b"%PDF" not in answer.content


def test_refused_file_is_said_on_the_page_of_the_document(signed_in, cast, catalogue):
    file = SimpleUploadedFile("a.zip", b"PK\x03\x04\x00")
    answer = signed_in(cast.planner).post(f"/shop/documents/{catalogue.document.pk}/file/", {"file": file})
    assert answer.status_code == 422
    assert [finding.rule for finding in answer.context["refusal"].rest] == ["document.file.kind"]


# --- Withdrawing -----------------------------------------------------------------------------------------------------------------


@pytest.fixture
def relying(cast, catalogue):
    """A released sheet, one in review and a draft on the catalogue's document; one on another document, and one withdrawn."""
    made = [factories.released(cast, catalogue), factories.in_review(cast, catalogue), factories.draft(cast, catalogue)]
    gone = factories.draft(cast, catalogue)
    gone.status = "withdrawn"
    gone.save()
    return {str(sheet) for sheet in made}


def test_page_shows_every_sheet_and_specification_that_relies_on_it(signed_in, cast, catalogue, relying):
    client = signed_in(cast.auditor)
    for path, specifications in (
        (f"documents/{catalogue.document.pk}", ["CS-250 rev 1"]),
        (f"specifications/{catalogue.specification.pk}", []),
    ):
        paper = client.get(f"/shop/{path}/").context["page"].paper
        assert {line.label for line, _job in paper.relied_on.sheets} == relying
        assert [name for name, _url in paper.relied_on.specifications] == specifications
        assert (paper.relied_on.count, paper.withdraw_url) == (3 + len(specifications), "")


def test_withdrawing_asks_for_the_number_that_relies_on_it(signed_in, cast, catalogue, relying):
    client, page = signed_in(cast.planner), f"/shop/documents/{catalogue.document.pk}/withdraw/"
    assert client.get(page).context["page"].relied_on.count == 4
    for knowing in ("", "0", "3"):
        answer = client.post(page, {"reason": "revision C is out", "knowing": knowing})
        assert answer.status_code == 422
        assert list(answer.context["page"].form.errors) == ["knowing"]
    catalogue.document.refresh_from_db()
    assert catalogue.document.withdrawn_on is None
    assert client.post(page, {"reason": "revision C is out", "knowing": "4"}).status_code == 302
    catalogue.document.refresh_from_db()
    assert catalogue.document.withdrawn_on == today()
    assert '"relied_on_by":4' in LedgerEntry.objects.order_by("number").last().text


def test_withdrawing_that_cannot_be_is_refused(cast, catalogue):
    given = {"item": catalogue.specification, "knowing": 0}
    assert refused(withdraw, reason="x", by=cast.operator, **given) == ["person.role"]
    assert refused(withdraw, reason=" ", on=days(-900), by=cast.planner, **given) == ["data.dates.order", "data.required"]
    withdraw(reason="superseded", by=cast.planner, at=now(), **given)
    assert refused(withdraw, reason="again", by=cast.planner, **given) == ["document.withdrawn"]


def test_form_of_a_document_does_not_withdraw_it(signed_in, cast, catalogue):
    page = f"/shop/documents/{catalogue.document.pk}/edit/"
    form = signed_in(cast.planner).get(page).context["page"]
    stated = {name: form.form[name].value() for name in form.form.fields} | {"seen": form.seen, "withdrawn_on": str(today())}
    assert signed_in(cast.planner).post(page, stated).status_code == 302
    catalogue.document.refresh_from_db()
    assert catalogue.document.withdrawn_on is None


@pytest.mark.parametrize("sheets", [1, 3])
def test_page_of_a_document_queries(signed_in, cast, catalogue, django_assert_num_queries, sheets):
    for _ in range(sheets):
        factories.draft(cast, catalogue)
    client = signed_in(cast.auditor)
    client.get(f"/shop/documents/{catalogue.document.pk}/")
    with django_assert_num_queries(11):  # two of them ask whether the look is noted already
        paper = client.get(f"/shop/documents/{catalogue.document.pk}/").context["page"].paper
    assert len(paper.relied_on.sheets) == sheets
