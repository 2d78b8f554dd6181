"""What a single sampling plan does: the chance of acceptance and what follows from it.

A lot is accepted with up to c nonconforming in a sample of n. Fractions are shares (0.01 is one percent). Sources: MIL-STD-105E (OC curves,
Table X), NIST/SEMATECH e-Handbook 6.2.3 (OC, AOQ, ATI).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import optimize, special, stats

from inspection.spc import NotFinite
from inspection.studies.confidence import NotASetting, probability

Floats = NDArray[np.float64]


class Model(StrEnum):
    """How the number found in a sample is distributed."""

    BINOMIAL = "binomial"  # pieces from a process
    HYPERGEOMETRIC = "hypergeometric"  # pieces from one lot of known size
    POISSON = "poisson"  # nonconformities, of which a piece can have several


@dataclass(frozen=True, slots=True)
class Curve:
    """y over x, as arrays of the same length. x: the incoming share nonconforming, or nonconformities per unit."""

    x: Floats
    y: Floats


def sample_of(n: int, c: int) -> tuple[int, int]:
    """n and c as whole numbers. Raises NotASetting: n is 1 or more, c 0 or more and below n, else nothing could be refused."""
    if n != int(n) or n < 1:
        raise NotASetting("n", n)
    if c != int(c) or c < 0:
        raise NotASetting("c", c)
    return int(n), int(c)


def _shares(p: ArrayLike, most: float = 1.0) -> Floats:
    shares = np.asarray(p, dtype=np.float64)
    if not np.isfinite(shares).all():
        raise NotFinite(int(np.flatnonzero(~np.isfinite(shares))[0]))
    if shares.size and (shares.min() < 0 or shares.max() > most):
        raise NotASetting("p", float(shares.max() if shares.max() > most else shares.min()))
    return shares


def pa_binomial(p: ArrayLike, n: int, c: int) -> Floats:
    """Chance that a lot from a process with share p nonconforming is accepted. p: any shape. Raises NotASetting, NotFinite.

    >>> round(float(pa_binomial(0.05, 52, 3)), 4)
    0.7383
    """
    n, c = sample_of(n, c)
    shares = _shares(p)
    return np.ones_like(shares) if c >= n else np.asarray(special.bdtr(c, n, shares), dtype=np.float64)


def pa_poisson(u: ArrayLike, n: int, c: int) -> Floats:
    """Chance of at most c nonconformities in n units at a rate of u per unit."""
    n, c = sample_of(n, c)
    return np.asarray(special.pdtr(c, n * _shares(u, math.inf)), dtype=np.float64)


def pa_lot(nonconforming: ArrayLike, lot_size: int, n: int, c: int) -> Floats:
    """Chance that one lot is accepted, given how many of its pieces do not conform (hypergeometric). Raises NotASetting."""
    n, c = sample_of(n, c)
    bad = np.asarray(nonconforming)
    if not n <= lot_size:
        raise NotASetting("n", n)
    if not np.isfinite(bad).all() or (bad != np.rint(bad)).any() or (bad < 0).any() or (bad > lot_size).any():
        raise NotASetting("nonconforming", nonconforming)
    return np.asarray(stats.hypergeom.cdf(c, lot_size, bad.astype(np.int64), n), dtype=np.float64)


def oc_curve(
    n: int, c: int, *, model: Model = Model.BINOMIAL, lot_size: int | None = None, upto: float | None = None, points: int = 201
) -> Curve:
    """The OC curve from 0 to `upto`, by default as far as a lot is accepted once in a hundred.

    Hypergeometric: one point for each whole number of nonconforming pieces (thinned to `points`). Raises NotASetting.
    """
    n, c = sample_of(n, c)
    if model is Model.HYPERGEOMETRIC:
        if lot_size is None:
            raise NotASetting("lot_size", lot_size)
        end = lot_size if upto is None else math.floor(upto * lot_size + 1e-9)
        if upto is None:
            end = min(lot_size, most_nonconforming_at(0.01, lot_size, n, c) + 1)
        bad = np.unique(np.rint(np.linspace(0, end, min(points, end + 1))).astype(np.int64))
        return Curve(bad / lot_size, pa_lot(bad, lot_size, n, c))
    end_at = quality_at(0.01, n, c, model=model) if upto is None else upto
    x = np.linspace(0.0, end_at, points)
    return Curve(x, pa_poisson(x, n, c) if model is Model.POISSON else pa_binomial(x, n, c))


def quality_at(pa: float, n: int, c: int, *, model: Model = Model.BINOMIAL) -> float:
    """The incoming share nonconforming (Poisson: nonconformities per unit) that is accepted with probability pa.

    Exact by the incomplete beta and gamma functions. MIL-STD-105E Table X prints it for its plans. Raises NotASetting; ask
    `most_nonconforming_at` for a single lot.

    >>> round(100 * quality_at(0.95, 50, 3), 2), round(100 * quality_at(0.10, 50, 3), 1)
    (2.78, 12.9)
    """
    n, c = sample_of(n, c)
    pa = probability("pa", pa)
    if model is Model.POISSON:
        return float(special.gammainccinv(c + 1, pa)) / n
    if model is Model.HYPERGEOMETRIC:
        raise NotASetting("model", model.value)
    if c >= n:
        raise NotASetting("c", c)
    return float(special.betainccinv(c + 1, n - c, pa))


def most_nonconforming_at(pa: float, lot_size: int, n: int, c: int) -> int:
    """The most nonconforming pieces in a lot that is still accepted with probability pa or more."""
    pa = probability("pa", pa)
    low, high = 0, lot_size
    while low < high:
        middle = (low + high + 1) // 2
        low, high = (middle, high) if float(pa_lot(middle, lot_size, n, c)) >= pa else (low, middle - 1)
    return low


# --- What follows where refused lots are sorted ------------------------------------------------------------------------------------


def aoq(p: ArrayLike, pa: ArrayLike, n: int, lot_size: int | None = None) -> Floats:
    """Average outgoing quality: refused lots are sorted and what was found is replaced. lot_size: None for lots large beside the sample."""
    left = 1.0 if lot_size is None else max(lot_size - n, 0) / lot_size
    return np.asarray(np.asarray(pa) * np.asarray(p) * left, dtype=np.float64)


def ati(pa: ArrayLike, n: int, lot_size: int) -> Floats:
    """Average total inspection per lot, refused lots sorted: n + (1 - Pa)(N - n)."""
    if lot_size < n:
        raise NotASetting("n", n)
    return np.asarray(n + (1 - np.asarray(pa, dtype=np.float64)) * (lot_size - n), dtype=np.float64)


@dataclass(frozen=True, slots=True)
class Worst:
    """The worst average outgoing quality (AOQL) and the incoming quality at which it comes."""

    at: float
    aoql: float


def aoql(n: int, c: int, *, lot_size: int | None = None, model: Model = Model.BINOMIAL) -> Worst:
    """The average outgoing quality limit. Raises NotASetting.

    Hypergeometric: the largest over whole numbers of nonconforming pieces in the lot.
    """
    n, c = sample_of(n, c)
    if model is Model.HYPERGEOMETRIC:
        if lot_size is None:
            raise NotASetting("lot_size", lot_size)
        bad = np.arange(lot_size + 1)
        outgoing = aoq(bad / lot_size, pa_lot(bad, lot_size, n, c), n, lot_size)
        worst = int(outgoing.argmax())
        return Worst(worst / lot_size, float(outgoing[worst]))
    chance = pa_poisson if model is Model.POISSON else pa_binomial
    if model is Model.BINOMIAL and c >= n:
        return Worst(1.0, float(aoq(1.0, 1.0, n, lot_size)))
    # p Pa(p) has one peak, which lies below the quality that is accepted one time in a thousand.
    far = quality_at(0.001, n, c, model=model)
    found = optimize.minimize_scalar(lambda p: -p * float(chance(p, n, c)), bounds=(0.0, far), method="bounded", options={"xatol": 1e-12})
    at = float(found.x)
    return Worst(at, float(aoq(at, chance(at, n, c), n, lot_size)))


# --- How many pieces are looked at -------------------------------------------------------------------------------------------------


class Stop(StrEnum):
    """When the looking ends: never before the n-th piece, when the lot cannot be accepted any more, or when either answer is certain."""

    NEVER = "whole sample"
    REFUSED = "until refused"
    DECIDED = "until decided"


def asn(p: ArrayLike, n: int, c: int, stop: Stop = Stop.NEVER) -> Floats:
    """Average sample number of a single plan, whole or curtailed (binomial). p: shares, any shape. Raises NotASetting, NotFinite.

    Curtailed: the waiting time for c + 1 nonconforming pieces, and, where acceptance ends it too, for n - c conforming ones.
    """
    n, c = sample_of(n, c)
    if c >= n:
        raise NotASetting("c", c)
    shares = _shares(p)
    if stop is Stop.NEVER:
        return np.full_like(shares, float(n))
    accepted = special.bdtr(c, n, shares)
    with np.errstate(divide="ignore", invalid="ignore"):
        refusing = np.where(shares > 0, (c + 1) / shares * special.bdtrc(c + 1, n + 1, shares), 0.0)
        if stop is Stop.REFUSED:
            return np.asarray(n * accepted + refusing, dtype=np.float64)
        accepting = np.where(shares < 1, (n - c) / (1 - shares) * special.bdtr(c, n + 1, shares), 0.0)
    return np.asarray(accepting + refusing, dtype=np.float64)
