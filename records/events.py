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
class LotSplit(Event):
    """Parts of a lot got numbers of their own: content has each with its quantity and serial numbers, and what is left."""

    kind: ClassVar[str] = "lot.split"


@dataclass(frozen=True, slots=True, kw_only=True)
class LotsMerged(Event):
    kind: ClassVar[str] = "lot.merged"


@dataclass(frozen=True, slots=True, kw_only=True)
class LotReworked(Event):
    """Harnesses were reworked and wait under a number of their own: content says why, and which batches went in."""

    kind: ClassVar[str] = "lot.reworked"


@dataclass(frozen=True, slots=True, kw_only=True)
class ReturnReceived(Event):
    """Harnesses came back from a customer: content has shipment, lot, quantity, reason, and the number they wait under."""

    kind: ClassVar[str] = "lot.returned"


@dataclass(frozen=True, slots=True, kw_only=True)
class LotReleased(Event):
    """Quality released a lot that was kept back."""

    kind: ClassVar[str] = "lot.released"


@dataclass(frozen=True, slots=True, kw_only=True)
class HarnessesScrapped(Event):
    kind: ClassVar[str] = "lot.scrapped"


@dataclass(frozen=True, slots=True, kw_only=True)
class ContainmentOpened(Event):
    """Everything suspect was put on hold: content has the question, and each suspect with its place and quantity."""

    kind: ClassVar[str] = "containment.opened"


@dataclass(frozen=True, slots=True, kw_only=True)
class SuspectDecided(Event):
    """Quality decided about some of a suspect: content has what, how many and why."""

    kind: ClassVar[str] = "containment.decided"


@dataclass(frozen=True, slots=True, kw_only=True)
class ContainmentClosed(Event):
    """A case was closed with nothing open: content has its conclusion and the sums of all decisions."""

    kind: ClassVar[str] = "containment.closed"


@dataclass(frozen=True, slots=True, kw_only=True)
class ShipmentCertified(Event):
    """Quality certified a shipment: content is the certificate as it was signed, without the signature itself."""

    kind: ClassVar[str] = "shipment.certified"


@dataclass(frozen=True, slots=True, kw_only=True)
class DocumentIssued(Event):
    """A PDF left the program: content has its number, issue, hashes and size."""

    kind: ClassVar[str] = "document.issued"


@dataclass(frozen=True, slots=True, kw_only=True)
class DocumentSigned(Event):
    """A person signed an issued document: content has its number, the meaning, and the hashes of the file before and after."""

    kind: ClassVar[str] = "document.signed"


@dataclass(frozen=True, slots=True, kw_only=True)
class EvidencePacked(Event):
    """An evidence package was made: content has its question, the hash of its manifest and the checkpoint it is proven under."""

    kind: ClassVar[str] = "evidence.packed"
    version: ClassVar[int] = 2


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckpointMade(Event):
    """How far the ledger reached was signed: content has the count, the tree's root, the last hash and the hash of the signed text."""

    kind: ClassVar[str] = "ledger.checkpointed"


@dataclass(frozen=True, slots=True, kw_only=True)
class AttachmentAdded(Event):
    """A file was put to a thing: content has title, name, type, size and hash."""

    kind: ClassVar[str] = "attachment.added"


@dataclass(frozen=True, slots=True, kw_only=True)
class AttachmentWithdrawn(Event):
    kind: ClassVar[str] = "attachment.withdrawn"


@dataclass(frozen=True, slots=True, kw_only=True)
class RetentionRuleSet(Event):
    """How long records of one kind are kept: content has the rule before and after."""

    kind: ClassVar[str] = "retention.rule_set"


@dataclass(frozen=True, slots=True, kw_only=True)
class LegalHoldPlaced(Event):
    kind: ClassVar[str] = "legal_hold.placed"


@dataclass(frozen=True, slots=True, kw_only=True)
class LegalHoldLifted(Event):
    kind: ClassVar[str] = "legal_hold.lifted"


@dataclass(frozen=True, slots=True, kw_only=True)
class RecordsDisposed(Event):
    """Files of due records go: content has the rule, and each file with its record, hash, size and dates."""

    kind: ClassVar[str] = "records.disposed"
