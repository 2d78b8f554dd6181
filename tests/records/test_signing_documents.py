"""People sign issued documents: who, in which order, what the page says, and the file that comes of it."""

import json

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse

from records.acts.documents import document_bytes, issue_first_article, issue_setup_sheet
from records.acts.signing import current_bytes, sign_document, signed_state
from records.demo.walk import Hand, sample_at, set_up
from records.document_signatures import DocumentSignature
from records.models import LedgerEntry
from records.verification import verify_pdf
from shop.clock import now
from shop.finding import Refused
from shop.sign_on import sign
from shop.wording import worded
from tests import factories
from tests.remembered import remembered


@pytest.fixture(autouse=True)
def _there_is_a_key(shop_key):
    """Every document of this module is sealed."""


@pytest.fixture
@remembered
def running(cast, catalogue):
    """A batch whose first piece was approved."""
    hand, inspector = (Hand(person, person.badge, factories.PIN) for person in (cast.operator, cast.inspector))
    termination = factories.released(cast, catalogue, inspector_signs=True).terminations.get()
    batch = set_up(termination, ["AP-031", "TL-2001", "WL-1001", "MIC-01", "CAL-01", "PULL-01"], 100, hand, now)
    sample_at(batch, "first piece", 5, hand, now, inspector)
    return batch


@pytest.fixture
@remembered
def report(running, cast):
    """A first-article report, with places for operator, inspector and quality."""
    return issue_first_article(batch=running, by=cast.inspector, at=now())


def put(document, meaning, person, *, seen=None, says=None):
    signing = sign(identifier=person.username, secret=factories.PIN, meaning=says or f"document {meaning}", at=now())
    seen = seen or signed_state(document).sha256
    return sign_document(document=document, meaning=meaning, by=person, at=now(), signing=signing, seen_sha256=seen)


def refused(act, *args, **given):
    with pytest.raises(Refused) as error:
        act(*args, **given)
    assert all(worded(finding).sentence for finding in error.value.findings)
    return [finding.rule for finding in error.value.findings]


def test_three_people_sign_in_sequence_and_the_file_stands(report, cast, shop_key):
    for meaning, person in (("performed", cast.operator), ("checked", cast.inspector), ("approved", cast.quality)):
        row = put(report, meaning, person)
        assert (row.meaning, row.printed_name) == (meaning, person.name)

    found = verify_pdf(current_bytes(report), trusted_root=shop_key.root)
    assert found.problems == ()
    assert found.stands
    assert [(one.meaning, one.username) for one in found.people] == [
        ("performed", cast.operator.username),
        ("checked", cast.inspector.username),
        ("approved", cast.quality.username),
    ]
    assert verify_pdf(document_bytes(report), trusted_root=shop_key.root).people == ()  # what was issued is still there


def test_ledger_names_the_file_before_and_after_and_holds_the_signature(report, cast):
    row = put(report, "performed", cast.operator)
    entry = LedgerEntry.objects.get(kind="document.signed")
    content = json.loads(entry.text)["content"]
    assert (content["file_sha256"], content["signed_sha256"]) == (report.sha256, row.sha256)
    assert (entry.signature.person, entry.signature.meaning) == (cast.operator, "document performed")


def test_signature_left_out_cannot_be_added_behind_a_later_one(report, cast):
    put(report, "checked", cast.inspector)
    assert refused(put, report, "performed", cast.operator) == ["document.order"]


def test_each_place_is_signed_once_and_each_person_signs_once(report, cast):
    put(report, "performed", cast.operator)
    factories.PersonRole.objects.create(person=cast.operator, role="inspector")
    both = type(cast.operator).objects.get(pk=cast.operator.pk)
    assert refused(put, report, "performed", both) == ["document.signed", "document.second"]
    assert refused(put, report, "checked", both) == ["document.second"]


def test_role_is_asked_for(report, cast):
    assert refused(put, report, "approved", cast.operator) == ["person.role"]
    assert refused(put, report, "performed", cast.auditor) == ["person.role"]
    assert not DocumentSignature.objects.exists()


def test_file_signed_meanwhile_is_not_signed_unseen(report, cast):
    seen = report.sha256
    put(report, "performed", cast.operator)
    assert refused(put, report, "checked", cast.inspector, seen=seen) == ["sign.stale"]


def test_signature_for_something_else_is_refused(report, cast):
    assert refused(put, report, "performed", cast.operator, says="batch closed") == ["sign.other"]
    assert refused(put, report, "sealed", cast.quality) == ["document.meaning"]


def test_earlier_issue_is_not_signed(report, running, cast, monkeypatch):
    from records.models import IssuedDocument  # noqa: PLC0415

    later = {f.attname: getattr(report, f.attname) for f in IssuedDocument._meta.fields if f.attname != "id"} | {"issue": 2}
    IssuedDocument.objects.create(**later)
    assert refused(put, report, "performed", cast.operator) == ["document.superseded"]


def test_setup_sheet_has_no_place_of_its_own(running, cast):
    sheet = issue_setup_sheet(sheet=running.termination.sheet, by=cast.planner, at=now())
    assert refused(put, sheet, "approved", cast.quality) == ["document.meaning"]


def test_account_closed_later_breaks_nothing_that_was_signed(report, cast, shop_key):
    put(report, "performed", cast.operator)
    type(cast.operator).objects.filter(pk=cast.operator.pk).update(is_active=False)
    assert verify_pdf(current_bytes(report), trusted_root=shop_key.root).stands
    assert signed_state(report).signatures[0].printed_name == cast.operator.name


def test_damaged_file_is_neither_shown_nor_signed(report, cast, settings):
    row = put(report, "performed", cast.operator)
    path = next(settings.MEDIA_ROOT.rglob(f"{row.sha256}.pdf"))
    path.write_bytes(path.read_bytes() + b"\n")
    assert refused(current_bytes, report) == ["document.damaged"]
    assert refused(put, report, "checked", cast.inspector) == ["document.damaged"]


# --- Pages -----------------------------------------------------------------------------------------------------------------------


def at(name, document):
    return reverse(f"prove:{name}", args=[document.number, document.issue])


def test_page_offers_the_signature_to_who_may_give_it_and_says_who_is_next(report, cast, signed_in):
    for person, offered in ((cast.operator, True), (cast.quality, True), (cast.planner, False), (cast.auditor, False)):
        page = signed_in(person).get(at("document", report)).content.decode()
        assert (at("document-sign", report) in page) is offered, person
        assert "Performed (operator)" in page


def test_person_signs_at_the_desk_and_opens_the_signed_file(report, cast, signed_in, shop_key):
    client = signed_in(cast.operator)
    page = client.get(at("document-sign", report)).context["page"]
    assert (page.meaning, page.sha256) == ("performed", report.sha256)
    done = client.post(at("document-sign", report), {"secret": factories.PIN, "seen_sha256": page.sha256}, follow=True)
    assert done.redirect_chain == [(at("document", report), 302)]
    assert cast.operator.name in done.content.decode()
    signed = client.get(at("document-file", report)).content
    assert [one.username for one in verify_pdf(signed, trusted_root=shop_key.root).people] == [cast.operator.username]
    as_issued = client.get(f"{at('document-file', report)}?as-issued").content
    assert verify_pdf(as_issued, trusted_root=shop_key.root).people == ()


def test_wrong_secret_at_the_desk_signs_nothing_and_says_so(report, cast, signed_in):
    client = signed_in(cast.operator)
    answer = client.post(at("document-sign", report), {"secret": "0000", "seen_sha256": report.sha256})
    assert (answer.status_code, DocumentSignature.objects.count()) == (422, 0)
    assert "tries" in answer.content.decode()


def test_person_without_an_open_place_is_told(report, cast, signed_in):
    answer = signed_in(cast.planner).get(at("document-sign", report))
    assert answer.status_code == 422
    assert "no open place" in answer.content.decode()


def test_compared_file_is_recognised_with_and_without_signatures(report, cast, signed_in):
    put(report, "performed", cast.operator)
    client = signed_in(cast.auditor)
    for data, told in ((document_bytes(report), "before anybody signed"), (current_bytes(report), "every signature so far")):
        upload = SimpleUploadedFile("x.pdf", data, "application/pdf")
        shown = client.post(at("document", report), {"file": upload})
        assert (shown.context["comparison"].same, told in shown.content.decode()) == (True, True)
