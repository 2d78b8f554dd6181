"""Capability studies: from what was measured at the press, and from values that are typed in."""

import math
import re
from decimal import Decimal
from xml.etree import ElementTree

import numpy as np
import pytest

from inspection.acts.studies import analysis_of as answer_of
from inspection.acts.studies import open_study, opened, record_values, take_over
from inspection.study_kinds.kind import StudyInput, read_parameters
from inspection.study_kinds.registry import KINDS
from shop.clock import now
from shop.finding import Refused
from tests.inspection.test_charts_page import run  # noqa: F401  # a fixture

USUAL = {"sigma": "usual", "distribution": "normal", "confidence": "95", "required": "1.33"}
TYPED = USUAL | {"samples": "25", "pieces": "5", "low": "1.35", "high": "1.45"}


def analysed(values, pieces, **changed):
    """The answer for values in rows of so many pieces."""
    kind = KINDS["capability-typed"]
    given = TYPED | {"samples": str(len(values) // pieces), "pieces": str(pieces)} | changed
    places = [f"{n // pieces + 1:05d}|{n % pieces + 1}" for n in range(len(values))]
    standing = {place: Decimal(f"{value:.4f}") for place, value in zip(places, values, strict=True)}
    return kind.analyse(StudyInput(read_parameters(kind, given), standing, "mm", characteristic="crimp height"))


def facts(analysis):
    return {fact.label: fact for section in analysis.sections for fact in section.facts}


def quiet(n, seed=11, sigma=0.01):
    return np.random.default_rng(seed).normal(1.4, sigma, n)


def test_indices_are_those_of_the_definition():
    values = np.round(quiet(125), 4)
    answer = facts(analysed(values, 5))
    rows = values.reshape(25, 5)
    within = math.sqrt(float(rows.var(axis=1, ddof=1).mean()))
    assert float(answer["Cp"].value) == pytest.approx(0.1 / (6 * within), rel=1e-3)
    assert float(answer["Pp"].value) == pytest.approx(0.1 / (6 * float(values.std(ddof=1))), rel=1e-3)
    assert "pooled s" in answer["Cpk"].note
    assert "overall" in answer["Ppk"].note
    assert "95 % interval" in answer["Cp"].note


def test_stable_process_is_judged_against_the_least_index():
    assert analysed(quiet(125), 5).outcome == "conforms"
    assert analysed(quiet(125, sigma=0.02), 5).outcome == "does not conform"
    assert analysed(quiet(125), 5, required="").outcome == "undecided"


def test_unstable_process_says_so_first_and_is_not_judged():
    values = quiet(125)
    values[60:] += 0.02
    answer = analysed(values, 5)
    assert answer.outcome == "undecided"
    assert "not stable" in answer.word
    assert answer.sections[0].facts[0].word == "not stable"
    assert answer.sections[0].tables[0].rows
    assert facts(answer)["Cpk"].outcome == ""


def test_values_that_are_not_normal_are_not_switched_to_another_distribution():
    values = 1.36 + np.random.default_rng(3).gamma(1.2, 0.004, 200)
    plain = analysed(values, 1, high="")
    assert plain.content["distribution"] == "normal"
    assert "indices" not in plain.content
    if facts(plain)["Stability"].word == "stable":
        assert plain.outcome != "conforms"
    assert facts(plain)["Anderson-Darling"].word == "hardly normal"


def test_named_distribution_gives_performance_by_percentiles():
    values = np.random.default_rng(3).lognormal(math.log(1.4), 0.02, 120)
    answer = analysed(values, 1, low="1.2", high="1.6", distribution="lognormal")
    names = [index["name"] for index in answer.content["indices"]]
    assert names == ["Pp", "Ppl", "Ppu", "Ppk"]
    low, middle, high = (float(value) for value in answer.content["percentiles"])
    assert float(facts(answer)["Pp"].value) == pytest.approx(0.4 / (high - low), rel=1e-3)
    assert low < middle < high


def test_box_cox_names_its_power():
    values = np.random.default_rng(5).lognormal(math.log(1.4), 0.02, 120)
    answer = analysed(values, 1, low="1.2", high="1.6", distribution="Box-Cox")
    assert "Power of the transformation" in facts(answer)
    assert answer.content["power"]


def test_one_limit_gives_one_sided_indices_only():
    answer = facts(analysed(quiet(60), 1, high=""))
    assert "Cpl" in answer
    assert "Cp" not in answer
    assert "Cpu" not in answer


def test_estimator_is_the_one_that_was_asked_for():
    assert "Rbar/d2" in facts(analysed(quiet(125), 5, sigma="range"))["Cp"].note
    assert "MRbar/d2" in facts(analysed(quiet(60), 1))["Cp"].note


@pytest.mark.parametrize(
    ("values", "changed", "rule"),
    [
        (quiet(8), {}, "study.too_few"),
        ([1.4] * 30, {}, "study.impossible"),
        (quiet(30), {"low": "1.5"}, "study.impossible"),
        (quiet(30) - 5, {"low": "-6", "high": "6", "distribution": "lognormal"}, "study.impossible"),
    ],
    ids=["too few", "no spread", "limits crossed", "does not fit"],
)
def test_what_cannot_be_computed_is_refused_with_the_reason(values, changed, rule):
    with pytest.raises(Refused) as refused:
        analysed(np.array(values), 1, **changed)
    assert [finding.rule for finding in refused.value.findings] == [rule]


def test_figures_are_drawn_and_have_their_data():
    analysis = analysed(quiet(125), 5)
    figures = [figure for section in analysis.sections for figure in section.figures]
    assert [ElementTree.fromstring(f.svg).get("class") for f in figures] == ["control-chart", "histogram", "probability"]  # noqa: S314  # our own
    assert len(figures[0].data.rows) == 25
    assert sum(int(row[1]) for row in figures[1].data.rows) == 125


def test_same_values_give_the_same_answer():
    assert analysed(quiet(60), 1) == analysed(quiet(60), 1)


def production(cast, run, **changed):  # noqa: F811  # a fixture
    t, given = run.termination, USUAL | {"csa_mm2": "0.754", "newest": "100"} | changed
    subjects = {"tool": t.tool, "terminal": t.terminal, "characteristic": "crimp height"}
    return open_study(kind="capability", title="Crimp height", set_up=given, by=cast.quality, at=now(), **subjects)


def test_values_and_limits_are_taken_over_from_production(cast, run):  # noqa: F811  # a fixture
    study = production(cast, run)
    count = take_over(study=study, by=cast.quality, at=now())
    read = opened(study)
    sources = {place: value.source for place, value in read.standing.items()}
    assert sources["limit|low"].startswith("sheet ")
    assert count == 22 + 3
    assert re.match(rf"{run.number} 1, ", next(s for p, s in sources.items() if p.startswith("00001|")))
    answer = answer_of(read)
    assert facts(answer)["Lower limit"].value == "1.35"
    assert facts(answer)["Values"].value == "22"
    assert answer.content["limits_from"] == "from the sheet"


def test_typed_limits_stand_before_those_of_the_sheet(cast, run):  # noqa: F811  # a fixture
    study = production(cast, run, low="1.30", high="1.50")
    take_over(study=study, by=cast.quality, at=now())
    assert facts(answer_of(opened(study)))["Lower limit"].note == "typed"


def test_span_of_time_is_asked_for_in_days(cast, run):  # noqa: F811  # a fixture
    with pytest.raises(Refused):
        production(cast, run, since="yesterday")
    study = production(cast, run, until="2001-01-01")
    with pytest.raises(Refused):
        take_over(study=study, by=cast.quality, at=now())


def test_typed_study_is_entered_and_answered(cast, catalogue):
    given = TYPED | {"samples": "12", "pieces": "1"}
    study = open_study(kind="capability-typed", title="Trial", set_up=given, characteristic="crimp height", by=cast.quality, at=now())
    values = {f"{n:05d}|1": f"{value:.3f}" for n, value in enumerate(quiet(12), start=1)}
    record_values(study=study, values=values, by=cast.quality, at=now())
    assert facts(answer_of(opened(study)))["Values"].value == "12"
