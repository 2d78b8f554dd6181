from decimal import Decimal

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from inspection.guard_band import (
    RULES,
    Direction,
    GuardRule,
    Inapplicable,
    RuleDoesNotApply,
    conformance_probability,
    decide,
    outward,
    zone,
)
from inspection.verdict import Limits, NotJudgeable, Outcome, judge

TARGET = Limits(low=Decimal("1.35"), high=Decimal("1.45"), nominal=Decimal("1.40"))
U = Decimal("0.005")

hundredths = st.integers(0, 4000).map(lambda n: Decimal(n) / 1000)
small = st.integers(1, 200).map(lambda n: Decimal(n) / 10000)


@pytest.mark.parametrize(
    ("reading", "outcome"),
    [
        ("1.3399", Outcome.DOES_NOT_CONFORM),
        ("1.34", Outcome.UNDECIDED),
        ("1.3599", Outcome.UNDECIDED),
        ("1.36", Outcome.CONFORMS),
        ("1.44", Outcome.CONFORMS),
        ("1.4401", Outcome.UNDECIDED),
        ("1.46", Outcome.UNDECIDED),
        ("1.4601", Outcome.DOES_NOT_CONFORM),
    ],
)
def test_three_outcomes_with_a_guard_band_of_u(reading, outcome):
    found = decide(Decimal(reading), zone(TARGET, GuardRule.EXPANDED, U))
    assert (found.outcome, found.accepted) == (outcome, outcome is Outcome.CONFORMS)


@pytest.mark.parametrize(("reading", "accepted"), [("1.34", True), ("1.3399", False), ("1.40", True), ("1.46", True), ("1.4601", False)])
def test_customer_who_rejects_carries_the_uncertainty(reading, accepted):
    relaxed = zone(TARGET, GuardRule.EXPANDED, U, direction=Direction.RELAXED)
    assert (relaxed.accept_low, relaxed.accept_high) == (Decimal("1.34"), Decimal("1.46"))
    assert decide(Decimal(reading), relaxed).accepted is accepted


def test_direction_does_not_change_what_is_proven():
    for reading in ("1.33", "1.345", "1.355", "1.40"):
        outcomes = {decide(Decimal(reading), zone(TARGET, GuardRule.CONFORMANCE_95, U, direction=d)).outcome for d in Direction}
        assert len(outcomes) == 1


def test_simple_acceptance_needs_no_uncertainty_and_every_other_rule_does():
    within = zone(TARGET, GuardRule.SIMPLE)
    assert (within.accept_low, within.accept_high, within.expanded, within.ratio) == (TARGET.low, TARGET.high, None, None)
    assert decide(Decimal("1.45"), within).accepted
    assert decide(Decimal("1.45"), within).conformance_probability is None
    for rule in set(GuardRule) - {GuardRule.SIMPLE}:
        for u in (None, Decimal(0)):
            with pytest.raises(RuleDoesNotApply) as refused:
                zone(TARGET, rule, u)
            assert (refused.value.rule, refused.value.reason) == (rule, Inapplicable.NO_UNCERTAINTY)


def test_four_to_one_applies_while_u_is_a_quarter_of_the_one_sided_tolerance():
    # One-sided tolerance 0.05; U = 2 u.
    within = zone(TARGET, GuardRule.FOUR_TO_ONE, Decimal("0.00625"))
    assert (within.ratio, within.guard_band, within.accept_high) == (4, 0, TARGET.high)
    with pytest.raises(RuleDoesNotApply) as refused:
        zone(TARGET, GuardRule.FOUR_TO_ONE, Decimal("0.00626"))
    assert refused.value.reason is Inapplicable.RATIO
    assert refused.value.ratio < 4


@pytest.mark.parametrize("rule", [GuardRule.FOUR_TO_ONE, GuardRule.FALSE_ACCEPT_2])
def test_rules_by_ratio_need_a_tolerance(rule):
    with pytest.raises(RuleDoesNotApply) as refused:
        zone(Limits(low=Decimal(50), high=None), rule, Decimal(1))
    assert refused.value.reason is Inapplicable.ONE_LIMIT
    # A nominal gives one limit its one-sided tolerance.
    assert zone(Limits(low=Decimal(50), high=None, nominal=Decimal(70)), rule, Decimal(1)).ratio == 10


def test_two_percent_false_accept_widens_as_the_ratio_falls():
    # TUR 2: multiplier 0.281646 of U 0.025 is 0.0070411, rounded up to a unit in the fourth digit of u 0.0125.
    within = zone(TARGET, GuardRule.FALSE_ACCEPT_2, Decimal("0.0125"))
    assert within.ratio == 2
    assert within.guard_band == Decimal("0.00705")
    assert within.accept_high == Decimal("1.44295")
    assert zone(TARGET, GuardRule.FALSE_ACCEPT_2, Decimal("0.005")).guard_band == 0


def test_narrow_tolerance_is_judged_on_both_tails():
    # T = 4 u: a reading 1.65 u inside one limit is 2.35 u inside the other and conforms with 94.1 % only.
    u = Decimal("0.025")
    within = zone(TARGET, GuardRule.CONFORMANCE_95, u)
    assert within.both_tails
    assert within.guard_band > Decimal("1.65") * u
    assert conformance_probability(within.accept_high, TARGET, u) >= 0.95
    assert conformance_probability(within.accept_high + Decimal("0.0002"), TARGET, u) < 0.95
    assert decide(Decimal("1.40"), within).accepted
    assert not zone(TARGET, GuardRule.CONFORMANCE_95, Decimal("0.01")).both_tails


def test_uncertainty_too_large_for_the_tolerance_proves_nothing():
    # T = 3.8 u: even the middle reaches 94.3 % only.
    u = TARGET.tolerance / Decimal("3.8")
    within = zone(TARGET, GuardRule.CONFORMANCE_95, u)
    assert (within.nothing_proven, within.nothing_accepted, within.accept_low, within.accept_high) == (True, True, None, None)
    middle = decide(Decimal("1.40"), within)
    assert (middle.outcome, middle.accepted) == (Outcome.UNDECIDED, False)
    assert middle.conformance_probability == pytest.approx(0.943, abs=5e-4)
    relaxed = zone(TARGET, GuardRule.CONFORMANCE_95, u, direction=Direction.RELAXED)
    assert not relaxed.nothing_accepted
    assert decide(Decimal("1.40"), relaxed).accepted


@given(hundredths, st.integers(10, 400).map(lambda n: Decimal(n) / 1000), small, hundredths)
def test_95_percent_rule_accepts_only_what_conforms_with_95_percent(low, tolerance, u, reading):
    limits = Limits(low, low + tolerance)
    found = decide(reading, zone(limits, GuardRule.CONFORMANCE_95, u))
    if found.accepted:
        assert found.conformance_probability >= 0.95
    if found.outcome is Outcome.DOES_NOT_CONFORM:
        assert found.conformance_probability <= 0.05


@given(hundredths, st.integers(10, 400).map(lambda n: Decimal(n) / 1000), small, hundredths, st.sampled_from(GuardRule))
def test_no_rule_accepts_stringently_what_simple_acceptance_rejects(low, tolerance, u, reading, rule):
    limits = Limits(low, low + tolerance)
    try:
        stringent = zone(limits, rule, u)
    except RuleDoesNotApply as refused:
        assume(refused.reason is not Inapplicable.RATIO)
        raise
    simple = decide(reading, zone(limits, GuardRule.SIMPLE, u))
    relaxed = decide(reading, zone(limits, rule, u, direction=Direction.RELAXED))
    assert decide(reading, stringent).accepted <= simple.accepted <= relaxed.accepted


@given(hundredths, hundredths, st.integers(0, 400).map(lambda n: Decimal(n) / 1000), small)
def test_guard_band_of_u_gives_the_outcome_of_judge(reading, low, tolerance, u):
    limits = Limits(low, low + tolerance)
    assert decide(reading, zone(limits, GuardRule.EXPANDED, u)).outcome is judge(reading, limits, 2 * u)


@pytest.mark.parametrize(("band", "stated"), [("0.0041231", "0.004124"), ("0.004123", "0.004123"), ("0", "0.000000")])
def test_computed_bands_are_rounded_outward(band, stated):
    assert str(outward(Decimal(band), Decimal("0.0025"))) == stated


def test_every_rule_names_its_source():
    assert set(RULES) == set(GuardRule)
    assert all(facts.source for facts in RULES.values())


def test_junk_is_not_judged():
    nan = Decimal("NaN")
    for u, k in ((nan, Decimal(2)), (Decimal("-0.1"), Decimal(2)), (U, nan)):
        with pytest.raises(NotJudgeable):
            zone(TARGET, GuardRule.EXPANDED, u, k=k)
    with pytest.raises(NotJudgeable):
        decide(nan, zone(TARGET, GuardRule.SIMPLE))
    with pytest.raises(NotJudgeable):
        conformance_probability(Decimal(1), TARGET, Decimal(0))
