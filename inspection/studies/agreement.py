"""Attribute agreement: how well appraisers agree with themselves, with each other and with a known reference, calling items by eye.

Source: AIAG, Measurement Systems Analysis, 4th ed., chapter III-C (from memory): calls of the same trial number are paired for kappa; an
appraiser is effective on an item when every call of it is right.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Hashable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from inspection.studies.confidence import Interval, NotASetting, probability, proportion_interval
from inspection.studies.crossed import MissingCells, need
from inspection.studies.kappa import FleissKappa, Kappa, cohen_kappa, fleiss_kappa

Codes = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Proportion:
    """count of how many, as share (0 to 1), with its exact Clopper-Pearson interval."""

    count: int
    of: int
    share: float
    interval: Interval


class AppraiserStanding(StrEnum):
    """How an appraiser stands against the trade's limits."""

    ACCEPTABLE = "acceptable"
    MARGINAL = "marginal"
    NOT_ACCEPTABLE = "not acceptable"


@dataclass(frozen=True, slots=True)
class AgreementLimits:
    """Limits as shares: the first of each pair still acceptable, the second still marginal (AIAG MSA 4th ed. III-C, from memory)."""

    effectiveness: tuple[Decimal, Decimal] = (Decimal("0.90"), Decimal("0.80"))
    miss_rate: tuple[Decimal, Decimal] = (Decimal("0.02"), Decimal("0.05"))
    false_alarm_rate: tuple[Decimal, Decimal] = (Decimal("0.05"), Decimal("0.10"))


@dataclass(frozen=True, slots=True)
class AppraiserAgreement:
    """One appraiser.

    repeat: items called alike in every trial, None with one trial; mixed_items: indices of the others; within: Fleiss kappa over the
    trials, None with one. Against the reference, each None without one: effectiveness: items with every call right; correct_calls: single
    calls; against_reference: Cohen kappa over all calls (rows the appraiser's, columns the reference's); table: its counts; miss: bad
    items' calls that accept; false_alarm: good items' calls that reject; both None where it is not said which categories accept, or no
    such item was in the study. standing of each and the worst of them.
    """

    appraiser: int
    repeat: Proportion | None
    mixed_items: tuple[int, ...]
    within: FleissKappa | None
    effectiveness: Proportion | None
    correct_calls: Proportion | None
    against_reference: Kappa | None
    table: tuple[tuple[int, ...], ...] | None
    miss: Proportion | None
    false_alarm: Proportion | None
    effectiveness_standing: AppraiserStanding | None
    miss_standing: AppraiserStanding | None
    false_alarm_standing: AppraiserStanding | None
    standing: AppraiserStanding | None


@dataclass(frozen=True, slots=True)
class PairAgreement:
    """Two appraisers: counts of paired calls (rows the first's, columns the second's, by category) and their kappa."""

    first: int
    second: int
    table: tuple[tuple[int, ...], ...]
    kappa: Kappa


@dataclass(frozen=True, slots=True)
class AgreementStudy:
    """The whole answer.

    categories: in order of first appearance; calls (items, appraisers, trials) and reference (items) as indices into them. by_appraiser;
    pairs; between: Fleiss kappa over all calls of an item, None with one appraiser. all_alike: items that all called alike in every trial;
    all_correct: and rightly, None without a reference. disputed_items: indices of items not called alike. item_counts: calls per category
    of each item. pairs_repeat_items: more than one trial, so paired calls of an item hang together and the intervals of kappa are a little
    too narrow.
    """

    items: int
    appraisers: int
    trials: int
    categories: tuple[Hashable, ...]
    accepting: tuple[Hashable, ...]
    calls: tuple[tuple[tuple[int, ...], ...], ...]
    reference: tuple[int, ...] | None
    by_appraiser: tuple[AppraiserAgreement, ...]
    pairs: tuple[PairAgreement, ...]
    between: FleissKappa | None
    all_alike: Proportion
    all_correct: Proportion | None
    disputed_items: tuple[int, ...]
    item_counts: tuple[tuple[int, ...], ...]
    pairs_repeat_items: bool
    limits: AgreementLimits
    confidence: float


def agreement_study(
    calls: Sequence[Sequence[Sequence[Hashable]]],
    reference: Sequence[Hashable] | None = None,
    *,
    accepting: Collection[Hashable] = (),
    limits: AgreementLimits | None = None,
    confidence: float = 0.95,
) -> AgreementStudy:
    """The study. calls: [item][appraiser][trial], each a category (text, number, bool); None or NaN is a missing call. reference: the
    true category of each item. accepting: which categories let an item pass; without it there are no miss and false-alarm rates.

    Raises MissingCells (item, appraiser, trial), TooSmall below 2 items, NotASetting for a reference of another length or with gaps.
    """
    probability("confidence", confidence)
    limits = limits or AgreementLimits()
    _complete(calls)
    items, appraisers, trials = len(calls), len(calls[0]), len(calls[0][0])
    if reference is not None and (len(reference) != items or any(_absent(call) for call in reference)):
        raise NotASetting("reference", len(reference))
    named = dict.fromkeys(call for item in calls for row in item for call in row)
    categories = tuple(dict.fromkeys([*(reference or ()), *named]))
    code = {category: index for index, category in enumerate(categories)}
    coded = np.array([[[code[call] for call in row] for row in item] for item in calls], dtype=np.int64)
    true = None if reference is None else np.array([code[call] for call in reference], dtype=np.int64)
    passing = np.array([category in accepting for category in categories])
    size = len(categories)
    flat = coded.reshape(items, -1)
    alike = (flat == flat[:, :1]).all(axis=1)
    counts = _per_item(flat, size)
    return AgreementStudy(
        items=items,
        appraisers=appraisers,
        trials=trials,
        categories=categories,
        accepting=tuple(category for category in categories if category in accepting),
        calls=tuple(tuple(tuple(int(c) for c in row) for row in item) for item in coded),
        reference=None if true is None else tuple(int(c) for c in true),
        by_appraiser=tuple(_appraiser(a, coded[:, a, :], true, passing, size, limits, confidence) for a in range(appraisers)),
        pairs=tuple(_pair(a, b, coded, size, confidence) for a, b in combinations(range(appraisers), 2)),
        between=fleiss_kappa(counts, confidence) if appraisers > 1 else None,
        all_alike=_share(int(alike.sum()), items, confidence),
        all_correct=None if true is None else _share(int((flat == true[:, None]).all(axis=1).sum()), items, confidence),
        disputed_items=tuple(int(i) for i in np.flatnonzero(~alike)),
        item_counts=tuple(tuple(int(c) for c in row) for row in counts),
        pairs_repeat_items=trials > 1,
        limits=limits,
        confidence=confidence,
    )


def _absent(call: Hashable) -> bool:
    return call is None or (isinstance(call, float) and math.isnan(call))


def _complete(calls: Sequence[Sequence[Sequence[Hashable]]]) -> None:
    appraisers = max((len(item) for item in calls), default=0)
    trials = max((len(row) for item in calls for row in item), default=0)
    need("items", 2, len(calls))
    need("appraisers", 1, appraisers)
    need("trials", 1, trials)
    missing = [
        (i, a, t)
        for i, item in enumerate(calls)
        for a in range(appraisers)
        for t in range(trials)
        if a >= len(item) or t >= len(item[a]) or _absent(item[a][t])
    ]
    if missing:
        raise MissingCells(missing)


def _per_item(flat: Codes, size: int) -> Codes:
    return np.stack([(flat == category).sum(axis=1) for category in range(size)], axis=1)


def _cross(first: Codes, second: Codes, size: int) -> Codes:
    table = np.zeros((size, size), dtype=np.int64)
    np.add.at(table, (first.ravel(), second.ravel()), 1)
    return table


def _tupled(table: Codes) -> tuple[tuple[int, ...], ...]:
    return tuple(tuple(int(count) for count in row) for row in table)


def _share(count: int, of: int, confidence: float) -> Proportion:
    return Proportion(count, of, count / of, proportion_interval(count, of, confidence))


def _pair(first: int, second: int, coded: Codes, size: int, confidence: float) -> PairAgreement:
    table = _cross(coded[:, first, :], coded[:, second, :], size)
    return PairAgreement(first, second, _tupled(table), cohen_kappa(table, confidence))


def _appraiser(
    number: int, own: Codes, true: Codes | None, passing: NDArray[np.bool_], size: int, limits: AgreementLimits, confidence: float
) -> AppraiserAgreement:
    items, trials = own.shape
    alike = (own == own[:, :1]).all(axis=1)
    repeated = trials > 1
    effectiveness = correct = miss = false_alarm = None
    kappa, table = None, None
    if true is not None:
        right = own == true[:, None]
        effectiveness = _share(int(right.all(axis=1).sum()), items, confidence)
        correct = _share(int(right.sum()), right.size, confidence)
        table = _cross(own, np.broadcast_to(true[:, None], own.shape), size)
        kappa = cohen_kappa(table, confidence)
        if passing.any():
            miss = _wrong(passing[own], ~passing[true], confidence)
            false_alarm = _wrong(~passing[own], passing[true], confidence)
    standings = (
        _high_wanted(effectiveness, limits.effectiveness),
        _low_wanted(miss, limits.miss_rate),
        _low_wanted(false_alarm, limits.false_alarm_rate),
    )
    return AppraiserAgreement(
        appraiser=number,
        repeat=_share(int(alike.sum()), items, confidence) if repeated else None,
        mixed_items=tuple(int(i) for i in np.flatnonzero(~alike)),
        within=fleiss_kappa(_per_item(own, size), confidence) if repeated else None,
        effectiveness=effectiveness,
        correct_calls=correct,
        against_reference=kappa,
        table=None if table is None else _tupled(table),
        miss=miss,
        false_alarm=false_alarm,
        effectiveness_standing=standings[0],
        miss_standing=standings[1],
        false_alarm_standing=standings[2],
        standing=max((s for s in standings if s is not None), key=list(AppraiserStanding).index, default=None),
    )


def _wrong(called: NDArray[np.bool_], among: NDArray[np.bool_], confidence: float) -> Proportion | None:
    """Calls of one kind among the items of the other kind; None where there is no such item."""
    of = int(among.sum()) * called.shape[1]
    return _share(int(called[among].sum()), of, confidence) if of else None


def _high_wanted(found: Proportion | None, limits: tuple[Decimal, Decimal]) -> AppraiserStanding | None:
    """Counts meet the limit as whole numbers: 45 of 50 is 90 %, whatever binary fractions say."""
    if found is None:
        return None
    if found.count >= limits[0] * found.of:
        return AppraiserStanding.ACCEPTABLE
    return AppraiserStanding.MARGINAL if found.count >= limits[1] * found.of else AppraiserStanding.NOT_ACCEPTABLE


def _low_wanted(found: Proportion | None, limits: tuple[Decimal, Decimal]) -> AppraiserStanding | None:
    if found is None:
        return None
    if found.count <= limits[0] * found.of:
        return AppraiserStanding.ACCEPTABLE
    return AppraiserStanding.MARGINAL if found.count <= limits[1] * found.of else AppraiserStanding.NOT_ACCEPTABLE
