"""What a nonconformance points at: found by number, with an address each; what is open there; and the way back from those pages."""

from __future__ import annotations

from datetime import date
from typing import Any
from urllib.parse import urlencode

from django.db.models import Q
from django.urls import reverse
from django.utils.translation import gettext as _

from inspection.acts.nonconformances import OPEN_CHECKS, Link, overdue_actions
from inspection.models import Batch, Hold, LinkKind, LotInspection, Nonconformance, NonconformanceLink
from records.models import Containment, HarnessLot, Shipment
from shop.beside import Beside, BesideLine, Opening, register
from shop.finding import Finding, Refused, misfit
from shop.people import Person
from shop.permissions import Deed, may
from shop.waiting import Waiting
from shop.waiting import register as register_waiting

_MODELS: dict[str, Any] = {
    LinkKind.BATCH: Batch,
    LinkKind.CASE: Containment,
    LinkKind.LOT: HarnessLot,
    LinkKind.SHIPMENT: Shipment,
}


def link_to(kind: str, number: str) -> Link:
    """Something by its number. Raises Refused where there is none."""
    model = _MODELS.get(kind)
    thing = model.objects.filter(number=number.strip()).first() if model else None
    if thing is None:
        raise Refused([misfit("nc.link", "number", kind=kind or "–", name=number.strip() or "–")])
    return Link(kind, thing.pk, thing.number)


def urls_of(links: list[NonconformanceLink]) -> dict[int, str]:
    """Where each link leads, by its key. At most two questions to the database."""
    ways = {LinkKind.BATCH: "prove:batch", LinkKind.CASE: "prove:case", LinkKind.LOT: "prove:lot", LinkKind.SHIPMENT: "prove:shipment"}
    found = {link.pk: reverse(ways[LinkKind(link.kind)], args=[link.name]) for link in links if link.kind in ways}
    holds = [link.subject_id for link in links if link.kind == LinkKind.HOLD]
    batches = dict(Hold.objects.filter(pk__in=holds).values_list("pk", "batch__number")) if holds else {}
    rows = [link.subject_id for link in links if link.kind == LinkKind.INSPECTION]
    schemes = dict(LotInspection.objects.filter(pk__in=rows).values_list("pk", "scheme__number")) if rows else {}
    for link in links:
        if link.kind == LinkKind.HOLD and link.subject_id in batches:
            found[link.pk] = reverse("prove:batch", args=[batches[link.subject_id]])
        elif link.kind == LinkKind.INSPECTION and link.subject_id in schemes:
            found[link.pk] = reverse("studies:sampling-scheme", args=[schemes[link.subject_id]])
    return found


def cases_open(record: Nonconformance) -> list[Finding]:
    """Containment cases it points at that are not closed."""
    keys = [link.subject_id for link in record.links.all() if link.kind == LinkKind.CASE]
    cases = Containment.objects.filter(pk__in=keys, closed_at__isnull=True).order_by("pk") if keys else ()
    return [misfit("nc.close.case", case=case.number) for case in cases]


def linked_to(kind: str, pk: int) -> list[Nonconformance]:
    """The nonconformances that point at something, oldest first."""
    return list(Nonconformance.objects.filter(links__kind=kind, links__subject_id=pk).distinct().order_by("pk"))


def new_url(**about: object) -> str:
    """The form of a new nonconformance that begins with something on record."""
    return f"{reverse('prove:nonconformance-new')}?{urlencode(about)}"


MOST = 5


def waiting_lines(person: Person, on: date) -> list[Waiting]:
    """Overdue corrective actions: of everybody for quality, of their own for others."""
    rows = overdue_actions(on)
    if not may(person, Deed.CLOSE_NONCONFORMANCE):
        rows = rows.filter(responsible=person)
    found = list(rows[: MOST + 1])
    lines = [
        Waiting(
            name=action.nonconformance.number,
            text=_("action {n}: {what} ({person})").format(n=action.number, what=action.what, person=action.responsible.name),
            url=reverse("prove:nonconformance", args=[action.nonconformance.number]),
            outcome="does not conform",
            word=_("overdue since {day}").format(day=action.due_on.isoformat()),
        )
        for action in found[:MOST]
    ]
    if len(found) > MOST:
        more = f"{reverse('prove:nonconformances')}?state=overdue"
        lines.append(Waiting(_("All of them"), _("Further actions are overdue."), more, "does not conform", _("overdue")))
    return lines


_BESIDE = {
    "tools": "tool",
    "presses": "press",
    "terminals": "terminal",
    "wires": "wire",
    "terminal-lots": "terminal_lot",
    "wire-lots": "wire_lot",
}


def _line(record: Nonconformance) -> BesideLine:
    return BesideLine(
        name=record.number,
        text=record.what,
        url=reverse("prove:nonconformance", args=[record.number]),
        outcome="waiting" if record.is_open else "conforms",
        word=str(record.get_state_display()),
        at=record.opened_at,
    )


def _section(records: list[Nonconformance], more: str, openings: tuple[Opening, ...]) -> Beside | None:
    if not records and not openings:
        return None
    return Beside(
        slug="nonconformances",
        title=_("Nonconformances"),
        lines=tuple(_line(record) for record in records[:MOST]),
        openings=openings,
        more_url=more if len(records) > MOST else "",
        opening_word=_("Open a nonconformance"),
    )


def nonconformances_of(slug: str, thing: Any, person: Person) -> Beside | None:
    """The newest nonconformances about a catalogue item, and a way to open one."""
    field = _BESIDE[slug]
    records = list(Nonconformance.objects.filter(**{field: thing})[: MOST + 1])
    number = getattr(thing, "asset_number", None) or getattr(thing, "lot_number", None) or thing.part_number
    openings: tuple[Opening, ...] = ()
    if may(person, Deed.OPEN_NONCONFORMANCE):
        openings = (Opening(_("Something about it does not meet a requirement"), new_url(**{field: number})),)
    return _section(records, f"{reverse('prove:nonconformances')}?{urlencode({'state': 'all', 'q': number})}", openings)


def nonconformances_by(person: Person, reader: Person) -> Beside | None:
    """Those that name a person: for quality and the administrator only."""
    if not may(reader, Deed.SEE_FINDINGS_BY_PERSON):
        return None
    return _section(list(Nonconformance.objects.filter(person=person)[:MOST]), "", ())


def about_words(words: str) -> Q:
    """A nonconformance by words in its number, its text, or the numbers of what it is about."""
    found = Q()
    for word in words.split():
        one = Q(number__icontains=word) | Q(what__icontains=word) | Q(links__name__icontains=word) | Q(batch__number__icontains=word)
        for field, column in (("tool", "asset_number"), ("press", "asset_number"), ("terminal", "part_number"), ("wire", "part_number")):
            one |= Q(**{f"{field}__{column}__icontains": word})
        found &= one | Q(terminal_lot__lot_number__icontains=word) | Q(wire_lot__lot_number__icontains=word)
    return found


def register_all() -> None:
    OPEN_CHECKS.append(cases_open)
    register_waiting(waiting_lines)
    for slug in _BESIDE:
        register(slug, lambda thing, person, slug=slug: nonconformances_of(slug, thing, person))  # type: ignore[misc]
    register("people", nonconformances_by)
