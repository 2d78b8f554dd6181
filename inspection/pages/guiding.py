"""The list of what a sample asks for, as it stands beside each of its questions."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from inspection.guide import Guide, Step, guide
from inspection.models import Sample, SampleKind, SampleState
from inspection.plan import plan_of
from shop.characteristics import Characteristic
from shop.criteria import is_cross_section


@dataclass(frozen=True, slots=True)
class StepLine:
    name: str
    count: str
    state: str  # done, now or open


@dataclass(frozen=True, slots=True)
class GuideLines:
    """number: of the present step, from 1."""

    lines: tuple[StepLine, ...]
    number: int
    total: int
    left: str


def steps_of(sample: Sample) -> Guide:
    plan = plan_of(sample)
    readings = list(sample.readings.standing().order_by("pk").values_list("characteristic", "piece", "at"))
    pulled = set(sample.pull_tests.standing().values_list("piece", flat=True))
    answered = set(sample.visual_findings.standing().values_list("criterion", flat=True))
    looked = [c.code for c in plan.criteria if not is_cross_section(c.code)]
    cut = [c.code for c in plan.criteria if is_cross_section(c.code)]

    def measured(name: str, pieces: int) -> Step:
        done = {piece for characteristic, piece, _at in readings if characteristic == name}
        return Step("reading", str(Characteristic(name).label), len(done), pieces)

    steps = [measured(p.characteristic, p.pieces) for p in plan.readings if p.characteristic != Characteristic.COMPACTION]
    if plan.pulls:
        steps.append(Step("pull", _("pull test"), len(pulled), plan.pulls))
    if looked:
        steps.append(Step("look", _("look"), sum(code in answered for code in looked), len(looked)))
    if cut:
        steps.append(Step("section", _("cross-section"), sum(code in answered for code in cut), len(cut)))
    steps += [measured(p.characteristic, p.pieces) for p in plan.readings if p.characteristic == Characteristic.COMPACTION]
    steps.append(Step("sign", _("sign"), int(sample.state != SampleState.OPEN), 1))
    if sample.batch.termination.inspector_signs and sample.kind in (SampleKind.FIRST_PIECE, SampleKind.AFTER_CHANGE):
        steps.append(Step("inspector", _("inspector"), 0, 1))
    return guide(steps, [(after[2] - before[2]).total_seconds() for before, after in pairwise(readings)])


def guide_lines(sample: Sample) -> GuideLines:
    found = steps_of(sample)
    lines = []
    for place, step in enumerate(found.steps):
        state = "done" if step.is_done else "now" if place == found.present else "open"
        lines.append(StepLine(step.name, f"{step.done}/{step.of}" if step.of > 1 else "", state))
    minutes = math.ceil(found.seconds / 60)
    left = (
        _("less than a minute left") if found.seconds < 45 else ngettext("about %d minute left", "about %d minutes left", minutes) % minutes
    )
    return GuideLines(tuple(lines), min(found.present + 1, len(lines)), len(lines), left)
