"""What waits for a person, shown where they begin: apps above the shop register, and the shop never imports them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date

from shop.people import Person


@dataclass(frozen=True, slots=True)
class Waiting:
    """One thing that waits. outcome: of those a verdict has, with `word` saying it."""

    name: str
    text: str
    url: str
    outcome: str
    word: str


_REGISTERED: list[Callable[[Person, date], list[Waiting]]] = []


def register(show: Callable[[Person, date], list[Waiting]]) -> None:
    """show: what waits for a person on a day, what is most urgent first; a few lines, the last one leading to the rest."""
    _REGISTERED.append(show)


def waiting_for(person: Person, on: date) -> list[Waiting]:
    return [line for show in _REGISTERED for line in show(person, on)]
