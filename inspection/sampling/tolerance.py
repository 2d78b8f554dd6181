"""Statistical tolerance bounds: what at least a share p of everything made holds, with confidence gamma, judged from n values.

Used for the pull force: the bound beside the least force. Sources: NIST/SEMATECH e-Handbook 7.2.6.3 (from memory); ISO 16269-6 treats the
same factors (from memory). Exact by the noncentral t distribution, not by a table.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray
from scipy import optimize, special, stats

from inspection.sampling.design import success_run
from inspection.spc import NotFinite, TooFew
from inspection.studies.confidence import NotASetting, chi2_quantile, normal_quantile, probability

LEAST_VALUES = 2


def _count(n: int) -> int:
    if n != int(n):
        raise NotASetting("n", n)
    if n < LEAST_VALUES:
        raise TooFew(LEAST_VALUES, int(n))
    return int(n)


def k_one_sided(n: int, p: float, gamma: float) -> float:
    """k with which mean - k s (or mean + k s) bounds at least a share p of a normal population with confidence gamma, from n values.

    The gamma quantile of the noncentral t with n - 1 degrees of freedom and noncentrality z_p sqrt(n), over sqrt(n). Exact.
    Raises TooFew, NotASetting.

    >>> [round(k_one_sided(n, 0.95, 0.95), 4) for n in (10, 20, 30, 50)]
    [2.911, 2.396, 2.2198, 2.065]
    """
    n = _count(n)
    probability("p", p)
    probability("gamma", gamma)
    root = math.sqrt(n)
    return float(stats.nct.ppf(gamma, n - 1, normal_quantile(p) * root)) / root


def k_two_sided_howe(n: int, p: float, gamma: float) -> float:
    """k of mean -/+ k s by Howe's approximation (Howe 1969, J. American Statistical Association 64, 610-620).

    >>> round(k_two_sided_howe(43, 0.90, 0.99), 3)
    2.217
    """
    n = _count(n)
    probability("p", p)
    probability("gamma", gamma)
    return normal_quantile((1 + p) / 2) * math.sqrt((n - 1) * (1 + 1 / n) / chi2_quantile(1 - gamma, n - 1))


_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(200)
_REACH = 9.0  # beyond 9 standard errors of the mean lies less than 1e-18


def k_two_sided(n: int, p: float, gamma: float) -> float:
    """k of mean -/+ k s exactly: averaged over where the mean falls, the chance that s is large enough for the interval to hold p.

    Method: Wald and Wolfowitz 1946 in its exact form (Odeh 1978), integrated by Gauss-Legendre with 200 nodes. Raises TooFew, NotASetting.
    """
    n = _count(n)
    probability("p", p)
    probability("gamma", gamma)
    z = (_NODES + 1) / 2 * _REACH  # of the mean, in standard errors; both signs count alike
    weights = _WEIGHTS * _REACH / 2 * 2 * np.exp(-z * z / 2) / math.sqrt(2 * math.pi)
    needed = _half_width(z / math.sqrt(n), p) ** 2 * (n - 1)

    def short(k: float) -> float:
        return float(weights @ special.chdtrc(n - 1, needed / (k * k))) - gamma

    # Howe's k is within a few percent of it for all but the smallest n.
    low = high = k_two_sided_howe(n, p, gamma)
    while short(low) > 0:
        low /= 1.5
    while short(high) < 0:
        high *= 1.5
    return float(optimize.brentq(short, low, high, xtol=1e-13, rtol=1e-13)) if low < high else low


def _half_width(off: NDArray[np.float64], p: float) -> NDArray[np.float64]:
    """r with Phi(off + r) - Phi(off - r) = p, by Newton's method from above, where it cannot overshoot."""
    r = off + normal_quantile((1 + p) / 2)
    for _round in range(60):
        held = special.ndtr(off + r) - special.ndtr(off - r)
        slope = (np.exp(-((off + r) ** 2) / 2) + np.exp(-((off - r) ** 2) / 2)) / math.sqrt(2 * math.pi)
        step = (held - p) / slope
        r = r - step
        if float(np.abs(step).max()) < 1e-13:
            break
    return r


def share_covered(k: float, n: int, gamma: float) -> float:
    """The share p for which `k_one_sided` is k: what a limit k standard deviations away from the mean is held by, with confidence gamma.

    Raises TooFew, NotASetting. 0 and 1 where it is beyond what doubles tell.
    """
    n = _count(n)
    probability("gamma", gamma)
    if not math.isfinite(k):
        raise NotASetting("k", k)
    root = math.sqrt(n)

    def surplus(z: float) -> float:
        chance = float(stats.nct.cdf(k * root, n - 1, z * root))
        # Far out the library gives up; there the answer is 1 below k and 0 above it.
        return (float(z < k) if math.isnan(chance) else chance) - gamma

    if surplus(k) < 0:  # the usual case: less is covered than the sample itself says
        low = k - 1.0
        while surplus(low) < 0:
            low -= 2 * (k - low)
            if low < k - 1e4:
                return 0.0
        high = k
    else:
        low, high = k, k + 1.0
        while surplus(high) > 0:
            high += 2 * (high - k)
            if high > k + 1e4:
                return 1.0
    return float(special.ndtr(optimize.brentq(surplus, low, high, xtol=1e-12)))


# --- The pull force ----------------------------------------------------------------------------------------------------------------


class Verdict(StrEnum):
    HOLDS = "holds"
    FALLS_SHORT = "falls short"
    NO_SPREAD = "no spread"
    """Every value is the same: the gauge resolves too little, or values were copied. Nothing is concluded."""


@dataclass(frozen=True, slots=True)
class LowerBound:
    """A lower bound of what at least a share p is, with confidence gamma, beside a minimum; all in one unit.

    share: of the population that holds the minimum, with the same confidence; None where there is no spread.
    """

    n: int
    mean: float
    s: float
    p: float
    gamma: float
    k: float
    bound: float
    minimum: Decimal | None
    share: float | None
    verdict: Verdict | None


def lower_bound(mean: float, s: float, n: int, *, p: float, gamma: float, minimum: Decimal | None = None) -> LowerBound:
    """mean - k s from the figures of a sample, and whether it reaches the minimum. Normal values assumed. Raises TooFew, NotFinite."""
    n = _count(n)
    for index, value in enumerate((mean, s)):
        if not math.isfinite(value):
            raise NotFinite(index)
    if s < 0:
        raise NotASetting("s", s)
    if minimum is not None and not minimum.is_finite():
        raise NotASetting("minimum", minimum)
    k = k_one_sided(n, p, gamma)
    bound = mean - k * s
    spread = s > abs(mean) * 1e-12
    verdict = share = None
    if minimum is not None:
        verdict = Verdict.NO_SPREAD if not spread else Verdict.HOLDS if Decimal(repr(bound)) >= minimum else Verdict.FALLS_SHORT
        share = share_covered((mean - float(minimum)) / s, n, gamma) if spread else None
    return LowerBound(n, mean, s, p, gamma, k, bound, minimum, share, verdict)


def lower_bound_of(values: Sequence[float], *, p: float, gamma: float, minimum: Decimal | None = None) -> LowerBound:
    """The same from the values (shape (n,), n at least 2). Raises TooFew, NotFinite, NotASetting."""
    given = _values(values)
    mean = float(given.mean())
    return lower_bound(mean, float(given.std(ddof=1)), len(given), p=p, gamma=gamma, minimum=minimum)


def _values(values: Sequence[float]) -> NDArray[np.float64]:
    given = np.asarray(values, dtype=np.float64).ravel()
    if len(given) < LEAST_VALUES:
        raise TooFew(LEAST_VALUES, len(given))
    if not np.isfinite(given).all():
        raise NotFinite(int(np.flatnonzero(~np.isfinite(given))[0]))
    return given


# --- Without a distribution --------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class RankBound:
    """The r-th smallest value as lower bound. rank: from 1, None where n values are too few; confidence: that it really has.

    needed: the fewest values for which the smallest one is a bound.
    """

    rank: int | None
    value: float | None
    confidence: float | None
    needed: int


def rank_confidence(n: int, rank: int, p: float) -> float:
    """Chance that at least a share p lies above the rank-th smallest of n values, whatever their distribution."""
    if not 1 <= rank <= n:
        raise NotASetting("rank", rank)
    # The rank-th smallest lies at or below the (1 - p) quantile when at least `rank` of n values do.
    return float(special.bdtrc(rank - 1, n, 1 - probability("p", p)))


def values_needed(p: float, gamma: float) -> int:
    """The fewest values whose smallest is a bound: the success run with p as reliability."""

    return success_run(Decimal(str(p)), Decimal(str(gamma)))


def rank_bound(values: Sequence[float], *, p: float, gamma: float) -> RankBound:
    """The largest order statistic that is still a lower bound for a share p with confidence gamma. No distribution is assumed.

    Raises TooFew, NotFinite, NotASetting. Source: order statistics, Wilks 1941; NIST/SEMATECH e-Handbook 7.2.6.4 (from memory).
    """
    given = np.sort(_values(values))
    probability("p", p)
    probability("gamma", gamma)
    n, needed = len(given), values_needed(p, gamma)
    if n < needed:
        return RankBound(None, None, None, needed)
    ranks = np.arange(1, n + 1)
    held = special.bdtrc(ranks - 1, n, 1 - p) >= gamma - 1e-12  # falls with the rank
    rank = max(int(held.sum()), 1)
    return RankBound(rank, float(given[rank - 1]), rank_confidence(n, rank, p), needed)
