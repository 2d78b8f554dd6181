"""What becomes of pieces that a closed batch kept on hold: scrap, rework where the plan allows it, use as is by concession, return."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from django.db import transaction
from django.db.models import F, OuterRef, QuerySet, Subquery, Sum
from django.db.models.functions import Coalesce

from inspection.acts.batches import batch_subject
from inspection.events import PiecesDisposed
from inspection.models import Batch, BatchStatus, Disposition, DispositionKind
from shop.acts.concessions import PIECE_RULE, use_concessions
from shop.clock import shop_day
from shop.concessions import Concession
from shop.events import Signing, publish
from shop.finding import Finding, misfit, refuse_if
from shop.people import Person
from shop.permissions import Deed, permission_findings
from shop.planning import concessions_on, live_concessions
from shop.sign_on import signing_findings
from shop.validation import clean

DISPOSED_MEANING = "disposition of held pieces"


def held_left(batch: Batch) -> int:
    """Held pieces of a closed batch that nobody has decided on yet."""
    if batch.status != BatchStatus.CLOSED:
        return 0
    decided = batch.dispositions.aggregate(n=Sum("quantity"))["n"] or 0
    return (batch.held or 0) - decided


def released_as_is_of(batches: Iterable[int]) -> QuerySet[Disposition]:
    """The dispositions by which a concession let held pieces through: they count as good ones when a lot is built."""
    return Disposition.objects.filter(batch__in=list(batches), kind=DispositionKind.USE_AS_IS)


def batches_with_held_pieces() -> QuerySet[Batch]:
    """Closed batches with held pieces that wait for a decision, the oldest first."""
    sums = Disposition.objects.filter(batch=OuterRef("pk")).order_by().values("batch").annotate(n=Sum("quantity")).values("n")
    return (
        Batch.objects.filter(status=BatchStatus.CLOSED, held__gt=0)
        .annotate(decided=Coalesce(Subquery(sums), 0))
        .filter(held__gt=F("decided"))
        .select_related("termination__sheet__job", "termination__tool", "termination__terminal")
        .order_by("closed_at", "pk")
    )


def concessions_for_pieces(batch: Batch, at: datetime) -> list[Concession]:
    """Live concessions that let pieces of this batch be used as they are."""
    t = batch.termination
    return [c for c in concessions_on(live_concessions([t.sheet_id], shop_day(at)), t) if c.rule == PIECE_RULE]


@dataclass(frozen=True, slots=True)
class DispositionInput:
    kind: str
    quantity: int
    note: str
    concession: str = ""


def dispose(*, batch: Batch, stated: DispositionInput, by: Person, at: datetime, signing: Signing) -> Disposition:
    """Quality decides on held pieces of a closed batch. Use as is needs a concession with enough pieces left."""
    with transaction.atomic():
        Batch.objects.select_for_update().get(pk=batch.pk)
        batch = Batch.objects.select_related("termination__sheet").get(pk=batch.pk)
        findings = permission_findings(by, Deed.DECIDE_HOLD) + signing_findings(signing, by, DISPOSED_MEANING)
        concession = Concession.objects.filter(number=stated.concession).first() if stated.concession else None
        refuse_if(findings + disposition_findings(batch, stated, concession, at, held_left(batch)))
        number = batch.dispositions.count() + 1
        row = Disposition(
            batch=batch,
            number=number,
            kind=stated.kind,
            quantity=stated.quantity,
            note=stated.note.strip(),
            concession=concession if stated.kind == DispositionKind.USE_AS_IS else None,
            by=by,
            at=at,
        )
        clean(row)
        row.save(force_insert=True)
        if row.concession is not None:
            use_concessions([row.concession.number], batch=f"{batch.number} disposition {number}", quantity=row.quantity, at=at)
        content = {
            "batch": batch.number,
            "kind": row.kind,
            "quantity": row.quantity,
            "note": row.note,
            "concession": row.concession.number if row.concession else "",
            "held_before": held_left(batch) + row.quantity,
        }
        publish(PiecesDisposed(by=by, at=at, subject=batch_subject(batch), content=content, signing=signing))
    return row


def disposition_findings(batch: Batch, stated: DispositionInput, concession: Concession | None, at: datetime, left: int) -> list[Finding]:
    """What stands against a decision on pieces of a batch. left: pieces that still wait for one."""
    found = []
    if stated.kind not in DispositionKind.values:
        found.append(misfit("data.invalid", "kind", message=f"{stated.kind} is no disposition."))
    if not 1 <= stated.quantity <= left:
        found.append(misfit("disposition.quantity", "quantity", quantity=stated.quantity, left=left, batch=batch.number))
    if not stated.note.strip():
        found.append(misfit("disposition.note", "note"))
    if stated.kind == DispositionKind.REWORK and not batch.termination.rework_allowed:
        found.append(misfit("disposition.rework", "kind", sheet=str(batch.termination.sheet)))
    if stated.kind == DispositionKind.USE_AS_IS:
        live = {c.pk: c for c in concessions_for_pieces(batch, at)}
        if concession is None or concession.pk not in live:
            found.append(misfit("disposition.concession", "concession", concession=stated.concession or "–", batch=batch.number))
        elif concession.quantity_limit is not None:
            remaining = concession.quantity_limit - (concession.uses.aggregate(n=Sum("quantity"))["n"] or 0)
            if stated.quantity > remaining:
                found.append(
                    misfit("concession.left", "quantity", concession=concession.number, left=max(remaining, 0), quantity=stated.quantity)
                )
    return found
