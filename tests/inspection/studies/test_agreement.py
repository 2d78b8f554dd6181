import math
from decimal import Decimal

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from inspection.studies.agreement import AgreementLimits, AppraiserStanding, agreement_study
from inspection.studies.confidence import NotASetting, proportion_interval
from inspection.studies.crossed import MissingCells, TooSmall
from inspection.studies.kappa import KappaStanding, cohen_kappa, fleiss_kappa, kappa_standing

calls_of = st.tuples(st.integers(2, 12), st.integers(1, 3), st.integers(1, 3), st.integers(2, 4), st.integers(0, 10_000))


def called(items, appraisers, trials, categories, seed):
    rng = np.random.default_rng(seed)
    true = rng.integers(0, categories, items)
    off = rng.random((items, appraisers, trials)) < 0.25
    calls = np.where(off, rng.integers(0, categories, off.shape), true[:, None, None])
    return [[[f"c{c}" for c in row] for row in item] for item in calls], [f"c{c}" for c in true]


SIX_ITEMS = (
    # Two appraisers, two trials; "ok" accepts.
    [
        [["ok", "ok"], ["ok", "ok"]],
        [["ok", "ok"], ["ok", "bad"]],
        [["bad", "bad"], ["bad", "bad"]],
        [["ok", "bad"], ["bad", "bad"]],
        [["ok", "ok"], ["bad", "bad"]],
        [["bad", "bad"], ["bad", "bad"]],
    ],
    ["ok", "ok", "bad", "bad", "ok", "bad"],
)


def test_rates_of_a_study_counted_by_hand():
    study = agreement_study(*SIX_ITEMS, accepting=["ok"])
    first, second = study.by_appraiser
    counted = [[(p.count, p.of) for p in (a.repeat, a.effectiveness, a.correct_calls, a.miss, a.false_alarm)] for a in (first, second)]
    assert counted == [
        [(5, 6), (5, 6), (11, 12), (1, 6), (0, 6)],
        [(5, 6), (4, 6), (9, 12), (0, 6), (3, 6)],
    ]
    assert (first.mixed_items, second.mixed_items, study.disputed_items) == ((3,), (1,), (1, 3, 4))
    assert (study.all_alike.count, study.all_correct.count) == (3, 3)
    assert study.item_counts == ((4, 0), (3, 1), (0, 4), (1, 3), (2, 2), (0, 4))
    assert (study.categories, study.pairs[0].table) == (("ok", "bad"), ((3, 4), (0, 5)))
    assert first.miss.interval == proportion_interval(1, 6)
    assert study.pairs_repeat_items


def test_standings_follow_the_trade_limits_exactly():
    # 18 of 20 items right is exactly 90 %: acceptable. One of 10 bad calls missed is 10 %: beyond the 5 % still marginal.
    true = ["ok"] * 10 + ["bad"] * 10
    calls = [[[category]] for category in true]
    calls[0], calls[19] = [["bad"]], [["ok"]]
    found = agreement_study(calls, true, accepting=["ok"]).by_appraiser[0]
    assert found.effectiveness_standing is AppraiserStanding.ACCEPTABLE
    assert (found.miss_standing, found.false_alarm_standing) == (AppraiserStanding.NOT_ACCEPTABLE, AppraiserStanding.MARGINAL)
    assert found.standing is AppraiserStanding.NOT_ACCEPTABLE
    lenient = AgreementLimits(miss_rate=(Decimal("0.10"), Decimal("0.20")))
    assert agreement_study(calls, true, accepting=["ok"], limits=lenient).by_appraiser[0].standing is AppraiserStanding.MARGINAL


def test_one_trial_has_no_repeat_agreement_and_one_appraiser_no_pairs():
    study = agreement_study([[["a"]], [["b"]], [["a"]]])
    only = study.by_appraiser[0]
    assert (only.repeat, only.within, only.effectiveness, only.against_reference, only.miss, only.standing) == (None,) * 6
    assert (study.pairs, study.between, study.all_correct, study.pairs_repeat_items) == ((), None, None, False)


def test_categories_without_an_accepting_one_have_no_miss_rate():
    assert agreement_study(*SIX_ITEMS).by_appraiser[0].miss is None
    all_good = agreement_study([[["ok"]], [["bad"]]], ["ok", "ok"], accepting=["ok"]).by_appraiser[0]
    assert (all_good.miss, all_good.false_alarm.count) == (None, 1)


def test_kappa_of_one_category_is_not_computable():
    study = agreement_study([[["ok", "ok"], ["ok", "ok"]]] * 5, ["ok"] * 5, accepting=["ok"])
    only = study.by_appraiser[0]
    for kappa in (study.pairs[0].kappa, study.between.overall, only.within.overall, only.against_reference, *study.between.by_category):
        assert (kappa.kappa, kappa.standard_error, kappa.interval, kappa.p, kappa.standing) == (None,) * 5
        assert kappa.observed == 1
    assert only.effectiveness.share == 1


def test_perfect_agreement_has_kappa_1_and_no_interval():
    for found in (cohen_kappa([[5, 0], [0, 7]]), fleiss_kappa([[3, 0], [0, 3], [3, 0]]).overall):
        assert found.kappa == pytest.approx(1)
        assert (found.standard_error, found.interval, found.standing) == (None, None, KappaStanding.GOOD)


def test_one_that_always_accepts_beside_one_that_does_not_has_kappa_0():
    found = cohen_kappa([[10, 4], [0, 0]])
    assert (found.kappa, found.z) == (0, None)


@pytest.mark.parametrize(
    ("kappa", "standing"),
    [
        (0.75, KappaStanding.FAIR),
        (0.7501, KappaStanding.GOOD),
        (0.40, KappaStanding.FAIR),
        (0.3999, KappaStanding.POOR),
        (-0.2, KappaStanding.POOR),
        (None, None),
    ],
)
def test_standing_of_a_kappa(kappa, standing):
    assert kappa_standing(kappa) is standing


@given(calls_of)
@settings(max_examples=60, deadline=None)
def test_kappas_stay_in_bounds_and_do_not_depend_on_order(layout):
    calls, true = called(*layout)
    study = agreement_study(calls, true, accepting=["c0"])
    turned = agreement_study(
        [[list(reversed(row)) for row in reversed(item)] for item in reversed(calls)], list(reversed(true)), accepting=["c0"]
    )
    kappas = [pair.kappa for pair in study.pairs] + [a.against_reference for a in study.by_appraiser]
    kappas += [k for f in (study.between, *(a.within for a in study.by_appraiser)) if f is not None for k in (f.overall, *f.by_category)]
    for kappa in kappas:
        assert kappa.kappa is None or -1 - 1e-12 <= kappa.kappa <= 1 + 1e-12
        assert kappa.interval is None or -1 <= kappa.interval.low <= kappa.kappa <= kappa.interval.high <= 1
    pairs = {frozenset((p.first, p.second)): p.kappa.kappa for p in study.pairs}
    last = study.appraisers - 1
    back = {frozenset((last - p.first, last - p.second)): p.kappa.kappa for p in turned.pairs}
    assert back == {pair: kappa if kappa is None else pytest.approx(kappa, abs=1e-12) for pair, kappa in pairs.items()}
    if study.between is not None:
        expected = study.between.overall.kappa
        assert turned.between.overall.kappa == (None if expected is None else pytest.approx(expected, abs=1e-12))


@given(st.lists(st.lists(st.integers(0, 9), min_size=3, max_size=3), min_size=3, max_size=3), st.permutations(range(3)))
def test_cohen_kappa_does_not_depend_on_who_is_first_or_on_the_order_of_categories(table, order):
    counts = np.array(table)
    if counts.sum() == 0:
        return
    kappa = cohen_kappa(counts).kappa
    same = None if kappa is None else pytest.approx(kappa, abs=1e-12)
    assert cohen_kappa(counts.T).kappa == same
    assert cohen_kappa(counts[np.ix_(order, order)]).kappa == same


def test_kappa_of_a_category_is_that_of_it_against_all_others():
    counts = np.array([[2, 1, 0], [0, 3, 0], [1, 1, 1], [0, 0, 3], [3, 0, 0]])
    found = fleiss_kappa(counts)
    for j in range(3):
        p = counts[:, j].sum() / 15
        # Fleiss 1971: 1 - sum x (m - x) / (N m (m - 1) p q).
        assert found.by_category[j].kappa == pytest.approx(1 - (counts[:, j] * (3 - counts[:, j])).sum() / (5 * 3 * 2 * p * (1 - p)))
        assert found.by_category[j].kappa / found.by_category[j].z == pytest.approx(math.sqrt(2 / (5 * 3 * 2)))
    pooled = sum(k.kappa * k_weight for k, k_weight in zip(found.by_category, _weights(counts), strict=True)) / sum(_weights(counts))
    assert found.overall.kappa == pytest.approx(pooled)


def _weights(counts):
    p = counts.sum(axis=0) / counts.sum()
    return list(p * (1 - p))


def test_interval_of_fleiss_kappa_covers_the_truth_as_often_as_it_says():
    # 60 items, good with probability 0.6; three appraisers see a bad one right with 0.9 and a good one with 0.95.
    rng = np.random.default_rng(5)
    p = 0.6 * 0.95 + 0.4 * 0.1
    agree = 0.6 * (0.95**2 + 0.05**2) + 0.4 * (0.9**2 + 0.1**2)
    chance = p**2 + (1 - p) ** 2
    truth = (agree - chance) / (1 - chance)
    hits = 0
    for _ in range(500):
        good = rng.random(60) < 0.6
        accepts = rng.binomial(3, np.where(good, 0.95, 0.1))
        interval = fleiss_kappa(np.column_stack((accepts, 3 - accepts))).overall.interval
        hits += interval is not None and interval.holds(truth)
    assert 460 <= hits <= 490  # 475 wanted; the asymptotic interval is a little short at 60 items


def test_calls_missing_are_refused_by_index():
    with pytest.raises(MissingCells) as refused:
        agreement_study([[["a", None], ["b", "b"]], [["a", "a"], ["b"]]])
    assert refused.value.cells == ((0, 0, 1), (1, 1, 1))


def test_junk_in_an_agreement_study_is_refused():
    with pytest.raises(TooSmall):
        agreement_study([[["a"]]])
    with pytest.raises(NotASetting):
        agreement_study([[["a"]], [["b"]]], ["a"])
    with pytest.raises(NotASetting):
        agreement_study([[["a"]], [["b"]]], ["a", None])
    for counts in ([[1, 2, 3]], [[1, -1], [0, 2]], [[0, 0], [0, 0]]):
        with pytest.raises(NotASetting):
            cohen_kappa(counts)
    with pytest.raises(NotASetting):
        fleiss_kappa([[2, 1], [2, 2]])
    with pytest.raises(NotASetting):
        proportion_interval(3, 2)
