"""Verdicts on measured values: limits, guard bands, what a whole sample amounts to, and whether a reading is believable at all.

Everything in Decimal: 1.45 against a limit of 1.45 conforms, whatever binary fractions would say.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal
from enum import StrEnum

from shop.finding import Finding, Verdict
from shop.quantity import NotAQuantity, Typed, parse_force_n, parse_length_mm, parse_resistance_mohm, parse_share_pct


class NotLimits(ValueError):  # noqa: N818  # reads as what happened
    """Limits that cannot judge anything. reason: a sentence."""

    def __init__(self, reason: str) -> None:
        self.reason = reason
        super().__init__(reason)


class NotJudgeable(ValueError):  # noqa: N818  # reads as what happened
    """A value or a guard band that is no finite number, or a negative guard band. It must not reach a verdict: NaN compares false with
    every limit."""


@dataclass(frozen=True, slots=True)
class Limits:
    """The limits of a characteristic, both inside; at least one is stated. Raises NotLimits unless low <= nominal <= high, all finite."""

    low: Decimal | None
    high: Decimal | None
    nominal: Decimal | None = None

    def __post_init__(self) -> None:
        stated = [value for value in (self.low, self.nominal, self.high) if value is not None]
        if any(not value.is_finite() for value in stated):
            raise NotLimits("A limit is a finite number.")
        if self.low is None and self.high is None:
            raise NotLimits("At least one limit is needed.")
        if stated != sorted(stated):
            raise NotLimits("The limits and the nominal are out of order.")

    @property
    def tolerance(self) -> Decimal | None:
        """The total tolerance, or None where only one limit is stated."""
        return self.high - self.low if self.low is not None and self.high is not None else None


class Outcome(StrEnum):
    """What a reading, a sample or a batch amounts to."""

    CONFORMS = "conforms"
    DOES_NOT_CONFORM = "does not conform"
    UNDECIDED = "undecided"


def judge(value: Decimal, limits: Limits, guard_band: Decimal = Decimal(0)) -> Outcome:
    """The outcome of one value against its limits, after ISO 14253-1.

    guard_band: the measurement uncertainty taken into account at each limit, in the unit of the value; zero switches it off. Conformity is
    proven at least a guard band inside the limits, nonconformity more than a guard band outside; in between it stays undecided, and an
    undecided piece is not accepted. Raises NotJudgeable.
    """
    if not value.is_finite() or not guard_band.is_finite() or guard_band < 0:
        raise NotJudgeable(f"value {value}, guard band {guard_band}")
    low, high = limits.low, limits.high
    if (low is not None and value < low - guard_band) or (high is not None and value > high + guard_band):
        return Outcome.DOES_NOT_CONFORM
    if (low is None or value >= low + guard_band) and (high is None or value <= high - guard_band):
        return Outcome.CONFORMS
    return Outcome.UNDECIDED


def overall(outcomes: Iterable[Outcome]) -> Outcome:
    """One outcome for many: every single value has to conform, the mean is no substitute. Nothing measured is undecided."""
    listed = list(outcomes)
    if Outcome.DOES_NOT_CONFORM in listed:
        return Outcome.DOES_NOT_CONFORM
    return Outcome.CONFORMS if listed and all(o is Outcome.CONFORMS for o in listed) else Outcome.UNDECIDED


class PullMode(StrEnum):
    """How a pull test ended."""

    WIRE_BROKE_AT_CRIMP = "wire broke at crimp"
    WIRE_BROKE_AWAY = "wire broke away from crimp"
    PULLED_OUT = "pulled out"
    TERMINAL_BROKE = "terminal broke"


def judge_pull(force_n: Decimal, minimum_n: Decimal, guard_band_n: Decimal = Decimal(0)) -> Outcome:
    """The outcome of a pull test: the peak force against the least force. How it ended is recorded and does not change the outcome.

    A passed pull test alone does not prove a good crimp; crimp height and the visual criteria count with it.
    """
    return judge(force_n, Limits(low=minimum_n, high=None), guard_band_n)


# --- Readings as typed -----------------------------------------------------------------------------------------------------------


_PARSERS: Mapping[str, Callable[[str, str], Typed]] = {
    "length": parse_length_mm,
    "force": parse_force_n,
    "resistance": parse_resistance_mohm,
    "share": parse_share_pct,
}


def parse_reading(text: str, unit: str, quantity: str) -> Typed:
    """A reading as typed or sent by a gauge, in the stored unit of its quantity (mm, N, mΩ, %); `unit` is taken where the text names none.

    Raises NotAQuantity.
    """
    return _PARSERS[quantity](text, unit)


_READING_RULES = {
    "not_a_number": "reading.not_a_number",
    "not_finite": "reading.not_a_number",
    "wrong_unit": "reading.wrong_unit",
    "ambiguous": "reading.ambiguous",
}


def misread(error: NotAQuantity, field: str = "value") -> Finding:
    """The refusal of a text that is no reading."""
    return Finding(_READING_RULES[error.code], Verdict.MISFIT, field, {"text": error.text, "expected": error.expected})


class Plausible(StrEnum):
    """Whether a reading can be what the gauge showed."""

    OK = "ok"
    DECIMAL_POINT = "decimal point"
    UNIT = "unit"
    FAR = "far"


@dataclass(frozen=True, slots=True)
class Plausibility:
    """kind: what seems wrong. suggestion: what was probably meant, in the unit of the limits, where a shift explains the value.

    Anything but OK asks for confirmation: a real nonconformity, however gross, can always be recorded.
    """

    kind: Plausible
    suggestion: Decimal | None = None


BELIEVABLE_FACTOR = Decimal(2)
BELIEVABLE_FACTOR_ONE_LIMIT = Decimal(4)
"""A reading is believed within twice the limits, or within four times a limit that stands alone (a pull test often doubles its minimum).
Our own rule."""

_MM_PER_INCH = Decimal("25.4")
_SHIFTS = (
    (Plausible.DECIMAL_POINT, Decimal("0.1")),
    (Plausible.DECIMAL_POINT, Decimal(10)),
    (Plausible.DECIMAL_POINT, Decimal("0.01")),
    (Plausible.DECIMAL_POINT, Decimal(100)),
    (Plausible.DECIMAL_POINT, Decimal("0.001")),
    (Plausible.DECIMAL_POINT, Decimal(1000)),
    (Plausible.UNIT, _MM_PER_INCH),
    (Plausible.UNIT, 1 / _MM_PER_INCH),
)


def plausibility(value: Decimal, limits: Limits) -> Plausibility:
    """Whether a value is believable beside its limits; 14 on a target of 1.40 ± 0.05 suggests 1.4. Raises NotJudgeable.

    A shift that lands inside the limits is suggested before one that only lands nearby; among those the decimal point before the inch.
    """
    if not value.is_finite():
        raise NotJudgeable(f"value {value}")
    if _believable(value, limits):
        return Plausibility(Plausible.OK)
    shifted = [(kind, value * factor) for kind, factor in _SHIFTS]
    inside = [pair for pair in shifted if judge(pair[1], limits) is Outcome.CONFORMS and _believable(pair[1], limits)]
    near = [pair for pair in shifted if _near(pair[1], limits)]
    for kind, meant in (*inside, *near):
        if kind is Plausible.UNIT:  # an inch reading has no finite number of places in mm
            meant = meant.quantize(Decimal("0.0001"), ROUND_HALF_UP)
        return Plausibility(kind, meant)
    return Plausibility(Plausible.FAR)


def _near(value: Decimal, limits: Limits) -> bool:
    """Close enough to be what was meant: within one tolerance of the limits, or believable beside a limit that stands alone."""
    tolerance = limits.tolerance
    if tolerance is None or limits.low is None or limits.high is None:
        return _believable(value, limits)
    return limits.low - tolerance <= value <= limits.high + tolerance


def _believable(value: Decimal, limits: Limits) -> bool:
    factor = BELIEVABLE_FACTOR if limits.tolerance is not None else BELIEVABLE_FACTOR_ONE_LIMIT
    low, high = limits.low, limits.high
    # With one limit only, the other side is a multiple of it too; a stand-alone upper limit believes everything from zero up.
    least = (low / factor if low > 0 else low * factor) if low is not None else Decimal(0)
    most = high if high is not None else low
    if most is None:
        return False
    most = most * factor if most > 0 else most / factor
    return least <= value <= most


def implausible(text: str, found: Plausibility, limits: Limits, unit: str, field: str = "value") -> Finding:
    """The question put to the person when a reading is not believable: a misfit where a slip explains it, undecidable where none does."""
    compared: dict[str, Decimal | int | str] = {
        "text": text,
        "unit": unit,
        "low": "–" if limits.low is None else limits.low,
        "high": "–" if limits.high is None else limits.high,
        "seems": str(found.kind),
    }
    if found.suggestion is None:
        return Finding("reading.implausible", Verdict.UNDECIDABLE, field, compared)
    return Finding("reading.implausible", Verdict.MISFIT, field, {**compared, "suggestion": found.suggestion})
