import numpy as np
import pytest
from scipy import stats

from inspection.process.chart import ChartLimits, Kind, NotControlLimits
from inspection.process.charts import individuals_chart, xbar_s_chart
from inspection.process.phase import apply
from inspection.process.readings import NoSpread
from inspection.process.run_rules import chart_signals, nelson
from inspection.process.short_run import PartTooFew, UnknownPart, part_sigmas, short_run_chart, spreads_differ
from inspection.spc import TooFew

NOMINALS = {"A": 1.40, "B": 1.85}
VALUES = [1.41, 1.40, 1.87, 1.84, 1.39, 1.42, 1.86]
PARTS = ["A", "A", "B", "B", "A", "A", "B"]


def test_parts_share_one_chart_of_deviations():
    chart = short_run_chart(VALUES, PARTS, NOMINALS)
    away = [0.01, 0.0, 0.02, -0.01, -0.01, 0.02, 0.01]
    assert chart.location.points == pytest.approx(away, abs=1e-12)
    plain = individuals_chart(away)
    assert chart.limits.center == pytest.approx(plain.limits.center)
    assert chart.location.high == pytest.approx(plain.location.high)
    assert (chart.location.name, chart.limits.standardised) == ("deviation", False)


def test_standardised_chart_puts_unlike_parts_on_one_scale():
    draw = np.random.default_rng(1)
    fine, coarse = draw.normal(1.40, 0.005, 40), draw.normal(1.85, 0.05, 40)
    values = np.concatenate((fine, coarse))
    parts = ["A"] * 40 + ["B"] * 40
    assert not spreads_differ(values, parts).alike
    sigmas = part_sigmas(values, parts)
    assert sigmas == pytest.approx({"A": 0.005, "B": 0.05}, rel=0.4)
    chart = short_run_chart(values, parts, NOMINALS, sigmas=sigmas)
    assert chart.limits.standardised
    assert chart.limits.sigma == pytest.approx(1, rel=0.1)
    # A jump that the fine part never makes is lost among plain deviations and seen among standardised ones.
    jump = [1.43]
    seen = apply(chart.limits, jump, parts=["A"])
    plain = apply(short_run_chart(values, parts, NOMINALS).limits, jump, parts=["A"])
    assert [len(found) for found in chart_signals(seen, nelson(1))[0]] == [1]
    assert [len(found) for found in chart_signals(plain, nelson(1))[0]] == [0]


def test_subgroups_of_several_parts_share_a_chart():
    groups = [[1.41, 1.40, 1.39], [1.86, 1.85, 1.88], [1.40, 1.42, 1.41]]
    chart = short_run_chart(groups, ["A", "B", "A"], NOMINALS, kind=Kind.XBAR_S)
    shifted = xbar_s_chart([[x - NOMINALS[p] for x in group] for group, p in zip(groups, "ABA", strict=True)])
    assert chart.location.points == pytest.approx(shifted.location.points, abs=1e-12)
    assert chart.spread.high == pytest.approx(shifted.spread.high)


def test_frozen_chart_knows_its_parts_and_refuses_others():
    limits = ChartLimits.from_text(short_run_chart(VALUES, PARTS, NOMINALS).limits.as_text())
    assert apply(limits, [1.86], parts=["B"]).location.points == pytest.approx([0.01])
    with pytest.raises(UnknownPart) as unknown:
        apply(limits, [1.0], parts=["C"])
    assert unknown.value.part == "C"
    with pytest.raises(NotControlLimits):
        apply(limits, [1.0])
    with pytest.raises(NotControlLimits):
        short_run_chart([1.4], ["A"], limits=individuals_chart([1.4, 1.5]).limits)


def test_test_of_spreads_agrees_with_scipy():
    draw = np.random.default_rng(2)
    sets = [draw.normal(i, 1 + i / 3, 12 + i) for i in range(4)]
    ours = spreads_differ(np.concatenate(sets), [str(i) for i, values in enumerate(sets) for _ in values])
    theirs = stats.levene(*sets, center="median")
    assert (ours.statistic, ours.p_value) == pytest.approx((theirs.statistic, theirs.pvalue), rel=1e-10)
    assert ours.degrees == (3, 12 + 13 + 14 + 15 - 4)


def test_parts_too_few_or_without_spread_are_named():
    with pytest.raises(PartTooFew) as few:
        part_sigmas([1.4, 1.41, 1.85], ["A", "A", "B"])
    assert (few.value.part, few.value.needed, few.value.given) == ("B", 2, 1)
    with pytest.raises(NoSpread):
        part_sigmas([1.4, 1.4], ["A", "A"])
    with pytest.raises(TooFew):
        spreads_differ([1.4, 1.5], ["A", "A"])
    with pytest.raises(UnknownPart):
        short_run_chart([1.4, 1.5], ["A", "C"], NOMINALS)
