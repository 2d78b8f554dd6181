"""Plans made for stated risks: single plans, plans that accept with none found, success runs, sequential plans.

Risks are probabilities: alpha, that a good lot is refused (the producer's); beta, that a bad one is accepted (the consumer's).
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from decimal import Context, Decimal, localcontext

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import optimize, special

from inspection.sampling.oc import Curve, Model, pa_binomial, pa_lot, pa_poisson, quality_at, sample_of
from inspection.studies.confidence import NotASetting, positive, probability

LARGEST_N = 10_000_000
LARGEST_C = 5_000


class NoPlan(ValueError):  # noqa: N818  # reads as what happened
    """No plan keeps both risks. largest: how far the search went, in pieces."""

    def __init__(self, largest: int) -> None:
        self.largest = largest
        super().__init__(largest)

    def __str__(self) -> str:
        return f"no plan of up to {self.largest} pieces keeps both risks"


@dataclass(frozen=True, slots=True)
class RiskPlan:
    """alpha, beta: the risks the plan really has at the two qualities, at most those asked for."""

    n: int
    c: int
    alpha: float
    beta: float


def plan_for_risks(p1: float, alpha: float, p2: float, beta: float, *, model: Model = Model.BINOMIAL) -> RiskPlan:
    """The smallest plan that accepts share p1 with at least 1 - alpha and share p2 with at most beta. Raises NotASetting, NoPlan.

    Exact on the distribution: for each c the smallest n that keeps beta, taken as soon as it keeps alpha too. With Poisson, p1 and p2 are
    nonconformities per unit.

    >>> plan_for_risks(0.01, 0.05, 0.06, 0.10)
    RiskPlan(n=110, c=3, alpha=0.0250..., beta=0.098...)
    """
    positive("p1", p1)
    positive("p2", p2)
    if model is Model.HYPERGEOMETRIC:
        raise NotASetting("model", model.value)
    if p2 <= p1 or (model is Model.BINOMIAL and p2 >= 1):
        raise NotASetting("p2", p2)
    probability("alpha", alpha)
    probability("beta", beta)
    chance = pa_poisson if model is Model.POISSON else pa_binomial

    def accepted(p: float, n: int, c: int) -> float:
        return float(chance(p, n, c))

    return _smallest(lambda n, c: accepted(p1, n, c), lambda n, c: accepted(p2, n, c), alpha, beta, LARGEST_N)


def plan_for_lot(lot_size: int, good: int, alpha: float, bad: int, beta: float) -> RiskPlan:
    """The same for one lot: `good` nonconforming pieces in it are accepted with at least 1 - alpha, `bad` ones with at most beta."""
    if not 0 <= good < bad <= lot_size:
        raise NotASetting("bad", bad)
    probability("alpha", alpha)
    probability("beta", beta)
    return _smallest(
        lambda n, c: float(pa_lot(good, lot_size, n, c)), lambda n, c: float(pa_lot(bad, lot_size, n, c)), alpha, beta, lot_size
    )


def _smallest(
    good: Callable[[int, int], float], bad: Callable[[int, int], float], alpha: float, beta: float, largest: int
) -> RiskPlan:  # fmt: skip
    n = 1
    for c in range(LARGEST_C):
        # What keeps beta with c + 1 also keeps it with c: the search goes on where it ended.
        n = _first(lambda n, c=c: bad(n, c) <= beta, max(n, c + 1), largest)  # type: ignore[misc]  # the default binds c
        if good(n, c) >= 1 - alpha:
            return RiskPlan(n, c, 1 - good(n, c), bad(n, c))
    raise NoPlan(largest)


def _first(holds: Callable[[int], bool], low: int, largest: int) -> int:
    """The smallest whole number from `low` on for which a condition that stays true holds. Raises NoPlan beyond `largest`."""
    if low > largest:
        raise NoPlan(largest)
    step, high = 1, low
    while not holds(high):
        if high == largest:
            raise NoPlan(largest)
        low, high = high + 1, min(high + step, largest)
        step *= 2
    while low < high:
        middle = (low + high) // 2
        low, high = (low, middle) if holds(middle) else (middle + 1, high)
    return high


# --- None found ------------------------------------------------------------------------------------------------------------------


def zero_acceptance(p2: float, beta: float) -> RiskPlan:
    """The smallest sample in which none may be found, for lots from a process with share p2 to be accepted with at most beta.

    alpha of the answer is 0: nothing is said about good lots.

    >>> zero_acceptance(0.05, 0.05).n
    59
    """
    probability("p2", p2)
    probability("beta", beta)
    n = success_run(1 - Decimal(str(p2)), 1 - Decimal(str(beta)))
    return RiskPlan(n, 0, 0.0, float(pa_binomial(p2, n, 0)))


def zero_acceptance_lot(lot_size: int, bad: int, beta: float) -> RiskPlan:
    """The same for one lot with `bad` nonconforming pieces in it."""
    if not 1 <= bad <= lot_size:
        raise NotASetting("bad", bad)
    probability("beta", beta)
    n = _first(lambda n: float(pa_lot(bad, lot_size, n, 0)) <= beta, 1, lot_size)
    return RiskPlan(n, 0, 0.0, float(pa_lot(bad, lot_size, n, 0)))


def zero_acceptance_like(n: int, c: int, beta: float = 0.10) -> RiskPlan:
    """The plan with none allowed that protects the consumer as well as (n, c): it accepts the quality at beta no more often."""
    n, c = sample_of(n, c)
    return zero_acceptance(quality_at(beta, n, c), beta)


def success_run(reliability: Decimal | float | str, confidence: Decimal | float | str) -> int:
    """Pieces that all have to pass to show a reliability with a confidence: the smallest n with 1 - R^n >= C. Raises NotASetting.

    In exact decimals, so that a bound met exactly counts as met.

    >>> success_run("0.95", "0.95"), success_run("0.90", "0.95"), success_run("0.99", "0.95"), success_run("0.5", "0.75")
    (59, 29, 299, 2)
    """
    r, c = Decimal(str(reliability)), Decimal(str(confidence))
    if not (r.is_finite() and 0 < r < 1):
        raise NotASetting("reliability", reliability)
    if not (c.is_finite() and 0 < c < 1):
        raise NotASetting("confidence", confidence)
    with localcontext(Context(prec=60)):
        n = max(int((1 - c).ln() / r.ln()) - 1, 1)
        while 1 - r**n < c:
            n += 1
    return n


def demonstration(reliability: float, confidence: float, failures: int = 0) -> int:
    """Pieces needed where so many may fail: the smallest n for which P(at most `failures` fail) is at most 1 - C."""
    probability("reliability", reliability)
    probability("confidence", confidence)
    if failures != int(failures) or failures < 0:
        raise NotASetting("failures", failures)
    if failures == 0:
        return success_run(Decimal(str(reliability)), Decimal(str(confidence)))
    share, risk = float(1 - Decimal(str(reliability))), float(1 - Decimal(str(confidence)))
    return _first(lambda n: float(pa_binomial(share, n, failures)) <= risk, failures + 1, LARGEST_N)


def demonstrated_reliability(n: int, failures: int, confidence: float) -> float:
    """The reliability that n pieces with so many failures show (one-sided lower bound, Clopper and Pearson 1934)."""
    if n < 1 or not 0 <= failures <= n:
        raise NotASetting("failures", failures)
    probability("confidence", confidence)
    if failures == n:
        return 0.0
    return float(special.betaincinv(n - failures, failures + 1, 1 - confidence))


# --- Sequential ------------------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class SequentialPlan:
    """Two lines over the number looked at: accept at or below -h1 + slope n, refuse at or above h2 + slope n (Wald 1947).

    Source: NIST/SEMATECH e-Handbook 6.2.6 (from memory).
    """

    p1: float
    alpha: float
    p2: float
    beta: float
    h1: float
    h2: float
    slope: float

    def acceptance_number(self, n: int) -> int | None:
        """The most nonconforming among the first n with which the lot is accepted; None where it is too early."""
        at = math.floor(-self.h1 + self.slope * n)
        return at if at >= 0 else None

    def rejection_number(self, n: int) -> int | None:
        """The fewest nonconforming among the first n with which it is refused; None where so many cannot be among them yet."""
        at = math.ceil(self.h2 + self.slope * n)
        return at if at <= n else None

    @property
    def fewest_to_accept(self) -> int:
        """Pieces to be looked at before a lot can be accepted."""
        return math.ceil(self.h1 / self.slope)

    @property
    def fewest_to_refuse(self) -> int:
        """Pieces, all of them nonconforming, after which a lot is refused."""
        return math.ceil(self.h2 / (1 - self.slope))

    def chance(self, p: float) -> float:
        """Chance of acceptance at share p, Wald's approximation (it leaves out that the lines are overshot)."""
        return self._at(p)[0]

    def asn(self, p: float) -> float:
        """Average sample number at share p, Wald's approximation."""
        return self._at(p)[1]

    def _at(self, p: float) -> tuple[float, float]:
        if not 0 <= p <= 1:
            raise NotASetting("p", p)
        if p == 0:
            return 1.0, self.h1 / self.slope
        if p == 1:
            return 0.0, self.h2 / (1 - self.slope)
        if abs(p - self.slope) < self.slope * 1e-6:
            return self.h2 / (self.h1 + self.h2), self.h1 * self.h2 / (self.slope * (1 - self.slope))
        # theta with E exp(theta (X - slope)) = 1 makes a martingale of the way between the lines. The exponent is convex with its least
        # value at `turn`, so the root other than 0 lies beyond it. Growing exponentials are divided out.
        turn = math.log((1 - p) * self.slope / (p * (1 - self.slope)))

        def exponent(theta: float) -> float:
            grown = math.log(p) + theta * (1 - self.slope), math.log1p(-p) - theta * self.slope
            return float(np.logaddexp(*grown))

        far = 2 * turn
        while exponent(far) < 0:
            far *= 2
        theta = float(optimize.brentq(exponent, turn, far, xtol=1e-15, rtol=1e-13))
        size = abs(theta)
        pa = math.expm1(-size * self.h2) / math.expm1(-size * (self.h1 + self.h2))
        if theta < 0:
            pa *= math.exp(-size * self.h1)
        return pa, (pa * -self.h1 + (1 - pa) * self.h2) / (p - self.slope)


def sequential_plan(p1: float, alpha: float, p2: float, beta: float) -> SequentialPlan:
    """The lines for four figures. Raises NotASetting.

    >>> plan = sequential_plan(0.01, 0.05, 0.10, 0.10)
    >>> f"{plan.h1:.3f} {plan.h2:.3f} {plan.slope:.4f}"
    '0.939 1.205 0.0397'
    """
    probability("p1", p1)
    probability("p2", p2)
    probability("alpha", alpha)
    probability("beta", beta)
    if p2 <= p1:
        raise NotASetting("p2", p2)
    if alpha + beta >= 1:
        raise NotASetting("beta", beta)
    k = math.log(p2 * (1 - p1) / (p1 * (1 - p2)))
    return SequentialPlan(
        p1,
        alpha,
        p2,
        beta,
        h1=math.log((1 - alpha) / beta) / k,
        h2=math.log((1 - beta) / alpha) / k,
        slope=math.log((1 - p1) / (1 - p2)) / k,
    )


def sequential_curves(plan: SequentialPlan, p: ArrayLike) -> tuple[Curve, Curve]:
    """OC and ASN of a sequential plan over shares p."""
    x: NDArray[np.float64] = np.asarray(p, dtype=np.float64)
    both = np.array([plan._at(float(one)) for one in x]).reshape(-1, 2)
    return Curve(x, both[:, 0]), Curve(x, both[:, 1])
