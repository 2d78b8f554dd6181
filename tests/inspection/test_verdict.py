from decimal import Decimal

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from inspection.verdict import (
    Limits,
    NotJudgeable,
    NotLimits,
    Outcome,
    Plausibility,
    Plausible,
    implausible,
    judge,
    judge_pull,
    misread,
    overall,
    parse_reading,
    plausibility,
)
from inspection.verdict_rules import VERDICT_RULES
from shop.criteria import VISUAL_CRITERIA, criteria_for
from shop.finding import Verdict
from shop.quantity import NotAQuantity
from shop.wording import worded

HEIGHT = Limits(Decimal("1.35"), Decimal("1.45"), Decimal("1.40"))
PULL = Limits(Decimal("89.0"), None)
GOOD, BAD, OPEN = Outcome.CONFORMS, Outcome.DOES_NOT_CONFORM, Outcome.UNDECIDED

numbers = st.decimals("-100", "100", places=4)


@pytest.mark.parametrize(
    ("value", "guard", "outcome"),
    [
        ("1.35", "0", GOOD),
        ("1.45", "0", GOOD),
        ("1.4501", "0", BAD),
        ("1.3499", "0", BAD),
        ("1.44", "0.01", GOOD),
        ("1.4401", "0.01", OPEN),
        ("1.45", "0.01", OPEN),
        ("1.46", "0.01", OPEN),
        ("1.4601", "0.01", BAD),
        ("1.36", "0.01", GOOD),
        ("1.34", "0.01", OPEN),
        ("1.3399", "0.01", BAD),
        ("1.40", "0.06", OPEN),
    ],
)
def test_value_is_judged_with_its_guard_band(value, guard, outcome):
    assert judge(Decimal(value), HEIGHT, Decimal(guard)) is outcome


def test_one_limit_judges_its_own_side_only():
    assert judge(Decimal("1E+9"), PULL) is GOOD
    assert judge(Decimal("0.05"), Limits(None, Decimal("0.05"))) is GOOD
    assert judge(Decimal("0.051"), Limits(None, Decimal("0.05"))) is BAD


@given(numbers, numbers, numbers)
def test_without_a_guard_band_nothing_stays_open(value, one, other):
    low, high = sorted((one, other))
    assert (judge(value, Limits(low, high)) is GOOD) == (low <= value <= high)
    assert judge(value, Limits(low, high)) is not OPEN


@given(numbers, numbers, numbers, st.decimals("0", "5", places=4), st.decimals("0", "5", places=4))
def test_wider_guard_band_never_accepts_or_rejects_more(value, one, other, guard, more):
    limits = Limits(min(one, other), max(one, other))
    narrow, wide = judge(value, limits, guard), judge(value, limits, guard + more)
    assert wide in (narrow, OPEN)


@given(numbers, numbers, numbers, st.decimals("0", "5", places=4))
def test_verdict_is_the_same_seen_from_the_other_side(value, one, other, guard):
    low, high = min(one, other), max(one, other)
    assert judge(value, Limits(low, high), guard) is judge(-value, Limits(-high, -low), guard)


@pytest.mark.parametrize("value", ["NaN", "Infinity", "-Infinity", "sNaN"])
def test_value_that_is_no_number_never_reaches_a_verdict(value):
    with pytest.raises(NotJudgeable):
        judge(Decimal(value), HEIGHT)
    with pytest.raises(NotJudgeable):
        plausibility(Decimal(value), HEIGHT)
    with pytest.raises(NotJudgeable):
        judge(Decimal("1.4"), HEIGHT, Decimal(value))


def test_negative_guard_band_is_refused():
    with pytest.raises(NotJudgeable):
        judge(Decimal("1.4"), HEIGHT, Decimal("-0.01"))


@pytest.mark.parametrize(
    "limits",
    [
        (None, None),
        (Decimal(2), Decimal(1)),
        (Decimal(1), Decimal(2), Decimal(3)),
        (Decimal(1), None, Decimal("0.9")),
        (Decimal("NaN"), None),
        (None, Decimal("Infinity")),
    ],
)
def test_limits_that_judge_nothing_are_refused(limits):
    with pytest.raises(NotLimits):
        Limits(*limits)


@pytest.mark.parametrize(
    ("outcomes", "whole"),
    [([], OPEN), ([GOOD, GOOD], GOOD), ([GOOD, OPEN], OPEN), ([GOOD, OPEN, BAD], BAD), ([BAD], BAD)],
)
def test_every_single_value_counts(outcomes, whole):
    assert overall(outcomes) is whole
    assert overall(iter(outcomes)) is whole


def test_pull_test_is_judged_by_its_least_force():
    assert judge_pull(Decimal("89.0"), Decimal("89")) is GOOD
    assert judge_pull(Decimal("88.9"), Decimal("89")) is BAD
    assert judge_pull(Decimal("89.5"), Decimal("89"), Decimal("1")) is OPEN


@pytest.mark.parametrize(
    ("value", "limits", "kind", "meant"),
    [
        ("1.41", HEIGHT, Plausible.OK, None),
        ("1.60", HEIGHT, Plausible.OK, None),
        ("14", HEIGHT, Plausible.DECIMAL_POINT, "1.4"),
        ("0.14", HEIGHT, Plausible.DECIMAL_POINT, "1.4"),
        ("141", HEIGHT, Plausible.DECIMAL_POINT, "1.41"),
        ("0.0142", HEIGHT, Plausible.DECIMAL_POINT, "1.42"),
        ("1400", HEIGHT, Plausible.DECIMAL_POINT, "1.4"),
        ("0.0551", HEIGHT, Plausible.UNIT, "1.3995"),
        ("35.56", HEIGHT, Plausible.UNIT, "1.4"),
        ("7", HEIGHT, Plausible.FAR, None),
        ("0", HEIGHT, Plausible.FAR, None),
        ("-1.4", HEIGHT, Plausible.FAR, None),
        ("72", PULL, Plausible.OK, None),
        ("190", PULL, Plausible.OK, None),
        ("1205", PULL, Plausible.DECIMAL_POINT, "120.5"),
        ("0", Limits(None, Decimal("0.05")), Plausible.OK, None),
    ],
)
def test_absurd_reading_is_told_from_a_bad_one(value, limits, kind, meant):
    found = plausibility(Decimal(value), limits)
    assert (found.kind, found.suggestion) == (kind, None if meant is None else Decimal(meant))


@given(st.decimals("0.1", "50", places=3), st.decimals("0.01", "0.5", places=3), st.sampled_from([10, 100, 1000]))
def test_conforming_reading_with_a_shifted_point_is_offered_back(target, tolerance, shift):
    assume(tolerance < target / 10)
    limits = Limits(target - tolerance, target + tolerance, target)
    assert plausibility(target, limits) == Plausibility(Plausible.OK)
    assert plausibility(target * shift, limits) == Plausibility(Plausible.DECIMAL_POINT, target)


def test_reading_keeps_its_text_and_takes_the_gauges_unit():
    assert parse_reading("1.40", "mm", "length").text == "1.40"
    assert parse_reading("0.0551", "in", "length").value == Decimal("1.39954")
    assert parse_reading("20 lbf", "N", "force").value == Decimal("88.96443230521")


@pytest.mark.parametrize(
    ("text", "rule"),
    [
        ("high", "reading.not_a_number"),
        ("nan", "reading.not_a_number"),
        ("1.4 N", "reading.wrong_unit"),
        ("1,234", "reading.ambiguous"),
    ],
)
def test_misread_text_is_a_worded_refusal(text, rule, monkeypatch):
    monkeypatch.setattr("shop.wording.RULES", VERDICT_RULES)
    with pytest.raises(NotAQuantity) as refused:
        parse_reading(text, "mm", "length")
    finding = misread(refused.value, "height")
    assert (finding.rule, finding.field, finding.blocks) == (rule, "height", True)
    assert text in worded(finding).what
    assert "a length in mm" in worded(finding).expected


def test_absurd_reading_asks_to_confirm_the_decimal_point(monkeypatch):
    monkeypatch.setattr("shop.wording.RULES", VERDICT_RULES)
    finding = implausible("14 mm", plausibility(Decimal(14), HEIGHT), HEIGHT, "mm", "height")
    sentence = worded(finding).sentence
    assert "“14 mm” is far from the limits 1.35 to 1.45 mm; it looks like 1.4 mm" in sentence
    assert "decimal point" in sentence


def test_far_reading_without_an_explanation_is_undecidable(monkeypatch):
    monkeypatch.setattr("shop.wording.RULES", VERDICT_RULES)
    finding = implausible("0.001 N", plausibility(Decimal("0.001"), PULL), PULL, "N")
    assert finding.verdict is Verdict.UNDECIDABLE
    assert worded(finding).what == "The reading “0.001 N” is far from the limits 89 to – N."


def test_visual_criteria_follow_barrel_and_support():
    open_supported = {c.code for c in criteria_for("open", True)}
    closed_bare = {c.code for c in criteria_for("closed", False)}
    assert {"visual.bell_mouth", "visual.support_grip", "visual.window"} <= open_supported
    assert {"visual.inspection_hole", "visual.clearance"} <= closed_bare
    assert not {"visual.inspection_hole", "visual.clearance"} & open_supported
    assert not {"visual.bell_mouth", "visual.support_grip", "visual.seam"} & closed_bare
    assert {"visual.right_parts", "visual.strands_whole"} <= open_supported & closed_bare


def test_visual_criteria_have_one_code_each_and_say_both_sides():
    assert len({c.code for c in VISUAL_CRITERIA}) == len(VISUAL_CRITERIA)
    assert all(c.title and c.accept.endswith(".") and c.reject.endswith(".") and c.source for c in VISUAL_CRITERIA)
    used = {c.code for barrel in ("open", "closed") for support in (True, False) for c in criteria_for(barrel, support)}
    assert used == {c.code for c in VISUAL_CRITERIA}
    with pytest.raises(ValueError, match="open or closed"):
        criteria_for("round", True)
