"""Every kind of study, in the order in which they are offered."""

from __future__ import annotations

from collections.abc import Mapping

from inspection.study_kinds.agreement import AGREEMENT
from inspection.study_kinds.bias import BIAS
from inspection.study_kinds.capability import CAPABILITY, CAPABILITY_TYPED
from inspection.study_kinds.crimp_window import CRIMP_WINDOW
from inspection.study_kinds.gauge_rr import GAUGE_RR
from inspection.study_kinds.kind import StudyKind
from inspection.study_kinds.linearity import LINEARITY
from inspection.study_kinds.measuring_system import MEASURING_SYSTEM
from inspection.study_kinds.pull_bound import PULL_BOUND
from inspection.study_kinds.pull_gauge import PULL_GAUGE
from inspection.study_kinds.stability import STABILITY
from inspection.study_kinds.type_1 import TYPE_1
from inspection.study_kinds.uncertainty import UNCERTAINTY

ALL: tuple[StudyKind, ...] = (
    TYPE_1,
    GAUGE_RR,
    PULL_GAUGE,
    BIAS,
    LINEARITY,
    STABILITY,
    MEASURING_SYSTEM,
    UNCERTAINTY,
    AGREEMENT,
    CRIMP_WINDOW,
    CAPABILITY,
    CAPABILITY_TYPED,
    PULL_BOUND,
)

KINDS: Mapping[str, StudyKind] = {kind.slug: kind for kind in ALL}
