"""Agreement of inspectors: the published pairs, rates against known answers, what cannot be computed."""

import pytest

from inspection.acts.studies import analysis_of, opened
from tests.inspection.study_kinds import examples
from tests.inspection.study_kinds.conftest import fact

# AIAG, Measurement Systems Analysis, 4th ed., III-C: counts (both reject, first only rejects, second only rejects, both accept) from
# memory; the rounded answers published.
PAIRS = [((44, 6, 3, 97), 0.86), ((42, 5, 9, 94), 0.79), ((43, 7, 8, 92), 0.78)]


def paired(counts):
    """Two people, one trial, 150 pieces, with these counts."""
    both_reject, first, second, both_accept = counts
    calls = [("reject", "reject")] * both_reject + [("reject", "accept")] * first + [("accept", "reject")] * second
    calls += [("accept", "accept")] * both_accept
    set_up = {"criterion": "Strands damaged", "appraisers": "First\nSecond", "items": str(len(calls)), "trials": "1", "known": ""}
    values = {
        f"{who}|{item}|1": call for item, pair in enumerate(calls, start=1) for who, call in zip(("First", "Second"), pair, strict=True)
    }
    return examples.Example("inspectors", set_up, values, gauge="")


@pytest.mark.parametrize(("counts", "kappa"), PAIRS)
def test_kappa_of_a_pair_agrees_with_the_published_one(answer, counts, kappa):
    analysis = answer(paired(counts))

    (pair,) = analysis.content["pairs"]
    both_reject, first_rejects, second_rejects, both_accept = counts
    assert (pair["both_accept"], pair["both_reject"]) == (both_accept, both_reject)
    assert (pair["first_accepts"], pair["second_accepts"]) == (second_rejects, first_rejects)
    assert round(float(pair["kappa"]["kappa"]), 2) == kappa
    low, high = (float(end) for end in pair["kappa"]["interval"])
    assert low < kappa < high
    assert analysis.outcome == "conforms"
    assert "right answers are not known" in analysis.word


def test_rates_are_counted_against_the_right_answers(answer):
    analysis = answer(examples.inspectors())

    berger, conti, duval = analysis.content["inspectors"]
    # 6 of 20 pieces are bad: 12 calls of them, 28 of the good ones.
    assert (berger["effectiveness"]["count"], berger["miss"]["count"], berger["false_alarm"]["count"]) == (20, 0, 0)
    assert (conti["effectiveness"]["count"], conti["miss"]["count"], conti["miss"]["of"]) == (19, 1, 12)
    assert (duval["effectiveness"]["count"], duval["false_alarm"]["count"], duval["false_alarm"]["of"]) == (18, 2, 28)
    assert float(berger["against_reference"]["kappa"]) == 1.0
    assert fact(analysis, "Conti").outcome == "does not conform"  # 1 of 12 missed is above 5 %
    assert (analysis.outcome, analysis.word) == ("does not conform", "not acceptable: Conti")


def test_disputed_pieces_are_listed_with_what_was_called(answer):
    analysis = answer(examples.inspectors())
    assert analysis.content["disputed"] == [4, 9, 10]
    (listed,) = analysis.sections[-1].tables
    assert [row[0] for row in listed.rows] == ["4", "9", "10"]
    assert listed.rows[1] == ("9", "reject", "reject  reject", "reject  accept", "reject  reject")


def test_piece_that_all_call_wrong_is_listed_though_nobody_disputes_it(answer):
    example = examples.inspectors()
    values = example.values | {f"{who}|1|{trial}": "reject" for who in ("Berger", "Conti", "Duval") for trial in (1, 2)}
    analysis = answer(examples.Example(example.kind, example.set_up, values, gauge=""))
    assert 1 not in analysis.content["disputed"]
    assert "1" in [row[0] for row in analysis.sections[-1].tables[0].rows]


def test_without_right_answers_there_are_no_rates(answer):
    analysis = answer(examples.inspectors(known=False))
    assert analysis.content["inspectors"][0]["miss"] == {}
    assert "Right answer" not in [column.label for column in analysis.sections[-1].tables[0].columns]


def test_calls_that_are_all_the_same_are_not_called_perfect(answer):
    example = examples.inspectors(known=False)
    analysis = answer(examples.Example(example.kind, example.set_up, dict.fromkeys(example.values, "accept"), gauge=""))
    assert analysis.outcome == "undecided"
    assert fact(analysis, "Kappa (Fleiss) over all calls").value == "not computable"


def test_right_answers_stand_in_the_layout_only_where_they_are_known(run):
    known, unknown = run(examples.inspectors()), run(examples.inspectors(known=False))
    assert any(place.startswith("reference|") for place in opened(known).layout.places)
    assert not any(place.startswith("reference|") for place in opened(unknown).layout.places)
    assert analysis_of(opened(known)).content["all_correct"]
    assert not analysis_of(opened(unknown)).content["all_correct"]
