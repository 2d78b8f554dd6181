"""Capability after a Box-Cox transformation, y = (x^lambda - 1)/lambda, or ln x for lambda 0; the limits are transformed with the readings.

Source: Box and Cox 1964, Journal of the Royal Statistical Society B 26, 211-252. The transformation rises for every lambda, so a lower
limit stays one.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.optimize import brentq, minimize_scalar
from scipy.special import boxcox, chdtri

from inspection.process.capability import FEWEST, Capability, Specification, capability
from inspection.process.readings import Array, Groups, NoSpread, NotPositive, Subgroups, Values, checked, subgroups
from inspection.process.sigma import Estimator
from inspection.spc import TooFew

REACH = 5.0
"""Powers are looked for from -5 to 5: beyond, a transformation says that the readings barely vary against their size."""


@dataclass(frozen=True, slots=True)
class Power:
    """The power of a Box-Cox transformation. value: with the largest likelihood; low, high: its confidence interval by likelihood ratio,
    cut off at -5 and 5. An interval that holds 1 says that no transformation is called for."""

    value: float
    low: float
    high: float
    confidence: float

    @property
    def at_end(self) -> bool:
        """Whether the search ended at -5 or 5: the readings do not determine a power."""
        return abs(self.value) > REACH - 1e-3


@dataclass(frozen=True, slots=True, eq=False)
class BoxCoxCapability:
    """power: estimated from the readings; used: the one applied (the estimate, or what the caller asked for); specification: the limits in
    the unit of the readings; transformed: capability in the transformed unit, whose ppm and counts hold for the readings as well."""

    power: Power
    used: float
    specification: Specification
    transformed: Capability


def _positive(given: Array) -> Array:
    if wrong := np.flatnonzero(given <= 0).tolist():
        raise NotPositive("value", float(given[wrong[0]]))
    return given


def box_cox_power(values: Values, *, confidence: float = 0.95) -> Power:
    """The power by maximum likelihood (n >= 10), with its interval. Raises TooFew, NotFinite, NotPositive, NoSpread."""
    given = _positive(checked(values, FEWEST))
    if not 0 < confidence < 1:
        raise ValueError("a confidence lies between 0 and 1")
    if not given.max() > given.min():
        raise NoSpread
    logs = np.log(given)
    # Readings over their geometric mean: the Jacobian is 1 and no power overflows.
    scaled = np.exp(logs - logs.mean())

    def likelihood(power: float) -> float:
        return -0.5 * given.size * float(np.log(np.var(boxcox(scaled, power))))

    value = float(minimize_scalar(lambda power: -likelihood(power), bounds=(-REACH, REACH), method="bounded", options={"xatol": 1e-9}).x)
    needed = likelihood(value) - 0.5 * float(chdtri(1, 1 - confidence))

    def excess(power: float) -> float:
        return likelihood(power) - needed

    return Power(value, _edge(excess, -REACH, value), _edge(excess, REACH, value), confidence)


def _edge(excess: Callable[[float], float], end: float, inside: float) -> float:
    return end if excess(end) >= 0 else float(brentq(excess, end, inside, xtol=1e-9))


def transformed_limit(limit: float | None, power: float) -> float | None:
    """A limit or target in the transformed unit. Raises NotPositive for one that is not above zero."""
    if limit is None:
        return None
    if not limit > 0:
        raise NotPositive("limit", limit)
    return float(boxcox(limit, power))


def box_cox_capability(
    data: Values | Groups | Subgroups,
    specification: Specification,
    *,
    power: float | None = None,
    within: Estimator | None = None,
    ordered: bool = True,
    confidence: float = 0.95,
) -> BoxCoxCapability:
    """Capability of transformed readings against transformed limits. power: to be used; by default the estimate. Other arguments as for
    `capability`. Raises also NotPositive: a limit of zero or below cannot be transformed; leave it out if it is none in practice."""
    if isinstance(data, Subgroups) or (len(data) and np.ndim(data[0]) == 1):
        groups = subgroups(data)  # type: ignore[arg-type]  # rows, by the test before
    else:
        single = checked(np.asarray(data, dtype=np.float64))
        groups = Subgroups(single, np.ones(single.size, dtype=np.int64))
    if groups.values.size < FEWEST:
        raise TooFew(FEWEST, int(groups.values.size))
    estimate = box_cox_power(groups.values, confidence=confidence)
    used = estimate.value if power is None else power
    moved = Specification(*(transformed_limit(limit, used) for limit in (specification.low, specification.high, specification.target)))
    found = capability(
        Subgroups(np.asarray(boxcox(groups.values, used)), groups.sizes), moved, within=within, ordered=ordered, confidence=confidence
    )
    return BoxCoxCapability(estimate, used, specification, found)
