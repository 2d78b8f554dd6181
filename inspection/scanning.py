"""What a scanned label belongs to: the shop's own number, or what the supplier's label says. Never guessed: what is in doubt is asked."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from itertools import chain

from django.db.models import Q
from django.utils.translation import gettext as _

from inspection.models import Batch, SetupPart
from inspection.set_up import PartState, Thing, thing_for
from shop.crib import Press
from shop.finding import Finding, misfit
from shop.jobs import SetupSheet
from shop.materials import Terminal, TerminalLot, Wire, WireLot
from shop.people import Person
from shop.scanned import Kind, NotALabel, Scanned, read_scan, read_unmarked, visible
from shop.tools import Gauge, Tool

MOST_CHOICES = 8
"""So many lots are offered as a choice; with more of them the shop's own label is asked for."""

ORDER_AT_THE_PRESS = (SetupPart.TOOL, SetupPart.TERMINAL, SetupPart.WIRE, SetupPart.INSPECTION, SetupPart.PEOPLE, SetupPart.DOCUMENTS)
"""The tool goes in first, then reel, spool and gauges. Any order is taken."""


@dataclass(frozen=True, slots=True)
class Found:
    """What a scanned text led to. text: as it is kept, a GS1 string in brackets.

    thing: the one thing it is. choices: what it may be, where a person has to say. finding: why it is neither. label: the supplier's
    label by which it was found.
    """

    text: str
    thing: Thing | None = None
    choices: tuple[WireLot | TerminalLot, ...] = ()
    finding: Finding | None = None
    label: Scanned | None = None


def found_for(code: str) -> Found:
    """What a label belongs to: a tool, a press, a reel, a spool or a gauge, by the shop's number or by the supplier's label."""
    bare = code.strip()
    if bare.isprintable() and (thing := thing_for(bare)):
        return Found(bare, thing)
    try:
        scanned = read_scan(code)
    except NotALabel as error:
        return Found(visible(bare), finding=misfit(error.rule, "code", **error.compared))
    thing = thing_for(scanned.text) or (thing_for(scanned.data("8004")) if scanned.data("8004") else None)
    if thing is not None:
        return Found(scanned.text, thing)
    if not scanned.elements:
        by_label = list(_lots(Q(supplier_lot=scanned.text) | Q(supplier_serial=scanned.text)))
        if by_label:
            return _one_of(scanned.text, by_label, certain=len(by_label) == 1)
        scanned = read_unmarked(scanned.text) or scanned
    return replace(_by_elements(scanned), label=scanned) if scanned.elements else Found(scanned.text, finding=not_scanned_here(scanned))


def _lots(which: Q) -> Iterable[WireLot | TerminalLot]:
    return chain(
        TerminalLot.objects.filter(which).select_related("terminal").order_by("lot_number")[: MOST_CHOICES + 1],
        WireLot.objects.filter(which).select_related("wire").order_by("lot_number")[: MOST_CHOICES + 1],
    )


def _by_elements(scanned: Scanned) -> Found:
    """By serial number, else by lot; the item number has to agree where the catalogue knows it."""
    gtin, lot, serial = scanned.gtin, scanned.lot, scanned.serial
    if serial:
        agreeing = [row for row in _lots(Q(supplier_serial=serial)) if not lot or row.supplier_lot in ("", lot) or row.lot_number == lot]
        if agreeing := _of_item(agreeing, gtin):
            return _one_of(scanned.text, agreeing, certain=_certain(agreeing, gtin))
    if lot:
        # A spool that is known by another serial number is another spool of the same lot.
        same_lot = [row for row in _lots(Q(supplier_lot=lot) | Q(lot_number=lot)) if row.supplier_serial in ("", serial) or not serial]
        if same_lot := _of_item(same_lot, gtin):
            return _one_of(scanned.text, same_lot, certain=_certain(same_lot, gtin))
    if gtin and not lot and not serial:
        reels = TerminalLot.objects.in_the_shop().filter(terminal__gtin=gtin).select_related("terminal")
        spools = WireLot.objects.in_the_shop().filter(wire__gtin=gtin).select_related("wire")
        of_item: list[WireLot | TerminalLot] = [*reels.order_by("lot_number"), *spools.order_by("lot_number")]
        if of_item:
            return _one_of(scanned.text, of_item, certain=False)
    return Found(scanned.text, finding=misfit("scan.label", "code", label=scanned.text))


def _of_item(rows: Sequence[WireLot | TerminalLot], gtin: str) -> list[WireLot | TerminalLot]:
    """Those of this item; where none is known to be, those whose item number the catalogue does not know."""
    if not gtin:
        return list(rows)
    return [row for row in rows if row.part.gtin == gtin] or [row for row in rows if not row.part.gtin]


def _certain(rows: Sequence[WireLot | TerminalLot], gtin: str) -> bool:
    """One lot, and nothing on the label that could not be compared."""
    return len(rows) == 1 and (not gtin or rows[0].part.gtin == gtin)


def _one_of(text: str, rows: Sequence[WireLot | TerminalLot], *, certain: bool) -> Found:
    if certain:
        return Found(text, rows[0])
    if len(rows) > MOST_CHOICES:
        return Found(text, finding=misfit("scan.many", "code", label=text, count=len(rows)))
    numbers = ", ".join(row.lot_number for row in rows)
    return Found(text, choices=tuple(rows), finding=misfit("scan.which", "code", label=text, lots=numbers))


def not_scanned_here(scanned: Scanned) -> Finding:
    """Why a label that is none of a tool, press, reel, spool or gauge is not taken: what it is instead, where it is known."""
    text = scanned.text
    if not text:
        return misfit("scan.empty", "code")
    if scanned.kind is Kind.TRAVELLER:
        what = _("a traveller")
    elif scanned.kind is Kind.BAG_TAG:
        what = _("a bag tag")
    elif scanned.kind is Kind.ADDRESS:
        what = _("the code of a document")
    elif Person.objects.filter(badge=text).exists():
        what = _("a person's badge")
    elif Batch.objects.filter(number=text).exists():
        what = _("a batch")
    elif SetupSheet.objects.filter(number=text).exists():
        what = _("a setup sheet")
    elif Terminal.objects.filter(part_number=text).exists():
        what = _("a terminal's part number, on every reel of it")
    elif Wire.objects.filter(part_number=text).exists():
        what = _("a wire's part number, on every spool of it")
    else:
        return misfit("scan.unknown", "code", code=text)
    return misfit("scan.not_here", "code", code=text, what=what)


def nothing_to_open(code: str) -> Finding:
    """Why a label opens nothing at the station: what it is, where that is known."""
    found = found_for(code)
    thing = found.thing or (found.choices[0] if found.choices else None)
    if thing is not None:
        return misfit("scan.opens_nothing", "code", code=str(found.thing or found.text), what=kind_of(thing))
    if found.finding is None or found.finding.rule in ("scan.unknown", "scan.label"):
        return misfit("data.unknown", "code", thing="batch, setup sheet or tool", name=found.text)
    if found.finding.rule == "scan.not_here":
        return misfit("scan.opens_nothing", "code", code=found.text, what=found.finding.compared["what"])
    return found.finding


# --- Kindly ----------------------------------------------------------------------------------------------------------------------


def kind_of(thing: Thing) -> str:
    """What a thing is called in a sentence."""
    if isinstance(thing, Tool):
        return _("a tool")
    if isinstance(thing, Press):
        return _("a press")
    if isinstance(thing, TerminalLot):
        return _("a reel of terminals")
    if isinstance(thing, WireLot):
        return _("a spool of wire")
    assert isinstance(thing, Gauge)  # noqa: S101  # for the type checker
    return _("a gauge")


def missing_in_order(parts: Sequence[PartState]) -> list[str]:
    by_part = {part.part: part for part in parts}
    return [name for part in ORDER_AT_THE_PRESS for name in by_part[part].missing]


def wanted_part(parts: Sequence[PartState]) -> str:
    """The first of the six parts, in the order at the press, that is still to be scanned; "" where all are proven."""
    open_parts = {part.part for part in parts if part.missing}
    return next((part.value for part in ORDER_AT_THE_PRESS if part in open_parts), "")


def aside(part: str, what: str, accepted: bool, parts: Sequence[PartState]) -> str:
    """A kind word where something was scanned before its turn: what it is, and what comes first. Empty where it was its turn."""
    wanted = wanted_part(parts)
    if (
        not wanted
        or part not in SetupPart.values
        or ORDER_AT_THE_PRESS.index(SetupPart(wanted)) >= ORDER_AT_THE_PRESS.index(SetupPart(part))
    ):
        return ""
    first = {
        SetupPart.TOOL.value: _("The tool comes first: scan the tool's label."),
        SetupPart.TERMINAL.value: _("The reel comes first: scan its label."),
        SetupPart.WIRE.value: _("The spool comes first: scan its label."),
    }.get(wanted, "")
    if accepted:
        still = {
            SetupPart.TOOL.value: _("The tool is still to come: scan the tool's label."),
            SetupPart.TERMINAL.value: _("The reel is still to come: scan its label."),
            SetupPart.WIRE.value: _("The spool is still to come: scan its label."),
        }.get(wanted, "")
        return _("That is %(what)s, and it is taken.") % {"what": what} + (f" {still}" if still else "")
    return _("That is %(what)s.") % {"what": what} + (f" {first}" if first else "")
