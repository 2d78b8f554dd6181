"""Uncertainty budget after the GUM (JCGM 100:2008): sources, combined standard uncertainty, effective degrees of freedom, expanded
uncertainty.

Everything is in the unit of the result; a source is in a unit of its own and its sensitivity carries it over.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import ROUND_HALF_EVEN, ROUND_UP, Decimal
from enum import StrEnum

import numpy as np

from inspection.spc import standard_deviation
from inspection.studies.confidence import NotASetting, positive, probability, t_quantile
from inspection.studies.crossed import need

COVERAGE = 0.9545
"""Probability of k = 2 for a normal result."""


class Evaluation(StrEnum):
    """A: from repeated readings; B: from anything else (GUM 4.2, 4.3)."""

    A = "A"
    B = "B"


class Distribution(StrEnum):
    """What is known of a source, and by that what its stated value is divided by."""

    NORMAL = "normal"
    RECTANGULAR = "rectangular"
    TRIANGULAR = "triangular"
    U_SHAPED = "U-shaped"


DIVISORS: Mapping[Distribution, float] = {
    Distribution.NORMAL: 1.0,
    Distribution.RECTANGULAR: math.sqrt(3),
    Distribution.TRIANGULAR: math.sqrt(6),
    Distribution.U_SHAPED: math.sqrt(2),
}
"""GUM 4.3.7, 4.3.9 and F.2.3.3. A normal source is stated as a standard uncertainty; one stated as k times that has k as its own
divisor."""


@dataclass(frozen=True, slots=True)
class Source:
    """One source. Raises NotASetting.

    value: half width of a bounded distribution, or the stated uncertainty of a normal one, in the unit of the source, not negative.
    divisor: None takes that of the distribution. sensitivity: change of the result per unit of the source. df: at least 1, infinite for a
    type B source known for certain.
    """

    name: str
    evaluation: Evaluation
    value: float
    distribution: Distribution = Distribution.NORMAL
    divisor: float | None = None
    sensitivity: float = 1.0
    df: float = math.inf

    def __post_init__(self) -> None:
        if not math.isfinite(self.value) or self.value < 0:
            raise NotASetting("value", self.value)
        if not math.isfinite(self.sensitivity):
            raise NotASetting("sensitivity", self.sensitivity)
        if self.divisor is not None:
            positive("divisor", self.divisor)
        if not self.df >= 1:
            raise NotASetting("df", self.df)

    @property
    def u(self) -> float:
        """Standard uncertainty, in the unit of the source."""
        return self.value / (DIVISORS[self.distribution] if self.divisor is None else self.divisor)


def from_readings(name: str, readings: Sequence[float], sensitivity: float = 1.0) -> Source:
    """A type A source: the mean of n readings, s/sqrt n with n - 1 degrees of freedom (GUM 4.2.3). Raises TooFew, NotFinite."""
    s, n = standard_deviation(readings), len(readings)
    return Source(name, Evaluation.A, s / math.sqrt(n), sensitivity=sensitivity, df=n - 1)


def resolution(name: str, step: float, sensitivity: float = 1.0) -> Source:
    """A display's step: rectangular with half a step on each side (GUM F.2.2.1)."""
    return Source(name, Evaluation.B, positive("step", step) / 2, Distribution.RECTANGULAR, sensitivity=sensitivity)


def df_of_doubt(relative: float) -> float:
    """Degrees of freedom of a type B uncertainty that is itself doubtful by this share of itself: 1/(2 r^2) (GUM G.4.2); 0.25 gives 8."""
    return 1 / (2 * positive("relative", relative) ** 2)


class CoverageRule(StrEnum):
    """Where k came from: the t distribution at the coverage and the effective degrees of freedom, or a number fixed by the shop."""

    T = "t"
    FIXED = "fixed"


@dataclass(frozen=True, slots=True)
class BudgetLine:
    """divisor, u: of the source, in its unit; contribution: sensitivity times u, signed, in the unit of the result; share: of the combined
    variance (with correlated sources the shares and `covariance_share` together make 1)."""

    source: Source
    divisor: float
    u: float
    contribution: float
    share: float


@dataclass(frozen=True, slots=True)
class Budget:
    """The answer, in the unit of the result.

    u: combined standard uncertainty. effective_df: Welch-Satterthwaite, None with correlated sources, for which the formula does not
    hold; df_used: the same to one decimal, as it is printed, and then cut down to a whole number (GUM G.4.1), infinite where there is
    none. k, rule, coverage (None with a fixed k); expanded: k u. covariance_share: what correlation adds to, or takes from, the combined
    variance. u_stated, expanded_stated: two significant digits, rounded up.
    """

    lines: tuple[BudgetLine, ...]
    correlations: tuple[tuple[int, int, float], ...]
    covariance_share: float
    u: float
    effective_df: float | None
    df_used: float
    k: float
    rule: CoverageRule
    coverage: float | None
    expanded: float
    u_stated: Decimal
    expanded_stated: Decimal


def budget(
    sources: Sequence[Source],
    *,
    correlations: Mapping[tuple[int, int], float] | None = None,
    k: float | None = None,
    coverage: float = COVERAGE,
) -> Budget:
    """The budget of at least one source that is not zero. correlations: coefficient by the two sources' indices. k: fixed factor instead
    of t.

    u^2 = sum (c_i u_i)^2 + 2 sum c_i c_j u_i u_j r_ij (GUM 5.1.2, 5.2.2); effective df = u^4 / sum (c_i u_i)^4/df_i (GUM G.4.1). Raises
    TooSmall, NotASetting.
    """
    need("sources", 1, len(sources))
    probability("coverage", coverage)
    if k is not None:
        positive("k", k)
    together = _correlation_matrix(len(sources), correlations or {})
    contributions = np.array([source.sensitivity * source.u for source in sources])
    variance = float(contributions @ together @ contributions)
    own = math.fsum((contributions**2).tolist())
    if own <= 0 or variance <= 1e-24 * own:
        raise NotASetting("sources", 0)
    u = math.sqrt(variance)
    correlated = bool((together != np.eye(len(sources))).any())
    effective = None if correlated else _effective_df(sources, contributions.tolist(), u)
    used = math.inf if effective is None or math.isinf(effective) else float(math.floor(round(effective, 1)))
    factor = t_quantile((1 + coverage) / 2, used) if k is None else float(k)
    lines = tuple(
        BudgetLine(
            source=source,
            divisor=DIVISORS[source.distribution] if source.divisor is None else source.divisor,
            u=source.u,
            contribution=float(contribution),
            share=float(contribution) ** 2 / variance,
        )
        for source, contribution in zip(sources, contributions, strict=True)
    )
    return Budget(
        lines=lines,
        correlations=tuple((i, j, float(r)) for (i, j), r in (correlations or {}).items()),
        covariance_share=1 - own / variance if correlated else 0.0,
        u=u,
        effective_df=effective,
        df_used=used,
        k=factor,
        rule=CoverageRule.T if k is None else CoverageRule.FIXED,
        coverage=coverage if k is None else None,
        expanded=factor * u,
        u_stated=rounded_up(u),
        expanded_stated=rounded_up(factor * u),
    )


def _effective_df(sources: Sequence[Source], contributions: Sequence[float], u: float) -> float:
    below = math.fsum((c / u) ** 4 / source.df for source, c in zip(sources, contributions, strict=True))
    return 1 / below if below > 0 else math.inf


def _correlation_matrix(size: int, correlations: Mapping[tuple[int, int], float]) -> np.ndarray[tuple[int, int], np.dtype[np.float64]]:
    matrix = np.eye(size)
    for (i, j), r in correlations.items():
        if i == j or not (0 <= i < size and 0 <= j < size) or not -1 <= r <= 1:
            raise NotASetting("correlations", (i, j, r))
        matrix[i, j] = matrix[j, i] = r
    if np.linalg.eigvalsh(matrix).min() < -1e-9:  # such coefficients cannot hold together
        raise NotASetting("correlations", dict(correlations))
    return matrix


def rounded_up(value: float, digits: int = 2) -> Decimal:
    """A value above zero to so many significant digits, up (GUM 7.2.6). What binary fractions add past the twelfth digit does not count:
    0.1 + 0.2 is 0.30. Raises NotASetting."""
    exact = Decimal(repr(positive("value", value)))
    clean = exact.quantize(Decimal(1).scaleb(exact.adjusted() - 11), ROUND_HALF_EVEN)
    step = Decimal(1).scaleb(clean.adjusted() - digits + 1)
    up = clean.quantize(step, ROUND_UP)
    # 0.0996 becomes 0.100, which has a digit too many.
    return up if up.adjusted() == clean.adjusted() else up.quantize(step.scaleb(1), ROUND_UP)
