"""What happens when something is built, shipped, issued or handed over, as typed events."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

from shop.events import Event


@dataclass(frozen=True, slots=True, kw_only=True)
class HarnessLotBuilt(Event):
    kind: ClassVar[str] = "lot.built"


@dataclass(frozen=True, slots=True, kw_only=True)
class ShipmentSent(Event):
    kind: ClassVar[str] = "shipment.sent"


@dataclass(frozen=True, slots=True, kw_only=True)
class DocumentIssued(Event):
    """A PDF left the program: content has its number, issue, hashes and size."""

    kind: ClassVar[str] = "document.issued"


@dataclass(frozen=True, slots=True, kw_only=True)
class EvidencePacked(Event):
    """An evidence package was made: content has its question, its files' hashes and how far the ledger reached."""

    kind: ClassVar[str] = "evidence.packed"
