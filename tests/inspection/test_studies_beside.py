"""The studies about an item stand on its catalogue page, with a link to the next one."""

import pytest
from django.urls import reverse

from inspection.acts.studies import open_study
from shop.clock import now
from tests.inspection.study_kinds import examples


def shown(client, slug, pk):
    return {section.slug: section for section in client.get(reverse("shop:detail", args=[slug, pk])).context["page"].beside}


@pytest.fixture
def study(cast, catalogue):
    return open_study(
        kind="bias", title="Micrometer 1", set_up=examples.bias().set_up, gauge=catalogue.micrometer, by=cast.quality, at=now()
    )


def test_gauge_shows_its_studies_and_no_others(signed_in, cast, catalogue, study):
    client = signed_in(cast.quality)
    (line,) = shown(client, "gauges", catalogue.micrometer.pk)["studies"].lines
    assert (line.name, line.word, line.url) == (study.number, "open", reverse("studies:study", args=[study.number]))
    assert "Micrometer 1" in line.text
    assert shown(client, "gauges", catalogue.caliper.pk)["studies"].lines == ()


def test_new_study_is_offered_with_its_subject_filled_in(signed_in, cast, catalogue):
    client = signed_in(cast.quality)
    openings = {opening.label: opening.url for opening in shown(client, "gauges", catalogue.micrometer.pk)["studies"].openings}
    form = client.get(openings["Bias at one reference"]).context["page"].form
    assert form["gauge"].value() == "MIC-01"


def test_who_may_run_no_study_is_offered_none(signed_in, cast, catalogue, study):
    section = shown(signed_in(cast.operator), "gauges", catalogue.micrometer.pk)["studies"]
    assert (len(section.lines), section.openings) == (1, ())


def test_person_shows_the_agreement_studies_that_name_them(signed_in, cast):
    client = signed_in(cast.quality)
    assert "studies" not in shown(client, "people", cast.inspector.pk)
    set_up = examples.inspectors().set_up | {"appraisers": f"{cast.inspector.name}\nSomebody else"}
    study = open_study(kind="inspectors", title="Bellmouth", set_up=set_up, by=cast.quality, at=now())
    (line,) = shown(client, "people", cast.inspector.pk)["studies"].lines
    assert line.name == study.number
    assert "studies" not in shown(client, "people", cast.operator.pk)


@pytest.mark.parametrize("studies", [1, 4])
def test_studies_beside_a_gauge_cost_one_query(signed_in, cast, catalogue, django_assert_max_num_queries, studies):
    for number in range(studies):
        open_study(kind="bias", title=str(number), set_up=examples.bias().set_up, gauge=catalogue.micrometer, by=cast.quality, at=now())
    client = signed_in(cast.quality)
    with django_assert_max_num_queries(18):
        client.get(reverse("shop:detail", args=["gauges", catalogue.micrometer.pk]))
