"""The shop's decision rule, applied to a reading: which zone the gauge's uncertainty leaves inside the limits."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

from django.conf import settings

from inspection.guard_band import RULES, Decision, GuardRule, Inapplicable, RuleDoesNotApply, decide, zone
from inspection.verdict import Limits, Outcome
from shop.finding import Refused, misfit
from shop.tools import Calibration, Gauge

RULE_NAMES: dict[str, GuardRule] = {
    "simple": GuardRule.SIMPLE,
    "expanded": GuardRule.EXPANDED,
    "conformance-95": GuardRule.CONFORMANCE_95,
    "four-to-one": GuardRule.FOUR_TO_ONE,
    "false-accept-2": GuardRule.FALSE_ACCEPT_2,
}
"""The words of the setting DECISION_RULE."""

COVERAGE = Decimal(2)
"""Certificates state U with k = 2: the catalogue's field says so."""


@dataclass(frozen=True, slots=True)
class Decided:
    """rule: the one that was applied, as records print it; guard_band: in the unit of the limits, zero under simple acceptance."""

    outcome: Outcome
    rule: GuardRule
    guard_band: Decimal


def rule_in_force() -> GuardRule:
    return RULE_NAMES[settings.DECISION_RULE]


def decided(value: Decimal, limits: Limits, gauge: Gauge, calibration: Calibration, unit: str) -> Decided:
    """Judge a value in the unit of its limits by the shop's rule.

    A gauge in another unit than the value (areas of a section measured in mm), or a limit that stands alone where the rule needs a
    tolerance, leaves simple acceptance, and the record says so. Raises Refused where the rule needs an uncertainty the certificate does
    not state, or one that is too large for the tolerance.
    """
    rule = rule_in_force()
    if gauge.unit != unit:
        rule = GuardRule.SIMPLE
    stated = calibration.expanded_uncertainty
    u = None if stated is None or rule is GuardRule.SIMPLE else stated / COVERAGE
    try:
        within = zone(limits, rule, u, k=COVERAGE)
    except RuleDoesNotApply as error:
        if error.reason is not Inapplicable.ONE_LIMIT:
            rule_code = {Inapplicable.NO_UNCERTAINTY: "reading.uncertainty", Inapplicable.RATIO: "reading.uncertainty.large"}[error.reason]
            raise Refused(
                [misfit(rule_code, "value", gauge=gauge.asset_number, certificate=calibration.certificate, decision=str(rule))]
            ) from error
        within = zone(limits, GuardRule.SIMPLE)
    answer: Decision = decide(value, within)
    return Decided(answer.outcome, within.rule, within.guard_band)


def printed(rule: str) -> str:
    """ "guard band of U (ILAC-G8:09/2019)": the rule as a record names it, with its source."""
    return f"{rule} ({RULES[GuardRule(rule)].source})"
