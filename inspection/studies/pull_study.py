"""Gauge study of a destructive test, such as a pull test: no piece can be measured twice, so each appraiser gets batches of his own and
tests several pieces of each (nested).

The pieces of a batch stand in for repeats of one part, which holds only as far as the batch is homogeneous: what the pieces differ is
counted as equipment variation, so that the answer errs on the bad side. Source: the nested analysis of variance, AIAG MSA 4th ed.,
chapter IV, and Gorman and Bower 2002 (from memory).
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
    Decomposition,
    Origin,
    Standing,
    Yardstick,
    decomposed,
    tested,
    without_dust,
)
from inspection.studies.confidence import MeanSquare, probability
from inspection.studies.constants import range_limits
from inspection.studies.crossed import Floats, cube, need
from inspection.studies.gauge_rr import NDC_WANTED


class Assumption(StrEnum):
    """What an answer rests on and the data cannot show."""

    HOMOGENEOUS_BATCHES = "homogeneous batches"


@dataclass(frozen=True, slots=True)
class PullStudy:
    """The answer of a nested study. All in the unit of the readings.

    appraisers, batches (of each appraiser), pieces (of each batch): counts. rows: analysis of variance (appraiser, part within appraiser,
    equipment, total). variation: the table; PART is the batches within appraisers. reproducibility_defined: false with one appraiser.
    readings (appraisers, batches, pieces); batch_means, batch_ranges (appraisers, batches); appraiser_means; mean_range, range_high: Rbar
    and D4 Rbar; ranges_beyond: (appraiser, batch). batches_differ_p: p of the batches, None where untestable: batches that do not differ
    leave ndc without meaning. standing_*, ndc_enough: as in a crossed study.
    """

    appraisers: int
    batches: int
    pieces: int
    rows: tuple[AnovaRow, ...]
    variation: Decomposition
    assumption: Assumption
    reproducibility_defined: bool
    yardstick: Yardstick
    standing_study: Standing | None
    standing_tolerance: Standing | None
    standing_one_limit: Standing | None
    standing_process: Standing | None
    ndc_enough: bool | None
    batches_differ_p: float | None
    readings: tuple[tuple[tuple[float, ...], ...], ...]
    batch_means: tuple[tuple[float, ...], ...]
    batch_ranges: tuple[tuple[float, ...], ...]
    appraiser_means: tuple[float, ...]
    grand_mean: float
    mean_range: float
    range_high: float
    ranges_beyond: tuple[tuple[int, int], ...]
    confidence: float
    method: Literal["nested analysis of variance"] = "nested analysis of variance"


def pull_study(
    readings: Sequence[Sequence[Sequence[float]]] | Floats, yardstick: Yardstick | None = None, *, confidence: float = 0.95
) -> PullStudy:
    """The nested study. readings: shape (appraisers >= 1, batches >= 2 of each, pieces >= 2 of each batch), in one unit.

    Batches are tested against equipment, appraisers against batches. Raises MissingCells (appraiser, batch, piece), NotFinite, TooSmall,
    NotASetting.
    """
    values = cube(readings)
    yardstick = yardstick or Yardstick()
    probability("confidence", confidence)
    appraisers, batches, pieces = values.shape
    need("appraisers", 1, appraisers)
    need("batches", 2, batches)
    need("pieces", 2, pieces)
    grand = float(values.mean())
    centred = values - grand
    means = centred.mean(axis=2)
    by_appraiser = means.mean(axis=1)
    largest = float(np.abs(values).max())

    def squares(deviations: Floats) -> float:
        return without_dust(math.fsum(np.square(deviations).ravel().tolist()), values.size, largest)

    ss_appraiser = batches * pieces * squares(by_appraiser - by_appraiser.mean())
    ss_part = pieces * squares(means - by_appraiser[:, None])
    ss_error = squares(centred - means[:, :, None])
    part_df, error_df = appraisers * (batches - 1), appraisers * batches * (pieces - 1)
    lines = {"part": MeanSquare(ss_part / part_df, part_df), "equipment": MeanSquare(ss_error / error_df, error_df)}
    rows = [
        tested(Origin.PART, part_df, ss_part, lines["equipment"]),
        AnovaRow(Origin.EQUIPMENT, error_df, ss_error, lines["equipment"].value),
        AnovaRow(Origin.TOTAL, values.size - 1, math.fsum((ss_appraiser, ss_part, ss_error)), None),
    ]
    coefficients: dict[Origin, dict[str, float]] = {
        Origin.EQUIPMENT: {"equipment": 1.0},
        Origin.PART: {"part": 1 / pieces, "equipment": -1 / pieces},
    }
    if appraisers > 1:
        lines["appraiser"] = MeanSquare(ss_appraiser / (appraisers - 1), appraisers - 1)
        rows.insert(0, tested(Origin.APPRAISER, appraisers - 1, ss_appraiser, lines["part"]))
        share = 1 / (batches * pieces)
        coefficients[Origin.APPRAISER] = {"appraiser": share, "part": -share}
    variation = decomposed(lines, coefficients, yardstick, grand, confidence)
    gauge = variation[Origin.GAUGE]
    ranges = values.max(axis=2) - values.min(axis=2)
    mean_range = float(ranges.mean())
    range_high = range_limits(mean_range, pieces)[1]
    return PullStudy(
        appraisers=appraisers,
        batches=batches,
        pieces=pieces,
        rows=tuple(rows),
        variation=variation,
        assumption=Assumption.HOMOGENEOUS_BATCHES,
        reproducibility_defined=appraisers > 1,
        yardstick=yardstick,
        standing_study=yardstick.standing(gauge.percent_study),
        standing_tolerance=yardstick.standing(gauge.percent_tolerance),
        standing_one_limit=yardstick.standing(gauge.percent_one_limit),
        standing_process=yardstick.standing(gauge.percent_process),
        ndc_enough=None if variation.ndc is None else variation.ndc >= NDC_WANTED,
        batches_differ_p=next(row.p for row in rows if row.origin is Origin.PART),
        readings=tuple(tuple(tuple(float(v) for v in cell) for cell in row) for row in values),
        batch_means=tuple(tuple(float(v) for v in row) for row in means + grand),
        batch_ranges=tuple(tuple(float(v) for v in row) for row in ranges),
        appraiser_means=tuple(float(v) for v in by_appraiser + grand),
        grand_mean=grand,
        mean_range=mean_range,
        range_high=range_high,
        ranges_beyond=tuple((int(a), int(b)) for a, b in np.argwhere(ranges > range_high + 1e-12 * largest)),
        confidence=confidence,
    )
