"""Everything that happened goes into the ledger, in the transaction in which it happened."""

from __future__ import annotations

from typing import Any

from django.dispatch import receiver

from records.ledger import append
from shop.events import Event, published


@receiver(published, dispatch_uid="ledger")
def record_event(sender: type[Event], event: Event, **kwargs: Any) -> None:
    append(event)
