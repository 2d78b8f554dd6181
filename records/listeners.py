"""Everything that happened goes into the ledger, in the transaction in which it happened; documents follow after it, in the background."""

from __future__ import annotations

from typing import Any

from django.db import transaction
from django.dispatch import receiver

from inspection.events import BatchClosed
from records import tasks
from records.ledger import append
from shop.events import Event, SheetReleased, published


@receiver(published, dispatch_uid="ledger")
def record_event(sender: type[Event], event: Event, **kwargs: Any) -> None:
    append(event)


@receiver(published, sender=SheetReleased, dispatch_uid="issue-setup-sheet")
def issue_released_sheet(sender: type[Event], event: SheetReleased, **kwargs: Any) -> None:
    # After the commit: a queue that cannot be written, or a PDF that cannot be drawn, must not undo a release.
    transaction.on_commit(lambda: tasks.issue_released_sheet.enqueue(event.subject[1], event.by.pk, event.at.isoformat()), robust=True)


@receiver(published, sender=BatchClosed, dispatch_uid="issue-batch-documents")
def issue_closed_batch(sender: type[Event], event: BatchClosed, **kwargs: Any) -> None:
    transaction.on_commit(lambda: tasks.issue_closed_batch.enqueue(event.subject[1], event.by.pk, event.at.isoformat()), robust=True)
