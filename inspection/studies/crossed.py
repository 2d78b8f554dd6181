"""Readings of a study laid out in cells: each appraiser measures each part the same number of times (crossed), or parts of his own
(nested)."""

from __future__ import annotations

import math
from collections.abc import Hashable, Iterable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from inspection.spc import NotFinite
from inspection.studies.constants import mean_reach, range_limits

Floats = NDArray[np.float64]


class MissingCells(ValueError):  # noqa: N818  # reads as what happened
    """The layout has gaps. cells: which, as (part, appraiser, trial) or, in a nested study, (appraiser, part, trial): indices from 0, or
    the names where rows with names were given."""

    def __init__(self, cells: Iterable[tuple[Any, Any, Any]]) -> None:
        self.cells = tuple(cells)
        super().__init__(self.cells)

    def __str__(self) -> str:
        return "readings missing: " + ", ".join("/".join(str(part) for part in cell) for cell in self.cells)


class DoubledCells(ValueError):  # noqa: N818  # reads as what happened
    """The same cell was given twice. cells: as in MissingCells."""

    def __init__(self, cells: Iterable[tuple[Any, Any, Any]]) -> None:
        self.cells = tuple(cells)
        super().__init__(self.cells)


class TooSmall(ValueError):  # noqa: N818  # reads as what happened
    """A layout with too few of something. what: "parts", "appraisers", "trials", "references", "items" or "sources"; needed, given."""

    def __init__(self, what: str, needed: int, given: int) -> None:
        self.what, self.needed, self.given = what, needed, given
        super().__init__(what, needed, given)

    def __str__(self) -> str:
        return f"{self.needed} {self.what} are needed, {self.given} given"


@dataclass(frozen=True, slots=True, eq=False)
class Crossed:
    """Readings with their names. values: shape (parts, appraisers, trials)."""

    parts: tuple[Hashable, ...]
    appraisers: tuple[Hashable, ...]
    trials: tuple[Hashable, ...]
    values: Floats


def arranged(rows: Iterable[tuple[Hashable, Hashable, Hashable, float]]) -> Crossed:
    """Rows of (part, appraiser, trial, value) in any order, laid out; names keep the order in which they first appear.

    Raises MissingCells and DoubledCells with names, NotFinite with the number of the row.
    """
    cells: dict[tuple[Hashable, Hashable, Hashable], float] = {}
    doubled = []
    for number, (part, appraiser, trial, value) in enumerate(rows):
        if not math.isfinite(value):
            raise NotFinite(number)
        if (part, appraiser, trial) in cells:
            doubled.append((part, appraiser, trial))
        cells[part, appraiser, trial] = float(value)
    if doubled:
        raise DoubledCells(doubled)
    parts, appraisers, trials = (tuple(dict.fromkeys(key[axis] for key in cells)) for axis in range(3))
    wanted = [(p, a, t) for p in parts for a in appraisers for t in trials]
    missing = [cell for cell in wanted if cell not in cells]
    if missing:
        raise MissingCells(missing)
    shape = (len(parts), len(appraisers), len(trials))
    return Crossed(parts, appraisers, trials, np.array([cells[cell] for cell in wanted], dtype=float).reshape(shape))


def cube(readings: Sequence[Sequence[Sequence[float]]] | Floats) -> Floats:
    """Readings as a finite array of three axes. A cell left out or NaN is missing. Raises MissingCells, NotFinite (index in reading
    order)."""
    nested = [[[math.nan if value is None else float(value) for value in cell] for cell in row] for row in readings]
    second = max((len(row) for row in nested), default=0)
    third = max((len(cell) for row in nested for cell in row), default=0)
    laid_out = np.full((len(nested), second, third), math.nan)
    for i, row in enumerate(nested):
        for j, cell in enumerate(row):
            laid_out[i, j, : len(cell)] = cell
    missing = np.argwhere(np.isnan(laid_out))
    if len(missing):
        raise MissingCells((int(i), int(j), int(k)) for i, j, k in missing)
    infinite = np.flatnonzero(np.isinf(laid_out))
    if len(infinite):
        raise NotFinite(int(infinite[0]))
    return laid_out


def need(what: str, needed: int, given: int) -> None:
    """Raises TooSmall."""
    if given < needed:
        raise TooSmall(what, needed, given)


@dataclass(frozen=True, slots=True)
class Picture:
    """What a page draws of a crossed study. All in the unit of the readings.

    readings (parts, appraisers, trials); cell_means, cell_ranges (parts, appraisers); part_means, appraiser_means; appraiser_ranges: mean
    range of each appraiser. mean_low, mean_high: grand mean -/+ A2 Rbar; means_outside: how many cell means lie beyond them: at least half
    should, or the gauge does not tell the parts apart (AIAG MSA 4th ed. III-B, from memory). range_low, range_high: D3 and D4 Rbar;
    ranges_beyond: (part, appraiser) of ranges above D4 Rbar; appraisers_beyond: whom that concerns. zero_ranges: cells without any spread,
    of which many speak of too coarse a resolution.
    """

    readings: tuple[tuple[tuple[float, ...], ...], ...]
    cell_means: tuple[tuple[float, ...], ...]
    cell_ranges: tuple[tuple[float, ...], ...]
    part_means: tuple[float, ...]
    appraiser_means: tuple[float, ...]
    appraiser_ranges: tuple[float, ...]
    grand_mean: float
    mean_range: float
    mean_low: float
    mean_high: float
    means_outside: int
    range_low: float
    range_high: float
    ranges_beyond: tuple[tuple[int, int], ...]
    appraisers_beyond: tuple[int, ...]
    zero_ranges: int


def picture(values: Floats) -> Picture:
    """The picture of finite readings of shape (parts, appraisers, trials), at least two trials."""
    center = float(values.mean())
    centred = values - center
    means = centred.mean(axis=2)
    ranges = values.max(axis=2) - values.min(axis=2)
    # Readings are decimal fractions: a range that equals its limit but for rounding is not beyond it.
    slack = 1e-12 * float(np.abs(values).max())
    mean_range = float(ranges.mean())
    low, high = range_limits(mean_range, values.shape[2])
    reach = mean_reach(mean_range, values.shape[2])
    beyond = tuple((int(p), int(a)) for p, a in np.argwhere(ranges > high + slack))
    return Picture(
        readings=tuple(tuple(_row(cell) for cell in part) for part in values),
        cell_means=tuple(_row(row + center) for row in means),
        cell_ranges=tuple(_row(row) for row in ranges),
        part_means=_row(means.mean(axis=1) + center),
        appraiser_means=_row(means.mean(axis=0) + center),
        appraiser_ranges=_row(ranges.mean(axis=0)),
        grand_mean=center,
        mean_range=mean_range,
        mean_low=center - reach,
        mean_high=center + reach,
        means_outside=int((np.abs(means) > reach + slack).sum()),
        range_low=low,
        range_high=high,
        ranges_beyond=beyond,
        appraisers_beyond=tuple(sorted({appraiser for _, appraiser in beyond})),
        zero_ranges=int((ranges <= slack).sum()),
    )


def _row(values: Floats) -> tuple[float, ...]:
    return tuple(float(value) for value in values)
