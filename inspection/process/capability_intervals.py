"""How well capability indices are known: confidence intervals and lower bounds.

Sources: chi-square interval of Cp (ISO 22514-2; e-Handbook 6.1.6); Bissell 1990, Applied Statistics 39, 331-340 (Cpk); Chou, Owen and
Borrego 1990, Journal of Quality Technology 22, 223-229 (one-sided index, exact); Boyles 1991, Journal of Quality Technology 23, 17-26
(Cpm, approximate; from memory).

`degrees` are those of the standard deviation used: n - 1 for the overall one, fewer for one from inside subgroups.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.optimize import brentq
from scipy.special import chdtri, gammaln, ndtr, ndtri

_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(16)


@dataclass(frozen=True, slots=True)
class Interval:
    """low, high: None where the interval is open (a lower bound has no upper end). method: in a few words. exact: for normal readings and
    this standard deviation; otherwise an approximation."""

    low: float | None
    high: float | None
    confidence: float
    method: str
    exact: bool


def _alpha(confidence: float) -> float:
    if not 0 < confidence < 1:
        raise ValueError("a confidence lies between 0 and 1")
    return 1 - confidence


def cp_interval(cp: float, degrees: float, confidence: float = 0.95, *, exact: bool = True) -> Interval:
    """Two-sided interval of Cp or Pp: Cp sqrt(chi2(alpha/2)/degrees) to Cp sqrt(chi2(1 - alpha/2)/degrees)."""
    alpha = _alpha(confidence)
    low, high = (cp * math.sqrt(float(chdtri(degrees, above)) / degrees) for above in (1 - alpha / 2, alpha / 2))
    return Interval(low, high, confidence, "chi-square", exact)


def cp_bound(cp: float, degrees: float, confidence: float = 0.95, *, exact: bool = True) -> Interval:
    """Lower bound of Cp or Pp: Cp sqrt(chi2(alpha)/degrees)."""
    low = cp * math.sqrt(float(chdtri(degrees, confidence)) / degrees)
    _alpha(confidence)
    return Interval(low, None, confidence, "chi-square", exact)


def _bissell(index: float, n: int, degrees: float) -> float:
    return math.sqrt(1 / (9 * n) + index**2 / (2 * degrees))


def cpk_interval(cpk: float, n: int, degrees: float | None = None, confidence: float = 0.95) -> Interval:
    """Two-sided interval of Cpk or Ppk (or one of its halves): Cpk +/- z sqrt(1/(9n) + Cpk^2/(2 degrees)), degrees n - 1 if not given."""
    away = float(ndtri(1 - _alpha(confidence) / 2)) * _bissell(cpk, n, n - 1 if degrees is None else degrees)
    return Interval(cpk - away, cpk + away, confidence, "Bissell", False)


def cpk_bound(cpk: float, n: int, degrees: float | None = None, confidence: float = 0.95) -> Interval:
    """Lower bound of Cpk after Bissell, for comparison with the exact one."""
    _alpha(confidence)
    low = cpk - float(ndtri(confidence)) * _bissell(cpk, n, n - 1 if degrees is None else degrees)
    return Interval(low, None, confidence, "Bissell", False)


def one_sided_bound(index: float, n: int, degrees: float | None = None, confidence: float = 0.95, *, exact: bool = True) -> Interval:
    """Lower bound of a one-sided index (Cpu, Cpl) by the noncentral t.

    With t = 3 sqrt(n) index, it is delta/(3 sqrt n) where P(T <= t) = confidence for noncentrality delta. Exact for one limit; on the
    nearer side of two limits say exact=False, as the other side then matters a little.
    """
    _alpha(confidence)
    nu = float(n - 1 if degrees is None else degrees)
    t = 3 * math.sqrt(n) * index
    middle, reach = t, 12 * math.sqrt(1 + t * t / (2 * nu)) + 12 * abs(t) / nu
    delta = brentq(
        lambda d: noncentral_t_cdf(t, nu, d) - confidence, middle - reach, middle + reach, xtol=1e-12 * max(1.0, reach), rtol=1e-14
    )
    return Interval(float(delta) / (3 * math.sqrt(n)), None, confidence, "noncentral t", exact)


def noncentral_t_cdf(t: float, degrees: float, noncentrality: float) -> float:
    """P(T <= t): the normal probability below t s - noncentrality, averaged over the distribution of s = chi/sqrt(degrees).

    By quadrature over the part of that distribution that weighs anything, so that a million readings are as easy as ten.
    """
    wide = 14 / math.sqrt(2 * degrees)
    low, high = max(1 - wide, 0.0), 1 + wide + 6 / degrees
    # The step of the normal probability is 1/t wide: each piece covers a few of them.
    edges = np.linspace(low, high, min(16 + math.ceil(abs(t) * (high - low) / 4), 2000))
    s = ((edges[1:] + edges[:-1])[:, None] / 2 + (edges[1:] - edges[:-1])[:, None] / 2 * _NODES).ravel()
    log_density = math.log(2) + degrees / 2 * math.log(degrees / 2) - gammaln(degrees / 2) + (degrees - 1) * np.log(s) - degrees * s * s / 2
    weights = np.tile(_WEIGHTS, edges.size - 1) * np.exp(log_density - log_density.max())
    return float(np.dot(weights, ndtr(t * s - noncentrality)) / weights.sum())


def cpm_interval(cpm: float, n: int, offset: float, confidence: float = 0.95) -> Interval:
    """Two-sided interval of Cpm. offset: (mean - target)/s. Boyles: chi-square with n (1 + offset^2)^2/(1 + 2 offset^2) degrees."""
    degrees = n * (1 + offset**2) ** 2 / (1 + 2 * offset**2)
    around = cp_interval(cpm, degrees, confidence, exact=False)
    return Interval(around.low, around.high, confidence, "Boyles", False)
