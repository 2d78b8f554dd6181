"""Tests of a run chart: are there too few or too many runs about the median, is the longest one too long.

Source: Wald and Wolfowitz 1940 (number of runs, exact); the longest run by counting arrangements (Mosteller 1941 treats the same question;
both from memory). Values on the median are left out, so what is tested is the order of "above" and "below".
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.special import gammaln

from inspection.process.readings import Array, IntArray, Values, checked
from inspection.spc import TooFew

EXACT_LONGEST = 1000
"""Values up to which arrangements are counted one by one for the longest run; beyond, above and below come like tosses of a coin,
which makes a long run a little likelier than a fixed number on either side does."""


@dataclass(frozen=True, slots=True)
class RunsTest:
    """above, below: values on either side of the median. runs: unbroken rows on one side; expected: on average in random order.
    p_few, p_many: chance of so few (a shift, a drift) or so many (two mixed sources, over-adjustment) runs in random order.
    longest: length of the longest run; p_longest: chance of one as long."""

    above: int
    below: int
    runs: int
    expected: float
    p_few: float
    p_many: float
    longest: int
    p_longest: float


def runs_test(values: Values, center: float | None = None) -> RunsTest:
    """Tests for random order of values in time order about their median, or about `center`. At least two values off the line and one on
    each side. Raises TooFew, NotFinite."""
    given = checked(values, 2)
    side = np.sign(given - (np.median(given) if center is None else center))
    side = side[side != 0]
    above = int((side > 0).sum())
    below = int(side.size) - above
    if min(above, below) < 1:
        raise TooFew(2, int(side.size) if side.size < 2 else 1)
    changes = np.flatnonzero(np.diff(side))
    lengths = np.diff(np.concatenate(([-1], changes, [side.size - 1])))
    runs, longest = int(lengths.size), int(lengths.max())
    chances = _chances(above, below)
    return RunsTest(
        above,
        below,
        runs,
        1 + 2 * above * below / (above + below),
        min(float(chances[: runs + 1].sum()), 1.0),
        min(float(chances[runs:].sum()), 1.0),
        longest,
        _as_long(above, below, longest),
    )


def _chances(above: int, below: int) -> Array:
    """Chance of each number of runs from 0 up, given how many values lie on either side."""
    most = 2 * min(above, below) + 1
    runs = np.arange(most + 1)
    half, rest = runs // 2, runs - runs // 2

    def ways(total: int, pieces: IntArray) -> Array:
        """Logarithm of the number of ways to cut `total` into so many pieces: total - 1 over pieces - 1."""
        possible = (pieces >= 1) & (pieces <= total)
        safe = np.where(possible, pieces, 1)
        return np.asarray(np.where(possible, gammaln(total) - gammaln(safe) - gammaln(total - safe + 1), -np.inf))

    every = gammaln(above + below + 1) - gammaln(above + 1) - gammaln(below + 1)
    first, second = ways(above, half) + ways(below, rest), ways(above, rest) + ways(below, half)
    return np.asarray(np.exp(first - every) + np.exp(second - every))


def _as_long(above: int, below: int, length: int) -> float:
    """Chance of a run of at least `length` on either side."""
    if length <= 1:
        return 1.0
    if above + below > EXACT_LONGEST:
        return _coin(above + below, length)
    short = length - 1
    uppers = [_cut(above, pieces, short) for pieces in range(below + 3)]
    lowers = [_cut(below, pieces, short) for pieces in range(below + 2)]
    # Rows alternate: as many above as below (either may come first), or one more of one of them.
    arrangements = sum(lowers[p] * (2 * uppers[p] + uppers[p + 1] + (uppers[p - 1] if p else 0)) for p in range(1, below + 1))
    return 1 - arrangements / math.comb(above + below, above)


def _cut(total: int, pieces: int, largest: int) -> int:
    """Ways to cut `total` into so many pieces of 1 to `largest` each, by inclusion and exclusion."""
    if pieces < 1 or not pieces <= total <= pieces * largest:
        return 0
    return sum(
        (-1) ** j * math.comb(pieces, j) * math.comb(total - j * largest - 1, pieces - 1)
        for j in range(pieces + 1)
        if total - j * largest >= pieces
    )


def _coin(count: int, length: int) -> float:
    """Chance of a run of at least `length` equal sides in `count` tosses of a coin, by the first such run's place."""
    none = [1.0] * (count + 1)
    first = 0.5 ** (length - 1)
    for n in range(length, count + 1):
        # Either the first `length` tosses agree, or a new run starts after the first toss that differs.
        none[n] = none[n - 1] - (first if n == length else first / 2 * none[n - length])
    return 1 - none[count]
