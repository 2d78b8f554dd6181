"""Long documents are drawn by the worker, and the page where they were asked for says how far they are."""

from __future__ import annotations

import json
from datetime import timedelta

import pytest
from django.db import IntegrityError, transaction
from django.urls import reverse

from inspection.acts.batches import open_batch
from records.acts import document_orders
from records.acts.document_orders import draw_order, order_document
from records.acts.lot_changes import SPLIT_MEANING, SplitPart, split_lot
from records.document_orders import PATIENCE, DocumentOrder
from records.evidence_orders import EvidenceOrder
from records.models import IssuedDocument
from records.pdf import pages_told
from shop.clock import now, shop_day
from shop.finding import Refused
from tests import factories
from tests.records.conftest import draw
from tests.records.test_prove_pages import text_of


@pytest.fixture
def everything_is_long(monkeypatch):
    monkeypatch.setattr(document_orders, "LONG", 1)


def test_pages_are_told_in_order_while_a_document_is_laid_out():
    told = []
    with pages_told(told.append):
        draw("<html><body>" + "<p style='break-after: page'>x</p>" * 5 + "</body></html>")
    count = len(told)
    draw()

    assert told[:5] == [1, 2, 3, 4, 5]
    assert len(told) == count


def test_short_record_is_issued_at_once(signed_in, cast, batch, shop_key):
    signed_in(cast.auditor).post(reverse("prove:issue", args=["batch-record", batch.pk]))

    assert not DocumentOrder.objects.exists()
    assert IssuedDocument.objects.get(kind="batch record").subject_id == batch.pk


def test_long_record_is_left_to_the_worker_and_the_page_leads_to_it(
    signed_in, cast, batch, shop_key, everything_is_long, django_capture_on_commit_callbacks
):
    client = signed_in(cast.auditor)

    with django_capture_on_commit_callbacks():  # nobody has worked on it yet
        answer = client.post(reverse("prove:issue", args=["batch-record", batch.pk]))
    order = DocumentOrder.objects.get()
    waiting = text_of(client.get(answer.url))
    drawn = draw_order(key=order.pk)
    part = text_of(client.get(answer.url, headers={"HX-Request": "true"}))
    after = client.get(answer.url)

    assert "waits for the worker" in waiting
    assert "hx-get" in waiting
    assert drawn.document == IssuedDocument.objects.get(kind="batch record")
    assert drawn.pages >= 1
    assert "hx-get" not in part
    assert after.url == reverse("prove:document", args=[drawn.document.number, 1])


def test_order_is_drawn_once(cast, batch, shop_key):
    order = order_document(of=batch, by=cast.auditor, at=now())
    draw_order(key=order.pk)

    assert draw_order(key=order.pk).heard_at == DocumentOrder.objects.get().heard_at
    assert IssuedDocument.objects.filter(kind="batch record").count() == 1


def test_order_without_a_key_says_what_is_missing(signed_in, cast, batch, settings, tmp_path):
    settings.SHOP_KEY_DIR = tmp_path / "none"
    order = order_document(of=batch, by=cast.auditor, at=now())

    assert draw_order(key=order.pk).state == "broken"
    assert "cannot be sealed" in text_of(signed_in(cast.auditor).get(reverse("prove:document-order", args=[order.pk])))


def test_order_nobody_works_on_is_said_to_be_lost(signed_in, cast, batch):
    order = order_document(of=batch, by=cast.auditor, at=now() - PATIENCE - timedelta(seconds=1))

    page = text_of(signed_in(cast.auditor).get(reverse("prove:document-order", args=[order.pk])))

    assert "none runs" in page
    assert "hx-get" not in page


def test_record_of_an_open_batch_is_refused(cast, catalogue):
    sheet = factories.released(cast, catalogue)
    opened = open_batch(termination=sheet.terminations.get(), quantity=50, by=cast.operator, at=now())
    with pytest.raises(Refused) as refused:
        order_document(of=opened, by=cast.auditor, at=now())

    assert [f.rule for f in refused.value.findings] == ["document.subject"]
    assert not DocumentOrder.objects.exists()


@pytest.mark.parametrize(("kind", "name"), [("shipment-trace", "SH-1"), ("lot-trace", "HL-1")])
def test_long_trace_is_left_to_the_worker(signed_in, cast, shipment, shop_key, monkeypatch, django_capture_on_commit_callbacks, kind, name):
    monkeypatch.setattr(document_orders, "LONG_TRACE", 1)
    of = shipment if kind == "shipment-trace" else shipment.lots.get()
    client = signed_in(cast.auditor)

    with django_capture_on_commit_callbacks(execute=True):
        answer = client.post(reverse("prove:issue", args=[kind, of.pk]))
    order = DocumentOrder.objects.get()

    assert answer.url == reverse("prove:document-order", args=[order.pk])
    assert (order.of, order.state) == (of, "done")
    assert order.document == IssuedDocument.objects.get(kind="trace report")
    assert name in order.document.title
    part = text_of(client.get(answer.url, headers={"HX-Request": "true"}))
    assert reverse("prove:document", args=[order.document.number, 1]) in part


def test_long_trace_goes_through_lots_in_lots(lot, cast, hand, monkeypatch):
    at = now()
    (part,) = split_lot(lot=lot, parts=[SplitPart("HL-1-A", 30)], by=cast.quality, at=at, signing=hand("quality").sign(SPLIT_MEANING, at))
    monkeypatch.setattr(document_orders, "LONG_TRACE", 1)
    assert document_orders.is_long(part)
    monkeypatch.setattr(document_orders, "LONG_TRACE", 2)
    assert not document_orders.is_long(part)


def test_package_with_many_batches_is_left_to_the_worker(
    signed_in, cast, shipment, shop_key, monkeypatch, django_capture_on_commit_callbacks
):
    monkeypatch.setattr(document_orders, "LONG_TRACE", 1)

    with django_capture_on_commit_callbacks():
        answer = signed_in(cast.auditor).post(reverse("prove:evidence", args=["shipment", "SH-1"]))

    order = EvidenceOrder.objects.get()
    assert (order.of, order.number, order.state) == ("shipment", "SH-1", "waiting")
    assert answer.url == reverse("prove:evidence-order", args=[order.pk])


def test_long_audit_trail_is_left_to_the_worker_with_what_was_asked_for(
    signed_in, cast, batch, shop_key, monkeypatch, django_capture_on_commit_callbacks
):
    monkeypatch.setattr(document_orders, "LONG_TRAIL", 2)
    client = signed_in(cast.auditor)
    address = reverse("prove:trail-issue", args=["batch", batch.pk])

    with django_capture_on_commit_callbacks(execute=True):
        answer = client.post(f"{address}?by={cast.operator.username}")
    order = DocumentOrder.objects.get()

    assert answer.url == reverse("prove:document-order", args=[order.pk])
    assert order.state == "done"
    document = IssuedDocument.objects.get(kind="audit trail")
    assert (document.subject_kind, document.subject_id) == ("batch", batch.pk)
    said = json.loads(document.record)
    assert {line["by"] for line in said["entries"]} == {cast.operator.name}
    part = text_of(client.get(answer.url, headers={"HX-Request": "true"}))
    assert reverse("prove:document", args=[document.number, document.issue]) in part
    # Nobody did anything on it yesterday: that is a short one, and issued at once.
    client.post(f"{address}?to={shop_day(now()) - timedelta(days=1)}")
    assert IssuedDocument.objects.filter(kind="audit trail").count() == 2
    assert DocumentOrder.objects.count() == 1


def test_order_is_about_one_thing(cast, batch):
    order = order_document(of=batch, by=cast.auditor, at=now())
    order.trail_id = batch.pk
    with pytest.raises(IntegrityError), transaction.atomic():
        order.save()
