"""Studies through the API alone: opened, filled, corrected, signed, and their report."""

import pytest

from inspection.models import StudyValue
from tests.api.conftest import own
from tests.inspection.study_kinds import examples


def opened(programs, example, **changed):
    gauge = {"micrometer": "MIC-01", "pull_tester": "PULL-01", "": ""}[example.gauge]
    body = {"kind": example.kind, "title": "Through the API", "gauge": gauge, "set_up": example.set_up} | changed
    return programs["quality"].post("studies/", body, status=201)


def filled(programs, example):
    study = opened(programs, example)
    values = [{"place": place, "value": text} for place, text in example.values.items()]
    return programs["inspector"].post(f"studies/{study['number']}/values/", {"values": values})


@pytest.mark.parametrize("make", examples.ALL, ids=lambda make: make.__name__)
def test_study_of_each_kind_is_run_and_signed(shop, programs, shop_key, make):
    study = filled(programs, make())
    assert study["answer"]["outcome"]
    assert study["why_not"] == []

    body = {"conclusion": "As found.", "signature": own(), "seen_sha256": study["content_sha256"]}
    signed = programs["quality"].post(f"studies/{study['number']}/sign/", body)

    assert (signed["state"], signed["closed_by"], signed["conclusion"]) == ("signed", "quality", "As found.")
    document = programs["auditor"].post("documents/", {"kind": "study-report", "number": study["number"]}, status=201)
    assert document["number"] == f"SR-{study['number']}"


def test_empty_study_shows_its_places_and_why_there_is_no_answer(shop, programs):
    study = opened(programs, examples.repeatability())
    assert len(study["places"]) == 90
    assert {"place": "A|1|1", "row": "1", "label": "A, trial 1", "unit": "mm", "value": None}.items() <= study["places"][0].items()
    assert (study["answer"], study["content_sha256"]) == (None, "")
    assert [finding["rule"] for finding in study["why_not"]] == ["study.incomplete"]


def test_places_say_what_may_stand_there(shop, programs):
    places = {place["place"]: place for place in opened(programs, examples.uncertainty())["places"]}
    assert places["1|type"]["choices"] == ["A", "B"]
    assert (places["1|value"]["unit"], places["1|df"]["optional"]) == ("", True)
    assert opened(programs, examples.stability())["places"][0]["is_date"] is True


def test_changed_value_needs_a_reason_and_all_or_none_are_written(shop, programs):
    study = filled(programs, examples.bias())
    address = f"studies/{study['number']}/values/"
    values = [{"place": "1", "value": "5.9"}, {"place": "99", "value": "6.0"}]
    assert set(programs["inspector"].refused(address, {"values": values}, status=422)) == {"study.correction", "study.place"}
    assert StudyValue.objects.count() == 15
    corrected = programs["inspector"].post(address, {"values": values[:1], "reason": "read wrong"})
    assert corrected["places"][0]["value"] == "5.9"


def test_retry_with_the_same_key_opens_one_study(shop, programs):
    body = {"kind": "bias", "title": "x", "gauge": "MIC-01", "set_up": examples.bias().set_up}
    first, again = (programs["quality"].post("studies/", body, status=201, key="k-1") for _ in range(2))
    assert first["number"] == again["number"]
    assert programs["auditor"].get("studies/")["count"] == 1


def test_list_is_narrowed_by_gauge_kind_and_state(shop, programs):
    study = opened(programs, examples.bias())
    opened(programs, examples.inspectors())
    programs["quality"].post(f"studies/{study['number']}/abandon/", {"reason": "wrong part"})

    def numbers(query):
        return [row["number"] for row in programs["auditor"].get(f"studies/?{query}")["results"]]

    assert numbers("gauge=MIC-01") == numbers("kind=bias") == numbers("state=abandoned") == [study["number"]]
    assert numbers("gauge=CAL-01") == []


def test_refusals_are_those_of_the_pages(shop, programs):
    example = examples.bias()
    body = {"kind": "bias", "title": "x", "gauge": "MIC-01", "set_up": example.set_up | {"reference": "?"}}
    assert programs["quality"].refused("studies/", body, status=422) == ["study.parameter"]
    assert programs["quality"].refused("studies/", body | {"kind": "tea-leaves"}, status=422) == ["data.unknown"]
    assert programs["quality"].refused("studies/", body | {"gauge": "NONE-1"}, status=422) == ["data.unknown"]
    study = opened(programs, example)
    assert programs["quality"].refused(f"studies/{study['number']}/take-over/", {}, status=422) == ["study.taken_over"]


def test_kinds_say_what_they_ask_for(shop, programs):
    kinds = {kind["slug"]: kind for kind in programs["auditor"].get("studies/kinds/")}
    assert {make().kind for make in examples.ALL} <= set(kinds)
    asked = {parameter["name"]: parameter for parameter in kinds["repeatability"]["parameters"]}
    assert [choice["value"] for choice in asked["method"]["choices"]] == ["anova", "range"]
    assert (asked["appraisers"]["type"], asked["parts"]["least"]) == ("lines", "2")
