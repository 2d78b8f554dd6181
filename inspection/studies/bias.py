"""Bias of a gauge by the independent sample method: one reference part, n readings, the mean against the reference value.

Source: AIAG, Measurement Systems Analysis, 4th ed., chapter III-B (from memory). Two estimates of the scatter stand side by side: the
standard deviation, and the range divided by d2*.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from inspection.spc import d2, mean
from inspection.studies.confidence import Interval, NotASetting, positive, probability
from inspection.studies.constants import d2_star, range_degrees_of_freedom
from inspection.studies.gauge_type1 import BiasTest, bias_test, deviation, difference


@dataclass(frozen=True, slots=True)
class BiasStudy:
    """readings in the order taken; reference; mean. by_deviation: t test with s and n - 1 degrees of freedom. by_range: with range/d2*
    and the degrees of freedom of a range. range_interval_d2_ratio: the interval by range times d2/d2*, as an earlier edition prints it.
    repeatability_percent: s of the process sigma, None where none was given. d2_star: the divisor."""

    readings: tuple[float, ...]
    reference: float
    mean: float
    s: float
    by_deviation: BiasTest
    spread: float
    d2_star: float
    sigma_by_range: float
    by_range: BiasTest
    range_interval_d2_ratio: Interval
    process_sigma: float | None
    repeatability_percent: float | None


def bias_study(readings: Sequence[float], reference: float, *, process_sigma: float | None = None, confidence: float = 0.95) -> BiasStudy:
    """Both tests. readings: shape (n,), n from 2 to 1000, in one unit with the reference. Raises TooFew, NotFinite, NotASetting."""
    probability("confidence", confidence)
    center, s = mean(readings), deviation(readings)
    if not math.isfinite(reference):
        raise NotASetting("reference", reference)
    n = len(readings)
    spread = max(readings) - min(readings)
    divisor = d2_star(n, 1)
    bias = difference(center, reference)
    sigma = spread / divisor
    # One decimal, as the table of d2* prints it, so that the critical value is the one on the customer's sheet.
    by_range = bias_test(bias, sigma / n**0.5, round(range_degrees_of_freedom(n, 1), 1), confidence)
    ratio = d2(n) / divisor
    reach = by_range.t_critical * by_range.standard_error * ratio
    if process_sigma is not None:
        positive("process_sigma", process_sigma)
    return BiasStudy(
        readings=tuple(float(value) for value in readings),
        reference=float(reference),
        mean=center,
        s=s,
        by_deviation=bias_test(bias, s / n**0.5, n - 1, confidence),
        spread=spread,
        d2_star=divisor,
        sigma_by_range=sigma,
        by_range=by_range,
        range_interval_d2_ratio=Interval(by_range.bias - reach, by_range.bias + reach, confidence),
        process_sigma=process_sigma,
        repeatability_percent=None if process_sigma is None else 100 * s / process_sigma,
    )
