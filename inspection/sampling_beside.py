"""Lot inspections shown beside a material lot, and sampling schemes beside the part they are about."""

from __future__ import annotations

from typing import Any

from django.urls import reverse
from django.utils.http import urlencode
from django.utils.translation import gettext as _

from inspection.acceptance import LotInspection, SampledThing, SamplingScheme
from shop.beside import Beside, BesideLine, Opening, register
from shop.materials import Terminal, TerminalLot, WireLot
from shop.people import Person
from shop.permissions import Deed, may

SHOWN = 20


def inspections_of(lot: Any, person: Person) -> Beside | None:
    """What was found in a reel or spool, and a link to inspect it by each scheme in force; None where there is neither."""
    field, part = ("terminal_lot", "terminal") if isinstance(lot, TerminalLot) else ("wire_lot", "wire")
    thing = SampledThing.WIRE_LOTS if isinstance(lot, WireLot) else SampledThing.TERMINAL_LOTS
    rows = LotInspection.objects.filter(**{field: lot}).select_related("scheme").order_by("-at")[:SHOWN]
    lines = tuple(
        BesideLine(
            name=str(row),
            text=_("{name}: {found} found in {n}").format(name=row.scheme.name, found=row.found, n=row.n),
            url=reverse("studies:sampling-scheme", args=[row.scheme.number]),
            outcome="conforms" if row.accepted else "does not conform",
            word=_("accepted") if row.accepted else _("not accepted"),
            at=row.at,
        )
        for row in rows
    )
    openings: tuple[Opening, ...] = ()
    if may(person, Deed.INSPECT_LOT):
        schemes = SamplingScheme.objects.filter(**{part: getattr(lot, part)}, thing=thing, ended_at__isnull=True)[:SHOWN]
        openings = tuple(
            Opening(
                _("Inspect by {scheme}").format(scheme=scheme.name),
                f"{reverse('studies:sampling-inspect', args=[scheme.number])}?{urlencode({'lot': lot.lot_number})}",
            )
            for scheme in schemes
        )
    return Beside("sampling", _("Inspections by sample"), lines, openings) if lines or openings else None


def schemes_of(part: Any, person: Person) -> Beside | None:
    """The sampling schemes of a terminal or wire; None where there is none."""
    field = "terminal" if isinstance(part, Terminal) else "wire"
    rows = SamplingScheme.objects.filter(**{field: part}).order_by("-pk")[:SHOWN]
    lines = tuple(
        BesideLine(
            name=scheme.number,
            text=f"{scheme.name} ({scheme.get_thing_display()})",
            url=reverse("studies:sampling-scheme", args=[scheme.number]),
            outcome="conceded" if scheme.ended_at else "conforms",
            word=_("ended") if scheme.ended_at else _("in force"),
            at=scheme.ended_at or scheme.opened_at,
        )
        for scheme in rows
    )
    return Beside("sampling", _("Sampling schemes"), lines) if lines else None


def register_all() -> None:
    for kind in ("terminal-lots", "wire-lots"):
        register(kind, inspections_of)
    for kind in ("terminals", "wires"):
        register(kind, schemes_of)
