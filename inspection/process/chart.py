"""What every control chart is made of: panels with points and limits for a page to draw, and limits that can be frozen as text.

One shape for all kinds, so that one drawing, one table and one set of run rules serve them all.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from functools import lru_cache
from typing import Any

import numpy as np

from inspection.process.readings import Array, IntArray


class Kind(StrEnum):
    """The kinds of chart. Short-run charts are an individuals or subgroup chart of deviations: their limits name the parts."""

    XBAR_R = "xbar-r"
    XBAR_S = "xbar-s"
    INDIVIDUALS = "individuals"
    RUN = "run"
    EWMA = "ewma"
    CUSUM = "cusum"
    P = "p"
    NP = "np"
    C = "c"
    U = "u"


class Place(StrEnum):
    """What a panel shows. Panels with the same place share one frame (the two sums of a CUSUM chart)."""

    LOCATION = "location"
    SPREAD = "spread"


class Judged(StrEnum):
    """Which run rules mean something on a panel.

    ALL: every rule. SIDES: limits are not symmetric, so no zones (range, standard deviation, counts next to zero): Nelson 1 to 4, Western
    Electric 1 and 4. LIMITS: neighbouring points share readings, so runs and trends come by themselves (moving range, EWMA, CUSUM): points
    beyond the limits only. RUNS: there are no limits (run chart): sides, trends and alternation.
    """

    ALL = "all"
    SIDES = "sides"
    LIMITS = "limits"
    RUNS = "runs"


@dataclass(frozen=True, slots=True, eq=False)
class Panel:
    """One row of points with its lines; all arrays have shape (k,), lines included, whether they vary or not (read only).

    name: what is plotted ("mean", "range", "standard deviation", "value", "moving range", "weighted mean", "upper sum", "lower sum",
    "share", "count", "rate", "deviation", ...). points, center: in the unit of the readings unless the chart is standardised.
    low, high: control limits, None where the panel has none. sigma: standard error of each point, for zones; None where zones mean
    nothing. samples: number of the sample (from 0) each point belongs to; a moving range belongs to its later reading.
    floor: no point can be lower, so a limit standing on it is none.
    """

    name: str
    place: Place
    judged: Judged
    points: Array
    center: Array
    low: Array | None
    high: Array | None
    sigma: Array | None
    samples: IntArray
    floor: float | None = None

    def __len__(self) -> int:
        return int(self.points.size)

    @property
    def has_low(self) -> bool:
        """Whether a lower limit is there to be drawn: one that stands on the floor everywhere is not."""
        return self.low is not None and (self.floor is None or bool((self.low > self.floor).any()))

    def zone(self, sigmas: float) -> tuple[Array, Array] | None:
        """Lines at `sigmas` standard errors below and above the centre line; None where the panel has no zones."""
        if self.sigma is None or self.judged is not Judged.ALL:
            return None
        return self.center - sigmas * self.sigma, self.center + sigmas * self.sigma


class NotControlLimits(ValueError):  # noqa: N818  # reads as what happened
    """Limits that cannot be drawn or applied. reason: a sentence."""

    def __init__(self, reason: str) -> None:
        self.reason = reason
        super().__init__(reason)


@dataclass(frozen=True, slots=True)
class PartScale:
    """What a short-run chart takes off and divides by for one part. sigma: None on a chart of plain deviations."""

    part: str
    nominal: float
    sigma: float | None = None


@dataclass(frozen=True, slots=True)
class ChartLimits:
    """All that is needed to chart new readings as the old ones were: what a person freezes and signs.

    kind: of chart. center: centre line (mean, median, target, share, rate or count). sigma: standard deviation of a single reading, or of
    the plotted value on EWMA and CUSUM charts; 0 on charts of counts, where it follows from the centre. reach: distance of the limits in
    sigma of the point. weight, steady: of an EWMA chart. slack, decision, head_start: k, h and head start of a CUSUM chart, in sigma.
    parts: of a short-run chart. estimated_by: how sigma was found ("Rbar/d2", "sbar/c4", "pooled s", "MRbar/d2", "given", ...).
    samples, readings: how many it was found from; 0 for given limits. Raises NotControlLimits.
    """

    kind: Kind
    center: float
    sigma: float = 0.0
    reach: float = 3.0
    weight: float | None = None
    steady: bool = False
    slack: float | None = None
    decision: float | None = None
    head_start: float = 0.0
    parts: tuple[PartScale, ...] = ()
    estimated_by: str = "given"
    samples: int = 0
    readings: int = 0

    def __post_init__(self) -> None:
        numbers = [
            self.center,
            self.sigma,
            self.reach,
            self.head_start,
            *(n for n in (self.weight, self.slack, self.decision) if n is not None),
        ]
        numbers += [n for part in self.parts for n in (part.nominal, part.sigma) if n is not None]
        if not all(np.isfinite(number) for number in numbers):
            raise NotControlLimits("Every limit is a finite number.")
        if self.sigma < 0 or self.reach <= 0 or any(part.sigma is not None and part.sigma <= 0 for part in self.parts):
            raise NotControlLimits("A standard deviation is not negative and the limits stand away from the centre.")
        if self.kind is Kind.EWMA and not (self.weight is not None and 0 < self.weight <= 1):
            raise NotControlLimits("The weight of an EWMA chart is above 0 and at most 1.")
        if self.kind is Kind.CUSUM and not (
            self.slack is not None and self.slack >= 0 and self.decision is not None and self.decision > 0 and self.head_start >= 0
        ):
            raise NotControlLimits("A CUSUM chart needs k of at least 0, h above 0 and a head start of at least 0.")
        if self.kind in (Kind.P, Kind.NP) and not 0 <= self.center <= 1:
            raise NotControlLimits("A share lies between 0 and 1.")
        if self.kind in (Kind.C, Kind.U) and self.center < 0:
            raise NotControlLimits("A count or rate is not negative.")
        if len({part.part for part in self.parts}) != len(self.parts):
            raise NotControlLimits("A part is named twice.")
        if len({part.sigma is None for part in self.parts}) > 1:
            raise NotControlLimits("Either every part has a standard deviation or none.")

    @property
    def standardised(self) -> bool:
        """Whether deviations are divided by each part's standard deviation."""
        return bool(self.parts) and self.parts[0].sigma is not None

    def as_text(self) -> dict[str, Any]:
        """Texts only, numbers with every digit a double holds, so that what was signed is what is applied. JSON-ready."""
        return {
            "kind": str(self.kind),
            "center": repr(float(self.center)),
            "sigma": repr(float(self.sigma)),
            "reach": repr(float(self.reach)),
            "weight": _text(self.weight),
            "steady": "yes" if self.steady else "no",
            "slack": _text(self.slack),
            "decision": _text(self.decision),
            "head_start": repr(float(self.head_start)),
            "parts": [[part.part, repr(float(part.nominal)), _text(part.sigma)] for part in self.parts],
            "estimated_by": self.estimated_by,
            "samples": str(self.samples),
            "readings": str(self.readings),
        }

    @classmethod
    def from_text(cls, text: Mapping[str, Any]) -> ChartLimits:
        """The limits that `as_text` wrote. Raises NotControlLimits for anything else."""
        try:
            return cls(
                kind=Kind(text["kind"]),
                center=float(text["center"]),
                sigma=float(text["sigma"]),
                reach=float(text["reach"]),
                weight=_number(text["weight"]),
                steady={"yes": True, "no": False}[text["steady"]],
                slack=_number(text["slack"]),
                decision=_number(text["decision"]),
                head_start=float(text["head_start"]),
                parts=tuple(PartScale(str(part), float(nominal), _number(sigma)) for part, nominal, sigma in text["parts"]),
                estimated_by=str(text["estimated_by"]),
                samples=int(text["samples"]),
                readings=int(text["readings"]),
            )
        except NotControlLimits:
            raise
        except (KeyError, TypeError, ValueError) as wrong:
            raise NotControlLimits(f"These are no control limits: {wrong}.") from wrong


def _text(number: float | None) -> str:
    return "" if number is None else repr(float(number))


def _number(text: str) -> float | None:
    return None if text == "" else float(text)


@dataclass(frozen=True, slots=True, eq=False)
class Chart:
    """A chart, ready to be drawn and judged. panels: location first, then spread if there is one. limits: what it was drawn with.
    count: number of samples, the length of the shared axis; some samples may have no point in a panel (the first moving range)."""

    kind: Kind
    panels: tuple[Panel, ...]
    limits: ChartLimits
    count: int

    @property
    def location(self) -> Panel:
        """The first panel that shows where the process is."""
        return self.panels[0]

    @property
    def spread(self) -> Panel | None:
        """The panel that shows how far readings scatter, if the chart has one."""
        return next((panel for panel in self.panels if panel.place is Place.SPREAD), None)


def line(value: float | Array, count: int) -> Array:
    """A line of a panel as an array of shape (count,): a single value is repeated without taking memory."""
    return np.broadcast_to(np.asarray(value, dtype=np.float64), (count,))


@lru_cache(maxsize=4)
def numbered(count: int) -> IntArray:
    """0, 1, ... count - 1, read only: both panels of a chart, and chart after chart, share it."""
    numbers = np.arange(count, dtype=np.int64)
    numbers.flags.writeable = False
    return numbers


def panel(
    name: str,
    points: Array,
    center: float | Array,
    sigma: float | Array | None,
    *,
    reach: float = 3.0,
    place: Place = Place.LOCATION,
    judged: Judged = Judged.ALL,
    floor: float | None = None,
    ceiling: float | Array | None = None,
    samples: IntArray | None = None,
) -> Panel:
    """A panel with limits `reach` standard errors from the centre, not beyond floor and ceiling."""
    count = int(points.size)
    low = high = None
    if sigma is not None:
        low, high = center - reach * sigma, center + reach * sigma
        low = low if floor is None else np.maximum(low, floor)
        high = high if ceiling is None else np.minimum(high, ceiling)
    return Panel(
        name,
        place,
        judged,
        points,
        line(center, count),
        None if low is None else line(low, count),
        None if high is None else line(high, count),
        None if sigma is None else line(sigma, count),
        numbered(count) if samples is None else samples,
        floor,
    )
