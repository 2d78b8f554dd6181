"""What happens at the press, as typed events."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

from shop.events import Event


@dataclass(frozen=True, slots=True, kw_only=True)
class BatchOpened(Event):
    kind: ClassVar[str] = "batch.opened"


@dataclass(frozen=True, slots=True, kw_only=True)
class SetUpProven(Event):
    """All six parts hold together: the first piece may be made."""

    kind: ClassVar[str] = "batch.set_up_proven"


@dataclass(frozen=True, slots=True, kw_only=True)
class SetUpChanged(Event):
    """A tool, reel, spool or gauge was changed during the run."""

    kind: ClassVar[str] = "batch.set_up_changed"


@dataclass(frozen=True, slots=True, kw_only=True)
class SampleConcluded(Event):
    """A sample was measured completely; content carries every value and the verdict."""

    kind: ClassVar[str] = "sample.concluded"


@dataclass(frozen=True, slots=True, kw_only=True)
class CrossSectionJudged(Event):
    """Somebody qualified for it said, with a signature of their own, what a cross-section shows."""

    kind: ClassVar[str] = "sample.cross_section"


@dataclass(frozen=True, slots=True, kw_only=True)
class FirstPieceCountersigned(Event):
    kind: ClassVar[str] = "sample.countersigned"


@dataclass(frozen=True, slots=True, kw_only=True)
class FirstPieceTurnedDown(Event):
    kind: ClassVar[str] = "sample.turned_down"


@dataclass(frozen=True, slots=True, kw_only=True)
class MeasurementCorrected(Event):
    kind: ClassVar[str] = "measurement.corrected"


@dataclass(frozen=True, slots=True, kw_only=True)
class HoldRaised(Event):
    kind: ClassVar[str] = "hold.raised"


@dataclass(frozen=True, slots=True, kw_only=True)
class HoldDecided(Event):
    kind: ClassVar[str] = "hold.decided"


@dataclass(frozen=True, slots=True, kw_only=True)
class BatchClosed(Event):
    kind: ClassVar[str] = "batch.closed"
