"""Decision rules against published and computed figures.

ILAC-G8:09/2019 (confirmed); ISO 14253-1:2017, JCGM 106:2012, ASME B89.7.3.1-2001, Z540.3 handbook method 6 (from memory).
"""

from decimal import Decimal

import pytest

from inspection.guard_band import GuardRule, conformance_probability, decide, false_accept_multiplier, zone
from inspection.verdict import Limits, Outcome

UPPER = Limits(low=None, high=Decimal("1.300"))
U = Decimal("0.010")


def test_acceptance_limits_at_an_upper_limit():
    assert zone(UPPER, GuardRule.SIMPLE, U).accept_high == Decimal("1.300")
    assert zone(UPPER, GuardRule.EXPANDED, U).accept_high == Decimal("1.280")
    assert zone(UPPER, GuardRule.CONFORMANCE_95, U).accept_high == Decimal("1.2835")


def test_reading_between_the_guarded_and_the_tolerance_limit():
    reading = Decimal("1.285")
    assert conformance_probability(reading, UPPER, U) == pytest.approx(0.9332, abs=5e-5)
    outcomes = {
        rule: decide(reading, zone(UPPER, rule, U)).outcome for rule in (GuardRule.SIMPLE, GuardRule.EXPANDED, GuardRule.CONFORMANCE_95)
    }
    assert outcomes == {
        GuardRule.SIMPLE: Outcome.CONFORMS,
        GuardRule.EXPANDED: Outcome.UNDECIDED,
        GuardRule.CONFORMANCE_95: Outcome.UNDECIDED,
    }


def test_breakdown_voltage_of_jcgm_106():
    assert conformance_probability(Decimal("-5.47"), Limits(None, Decimal("-5.40")), Decimal("0.05")) == pytest.approx(0.9192, abs=5e-5)


@pytest.mark.parametrize(("ratio", "multiplier"), [("1.5", 0.3602), ("2", 0.2816), ("3", 0.1553), ("4", 0.0531), ("4.7", 0), ("10", 0)])
def test_multiplier_of_two_percent_false_accept(ratio, multiplier):
    assert float(false_accept_multiplier(Decimal(ratio))) == pytest.approx(multiplier, abs=5e-5)


@pytest.mark.parametrize(("rule", "risk"), [(GuardRule.SIMPLE, 0.5), (GuardRule.EXPANDED, 0.0228), (GuardRule.CONFORMANCE_95, 0.0495)])
def test_risk_at_the_acceptance_limit(rule, risk):
    # ILAC-G8 states 50 % and 2.5 %; ISO 14253-1 states 5 %. Exactly: Phi(0), Phi(-2), Phi(-1.65).
    within = zone(UPPER, rule, U)
    found = 1 - conformance_probability(within.accept_high, UPPER, U)
    assert found == pytest.approx(risk, abs=5e-5)
    assert found <= float(within.facts.false_accept)
