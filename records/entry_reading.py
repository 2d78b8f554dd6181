"""Reading ledger entries, whatever their age. The text is verified as it stands; reading is only about understanding it.

An event kind that changes what its content holds raises its version, and leaves a reader here that gives an entry of the version before
as one of the version after. Readers are chained, so an entry of version 1 is read through every step up to the version of today. A
version nobody knows is read as the plain content it is: an entry never becomes unreadable.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from shop.events import RECORDED

Content = Mapping[str, Any]
Reader = Callable[[Content], Content]

READERS: dict[tuple[str, int], Reader] = {}
"""(kind, version of the entry) -> gives its content as of the version after."""


def reads(kind: str, version: int) -> Callable[[Reader], Reader]:
    """Register how an entry of this kind and version is read as one of the next version."""

    def register(reader: Reader) -> Reader:
        if (kind, version) in READERS:
            raise ValueError(f"{kind} {version} has a reader already")
        READERS[kind, version] = reader
        return reader

    return register


@dataclass(frozen=True, slots=True)
class ReadEntry:
    """What an entry says. version: as it was written. read_as: the version of `content`, that of today where it is known.

    tablet: (name, station) of the enrolled tablet at which it was done.
    is_known: whether this program still writes the kind, and every step from the entry's version to today's is known.
    """

    kind: str
    version: int
    at: datetime
    by: str
    subject: tuple[str, int, str]
    content: Content
    read_as: int
    is_known: bool
    tablet: tuple[str, str] | None = None


def read_entry(text: str) -> ReadEntry:
    """Raises ValueError for a text that is no entry at all."""
    try:
        said = json.loads(text)
        kind, version, subject = said["kind"], said["version"], said["subject"]
        content, at = said["content"], datetime.fromisoformat(said["at"])
        by, told = said["by"]["name"], (subject["kind"], subject["id"], subject["name"])
        place = said.get("tablet")
        tablet = (str(place["name"]), str(place["station"])) if place else None
    except (KeyError, TypeError) as error:
        raise ValueError(f"this is no ledger entry: {error}") from error
    event = RECORDED.get(kind)
    today, read_as = event.version if event else version, version
    while read_as < today and (kind, read_as) in READERS:
        content = READERS[kind, read_as](content)
        read_as += 1
    return ReadEntry(kind, version, at, by, told, content, read_as, event is not None and read_as == today, tablet)


@reads("evidence.packed", 1)
def _package_without_a_checkpoint(content: Content) -> Content:
    """Packages of version 1 named the head of the ledger in their manifest alone; nothing was signed over a tree."""
    return {**content, "checkpoint": None}
