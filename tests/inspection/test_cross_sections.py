"""Cross-sections on the first piece: asked for by the plan, judged by somebody qualified, counted as destroyed."""

from __future__ import annotations

import pytest
from django.urls import reverse

from inspection.acts.batches import pieces_tested
from inspection.acts.samples import conclude_sample, missing_from, record_visual, start_sample
from inspection.contents import sample_content
from inspection.models import Batch, Sample, SampleKind, VisualFinding
from inspection.plan import sample_plan
from records.demo.walk import MEASURED_MEANING, measure, set_up
from records.models import Signature
from shop.canonical import content_sha256
from shop.clock import now
from shop.finding import Refused
from tests import factories
from tests.factories import PIN


@pytest.fixture
def termination(cast, catalogue):
    return factories.released(cast, catalogue, cross_sections=2).terminations.get()


@pytest.fixture
def sample(termination, cast, hand, codes):
    batch = set_up(termination, codes, 100, hand, now)
    return start_sample(batch=batch, kind="first piece", at_count=5, by=cast.operator, at=now())


def cut(sample, by, number=1, accepted=True, **more):
    return record_visual(sample=sample, criterion=f"cross_section.{number}", accepted=accepted, by=by, at=now(), **more)


def measured_without_sections(sample, hand):
    """Everything the operator answers."""
    t = sample.batch.termination
    t.cross_sections = 0
    measure(sample, hand, now)
    t.cross_sections = 2


def test_only_a_sample_that_proves_the_set_up_asks_for_cross_sections(termination):
    def codes(kind):
        return [c.code for c in sample_plan(termination, kind).criteria if c.code.startswith("cross")]

    assert codes(SampleKind.FIRST_PIECE) == codes(SampleKind.AFTER_CHANGE) == ["cross_section.1", "cross_section.2"]
    assert codes(SampleKind.IN_PROCESS) == codes(SampleKind.LAST_PIECE) == []


def test_first_piece_is_not_complete_without_its_cross_sections(sample, hand, cast):
    measured_without_sections(sample, hand)
    sample = Sample.objects.get()
    assert missing_from(sample) == ["cross-sections 2 of 2"]
    at, seen = now(), content_sha256(sample_content(sample))
    with pytest.raises(Refused) as refused:
        conclude_sample(sample=sample, by=cast.operator, at=at, signing=hand.sign(MEASURED_MEANING, at), seen_sha256=seen)
    assert [f.rule for f in refused.value.findings] == ["sample.incomplete"]
    cut(sample, cast.inspector, 1)
    cut(sample, cast.inspector, 2)
    assert missing_from(sample) == []


def test_cross_section_needs_somebody_qualified_for_it(sample, cast):
    with pytest.raises(Refused) as refused:
        cut(sample, cast.operator)
    assert [f.rule for f in refused.value.findings] == ["use.person.qualification"]
    assert cut(sample, cast.inspector).by == cast.inspector


def test_inspector_answers_cross_sections_and_no_other_criterion(sample, cast):
    with pytest.raises(Refused) as refused:
        record_visual(sample=sample, criterion="visual.seam", accepted=True, by=cast.inspector, at=now())
    assert [f.rule for f in refused.value.findings] == ["person.role"]


def test_role_without_press_or_inspection_judges_no_section_though_qualified(sample, cast):
    factories.make_qualification(cast.planner, "cross-section")
    with pytest.raises(Refused) as refused:
        cut(sample, cast.planner)
    assert [f.rule for f in refused.value.findings] == ["person.role"]


def test_cut_pieces_count_as_destroyed_once_each(sample, cast):
    cut(sample, cast.inspector, 1)
    second = cut(sample, cast.inspector, 2, accepted=False, note="void at the floor")
    cut(sample, cast.inspector, 2, corrects=second, reason="looked again, with magnification")
    record_visual(sample=sample, criterion="visual.seam", accepted=True, by=cast.operator, at=now())
    assert pieces_tested(Batch.objects.get()) == 2


def test_tablet_asks_for_the_section_after_looking_and_takes_badge_and_pin(signed_in, sample, hand, cast):
    measured_without_sections(sample, hand)
    client, number = signed_in(cast.operator), Batch.objects.get().number
    address = reverse("make:cross-section", args=[number, 1])
    step = client.get(reverse("make:sample", args=[number, 1]))
    assert step["Location"] == address
    page = client.get(address)
    assert page.context["page"].criterion.code == "cross_section.1"
    typed = {"act_key": page.context["screen"].key, "criterion": "cross_section.1", "answer": "accept", "secret": PIN}
    refused = client.post(address, typed | {"identifier": cast.operator.badge})
    assert (refused.status_code, VisualFinding.objects.filter(criterion="cross_section.1").count()) == (422, 0)
    typed["act_key"] = refused.context["screen"].key
    assert client.post(address, typed | {"identifier": cast.inspector.badge}).status_code == 302
    assert VisualFinding.objects.get(criterion="cross_section.1").by == cast.inspector
    signature = Signature.objects.get(meaning="cross-section judged")
    assert (signature.person, signature.subject_kind) == (cast.inspector, "sample")
    assert client.get(address).context["page"].criterion.code == "cross_section.2"


def test_rejected_section_is_corrected_on_its_own_screen_with_a_reason(signed_in, sample, hand, cast):
    measured_without_sections(sample, hand)
    row = cut(sample, cast.inspector, 1, accepted=False, note="void at the floor")
    cut(sample, cast.inspector, 2)
    client, number = signed_in(cast.operator), Batch.objects.get().number
    address = reverse("make:correct", args=[number, 1, "visual", row.pk])
    page = client.get(address)
    assert page.context["page"].corrected == "rejected: void at the floor"
    typed = {"act_key": page.context["screen"].key, "answer": "accept", "identifier": cast.inspector.badge, "secret": PIN, "reason": "dust"}
    assert client.post(address, typed).status_code == 302
    standing = VisualFinding.objects.standing().get(criterion="cross_section.1")
    assert (standing.accepted, standing.corrects, standing.by) == (True, row, cast.inspector)
    assert client.get(reverse("make:overview", args=[number, 1])).status_code == 200
