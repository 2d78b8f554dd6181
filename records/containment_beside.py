"""What the catalogue shows of containment beside a gauge, a lot, a tool, a person or a document: cases about it, and a way to open one."""

from __future__ import annotations

from datetime import timedelta
from urllib.parse import urlencode

from django.urls import reverse
from django.utils.translation import gettext as _

from records.containment import gauge_question
from records.models import Containment, Question
from records.trace import name_of
from shop.beside import Beside, BesideLine, Opening, register
from shop.clock import now, shop_day
from shop.materials import LotState, TerminalLot, WireLot
from shop.people import Person
from shop.permissions import Deed, may
from shop.specifications import Document
from shop.tools import Gauge, Tool, ToolState

KINDS = {
    "gauges": Question.GAUGE,
    "wire-lots": Question.WIRE_LOT,
    "terminal-lots": Question.TERMINAL_LOT,
    "tools": Question.TOOL,
    "people": Question.PERSON,
    "documents": Question.DOCUMENT,
}

Thing = Gauge | WireLot | TerminalLot | Tool | Person | Document
MOST = 5


def question_of(thing: Thing) -> dict[str, str] | None:
    """The question that the state of a thing asks, as it stands in the address of the form; None where nothing is wrong with it."""
    if isinstance(thing, Gauge):
        asked = gauge_question(thing)
        if asked is None:
            return None
        span = {"from": asked.since, "to": asked.until and asked.until - timedelta(seconds=1)}
        return {name: shop_day(moment).isoformat() for name, moment in span.items() if moment}
    if isinstance(thing, WireLot | TerminalLot):
        return {} if thing.state in (LotState.ON_HOLD, LotState.RETURNED) else None
    if isinstance(thing, Tool):
        return {} if thing.state == ToolState.ON_HOLD else None
    if isinstance(thing, Document):
        return {"from": thing.withdrawn_on.isoformat()} if thing.withdrawn_on and thing.withdrawn_on <= shop_day(now()) else None
    return None  # a person is asked about by hand: the day since when is known to quality only


def containment_of(kind: str, thing: Thing, person: Person) -> Beside | None:
    """Cases about a thing, and the question its state asks."""
    question = KINDS[kind]
    cases = list(Containment.objects.filter(question=question, subject_id=thing.pk)[:MOST])
    lines = tuple(
        BesideLine(
            name=case.number,
            text=case.reason,
            url=reverse("prove:case", args=[case.number]),
            outcome="waiting" if case.closed_at is None else "conforms",
            word=_("open") if case.closed_at is None else _("closed"),
            at=case.opened_at,
        )
        for case in cases
    )
    asked = question_of(thing) if may(person, Deed.CONTAIN) else None
    openings: tuple[Opening, ...] = ()
    if asked is not None:
        address = {"question": question.value, "subject": name_of(question, thing)} | asked
        openings = (Opening(_("Contain what it touched"), f"{reverse('prove:contain')}?{urlencode(address)}"),)
    if not lines and not openings:
        return None
    return Beside(slug="containment", title=_("Containment"), lines=lines, openings=openings, opening_word=_("Open a case"))


def register_all() -> None:
    for kind in KINDS:
        register(kind, lambda thing, person, kind=kind: containment_of(kind, thing, person))  # type: ignore[misc]
