"""What a nonconformance begins with: a hold, held pieces, a batch, a lot rejected by sample."""

from __future__ import annotations

from dataclasses import dataclass

from django.utils.translation import gettext as _

from inspection.acts.dispositions import held_left
from inspection.acts.nonconformances import Link, OpenInput
from inspection.defect_kinds import is_kind
from inspection.models import Batch, FoundAt, Hold, LinkKind, LotInspection, Origin, SetupScan
from inspection.occurrences import kinds_found_in
from shop.crib import Press
from shop.materials import TerminalLot, WireLot

Begun = tuple[OpenInput, tuple[Link, ...]]


@dataclass(frozen=True, slots=True)
class _Things:
    """What a batch was made with."""

    press: Press | None
    requirement: str


def _of_batch(batch: Batch) -> _Things:
    scan = SetupScan.objects.filter(batch=batch, accepted=True, press__isnull=False).select_related("press").order_by("-pk").first()
    t = batch.termination
    spec = t.specification
    requirement = _("setup sheet {sheet}, {specification}").format(sheet=t.sheet, specification=spec) if spec else str(t.sheet)
    return _Things(scan.press if scan else None, requirement)


def from_batch(batch: Batch, *, what: str = "", kind: str = "", quantity: int | None = None, origin: str = Origin.SEEN.value) -> OpenInput:
    """About a batch. batch: with its termination, sheet, terminal, specification and tool read along."""
    t, things = batch.termination, _of_batch(batch)
    wires = list(t.ordered_wires())
    return OpenInput(
        what=what,
        requirement=things.requirement,
        defect_kind=kind if is_kind(kind) else "",
        origin=origin,
        found_at=FoundAt.IN_PROCESS,
        quantity=quantity,
        batch=batch,
        tool=batch.tool or t.tool,
        press=things.press,
        terminal=t.terminal,
        wire=wires[0] if len(wires) == 1 else None,  # of two in one barrel nobody knows which
    )


def hold_link(hold: Hold) -> Link:
    return Link(LinkKind.HOLD, hold.pk, f"{hold.batch.number}: {hold.reason}"[:120])


def from_hold(hold: Hold) -> Begun:
    """The kind is the first that the sample found; the reason of the hold says the rest."""
    kinds = kinds_found_in(hold.sample) if hold.sample else []
    stated = from_batch(
        hold.batch, what=hold.reason, kind=kinds[0] if kinds else "", quantity=hold.suspect_quantity, origin=Origin.HOLD.value
    )
    return stated, (hold_link(hold),)


def from_held_pieces(batch: Batch) -> Begun:
    """Held pieces of a closed batch, with the holds that kept them and that no nonconformance has yet."""
    holds = list(batch.holds.filter(kept_held__gt=0).select_related("batch", "sample"))
    kinds = [kind for hold in holds if hold.sample for kind in kinds_found_in(hold.sample)]
    stated = from_batch(
        batch,
        what="; ".join(dict.fromkeys(hold.reason for hold in holds)),
        kind=kinds[0] if kinds else "",
        quantity=held_left(batch) or batch.held,
        origin=Origin.HELD.value,
    )
    return stated, tuple(hold_link(hold) for hold in holds)


def from_inspection(row: LotInspection) -> Begun:
    """A lot that a sample rejected."""
    lot = row.lot
    link = Link(LinkKind.INSPECTION, row.pk, str(row))
    if isinstance(lot, Batch):
        stated = from_batch(lot, what=row.defects, quantity=row.found, origin=Origin.SAMPLED.value)
        return stated, (link,)
    stated = OpenInput(
        what=row.defects,
        requirement=_("sampling scheme {scheme}: {criterion}").format(scheme=row.scheme.number, criterion=row.scheme.criterion)[:300],
        defect_kind="",
        origin=Origin.SAMPLED.value,
        found_at=FoundAt.RECEIVING,
        quantity=row.found,
        terminal=lot.terminal if isinstance(lot, TerminalLot) else None,
        wire=lot.wire if isinstance(lot, WireLot) else None,
        terminal_lot=lot if isinstance(lot, TerminalLot) else None,
        wire_lot=lot if isinstance(lot, WireLot) else None,
    )
    return stated, (link,)
