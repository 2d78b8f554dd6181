"""The bound of pull forces: taken over from production, computed again from the values, held against the minimum."""

from __future__ import annotations

import numpy as np
import pytest
from django.urls import reverse

from inspection.acts.studies import SIGNED_MEANING, analysis_of, open_study, opened, sign_study, study_content, take_over
from inspection.models import PullTest, Study
from inspection.sampling.tolerance import k_one_sided
from records.demo.walk import run_batch
from shop.canonical import content_sha256
from shop.clock import now
from shop.finding import Refused
from shop.sign_on import sign
from tests.factories import PIN
from tests.inspection.conftest import codes, hand, inspector, termination  # noqa: F401  # fixtures

SET_UP = {"csa_mm2": "", "minimum": "89", "share": "95", "confidence": "95", "most": "100"}


@pytest.fixture
def batch(termination, codes, hand, inspector):  # noqa: F811  # fixtures
    return run_batch(termination, codes, 100, hand, now, inspector)


@pytest.fixture
def begun(batch, cast):
    """Opens a study on what the batch pulled."""

    def begin(**changed):
        t = batch.termination
        set_up = SET_UP | {"csa_mm2": f"{t.csa_mm2.normalize():f}"} | changed
        return open_study(kind="pull-bound", title="F", set_up=set_up, tool=batch.tool, terminal=t.terminal, by=cast.quality, at=now())

    return begin


def test_bound_is_that_of_the_forces_pulled_in_production(begun, cast):
    study = begun()
    forces = [float(row.force_n) for row in PullTest.objects.standing()]
    assert take_over(study=study, by=cast.quality, at=now()) == len(forces) >= 3
    analysis = analysis_of(opened(study))
    k = k_one_sided(len(forces), 0.95, 0.95)
    assert float(analysis.content["bound_n"]) == pytest.approx(np.mean(forces) - k * np.std(forces, ddof=1))
    holds = float(analysis.content["bound_n"]) >= 89
    assert analysis.outcome == ("conforms" if holds else "does not conform")


def test_minimum_above_the_forces_is_not_held(begun, cast):
    study = begun(minimum="500")
    take_over(study=study, by=cast.quality, at=now())
    analysis = analysis_of(opened(study))
    assert (analysis.outcome, analysis.content["minimum_n"]) == ("does not conform", "500")


def test_study_is_shown_and_signed(begun, cast, signed_in):
    study = begun()
    take_over(study=study, by=cast.quality, at=now())
    page = signed_in(cast.quality).get(reverse("studies:study", args=[study.number])).context["page"]
    assert "<svg" in page.sections[1].figures[0].svg
    read, at = opened(Study.objects.get()), now()
    seen = content_sha256(study_content(read, analysis_of(read)))
    signing = sign(identifier=cast.quality.username, secret=PIN, meaning=SIGNED_MEANING, at=at)
    signed = sign_study(study=study, conclusion="goes on", by=cast.quality, at=at, signing=signing, seen_sha256=seen)
    assert signed.result["values"] >= 3


def test_other_conductor_area_has_nothing_to_take_over(begun, cast):
    with pytest.raises(Refused) as error:
        take_over(study=begun(csa_mm2="4"), by=cast.quality, at=now())
    assert [finding.rule for finding in error.value.findings] == ["study.nothing_measured"]
