"""Published kappas, and statsmodels as an oracle.

AIAG, Measurement Systems Analysis, 4th ed., chapter III-C: 50 parts, three trials; rounded answers published, counts from memory. Fleiss
1971 table: test data of statsmodels.
"""

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp
from statsmodels.stats.inter_rater import cohens_kappa
from statsmodels.stats.inter_rater import fleiss_kappa as fleiss_oracle
from statsmodels.stats.proportion import proportion_confint

from inspection.studies.confidence import proportion_interval
from inspection.studies.kappa import KappaStanding, cohen_kappa, fleiss_kappa

FLEISS_1971 = [
    [0, 0, 0, 0, 14],
    [0, 2, 6, 4, 2],
    [0, 0, 3, 5, 6],
    [0, 3, 9, 2, 0],
    [2, 2, 8, 1, 1],
    [7, 7, 0, 0, 0],
    [3, 2, 6, 3, 0],
    [2, 5, 3, 2, 2],
    [6, 5, 2, 1, 0],
    [0, 2, 2, 3, 7],
]


@pytest.mark.parametrize(
    ("counts", "published", "exact"),
    [
        ((44, 6, 3, 97), 0.86, 0.8629),
        ((42, 5, 9, 94), 0.79, 0.7880),
        ((43, 7, 8, 92), 0.78, 0.7761),
        ((45, 5, 3, 97), 0.88, 0.8788),
        ((45, 2, 3, 100), 0.92, 0.9230),
        ((42, 9, 6, 93), 0.77, 0.7740),
    ],
)
def test_cohen_kappa_agrees_with_aiag(counts, published, exact):
    both_reject, first_only, second_only, both_accept = counts
    found = cohen_kappa([[both_reject, first_only], [second_only, both_accept]])
    assert found.kappa == pytest.approx(published, abs=0.005)
    assert found.kappa == pytest.approx(exact, abs=5e-5)
    assert found.standing is KappaStanding.GOOD


def test_fleiss_kappa_agrees_with_fleiss_1971():
    found = fleiss_kappa(FLEISS_1971)
    assert found.overall.kappa == pytest.approx(0.20993, abs=5e-6)
    assert found.overall.standing is KappaStanding.POOR


tables = hnp.arrays(np.int64, st.integers(2, 4).map(lambda k: (k, k)), elements=st.integers(0, 30))


@given(tables)
def test_cohen_kappa_and_its_errors_agree_with_statsmodels(table):
    assume((table.sum(axis=0) > 0).all() and (table.sum(axis=1) > 0).all())
    found, oracle = cohen_kappa(table), cohens_kappa(table)
    assume(oracle.std_kappa > 1e-6)
    assert found.kappa == pytest.approx(oracle.kappa, abs=1e-12)
    assert found.standard_error == pytest.approx(oracle.std_kappa, rel=1e-7)
    assert found.z == pytest.approx(oracle.z_value, rel=1e-9, abs=1e-12)
    assert found.p == pytest.approx(oracle.pvalue_two_sided, rel=1e-9, abs=1e-12)
    assert found.interval.low == pytest.approx(max(oracle.kappa_low, -1), rel=1e-7, abs=1e-9)
    assert found.interval.high == pytest.approx(min(oracle.kappa_upp, 1), rel=1e-7, abs=1e-9)


@given(st.integers(2, 6), st.integers(2, 30), st.integers(2, 4), st.integers(0, 10_000))
def test_fleiss_kappa_agrees_with_statsmodels(raters, items, categories, seed):
    counts = np.random.default_rng(seed).multinomial(raters, np.full(categories, 1 / categories), size=items)
    assume((counts.sum(axis=0) > 0).sum() > 1)
    assert fleiss_kappa(counts).overall.kappa == pytest.approx(fleiss_oracle(counts, method="fleiss"), abs=1e-12)


@given(st.integers(1, 200), st.integers(0, 200))
def test_exact_interval_of_a_proportion_agrees_with_statsmodels(of, count):
    assume(count <= of)
    low, high = proportion_confint(count, of, alpha=0.05, method="beta")
    found = proportion_interval(count, of)
    assert (found.low, found.high) == pytest.approx((low, high), abs=1e-10)
