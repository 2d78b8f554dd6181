"""Reading forms that ask how many of each: fields named after what they count, and lists of serial numbers."""

from __future__ import annotations

from collections.abc import Iterable

from django.http import HttpRequest

from records.models import HarnessSerial
from shop.finding import Refused, misfit


def numbered(request: HttpRequest, prefix: str) -> dict[int, str]:
    """Fields named prefix + id, as typed; empty ones left out."""
    return {
        int(name.removeprefix(prefix)): request.POST[name].strip()
        for name in request.POST
        if name.startswith(prefix) and name.removeprefix(prefix).isdigit() and request.POST[name].strip()
    }


def counts(fields: dict[int, str], field: str) -> dict[int, int]:
    """The typed numbers as counts; a zero leaves the thing out. Raises Refused for anything but digits."""
    wrong = [text for text in fields.values() if not (text.isascii() and text.isdigit() and len(text) < 10)]
    if wrong:
        raise Refused([misfit("data.invalid", field, message=f"“{wrong[0]}” is not a count.")])
    return {pk: int(text) for pk, text in fields.items() if int(text)}


def count(text: str, field: str) -> int:
    """One typed number; nothing typed is refused too."""
    return counts({0: text.strip() or "?"}, field).get(0, 0)


def serials_by_lot(serials: Iterable[str], lots: Iterable[int]) -> dict[int, list[str]]:
    """Serial numbers as typed, each under the newest of these lots it is in; one that is in none stands under every lot, to be refused."""
    listed, named = list(lots), list(serials)
    newest: dict[str, int] = {}
    for row in HarnessSerial.objects.filter(serial__in=named, lot__in=listed).order_by("lot"):
        newest[row.serial] = row.lot_id
    return {lot: [s for s in named if newest.get(s, lot) == lot] for lot in listed}
