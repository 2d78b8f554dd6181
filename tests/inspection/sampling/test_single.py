"""Plans from the tables: what holds for every lot, level, AQL and severity."""

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inspection.sampling.single import (
    Cell,
    Level,
    NotInTable,
    Severity,
    ac_one_step_tighter,
    aqls,
    code_letter,
    lot_ranges,
    master_table,
    plan_for,
    read_aql,
)

lots = st.integers(2, 2_000_000)
levels, severities, any_aql = st.sampled_from(Level), st.sampled_from(Severity), st.sampled_from(aqls())


@given(lots, levels, any_aql, severities)
def test_plan_of_any_lot_is_a_plan_of_its_table(lot, level, aql, severity):
    plan = plan_for(lot, level, aql, severity)
    assert plan.n == min(plan.table_n, lot)
    assert plan.whole_lot is (plan.table_n >= lot)
    assert 0 <= plan.ac < plan.re
    used = master_table(severity).get((plan.plan_letter, aql))
    assert used is not None
    assert (used.n, used.ac, used.re, used.cell) == (plan.table_n, plan.ac, plan.re, Cell.PLAN)
    assert severity is Severity.REDUCED or plan.re == plan.ac + 1


@given(lots, lots, levels)
def test_code_letter_never_falls_as_the_lot_grows(one, other, level):
    small, large = sorted((one, other))
    assert code_letter(small, level) <= code_letter(large, level)


@given(lots, any_aql)
def test_special_levels_look_at_no_more_than_general_ones(lot, aql):
    letters = [code_letter(lot, level) for level in Level]
    assert letters == sorted(letters)


@given(st.sampled_from([key for key, row in master_table(Severity.NORMAL).items() if row.cell is Cell.PLAN]))
def test_looser_aql_accepts_more_with_the_same_letter(key):
    letter, aql = key
    table = master_table(Severity.NORMAL)
    following = [table[letter, one].ac for one in aqls() if one >= aql and table[letter, one].cell is Cell.PLAN]
    assert following == sorted(following)
    assert len(set(following)) == len(following)


@pytest.mark.parametrize(
    ("lot", "level", "letter"),
    [(2, "I", "A"), (8, "III", "B"), (9, "III", "C"), (150, "II", "F"), (151, "II", "G"), (500_000, "III", "Q"), (500_001, "III", "R")],
)
def test_code_letter_at_the_edges_of_a_range(lot, level, letter):
    assert code_letter(lot, level) == letter


def test_arrow_changes_sample_size_and_numbers():
    down = plan_for(1000, "II", "0.040")
    assert (down.code_letter, down.cell, down.plan_letter, down.n, down.ac) == ("J", Cell.DOWN, "M", 315, 0)
    up = plan_for(1000, "II", "0.25")
    assert (up.cell, up.plan_letter, up.n, up.ac, up.re) == (Cell.UP, "H", 50, 0, 1)


def test_lot_smaller_than_the_sample_is_looked_at_whole():
    plan = plan_for(100, "II", "0.065")
    assert (plan.table_n, plan.n, plan.whole_lot, plan.ac) == (200, 100, True, 0)


def test_reduced_plan_accepts_between_its_numbers_and_is_not_called_iso():
    plan = plan_for(1000, "II", "2.5", "reduced")
    assert (plan.n, plan.ac, plan.re, plan.most_accepted) == (32, 2, 5, 4)
    assert "MIL-STD-105E" in plan.source
    assert "ISO" not in plan.source


def test_aql_above_ten_counts_nonconformities_only():
    assert plan_for(1000, "II", 10).percent
    assert not plan_for(1000, "II", 15).percent


@pytest.mark.parametrize("lot", [1, 0, -5, 2.5, True])
def test_lot_that_table_one_does_not_have_is_refused(lot):
    with pytest.raises(NotInTable, match="lot size"):
        plan_for(lot, "II", "1.0")


@pytest.mark.parametrize(
    ("level", "aql", "severity"),
    [("IV", "1.0", "normal"), ("II", "1.2", "normal"), ("II", "x", "normal"), ("II", "NaN", "normal"), ("II", "1.0", "loose")],
)
def test_unknown_level_aql_or_severity_is_refused(level, aql, severity):
    with pytest.raises(NotInTable):
        plan_for(100, level, aql, severity)


@pytest.mark.parametrize("text", ["1", "1.0", 1, 1.0, Decimal("1.00")])
def test_aql_is_read_however_it_is_written(text):
    assert read_aql(text) == 1
    assert plan_for(1000, "II", text).aql == 1


def test_next_tighter_acceptance_number_stands_at_the_left():
    assert ac_one_step_tighter(plan_for(1000, "II", "1.5")) == 2
    assert ac_one_step_tighter(plan_for(1000, "II", "0.65")) is None


@given(lots, any_aql)
def test_next_tighter_acceptance_number_is_smaller(lot, aql):
    plan = plan_for(lot, "II", aql)
    tighter = ac_one_step_tighter(plan)
    assert (tighter is not None) is (plan.ac >= 2)
    assert tighter is None or 1 <= tighter < plan.ac


def test_ranges_of_lots_follow_one_another_without_a_gap():
    ranges = lot_ranges()
    assert ranges[0][0] == 2
    assert [low for low, _high in ranges[1:]] == [high + 1 for _low, high in ranges[:-1]]
    assert ranges[-1][1] is None
