"""Long documents: asked for by a person, drawn by the queue's worker, which says how far it is."""

from __future__ import annotations

import time
from datetime import datetime
from typing import Any

from django.db import transaction

from inspection.models import Batch, BatchStatus, Reading
from records.acts.documents import issue_batch_record, issue_trace_report, not_yet
from records.acts.reports import issue_audit_trail
from records.document_orders import DocumentOrder, OrderState, TrailAsked
from records.models import HarnessLot, HarnessLotBatch, IssuedDocument, Shipment
from records.pdf import PangoMissing, pages_told
from records.shop_key import KeyMissing, KeyUnreadable
from records.trace import lots_behind, parts_behind
from records.trails import Subject, entries_about
from shop.clock import now
from shop.finding import Refused, misfit, refuse_if
from shop.people import Person
from shop.permissions import Deed, permission_findings
from shop.wording import worded

LONG = 300
"""Readings from which a batch record is left to the worker: some ten pages, a few seconds."""

LONG_TRACE = 30
"""Batches behind a lot or a shipment from which its trace report, and a package with their records, are left to the worker."""

LONG_TRAIL = 300
"""Entries from which an audit trail is left to the worker."""

SECONDS_BETWEEN_NEWS = 0.5

Ordered = Batch | HarnessLot | Shipment | TrailAsked


def is_long(of: Ordered) -> bool:
    """Whether drawing the record of a batch, the trace of a lot or a shipment, or an audit trail takes longer than a person waits."""
    if isinstance(of, Batch):
        return Reading.objects.filter(sample__batch=of)[:LONG].count() >= LONG
    if isinstance(of, TrailAsked):
        entries = entries_about(Subject(of.kind, of.pk, of.number), begin=of.begin, end=of.end, by=of.about_person)
        return entries.order_by()[:LONG_TRAIL].count() >= LONG_TRAIL
    lots = [of] if isinstance(of, HarnessLot) else [lot for lot, _quantity in lots_behind(of)]
    every = {lot.pk for lot in lots} | {part.used_id for part in parts_behind(lot.pk for lot in lots)}
    return HarnessLotBatch.objects.filter(lot__in=every)[:LONG_TRACE].count() >= LONG_TRACE


def order_document(*, of: Ordered, by: Person, at: datetime) -> DocumentOrder:
    """Have the record of a closed batch, the trace report of a lot or a shipment, or an audit trail drawn by the worker. Raises Refused."""
    findings = permission_findings(by, Deed.ISSUE_DOCUMENT)
    if isinstance(of, Batch) and of.status != BatchStatus.CLOSED:
        findings.append(not_yet("batch record", of.number, of.status, "A batch record is issued once the batch is closed."))
    refuse_if(findings)
    from records.tasks import draw_ordered_document  # noqa: PLC0415  # the task calls this module

    with transaction.atomic():
        order = DocumentOrder.objects.create(**_about(of), by=by, at=at, heard_at=at)
        transaction.on_commit(lambda: draw_ordered_document.enqueue(order.pk))
    return order


def _about(of: Ordered) -> dict[str, Any]:
    """The columns that say what an order is about."""
    if isinstance(of, TrailAsked):
        return {
            "trail_kind": of.kind,
            "trail_id": of.pk,
            "trail_name": of.number[:120],
            "trail_begin": of.begin,
            "trail_end": of.end,
            "trail_person": of.about_person[:150],
        }
    return {"batch" if isinstance(of, Batch) else "lot" if isinstance(of, HarnessLot) else "shipment": of}


def draw_order(*, key: int) -> DocumentOrder:
    """Draw what was asked for: once, whoever comes first. What stops it is written into its row."""
    with transaction.atomic():
        order = DocumentOrder.objects.select_for_update(of=("self",)).get(pk=key)
        if order.state != OrderState.WAITING:
            return order
        order.state, order.heard_at = OrderState.DRAWING, now()
        order.save(update_fields=["state", "heard_at"])
    rows = DocumentOrder.objects.filter(pk=key)
    told_at = 0.0

    def tell(page: int) -> None:
        nonlocal told_at
        if time.monotonic() - told_at >= SECONDS_BETWEEN_NEWS:
            told_at = time.monotonic()
            rows.update(pages=page, heard_at=now())

    try:
        with pages_told(tell):
            document = _issue(order.of, by=order.by, at=now())
    except Refused as refused:
        rows.update(state=OrderState.BROKEN, heard_at=now(), fault=" ".join(str(worded(f).sentence) for f in refused.findings)[:500])
    except (PangoMissing, KeyMissing, KeyUnreadable) as error:
        said = worded(misfit("document.key", reason=str(error))).sentence
        rows.update(state=OrderState.BROKEN, heard_at=now(), fault=str(said)[:500])
    except Exception as error:
        rows.update(state=OrderState.BROKEN, heard_at=now(), fault=f"{type(error).__name__}: {error}"[:500])
        raise
    else:
        rows.update(state=OrderState.DONE, heard_at=now(), document=document)
    return rows.get()


def _issue(of: Ordered, *, by: Person, at: datetime) -> IssuedDocument:
    if isinstance(of, TrailAsked):
        subject = Subject(of.kind, of.pk, of.number)
        return issue_audit_trail(subject=subject, begin=of.begin, end=of.end, about_person=of.about_person, by=by, at=at)
    return issue_batch_record(batch=of, by=by, at=at) if isinstance(of, Batch) else issue_trace_report(of=of, by=by, at=at)
