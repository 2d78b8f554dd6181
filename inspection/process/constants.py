"""Constants of control charts for a subgroup of any size: computed, not copied from a table.

d2 and d3 are mean and standard deviation of the range of n standard normal values (Tippett 1925, by integration), c4 the mean of their
standard deviation (by log-gamma). The others follow; names as in ASTM E2587 table 1 and ISO 7870-2:2013 table 2.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache

import numpy as np
import numpy.typing as npt
from scipy.special import log_ndtr, ndtr

from inspection import spc
from inspection.process.readings import Array

LARGEST = 1_000_000
"""Of d2 and d3. A range over more values than this says nothing that a standard deviation does not say better."""

_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(20)


@dataclass(frozen=True, slots=True)
class Constants:
    """All constants of one subgroup size n, without a unit. D3 and B3 are never below 0 (here small letters)."""

    n: int
    d2: float
    d3: float
    c4: float
    a2: float
    a3: float
    b3: float
    b4: float
    big_d3: float
    big_d4: float


def _panels(low: float, high: float, count: int) -> tuple[Array, Array]:
    """Nodes and weights of a Gauss-Legendre rule on `count` equal pieces of an interval."""
    edges = np.linspace(low, high, count + 1)
    half = (edges[1:] - edges[:-1]) / 2
    nodes = ((edges[1:] + edges[:-1]) / 2)[:, None] + half[:, None] * _NODES
    return nodes.ravel(), (half[:, None] * _WEIGHTS).ravel()


def _size(n: int) -> int:
    if not 2 <= n <= LARGEST:
        raise ValueError(f"the range of a subgroup is known for 2 to {LARGEST} values, not {n}")
    return n


@cache
def d2(n: int) -> float:
    """Mean of the range of n standard normal values, n from 2 to a million. Raises ValueError."""
    _size(n)
    x, weight = _panels(0.0, 12.0, 24)
    # 1 - F^n - (1 - F)^n without cancellation where F^n is next to 1; the integrand is even.
    return float(2 * np.dot(weight, -np.expm1(n * log_ndtr(x)) - np.exp(n * log_ndtr(-x))))


@cache
def d3(n: int) -> float:
    """Standard deviation of the range of n standard normal values, n from 2 to a million. Raises ValueError.

    E[R^2] = 2 * integral over w of w P(R > w), and P(R <= w) = n * integral of f(x) (F(x + w) - F(x))^(n - 1), x the smallest value.
    """
    _size(n)
    mean_range = d2(n)
    w, w_weight = _panels(0.0, 18.0, 18)
    x, x_weight = _panels(-10.0, 9.0, 38)
    density = n * x_weight * np.exp(-x * x / 2) / math.sqrt(2 * math.pi)
    outside = ndtr(x)[None, :] + ndtr(-(x[None, :] + w[:, None]))
    with np.errstate(divide="ignore"):
        within = np.exp((n - 1) * np.log1p(-np.minimum(outside, 1.0)))
    beyond = 1 - within @ density
    # The subtraction loses three digits at most, of fifteen.
    return math.sqrt(float(np.dot(w_weight, 2 * w * beyond)) - mean_range**2)


def c4(n: int) -> float:
    """Mean of the standard deviation of n standard normal values, any n >= 2. Raises ValueError.

    By log-gamma up to a thousand values; beyond that by the series 1 - 1/(4n) - 7/(32 n^2) - 19/(128 n^3), as the difference of two
    large log-gammas loses digits.
    """
    return spc.c4(n) if n <= 1000 else 1 - 1 / (4 * n) - 7 / (32 * n**2) - 19 / (128 * n**3)


def a2(n: int) -> float:
    """A2 = 3/(d2 sqrt n): limits of means from the mean range."""
    return 3 / (d2(n) * math.sqrt(n))


def a3(n: int) -> float:
    """A3 = 3/(c4 sqrt n): limits of means from the mean standard deviation."""
    return 3 / (c4(n) * math.sqrt(n))


def big_d3(n: int) -> float:
    """D3 = 1 - 3 d3/d2, not below 0: lower limit of ranges over the mean range."""
    return max(1 - 3 * d3(n) / d2(n), 0.0)


def big_d4(n: int) -> float:
    """D4 = 1 + 3 d3/d2: upper limit of ranges over the mean range."""
    return 1 + 3 * d3(n) / d2(n)


def b3(n: int) -> float:
    """B3 = 1 - 3 sqrt(1 - c4^2)/c4, not below 0: lower limit of standard deviations over their mean."""
    return max(1 - 3 * c5(n) / c4(n), 0.0)


def b4(n: int) -> float:
    """B4 = 1 + 3 sqrt(1 - c4^2)/c4: upper limit of standard deviations over their mean."""
    return 1 + 3 * c5(n) / c4(n)


def c5(n: int) -> float:
    """Standard deviation of the standard deviation of n standard normal values: sqrt(1 - c4^2)."""
    factor = c4(n)
    return math.sqrt((1 - factor) * (1 + factor))


def constants(n: int) -> Constants:
    """All constants of subgroups of n values, n from 2 to a million. Raises ValueError."""
    return Constants(n, d2(n), d3(n), c4(n), a2(n), a3(n), b3(n), b4(n), big_d3(n), big_d4(n))


def per_size(constant: Callable[[int], float], sizes: npt.NDArray[np.int64]) -> Array:
    """A constant for each subgroup's size: computed once for each size that occurs (shape as `sizes`)."""
    found, where = np.unique(sizes, return_inverse=True)
    return np.array([constant(int(n)) for n in found], dtype=np.float64)[where]
