"""Typed events: how a lower app makes something happen above it without importing upward.

An act publishes an event inside its own transaction; listeners run at once, in the same transaction. A listener that fails fails the
act: evidence that cannot be written means the act did not happen.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any, ClassVar

from django.db import transaction
from django.dispatch import Signal

from shop.people import Person

published = Signal()

RECORDED: dict[str, type[Event]] = {}


@dataclass(frozen=True, slots=True)
class Signing:
    """A person's signature as given at one moment: made only by `shop.sign_on.sign`, which asks for the secret again."""

    person: Person
    meaning: str
    at: datetime
    how: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Event:
    """Something that happened. Each subclass names its kind and the version of its content.

    subject: (kind, primary key, name) of the thing it happened to.
    content: the record as plain data; where the event is signed, exactly what the person saw.
    """

    kind: ClassVar[str]
    version: ClassVar[int] = 1

    by: Person
    at: datetime
    subject: tuple[str, int, str]
    content: Mapping[str, Any]
    signing: Signing | None = None

    def __init_subclass__(cls, **kwargs: object) -> None:
        # With slots=True the decorator makes a second class of the same name: the later one replaces the earlier.
        RECORDED[cls.kind] = cls


def publish(event: Event) -> None:
    """Deliver `event` to its listeners now. Raises RuntimeError outside a transaction and where nobody listens."""
    if not transaction.get_connection().in_atomic_block:
        raise RuntimeError(f"{event.kind} was published outside a transaction")
    answers = published.send(sender=type(event), event=event)
    if not answers:
        raise RuntimeError(f"nobody records {event.kind}")


@dataclass(frozen=True, slots=True, kw_only=True)
class CatalogueChanged(Event):
    """A catalogue item was added or changed: content has kind, before and after."""

    kind: ClassVar[str] = "catalogue.changed"


@dataclass(frozen=True, slots=True, kw_only=True)
class CatalogueImported(Event):
    """Many catalogue items came in one file: content has kind, file name, hash and counts."""

    kind: ClassVar[str] = "catalogue.imported"


@dataclass(frozen=True, slots=True, kw_only=True)
class DocumentFileAttached(Event):
    """The file of a document's revision, once and for all: content has name, type, size and hash."""

    kind: ClassVar[str] = "document.file_attached"


@dataclass(frozen=True, slots=True, kw_only=True)
class WearPartFitted(Event):
    """A wear part went into a tool; content names the one it replaced and how many crimps that made."""

    kind: ClassVar[str] = "tool.wear_part_fitted"


@dataclass(frozen=True, slots=True, kw_only=True)
class ToolCared(Event):
    """A service, verification or repair: content has its result, and state and dues of the tool before and after."""

    kind: ClassVar[str] = "tool.care_recorded"


@dataclass(frozen=True, slots=True, kw_only=True)
class ShutHeightVerified(Event):
    """The shut height of a press was measured: content has the result, and state and dates of the press before and after."""

    kind: ClassVar[str] = "press.shut_height_verified"


@dataclass(frozen=True, slots=True, kw_only=True)
class CounterSet(Event):
    kind: ClassVar[str] = "tool.counter_set"


@dataclass(frozen=True, slots=True, kw_only=True)
class StandInNamed(Event):
    """Somebody stands in for a person who is away: content has who, with which role, from when until when, and why."""

    kind: ClassVar[str] = "person.stand_in_named"


@dataclass(frozen=True, slots=True, kw_only=True)
class StandInEnded(Event):
    kind: ClassVar[str] = "person.stand_in_ended"


@dataclass(frozen=True, slots=True, kw_only=True)
class TabletOffered(Event):
    """A one-time code was made for a tablet: content has its name, the station and until when the code holds."""

    kind: ClassVar[str] = "tablet.offered"


@dataclass(frozen=True, slots=True, kw_only=True)
class TabletEnrolled(Event):
    """A tablet was enrolled with the code: content has its name and the station."""

    kind: ClassVar[str] = "tablet.enrolled"


@dataclass(frozen=True, slots=True, kw_only=True)
class TabletMoved(Event):
    """A tablet went to another station: content has the station before, and why."""

    kind: ClassVar[str] = "tablet.moved"


@dataclass(frozen=True, slots=True, kw_only=True)
class TabletRevoked(Event):
    kind: ClassVar[str] = "tablet.revoked"


@dataclass(frozen=True, slots=True, kw_only=True)
class PinSet(Event):
    kind: ClassVar[str] = "person.pin_set"


@dataclass(frozen=True, slots=True, kw_only=True)
class PasswordSet(Event):
    kind: ClassVar[str] = "person.password_set"


@dataclass(frozen=True, slots=True, kw_only=True)
class PersonLocked(Event):
    """Too many wrong secrets: the account waits."""

    kind: ClassVar[str] = "person.locked"


@dataclass(frozen=True, slots=True, kw_only=True)
class PersonUnlocked(Event):
    kind: ClassVar[str] = "person.unlocked"


@dataclass(frozen=True, slots=True, kw_only=True)
class JobOpened(Event):
    kind: ClassVar[str] = "job.opened"


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetDrafted(Event):
    kind: ClassVar[str] = "sheet.drafted"


@dataclass(frozen=True, slots=True, kw_only=True)
class TerminationPlanned(Event):
    kind: ClassVar[str] = "sheet.termination_planned"


@dataclass(frozen=True, slots=True, kw_only=True)
class InspectionPlanned(Event):
    """The inspection plan of a termination was stated, characteristic by characteristic: content has it before and after."""

    kind: ClassVar[str] = "sheet.inspection_planned"


@dataclass(frozen=True, slots=True, kw_only=True)
class TerminationsPlanned(Event):
    """Many terminations came into a draft at once: content has where they came from, and each of them."""

    kind: ClassVar[str] = "sheet.terminations_planned"


@dataclass(frozen=True, slots=True, kw_only=True)
class TerminationRemoved(Event):
    kind: ClassVar[str] = "sheet.termination_removed"


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetSubmitted(Event):
    kind: ClassVar[str] = "sheet.submitted"


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetReturned(Event):
    kind: ClassVar[str] = "sheet.returned"


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetArranged(Event):
    """The terminations of a draft were put in another order: content has lead and end in the new one."""

    kind: ClassVar[str] = "sheet.arranged"


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetCommented(Event):
    kind: ClassVar[str] = "sheet.commented"


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetReleased(Event):
    kind: ClassVar[str] = "sheet.released"


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetWithdrawn(Event):
    kind: ClassVar[str] = "sheet.withdrawn"


@dataclass(frozen=True, slots=True, kw_only=True)
class ConcessionGranted(Event):
    kind: ClassVar[str] = "concession.granted"


@dataclass(frozen=True, slots=True, kw_only=True)
class ConcessionWithdrawn(Event):
    kind: ClassVar[str] = "concession.withdrawn"


@dataclass(frozen=True, slots=True, kw_only=True)
class RecheckFinished(Event):
    """Every released sheet was held against the rules again: content says why, how many terminations, and which flags were raised."""

    kind: ClassVar[str] = "sheets.rechecked"
