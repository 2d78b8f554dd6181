"""Readings as arrays: checked once at the door, mean and spread in two passes, subgroups of equal or unequal size.

The plain-Python twin for small sets is `inspection.spc`.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from inspection.spc import NotFinite, TooFew

Array = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]
Values = Sequence[float] | npt.NDArray[np.generic]
Groups = Sequence[Sequence[float]] | npt.NDArray[np.generic]


class NoSpread(ValueError):  # noqa: N818  # reads as what happened
    """All values are equal: what divides by their spread has no answer."""

    def __str__(self) -> str:
        return "all values are equal"


class NotPositive(ValueError):  # noqa: N818  # reads as what happened
    """A value or limit is zero or negative where only positive ones have a meaning. what: which; value: the first of them."""

    def __init__(self, what: str, value: float) -> None:
        self.what, self.value = what, value
        super().__init__(what, value)

    def __str__(self) -> str:
        return f"{self.what} {self.value:g} is not positive"


def checked(values: Values, needed: int = 1) -> Array:
    """The values as a float array of shape (n,). Raises TooFew under `needed`, NotFinite, ValueError for anything but one row."""
    given = np.asarray(values, dtype=np.float64)
    if given.ndim != 1:
        raise ValueError("readings are numbers in one row")
    if given.size < needed:
        raise TooFew(needed, int(given.size))
    # A sum is finite when its parts are (but for an overflow), and is one pass without a temporary.
    with np.errstate(over="ignore", invalid="ignore"):
        total = given.sum()
    if not np.isfinite(total):
        wrong = np.flatnonzero(~np.isfinite(given))
        if wrong.size:
            raise NotFinite(int(wrong[0]))
    return given


def mean(values: Values) -> float:
    """Arithmetic mean (n >= 1); the second pass takes back what the first rounded off. Raises TooFew, NotFinite."""
    return _mean(checked(values, 1))


def standard_deviation(values: Values) -> float:
    """Standard deviation, divisor n - 1 (n >= 2), in two passes with the correction for the rounded mean. Raises TooFew, NotFinite.

    Source of the check: NIST StRD univariate sets; 13 digits, 9 on NumAcc3, whose input is already rounded.
    """
    return mean_and_deviation(checked(values, 2))[1]


def mean_and_deviation(given: Array) -> tuple[float, float]:
    """Mean and standard deviation (divisor n - 1) of checked values, sharing the pass over the differences."""
    first = float(given.mean())
    rest, squares = _moments(given, first)
    rest /= given.size
    return first + rest, float(np.sqrt(max(squares - given.size * rest**2, 0.0) / (given.size - 1)))


PIECE = 16_384
"""Readings handled at a time where a pass needs room for as many more: the room then stays in the processor's cache."""


def _moments(given: Array, center: float) -> tuple[float, float]:
    """Sum and sum of squares of the differences from a value near the mean."""
    room = np.empty(min(PIECE, given.size))
    total = squares = 0.0
    for start in range(0, given.size, PIECE):
        piece = given[start : start + PIECE]
        away = np.subtract(piece, center, out=room[: piece.size])
        total += float(away.sum())
        squares += float(np.dot(away, away))
    return total, squares


def lag_1_autocorrelation(values: Values) -> float:
    """r1 = sum((x_i - m)(x_i+1 - m)) / sum((x_i - m)^2), as NIST StRD has it; 0 for equal values. Raises TooFew, NotFinite."""
    given = checked(values, 2)
    away = given - _mean(given)
    total = float(np.dot(away, away))
    return float(np.dot(away[:-1], away[1:])) / total if total else 0.0


def _mean(given: Array) -> float:
    first = float(given.mean())
    return first + _moments(given, first)[0] / given.size


@dataclass(frozen=True, slots=True, eq=False)
class Subgroups:
    """Readings in rational subgroups, in time order.

    values: all readings, one subgroup after the other (shape (n,)). sizes: how many each subgroup has (shape (k,), each >= 1).
    """

    values: Array
    sizes: IntArray

    def __len__(self) -> int:
        return int(self.sizes.size)

    def __iter__(self) -> Iterator[Array]:
        return iter(np.split(self.values, np.cumsum(self.sizes)[:-1]))

    @property
    def size(self) -> int | None:
        """The common size, None when sizes differ."""
        first = int(self.sizes[0])
        return first if bool((self.sizes == first).all()) else None

    @property
    def starts(self) -> IntArray:
        """Index of each subgroup's first reading."""
        return np.concatenate(([0], np.cumsum(self.sizes)[:-1])).astype(np.int64)

    def _columns(self, size: int) -> Array:
        """Equal subgroups with their first readings in one row, their second in the next: numpy goes along long rows, not across short
        ones, ten times as fast."""
        return np.array(self.values.reshape(-1, size).T, order="C")

    def means(self) -> Array:
        """Mean of each subgroup (shape (k,))."""
        if (size := self.size) is not None:
            columns = self._columns(size)
            first = columns.mean(axis=0)
            columns -= first
            first += columns.mean(axis=0)
            return np.asarray(first)
        first = np.add.reduceat(self.values, self.starts) / self.sizes
        rest = np.add.reduceat(self.values - np.repeat(first, self.sizes), self.starts) / self.sizes
        return np.asarray(first + rest)

    def ranges(self) -> Array:
        """Largest minus smallest reading of each subgroup (shape (k,)); 0 for a subgroup of one."""
        if (size := self.size) is not None:
            columns = self._columns(size)
            return np.asarray(columns.max(axis=0) - columns.min(axis=0))
        return np.asarray(np.maximum.reduceat(self.values, self.starts) - np.minimum.reduceat(self.values, self.starts))

    def deviations(self) -> Array:
        """Standard deviation of each subgroup, divisor size - 1 (shape (k,)); 0 for a subgroup of one."""
        if (size := self.size) is not None:
            columns = self._columns(size)
            columns -= self.means()
            columns *= columns
            return np.asarray(np.sqrt(columns.sum(axis=0) / max(size - 1, 1)))
        away = self.values - np.repeat(self.means(), self.sizes)
        squares = np.add.reduceat(away * away, self.starts)
        return np.asarray(np.sqrt(squares / np.maximum(self.sizes - 1, 1)))


def subgroups(data: Groups | Subgroups, needed: int = 1) -> Subgroups:
    """Subgroups of a table (shape (k, m)) or of rows of any length >= 1. Raises TooFew under `needed` subgroups or for an empty one,
    NotFinite (index in the readings laid end to end)."""
    if isinstance(data, Subgroups):
        if len(data) < needed:
            raise TooFew(needed, len(data))
        return data
    if isinstance(data, np.ndarray):
        if data.ndim != 2:
            raise ValueError("subgroups are rows of readings")
        sizes = np.full(data.shape[0], data.shape[1], dtype=np.int64)
        flat: Values = data.reshape(-1)
    else:
        sizes = np.array([len(group) for group in data], dtype=np.int64)
        flat = [value for group in data for value in group]
    if sizes.size < needed:
        raise TooFew(needed, int(sizes.size))
    if not bool((sizes >= 1).all()):
        raise TooFew(1, 0)
    return Subgroups(checked(flat, 1), sizes)
