"""Type 1 study: one person measures one reference part many times.

Cg and Cgk are common practice of the trade and no standard defines them; customers differ in the fraction of the tolerance and in the
number of sigmas, so both are settings. The figures of ISO 22514-7 stand in `measurement_system` and are not blended with these.
"""

from __future__ import annotations

import sys
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal

from inspection.spc import TooFew, mean, standard_deviation
from inspection.studies.confidence import Interval, NotASetting, around, positive, probability, t_quantile, t_two_sided

LEAST_READINGS = 25
"""At least 25 readings, better 50 (common practice)."""

RESOLUTION_SHARE = Decimal("0.05")
"""Resolution at most this share of the tolerance (ISO 22514-7:2012, from memory; usual for Cg too)."""


@dataclass(frozen=True, slots=True)
class BiasTest:
    """Whether the mean of readings differs from a reference. All in the unit of the readings.

    bias: mean - reference; standard_error; df; t, p: None where the readings do not spread; t_critical: at the confidence, two-sided;
    interval: of the bias; significant: the interval leaves zero out, or, without spread, the bias is not zero.
    """

    bias: float
    standard_error: float
    df: float
    t: float | None
    p: float | None
    t_critical: float
    interval: Interval
    significant: bool


def bias_test(bias: float, standard_error: float, df: float, confidence: float = 0.95) -> BiasTest:
    """The t test of a bias against zero, two-sided."""
    interval = around(bias, standard_error, df, confidence)
    t = bias / standard_error if standard_error > 0 else None
    return BiasTest(
        bias=bias,
        standard_error=standard_error,
        df=df,
        t=t,
        p=None if t is None else t_two_sided(t, df),
        t_critical=t_quantile((1 + confidence) / 2, df),
        interval=interval,
        significant=not interval.holds(0.0),
    )


@dataclass(frozen=True, slots=True)
class Type1Settings:
    """How Cg is defined. fraction: share of the tolerance a capable gauge may use in all (0.2); sigmas: width of the gauge's spread (6,
    others 4); required: least Cg and Cgk; confidence: of the bias test. Cg = fraction T/(sigmas s), Cgk = (fraction/2 T -
    |bias|)/(sigmas/2 s). Raises NotASetting."""

    fraction: float = 0.2
    sigmas: float = 6.0
    required: Decimal = Decimal("1.33")
    confidence: float = 0.95
    least_readings: int = LEAST_READINGS
    resolution_share: Decimal = RESOLUTION_SHARE

    def __post_init__(self) -> None:
        probability("fraction", self.fraction)
        positive("sigmas", self.sigmas)
        positive("required", float(self.required))
        probability("confidence", self.confidence)
        if self.least_readings < 2:
            raise NotASetting("least_readings", self.least_readings)


@dataclass(frozen=True, slots=True)
class Type1Study:
    """The answer. All lengths or forces in the unit of the readings.

    readings: in the order taken; reference; tolerance; mean; s; cg, cgk: None where the readings do not spread at all (the resolution hides
    it); cgk may be negative. cg_capable, cgk_capable: against the required figure, after rounding half up to two decimals as they are
    printed; None where there is none. tolerance_for_cg, tolerance_for_cgk: least tolerance for which each would be met. band_low,
    band_high: reference -/+ half the fraction of the tolerance; outside_band: indices of readings beyond. resolution_percent,
    resolution_fine: of the tolerance, None where no resolution was given.
    """

    readings: tuple[float, ...]
    reference: float
    tolerance: float
    settings: Type1Settings
    mean: float
    s: float
    test: BiasTest
    cg: float | None
    cgk: float | None
    cg_capable: bool | None
    cgk_capable: bool | None
    tolerance_for_cg: float
    tolerance_for_cgk: float
    band_low: float
    band_high: float
    outside_band: tuple[int, ...]
    resolution_percent: Decimal | None
    resolution_fine: bool | None


def cg(s: float, tolerance: float, settings: Type1Settings | None = None) -> float:
    """Cg from a standard deviation and a tolerance, both above zero. Raises NotASetting."""
    settings = settings or Type1Settings()
    return settings.fraction * positive("tolerance", tolerance) / (settings.sigmas * positive("s", s))


def cgk(bias: float, s: float, tolerance: float, settings: Type1Settings | None = None) -> float:
    """Cgk from a bias, a standard deviation and a tolerance. Raises NotASetting."""
    settings = settings or Type1Settings()
    return (settings.fraction / 2 * positive("tolerance", tolerance) - abs(bias)) / (settings.sigmas / 2 * positive("s", s))


def type_1(
    readings: Sequence[float],
    reference: Decimal | float,
    tolerance: Decimal | float,
    *,
    resolution: Decimal | float | None = None,
    settings: Type1Settings | None = None,
) -> Type1Study:
    """The study of repeated readings of one part with a known value. tolerance: total. Raises TooFew, NotFinite, NotASetting."""
    settings = settings or Type1Settings()
    if len(readings) < settings.least_readings:
        raise TooFew(settings.least_readings, len(readings))
    true, width = float(reference), positive("tolerance", float(tolerance))
    if not Decimal(str(reference)).is_finite():
        raise NotASetting("reference", reference)
    center, s = mean(readings), deviation(readings)
    test = bias_test(difference(center, true), s / len(readings) ** 0.5, len(readings) - 1, settings.confidence)
    capability = cg(s, width, settings) if s > 0 else None
    centred = cgk(test.bias, s, width, settings) if s > 0 else None
    reach = settings.fraction / 2 * width
    slack = 1e-12 * max(abs(true), width)
    needed = float(settings.required)
    share, fine = resolution_check(resolution, tolerance, settings.resolution_share)
    return Type1Study(
        readings=tuple(float(value) for value in readings),
        reference=true,
        tolerance=width,
        settings=settings,
        mean=center,
        s=s,
        test=test,
        cg=capability,
        cgk=centred,
        cg_capable=_meets(capability, settings.required),
        cgk_capable=_meets(centred, settings.required),
        tolerance_for_cg=needed * settings.sigmas * s / settings.fraction,
        tolerance_for_cgk=(needed * settings.sigmas * s + 2 * abs(test.bias)) / settings.fraction,
        band_low=true - reach,
        band_high=true + reach,
        outside_band=tuple(i for i, value in enumerate(readings) if abs(value - true) > reach + slack),
        resolution_percent=share,
        resolution_fine=fine,
    )


def resolution_check(
    resolution: Decimal | float | None, tolerance: Decimal | float, share: Decimal = RESOLUTION_SHARE
) -> tuple[Decimal | None, bool | None]:
    """Resolution in percent of the tolerance, and whether that is within the share; in Decimal, so that 0.005 of 0.1 is 5 % and passes."""
    if resolution is None:
        return None, None
    step, width = Decimal(str(resolution)), Decimal(str(tolerance))
    positive("resolution", float(step))
    return 100 * step / width, step <= share * width


def _meets(value: float | None, required: Decimal) -> bool | None:
    return None if value is None else Decimal(repr(value)).quantize(Decimal("0.01"), ROUND_HALF_UP) >= required


def deviation(readings: Sequence[float]) -> float:
    """Standard deviation; exactly zero where all readings are equal, whatever their mean was rounded to. Raises TooFew, NotFinite."""
    s = standard_deviation(readings)
    return 0.0 if max(readings) == min(readings) else s


def difference(center: float, reference: float) -> float:
    """center - reference; exactly zero where they differ by rounding only."""
    found = center - reference
    return 0.0 if abs(found) <= 4 * sys.float_info.epsilon * abs(reference) else found
