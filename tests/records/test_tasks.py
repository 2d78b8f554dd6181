"""Documents follow a release and a closed batch in the background."""

from __future__ import annotations

from records import listeners
from records.demo.walk import Hand, run_batch
from records.models import IssuedDocument
from shop.clock import now
from tests import factories

CODES = ["AP-031", "TL-2001", "WL-1001", "MIC-01", "CAL-01", "PULL-01"]


def issued():
    return sorted(IssuedDocument.objects.values_list("kind", flat=True))


def test_released_sheet_and_closed_batch_get_their_documents(cast, catalogue, shop_key, django_capture_on_commit_callbacks):
    with django_capture_on_commit_callbacks(execute=True):
        sheet = factories.released(cast, catalogue)
    assert issued() == ["setup sheet"]

    with django_capture_on_commit_callbacks(execute=True):
        run_batch(sheet.terminations.get(), CODES, 100, Hand(cast.operator, cast.operator.badge, factories.PIN), now)

    assert issued() == ["batch record", "first article", "setup sheet"]
    assert {d.issued_by for d in IssuedDocument.objects.exclude(kind="setup sheet")} == {cast.operator}


def test_release_stands_although_its_document_cannot_be_sealed(cast, catalogue, settings, tmp_path, django_capture_on_commit_callbacks):
    settings.SHOP_KEY_DIR = tmp_path / "no-keys"

    with django_capture_on_commit_callbacks(execute=True):
        sheet = factories.released(cast, catalogue)

    sheet.refresh_from_db()
    assert sheet.is_released
    assert issued() == []


def test_release_stands_although_the_queue_cannot_be_written(cast, catalogue, monkeypatch, django_capture_on_commit_callbacks):
    class Broken:
        def enqueue(self, *arguments):
            raise OSError("queue is full")

    monkeypatch.setattr(listeners.tasks, "issue_released_sheet", Broken())

    with django_capture_on_commit_callbacks(execute=True):
        sheet = factories.released(cast, catalogue)

    sheet.refresh_from_db()
    assert sheet.is_released
