"""Everything that happened goes into the ledger, in the transaction in which it happened; documents follow after it, in the background."""

from __future__ import annotations

from datetime import date, datetime
from typing import Any

from django.conf import settings
from django.db import transaction
from django.dispatch import receiver

from inspection.events import BatchClosed
from records import tasks
from records.ledger import append
from shop.events import Event, SheetReleased, published


@receiver(published, dispatch_uid="ledger")
def record_event(sender: type[Event], event: Event, **kwargs: Any) -> None:
    appended = append(event)
    # After the commit: only then is the number known everywhere, the worker reads what is committed, and a checkpoint that cannot be made
    # must not undo an act.
    transaction.on_commit(lambda: _ask_for_checkpoint(appended.number, event.at), robust=True)


_asked: list[date] = []


def _ask_for_checkpoint(number: int, at: datetime) -> None:
    """Every so many entries, and by the first act of a day in each process; whether one is due the task finds out."""
    if number % settings.CHECKPOINT_ENTRIES == 0 or _asked != [at.date()]:
        _asked[:] = [at.date()]
        tasks.checkpoint_ledger.enqueue()


@receiver(published, sender=SheetReleased, dispatch_uid="issue-setup-sheet")
def issue_released_sheet(sender: type[Event], event: SheetReleased, **kwargs: Any) -> None:
    # After the commit: a queue that cannot be written, or a PDF that cannot be drawn, must not undo a release.
    transaction.on_commit(lambda: tasks.issue_released_sheet.enqueue(event.subject[1], event.by.pk, event.at.isoformat()), robust=True)


@receiver(published, sender=BatchClosed, dispatch_uid="issue-batch-documents")
def issue_closed_batch(sender: type[Event], event: BatchClosed, **kwargs: Any) -> None:
    transaction.on_commit(lambda: tasks.issue_closed_batch.enqueue(event.subject[1], event.by.pk, event.at.isoformat()), robust=True)
