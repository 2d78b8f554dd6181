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


@dataclass(frozen=True, slots=True, kw_only=True)
class StudyOpened(Event):
    kind: ClassVar[str] = "study.opened"


@dataclass(frozen=True, slots=True, kw_only=True)
class StudyValuesRecorded(Event):
    """Values of a study, each with what it corrects where it does."""

    kind: ClassVar[str] = "study.values_recorded"


@dataclass(frozen=True, slots=True, kw_only=True)
class StudySigned(Event):
    """A study is concluded: content carries every value and every figure of the answer."""

    kind: ClassVar[str] = "study.signed"


@dataclass(frozen=True, slots=True, kw_only=True)
class StudyAbandoned(Event):
    kind: ClassVar[str] = "study.abandoned"


@dataclass(frozen=True, slots=True, kw_only=True)
class LimitsFrozen(Event):
    """The limits of a chart are in force: content carries them, the rules that watch, and the data they were computed from."""

    kind: ClassVar[str] = "control.limits_frozen"


@dataclass(frozen=True, slots=True, kw_only=True)
class LimitsEnded(Event):
    kind: ClassVar[str] = "control.limits_ended"


@dataclass(frozen=True, slots=True, kw_only=True)
class ChartSignalled(Event):
    """A run rule spoke at a sample: a reaction is due before the next one."""

    kind: ClassVar[str] = "control.signalled"


@dataclass(frozen=True, slots=True, kw_only=True)
class SignalAnswered(Event):
    kind: ClassVar[str] = "control.answered"


@dataclass(frozen=True, slots=True, kw_only=True)
class PiecesDisposed(Event):
    """Quality decided what becomes of held pieces."""

    kind: ClassVar[str] = "batch.disposed"


@dataclass(frozen=True, slots=True, kw_only=True)
class SamplingOpened(Event):
    """A sampling scheme is in force."""

    kind: ClassVar[str] = "sampling.opened"


@dataclass(frozen=True, slots=True, kw_only=True)
class SamplingEnded(Event):
    kind: ClassVar[str] = "sampling.ended"


@dataclass(frozen=True, slots=True, kw_only=True)
class LotInspected(Event):
    """A lot was looked at by sample: content carries the plan, what was found and what followed."""

    kind: ClassVar[str] = "sampling.lot_inspected"


@dataclass(frozen=True, slots=True, kw_only=True)
class NonconformanceOpened(Event):
    """Something did not meet a requirement: content says what, which, how many, where, and what it points at."""

    kind: ClassVar[str] = "nonconformance.opened"


@dataclass(frozen=True, slots=True, kw_only=True)
class NonconformanceLinked(Event):
    """A further finding, or something it is about, was added."""

    kind: ClassVar[str] = "nonconformance.linked"


@dataclass(frozen=True, slots=True, kw_only=True)
class CauseStated(Event):
    kind: ClassVar[str] = "nonconformance.cause_stated"


@dataclass(frozen=True, slots=True, kw_only=True)
class ActionStated(Event):
    kind: ClassVar[str] = "nonconformance.action_stated"


@dataclass(frozen=True, slots=True, kw_only=True)
class ActionEnded(Event):
    """An action was done, with evidence, or dropped, with a reason."""

    kind: ClassVar[str] = "nonconformance.action_ended"


@dataclass(frozen=True, slots=True, kw_only=True)
class MeasureStated(Event):
    """What will prove that it worked, before anybody looks."""

    kind: ClassVar[str] = "nonconformance.measure_stated"


@dataclass(frozen=True, slots=True, kw_only=True)
class EffectVerified(Event):
    """Somebody signed what came out of the measure: content has the numbers then."""

    kind: ClassVar[str] = "nonconformance.effect_verified"


@dataclass(frozen=True, slots=True, kw_only=True)
class NonconformanceClosed(Event):
    kind: ClassVar[str] = "nonconformance.closed"


@dataclass(frozen=True, slots=True, kw_only=True)
class NonconformanceReopened(Event):
    kind: ClassVar[str] = "nonconformance.reopened"


@dataclass(frozen=True, slots=True, kw_only=True)
class OfflineActRecorded(Event):
    """An act from a tablet that had no connection was recorded: content says which, when by both clocks, and who sent it."""

    kind: ClassVar[str] = "offline.recorded"


@dataclass(frozen=True, slots=True, kw_only=True)
class OfflineActSetAside(Event):
    """An act from a tablet did not fit any more; a person decides about it."""

    kind: ClassVar[str] = "offline.set_aside"


@dataclass(frozen=True, slots=True, kw_only=True)
class OfflineActDecided(Event):
    """It was taken over after all, or kept as a note only."""

    kind: ClassVar[str] = "offline.decided"


@dataclass(frozen=True, slots=True, kw_only=True)
class SignatureClaimed(Event):
    """A signature was given without the network, by badge alone."""

    kind: ClassVar[str] = "signature.claimed"


@dataclass(frozen=True, slots=True, kw_only=True)
class SignatureConfirmed(Event):
    """The person confirmed it: content is what was signed then."""

    kind: ClassVar[str] = "signature.confirmed"


@dataclass(frozen=True, slots=True, kw_only=True)
class SignatureDisowned(Event):
    """The person said that a signature given in their name is not theirs."""

    kind: ClassVar[str] = "signature.disowned"
