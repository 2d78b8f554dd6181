"""Bins of a histogram that neither hide the shape of the readings nor show the gauge's steps as gaps.

Source: Freedman and Diaconis 1981 (width 2 IQR / cube root of n).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from inspection.process.readings import Array, IntArray, Values, checked


@dataclass(frozen=True, slots=True, eq=False)
class Histogram:
    """edges: of the bins, in the unit of the values (shape (k + 1,)); counts: values in each (shape (k,)), a value on an edge in the bin
    above it, the largest in the last; width: of every bin."""

    edges: Array
    counts: IntArray
    width: float


def histogram(values: Values, *, resolution: float | None = None, most: int = 60) -> Histogram:
    """Bins by Freedman and Diaconis, at least one and at most `most`. values: n >= 1; resolution: step of the gauge, in the same unit.

    With a resolution every bin takes the same whole number of steps and edges lie halfway between them, so that no reading stands on an
    edge and no bin has a step more than its neighbour. Raises TooFew, NotFinite, ValueError for a resolution that is not above zero.
    """
    given = checked(values, 1)
    if resolution is not None and not (math.isfinite(resolution) and resolution > 0):
        raise ValueError("a resolution is above zero")
    if most < 1:
        raise ValueError("a histogram has at least one bin")
    least, largest = float(given.min()), float(given.max())
    if resolution is not None and max(abs(least), abs(largest)) / resolution > 2**53:
        raise ValueError("a resolution this fine is beyond the digits of the readings")
    quarter, three_quarters = np.quantile(given, (0.25, 0.75))
    spread = float(three_quarters - quarter)
    # Half of the values in one spot leave no quartile range; the whole range over the square root is left then (common practice).
    width = 2 * spread / given.size ** (1 / 3) if spread > 0 else (largest - least) / math.sqrt(given.size)
    width = max(width, (largest - least) / most)
    if resolution is None:
        return _plain(given, least, largest, width)
    step = max(round(width / resolution), 1)
    first, last = round(least / resolution), round(largest / resolution)
    while (last - first) // step + 1 > most:
        step += 1
    bins = (last - first) // step + 1
    # Steps that are left over go to both ends alike, so the picture stays in the middle.
    first -= (bins * step - (last - first + 1)) // 2
    edges = np.asarray((first - 0.5 + step * np.arange(bins + 1)) * resolution, dtype=np.float64)
    # Counted in whole steps: a reading that is no multiple of the resolution goes with the nearest one.
    place = (np.rint(given / resolution).astype(np.int64) - first) // step
    return Histogram(edges, np.bincount(place, minlength=bins).astype(np.int64), step * resolution)


def _plain(given: Array, least: float, largest: float, width: float) -> Histogram:
    if not width > 0:
        half = max(abs(least), 1.0) * 0.5e-3
        return Histogram(np.array([least - half, least + half]), np.array([given.size], dtype=np.int64), 2 * half)
    bins = max(math.ceil((largest - least) / width - 1e-9), 1)
    counts, edges = np.histogram(given, bins=bins, range=(least, largest))
    return Histogram(edges.astype(np.float64), counts.astype(np.int64), float(edges[1] - edges[0]))
