"""Capability of a measuring system and a measuring process after ISO 22514-7:2012 (from memory; formulas as in the reference table).

The system is the gauge on a reference; the process adds the people, the parts and the surroundings. Everything is a standard uncertainty
in the unit of the readings and adds up in squares.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal
from enum import StrEnum

from inspection.studies.confidence import NotASetting, positive
from inspection.studies.gauge_type1 import RESOLUTION_SHARE, resolution_check


class Influence(StrEnum):
    """What a line of the sum stands for."""

    CALIBRATION = "calibration"
    RESOLUTION = "resolution"
    REPEATABILITY_ON_REFERENCE = "repeatability on reference"
    REPEATABILITY_ON_PARTS = "repeatability on parts"
    BIAS = "bias"
    LINEARITY = "linearity"
    OTHER_OF_SYSTEM = "other of the system"
    REPRODUCIBILITY = "reproducibility"
    INTERACTION = "part by appraiser"
    STABILITY = "stability"
    PARTS = "inhomogeneous parts"
    TEMPERATURE = "temperature"
    GAUGES = "between gauges"
    OTHER_OF_PROCESS = "other of the process"


@dataclass(frozen=True, slots=True)
class SystemInfluences:
    """Standard uncertainties of the measuring system, in the unit of the readings, none negative. Raises NotASetting.

    calibration: U/k of the reference's certificate. resolution: the step of the display, counted as step/sqrt 12. repeatability: standard
    deviation on a reference part. bias: mean - reference, counted as |bias|/sqrt 3. linearity: standard uncertainty of it. other: the rest.
    """

    calibration: float
    resolution: float
    repeatability: float
    bias: float = 0.0
    linearity: float = 0.0
    other: float = 0.0

    def __post_init__(self) -> None:
        _not_negative(self, except_for="bias")


@dataclass(frozen=True, slots=True)
class ProcessInfluences:
    """Standard uncertainties the process adds, in the unit of the readings, none negative. Raises NotASetting.

    repeatability: equipment variation on real parts, which replaces that on the reference where larger. reproducibility, interaction:
    from a gauge study. stability, parts (form error within a part), temperature, gauges (between gauges used alike), other: where known.
    """

    repeatability: float = 0.0
    reproducibility: float = 0.0
    interaction: float = 0.0
    stability: float = 0.0
    parts: float = 0.0
    temperature: float = 0.0
    gauges: float = 0.0
    other: float = 0.0

    def __post_init__(self) -> None:
        _not_negative(self)


def _not_negative(influences: SystemInfluences | ProcessInfluences, except_for: str = "") -> None:
    for name in influences.__slots__:
        value = getattr(influences, name)
        if not math.isfinite(value) or (value < 0 and name != except_for):
            raise NotASetting(name, value)


@dataclass(frozen=True, slots=True)
class InfluenceLine:
    """u: standard uncertainty. counted: false for a repeatability or resolution that a larger one of the same kind stands in for. share: of
    u squared, 0 to 1; None where all is zero."""

    influence: Influence
    u: float
    counted: bool
    share: float | None


@dataclass(frozen=True, slots=True)
class Capability22514:
    """Of a system (Q_MS, C_MS) or a process (Q_MP, C_MP).

    lines; u; expanded: k u; q_percent: 2 k u/T; q_limit; capable: q_percent, half up to hundredths, at most q_limit. c: 0.3 T/(6 u) for a
    system, 0.3 T/(3 u) for a process, None where u is zero. least_tolerance: for which q_limit would just be met.
    """

    lines: tuple[InfluenceLine, ...]
    u: float
    k: float
    expanded: float
    q_percent: float
    q_limit: Decimal
    capable: bool
    c: float | None
    least_tolerance: float


@dataclass(frozen=True, slots=True)
class MeasurementCapability:
    """system; process: None where nothing of it was given. resolution_percent, resolution_fine: at most 5 % of the tolerance."""

    tolerance: float
    system: Capability22514
    process: Capability22514 | None
    resolution_percent: Decimal | None
    resolution_fine: bool | None


def measurement_capability(
    tolerance: Decimal | float,
    system: SystemInfluences,
    process: ProcessInfluences | None = None,
    *,
    k: float = 2.0,
    q_ms_limit: Decimal = Decimal(15),
    q_mp_limit: Decimal = Decimal(30),
) -> MeasurementCapability:
    """Q_MS, C_MS and, with process influences, Q_MP, C_MP. tolerance: total. Raises NotASetting."""
    width = positive("tolerance", float(tolerance))
    positive("k", k)
    step = system.resolution / math.sqrt(12)
    fixed = [
        (Influence.CALIBRATION, system.calibration),
        (Influence.BIAS, abs(system.bias) / math.sqrt(3)),
        (Influence.LINEARITY, system.linearity),
        (Influence.OTHER_OF_SYSTEM, system.other),
    ]
    rivals = [(Influence.REPEATABILITY_ON_REFERENCE, system.repeatability), (Influence.RESOLUTION, step)]
    of_system = _capability(width, fixed, rivals, k, q_ms_limit, 6.0)
    of_process = None
    if process is not None:
        added = [
            (Influence.REPRODUCIBILITY, process.reproducibility),
            (Influence.INTERACTION, process.interaction),
            (Influence.STABILITY, process.stability),
            (Influence.PARTS, process.parts),
            (Influence.TEMPERATURE, process.temperature),
            (Influence.GAUGES, process.gauges),
            (Influence.OTHER_OF_PROCESS, process.other),
        ]
        rivals = [(Influence.REPEATABILITY_ON_PARTS, process.repeatability), *rivals]
        of_process = _capability(width, fixed + added, rivals, k, q_mp_limit, 3.0)
    share, fine = (None, None)
    if system.resolution > 0:
        share, fine = resolution_check(system.resolution, tolerance, RESOLUTION_SHARE)
    return MeasurementCapability(width, of_system, of_process, share, fine)


def _capability(
    tolerance: float,
    fixed: list[tuple[Influence, float]],
    rivals: list[tuple[Influence, float]],
    k: float,
    limit: Decimal,
    sigmas: float,
) -> Capability22514:
    """rivals measure the same scatter, so only the largest of them counts."""
    largest = max(rivals, key=lambda pair: pair[1])
    u = math.hypot(largest[1], *(value for _, value in fixed))
    lines = [_line(influence, value, u, counted=(influence, value) == largest) for influence, value in rivals]
    lines += [_line(influence, value, u, counted=True) for influence, value in fixed if value > 0]
    q = 200 * k * u / tolerance
    return Capability22514(
        lines=tuple(lines),
        u=u,
        k=k,
        expanded=k * u,
        q_percent=q,
        q_limit=limit,
        capable=Decimal(repr(q)).quantize(Decimal("0.01"), ROUND_HALF_UP) <= limit,
        c=0.3 * tolerance / (sigmas * u) if u > 0 else None,
        least_tolerance=200 * k * u / float(limit),
    )


def _line(influence: Influence, u: float, whole: float, *, counted: bool) -> InfluenceLine:
    return InfluenceLine(influence, u, counted, ((u / whole) ** 2 if counted else 0.0) if whole > 0 else None)
