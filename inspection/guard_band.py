"""Decision rules: how the measurement uncertainty moves the limits a reading is accepted by.

The shop chooses the rule and the record prints it (ISO/IEC 17025:2017, 7.8.6). Limits and bands are Decimal; a band that needed a root or
an exponential is rounded outward (`OUTWARD_DIGITS`), so that rounding never accepts a piece.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import ROUND_CEILING, Decimal
from enum import StrEnum

from inspection.verdict import Limits, NotJudgeable, Outcome


class GuardRule(StrEnum):
    """The decision rules on offer; what each means and where it comes from is in `RULES`."""

    SIMPLE = "simple acceptance"
    EXPANDED = "guard band of U"
    CONFORMANCE_95 = "95 % conformance"
    FOUR_TO_ONE = "4:1 simple acceptance"
    FALSE_ACCEPT_2 = "2 % false accept"


class Direction(StrEnum):
    """Who carries the uncertainty: the one who has to prove something (ISO 14253-1, from memory).

    STRINGENT: acceptance proves conformity, limits move inward. RELAXED: rejection has to be proven, as by a customer, limits move outward.
    """

    STRINGENT = "stringent acceptance"
    RELAXED = "relaxed acceptance"


@dataclass(frozen=True, slots=True)
class RuleFacts:
    """source: of the rule. false_accept: greatest probability that a piece whose reading lies on the acceptance limit does not conform,
    or for FALSE_ACCEPT_2 the share over all pieces; None where the rule names none. at_limit: false where it is such a share."""

    source: str
    false_accept: Decimal | None
    at_limit: bool = True


RULES: Mapping[GuardRule, RuleFacts] = {
    GuardRule.SIMPLE: RuleFacts("ILAC-G8:09/2019", Decimal("0.5")),
    GuardRule.EXPANDED: RuleFacts("ILAC-G8:09/2019", Decimal("0.025")),
    GuardRule.CONFORMANCE_95: RuleFacts("ISO 14253-1:2017", Decimal("0.05")),
    GuardRule.FOUR_TO_ONE: RuleFacts("ASME B89.7.3.1-2001", Decimal("0.5")),
    GuardRule.FALSE_ACCEPT_2: RuleFacts("ANSI/NCSL Z540.3, handbook method 6", Decimal("0.02"), at_limit=False),
}
"""ILAC-G8 confirmed in the source; the others from memory. ISO 14253-1 before 2017 took U with k = 2, which is the rule EXPANDED."""

ONE_SIDED_FACTOR = Decimal("1.65")
"""Guard band in standard uncertainties for 95 % conformance against one limit (ISO 14253-1:2017; the quantile is 1.6449)."""

CONFORMANCE = 0.95

BOTH_TAILS_BELOW = Decimal(6)
"""A tolerance narrower than so many standard uncertainties is judged on both tails (ISO 14253-1:2017, JCGM 106:2012 clause 7; from
memory)."""

LEAST_RATIO = Decimal(4)
"""ASME B89.7.3.1: the one-sided tolerance is at least four times U."""

OUTWARD_DIGITS = 4
"""A computed guard band is rounded up to a unit in the fourth significant digit of the standard uncertainty."""


class Inapplicable(StrEnum):
    """Why a rule cannot be used."""

    NO_UNCERTAINTY = "no uncertainty"
    ONE_LIMIT = "one limit without nominal"
    RATIO = "uncertainty too large for the tolerance"


class RuleDoesNotApply(ValueError):  # noqa: N818  # reads as what happened
    """The rule cannot be used here. rule, reason; ratio: one-sided tolerance over U, where the reason is RATIO."""

    def __init__(self, rule: GuardRule, reason: Inapplicable, ratio: Decimal | None = None) -> None:
        self.rule, self.reason, self.ratio = rule, reason, ratio
        super().__init__(rule, reason, ratio)

    def __str__(self) -> str:
        return f"{self.rule}: {self.reason}"


@dataclass(frozen=True, slots=True)
class Zone:
    """The limits a reading is held against under a rule. All in the unit of the limits.

    u: standard uncertainty, None where unknown; expanded: U = k u. guard_band: how far the acceptance limits lie from the tolerance
    limits, inward, or outward where the direction is RELAXED. accept_low, accept_high: a reading on them is accepted; None where there is
    no limit, and both None with nothing_accepted. proven_low, proven_high: within them conformity is proven; the same as accept_* when
    STRINGENT. reject_below, reject_above: beyond them nonconformity is proven. both_tails: the tolerance is so narrow that both limits
    counted. ratio: one-sided tolerance over U (the test uncertainty ratio), None without both. nothing_proven: even the middle of the
    tolerance does not reach the probability asked for.
    """

    rule: GuardRule
    direction: Direction
    limits: Limits
    u: Decimal | None
    k: Decimal
    expanded: Decimal | None
    guard_band: Decimal
    accept_low: Decimal | None
    accept_high: Decimal | None
    proven_low: Decimal | None
    proven_high: Decimal | None
    reject_below: Decimal | None
    reject_above: Decimal | None
    both_tails: bool
    nothing_proven: bool
    ratio: Decimal | None
    facts: RuleFacts

    @property
    def nothing_accepted(self) -> bool:
        """No reading whatever would be accepted."""
        return self.nothing_proven and self.direction is Direction.STRINGENT


@dataclass(frozen=True, slots=True)
class Decision:
    """One reading. outcome: conformity proven, nonconformity proven, or neither. accepted: the binary decision of the rule and its
    direction. conformance_probability: that the true value lies within the limits (JCGM 106), None where u is unknown."""

    value: Decimal
    outcome: Outcome
    accepted: bool
    conformance_probability: float | None
    zone: Zone


def zone(
    limits: Limits,
    rule: GuardRule,
    u: Decimal | None = None,
    *,
    k: Decimal = Decimal(2),
    direction: Direction = Direction.STRINGENT,
) -> Zone:
    """The acceptance zone of a rule. u: standard uncertainty in the unit of the limits; k: coverage factor of U.

    Raises RuleDoesNotApply where the rule needs what is not there: whoever knows no u can only say simple acceptance. Raises NotJudgeable
    for u or k that is negative or no finite number.
    """
    if any(number is not None and (not number.is_finite() or number < 0) for number in (u, k)):
        raise NotJudgeable(f"uncertainty {u}, coverage factor {k}")
    if not u and rule is not GuardRule.SIMPLE:
        raise RuleDoesNotApply(rule, Inapplicable.NO_UNCERTAINTY)
    expanded = None if u is None else k * u
    ratio = _ratio(limits, expanded)
    outside = _guard_band(rule, u or Decimal(0), expanded or Decimal(0), ratio)
    proven = outside
    both_tails = nothing = False
    tolerance = limits.tolerance
    if rule is GuardRule.CONFORMANCE_95 and u and tolerance is not None and tolerance < BOTH_TAILS_BELOW * u:
        both_tails = True
        inward = _both_tails(tolerance, u)
        nothing = inward is None
        proven = max(outside, tolerance / 2 if inward is None else inward)
    nothing = nothing or (tolerance is not None and 2 * proven > tolerance)
    low, high = limits.low, limits.high
    proven_low = None if low is None or nothing else low + proven
    proven_high = None if high is None or nothing else high - proven
    reject_below = None if low is None else low - outside
    reject_above = None if high is None else high + outside
    relaxed = direction is Direction.RELAXED
    return Zone(
        rule=rule,
        direction=direction,
        limits=limits,
        u=u,
        k=k,
        expanded=expanded,
        guard_band=outside if relaxed else proven,
        accept_low=reject_below if relaxed else proven_low,
        accept_high=reject_above if relaxed else proven_high,
        proven_low=proven_low,
        proven_high=proven_high,
        reject_below=reject_below,
        reject_above=reject_above,
        both_tails=both_tails,
        nothing_proven=nothing,
        ratio=ratio,
        facts=RULES[rule],
    )


def decide(value: Decimal, within: Zone) -> Decision:
    """What a reading amounts to in a zone. A reading on an acceptance limit is accepted. Raises NotJudgeable."""
    if not value.is_finite():
        raise NotJudgeable(f"value {value}")
    below = within.reject_below is not None and value < within.reject_below
    above = within.reject_above is not None and value > within.reject_above
    if below or above:
        outcome = Outcome.DOES_NOT_CONFORM
    elif not within.nothing_proven and _inside(value, within.proven_low, within.proven_high):
        outcome = Outcome.CONFORMS
    else:
        outcome = Outcome.UNDECIDED
    accepted = outcome is Outcome.CONFORMS
    if within.direction is Direction.RELAXED:
        accepted = outcome is not Outcome.DOES_NOT_CONFORM
    probability = conformance_probability(value, within.limits, within.u) if within.u else None
    return Decision(value, outcome, accepted, probability, within)


def conformance_probability(value: Decimal, limits: Limits, u: Decimal) -> float:
    """Probability that the true value lies within the limits, given the reading and a normal uncertainty u > 0, without prior knowledge of
    the process: Phi((high - y)/u) - Phi((low - y)/u) (JCGM 106:2012, clause 7). Raises NotJudgeable."""
    if not value.is_finite() or not u.is_finite() or u <= 0:
        raise NotJudgeable(f"value {value}, uncertainty {u}")
    above = 0.0 if limits.high is None else _upper_tail(float((limits.high - value) / u))
    below = 0.0 if limits.low is None else _upper_tail(float((value - limits.low) / u))
    return max(1 - above - below, 0.0)


def _inside(value: Decimal, low: Decimal | None, high: Decimal | None) -> bool:
    return (low is None or value >= low) and (high is None or value <= high)


def _upper_tail(x: float) -> float:
    return 0.5 * math.erfc(x / math.sqrt(2))


def _ratio(limits: Limits, expanded: Decimal | None) -> Decimal | None:
    if not expanded:
        return None
    if limits.tolerance is not None:
        return limits.tolerance / 2 / expanded
    limit = limits.low if limits.low is not None else limits.high
    return None if limits.nominal is None or limit is None else abs(limit - limits.nominal) / expanded


def _guard_band(rule: GuardRule, u: Decimal, expanded: Decimal, ratio: Decimal | None) -> Decimal:
    if rule is GuardRule.SIMPLE:
        return Decimal(0)
    if rule is GuardRule.EXPANDED:
        return expanded
    if rule is GuardRule.CONFORMANCE_95:
        return ONE_SIDED_FACTOR * u
    if ratio is None:
        raise RuleDoesNotApply(rule, Inapplicable.ONE_LIMIT)
    if rule is GuardRule.FOUR_TO_ONE:
        if ratio < LEAST_RATIO:
            raise RuleDoesNotApply(rule, Inapplicable.RATIO, ratio)
        return Decimal(0)
    return outward(expanded * false_accept_multiplier(ratio), u)


def false_accept_multiplier(ratio: Decimal) -> Decimal:
    """Guard band in U for 2 % false accept: 1.04 - exp(0.38 ln TUR - 0.54), not below 0. ratio: TUR, not negative.

    ANSI/NCSL Z540.3 handbook method 6, from memory; zero from about 4.6.
    """
    if not ratio.is_finite() or ratio < 0:
        raise NotJudgeable(f"ratio {ratio}")
    if ratio == 0:
        return Decimal("1.04")
    return max(Decimal("1.04") - (Decimal("0.38") * ratio.ln() - Decimal("0.54")).exp(), Decimal(0))


def outward(band: Decimal | float, u: Decimal) -> Decimal:
    """A computed guard band rounded up to a unit in the fourth significant digit of u, so that it never accepts more. Raises
    NotJudgeable."""
    exact = Decimal(repr(band)) if isinstance(band, float) else band
    if not exact.is_finite() or exact < 0 or not u.is_finite() or u <= 0:
        raise NotJudgeable(f"guard band {band}, uncertainty {u}")
    return exact.quantize(Decimal(1).scaleb(u.adjusted() - OUTWARD_DIGITS + 1), ROUND_CEILING)


def _both_tails(tolerance: Decimal, u: Decimal) -> Decimal | None:
    """The least distance from a limit at which the probability of lying within both reaches 95 %; None where not even the middle does."""
    width = float(tolerance / u)

    def conforms(distance: float) -> bool:
        return 1 - _upper_tail(distance) - _upper_tail(width - distance) >= CONFORMANCE

    low, high = 0.0, width / 2
    if not conforms(high):
        return None
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (low, middle) if conforms(middle) else (middle, high)
    return outward(high * float(u), u)
