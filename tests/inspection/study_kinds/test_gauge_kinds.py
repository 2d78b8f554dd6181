"""Gauge studies from typed values to the figures on the page: published answers, and refusals in words.

Sources: AIAG, Measurement Systems Analysis, 4th ed., III-B (data and results from memory, recomputed and equal).
"""

import pytest

from inspection.acts.studies import analysis_of, open_study, opened, record_values
from inspection.models import Study
from inspection.study_kinds.registry import KINDS
from shop.clock import now
from shop.finding import Refused
from shop.wording import worded
from tests.inspection.study_kinds import examples
from tests.inspection.study_kinds.conftest import fact


def refusal(act, *given, **named):
    with pytest.raises(Refused) as error:
        act(*given, **named)
    return [worded(finding).sentence for finding in error.value.findings]


def table(analysis, caption):
    return next(table for section in analysis.sections for table in section.tables if table.caption == caption)


# --- Repeatability and reproducibility ------------------------------------------------------------------------------------------


def test_average_and_range_gives_the_published_percentages(answer):
    analysis = answer(examples.repeatability(method="range"))

    assert fact(analysis, "Of the study variation").value == "26.7"
    assert fact(analysis, "Of the study variation").word == "conditional"
    assert fact(analysis, "Categories told apart").value == "5"
    assert (analysis.outcome, analysis.word) == ("undecided", "conditional: measured by its share of the study variation")
    shares = {row[0]: row[2] for row in table(analysis, "Shares").rows}
    assert shares["Repeatability (equipment)"] == "17.6"
    assert shares["Appraiser"] == "20.0"
    assert shares["Part"] == "96.4"
    published = {"equipment": 0.20188, "appraiser": 0.22963, "gauge": 0.30575, "part": 1.10456, "total": 1.14610}
    for name, sigma in published.items():
        assert float(analysis.content["components"][name]["sigma"]) == pytest.approx(sigma, abs=1e-4)


def test_analysis_of_variance_pools_an_interaction_that_is_not_significant_and_says_so(answer):
    analysis = answer(examples.repeatability())

    assert analysis.content["interaction_pooled"] is True
    captions = [table.caption for section in analysis.sections for table in section.tables]
    assert "Analysis of variance, interaction pooled with equipment" in captions
    notes = " ".join(note for section in analysis.sections for note in section.notes)
    assert "pooled with equipment" in notes
    rows = {row["from"]: row for row in analysis.content["anova"]}
    assert sum(row["df"] for name, row in rows.items() if name != "total") == rows["total"]["df"] == 89
    # The answer follows from the table: EV² is the pooled mean square, PV² = (MS part - MS equipment)/(appraisers × trials).
    pooled = {row["from"]: float(row["ms"]) for row in analysis.content["anova_pooled"] if row["ms"]}
    assert float(analysis.content["components"]["equipment"]["variance"]) == pytest.approx(pooled["equipment"])
    assert float(analysis.content["components"]["part"]["variance"]) == pytest.approx((pooled["part"] - pooled["equipment"]) / 9)


def test_interaction_counts_on_its_own_where_alpha_is_high_enough(answer):
    analysis = answer(examples.repeatability(alpha="0.5"))
    pooled = analysis.content["interaction_pooled"]
    assert pooled is (float(analysis.content["interaction_p"]) > 0.5)
    assert ("part by appraiser" in analysis.content["components"]) is not pooled


@pytest.mark.parametrize(
    ("yardstick", "label", "name"),
    [
        ({"tolerance": "8"}, "Of the tolerance", "percent_tolerance"),
        ({"one_limit": "-4"}, "Of the way to the limit", "percent_one_limit"),
        ({"process_sigma": "1.2"}, "Of the process", "percent_process"),
    ],
)
def test_yardstick_that_is_given_is_shown_and_signed(answer, yardstick, label, name):
    analysis = answer(examples.repeatability(**yardstick))

    shown, gauge = fact(analysis, label), analysis.content["components"]["gauge"]
    assert float(shown.value) == pytest.approx(float(gauge[name]), abs=0.05)
    sigma = float(gauge["sigma"])
    mean = sum(float(text) for text in analysis.content["part_means"]) / 10
    wanted = {"percent_tolerance": 6 * sigma / 8, "percent_one_limit": 3 * sigma / (mean + 4), "percent_process": sigma / 1.2}
    assert float(gauge[name]) == pytest.approx(100 * wanted[name])


def test_tolerance_and_single_limit_together_are_refused_when_the_study_is_opened(run):
    (sentence,) = refusal(run, examples.repeatability(tolerance="2", one_limit="1"))
    assert "either the tolerance or the one limit" in sentence
    assert not Study.objects.exists()


def test_name_with_the_sign_that_parts_places_is_refused(run):
    (sentence,) = refusal(run, examples.repeatability(appraisers="A|1\nB"))
    assert "A|1" in sentence


def test_one_appraiser_has_no_reproducibility_and_the_study_says_so(run, cast, catalogue):
    example = examples.repeatability(appraisers="A")
    only = examples.Example(example.kind, example.set_up, {p: v for p, v in example.values.items() if p.startswith("A|")})
    analysis = analysis_of(opened(run(only)))
    assert "appraiser" not in analysis.content["components"]
    assert "says nothing about reproducibility" in " ".join(note for s in analysis.sections for note in s.notes)


def test_estimate_below_zero_counts_as_zero_and_is_named(answer):
    example = examples.repeatability(parts="3", appraisers="A\nB", trials="2", method="range")
    # Equal means of both appraisers, parts that differ: the appraisers' variance comes out below zero.
    values = {}
    for part, middle in (("1", 2.0), ("2", 2.4), ("3", 2.8)):
        for person, sign in (("A", 1), ("B", -1)):
            values[f"{person}|{part}|1"], values[f"{person}|{part}|2"] = f"{middle + 0.05 * sign:.2f}", f"{middle - 0.05 * sign:.2f}"
    analysis = answer(examples.Example(example.kind, example.set_up, values))
    appraiser = analysis.content["components"]["appraiser"]
    assert (appraiser["set_to_zero"], float(appraiser["variance"])) == (True, 0.0)
    assert float(appraiser["estimate"]) < 0
    assert any(row[0] == "Appraiser (set to 0)" for row in table(analysis, "Components of variation").rows)
    assert any("below zero" in note for section in analysis.sections for note in section.notes)


def test_parts_and_readings_that_do_not_differ_at_all_are_not_judged(answer):
    example = examples.repeatability(parts="2", trials="2")
    values = {f"{p}|{n}|{t}": "1.40" for p in "ABC" for n in (1, 2) for t in (1, 2)}
    analysis = answer(examples.Example(example.kind, example.set_up, values))
    assert analysis.outcome == "undecided"
    assert fact(analysis, "Categories told apart").value == "–"


# --- Bias and linearity ----------------------------------------------------------------------------------------------------------


def test_bias_study_gives_the_published_figures(answer):
    analysis = answer(examples.bias())

    assert (analysis.outcome, analysis.word) == ("conforms", "no bias is shown")
    by_range = analysis.content["by_range"]
    assert float(by_range["value"]) == pytest.approx(0.0067, abs=5e-5)
    assert float(by_range["standard_error"]) == pytest.approx(0.05813, abs=5e-5)
    assert float(by_range["df"]) == 10.8
    assert [float(end) for end in by_range["interval"]] == pytest.approx([-0.1215, 0.1349], abs=1e-4)
    # Printed from figures rounded in between.
    assert [float(end) for end in analysis.content["range_interval_d2_ratio"]] == pytest.approx([-0.1185, 0.1319], abs=1.5e-4)
    assert fact(analysis, "Standard deviation").value == "0.212"


def test_bias_that_is_there_is_told(answer):
    analysis = answer(examples.bias(reference="5.5", process_sigma="2.5"))
    assert (analysis.outcome, fact(analysis, "Bias").word) == ("does not conform", "differs from zero")
    assert fact(analysis, "Repeatability of the process").value == "8.5"


def test_linearity_study_gives_the_published_line(answer):
    analysis = answer(examples.linearity())

    assert analysis.outcome == "does not conform"
    assert "linearity problem" in analysis.word
    content = analysis.content
    assert float(content["slope"]["value"]) == pytest.approx(-0.131667, abs=1e-6)
    assert float(content["intercept"]["value"]) == pytest.approx(0.736667, abs=1e-6)
    assert float(content["slope"]["t"]) == pytest.approx(-12.04, abs=0.005)
    assert float(content["r_squared"]) == pytest.approx(0.7143, abs=5e-5)
    assert float(content["s"]) == pytest.approx(0.23954, abs=5e-6)
    assert [float(part["mean_bias"]) for part in content["references"]] == pytest.approx(
        [0.4917, 0.1250, 0.0250, -0.2917, -0.6167], abs=1e-4
    )
    assert fact(analysis, "Mean bias").value == "-0.05333"


@pytest.mark.parametrize(("lines", "expected"), [("2\nfour", "four"), ("2\n2.0", "each value once")])
def test_reference_values_that_cannot_be_read_are_refused_line_by_line(run, lines, expected):
    sentences = refusal(run, examples.linearity(references=lines))
    assert len(sentences) == 1
    assert expected in sentences[0]


# --- Stability -------------------------------------------------------------------------------------------------------------------


def test_steady_master_is_stable_and_drifting_one_is_not(answer):
    steady, drifting = answer(examples.stability()), answer(examples.stability(drift=0.0004))

    assert (steady.outcome, fact(steady, "Drift").word) == ("conforms", "no drift shown")
    assert (drifting.outcome, fact(drifting, "Drift").word) == ("does not conform", "drifts")
    assert "a drift" in drifting.word
    # 0.0004 mm every three days
    assert float(drifting.content["drift_per_day"]["value"]) == pytest.approx(0.0004 / 3, rel=0.05)


def test_stability_answers_before_every_planned_check_was_made(answer):
    analysis = answer(examples.stability(checks=5))
    assert fact(analysis, "Checks").value == "5"
    assert any("Fewer than 20 checks" in note for section in analysis.sections for note in section.notes)


def test_limits_of_an_earlier_study_are_taken_all_or_none(run, answer):
    limits = {"low": "1.9995", "center": "2.0000", "high": "2.0005", "range_high": "0.010"}
    analysis = answer(examples.stability(**limits))
    assert analysis.content["limits_given"] is True
    assert (float(analysis.content["low"]), float(analysis.content["range_high"])) == (1.9995, 0.01)
    assert fact(analysis, "Means beyond the limits").outcome == "does not conform"
    (sentence,) = refusal(run, examples.stability(**(limits | {"range_high": ""})))
    assert "all four" in sentence
    assert refusal(run, examples.stability(**(limits | {"low": "2.01"})))


@pytest.mark.parametrize(
    ("changed", "told"),
    [
        ({"7|2": ""}, "Check 7 is half entered."),
        ({"7|day": "", "7|1": "", "7|2": "", "7|3": ""}, "Check 7 is empty and check 8 is not."),
        ({"7|day": "2026-01-01"}, "Check 7 lies before the one above it."),
    ],
)
def test_checks_that_do_not_follow_each_other_are_refused_in_words(run, changed, told):
    example = examples.stability()
    values = {place: text for place, text in (example.values | changed).items() if text}
    study = run(examples.Example(example.kind, example.set_up, values))
    (sentence,) = refusal(analysis_of, opened(study))
    assert told in sentence


def test_day_that_is_none_is_refused_at_its_place(cast, catalogue):
    example = examples.stability()
    study = open_study(kind="stability", title="x", set_up=example.set_up, gauge=catalogue.micrometer, by=cast.quality, at=now())
    with pytest.raises(Refused) as error:
        record_values(study=study, values={"1|day": "31.3.2026", "1|1": "2.0"}, by=cast.inspector, at=now())
    (finding,) = error.value.findings
    assert (finding.rule, finding.field) == ("study.value", "1|day")


# --- Nested ----------------------------------------------------------------------------------------------------------------------


def test_destructive_study_says_what_it_assumes_and_follows_its_table(answer):
    analysis = answer(examples.pull_tester())

    assert "alike" in analysis.sections[0].intro
    assert analysis.content["assumption"] == "homogeneous batches"
    rows = {row["from"]: row for row in analysis.content["anova"]}
    assert [rows[name]["df"] for name in ("appraiser", "part", "equipment", "total")] == [2, 12, 45, 59]
    ms = {name: float(row["ms"]) for name, row in rows.items() if row["ms"]}
    components = analysis.content["components"]
    assert float(components["part"]["estimate"]) == pytest.approx((ms["part"] - ms["equipment"]) / 4)
    assert float(components["appraiser"]["estimate"]) == pytest.approx((ms["appraiser"] - ms["part"]) / 20)
    assert components["appraiser"]["set_to_zero"] == (ms["appraiser"] < ms["part"])
    assert fact(analysis, "Of the way to the limit").outcome


def test_interval_of_the_whole_is_no_lower_than_that_of_its_part_where_another_was_set_to_zero(answer):
    components = answer(examples.pull_tester()).content["components"]
    assert components["appraiser"]["set_to_zero"]
    of_gauge, of_equipment = ([float(end) for end in components[name]["sigma_interval"]] for name in ("gauge", "equipment"))
    assert of_gauge[0] >= of_equipment[0] > 0
    assert of_gauge[1] >= of_equipment[1]


# --- ISO 22514-7 -----------------------------------------------------------------------------------------------------------------


def test_measuring_system_is_held_against_the_tolerance_and_not_mixed_with_cg(answer):
    analysis = answer(examples.measuring_system())

    content = analysis.content
    system, process = content["system"], content["process"]
    # u² = (U/2)² + (|bias|/√3)² + the larger of s² and resolution²/12
    s, bias, resolution = float(content["s"]), float(content["bias"]), 0.001
    u2 = 0.0005**2 + bias**2 / 3 + max(s**2, resolution**2 / 12)
    assert float(system["u"]) == pytest.approx(u2**0.5)
    assert float(system["q_percent"]) == pytest.approx(100 * 4 * u2**0.5 / 0.10)
    assert float(process["u"]) == pytest.approx((0.0005**2 + bias**2 / 3 + 0.0015**2 + 0.002**2) ** 0.5)
    assert analysis.outcome == "conforms"
    assert {"cg", "cgk"}.isdisjoint(content)


def test_process_is_judged_only_where_something_of_it_is_given(answer):
    analysis = answer(examples.measuring_system(process_repeatability="", process_reproducibility=""))
    assert analysis.content["process"] == {}
    assert "not asked about" in analysis.word
    narrow = answer(examples.measuring_system(tolerance="0.02"))
    assert narrow.outcome == "does not conform"


# --- Every kind of gauge study ---------------------------------------------------------------------------------------------------


def test_gauge_kinds_name_a_gauge_and_are_found_by_their_address():
    for slug in ("repeatability", "pull-tester", "bias", "linearity", "stability", "measuring-system", "uncertainty"):
        assert "gauge" in KINDS[slug].needs
