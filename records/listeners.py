"""Everything that happened goes into the ledger, in the transaction in which it happened; documents follow after it."""

from __future__ import annotations

import logging
from collections.abc import Callable
from typing import Any

from django.db import transaction
from django.dispatch import receiver

from inspection.events import BatchClosed
from inspection.models import Batch
from records.acts.documents import issue_batch_record, issue_first_article, issue_setup_sheet
from records.gather.batch import first_sample
from records.ledger import append
from records.pdf import PangoMissing
from records.shop_key import KeyMissing, KeyUnreadable
from shop.events import Event, SheetReleased, published
from shop.finding import Refused
from shop.jobs import SetupSheet

logger = logging.getLogger(__name__)


@receiver(published, dispatch_uid="ledger")
def record_event(sender: type[Event], event: Event, **kwargs: Any) -> None:
    append(event)


def _issue_later(what: str, act: Callable[[], object]) -> None:
    """Documents are drawn after the act has committed: a PDF that cannot be drawn must not undo a release."""

    def issue() -> None:
        try:
            act()
        except (PangoMissing, KeyMissing, KeyUnreadable, Refused, OSError) as error:
            # The page offers "issue" for as long as there is no document.
            logger.error("%s was not issued: %s", what, error)

    transaction.on_commit(issue)


@receiver(published, sender=SheetReleased, dispatch_uid="issue-setup-sheet")
def issue_released_sheet(sender: type[Event], event: SheetReleased, **kwargs: Any) -> None:
    sheet = SetupSheet.objects.get(pk=event.subject[1])
    _issue_later(f"Setup sheet {sheet}", lambda: issue_setup_sheet(sheet=sheet, by=event.by, at=event.at))


@receiver(published, sender=BatchClosed, dispatch_uid="issue-batch-documents")
def issue_closed_batch(sender: type[Event], event: BatchClosed, **kwargs: Any) -> None:
    batch = Batch.objects.get(pk=event.subject[1])
    if first_sample(batch) is not None:  # a batch that quality ended before its first piece has no report on one
        _issue_later(f"First-article report {batch}", lambda: issue_first_article(batch=batch, by=event.by, at=event.at))
    _issue_later(f"Batch record {batch}", lambda: issue_batch_record(batch=batch, by=event.by, at=event.at))
