"""What an auditor, a planner and quality see and do under Prove."""

from __future__ import annotations

import html
import io
import re
import zipfile

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from inspection.acts.batches import open_batch
from records.acts.documents import document_bytes, issue_batch_record, storage_name
from records.models import HarnessLot, IssuedDocument, Shipment
from shop.clock import now
from shop.jobs import Customer
from shop.materials import WireLot
from shop.people import Person
from tests import factories


def text_of(response):
    return " ".join(response.content.decode().split())


def test_number_of_a_shipment_opens_it(signed_in, cast, shipment):
    answer = signed_in(cast.auditor).get(reverse("prove:search"), {"number": " sh-1 "})

    assert answer.status_code == 302
    assert answer.url == reverse("prove:shipment", args=["SH-1"])


def test_unknown_number_is_said_to_be_unknown(signed_in, cast, shipment):
    page = signed_in(cast.auditor).get(reverse("prove:search"), {"number": "SH-9"})

    assert "Nothing is called “SH-9”" in text_of(page)


def test_shipment_shows_everything_behind_it_and_each_line_opens_its_record(signed_in, cast, shipment, batch):
    client = signed_in(cast.auditor)

    page = client.get(reverse("prove:shipment", args=["SH-1"]))

    shown = text_of(page)
    for evidence in ("Omar Reyes: crimp, TR-118", "WL-1001 of W-075-RD", "TL-2001 of T-250-F", "AP-031", "MIC-01", "60 of 100 harnesses"):
        assert evidence in shown
    urls = {line.url for row in page.context["page"].sections[0].rows for cell in row.cells for line in cell.evidence if line.url}
    assert len(urls) == 8
    for url in urls:
        assert client.get(url).status_code == 200, url


def test_text_of_a_supplier_stays_text_in_cells_and_tree(signed_in, cast, catalogue, shipment):
    WireLot.objects.filter(lot_number="WL-1001").update(certificate='<b>K&W"</b>', supplier="<b>Kestrel & Lane</b>")
    client = signed_in(cast.auditor)

    cells = client.get(reverse("prove:shipment", args=["SH-1"])).content.decode()
    tree = client.get(reverse("prove:trace", args=["shipment", shipment.pk])).content.decode()

    assert "certificate &lt;b&gt;K&amp;W&quot;&lt;/b&gt;" in cells
    assert "&lt;b&gt;Kestrel &amp; Lane&lt;/b&gt;" in tree
    assert "<b>" not in cells + tree


def test_reel_shows_batches_lots_shipments_and_customers(signed_in, cast, shipment):
    page = signed_in(cast.auditor).get(reverse("prove:where", args=["terminal-lot", "TL-2001"])).context["page"]

    assert (len(page.rows), page.pieces, page.lots, page.shipments, page.customers) == (1, 104, 1, 1, ["Brunnen Pumps"])


def rows_of(response):
    """The texts of a table's cells, one line of text a row."""
    body = response.content.decode().partition("<tbody>")[2].partition("</tbody>")[0]
    return [" ".join(html.unescape(re.sub(r"<[^>]+>", " ", row)).split()) for row in body.split("</tr>")[:-1]]


def test_table_says_where_each_batch_went_in_the_readers_language_and_each_name_opens(signed_in, cast, shipment, batch):
    HarnessLot.objects.filter(number="HL-1").update(number="HL <1> & 2")
    Customer.objects.update(name="<b>Brunnen & Sons</b>")
    client, address = signed_in(cast.auditor), reverse("prove:where", args=["terminal-lot", "TL-2001"])

    page = client.get(address)
    Person.objects.filter(pk=cast.auditor.pk).update(language="de")
    german = rows_of(client.get(address))[0]

    (row,) = rows_of(page)
    assert row.startswith(f"{batch.number} closed {batch.termination.sheet} 104 100 HL <1> & 2 100 pieces SH-1")
    assert "<b>" not in page.content.decode()
    assert "&lt;b&gt;Brunnen &amp; Sons&lt;/b&gt;, 60 harnesses" in page.content.decode()
    assert "100 Stücke" in german
    assert "60 Kabelsätze" in german
    for url in re.findall(r'href="([^"]+)"', page.content.decode().partition("<tbody>")[2].partition("</tbody>")[0]):
        assert client.get(html.unescape(url)).status_code == 200, url


def test_batch_that_went_nowhere_is_said_to_be_in_no_lot(signed_in, cast, batch):
    (row,) = rows_of(signed_in(cast.auditor).get(reverse("prove:where", args=["terminal-lot", "TL-2001"])))

    assert row.startswith(f"{batch.number} closed {batch.termination.sheet} 104 100 none not shipped 20")


def test_gauge_outside_the_time_asked_for_shows_nothing(signed_in, cast, shipment):
    client = signed_in(cast.auditor)
    tomorrow = factories.days(1).isoformat()

    inside = client.get(reverse("prove:where", args=["gauge", "MIC-01"]), {"from": factories.today().isoformat()}).context["page"]
    after = client.get(reverse("prove:where", args=["gauge", "MIC-01"]), {"from": tomorrow}).context["page"]

    assert (len(inside.rows), len(after.rows)) == (1, 0)


def test_reel_that_was_never_used_reaches_nobody(signed_in, cast, shipment, catalogue):
    page = signed_in(cast.auditor).get(reverse("prove:where", args=["terminal-lot", "TL-3001"]))

    assert page.context["page"].rows == []
    assert "It was used in no batch" in text_of(page)


def test_ten_times_the_closed_batches_ask_no_more_questions_at_the_start(signed_in, cast, batch, django_assert_num_queries):
    client = signed_in(cast.auditor)
    client.get(reverse("prove:search"))
    with CaptureQueriesContext(connection) as asked:
        page = client.get(reverse("prove:search"))
    assert [left for _batch, left in page.context["page"].lists.waiting] == [batch.good]

    wanted = {batch.number: batch.good}
    for number in range(10):
        batch.pk, batch.number, batch.good, batch.made = None, f"B-OLD-{number}", 10 + number, 10 + number
        batch.scrap = batch.destroyed = batch.held = 0
        batch.save()
        wanted[batch.number] = batch.good

    with django_assert_num_queries(len(asked)):
        page = client.get(reverse("prove:search"))
    assert {waiting.number: left for waiting, left in page.context["page"].lists.waiting} == wanted


def test_auditor_is_offered_no_lot_and_no_shipment(signed_in, cast, shipment):
    page = text_of(signed_in(cast.auditor).get(reverse("prove:search")))

    assert reverse("prove:new-lot") not in page
    assert reverse("prove:new-shipment") not in page


def test_auditor_cannot_build_a_lot_by_hand(signed_in, cast, batch):
    sent = {
        "job": batch.termination.sheet.job.number,
        "number": "HL-9",
        "quantity": "100",
        f"pieces-{batch.pk}": "100",
        "secret": factories.PIN,
    }

    answer = signed_in(cast.auditor).post(reverse("prove:new-lot"), sent)

    assert answer.status_code == 422
    assert not HarnessLot.objects.exists()


def test_planner_builds_a_lot_from_the_pieces_proposed(signed_in, cast, batch):
    client, job = signed_in(cast.planner), batch.termination.sheet.job
    offered = client.get(reverse("prove:new-lot"), {"job": job.number}).context["page"]
    assert [(c.left, c.needed, c.given) for c in offered.choices] == [(100, 100, "100")]

    sent = {"job": job.number, "number": offered.number, "quantity": "100", f"pieces-{batch.pk}": "100", "secret": factories.PIN}
    answer = client.post(reverse("prove:new-lot"), sent)

    assert answer.url == reverse("prove:lot", args=[offered.number])


def test_lot_with_a_wrong_pin_is_refused_and_keeps_what_was_typed(signed_in, cast, batch):
    sent = {
        "job": batch.termination.sheet.job.number,
        "number": "HL-X",
        "quantity": "90",
        f"pieces-{batch.pk}": "90",
        "secret": "000000",
    }

    answer = signed_in(cast.planner).post(reverse("prove:new-lot"), sent)

    assert answer.status_code == 422
    assert "do not go together" in text_of(answer)
    assert [c.given for c in answer.context["page"].choices] == ["90"]
    assert not HarnessLot.objects.exists()


def test_short_lot_says_which_termination_is_short(signed_in, cast, batch):
    sent = {
        "job": batch.termination.sheet.job.number,
        "number": "HL-X",
        "quantity": "100",
        f"pieces-{batch.pk}": "99",
        "secret": factories.PIN,
    }

    answer = signed_in(cast.planner).post(reverse("prove:new-lot"), sent)

    assert answer.status_code == 422
    assert "Lead L1, end A: 99 pieces for 100 harnesses." in text_of(answer)


def test_quality_ships_what_is_left_and_not_more(signed_in, cast, catalogue, shipment, lot):
    client = signed_in(cast.quality)
    sent = {"customer": catalogue.customer.code, "number": "SH-2", "secret": factories.PIN}

    too_many = client.post(reverse("prove:new-shipment"), sent | {f"harnesses-{lot.pk}": "41"})
    right = client.post(reverse("prove:new-shipment"), sent | {f"harnesses-{lot.pk}": "40"})

    assert too_many.status_code == 422
    assert "41 harnesses of lot HL-1 are asked for, 40 are left." in text_of(too_many)
    assert right.url == reverse("prove:shipment", args=["SH-2"])
    assert set(Shipment.objects.values_list("number", flat=True)) == {"SH-1", "SH-2"}


def test_trace_report_is_issued_and_opens_as_pdf(signed_in, cast, shipment, shop_key):
    client = signed_in(cast.auditor)

    answer = client.post(reverse("prove:issue", args=["shipment-trace", shipment.pk]), follow=True)
    pdf = client.get(reverse("prove:document-file", args=["TR-SH-1", 1]))

    assert "Trace report SH-1" in text_of(answer)
    assert pdf["Content-Type"] == "application/pdf"
    assert pdf.content.startswith(b"%PDF-1.7")


def test_document_without_a_key_is_refused_with_the_next_step(signed_in, cast, shipment, settings, tmp_path):
    settings.SHOP_KEY_DIR = tmp_path / "no-keys"

    answer = signed_in(cast.auditor).post(reverse("prove:issue", args=["shipment-trace", shipment.pk]))

    assert answer.status_code == 422
    assert "shop_key --create" in text_of(answer)
    assert not IssuedDocument.objects.exists()


def test_batch_in_work_has_no_batch_record_yet(signed_in, cast, catalogue, hand, shop_key):
    sheet = factories.released(cast, catalogue)
    opened = open_batch(termination=sheet.terminations.get(), quantity=10, by=cast.operator, at=now())

    answer = signed_in(cast.quality).post(reverse("prove:issue", args=["batch-record", opened.pk]))

    assert answer.status_code == 422
    assert "A batch record is issued once the batch is closed." in text_of(answer)


@pytest.mark.parametrize(("altered", "said"), [(False, "It is, byte for byte"), (True, "It is not this document as issued")])
def test_file_somebody_holds_is_compared_with_what_was_issued(signed_in, cast, batch, shop_key, altered, said):
    document = issue_batch_record(batch=batch, by=cast.operator, at=now())
    data = bytearray(document_bytes(document))
    if altered:
        data[len(data) // 2] ^= 1

    upload = SimpleUploadedFile("record.pdf", bytes(data), content_type="application/pdf")
    answer = signed_in(cast.auditor).post(reverse("prove:document", args=[document.number, 1]), {"file": upload})

    assert said in text_of(answer)


def test_evidence_package_downloads_as_zip(signed_in, cast, shipment, shop_key):
    answer = signed_in(cast.auditor).post(reverse("prove:evidence", args=["shipment", "SH-1"]))

    assert answer["Content-Disposition"] == 'attachment; filename="evidence-SH-1.zip"'
    assert "verify.py" in zipfile.ZipFile(io.BytesIO(answer.content)).namelist()


def test_ledger_page_verifies_and_filters(signed_in, cast, shipment):
    page = signed_in(cast.auditor).get(reverse("prove:ledger"), {"verify": "", "kind": "shipment.sent"})

    assert "The ledger is whole" in text_of(page)
    assert [entry.kind for entry in page.context["rows"]] == ["shipment.sent"]


def test_stored_document_that_was_damaged_is_not_handed_out(signed_in, cast, batch, shop_key, settings):
    document = issue_batch_record(batch=batch, by=cast.operator, at=now())
    path = settings.MEDIA_ROOT / storage_name(document.sha256)
    path.chmod(0o600)
    path.write_bytes(path.read_bytes() + b" ")

    answer = signed_in(cast.auditor).get(reverse("prove:document-file", args=[document.number, 1]))

    assert answer.status_code == 422
    assert "its hash differs" in text_of(answer)
