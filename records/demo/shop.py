"""Loads the demo shop through the same import that a real shop uses."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path

from django.conf import settings
from django.db import transaction

from records.demo.crib import look_after_tools
from records.models import LedgerEntry
from shop.acts.catalogue_import import import_rows
from shop.clock import shop_day
from shop.events import PasswordSet, PinSet, publish
from shop.people import Person

SHOP_NAME = "Tarnfell Harness Works"
SHOP_ADDRESS = "Quay 4, Tarnfell"
FOLDER = settings.BASE_DIR / "fixtures" / "demo"
# In the order in which they point at one another.
KINDS = (
    "people",
    "qualifications",
    "customers",
    "documents",
    "wires",
    "wire-lots",
    "terminals",
    "terminal-lots",
    "presses",
    "tools",
    "stations",
    "tool-rows",
    "gauge-outputs",
    "gauges",
    "calibrations",
    "specifications",
)


@dataclass(frozen=True, slots=True)
class DemoPerson:
    """A demo person with secrets that everybody may know: the demo serves this machine only."""

    username: str
    badge: str
    pin: str
    password: str
    does: str


PEOPLE = (
    DemoPerson("mira", "B-1001", "730518", "four-copper-lamps-1", "plans"),
    DemoPerson("teo", "B-1002", "264907", "four-copper-lamps-2", "plans and releases"),
    DemoPerson("jonas", "B-2001", "582046", "four-copper-lamps-3", "runs the presses"),
    DemoPerson("lea", "B-2002", "917350", "four-copper-lamps-4", "hand tools only: applicator qualification expired"),
    DemoPerson("ines", "B-3001", "405862", "four-copper-lamps-5", "inspects and countersigns"),
    DemoPerson("quirin", "B-3002", "618294", "four-copper-lamps-6", "quality: decides on holds, ships"),
    DemoPerson("kari", "B-4001", "350971", "four-copper-lamps-7", "tool crib"),
    DemoPerson("audun", "B-5001", "829413", "four-copper-lamps-8", "audits, reads only"),
    DemoPerson("ada", "B-9001", "146739", "four-copper-lamps-9", "administers accounts"),
)


def demo_person(username: str) -> DemoPerson:
    return next(p for p in PEOPLE if p.username == username)


class NotTheDemo(RuntimeError):  # noqa: N818  # reads as what is wrong
    """The database holds something else: the demo never loads over a shop's own records."""

    def __init__(self) -> None:
        super().__init__(
            "This database holds records that are not the demo's. The demo loads into an empty database only: set DATA_DIR or DATABASE_URL."
        )


def is_loaded() -> bool:
    """Whether the demo shop is there. Raises NotTheDemo where another shop is."""
    if Person.objects.filter(username="mira", badge="B-1001").exists():
        return True
    if Person.objects.exclude(username="system").exists() or LedgerEntry.objects.exists():
        raise NotTheDemo
    return False


def dated(text: str, at: datetime) -> str:
    """Replace @-30 by the day 30 days before `at`."""
    today = shop_day(at)
    return re.sub(r"@([+-]?\d+)\b", lambda match: (today + timedelta(days=int(match[1]))).isoformat(), text)


def load(at: datetime, tell: Callable[[str], None]) -> None:
    """The whole catalogue and the people's secrets, in one transaction."""
    system = Person.system()
    with transaction.atomic():
        for kind in KINDS:
            path: Path = FOLDER / f"{kind}.csv"
            data = dated(path.read_text(encoding="utf-8"), at).encode()
            report = import_rows(kind=kind, file_name=path.name, data=data, by=system, at=at, trusted=True)
            tell(f"catalogue: {report.rows} {kind.replace('-', ' ')}")
        look_after_tools(at)
        for demo in PEOPLE:
            person = Person.objects.get(username=demo.username)
            person.set_password(demo.password)
            person.set_pin(demo.pin)
            person.save(update_fields=["password", "pin"])
            subject = ("person", person.pk, person.username)
            publish(PasswordSet(by=system, at=at, subject=subject, content={"how": "demo secret, known to everybody"}))
            publish(PinSet(by=system, at=at, subject=subject, content={"how": "demo secret, known to everybody"}))
