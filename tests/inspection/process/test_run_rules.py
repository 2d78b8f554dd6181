from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from inspection.process.attributes import np_chart, p_chart
from inspection.process.charts import individuals_chart, xbar_r_chart
from inspection.process.run_rules import (
    applies,
    chart_signals,
    nelson,
    rules_as_text,
    rules_from_text,
    signals,
    standard_panel,
    western_electric,
)

# Quarter sigmas: many points on lines, and many equal neighbours.
coarse = st.integers(-14, 14).map(lambda x: x / 4)
sequences = st.lists(coarse, min_size=1, max_size=60)
EVERY = nelson() + western_electric()


def by_hand(values):
    """The rules, read from their definitions one point at a time."""
    found = {rule.code: {} for rule in EVERY}

    def note(code, at, run):
        found[code][at] = tuple(run)

    for i in range(len(values)):

        def last(count, i=i):
            return values[i - count + 1 : i + 1] if i - count + 1 >= 0 else None

        if abs(values[i]) > 3:
            note("nelson.1", i, [i])
            note("western.1", i, [i])
        for code, count in (("nelson.2", 9), ("western.4", 8)):
            if (run := last(count)) and (all(x > 0 for x in run) or all(x < 0 for x in run)):
                note(code, i, range(i - count + 1, i + 1))
        if run := last(6):
            steps = [b - a for a, b in pairwise(run)]
            if all(s > 0 for s in steps) or all(s < 0 for s in steps):
                note("nelson.3", i, range(i - 5, i + 1))
        if run := last(14):
            steps = [b - a for a, b in pairwise(run)]
            if all(a * b < 0 for a, b in pairwise(steps)):
                note("nelson.4", i, range(i - 13, i + 1))
        for codes, count, of, line in ((("nelson.5", "western.2"), 2, 3, 2), (("nelson.6", "western.3"), 4, 5, 1)):
            for sign in (1, -1):
                beyond = [j for j in range(max(i - of + 1, 0), i + 1) if sign * values[j] > line]
                if len(beyond) >= count and i in beyond:
                    for code in codes:
                        note(code, i, beyond)
        if (run := last(15)) and all(abs(x) <= 1 for x in run):
            note("nelson.7", i, range(i - 14, i + 1))
        if (run := last(8)) and all(abs(x) > 1 for x in run):
            note("nelson.8", i, range(i - 7, i + 1))
    return found


@given(
    sequences
    | st.lists(st.sampled_from([-1.0, -0.5, 0.0, 0.5, 1.0]), min_size=14, max_size=60)
    | st.lists(coarse.map(abs), max_size=40, min_size=1)
)
def test_rules_agree_with_their_definitions(values):
    expected = by_hand(values)
    for found in signals(standard_panel(values), EVERY):
        assert {int(at): found.run(int(at)) for at in found.at} == expected[found.rule.code]


@given(sequences, st.integers(1, 70))
def test_newest_points_signal_as_in_the_whole_chart(values, newest):
    panel = standard_panel(values)
    whole, live = signals(panel, EVERY), signals(panel, EVERY, newest=newest)
    for every, last in zip(whole, live, strict=True):
        assert list(last.at) == [at for at in every.at if at >= len(values) - newest]
        assert last.runs() == tuple(every.run(int(at)) for at in last.at)


@given(sequences)
def test_mirrored_points_signal_alike(values):
    here, there = signals(standard_panel(values), EVERY), signals(standard_panel([-x for x in values]), EVERY)
    assert [list(found.at) for found in here] == [list(found.at) for found in there]


@given(st.lists(coarse, min_size=16, max_size=40), st.integers(-50, 50), st.sampled_from([0.25, 0.5, 2.0, 8.0]))
def test_signals_do_not_depend_on_unit_or_origin(values, shift, factor):
    here = chart_signals(individuals_chart(values), EVERY)
    there = chart_signals(individuals_chart([x * factor + shift for x in values]), EVERY)
    assert [[list(found.at) for found in row] for row in here] == [[list(found.at) for found in row] for row in there]


def test_point_on_a_line_is_not_beyond_it():
    assert [len(found) for found in signals(standard_panel([3.0, -3.0]), nelson(1))] == [0]
    assert [len(found) for found in signals(standard_panel([2.0, 2.0, 2.0]), nelson(5))] == [0]


def test_lengths_are_settings_of_a_chart():
    rising = standard_panel([-1.5, -1, -0.5, 0.2, 0.6, 1.2, 1.7])
    assert [list(found.at) for found in signals(rising, nelson(3, trend=7))] == [[6]]
    assert [list(found.at) for found in signals(rising, nelson(3))] == [[5, 6]]
    assert [list(found.at) for found in signals(standard_panel([0.5] * 7), nelson(2, side=7))] == [[6]]
    assert [list(found.at) for found in signals(standard_panel([0.5] * 7), western_electric(4))] == [[]]


def test_each_rule_is_switched_alone():
    panel = standard_panel([3.2] * 9)
    assert [found.rule.code for found in signals(panel, nelson(2) + western_electric(1))] == ["nelson.2", "western.1"]
    assert [len(found) for found in signals(panel, nelson(2) + western_electric(1))] == [1, 9]
    with pytest.raises(ValueError, match="9"):
        nelson(9)
    with pytest.raises(ValueError, match="no run"):
        nelson(trend=1)


def test_rules_that_mean_nothing_on_a_panel_are_not_asked():
    groups = np.random.default_rng(1).normal(size=(60, 4))
    chart = xbar_r_chart(groups)
    on_ranges = {rule.code for rule in EVERY if applies(rule, chart.spread)}
    assert on_ranges == {"nelson.1", "nelson.2", "nelson.3", "nelson.4", "western.1", "western.4"}
    assert all(applies(rule, chart.location) for rule in EVERY)
    moving = individuals_chart(groups.ravel()).spread
    assert {rule.code for rule in EVERY if applies(rule, moving)} == {"nelson.1", "western.1"}
    found = [each for each in signals(moving, EVERY) if not each.applies]
    assert (len(found), sum(len(each) for each in found)) == (10, 0)


def test_shares_of_unequal_samples_are_judged_in_their_own_sigma():
    # The same share is far out for a large sample and ordinary for a small one.
    inspected = [400, 25, 400, 25, 400, 400, 400, 25]
    counts = [40, 3, 40, 5, 80, 40, 42, 2]
    chart = p_chart(counts, inspected)
    ((found,),) = chart_signals(chart, nelson(1))
    assert list(found.at) == [4]
    assert chart.location.points[3] == chart.location.points[4] == 0.2
    # A count of pieces rises with the sample; in its own sigma nothing does.
    sizes = [100, 200, 300, 400, 500, 600, 700, 800]
    steady = np_chart([10, 20, 30, 40, 50, 60, 70, 80], sizes)
    assert [len(each) for row in chart_signals(steady, nelson(1, 2, 3)) for each in row] == [0, 0, 0]


def test_rules_of_a_chart_are_kept_as_text():
    rules = nelson(1, 2, 5, side=7, outer=(3, 4)) + western_electric(4)
    assert rules_from_text(rules_as_text(rules)) == rules
    assert rules_as_text(nelson(2, side=7)) == ["nelson.2 7/7"]
    for wrong in ("nelson.9 1/1", "nelson.2", "nelson.2 9", "nelson.2 x/9", "nelson.5 4/3"):
        with pytest.raises(ValueError, match=r"."):
            rules_from_text([wrong])
