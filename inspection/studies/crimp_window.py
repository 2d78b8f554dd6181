"""Crimp window study: crimps at stepped heights, and the heights at which pull force and resistance are safely within what is asked.

Each response is fitted over crimp height; a height is in the window where the one-sided tolerance bound for single pieces meets the limit.
The window never reaches beyond the heights that were tried. Our own arrangement; the bound is that of `inspection.process.regression`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import ROUND_CEILING, ROUND_FLOOR, Decimal
from enum import StrEnum

import numpy as np

from inspection.process.readings import checked
from inspection.process.regression import Curve, fit_curve
from inspection.spc import TooFew

LEAST_HEIGHTS = 4
"""Fewer different heights do not show where a curve bends (common practice: 5 to 7 heights)."""

GRID = 801


class Response(StrEnum):
    """What is measured at each height. A pull force has a least value, a resistance a greatest, a compaction both or one."""

    PULL_FORCE = "pull force"
    RESISTANCE = "resistance"
    COMPACTION = "compaction"


class Reason(StrEnum):
    """What ends the window on a side."""

    PULL_FORCE = "pull force"
    RESISTANCE = "resistance"
    COMPACTION = "compaction"
    TRIED = "heights tried"


@dataclass(frozen=True, slots=True)
class Asked:
    """A response with what is asked of it. values: one for each piece, in the order of the heights; low, high: limits, at least one."""

    response: Response
    values: Sequence[float]
    low: float | None = None
    high: float | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Fitted:
    """One response over crimp height. grid: heights the arrays below are for (shape (801,)); bound_low, bound_high: of single pieces, None
    where no limit asks for it. meets: where the bound keeps the limit."""

    asked: Asked
    curve: Curve
    grid: np.ndarray
    fitted: np.ndarray
    mean_low: np.ndarray
    mean_high: np.ndarray
    bound_low: np.ndarray | None
    bound_high: np.ndarray | None
    meets: np.ndarray


@dataclass(frozen=True, slots=True)
class Window:
    """low, high: crimp heights of the window. low_because, high_because: what ends it. nominal, tolerance: proposed, nominal +/- tolerance
    inside the window after rounding inward; None where no step of the rounding fits inside."""

    low: float
    high: float
    low_because: Reason
    high_because: Reason
    nominal: Decimal | None
    tolerance: Decimal | None


@dataclass(frozen=True, slots=True, eq=False)
class WindowStudy:
    """The answer. window: None where no height meets everything; failing: then the responses that nowhere meet their limit, or all of them
    where each does somewhere but never together. share, confidence: of the bounds."""

    heights: tuple[float, ...]
    responses: tuple[Fitted, ...]
    window: Window | None
    failing: tuple[Response, ...]
    share: float
    confidence: float
    step: Decimal


def crimp_window(
    heights: Sequence[float],
    asked: Sequence[Asked],
    *,
    degree: int = 2,
    share: float = 0.99,
    confidence: float = 0.95,
    step: Decimal = Decimal("0.01"),
) -> WindowStudy:
    """The window of crimp heights.

    heights: of each piece, in mm, shape (n,). degree: of each curve, 1 to 3. share: of single pieces that have to keep the limit, with this
    confidence. step: to which nominal and tolerance are rounded. Raises TooFew (heights or pieces), NotFinite, ValueError.
    """
    if not 1 <= degree <= 3:
        raise ValueError(f"a degree from 1 to 3, not {degree}")
    if not (0 < share < 1 and 0 < confidence < 1):
        raise ValueError("share and confidence lie between 0 and 1")
    xs = checked(heights, degree + 3)
    different = int(np.unique(xs).size)
    if different < LEAST_HEIGHTS:
        raise TooFew(LEAST_HEIGHTS, different)
    if not asked:
        raise ValueError("nothing was measured against the height")
    grid = np.linspace(xs.min(), xs.max(), GRID)
    fitted = tuple(_fitted(xs, one, degree, grid, share, confidence) for one in asked)
    together = np.logical_and.reduce([one.meets for one in fitted])
    if not together.any():
        nowhere = tuple(one.asked.response for one in fitted if not one.meets.any())
        return WindowStudy(tuple(map(float, xs)), fitted, None, nowhere or tuple(f.asked.response for f in fitted), share, confidence, step)
    first, last = _widest(together)
    low, low_because = _end(fitted, grid, first, -1, share, confidence)
    high, high_because = _end(fitted, grid, last, 1, share, confidence)
    nominal, tolerance = _proposal(low, high, step)
    return WindowStudy(
        tuple(map(float, xs)), fitted, Window(low, high, low_because, high_because, nominal, tolerance), (), share, confidence, step
    )


def _fitted(xs: np.ndarray, one: Asked, degree: int, grid: np.ndarray, share: float, confidence: float) -> Fitted:
    if one.low is None and one.high is None:
        raise ValueError(f"no limit is stated for {one.response}")
    curve = fit_curve(xs, one.values, degree)
    mean_low, mean_high = curve.mean_band(grid, confidence)
    bound_low = curve.piece_bound(grid, share, confidence, lower=True) if one.low is not None else None
    bound_high = curve.piece_bound(grid, share, confidence, lower=False) if one.high is not None else None
    meets = np.ones(grid.shape, dtype=np.bool_)
    if bound_low is not None and one.low is not None:
        meets &= bound_low >= one.low
    if bound_high is not None and one.high is not None:
        meets &= bound_high <= one.high
    return Fitted(one, curve, grid, curve.at(grid), mean_low, mean_high, bound_low, bound_high, meets)


def _widest(flags: np.ndarray) -> tuple[int, int]:
    """First and last index of the longest unbroken stretch."""
    edges = np.flatnonzero(np.diff(np.concatenate(([0], flags.view(np.int8), [0]))))
    starts, ends = edges[::2], edges[1::2]
    best = int(np.argmax(ends - starts))
    return int(starts[best]), int(ends[best] - 1)


def _end(fitted: Sequence[Fitted], grid: np.ndarray, index: int, way: int, share: float, confidence: float) -> tuple[float, Reason]:
    """The end of the window on one side, found to a millionth between two points of the grid, and what ends it."""
    beyond = index + way
    if not 0 <= beyond < grid.size:
        return float(grid[index]), Reason.TRIED
    inside, outside = float(grid[index]), float(grid[beyond])
    culprit = next(one for one in fitted if not one.meets[beyond])
    for _ in range(40):
        middle = (inside + outside) / 2
        if all(_meets(one, middle, share, confidence) for one in fitted):
            inside = middle
        else:
            outside = middle
    return inside, Reason(culprit.asked.response.value)


def _meets(one: Fitted, height: float, share: float, confidence: float) -> bool:
    at = [height]
    if one.asked.low is not None and float(one.curve.piece_bound(at, share, confidence, lower=True)[0]) < one.asked.low:
        return False
    return one.asked.high is None or float(one.curve.piece_bound(at, share, confidence, lower=False)[0]) <= one.asked.high


def _proposal(low: float, high: float, step: Decimal) -> tuple[Decimal | None, Decimal | None]:
    """The middle of the window to the step, and the largest tolerance in steps that stays inside."""
    inner_low = (Decimal(repr(low)) / step).to_integral_value(ROUND_CEILING) * step
    inner_high = (Decimal(repr(high)) / step).to_integral_value(ROUND_FLOOR) * step
    if inner_high - inner_low < 2 * step:
        return None, None
    steps = ((inner_high - inner_low) / (2 * step)).to_integral_value(ROUND_FLOOR)
    nominal = (inner_low + steps * step).quantize(step)
    return nominal, (steps * step).quantize(step)
