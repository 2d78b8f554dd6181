"""The uncertainty budget from its table to the calibration it may be recorded with."""

import math
from decimal import Decimal

import pytest
from django.urls import reverse

from inspection.acts.studies import SIGNED_MEANING, analysis_of, opened, sign_study, study_content
from inspection.models import Study
from shop.canonical import content_sha256
from shop.clock import now
from shop.finding import Refused
from shop.sign_on import sign
from shop.tools import Calibration
from shop.wording import worded
from tests.factories import PIN
from tests.inspection.study_kinds import examples


def test_budget_adds_up_by_the_guide(answer):
    content = answer(examples.uncertainty()).content

    contributions = [0.0008, 0.0009, 0.0005 / math.sqrt(3), 3 / math.sqrt(2) * 0.000023, 0.002 / math.sqrt(6)]
    u = math.sqrt(sum(c * c for c in contributions))
    df = u**4 / (contributions[1] ** 4 / 24 + contributions[4] ** 4 / 8)
    assert [float(source["contribution"]) for source in content["sources"]] == pytest.approx(contributions)
    assert float(content["u"]) == pytest.approx(u)
    assert float(content["effective_df"]) == pytest.approx(df)
    assert float(content["expanded"]) == pytest.approx(float(content["k"]) * u)
    assert float(content["k"]) > 2
    assert sum(float(source["share"]) for source in content["sources"]) == pytest.approx(1)
    assert float(content["expanded_stated"]) >= float(content["expanded"])


def test_fixed_coverage_takes_two(answer):
    content = answer(examples.uncertainty(coverage="2")).content
    assert (float(content["k"]), content["coverage"]) == (2.0, "")


def test_divisor_that_is_typed_stands_before_that_of_the_distribution(answer):
    example = examples.uncertainty()
    values = example.values | {"1|divisor": "2.5", "1|distribution": "normal"}
    content = answer(examples.Example(example.kind, example.set_up, values)).content
    assert float(content["sources"][0]["u"]) == pytest.approx(0.0016 / 2.5)


@pytest.mark.parametrize(
    ("changed", "told"),
    [
        ({"2|df": ""}, "repeatability: it comes from readings: its degrees of freedom are missing."),
        ({"1|value": "-0.001"}, "calibration: its value is below zero."),
        ({"1|divisor": "0"}, "calibration: its divisor is not above zero."),
        ({"5|df": "0.5"}, "shape of the crimp: its degrees of freedom are below 1."),
    ],
)
def test_source_that_cannot_be_is_refused_by_name(run, changed, told):
    example = examples.uncertainty()
    values = {place: text for place, text in (example.values | changed).items() if text}
    study = run(examples.Example(example.kind, example.set_up, values))
    with pytest.raises(Refused) as error:
        analysis_of(opened(study))
    assert told in " ".join(worded(finding).sentence for finding in error.value.findings)


def test_budget_of_nothing_but_zeros_is_refused(run):
    example = examples.uncertainty()
    values = {place: "0" if place.endswith("|value") else text for place, text in example.values.items()}
    with pytest.raises(Refused) as error:
        analysis_of(opened(run(examples.Example(example.kind, example.set_up, values))))
    assert [finding.rule for finding in error.value.findings] == ["study.impossible"]


@pytest.fixture
def signed(run, cast):
    study = run(examples.uncertainty())
    read, at = opened(Study.objects.get(pk=study.pk)), now()
    signing = sign(identifier=cast.quality.username, secret=PIN, meaning=SIGNED_MEANING, at=at)
    seen = content_sha256(study_content(read, analysis_of(read)))
    return sign_study(study=study, conclusion="To be recorded.", by=cast.quality, at=at, signing=signing, seen_sha256=seen)


def test_signed_budget_offers_its_figure_to_the_calibration_and_changes_nothing_itself(signed, signed_in, cast, catalogue):
    before = Calibration.objects.get(gauge=catalogue.micrometer).expanded_uncertainty
    client = signed_in(cast.quality)

    offered = client.get(reverse("studies:study", args=[signed.number])).context["page"].follow_up
    assert Calibration.objects.get(gauge=catalogue.micrometer).expanded_uncertainty == before
    form = client.get(offered.url).context["page"]
    assert form.form["expanded_uncertainty"].value() == signed.result["expanded_stated"]
    assert form.reason == f"Study {signed.number}"
    assert Calibration.objects.get(gauge=catalogue.micrometer).expanded_uncertainty == before


def test_calibration_keeps_the_figure_of_the_study_once_a_person_records_it(signed, signed_in, cast, catalogue):
    client = signed_in(cast.quality)
    url = client.get(reverse("studies:study", args=[signed.number])).context["page"].follow_up.url
    page = client.get(url).context["page"]
    sent = {name: "" if page.form[name].value() is None else str(page.form[name].value()) for name in page.form.fields}
    saved = client.post(url.partition("?")[0], sent | {"seen": page.seen, "reason": page.reason})
    assert saved.status_code == 302, saved.context["page"].form.errors
    recorded = Calibration.objects.get(gauge=catalogue.micrometer).expanded_uncertainty
    assert recorded == Decimal(signed.result["expanded_stated"])


def test_budget_offers_nothing_to_who_may_not_change_gauges(signed, signed_in, cast):
    assert signed_in(cast.operator).get(reverse("studies:study", args=[signed.number])).context["page"].follow_up is None


def test_open_budget_offers_nothing(run, signed_in, cast):
    study = run(examples.uncertainty())
    assert signed_in(cast.quality).get(reverse("studies:study", args=[study.number])).context["page"].follow_up is None
