"""What apps above the shop show beside an item of the catalogue: the shop asks whoever registered, and never imports them.

An app registers in its AppConfig.ready(): `register("gauges", studies_of)`.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from shop.people import Person


@dataclass(frozen=True, slots=True)
class BesideLine:
    """One thing that belongs to an item. outcome: one of those a verdict has, with `word` saying it; at: when it was made."""

    name: str
    text: str
    url: str
    outcome: str
    word: str
    at: datetime


@dataclass(frozen=True, slots=True)
class Opening:
    """A link that begins something new about the item."""

    label: str
    url: str


@dataclass(frozen=True, slots=True)
class Beside:
    """A section of an item's page. slug: names it in the page; more_url: where the rest is, when not everything is shown.

    template: draws the section instead of the usual table, from `page`, which it calls `part`.
    more_word: what the link says where the section is nothing but the link. opening_word: what the openings have in common; empty: studies.
    """

    slug: str
    title: str
    lines: tuple[BesideLine, ...]
    openings: tuple[Opening, ...] = ()
    more_url: str = ""
    more_word: str = ""
    opening_word: str = ""
    template: str = ""
    page: Any = None


_REGISTERED: dict[str, list[Callable[[Any, Person], Beside | None]]] = {}


def register(kind: str, show: Callable[[Any, Person], Beside | None]) -> None:
    """kind: slug of a catalogue kind. show: the section for an item and who looks at it; None where there is none."""
    _REGISTERED.setdefault(kind, []).append(show)


def beside(kind: str, item: Any, person: Person) -> list[Beside]:
    """Every section that others show beside this item, in the order in which they registered."""
    found = [show(item, person) for show in _REGISTERED.get(kind, [])]
    return [section for section in found if section is not None]
