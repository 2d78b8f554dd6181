"""Least squares with what a study asks of it: the fitted line, bounds for single pieces, and lack of fit.

Sources: N. R. Draper and H. Smith, Applied Regression Analysis (bands, lack of fit); G. J. Lieberman and R. G. Miller, Simultaneous
tolerance intervals in regression, Biometrika 50, 1963 (one-sided tolerance bound at a point by the noncentral t); E. C. Fieller, Some
problems in interval estimation, J. R. Statist. Soc. B 16, 1954 (where a line crosses a level). From memory; checked against statsmodels and
by simulated coverage in the tests.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy import stats

from inspection.process.readings import Array, NoSpread, checked
from inspection.spc import TooFew


class TooFewPlaces(TooFew):
    """Too few different values of x for a curve of this degree."""


@dataclass(frozen=True, slots=True, eq=False)
class Curve:
    """A polynomial y = sum c_i u^i with u = (x - centre) / scale, so that powers of crimp heights do not run into one another.

    coefficients: c_0 first. s: residual standard deviation, in the unit of y, with df degrees of freedom. inverse: (X'X)^-1 of the u.
    r_squared: None where y does not spread. lack_of_fit_f, lack_of_fit_p: None without repeated x.
    """

    degree: int
    centre: float
    scale: float
    coefficients: Array
    inverse: Array
    s: float
    df: int
    r_squared: float | None
    lack_of_fit_f: float | None
    lack_of_fit_p: float | None
    low_x: float
    high_x: float

    def at(self, x: Sequence[float] | Array) -> Array:
        """The fitted values (shape (n,))."""
        rows = self._rows(x)
        return np.asarray(rows @ self.coefficients)

    def leverage(self, x: Sequence[float] | Array) -> Array:
        """Variance of each fitted value in units of s^2 (shape (n,))."""
        rows = self._rows(x)
        return np.asarray(np.einsum("ij,jk,ik->i", rows, self.inverse, rows))

    def mean_band(self, x: Sequence[float] | Array, confidence: float = 0.95) -> tuple[Array, Array]:
        """Pointwise two-sided confidence band of the mean."""
        reach = float(stats.t.ppf((1 + confidence) / 2, self.df)) * self.s * np.sqrt(self.leverage(x))
        fitted = self.at(x)
        return fitted - reach, fitted + reach

    def piece_bound(self, x: Sequence[float] | Array, share: float, confidence: float, *, lower: bool) -> Array:
        """One-sided tolerance bound at each x: at least `share` of single pieces lie above it (lower) or below it, with this confidence.

        y -/+ k s with k = sqrt(h) times the quantile of the noncentral t with df and z_share / sqrt(h), h the leverage.
        """
        root = np.sqrt(self.leverage(x))
        z = float(stats.norm.ppf(share))
        k = root * stats.nct.ppf(confidence, self.df, z / root)
        return np.asarray(self.at(x) - k * self.s if lower else self.at(x) + k * self.s)

    def _rows(self, x: Sequence[float] | Array) -> Array:
        u = (np.asarray(x, dtype=np.float64) - self.centre) / self.scale
        return np.vander(u, self.degree + 1, increasing=True)


def fit_curve(x: Sequence[float] | Array, y: Sequence[float] | Array, degree: int) -> Curve:
    """Fit a polynomial of degree 0 to 4 by least squares (shape (n,) each, n at least degree + 3).

    Raises TooFew, NotFinite, TooFewPlaces where x has too few different values, NoSpread where all x are equal and the degree is not 0.
    """
    if not 0 <= degree <= 4:
        raise ValueError(f"a degree from 0 to 4, not {degree}")
    xs, ys = checked(x, degree + 3), checked(y, degree + 3)
    if xs.size != ys.size:
        raise ValueError(f"{xs.size} x and {ys.size} y")
    places = np.unique(xs)
    if degree and places.size == 1:
        raise NoSpread
    if places.size < degree + 1:
        raise TooFewPlaces(degree + 1, int(places.size))
    centre, scale = float(xs.mean()), float((xs.max() - xs.min()) / 2) or 1.0
    rows = np.vander((xs - centre) / scale, degree + 1, increasing=True)
    q, r = np.linalg.qr(rows)
    coefficients = np.linalg.solve(r, q.T @ ys)
    inverse_r = np.linalg.inv(r)
    residuals = ys - rows @ coefficients
    df = int(xs.size - degree - 1)
    left = math.fsum(float(e) ** 2 for e in residuals)
    total = math.fsum(float(e) ** 2 for e in ys - ys.mean())
    f, p = _lack_of_fit(xs, ys, places, left, degree)
    return Curve(
        degree=degree,
        centre=centre,
        scale=scale,
        coefficients=coefficients,
        inverse=inverse_r @ inverse_r.T,
        s=math.sqrt(left / df),
        df=df,
        r_squared=1 - left / total if total > 0 else None,
        lack_of_fit_f=f,
        lack_of_fit_p=p,
        low_x=float(xs.min()),
        high_x=float(xs.max()),
    )


def _lack_of_fit(xs: Array, ys: Array, places: Array, left: float, degree: int) -> tuple[float | None, float | None]:
    """The F test of the curve against the means at each x, where x repeats."""
    between, within = int(places.size - degree - 1), int(xs.size - places.size)
    if between < 1 or within < 1:
        return None, None
    pure = math.fsum(math.fsum((float(v) - float(ys[xs == place].mean())) ** 2 for v in ys[xs == place]) for place in places)
    if pure <= 0:
        return None, None
    f = max(left - pure, 0.0) / between / (pure / within)
    return f, float(stats.f.sf(f, between, within))


@dataclass(frozen=True, slots=True)
class Crossing:
    """Where a straight line reaches a level. at: the estimate; low, high: Fieller's interval, None on a side that has no end there."""

    level: float
    at: float
    low: float | None
    high: float | None


def crossing(line: Curve, level: float, confidence: float = 0.95) -> Crossing | None:
    """Where a line of degree 1 crosses `level`; None where its slope does not differ from zero at this confidence, so that the interval
    would reach both ways for ever. Raises ValueError for another degree."""
    if line.degree != 1:
        raise ValueError("a crossing is of a straight line")
    intercept, slope = (float(c) for c in line.coefficients)
    t = float(stats.t.ppf((1 + confidence) / 2, line.df))
    var = line.inverse * line.s**2
    # (a + b u - L)^2 = t^2 Var(a + b u - L), a quadratic in u.
    a2 = slope**2 - t**2 * float(var[1, 1])
    if a2 <= 0:
        return None
    a1 = 2 * ((intercept - level) * slope - t**2 * float(var[0, 1]))
    a0 = (intercept - level) ** 2 - t**2 * float(var[0, 0])
    root = math.sqrt(max(a1**2 - 4 * a2 * a0, 0.0))
    ends = sorted(line.centre + line.scale * (-a1 + sign * root) / (2 * a2) for sign in (-1, 1))
    at = line.centre + line.scale * (level - intercept) / slope
    return Crossing(level, at, ends[0], ends[1])
