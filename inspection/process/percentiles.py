"""Performance of readings that are not normal, by percentiles (ISO 22514-2, from memory).

The middle 99.73 % of the distribution takes the place of six sigma: Pp = (high - low)/(X99.865 - X0.135), and each side is measured from
the median. The variant with the 0.5 and 99.5 % points that some handbooks print is another index and not mixed in.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from inspection.process.capability import FEWEST, THIN, Index, Outside, Specification, counted_outside
from inspection.process.capability_intervals import Interval
from inspection.process.distributions import CannotFit, Family, Fit, fit
from inspection.process.readings import Array, NoSpread, Values, checked
from inspection.spc import TooFew

LOW, MIDDLE, HIGH = 0.00135, 0.5, 0.99865

FEWEST_WITHOUT_MODEL = 2000
"""Readings from which the outer percentiles are taken from the data themselves: some three lie beyond each (common practice: thousands)."""


@dataclass(frozen=True, slots=True)
class PercentileCapability:
    """low, middle, high: X0.135, X50 and X99.865, in the unit of the readings. fit: the model they come from, None for the data themselves.
    pp, ppl, ppu, ppk: None where the limit does not exist; intervals by resampling from the model, where asked for or `thin`.
    expected_ppm: by the model, None without one; observed: counted among n. thin: fewer than 30 readings, show the interval."""

    n: int
    specification: Specification
    low: float
    middle: float
    high: float
    fit: Fit | None
    pp: Index | None
    ppl: Index | None
    ppu: Index | None
    ppk: Index
    expected_ppm: Outside | None
    observed: Outside
    thin: bool


def percentile_indices(low: float, middle: float, high: float, specification: Specification) -> dict[str, float]:
    """Pp, Ppl, Ppu, Ppk (those that exist) of the three percentiles. Raises NoSpread unless they ascend."""
    if not low < middle < high:
        raise NoSpread
    found = {}
    if specification.low is not None and specification.high is not None:
        found["Pp"] = (specification.high - specification.low) / (high - low)
    if specification.low is not None:
        found["Ppl"] = (middle - specification.low) / (middle - low)
    if specification.high is not None:
        found["Ppu"] = (specification.high - middle) / (high - middle)
    found["Ppk"] = min(found[name] for name in ("Ppl", "Ppu") if name in found)
    return found


def percentile_capability(
    values: Values, specification: Specification, family: Family, *, confidence: float = 0.95, resamples: int | None = None, seed: int = 1
) -> PercentileCapability:
    """Performance by percentiles of a fitted distribution that the caller names (see `distributions.fits`), n >= 10.

    resamples: samples drawn from the model and fitted anew for the intervals (parametric bootstrap, percentile form); by default 400 under
    30 readings and none above. seed: the same one gives the same interval. Raises TooFew, NotFinite, NoSpread, CannotFit.
    """
    given = checked(values, FEWEST)
    model = fit(given, family)
    thin = given.size < THIN
    count = (400 if thin else 0) if resamples is None else resamples
    points = _points(model)
    spans = _resampled(model, specification, count, confidence, seed) if count else {}
    expected = Outside(
        None if specification.low is None else 1e6 * model.share_below(specification.low),
        None if specification.high is None else 1e6 * model.share_above(specification.high),
    )
    return _gathered(given, specification, points, model, spans, expected)


def data_percentile_capability(values: Values, specification: Specification) -> PercentileCapability:
    """Performance by percentiles of the readings themselves, for thousands of them (n >= 2000). Raises TooFew, NotFinite, NoSpread."""
    given = checked(values, FEWEST_WITHOUT_MODEL)
    low, middle, high = (float(x) for x in np.quantile(given, (LOW, MIDDLE, HIGH), method="median_unbiased"))
    return _gathered(given, specification, (low, middle, high), None, {}, None)


def _points(model: Fit) -> tuple[float, float, float]:
    return model.quantile(LOW), model.quantile(MIDDLE), model.quantile(HIGH)


def _gathered(
    given: Array,
    specification: Specification,
    points: tuple[float, float, float],
    model: Fit | None,
    spans: dict[str, Interval],
    expected: Outside | None,
) -> PercentileCapability:
    found = {name: Index(name, value, spans.get(name), None) for name, value in percentile_indices(*points, specification).items()}
    return PercentileCapability(
        int(given.size),
        specification,
        *points,
        model,
        found.get("Pp"),
        found.get("Ppl"),
        found.get("Ppu"),
        found["Ppk"],
        expected,
        counted_outside(given, specification),
        given.size < THIN,
    )


def _resampled(model: Fit, specification: Specification, count: int, confidence: float, seed: int) -> dict[str, Interval]:
    """Intervals of every index from samples of the model. Empty when the family would not fit a tenth of its own samples."""
    if not 0 < confidence < 1:
        raise ValueError("a confidence lies between 0 and 1")
    if count < 100:
        raise TooFew(100, count)
    draw = np.random.default_rng(seed)
    uniform = draw.uniform(size=(count, model.n))
    gathered: dict[str, list[float]] = {}
    for row in uniform:
        try:
            again = fit(model.quantiles(row), model.family)
        except (CannotFit, NoSpread):
            continue
        for name, value in percentile_indices(*_points(again), specification).items():
            gathered.setdefault(name, []).append(value)
    if not gathered or len(gathered["Ppk"]) < 0.9 * count:
        return {}
    tail = (1 - confidence) / 2
    ends = {name: np.quantile(values, (tail, 1 - tail)) for name, values in gathered.items()}
    return {name: Interval(float(low), float(high), confidence, "resampling", False) for name, (low, high) in ends.items()}
