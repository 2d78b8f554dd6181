"""Repeatability and reproducibility of a gauge, crossed: every appraiser measures every part the same number of times.

Two methods: average and range, and analysis of variance. Source: AIAG, Measurement Systems Analysis, 4th ed., chapter III-B; intervals as
in `confidence` and `components`. Trade limits on the answers are common practice and settings.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Literal

import numpy as np

from inspection.studies.components import (
    AnovaRow,
    Coefficients,
    Decomposition,
    Origin,
    Standing,
    Yardstick,
    decomposed,
    table,
    tested,
    without_dust,
)
from inspection.studies.confidence import MeanSquare, probability, variance_interval
from inspection.studies.constants import d2_star, k1, k2, k3, range_degrees_of_freedom
from inspection.studies.crossed import Floats, Picture, cube, need, picture

Readings = Sequence[Sequence[Sequence[float]]] | Floats

INTERACTION_ALPHA = 0.05
"""Level above which the interaction is pooled with equipment (AIAG MSA 4th ed., example in III-B, from memory). Others take 0.25."""

NDC_WANTED = 5
"""Least number of distinct categories (AIAG MSA 4th ed., from memory)."""


class Constants(StrEnum):
    """FORM: four decimals and K1 for many ranges, as on the AIAG report form, so that the customer's sheet gives the same figures. EXACT:
    not rounded, and K1 for the number of ranges there are."""

    FORM = "form"
    EXACT = "exact"


@dataclass(frozen=True, slots=True)
class AverageRangeStudy:
    """A study by average and range.

    parts, appraisers, trials: counts. k1, k2, k3: constants used, and by which rule; k2 is None with one appraiser. ev_df: degrees of
    freedom of EV. few_ranges: 15 ranges or fewer, where K1 of the form (for many ranges) is a little too large and d2* is the exact
    divisor. mean_difference: range of the appraisers' means; part_range: range of the parts' means. variation: the table (an interaction
    is not separated by this method). reproducibility_defined: false with one appraiser. standing_*: GRR against each yardstick that was
    given, ndc_enough against 5.
    """

    parts: int
    appraisers: int
    trials: int
    constants: Constants
    k1: float
    k2: float | None
    k3: float
    ev_df: float
    few_ranges: bool
    mean_difference: float
    part_range: float
    variation: Decomposition
    reproducibility_defined: bool
    yardstick: Yardstick
    standing_study: Standing | None
    standing_tolerance: Standing | None
    standing_one_limit: Standing | None
    standing_process: Standing | None
    ndc_enough: bool | None
    picture: Picture
    confidence: float
    method: Literal["average and range"] = "average and range"


@dataclass(frozen=True, slots=True)
class AnovaStudy:
    """A study by analysis of variance.

    rows: the table with the interaction (part, appraiser, part by appraiser, equipment, total). pooled: the interaction's p exceeded alpha,
    and pooled_rows hold what counts then; else pooled_rows is empty. interaction_p: None when untestable (one appraiser, or no spread).
    variation, reproducibility_defined, standing_*, ndc_enough: as in AverageRangeStudy. few_appraiser_df: two appraisers give their
    component one degree of freedom, and an interval nobody can use.
    """

    parts: int
    appraisers: int
    trials: int
    rows: tuple[AnovaRow, ...]
    alpha: float
    interaction_p: float | None
    pooled: bool
    pooled_rows: tuple[AnovaRow, ...]
    variation: Decomposition
    reproducibility_defined: bool
    few_appraiser_df: bool
    yardstick: Yardstick
    standing_study: Standing | None
    standing_tolerance: Standing | None
    standing_one_limit: Standing | None
    standing_process: Standing | None
    ndc_enough: bool | None
    picture: Picture
    confidence: float
    method: Literal["analysis of variance"] = "analysis of variance"


def _checked(readings: Readings) -> Floats:
    values = cube(readings)
    for axis, what in enumerate(("parts", "appraisers", "trials")):
        need(what, 1 if what == "appraisers" else 2, values.shape[axis])
    return values


def average_and_range(
    readings: Readings,
    yardstick: Yardstick | None = None,
    *,
    constants: Constants = Constants.FORM,
    confidence: float = 0.95,
) -> AverageRangeStudy:
    """The average-and-range method. readings: shape (parts >= 2, appraisers >= 1, trials >= 2), in one unit.

    EV = Rbar K1; AV = sqrt((Xdiff K2)^2 - EV^2/(parts trials)); PV = Rp K3. The interval of EV is the chi-square one with the degrees of
    freedom of the mean range; the method gives none for the others. Raises MissingCells, NotFinite, TooSmall, NotASetting.
    """
    values = _checked(readings)
    yardstick = yardstick or Yardstick()
    probability("confidence", confidence)
    parts, appraisers, trials = values.shape
    drawn = picture(values)
    first, third = k1(trials, parts * appraisers if constants is Constants.EXACT else None), k3(parts)
    second = k2(appraisers) if appraisers > 1 else None
    if constants is Constants.FORM:
        first, third = round(first, 4), round(third, 4)
        second = None if second is None else round(second, 4)
    ev = drawn.mean_range * first
    difference = max(drawn.appraiser_means) - min(drawn.appraiser_means)
    part_range = max(drawn.part_means) - min(drawn.part_means)
    estimates = {Origin.EQUIPMENT: ev**2}
    if second is not None:
        estimates[Origin.APPRAISER] = (difference * second) ** 2 - ev**2 / (parts * trials)
    estimates[Origin.PART] = (part_range * third) ** 2
    df = range_degrees_of_freedom(trials, parts * appraisers)
    # The mean square whose chi-square interval is wanted is (Rbar/d2*)^2, whichever K1 the form uses.
    square = MeanSquare((drawn.mean_range / d2_star(trials, parts * appraisers)) ** 2, df)
    intervals = {Origin.EQUIPMENT: variance_interval(square, confidence)}
    variation = table(estimates, yardstick, drawn.grand_mean, intervals)
    gauge = variation[Origin.GAUGE]
    return AverageRangeStudy(
        parts=parts,
        appraisers=appraisers,
        trials=trials,
        constants=constants,
        k1=first,
        k2=second,
        k3=third,
        ev_df=df,
        few_ranges=parts * appraisers <= 15,
        mean_difference=difference,
        part_range=part_range,
        variation=variation,
        reproducibility_defined=appraisers > 1,
        yardstick=yardstick,
        standing_study=yardstick.standing(gauge.percent_study),
        standing_tolerance=yardstick.standing(gauge.percent_tolerance),
        standing_one_limit=yardstick.standing(gauge.percent_one_limit),
        standing_process=yardstick.standing(gauge.percent_process),
        ndc_enough=None if variation.ndc is None else variation.ndc >= NDC_WANTED,
        picture=drawn,
        confidence=confidence,
    )


def analysis_of_variance(
    readings: Readings,
    yardstick: Yardstick | None = None,
    *,
    alpha: float = INTERACTION_ALPHA,
    confidence: float = 0.95,
) -> AnovaStudy:
    """Two-way analysis of variance, both factors random. readings: shape (parts >= 2, appraisers >= 1, trials >= 2), in one unit.

    Part and appraiser are tested against the interaction, the interaction against equipment; when its p exceeds alpha it is pooled with
    equipment and both are tested against that. With one appraiser it is the one-way analysis of the parts. Intervals: chi-square for
    equipment, modified large sample for the rest. Raises MissingCells, NotFinite, TooSmall, NotASetting.
    """
    values = _checked(readings)
    yardstick = yardstick or Yardstick()
    probability("confidence", confidence)
    probability("alpha", alpha)
    parts, appraisers, trials = values.shape
    ss = _sums_of_squares(values)
    rows, lines = _with_interaction(ss, parts, appraisers, trials)
    interaction_p = next((row.p for row in rows if row.origin is Origin.INTERACTION), None)
    pooled_rows: tuple[AnovaRow, ...] = ()
    pooled = interaction_p is not None and interaction_p > alpha
    if pooled:
        pooled_rows, lines = _pooled(ss, parts, appraisers, trials)
    variation = decomposed(lines, _coefficients(parts, appraisers, trials, pooled=pooled), yardstick, float(values.mean()), confidence)
    gauge = variation[Origin.GAUGE]
    return AnovaStudy(
        parts=parts,
        appraisers=appraisers,
        trials=trials,
        rows=rows,
        alpha=alpha,
        interaction_p=interaction_p,
        pooled=pooled,
        pooled_rows=pooled_rows,
        variation=variation,
        reproducibility_defined=appraisers > 1,
        few_appraiser_df=appraisers == 2,
        yardstick=yardstick,
        standing_study=yardstick.standing(gauge.percent_study),
        standing_tolerance=yardstick.standing(gauge.percent_tolerance),
        standing_one_limit=yardstick.standing(gauge.percent_one_limit),
        standing_process=yardstick.standing(gauge.percent_process),
        ndc_enough=None if variation.ndc is None else variation.ndc >= NDC_WANTED,
        picture=picture(values),
        confidence=confidence,
    )


def _sums_of_squares(values: Floats) -> dict[Origin, float]:
    parts, appraisers, trials = values.shape
    centred = values - values.mean()  # readings share their leading digits; the sums must not lose the rest to them
    cells = centred.mean(axis=2)
    by_part, by_appraiser = cells.mean(axis=1), cells.mean(axis=0)
    leftover = cells - by_part[:, None] - by_appraiser[None, :] + cells.mean()
    largest = float(np.abs(values).max())
    found = {
        Origin.PART: appraisers * trials * _squares(by_part - cells.mean()),
        Origin.APPRAISER: parts * trials * _squares(by_appraiser - cells.mean()),
        Origin.INTERACTION: trials * _squares(leftover),
        Origin.EQUIPMENT: _squares(centred - cells[:, :, None]),
    }
    return {origin: without_dust(ss, values.size, largest) for origin, ss in found.items()}


def _squares(values: Floats) -> float:
    return math.fsum(np.square(values).ravel().tolist())


def _with_interaction(
    ss: dict[Origin, float], parts: int, appraisers: int, trials: int
) -> tuple[tuple[AnovaRow, ...], dict[str, MeanSquare]]:
    error_df = parts * appraisers * (trials - 1)
    error = MeanSquare(ss[Origin.EQUIPMENT] / error_df, error_df)
    last = (
        AnovaRow(Origin.EQUIPMENT, error_df, ss[Origin.EQUIPMENT], error.value),
        AnovaRow(Origin.TOTAL, parts * appraisers * trials - 1, math.fsum(ss.values()), None),
    )
    if appraisers == 1:
        part = tested(Origin.PART, parts - 1, ss[Origin.PART], error)
        return (part, *last), {"part": MeanSquare(ss[Origin.PART] / (parts - 1), parts - 1), "equipment": error}
    both_df = (parts - 1) * (appraisers - 1)
    both = MeanSquare(ss[Origin.INTERACTION] / both_df, both_df)
    rows = (
        tested(Origin.PART, parts - 1, ss[Origin.PART], both),
        tested(Origin.APPRAISER, appraisers - 1, ss[Origin.APPRAISER], both),
        tested(Origin.INTERACTION, both_df, ss[Origin.INTERACTION], error),
        *last,
    )
    lines = {
        "part": MeanSquare(ss[Origin.PART] / (parts - 1), parts - 1),
        "appraiser": MeanSquare(ss[Origin.APPRAISER] / (appraisers - 1), appraisers - 1),
        "interaction": both,
        "equipment": error,
    }
    return rows, lines


def _pooled(ss: dict[Origin, float], parts: int, appraisers: int, trials: int) -> tuple[tuple[AnovaRow, ...], dict[str, MeanSquare]]:
    df = parts * appraisers * trials - parts - appraisers + 1
    pooled_ss = ss[Origin.INTERACTION] + ss[Origin.EQUIPMENT]
    error = MeanSquare(pooled_ss / df, df)
    rows = (
        tested(Origin.PART, parts - 1, ss[Origin.PART], error),
        tested(Origin.APPRAISER, appraisers - 1, ss[Origin.APPRAISER], error),
        AnovaRow(Origin.EQUIPMENT, df, pooled_ss, error.value),
        AnovaRow(Origin.TOTAL, parts * appraisers * trials - 1, math.fsum(ss.values()), None),
    )
    lines = {
        "part": MeanSquare(ss[Origin.PART] / (parts - 1), parts - 1),
        "appraiser": MeanSquare(ss[Origin.APPRAISER] / (appraisers - 1), appraisers - 1),
        "equipment": error,
    }
    return rows, lines


def _coefficients(parts: int, appraisers: int, trials: int, *, pooled: bool) -> Coefficients:
    equipment = {"equipment": 1.0}
    if appraisers == 1:
        return {Origin.EQUIPMENT: equipment, Origin.PART: {"part": 1 / trials, "equipment": -1 / trials}}
    below = "equipment" if pooled else "interaction"
    of_appraiser, of_part = 1 / (parts * trials), 1 / (appraisers * trials)
    found: dict[Origin, dict[str, float]] = {
        Origin.EQUIPMENT: equipment,
        Origin.APPRAISER: {"appraiser": of_appraiser, below: -of_appraiser},
        Origin.PART: {"part": of_part, below: -of_part},
    }
    if not pooled:
        found[Origin.INTERACTION] = {"interaction": 1 / trials, "equipment": -1 / trials}
    return found
