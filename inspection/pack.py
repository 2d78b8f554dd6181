"""What a tablet needs to go on without the network: the shapes of the station pack. Pure; numbers are text, so that no digit is lost.

No secret is in it: people are named with badge and rights, never with a PIN or its hash.
"""

from __future__ import annotations

import hashlib
import json
from dataclasses import asdict, dataclass
from typing import Any

SHAPE = 1
"""Grows when the shape changes: a tablet that knows another one asks for the pack again."""


@dataclass(frozen=True, slots=True)
class PackZone:
    """How readings of one characteristic are decided with one gauge; see `inspection.guard_band.Zone`. refused: why they cannot be."""

    gauge: str
    rule: str
    guard_band: str
    proven_low: str | None
    proven_high: str | None
    reject_below: str | None
    reject_above: str | None
    nothing_proven: bool
    refused: str


@dataclass(frozen=True, slots=True)
class PackLine:
    """One characteristic of the plan. first, sample, last: pieces in each kind of sample; every_nth: of those in process."""

    characteristic: str
    name: str
    quantity: str
    unit: str
    units: tuple[str, ...]
    how: str
    gauge_kind: str
    low: str | None
    nominal: str | None
    high: str | None
    first: int
    sample: int
    last: int
    every_nth: int
    zones: tuple[PackZone, ...]


@dataclass(frozen=True, slots=True)
class PackCriterion:
    code: str
    title: str
    accept: str
    reject: str
    cross_section: bool


@dataclass(frozen=True, slots=True)
class PackCode:
    """A label that would be accepted: what it is, and which place of the set-up it fills."""

    code: str
    part: str
    slot: str
    name: str
    note: str


@dataclass(frozen=True, slots=True)
class PackSlot:
    """One place of the set-up check."""

    part: str
    slot: str
    name: str


@dataclass(frozen=True, slots=True)
class PackTermination:
    """What is made, and how it is inspected."""

    pk: int
    job: str
    sheet: str
    sheet_state: str
    lead: str
    end: str
    tool: str
    tool_kind: str
    setting: str
    terminal: str
    wires: tuple[str, ...]
    inspector_signs: bool
    sample_every: int
    sample_every_minutes: int | None
    first_pieces: int
    lines: tuple[PackLine, ...]
    criteria: tuple[PackCriterion, ...]
    slots: tuple[PackSlot, ...]
    codes: tuple[PackCode, ...]


@dataclass(frozen=True, slots=True)
class PackValue:
    """A reading or a pull test that stands. kind: the characteristic, or "pull force"."""

    kind: str
    piece: int
    text: str
    unit: str
    outcome: str
    mode: str


@dataclass(frozen=True, slots=True)
class PackSample:
    number: int
    kind: str
    setup_number: int
    at_count: int
    state: str
    taken_by: str
    taken_at: str
    values: tuple[PackValue, ...]
    looked: tuple[tuple[str, bool], ...]


@dataclass(frozen=True, slots=True)
class PackScan:
    """What is in the set-up now."""

    slot: str
    part: str
    code: str


@dataclass(frozen=True, slots=True)
class PackBatch:
    number: str
    termination: int
    status: str
    quantity: int
    last_count: int
    setup_number: int
    last_good: int
    last_taken: str
    lots_ok: bool
    signals: int
    hold: str
    scans: tuple[PackScan, ...]
    samples: tuple[PackSample, ...]
    destroyed: int
    scrapped: int
    kept: int


@dataclass(frozen=True, slots=True)
class PackQueued:
    termination: int
    pieces_open: int


@dataclass(frozen=True, slots=True)
class PackPerson:
    """Somebody who may run, countersign or judge sections. until: by process, the last day of the qualification ("" for no end)."""

    username: str
    badge: str
    name: str
    run: bool
    countersign: bool
    until: dict[str, str]


@dataclass(frozen=True, slots=True)
class Pack:
    """version: changes when anything but the time does."""

    shape: int
    version: str
    made_at: str
    person: str
    ticket: str
    batches: tuple[PackBatch, ...]
    queue: tuple[PackQueued, ...]
    terminations: tuple[PackTermination, ...]
    people: tuple[PackPerson, ...]


def version_of(*parts: object) -> str:
    """The same for the same content."""
    return hashlib.sha256(json.dumps(parts, sort_keys=True, default=str).encode()).hexdigest()[:16]


def as_data(pack: Pack) -> dict[str, Any]:
    return asdict(pack)
