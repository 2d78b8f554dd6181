"""The shop's decision rule at the press: what the gauge's uncertainty leaves of the limits, and that the record says so."""

from decimal import Decimal

import pytest

from inspection.acts.samples import record_pull, record_reading, start_sample
from inspection.contents import sample_content
from inspection.deciding import printed
from inspection.models import PullTest, Reading
from records.gather.batch import decision_rules
from shop.clock import now
from shop.finding import Refused
from shop.tools import Calibration
from shop.wording import worded


@pytest.fixture
def sample(proven, cast):
    return start_sample(batch=proven, kind="first piece", at_count=5, by=cast.operator, at=now())


def read(sample, by, text, piece=1):
    return record_reading(sample=sample, characteristic="crimp height", piece=piece, text=text, unit="mm", by=by, at=now())


def pull(sample, by, text):
    return record_pull(sample=sample, piece=1, text=text, unit="N", mode="pulled out", by=by, at=now())


@pytest.fixture
def uncertain(catalogue):
    """U = 0.010 mm on the micrometer, 2 N on the pull tester; crimp height 1.35 to 1.45 mm, pull force at least 85 N."""
    Calibration.objects.filter(gauge=catalogue.micrometer).update(expanded_uncertainty=Decimal("0.010"))
    Calibration.objects.filter(gauge=catalogue.pull_tester).update(expanded_uncertainty=Decimal(2))


def test_without_a_rule_the_limits_stand_as_they_are(sample, cast, uncertain):
    reading = read(sample, cast.operator, "1.45")
    assert (reading.outcome, reading.decision_rule, reading.guard_band) == ("conforms", "simple acceptance", 0)
    assert "decision_rule" not in sample_content(sample)["readings"][0]


@pytest.mark.parametrize(
    ("rule", "text", "outcome", "band"),
    [
        ("expanded", "1.440", "conforms", "0.010"),
        ("expanded", "1.441", "undecided", "0.010"),
        ("expanded", "1.461", "does not conform", "0.010"),
        ("conformance-95", "1.4417", "conforms", "0.00825"),  # 1.65 x 0.005 (ISO 14253-1:2017)
        ("conformance-95", "1.4418", "undecided", "0.00825"),
        ("four-to-one", "1.450", "conforms", "0"),  # 0.05 / 0.010 is five to one: simple acceptance holds (ASME B89.7.3.1)
        ("false-accept-2", "1.450", "conforms", "0"),  # TUR 5: the multiplier is zero from about 4.6 (Z540.3)
    ],
)
def test_rule_moves_the_limits_by_the_gauges_uncertainty(settings, sample, cast, uncertain, rule, text, outcome, band):
    settings.DECISION_RULE = rule
    reading = read(sample, cast.operator, text)
    assert (reading.outcome, reading.guard_band) == (outcome, Decimal(band))
    assert sample_content(sample)["readings"][0]["decision_rule"] == reading.decision_rule
    assert decision_rules([sample]) == [printed(reading.decision_rule)]


def test_pull_force_has_one_limit_and_its_guard_band_too(settings, sample, cast, uncertain):
    settings.DECISION_RULE = "expanded"
    assert pull(sample, cast.operator, "86.9").outcome == "undecided"


def test_rule_that_needs_a_tolerance_leaves_simple_acceptance_to_a_single_limit(settings, sample, cast, uncertain):
    settings.DECISION_RULE = "false-accept-2"
    row = pull(sample, cast.operator, "85.0")
    assert (row.outcome, row.decision_rule) == ("conforms", "simple acceptance")


def test_certificate_without_uncertainty_is_refused_where_the_rule_needs_it(settings, sample, cast):
    settings.DECISION_RULE = "conformance-95"
    Calibration.objects.update(expanded_uncertainty=None)
    with pytest.raises(Refused) as refused:
        read(sample, cast.operator, "1.40")
    (finding,) = refused.value.findings
    assert finding.rule == "reading.uncertainty"
    assert "MIC-01" in worded(finding).sentence
    assert not Reading.objects.exists()


def test_uncertainty_too_large_for_four_to_one_is_refused(settings, sample, cast, catalogue):
    settings.DECISION_RULE = "four-to-one"
    Calibration.objects.filter(gauge=catalogue.micrometer).update(expanded_uncertainty=Decimal("0.013"))
    with pytest.raises(Refused) as refused:
        read(sample, cast.operator, "1.40")
    assert [f.rule for f in refused.value.findings] == ["reading.uncertainty.large"]
    assert not PullTest.objects.exists()
