"""What waits after a tablet was without network, told where people begin: acts to decide about, signatures to confirm."""

from __future__ import annotations

from datetime import date

from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from inspection.acts.offline import may_decide, undecided_acts
from inspection.models import ClaimedSignature
from shop.clock import now, shop_day
from shop.people import Person
from shop.waiting import Waiting, register


def waiting_acts(person: Person, on: date) -> list[Waiting]:
    """One line for all: they are decided in the order in which they were made."""
    mine = [act for act in undecided_acts() if may_decide(person, act)]
    if not mine:
        return []
    text = ngettext("%d act from a tablet waits for a decision", "%d acts from a tablet wait for a decision", len(mine)) % len(mine)
    first = mine[0].batch.number if mine[0].batch else mine[0].kind
    return [Waiting(first, text, reverse("make:undecided"), "undecided", _("undecided"))]


def waiting_signatures(person: Person, on: date) -> list[Waiting]:
    claims = list(ClaimedSignature.objects.filter(person=person, answer__isnull=True).select_related("sample__batch"))
    if not claims:
        return []
    text = ngettext(
        "%d signature given without network is to be confirmed", "%d signatures given without network are to be confirmed", len(claims)
    )
    return [Waiting(str(claims[0].sample), text % len(claims), reverse("make:confirm"), "waiting", _("to be confirmed"))]


def waiting_here(person: Person) -> list[Waiting]:
    """The same lines for the station, where an operator begins."""
    on = shop_day(now())
    return [*waiting_signatures(person, on), *waiting_acts(person, on)]


def register_all() -> None:
    register(waiting_signatures)
    register(waiting_acts)
