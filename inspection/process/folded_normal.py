"""The folded normal distribution, |X| of a normal X: what scipy integrates value by value is two normal probabilities.

Arguments everywhere: value, in the unit of the readings, not negative; mean >= 0 and sigma > 0 of the normal X behind it. Source: Leone,
Nelson and Nottingham 1961, Technometrics 3, 543-550 (from memory).
"""

from __future__ import annotations

import math

import numpy as np
from scipy.optimize import minimize_scalar
from scipy.special import ndtr, ndtri

from inspection.process.readings import Array


def pdf(value: Array, mean: float, sigma: float) -> Array:
    """Density; 0 below zero."""
    return np.where(np.asarray(value) < 0, 0.0, np.exp(logpdf(np.abs(value), mean, sigma)))


def logpdf(value: Array, mean: float, sigma: float) -> Array:
    """Logarithm of the density."""
    z = (value - mean) / sigma
    return np.asarray(-0.5 * z * z - math.log(sigma * math.sqrt(2 * math.pi)) + np.log1p(np.exp(-2 * value * mean / sigma**2)))


def cdf(value: Array | float, mean: float, sigma: float) -> Array:
    """Share below a value."""
    return np.asarray(np.maximum(ndtr((value - mean) / sigma) - ndtr(-(value + mean) / sigma), 0.0))


def sf(value: Array | float, mean: float, sigma: float) -> Array:
    """Share above a value, exact in the far tail; 1 below zero."""
    return np.asarray(np.minimum(ndtr((mean - value) / sigma) + ndtr(-(value + mean) / sigma), 1.0))


def logcdf(value: Array, mean: float, sigma: float) -> Array:
    """Logarithm of the share below."""
    with np.errstate(divide="ignore"):
        return np.log(cdf(value, mean, sigma))


def logsf(value: Array, mean: float, sigma: float) -> Array:
    """Logarithm of the share above."""
    with np.errstate(divide="ignore"):
        return np.log(sf(value, mean, sigma))


def ppf(share: Array, mean: float, sigma: float) -> Array:
    """Value below which a share lies, by halving an interval that holds it: sixty halvings leave nothing of a double."""
    wanted = np.asarray(share, dtype=np.float64)
    # |X| exceeds X, and it exceeds a half normal of the same sigma.
    low = np.maximum(mean + sigma * ndtri(wanted), 0.0)
    high = mean + sigma * ndtri((1 + wanted) / 2) + 1e-9 * sigma
    for _ in range(60):
        middle = (low + high) / 2
        short = cdf(middle, mean, sigma) < wanted
        low, high = np.where(short, middle, low), np.where(short, high, middle)
    return np.asarray((low + high) / 2)


def most_likely(given: Array) -> tuple[float, float]:
    """Mean and sigma by maximum likelihood. At the maximum sigma^2 + mean^2 is the mean square, so one number is left to search: which
    part of the mean square sigma^2 is."""
    square = float(np.mean(given**2))

    def both(log_part: float) -> tuple[float, float]:
        part = math.exp(log_part)
        return math.sqrt(square * max(1 - part, 0.0)), math.sqrt(square * part)

    def loss(log_part: float) -> float:
        return -float(logpdf(given, *both(log_part)).mean())

    grid = np.linspace(math.log(1e-10), 0.0, 36)
    best = int(np.argmin([loss(float(part)) for part in grid]))
    ends = float(grid[max(best - 1, 0)]), float(grid[min(best + 1, grid.size - 1)])
    found = float(minimize_scalar(loss, bounds=ends, method="bounded", options={"xatol": 1e-9}).x)
    return both(found if loss(found) < loss(0.0) - 1e-12 else 0.0)
