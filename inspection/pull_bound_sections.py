"""A tolerance bound of the pull force in words and figures: for the study and for the planning page."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from typing import Any

from django.utils.translation import gettext as _

from inspection.analysis import Column, Fact, Section, Table
from inspection.process.normality import NormalityTest, anderson_darling, shapiro_wilk
from inspection.sampling.tolerance import (
    LowerBound,
    RankBound,
    Verdict,
    k_one_sided,
    k_two_sided,
    k_two_sided_howe,
    lower_bound_of,
    rank_bound,
)
from inspection.study_kinds.words import exact, figure

LEAST_FOR_A_TEST = 8


def bound_verdict(answer: LowerBound) -> tuple[str, str]:
    """Outcome and word; undecided without a minimum."""
    match answer.verdict:
        case Verdict.HOLDS:
            return "conforms", _("the bound holds the minimum")
        case Verdict.FALLS_SHORT:
            return "does not conform", _("the bound falls short of the minimum")
        case Verdict.NO_SPREAD:
            return "undecided", _("every value is the same: nothing can be concluded")
    return "undecided", _("no minimum is stated")


def bound_sections(values: Sequence[float], *, p: float, gamma: float, minimum: Decimal | None, unit: str) -> list[Section]:
    """The bound beside the minimum, what it rests on, and the bound without a distribution. Raises TooFew, NotFinite, NotASetting."""
    answer = lower_bound_of(values, p=p, gamma=gamma, minimum=minimum)
    return [_bound(answer, unit), _rests_on(values), _by_rank(rank_bound(values, p=p, gamma=gamma), answer, unit)]


def _bound(answer: LowerBound, unit: str) -> Section:
    outcome, word = bound_verdict(answer)
    promise = _("{gamma} % confidence that at least {p} % are above it").format(gamma=figure(100 * answer.gamma), p=figure(100 * answer.p))
    facts = [
        Fact(_("Lower bound"), figure(answer.bound, 5), unit, outcome=outcome if answer.verdict else "", word=word, note=promise),
        Fact(_("Minimum"), "–" if answer.minimum is None else f"{answer.minimum:f}", unit),
        Fact(_("Values"), str(answer.n)),
        Fact(_("Mean"), figure(answer.mean, 5), unit),
        Fact(_("Standard deviation"), figure(answer.s), unit),
        Fact(_("Factor k"), figure(answer.k, 5)),
    ]
    if answer.share is not None:
        facts.append(Fact(_("At least so many hold the minimum"), _share(answer.share), "%", note=_("with the same confidence")))
    notes = (
        _("Bound = mean - k s, with k by the noncentral t distribution, exactly (NIST/SEMATECH e-Handbook 7.2.6.3, from memory)."),
        _("Each single force has to hold the minimum all the same: the bound says what to expect of those that were not pulled."),
    )
    return Section(_("The bound"), facts=tuple(facts), notes=notes)


ALL_BUT_A_FEW = 0.9999


def _share(share: float) -> str:
    """In percent; never rounded up to all of them, which no sample can show."""
    return _("over {share}").format(share=figure(100 * ALL_BUT_A_FEW)) if share > ALL_BUT_A_FEW else figure(100 * share)


def _rests_on(values: Sequence[float]) -> Section:
    note = _("The bound stands on a normal distribution down into its lower tail; a test of so few values cannot prove it.")
    if len(values) < LEAST_FOR_A_TEST or max(values) == min(values):
        why = _("Too few different values for a test of normality: it is assumed.")
        return Section(_("What it rests on"), notes=(why, note))
    tests = [anderson_darling(values), shapiro_wilk(values)] if len(values) <= 5000 else [anderson_darling(values)]
    facts = [_tested(test) for test in tests]
    return Section(_("What it rests on"), facts=tuple(facts), notes=(note,))


def _tested(test: NormalityTest) -> Fact:
    doubtful = test.p_value < 0.05  # the usual level
    return Fact(
        _("{test}, p").format(test=test.name),
        figure(test.p_value),
        outcome="undecided" if doubtful else "conforms",
        word=_("not normal, it seems") if doubtful else _("looks normal"),
        note=_("the bound without a distribution is the safer one") if doubtful else "",
    )


def _by_rank(answer: RankBound, normal: LowerBound, unit: str) -> Section:
    title, source = _("Without a distribution"), _("Order statistics: Wilks 1941; NIST/SEMATECH e-Handbook 7.2.6.4, from memory.")
    if answer.rank is None or answer.value is None or answer.confidence is None:
        why = _("{n} values are too few: the smallest of {needed} would be a bound.").format(n=normal.n, needed=answer.needed)
        return Section(title, notes=(why, source))
    fact = Fact(
        _("Lower bound"),
        figure(answer.value, 5),
        unit,
        note=_("value number {rank} from below; {confidence} % confidence").format(
            rank=answer.rank, confidence=figure(100 * answer.confidence)
        ),
    )
    return Section(title, facts=(fact,), notes=(source,))


def factor_section(n: int, p: float, gamma: float) -> Section:
    """Tolerance factors for n and for usual numbers of values. Raises TooFew, NotASetting."""
    sizes = sorted({n, 5, 10, 15, 20, 30, 50, 100})
    rows = tuple(
        (str(size), f"{k_one_sided(size, p, gamma):.4f}", f"{k_two_sided(size, p, gamma):.4f}", f"{k_two_sided_howe(size, p, gamma):.4f}")
        for size in sizes
    )
    table = Table(
        _("Factors for {p} % with {gamma} % confidence").format(p=figure(100 * p), gamma=figure(100 * gamma)),
        (Column(_("Values")), Column(_("One-sided, exact")), Column(_("Two-sided, exact")), Column(_("Two-sided, Howe"))),
        rows,
    )
    fact = Fact(_("One-sided k for {n} values").format(n=n), f"{k_one_sided(n, p, gamma):.4f}")
    note = _(
        "One-sided: noncentral t. Two-sided: integrated exactly; Howe 1969 is the usual approximation (e-Handbook 7.2.6.3, from memory)."
    )
    return Section(_("Tolerance factors"), facts=(fact,), tables=(table,), notes=(note,))


def bound_content(answer: LowerBound, ranked: RankBound, unit: str) -> dict[str, Any]:
    """Every figure of the bound as text, for the signature."""
    return {
        "values": answer.n,
        "share": exact(answer.p),
        "confidence": exact(answer.gamma),
        f"mean_{unit.lower()}": exact(answer.mean),
        f"s_{unit.lower()}": exact(answer.s),
        "k": exact(answer.k),
        f"bound_{unit.lower()}": exact(answer.bound),
        f"minimum_{unit.lower()}": exact(answer.minimum),
        "share_holding_the_minimum": exact(answer.share),
        f"rank_bound_{unit.lower()}": exact(ranked.value),
        "rank": exact(ranked.rank),
    }
